"""Where the cells face, by hand: 100 N of web at 180° pulls with 200 N, 10.2 kg weigh 100 N."""

import math
from dataclasses import replace

import pytest

from simulator.cell_placement import place_cells

HUNDRED_NEWTON = 100.0 / 9.80665  # [kg]; standard gravity, exact


@pytest.fixture
def good(laminate):
    """The pull roll: cells far from any roll, along the resultant, 100 N of running tension."""
    return with_cell(
        replace(laminate, run=replace(laminate.run, tension=100.0)),
        wrap_angle=math.pi, bisector_angle=-0.5 * math.pi, sensing_angle=0.5 * math.pi,
        roller_mass=HUNDRED_NEWTON, rated_load=500.0,
    )  # fmt: skip


def with_cell(scenario, **change):
    return replace(scenario, load_cell=replace(scenario.load_cell, **change))


def test_along_the_resultant_nothing_is_lost(good):
    found = place_cells(good)
    assert found.best_angle == pytest.approx(-0.5 * math.pi)
    assert found.off_axis == pytest.approx(0.0, abs=1e-7)
    assert found.lost == pytest.approx(0.0, abs=1e-9)
    assert found.forces.load == pytest.approx(300.0)
    assert found.balanced_tension == pytest.approx(-50.0)
    # Half a turn of wrap: the load has its maximum there.
    assert found.gain_per_degree == pytest.approx(0.0, abs=1e-9)
    assert found.warnings == ()


# cos 10° = 0.9848, cos 30° = 0.8660, cos 60° = 1/2: any table.
@pytest.mark.parametrize("off, lost", [(10.0, 1.519), (30.0, 13.397), (60.0, 50.0)])
@pytest.mark.parametrize("turned", [0.0, math.pi, -math.pi])
def test_off_the_resultant_the_cosine_is_lost(good, off, lost, turned):
    angle = -0.5 * math.pi + math.radians(off) + turned
    found = place_cells(with_cell(good, sensing_angle=math.remainder(angle, 2 * math.pi)))
    assert found.off_axis == pytest.approx(math.radians(off))
    assert found.lost == pytest.approx(lost, abs=1e-3)
    assert abs(found.forces.web_across) == pytest.approx(200.0 * math.sin(math.radians(off)))


def test_a_strand_that_turns_by_a_degree(good):
    # 2 sin(b/2) at 60° is 1, at 61° 1.01508: 1.5 % a degree.
    found = place_cells(with_cell(good, wrap_angle=math.radians(60.0)))
    assert found.gain_per_degree == pytest.approx(100.0 * (1.015077 - 1.0), abs=0.01)
    # 90° of wrap and 15° off: strands at 60° and 30° to the axis make cos 60° + cos 30° = 1.36603;
    # the one at 60° turned by a degree 1.38106 (1.10 %), the other less.
    found = place_cells(
        with_cell(good, wrap_angle=0.5 * math.pi, sensing_angle=math.radians(-75.0))
    )
    cosines = [math.cos(math.radians(angle)) for angle in (30.0, 60.0, 59.0)]
    turned = (cosines[0] + cosines[2]) / (cosines[0] + cosines[1]) - 1.0
    assert found.gain_per_degree == pytest.approx(100.0 * turned, abs=0.01)


LEVEL = {"bisector_angle": 0.0, "sensing_angle": 0.0}
UP = {"bisector_angle": 0.5 * math.pi, "sensing_angle": 0.5 * math.pi}


@pytest.mark.parametrize(
    "change, says",
    [
        ({"sensing_angle": math.radians(-65.0)}, "sense 25° away"),
        # 100 N of weight against 2 N a newton of web: nothing is felt at 50 N, half of running.
        ({**UP, "roller_mass": 1.9 * HUNDRED_NEWTON}, "close to the running tension"),
        ({**UP, "roller_mass": 0.9 * HUNDRED_NEWTON}, "up to 45 N"),
        ({"sensing_angle": math.radians(-50.0), "rated_load": 100.0}, "bears across its axis"),
        # Level cells and 210 N of roller: 105 N across each, above half of 200 N.
        ({**LEVEL, "roller_mass": 2.1 * HUNDRED_NEWTON, "rated_load": 200.0}, "up to 105 N"),
        ({"wrap_angle": math.radians(29.0)}, "is small"),
        ({"wrap_angle": math.radians(331.0)}, "work apart"),
    ],
)
def test_each_warning_has_its_case(good, change, says):
    assert any(says in text for text in place_cells(with_cell(good, **change)).warnings)


@pytest.mark.parametrize(
    "change",
    [
        {"sensing_angle": math.radians(-71.0)},
        {**UP, "roller_mass": 0.0},
        # Nothing is felt at 650 N only, beyond the measured scale.
        {**UP, "roller_mass": 13.0 * HUNDRED_NEWTON, "rated_load": 1e5},
        {"wrap_angle": math.radians(31.0)},
        {"wrap_angle": math.radians(329.0)},
        # 95 N across each cell, below half of 200 N.
        {**LEVEL, "roller_mass": 1.9 * HUNDRED_NEWTON, "rated_load": 200.0},
    ],
)
def test_just_short_of_it_there_is_none(good, change):
    assert place_cells(with_cell(good, **change)).warnings == ()


def test_next_to_the_roll(film, paper_rewind, laminate):
    assert place_cells(film).next_to_roll
    assert any("put an idler between" in text for text in place_cells(film).warnings)
    assert not place_cells(laminate).next_to_roll
    far = replace(film, span=(*film.span, film.span[0]),
                  roller=(replace(film.roller[0], load_cell=False), *film.roller))  # fmt: skip
    assert not place_cells(far).next_to_roll
    assert not any("idler" in text for text in place_cells(far).warnings)
