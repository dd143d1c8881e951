"""Rounded corners of a ramp of line speed: its shape, and the swing that they leave."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from simulator import Action, linearise, simulate
from simulator.run_kernel import ramp
from simulator.speed_change import speed_change, with_rounding


@pytest.mark.parametrize("lasts, rounding", [(4.0, 1.0), (0.5, 2.0), (3.0, 3.0)])
def test_a_rounded_ramp_is_the_running_mean_of_a_straight_one(lasts, rounding):
    time = np.arange(0.0, 9.0, 1e-3)
    straight = np.clip((time - 1.0) / lasts, 0.0, 1.0)
    area = cumulative_trapezoid(straight, time, initial=0.0)
    mean = (area - np.interp(time - rounding, time, area)) / rounding
    values = np.array([ramp(t, 2.0, 5.0, 1.0, lasts, rounding) for t in time])
    np.testing.assert_allclose(values[:, 0], 2.0 + 3.0 * mean, atol=2e-6)
    np.testing.assert_allclose(values[:, 1], np.gradient(values[:, 0], time), atol=0.02)
    assert values[:, 1].max() == pytest.approx(3.0 / max(lasts, rounding), rel=1e-6)


def test_the_line_takes_as_much_longer_as_its_corners_last(film):
    trend = simulate(
        with_rounding(film, 1.0), [Action(1.0, "fast stop")], duration=7.0, noise=False
    )
    assert np.interp(3.5, trend.time, trend.line_speed) == pytest.approx(1.25, rel=1e-3)
    assert trend.line_speed[np.searchsorted(trend.time, 5.9)] > 0.0
    assert trend.line_speed[-1] == 0.0
    assert np.all(trend.line_speed[trend.time > 6.01] == 0.0)


def test_a_corner_of_one_whole_swing_leaves_no_swing(foil):
    """Ramp-step on a lightly damped oscillator: the overshoot is |sin(pi r f)/(pi r f)|."""
    plant = linearise(foil, diameter=0.5, line_speed=4.5)
    period = 2.0 * np.pi / (plant.natural_frequency * np.sqrt(1.0 - plant.damping_ratio**2))
    errors = {}
    for share in (0.0, 0.5, 1.0, 1.5):
        scenario = with_rounding(foil, share * period)
        trend = simulate(
            scenario, [Action(1.0, "line speed", 4.0, over=8.0)], duration=8.5, line_speed=5.0,
            noise=False, runout=False,
        )  # fmt: skip
        settled = trend.web_tension[(trend.time > 6.0) & (trend.time < 8.5)].mean() - 110.0
        errors[share] = (trend.web_tension.min() - 110.0) / settled - 1.0
    assert errors[0.0] > 0.75
    assert errors[1.0] < 0.06
    for share in (0.5, 1.5):
        expected = abs(np.sinc(share)) * errors[0.0]
        # Damping over the longer corner takes a part of it.
        assert 0.6 * expected < errors[share] < 1.1 * expected


def test_compensation_follows_the_rounded_corner(foil):
    scenario = with_rounding(
        replace(foil, controller=replace(foil.controller, inertia_compensation=100.0)), 1.0
    )
    trend = simulate(
        scenario, [Action(1.0, "line speed", 4.0, over=4.0)], duration=8.0, line_speed=5.0,
        noise=False, runout=False,
    )  # fmt: skip
    added = trend.output - trend.output[0]
    # Half way up the corner half of it, on the straight part all, then down again.
    full = added[np.searchsorted(trend.time, 3.0)]
    assert full > 1.0
    assert np.interp(1.5, trend.time, added) == pytest.approx(0.5 * full, rel=0.03)
    assert np.interp(5.5, trend.time, added) == pytest.approx(0.5 * full, rel=0.03)
    assert added[-1] == pytest.approx(0.0, abs=1e-9)


def test_the_answer_counts_with_the_corner(film):
    sharp, rounded = (
        speed_change(with_rounding(film, r), "stop", diameter=0.8) for r in (0.0, 0.65)
    )
    assert abs(rounded.first_swing - rounded.held.tension) < 0.2 * abs(
        sharp.first_swing - sharp.held.tension
    )
