"""Where limits, compensation, holds and switches meet in the controller."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, SimulationError, operating_point, simulate
from simulator.plan import stiffest_web
from simulator.roll_run import run_roll
from simulator.speed_change import speed_change, with_rounding


def with_control(scenario, **changes):
    return replace(scenario, controller=replace(scenario.controller, **changes))


def quiet(scenario, plan, **run):
    return simulate(scenario, plan, noise=False, runout=False, **run)


def test_the_rate_limit_leaves_compensation_alone(film):
    """The limit is the loop's own: what is fed forward in a ramp comes at once in both modes."""
    tuned = with_control(film, Kc=0.09, Ti=0.2, inertia_compensation=100.0)
    plan = [Action(1.0, "stop")]
    free, limited = (
        quiet(with_control(tuned, output_rate=rate), plan, duration=3.0, automatic=True)
        for rate in (None, 5.0)
    )
    at = int(np.searchsorted(free.time, 1.02))
    assert free.output[at] - free.output[0] > 10.0
    assert limited.output[at] == pytest.approx(free.output[at], abs=0.1)
    assert limited.web_tension.min() == pytest.approx(free.web_tension.min(), abs=1.0)


def test_compensation_at_the_end_of_the_output_does_not_wind_the_loop_up(film):
    quick = replace(film, run=replace(film.run, acceleration_time=4.0),
                    web=replace(film.web, breaking_tension=None))  # fmt: skip
    tuned = with_control(quick, Kc=0.09, Ti=0.2, inertia_compensation=100.0)
    trend = quiet(tuned, [Action(1.0, "start")], duration=8.0, line_speed=0.25, automatic=True)
    steady = operating_point(film, diameter=0.8).output
    assert trend.output.min() == 0.0
    # Wound up it would come back 20 to 25 % above the steady output, and go on rising.
    at = int(np.searchsorted(trend.time, 4.7))
    assert trend.output[at] < steady + 2.0
    assert trend.output[at:].max() < steady + 15.0


def test_manual_pressed_in_manual_changes_nothing(film):
    quick = replace(film, run=replace(film.run, acceleration_time=4.0),
                    web=replace(film.web, breaking_tension=None))  # fmt: skip
    plan = [Action(1.0, "start"), Action(3.0, "manual")]
    trend = quiet(
        with_control(quick, inertia_compensation=100.0), plan, duration=9.0, line_speed=0.25
    )
    assert trend.output[-1] == pytest.approx(trend.output[0], abs=1e-9)


def test_manual_after_a_relay_test_goes_back_to_its_middle(film):
    trend = quiet(film, [Action(1.0, "relay", 3.0), Action(5.0, "manual")], duration=6.0)
    assert np.ptp(trend.output[trend.time < 4.9]) == pytest.approx(6.0)
    assert trend.output[-1] == pytest.approx(trend.output[0], abs=1e-9)


def test_an_automatic_start_with_a_deadband_makes_no_bump(film):
    tuned = with_control(film, deadband=3.0, Kc=1.0, Ti=5.0)
    trend = quiet(tuned, [], duration=0.1, setpoint=180.0, automatic=True)
    assert trend.output[0] == pytest.approx(operating_point(film, diameter=0.8).output, abs=1e-9)


def test_a_setpoint_ramp_begins_at_the_reading(film):
    tuned = with_control(film, Kc=0.05, Ti=0.3, setpoint_rate=10.0)
    trend = quiet(tuned, [Action(2.0, "automatic")], duration=6.0, setpoint=200.0)
    before = trend.time < 1.9
    np.testing.assert_allclose(trend.setpoint[before], 150.0, rtol=1e-6)
    at = int(np.searchsorted(trend.time, 2.0))
    assert abs(trend.output[at] - trend.output[at - 1]) < 0.2
    # 30 N/s from 150 to 200 N.
    assert np.interp(3.0, trend.time, trend.setpoint) == pytest.approx(180.0, abs=1.0)
    assert trend.setpoint[-1] == pytest.approx(200.0)


def test_a_hold_waits_for_its_delay(film):
    tuned = with_control(film, Kc=0.05, Ti=0.3, break_level=10.0, break_delay=0.5)
    short, long = (
        quiet(tuned, [Action(1.0, "dropout", over=lost)], duration=3.0, automatic=True)
        for lost in (0.3, 0.8)
    )
    assert not any("held" in text for _, text in short.events)
    (at,) = [t for t, text in long.events if text == "held on web break"]
    assert at == pytest.approx(1.5, abs=0.03)
    assert any("though the web had not broken" in text for text in long.warnings)


