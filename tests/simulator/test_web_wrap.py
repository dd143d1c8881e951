"""Where the web wraps its roller: by hand, by belt formulas, as vectors, in moved pictures."""

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simulator.cell_forces import web_resultant
from simulator.web_path import lay_out
from simulator.web_wrap import (
    RollerPlace,
    drawn_rollers,
    wrap_from_directions,
    wrap_from_rollers,
)

LEFT, RIGHT = "counterclockwise", "clockwise"
OTHER = {LEFT: RIGHT, RIGHT: LEFT}


def degrees(*angles):
    return tuple(math.degrees(angle) for angle in angles)


def place(x, y, turning, diameter=0.2):
    return RollerPlace(x, y, diameter, turning)


# The web along the x axis, then up: a quarter turn, and a pull to the upper left.
QUARTER = (place(-1.0, 0.0, LEFT), place(0.0, 0.0, LEFT), place(0.0, 1.0, LEFT))


def test_a_quarter_turn_by_hand():
    wrap = wrap_from_rollers(*QUARTER)
    assert degrees(wrap.wrap_angle, wrap.bisector_angle) == pytest.approx((90.0, 135.0))
    assert degrees(wrap.entering_angle, wrap.leaving_angle) == pytest.approx((0.0, 90.0), abs=1e-9)
    assert (wrap.span_before, wrap.span_after) == pytest.approx((1.0, 1.0))
    assert (wrap.strand_before.start, wrap.strand_before.end) == pytest.approx((-1 - 0.1j, -0.1j))
    assert (wrap.strand_after.start, wrap.strand_after.end) == pytest.approx((0.1, 0.1 + 1j))
    assert wrap.warnings == ()


def test_half_a_turn_by_hand():
    # In below the roller along y = -0.1, out above it along y = 0.1 to a roller that lies on top.
    wrap = wrap_from_rollers(place(-1, 0, LEFT), place(0, 0, LEFT), place(-1.5, 0.2, RIGHT))
    assert degrees(wrap.wrap_angle, wrap.bisector_angle) == pytest.approx((180.0, 180.0))
    assert (wrap.span_before, wrap.span_after) == pytest.approx((1.0, 1.5))


def test_crossed_tangents_by_hand():
    # Equal rollers 2√2 r apart, over, under, over: strands at ±45° of length 2 r, a quarter turn.
    row = [place(0.2 * math.sqrt(2) * i, 0.0, s) for i, s in enumerate((RIGHT, LEFT, RIGHT))]
    wrap = wrap_from_rollers(*row)
    assert degrees(wrap.wrap_angle, wrap.bisector_angle) == pytest.approx((90.0, 90.0))
    assert degrees(wrap.entering_angle, wrap.leaving_angle) == pytest.approx((-45.0, 45.0))
    assert (wrap.span_before, wrap.span_after) == pytest.approx((0.2, 0.2))


# Flat-belt formulas as in Shigley's Mechanical Engineering Design, chapter "Flexible mechanical
# elements" (from memory; open and crossed forms agree with calculators that publish them):
# open π ∓ 2 asin((R − r)/C) on the small and on the large pulley, crossed π + 2 asin((R + r)/C) on
# both, free span √(C² − (R ∓ r)²). A belt comes back to the pulley it came from. Here the body
# that the web goes to is a twin of the first, swung by 70° about the load-cell roller so that both
# find room: that takes 70° off the wrap.
@pytest.mark.parametrize("cell_radius, other_radius", [(0.1, 0.25), (0.25, 0.1), (0.2, 0.2)])
@pytest.mark.parametrize("crossed", [False, True])
def test_belt_formulas(cell_radius, other_radius, crossed):
    C, swing = 0.9, math.radians(70)
    twin = cmath.rect(C, math.pi - swing)
    around = RIGHT if crossed else LEFT
    wrap = wrap_from_rollers(
        place(-C, 0.0, around, 2 * other_radius),
        place(0.0, 0.0, LEFT, 2 * cell_radius),
        place(twin.real, twin.imag, around, 2 * other_radius),
    )
    if crossed:
        belt, offset = math.pi + 2 * math.asin((other_radius + cell_radius) / C), 1.0
    else:
        belt, offset = math.pi - 2 * math.asin((other_radius - cell_radius) / C), -1.0
    span = math.sqrt(C**2 - (other_radius + offset * cell_radius) ** 2)
    assert wrap.wrap_angle == pytest.approx(belt - swing, rel=1e-12)
    assert (wrap.span_before, wrap.span_after) == pytest.approx((span, span), rel=1e-12)


