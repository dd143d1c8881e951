"""Heat in a brake or clutch: energy first, then how it warms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import simpson, solve_ivp

from simulator import Action, simulate
from simulator.heat import temperature_rise, time_to_heat
from simulator.machine import roll_inertia


def warming(scenario, **changes):
    settings = {"continuous_heat": 400.0, "continuous_rise": 80.0, "thermal_time": 30.0, **changes}
    return replace(scenario, torque_device=replace(scenario.torque_device, **settings))


def test_a_fast_stop_turns_the_rolls_energy_into_heat(film):
    """Heat = energy of the roll + work of the web on it - what the bearings take (exact)."""
    plan = [Action(1.0, "output", 90.0), Action(1.0, "line speed", 0.0, over=6.0)]
    scenario = replace(film, web=replace(film.web, breaking_tension=None))
    trend = simulate(scenario, plan, duration=7.0, noise=False, runout=False)
    assert trend.roll_speed[0] > 6.0
    energy = 0.5 * roll_inertia(scenario, 0.8) * trend.roll_speed**2
    work = simpson(trend.span_tension[:, 0] * 0.4 * trend.roll_speed, x=trend.time)
    drag = simpson(
        0.5 * trend.roll_speed + 0.05 * trend.roll_speed**2, x=trend.time
    )  # bearing_drag and viscous_drag of the scenario
    heat = simpson(trend.slip_power, x=trend.time)
    assert heat == pytest.approx(energy[0] - energy[-1] + work - drag, rel=2e-3)


def test_a_constant_power_warms_it_along_an_exponential(film):
    scenario = warming(film)
    time = np.arange(0.0, 90.0, 0.5)
    rise = temperature_rise(scenario, time, np.full(time.size, 300.0), start=0.0)
    # 300 W of 400 W settle at three quarters of 80 K.
    np.testing.assert_allclose(rise, 60.0 * (1.0 - np.exp(-time / 30.0)), rtol=1e-12, atol=1e-12)


def test_a_varying_power_against_scipy(film):
    scenario = warming(film)
    time = np.arange(0.0, 60.0, 0.02)
    power = 300.0 + 250.0 * np.sin(0.4 * time)
    rise = temperature_rise(scenario, time, power, start=20.0)
    reference = solve_ivp(
        lambda t, x: (80.0 / 400.0 * (300.0 + 250.0 * math.sin(0.4 * t)) - x) / 30.0,
        (0.0, 60.0), [20.0], t_eval=time, rtol=1e-9, atol=1e-9,
    )  # fmt: skip
    np.testing.assert_allclose(rise, reference.y[0], atol=0.05)


def test_time_until_it_is_too_hot(film):
    scenario = warming(film)
    assert time_to_heat(scenario, 400.0) == math.inf
    # Twice the rating: half way to where it would settle, after ln 2 time constants.
    assert time_to_heat(scenario, 800.0) == pytest.approx(30.0 * math.log(2.0), rel=1e-12)
    time = np.linspace(0.0, time_to_heat(scenario, 800.0), 5)
    rise = temperature_rise(scenario, time, np.full(5, 800.0), start=0.0)
    assert rise[-1] == pytest.approx(80.0, rel=1e-9)


def test_a_run_starts_warm_and_says_when_it_gets_too_hot(film):
    # Running, the brake makes 150 N x 2.5 m/s = 375 W, less what the bearings take.
    scenario = warming(replace(film, web=replace(film.web, breaking_tension=None)))
    steady = simulate(scenario, duration=10.0, noise=False, runout=False)
    drag = (0.5 + 0.05 * 6.25) * 6.25
    assert steady.temperature_rise[0] == pytest.approx(80.0 * (375.0 - drag) / 400.0, rel=3e-3)
    np.testing.assert_allclose(steady.temperature_rise, steady.temperature_rise[0], rtol=1e-6)
    hot = simulate(scenario, [Action(1.0, "output", 80.0)], duration=60.0, noise=False)
    (at,) = [t for t, text in hot.events if text == "friction brake too hot"]
    assert np.interp(at, hot.time, hot.temperature_rise) == pytest.approx(80.0, rel=0.01)
    assert any("warmer than its surroundings" in text for text in hot.warnings)


def test_without_its_keys_nothing_warms(film, foil):
    trend = simulate(film, duration=1.0)
    assert trend.temperature_rise.size == 0 and trend.slip_power.size == trend.time.size
    assert simulate(foil, duration=1.0).slip_power.size == 0  # a motor does not slip
    assert math.isnan(time_to_heat(film, 5000.0))


def test_a_clutch_slips_by_what_its_driven_side_turns_faster(paper_rewind):
    trend = simulate(paper_rewind, duration=1.0, noise=False, runout=False)
    driven = 1.15 * (200.0 / 60.0) / 0.076
    np.testing.assert_allclose(
        trend.slip_power, trend.torque * (driven - trend.roll_speed), rtol=1e-9
    )