def test_automatic_on_a_slack_web_is_no_break_and_takes_it_up(film):
    tuned = with_control(film, Kc=0.05, Ti=0.3, break_level=10.0)
    plan = [Action(0.5, "zero error", -150.0), Action(1.0, "automatic")]
    trend = quiet(tuned, plan, duration=2.0)
    assert trend.automatic[-1] == 1.0


def test_while_held_the_output_stays_in_a_ramp(film):
    weak = replace(film, web=replace(film.web, breaking_tension=400.0))
    tuned = with_control(weak, Kc=0.05, Ti=0.3, break_level=10.0, break_output=20.0,
                         inertia_compensation=100.0)  # fmt: skip
    plan = [Action(1.0, "automatic"), Action(2.0, "line speed", 5.0, over=0.5),
            Action(8.0, "fast stop")]  # fmt: skip
    trend = quiet(tuned, plan, duration=12.0)
    assert any(text == "held on web break" for _, text in trend.events)
    np.testing.assert_allclose(trend.output[trend.time > 7.0], 20.0, rtol=1e-12)


def test_a_tapered_setpoint_is_held_against_the_break_level(paper_rewind):
    low = with_control(paper_rewind, taper=70.0, break_level=13.0)
    assert any("would pass for a web break" in text for text in low.warnings)


def test_a_zero_that_is_set_is_set_though_it_drifts(film):
    drifting = replace(film, load_cell=replace(film.load_cell, zero_drift=1.0))
    trend = quiet(drifting, [Action(10.0, "zero error", 0.0)], duration=12.0)
    assert trend.tension[np.searchsorted(trend.time, 9.9)] == pytest.approx(159.9, abs=0.1)
    assert np.interp(10.0, trend.time, trend.tension) == pytest.approx(150.0, abs=0.1)
    assert trend.tension[-1] == pytest.approx(152.0, abs=0.1)


def test_a_speed_set_at_once_counts_for_the_stop_after_it(film):
    plan = [Action(1.0, "line speed", 1.0), Action(1.0, "fast stop")]
    trend = quiet(film, plan, duration=4.0)
    # From 1.0 m/s at 2.5 m/s in 4 s: 1.6 s.
    assert np.interp(1.8, trend.time, trend.line_speed) == pytest.approx(0.5, abs=0.01)
    assert trend.line_speed[np.searchsorted(trend.time, 1.04)] < 1.0


def test_a_negative_setpoint_is_refused():
    with pytest.raises(SimulationError, match="setpoint -5: must be 0 or more"):
        Action(1.0, "setpoint", -5.0)


def test_a_stiff_splice_shortens_the_step(scenario):
    """Ten times as stiff, against steps twenty times finer."""
    plan = [Action(0.5, "web modulus", 10.0)]
    assert stiffest_web([*plan, Action(1.0, "web thickness", 2.0)]) == 20.0
    tough = replace(scenario, web=replace(scenario.web, breaking_tension=None))
    coarse, fine = (
        quiet(tough, plan, duration=2.5, step_share=share).web_tension for share in (0.4, 0.02)
    )
    assert np.abs(coarse - fine).max() < 2e-3 * scenario.controller.tension_range


def test_a_thin_web_breaks_sooner(film):
    weak = replace(film, web=replace(film.web, breaking_tension=400.0))
    trend = quiet(weak, [Action(1.0, "web thickness", 0.25)], duration=4.0)
    assert any(text == "web break" for _, text in trend.events)


def test_heat_keeps_pace_with_a_roll_in_fast_motion(paper_rewind):
    device = replace(
        paper_rewind.torque_device, thermal_time=600.0, continuous_rise=80.0, continuous_heat=4e3
    )
    scenario = replace(paper_rewind, torque_device=device)
    peaks = [
        run_roll(
            scenario, time_compression=c, automatic=False, noise=False, runout=False
        ).temperature_rise.max()
        for c in (20.0, 80.0)
    ]
    assert peaks[0] == pytest.approx(peaks[1], rel=0.05)


def test_corners_longer_than_the_ramp_lower_its_slope(film):
    slow = with_rounding(film, 10.0)
    change = speed_change(slow, "fast stop", diameter=0.8)
    assert change.acceleration == pytest.approx(-0.25)
    trend = quiet(slow, [Action(1.0, "fast stop")], duration=9.0)
    assert not trend.web_lost
    # Slack at 2.5 m/s in 4 s, but not at what the corners make of it.
    assert change.held.lost == ""