def test_published_belt():
    # Shigley's first worked flat-belt example, from memory: pulleys of 6 in and 18 in, 8 ft apart,
    # wrap on the small one printed as 3.0165 rad. Metres or inches, angles are the same.
    twin = cmath.rect(96.0, math.pi / 2)
    wrap = wrap_from_rollers(
        place(-96.0, 0.0, LEFT, 18.0), place(0, 0, LEFT, 6.0), place(twin.real, 96.0, LEFT, 18.0)
    )
    assert wrap.wrap_angle + math.pi / 2 == pytest.approx(3.0165, abs=5e-5)


# Travel to the right, then up: 90° left about; the other way round it is 270° right about, and the
# strands, which are the same, pull the same way.
def test_directions():
    short = wrap_from_directions(0.0, math.pi / 2)
    assert short.turning == LEFT
    assert degrees(short.wrap_angle, short.bisector_angle) == pytest.approx((90.0, 135.0))
    assert math.isnan(short.span_before) and math.isnan(short.span_after)
    assert short.strand_before is None and short.strand_after is None
    round_about = wrap_from_directions(0.0, math.pi / 2, RIGHT)
    assert degrees(round_about.wrap_angle, round_about.bisector_angle) == pytest.approx((270, 135))
    assert wrap_from_directions(0.0, -math.pi / 2).turning == RIGHT
    back = wrap_from_directions(0.0, math.pi)
    assert degrees(back.wrap_angle) == pytest.approx((180.0,))
    assert cmath.rect(1.0, back.bisector_angle) == pytest.approx(-1.0)


@given(
    entering=st.floats(-10.0, 10.0),
    turn=st.floats(math.radians(5.1), math.radians(349.9)),
    turning=st.sampled_from([LEFT, RIGHT]),
)
def test_directions_pull_as_vectors_do(entering, turn, turning):
    leaving = entering + (turn if turning == LEFT else -turn)
    wrap = wrap_from_directions(entering, leaving, turning)
    ways = np.array([[math.cos(a), math.sin(a)] for a in (entering, leaving)])
    pull = ways[1] - ways[0]
    assert wrap.wrap_angle == pytest.approx(turn, rel=1e-9)
    assert math.hypot(*pull) == pytest.approx(web_resultant(1.0, wrap.wrap_angle), rel=1e-9)
    along = np.array([math.cos(wrap.bisector_angle), math.sin(wrap.bisector_angle)])
    assert along * math.hypot(*pull) == pytest.approx(pull, abs=1e-9)
    assert -math.pi < wrap.bisector_angle <= math.pi


SIZES = st.floats(0.02, 0.5)
SENSES = st.sampled_from([LEFT, RIGHT])
AROUND = st.tuples(st.floats(0.6, 4.0), st.floats(-math.pi, math.pi), SIZES, SENSES)


@st.composite
def drawings(draw):
    """Three rollers with a wrap that a load cell may have."""
    bodies = []
    for away, angle, size, sense in (draw(AROUND), (0.0, 0.0, draw(SIZES), draw(SENSES)),
                                     draw(AROUND)):  # fmt: skip
        at = cmath.rect(away, angle)
        bodies.append(RollerPlace(at.real, at.imag, size, sense))
    try:
        wrap = wrap_from_rollers(*bodies)
    except ValueError:
        assume(False)
    # Clear of the limits, so that a moved picture is not refused for a rounding.
    assume(math.radians(5.1) < wrap.wrap_angle < math.radians(349.9))
    return bodies, wrap


def apart(one, other):
    """Angle between two directions [rad]."""
    return abs(math.remainder(one - other, 2.0 * math.pi))


@settings(max_examples=60, deadline=None)
@given(drawings())
def test_strands_are_tangents_and_the_arc_is_the_wrap(drawing):
    bodies, wrap = drawing
    for strand, ends in ((wrap.strand_before, bodies[:2]), (wrap.strand_after, bodies[1:])):
        vector = np.array([(strand.end - strand.start).real, (strand.end - strand.start).imag])
        unit = vector / np.hypot(*vector)
        for point, body in zip((strand.start, strand.end), ends, strict=True):
            to_centre = np.array([body.x - point.real, body.y - point.imag])
            assert unit @ to_centre == pytest.approx(0.0, abs=1e-9)
            # To the left of the travelling web where the roller turns counterclockwise.
            left = unit[0] * to_centre[1] - unit[1] * to_centre[0]
            sign = 1.0 if body.turning == LEFT else -1.0
            assert left == pytest.approx(sign * 0.5 * body.diameter, abs=1e-9)
    arc = cmath.phase(wrap.strand_after.start / wrap.strand_before.end)
    sign = 1.0 if bodies[1].turning == LEFT else -1.0
    assert apart(sign * arc, wrap.wrap_angle) < 1e-6


