"""A clutch that lets go of its roll, takes it along, and can't hold more than its torque."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, simulate
from simulator.machine import roll_inertia


@pytest.fixture
def torn(paper_rewind):
    """The paper rewind with a web that breaks at once when the clutch is opened up."""
    return replace(paper_rewind, web=replace(paper_rewind.web, breaking_tension=300.0))


def run(scenario, plan, duration):
    return simulate(scenario, plan, duration=duration, diameter=0.9, noise=False, runout=False)


def test_a_coasting_roll_goes_on_coasting_when_the_line_restarts(torn):
    plan = [
        Action(1.0, "output", 100.0), Action(18.0, "output", 0.0),
        Action(20.0, "line speed", 0.0, over=0.5), Action(22.0, "line speed", 0.5, over=5.0),
    ]  # fmt: skip
    trend = run(torn, plan, 30.0)
    at = trend.time > 20.6
    # 37 kg m² with 3 N m at most of clutch and some of drag: no faster than that.
    most = (5.0 + 1.0 + 0.1 * 60.0) / roll_inertia(torn, 0.9)
    assert trend.roll_speed[at][0] > 30.0
    assert np.abs(np.diff(trend.roll_speed[at]) / 0.025).max() < most


def test_a_locked_clutch_passes_no_more_than_its_torque_when_the_line_stops_fast(torn):
    plan = [Action(1.0, "output", 100.0), Action(18.0, "output", 5.0), Action(20.0, "fast stop")]
    trend = run(torn, plan, 34.0)
    driven = 1.15 * trend.line_speed / 0.076
    locked = (trend.time > 18.5) & (trend.time < 19.5)
    np.testing.assert_allclose(trend.roll_speed[locked], driven[locked], rtol=1e-9)
    stop = (trend.time > 20.2) & (trend.time < 25.0)
    # 5 % of 3 … 180 N m are 11.85 N m, with bearings and viscous drag the most that slows the roll.
    slows = -np.gradient(trend.roll_speed, trend.time)[stop] * roll_inertia(torn, 0.9)
    assert slows.max() < 11.85 + 1.0 + 0.1 * trend.roll_speed.max() + 0.3
    assert np.all(trend.roll_speed[stop] > driven[stop])
    assert trend.torque[stop].max() < 0.0
    # It slips, so it heats.
    assert trend.slip_power[stop].max() > 50.0


def test_a_locked_clutch_that_is_strong_enough_takes_the_roll_along(torn):
    plan = [Action(1.0, "output", 100.0), Action(20.0, "line speed", 3.2, over=20.0)]
    trend = run(torn, plan, 39.0)
    moving = (trend.time > 21.0) & (trend.time < 39.0)
    driven = 1.15 * trend.line_speed / 0.076
    np.testing.assert_allclose(trend.roll_speed[moving], driven[moving], rtol=1e-9)
    # What it passes is drag and inertia (closed form).
    slows = (3.2 - 200.0 / 60.0) / 20.0 * 1.15 / 0.076
    expected = roll_inertia(torn, 0.9) * slows + 1.0 + 0.1 * driven[moving]
    np.testing.assert_allclose(trend.torque[moving], expected, rtol=1e-6)


def test_an_instant_change_of_line_speed_tears_a_locked_clutch_off(torn):
    plan = [Action(1.0, "output", 100.0), Action(20.0, "line speed", 1.0)]
    trend = run(torn, plan, 24.0)
    assert trend.roll_speed[np.searchsorted(trend.time, 20.05)] > 1.9 * 1.15 * 1.0 / 0.076
