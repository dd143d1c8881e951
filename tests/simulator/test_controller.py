"""What the controller does besides PID, and what can go wrong with its reading."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import (
    Action,
    kernel,
    linearise,
    operating_point,
    read_scenario,
    scenario_text,
    simulate,
)
from simulator.machine import kernel_controller, roll_inertia, running_tension, taper_at
from simulator.sensing_and_control import ScheduledGains


def with_control(scenario, **changes):
    return replace(scenario, controller=replace(scenario.controller, **changes))


def with_cell(scenario, **changes):
    return replace(scenario, load_cell=replace(scenario.load_cell, **changes))


def quiet(scenario, plan, **run):
    return simulate(scenario, plan, noise=False, runout=False, **run)


# Inertia compensation


@pytest.mark.parametrize("share", [0.0, 50.0, 100.0])
def test_compensation_leaves_its_share_of_the_inertia(foil, share):
    """In a long ramp the tension is off by (1 - share) J a/R² (closed form)."""
    scenario = with_control(foil, inertia_compensation=share)
    plan = [Action(2.0, "line speed", 5.0, over=8.0)]
    trend = quiet(scenario, plan, duration=10.0, line_speed=4.0)
    plateau = (trend.time > 6.0) & (trend.time < 10.0)
    off = trend.span_tension[plateau, 0].mean() - trend.span_tension[0, 0]
    full = roll_inertia(foil, 0.5) * 0.125 / 0.25**2
    # Viscous drag grows with the speed, and helps the torque motor hold: 0.02 N m s per radius.
    drag = -0.02 * (np.mean(trend.roll_speed[plateau]) - trend.roll_speed[0]) / 0.25
    assert full > 5.0
    assert off == pytest.approx((1.0 - 0.01 * share) * full - drag, abs=0.05 * full)


def test_compensation_works_the_right_way_round_on_a_rewind(paper_rewind):
    plan = [Action(2.0, "line speed", 2.0, over=10.0)]
    settings = {"duration": 12.0, "diameter": 0.6}
    errors = []
    for share in (0.0, 100.0):
        scenario = with_control(paper_rewind, inertia_compensation=share)
        trend = quiet(scenario, plan, **settings)
        errors.append(trend.web_tension[-40:].mean() - trend.web_tension[0])
    # A rewind that slows down gives its energy to the web: tension rises.
    assert errors[0] > 5.0
    assert abs(errors[1]) < 0.2 * errors[0]


def test_compensation_makes_no_bump_at_the_switch(foil):
    scenario = with_control(foil, inertia_compensation=100.0, Kc=0.02, Ti=0.5)
    plan = [Action(1.0, "line speed", 5.0, over=10.0), Action(5.0, "automatic")]
    trend = quiet(scenario, plan, duration=8.0, line_speed=4.0)
    at = int(np.searchsorted(trend.time, 5.0))
    assert trend.automatic[at] == 1.0
    assert abs(trend.output[at] - trend.output[at - 1]) < 0.05


# Gain schedule


def scheduled(film):
    points = ScheduledGains(0.8, 0.2, 0.4, 0.0), ScheduledGains(0.1, 0.02, 0.1, 0.0)
    return with_control(film, schedule=points)


def test_scheduled_gains_stand_on_a_straight_line(film):
    from simulator.control_kernel import gains_at

    k = kernel_controller(scheduled(film))
    half = gains_at(k, 0.225)  # a diameter of 0.45 m, half way
    assert half == pytest.approx((0.11, 0.25, 0.0))
    assert gains_at(k, 0.6) == pytest.approx((0.2, 0.4, 0.0))
    assert gains_at(k, 0.045) == pytest.approx((0.02, 0.1, 0.0))


def test_a_schedule_gives_what_its_gains_give_there(film):
    plan = [Action(1.0, "setpoint", 160.0)]
    one = quiet(scheduled(film), plan, duration=6.0, diameter=0.45, automatic=True)
    other = quiet(
        with_control(film, Kc=0.11, Ti=0.25), plan, duration=6.0, diameter=0.45, automatic=True
    )
    np.testing.assert_allclose(one.web_tension, other.web_tension, rtol=1e-9)


def test_moving_gains_make_no_bump(film):
    """Half the setpoint weight: without care the output would jump with the gain."""
    scenario = with_control(scheduled(film), setpoint_weight=0.5)
    trend = quiet(scenario, [], duration=20.0, automatic=True, time_compression=200.0)
    assert trend.diameter[-1] < 0.75
    assert np.abs(trend.web_tension - 150.0).max() < 12.0
    assert np.abs(np.diff(trend.output)).max() < 0.2


def test_a_schedule_survives_the_file(film):
    scenario = scheduled(film)
    text = scenario_text(scenario)
    assert "[[controller.schedule]]" in text
    assert read_scenario(text) == scenario


# Setpoint: ramp and taper


def test_setpoint_ramp(film):
    # 10 %/s of 300 N: 30 N/s.
    scenario = with_control(film, Kc=0.05, Ti=0.3, setpoint_rate=10.0)
    trend = quiet(scenario, [Action(1.0, "setpoint", 180.0)], duration=4.0, automatic=True)
    np.testing.assert_allclose(
        trend.setpoint, np.clip(150.0 + 30.0 * (trend.time - 0.98), 150.0, 180.0), atol=1e-6
    )


@pytest.mark.parametrize(
    "shape, at, share",
    # Worked by hand, taper 30 %, core 152 mm and full 900 mm. Linear: at 526 mm, half of the
    # build-up, 1 - 0.15; at full 1 - 0.3. Hyperbolic: at 304 mm, twice the core, 1 - 0.3/2; at
    # full 1 - 0.3 (1 - 152/900).
    [
        ("linear", 0.526, 0.85),
        ("linear", 0.9, 0.70),
        ("hyperbolic", 0.304, 0.85),
        ("hyperbolic", 0.9, 0.750667),
        ("linear", 0.152, 1.0),
        ("hyperbolic", 0.152, 1.0),
    ],
)
def test_taper(paper_rewind, shape, at, share):
    scenario = with_control(paper_rewind, taper=30.0, taper_shape=shape)
    assert taper_at(scenario, at) == pytest.approx(share, abs=1e-6)
    assert running_tension(scenario, at) == pytest.approx(240.0 * share, abs=1e-3)
    trend = quiet(scenario, [], duration=1.0, diameter=at)
    assert trend.web_tension[0] == pytest.approx(240.0 * share, rel=1e-5)
    assert trend.setpoint[0] == pytest.approx(240.0 * share, rel=1e-5)
    assert operating_point(scenario, diameter=at).tension == pytest.approx(240.0 * share, rel=1e-5)


def test_the_loop_follows_the_taper(paper_rewind):
    scenario = with_control(paper_rewind, taper=30.0, Kc=0.2, Ti=0.32)
    trend = quiet(scenario, [], duration=60.0, diameter=0.4, automatic=True, time_compression=20.0)
    wanted = 240.0 * (1.0 - 0.3 * (trend.diameter - 0.152) / (0.9 - 0.152))
    np.testing.assert_allclose(trend.setpoint, wanted, rtol=1e-6)
    late = trend.time > 10.0
    np.testing.assert_allclose(trend.web_tension[late], wanted[late], rtol=0.02)


# Deadband


def test_inside_its_deadband_the_controller_does_nothing(film):
    scenario = with_control(film, Kc=0.05, Ti=0.3, deadband=2.0)  # of 300 N: 6 N
    trend = quiet(scenario, [Action(1.0, "setpoint", 155.0)], duration=10.0, automatic=True)
    np.testing.assert_allclose(trend.output, trend.output[0], rtol=1e-12)
    trend = quiet(scenario, [Action(1.0, "setpoint", 170.0)], duration=30.0, automatic=True)
    # It stops where the error enters the band.
    assert trend.web_tension[-1] == pytest.approx(164.0, abs=0.2)


# Hold on web break


def test_a_web_break_puts_the_controller_on_hold(film):
    weak = replace(film, web=replace(film.web, breaking_tension=400.0))
    plan = [Action(1.0, "automatic"), Action(2.0, "line speed", 5.0, over=1.0)]
    held = quiet(with_control(weak, Kc=0.05, Ti=0.3, break_level=10.0), plan, duration=12.0)
    (broken,) = [t for t, text in held.events if text == "web break"]
    (hold,) = [t for t, text in held.events if text == "held on web break"]
    # The filter of 100 ms takes its time from above 400 N to 30 N.
    assert broken < hold < broken + 0.6
    after = held.time > hold
    assert np.all(held.automatic[after] == 0.0)
    np.testing.assert_allclose(held.output[after], held.output[after][0], rtol=1e-12)
    # Without the hold the integral term winds the brake up to its limit.
    wound = quiet(with_control(weak, Kc=0.05, Ti=0.3), plan, duration=12.0)
    assert wound.output[-1] == pytest.approx(100.0)
    # Or the brake goes to a set output and stops the roll.
    stopped = quiet(
        with_control(weak, Kc=0.05, Ti=0.3, break_level=10.0, break_output=80.0), plan,
        duration=25.0,
    )  # fmt: skip
    assert stopped.output[-1] == pytest.approx(80.0)
    assert stopped.roll_speed[-1] == 0.0


def test_a_start_from_slack_web_is_no_web_break(film):
    scenario = with_control(film, Kc=0.05, Ti=0.3, break_level=10.0)
    trend = quiet(scenario, [Action(0.5, "automatic")], duration=3.0, tension=5.0, setpoint=150.0)
    assert trend.automatic[-1] == 1.0


# Faults of the reading


def test_zero_and_gain_error_show_on_the_display_not_on_the_web(film):
    scenario = with_cell(film, zero_error=8.0, gain_error=-10.0)
    manual = quiet(scenario, [], duration=1.0)
    assert manual.web_tension[0] == pytest.approx(150.0)
    assert manual.tension[0] == pytest.approx(0.9 * 150.0 + 8.0)
    # In automatic the display is right and the web is off.
    tuned = with_control(scenario, Kc=0.05, Ti=0.3)
    automatic = quiet(tuned, [], duration=20.0, automatic=True, setpoint=150.0)
    # (to the little that the play of the supply leaves)
    assert automatic.tension[-1] == pytest.approx(150.0, abs=0.6)
    assert automatic.web_tension[-1] == pytest.approx((150.0 - 8.0) / 0.9, abs=0.6)


def test_a_drifting_zero_carries_the_tension_away(film):
    scenario = with_control(with_cell(film, zero_drift=0.5), Kc=0.05, Ti=0.3)
    trend = quiet(scenario, [], duration=60.0, automatic=True)
    # Integral action lags behind a ramp by its slope times Ti/(Kc K) (closed form).
    lag = 0.5 * 0.3 / 0.05 / linearise(film, diameter=0.8).static_gain
    assert trend.tension[-1] == pytest.approx(150.0 + lag, abs=0.3)
    assert trend.web_tension[-1] == pytest.approx(150.0 + lag - 0.5 * 60.0, abs=0.3)


def test_a_zero_that_jumps(film):
    trend = quiet(film, [Action(1.0, "zero error", 12.0)], duration=2.0)
    after = trend.time >= 1.0
    np.testing.assert_allclose(trend.tension[after], 162.0, rtol=1e-6)
    np.testing.assert_allclose(trend.web_tension, 150.0, rtol=1e-9)


def test_a_lost_signal_reads_as_its_lower_end(film):
    # 3.8 mA of 4 … 20 mA: -1.25 % of 300 N (NAMUR NE 43, from memory).
    trend = quiet(film, [Action(1.0, "dropout", over=0.5)], duration=2.0)
    lost = (trend.time >= 1.0) & (trend.time < 1.5 - 1e-9)
    np.testing.assert_allclose(trend.tension[lost], -3.75)
    np.testing.assert_allclose(trend.tension[~lost], 150.0, rtol=1e-6)
    # A loop in automatic without a hold drives the brake up meanwhile.
    tuned = with_control(film, Kc=0.05, Ti=0.3)
    blind = quiet(tuned, [Action(1.0, "dropout", over=0.5)], duration=3.0, automatic=True)
    assert blind.web_tension.max() > 160.0


def test_the_reading_has_steps(film):
    trend = simulate(with_cell(film, resolution=2.0), duration=20.0)
    assert set(np.round(np.unique(trend.tension) / 2.0, 9) % 1.0) == {0.0}
    # Noise through a coarse step adds step²/12 to its variance (Bennett 1948; from memory).
    fine = simulate(with_cell(film, noise=2.0, resolution=1.0), duration=400.0, runout=False)
    assert np.var(fine.tension) == pytest.approx(2.0**2 + 1.0 / 12.0, rel=0.03)


# Motor and gear


def test_a_rotor_counts_with_the_square_of_its_gear(foil):
    scenario = replace(foil, torque_device=replace(foil.torque_device, rotor_inertia=0.01))
    # gear_ratio 4: 0.16 kg m² at the roll, the same as a core heavier by that.
    assert roll_inertia(scenario, 0.3) - roll_inertia(foil, 0.3) == pytest.approx(0.16)
    core = replace(foil, roll=replace(foil.roll, core_inertia=foil.roll.core_inertia + 0.16))
    plan = [Action(0.5, "output", 55.0)]
    np.testing.assert_allclose(
        quiet(scenario, plan, duration=3.0).web_tension,
        quiet(core, plan, duration=3.0).web_tension,
        rtol=1e-9,
    )


def test_gear_friction_helps_to_hold_back_and_hinders_winding(foil, laminate):
    for machine, diameter, sign in ((foil, 0.5, -1.0), (laminate, 0.3, 1.0)):
        device = replace(machine.torque_device, gear_friction=0.3)
        rough = replace(machine, torque_device=device)
        smooth, more = (operating_point(s, diameter=diameter).torque for s in (machine, rough))
        assert more - smooth == pytest.approx(sign * 0.3, rel=1e-6)
    # At rest it holds the roll against a light pull.
    device = replace(foil.torque_device, gear_friction=8.0)
    held = quiet(
        replace(foil, torque_device=device), [Action(0.5, "output", 10.0)], duration=2.0,
        line_speed=0.0,
    )  # fmt: skip
    assert np.all(held.roll_speed == 0.0)


def test_a_motor_pulls_both_ways(foil):
    """Below its residual torque the motor helps the roll: tension falls below the roll's drag."""
    point = operating_point(foil, diameter=0.2, tension=3.0)
    assert point.torque < 0.0 and point.reachable
    trend = quiet(foil, [], duration=2.0, diameter=0.2, tension=3.0)
    np.testing.assert_allclose(trend.web_tension, 3.0, rtol=1e-6)
    assert trend.torque[0] < 0.0


def test_the_kernels_agree_on_what_a_machine_is(scenario):
    """Inertia by the compiled kernel and by plain Python, at any diameter."""
    from simulator.machine import kernel_machine, named_diameters

    m = kernel_machine(scenario)
    for d in named_diameters(scenario).values():
        assert kernel.roll_inertia(m, 0.5 * d) == pytest.approx(
            roll_inertia(scenario, d), rel=1e-12
        )
    assert math.isfinite(kernel.device_torque(m, 50.0))