@settings(max_examples=60, deadline=None)
@given(drawings(), st.floats(-3.0, 3.0), st.floats(-5.0, 5.0), st.floats(-5.0, 5.0))
def test_moving_and_turning_the_picture(drawing, turn, right, up):
    bodies, wrap = drawing
    at = [body.centre * cmath.rect(1.0, turn) + complex(right, up) for body in bodies]
    moved = [replace(body, x=c.real, y=c.imag) for body, c in zip(bodies, at, strict=True)]
    other = wrap_from_rollers(*moved)
    assert other.wrap_angle == pytest.approx(wrap.wrap_angle, abs=1e-7)
    assert apart(other.bisector_angle, wrap.bisector_angle + turn) < 1e-7
    assert (other.span_before, other.span_after) == pytest.approx(
        (wrap.span_before, wrap.span_after)
    )


@settings(max_examples=60, deadline=None)
@given(drawings())
def test_mirror_and_web_run_backwards(drawing):
    bodies, wrap = drawing
    mirror = wrap_from_rollers(
        *(replace(body, x=-body.x, turning=OTHER[body.turning]) for body in bodies)
    )
    assert mirror.wrap_angle == pytest.approx(wrap.wrap_angle, abs=1e-7)
    assert apart(mirror.bisector_angle, math.pi - wrap.bisector_angle) < 1e-7
    back = wrap_from_rollers(
        *(replace(body, turning=OTHER[body.turning]) for body in reversed(bodies))
    )
    assert back.wrap_angle == pytest.approx(wrap.wrap_angle, abs=1e-7)
    assert apart(back.bisector_angle, wrap.bisector_angle) < 1e-7
    assert apart(back.entering_angle, wrap.leaving_angle + math.pi) < 1e-7
    assert back.span_before == pytest.approx(wrap.span_after)


def check_layout(scenario):
    path = lay_out(scenario)
    # A machine of one roller has the nip behind it; one of its rollers lies on the web's left.
    wheels = [path.roll, *path.rollers, path.nip[0]]
    bodies = [
        RollerPlace(w.centre.real, w.centre.imag, 2.0 * w.radius, LEFT if w.side > 0 else RIGHT)
        for w in wheels[path.load_cell : path.load_cell + 3]
    ]
    wrap, cell = wrap_from_rollers(*bodies), scenario.load_cell
    assert wrap.wrap_angle == pytest.approx(cell.wrap_angle, abs=1e-9)
    assert apart(wrap.bisector_angle, cell.bisector_angle) < 1e-9
    spans = [scenario.span[path.load_cell + i].length for i in (0, 1)]
    assert (wrap.span_before, wrap.span_after) == pytest.approx(spans)
    # These drawings are right, and none of their wraps is odd.
    assert wrap.warnings == ()


def check_drawn_rollers(machine):
    rollers = drawn_rollers(machine)
    wrap, cell = wrap_from_rollers(*rollers), machine.load_cell
    assert wrap.wrap_angle == pytest.approx(cell.wrap_angle, abs=1e-9)
    assert apart(wrap.bisector_angle, cell.bisector_angle) < 1e-9
    at = next(i for i, roller in enumerate(machine.roller) if roller.load_cell)
    # The web runs away from an unwinding roll, and from the nip to any other.
    spans = [machine.span[at + i].length for i in (0, 1)]
    found = (wrap.span_before, wrap.span_after)
    assert found == pytest.approx(spans if machine.zone == "unwind" else spans[::-1])
    assert rollers[1].centre == 0.0
    assert rollers[1].diameter == pytest.approx(machine.roller[at].diameter)


def test_layouts_give_their_own_angles_back(scenario):
    check_layout(scenario)
    check_drawn_rollers(scenario)


def test_layout_of_the_worn_machine_too(worn):
    check_layout(worn)
    check_drawn_rollers(worn)


