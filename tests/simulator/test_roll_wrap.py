"""The wrap beside a roll that shrinks, against triangles worked by hand."""

import math
from dataclasses import replace

import pytest

from simulator.roll_wrap import wrap_over_roll
from simulator.roll_wrap_figure import draw_roll_wrap
from simulator.units import METRIC, US_CUSTOMARY
from simulator.web_wrap import RollerPlace, wrap_from_rollers
from tests.tuning.pictures import check_readable

LEFT, RIGHT = "counterclockwise", "clockwise"


def degrees(*angles):
    return tuple(math.degrees(angle) for angle in angles)


def place(x, y, turning, diameter=0.2):
    return RollerPlace(x, y, diameter, turning)


# Roll and roller on one side of the web, 1 m apart in a row: the web rises by asin((R − r)/C), and
# leaves straight up. Full: R − r = C/2, so it comes at 30° and turns by 60°; core: R = r, 90°.
OVER_ROLL = (place(-1.0, 0.0, LEFT, 1.2), place(0.0, 0.0, LEFT), place(0.0, 1.0, LEFT))


def test_the_roll_beside_the_load_cell_by_hand():
    found = wrap_over_roll(*OVER_ROLL, core_diameter=0.2, sensing_angle=math.radians(135))
    assert degrees(found.full.wrap_angle, found.core.wrap_angle) == pytest.approx((60.0, 90.0))
    assert degrees(found.full.bisector_angle) == pytest.approx((150.0,))
    # Along 135°: √2 at the core, 2 sin 30° cos 15° at full roll.
    gain = math.sqrt(2.0) / math.cos(math.radians(15.0))
    assert found.gain_at_core == pytest.approx(gain)
    assert found.largest_change == pytest.approx(gain - 1.0)
    assert (found.diameters[0], found.diameters[-1]) == (1.2, 0.2)
    assert (found.gains[0], found.gains[-1]) == pytest.approx((1.0, gain))
    assert degrees(found.wraps[0], found.wraps[-1]) == pytest.approx((60.0, 90.0))
    assert "from 60° at full roll to 90° at the core" in found.warnings[0]
    # The loop lets tension fall to 1/1.4641.
    assert "up to +46 %" in found.warnings[0] and "tension go -32 %" in found.warnings[0]
    assert "Put an idler" in found.warnings[0]


def test_the_same_with_the_web_running_to_the_roll():
    back = [replace(p, turning=RIGHT) for p in reversed(OVER_ROLL)]
    options = {"core_diameter": 0.2, "sensing_angle": math.radians(-45)}
    found = wrap_over_roll(*back, roll="after", **options)
    assert found.gain_at_core == pytest.approx(math.sqrt(2.0) / math.cos(math.radians(15.0)))


def test_a_gain_that_returns_at_the_core_is_seen_between():
    # The load along u is u·d_out − u·d_in: with u at 195° it is cos 15° − sin 15° at 0° and at 30°,
    # and 1 − sin 15° between.
    found = wrap_over_roll(*OVER_ROLL, core_diameter=0.2, sensing_angle=math.radians(195))
    c, s = math.cos(math.radians(15)), math.sin(math.radians(15))
    assert found.gain_at_core == pytest.approx(1.0)
    assert found.largest_change == pytest.approx((1.0 - s) / (c - s) - 1.0, rel=2e-3)
    assert found.warnings


def test_a_roll_that_hardly_changes_the_reading_is_no_worry():
    far = (replace(OVER_ROLL[0], x=-60.0), *OVER_ROLL[1:])
    found = wrap_over_roll(*far, core_diameter=0.2, sensing_angle=math.radians(135))
    # Half a degree of wrap at 90°: half of 0.0083 by ½ cot(b/2), which is 0.5 a radian.
    assert found.gain_at_core - 1.0 == pytest.approx(0.5 * math.asin(0.5 / 60.0), rel=0.02)
    assert found.warnings == ()


@pytest.mark.parametrize(
    "options, words",
    [
        ({"core_diameter": 1.2}, "smaller than the full roll of 1200 mm, not 1200 mm"),
        ({"core_diameter": -0.1}, "must be above 0 mm"),
        ({"core_diameter": math.nan}, "must be above 0 mm"),
        ({"core_diameter": 0.2, "sensing_angle": math.radians(50)}, "the cells feel nothing"),
        ({"core_diameter": 0.2, "sensing_angle": math.radians(60)}, "bisector at full roll"),
    ],
)
def test_rolls_that_are_refused(options, words):
    with pytest.raises(ValueError, match=words):
        wrap_over_roll(*OVER_ROLL, **{"sensing_angle": math.radians(135), **options})


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_the_picture_is_readable_and_true(units):
    found = wrap_over_roll(*OVER_ROLL, core_diameter=0.2, sensing_angle=math.radians(135))
    figure = draw_roll_wrap(found, tension=100.0, units=units)
    assert f"tension held [{units.label('tension')}]" in check_readable(figure)
    web, display = figure.axes[1].lines
    # The display stands at 100 N while the web falls to 100 N cos 15°/√2 at the core.
    held = units.show(100.0 * math.cos(math.radians(15.0)) / math.sqrt(2.0), "tension")
    assert web.get_ydata()[-1] == pytest.approx(held)
    assert set(display.get_ydata()) == {units.show(100.0, "tension")}


def test_a_web_that_lifts_off_as_the_roll_shrinks_says_at_which_diameter():
    # At full roll the web falls to the roller at 14°, at the core it passes it.
    bodies = (place(-1.0, 0.0, RIGHT, 0.9), place(0.0, 0.3, LEFT), place(1.0, 0.3, LEFT))
    assert wrap_from_rollers(*bodies).wrap_angle > math.radians(5.0)
    with pytest.raises(ValueError, match=r"with a roll of [\d.]+ mm: the web"):
        wrap_over_roll(*bodies, core_diameter=0.05, sensing_angle=math.radians(90))
