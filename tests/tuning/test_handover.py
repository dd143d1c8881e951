"""The switch from manual to automatic: bumps where there must be some, none where not."""

import math
from dataclasses import replace

import pytest

from simulator import simulate
from tuning.design import design_for_roll
from tuning.gains import Gains
from tuning.handover import handover


@pytest.fixture(scope="module")
def gains():
    return Gains(0.06, 0.2)


def test_tracking_and_equal_setpoint_make_no_bump(film, gains):
    h = handover(film, gains)
    assert h.tension_bump < 1e-9 and abs(h.output_bump) < 1e-9
    assert h.settling == 0.0


def test_without_tracking_the_output_falls_to_where_the_integral_stood(film, gains):
    h = handover(film, gains, tracking=False)
    # The integral term stands at 0 and the error is 0: the output drops by all of what it was.
    output = simulate(film, duration=1.0, noise=False, runout=False).output[0]
    assert h.output_bump == pytest.approx(-output, rel=1e-9)
    assert h.tension_bump > 10.0


def test_a_setpoint_off_the_reading_kicks_by_the_gain(film, gains):
    # With the integral tracking, the proportional kick is already inside; the first scan moves by
    # nothing, the second by Kc h/Ti times the error.
    h = handover(film, gains, setpoint_offset=0.1)
    assert abs(h.output_bump) < 1e-9
    after = h.trend.output[h.trend.automatic == 1.0]
    error = 100.0 * 0.1 * film.run.tension / film.controller.tension_range
    step = gains.Kc * film.controller.scan_time / gains.Ti * error
    assert after[1] - after[0] == pytest.approx(step, rel=1e-6)
    assert 0.0 < h.settling < 60.0


def test_a_setpoint_that_follows_cancels_the_offset(film, gains):
    h = handover(film, gains, setpoint_offset=0.2, setpoint_follows=True)
    assert h.tension_bump < 1e-9 and abs(h.output_bump) < 1e-9


def test_recommended_gains_hand_over_quietly_everywhere(scenario):
    gains = design_for_roll(scenario).gains
    h = handover(scenario, gains, setpoint_offset=0.05)
    assert h.tension_bump < 5.0
    assert math.isfinite(h.settling)
    assert not h.warnings


def test_unstable_gains_are_called_so(film):
    h = handover(film, Gains(3.0, 0.2), setpoint_offset=0.05)
    assert any("unstable" in warning for warning in h.warnings)


@pytest.mark.parametrize("offset", [math.nan, -1.0, 3.0])
def test_refuses_an_offset_that_makes_no_sense(film, gains, offset):
    with pytest.raises(ValueError, match="setpoint_offset"):
        handover(film, gains, setpoint_offset=offset)


def test_the_setpoint_is_off_the_reading_though_the_reading_is_wrong(film):
    """A zero that is off makes no bump: the operator sees, and sets, what the display shows."""
    wrong = replace(film, load_cell=replace(film.load_cell, zero_error=-20.0))
    switch = handover(wrong, Gains(0.09, 0.2))
    assert switch.trend.setpoint[-1] == pytest.approx(130.0)
    assert switch.tension_bump < 0.1
    assert math.isfinite(switch.settling)
    assert any("calibrate the load cells" in warning for warning in switch.warnings)
    off = handover(wrong, Gains(0.09, 0.2), setpoint_offset=0.1)
    assert off.trend.web_tension[-1] == pytest.approx(163.0, abs=1.0)
    assert math.isfinite(off.settling)


def test_a_supply_that_sticks_is_named(worn):
    hunts = handover(worn, Gains(0.07, 0.2), setpoint_offset=0.05)
    assert math.isnan(hunts.settling)
    warnings = hunts.warnings
    assert any("sticks at 1.5 %" in warning and "9.51 N at full roll" in warning
               for warning in warnings)  # fmt: skip