@pytest.mark.parametrize(
    "turn, word",
    [
        (20.0, None),
        (120.0, None),
        (269.0, None),
        (271.0, "is unusual"),
        (340.0, "is unusual"),
    ],
)
def test_warnings_of_the_wrap(turn, word):
    warnings = wrap_from_directions(0.3, 0.3 + math.radians(turn), LEFT).warnings
    assert len(warnings) == (word is not None)
    assert word is None or word in warnings[0]


@pytest.mark.parametrize(
    "turn, turning, words",
    [
        (0.0, None, "straight past"),
        (0.0, RIGHT, "straight past"),
        (3.0, None, "by 3° only"),
        (-3.0, RIGHT, "by 3° only"),
        (3.0, RIGHT, "turning sense of a roller is wrong.* it would be 3°"),
        (-8.0, LEFT, "by 352°"),
    ],
)
def test_turns_that_are_refused(turn, turning, words):
    with pytest.raises(ValueError, match=words):
        wrap_from_directions(1.0, 1.0 + math.radians(turn), turning)
    with pytest.raises(ValueError, match="must be numbers"):
        wrap_from_directions(math.nan, 1.0)


def test_wrong_turning_sense_on_a_drawing_says_so():
    # Rollers in a row, all above the web: it just passes. With a sunk middle roller it turns;
    # taken the wrong way round it is nearly a whole turn.
    row = [place(-1.0, 0.0, LEFT), place(0.0, 0.0, LEFT), place(1.0, 0.0, LEFT)]
    with pytest.raises(ValueError, match="straight past"):
        wrap_from_rollers(*row)
    sunk = [row[0], replace(row[1], y=-0.1), row[2]]
    # Both strands then fall by 0.1 in 1: a wrap of 2 atan 0.1 = 11.42°.
    assert degrees(wrap_from_rollers(*sunk).wrap_angle) == pytest.approx(
        (2.0 * math.degrees(math.atan(0.1)),)
    )
    raised = [row[0], replace(row[1], y=0.06), row[2]]
    with pytest.raises(ValueError, match="turning sense"):
        wrap_from_rollers(*raised)


def test_every_fault_of_a_drawing_is_told_at_once():
    with pytest.raises(ValueError) as told:
        wrap_from_rollers(
            place(math.nan, 0.0, LEFT), place(0.0, 0.0, "left"), place(1.0, 0.0, LEFT, 0.0)
        )
    lines = str(told.value).split("\n")
    assert len(lines) == 3
    assert "the roller before: its place" in lines[0]
    assert "the load-cell roller: it turns clockwise or counterclockwise, not 'left'" in lines[1]
    assert "the roller after: its diameter must be above 0 mm" in lines[2]
    with pytest.raises(ValueError) as told:
        wrap_from_rollers(place(-0.2, 0.0, LEFT), place(0.0, 0.0, LEFT), place(-0.1, 0.0, LEFT))
    assert str(told.value).count("touch or overlap") == 3
    assert "200 mm apart and must be more than 200 mm apart" in str(told.value)


def test_drawings_that_cannot_be_right_are_warned_of():
    before, cell, _ = QUARTER
    # The roller after stands in the way of the web that comes.
    blocked = wrap_from_rollers(before, cell, place(-0.5, -0.05, RIGHT, 0.14))
    assert any("before the load-cell roller runs through the roller after" in w
               for w in blocked.warnings)  # fmt: skip
    backwards = wrap_from_rollers(place(-0.5, -0.05, LEFT, 0.14), replace(cell, turning=RIGHT),
                                  replace(before, turning=RIGHT))  # fmt: skip
    assert any("behind the load-cell roller runs through the roller before" in w
               for w in backwards.warnings)  # fmt: skip
    # Straight up past the roller's right, round it by three quarters and back over its own way.
    loop = wrap_from_rollers(place(0.0, -1.0, LEFT), cell, place(1.0, 0.0, LEFT))
    assert degrees(loop.wrap_angle) == pytest.approx((270.0,))
    assert any("cross each other" in w for w in loop.warnings)
    # A small roller close by, and the web does not come from beyond the crossing: 0.07 below.
    near = wrap_from_rollers(place(0.09, -0.07, LEFT, 0.02), cell, place(1.0, 0.0, LEFT))
    assert degrees(near.wrap_angle) == pytest.approx((270.0,))
    assert not any("cross each other" in w for w in near.warnings)
    assert wrap_from_rollers(*QUARTER).warnings == ()
