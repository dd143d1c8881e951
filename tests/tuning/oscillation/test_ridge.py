"""Ridges of oscillations whose frequency and amplitude are known at every moment."""

import math

import numpy as np
import pytest
from scipy import signal

from tuning.oscillation.ridge import ridge


def noise(samples, seed):
    return np.random.default_rng(seed).standard_normal(samples)


@pytest.mark.parametrize("change", [-0.3, -0.1, 0.03, 0.1, 0.3])
def test_a_chirp_is_followed(change):
    t = np.arange(5000) * 0.1
    # scipy's chirp: linear in frequency from f0 at 0 to f1 at t1
    low, high = 0.5 * (1 - change / 2), 0.5 * (1 + change / 2)
    values = 2.0 * signal.chirp(t, low, 500.0, high) + 0.5 * noise(5000, 1)
    seen = ridge(values, 0.1, low=0.35, high=0.7)
    true = low + (high - low) * seen.time / 500.0
    assert seen.frequency == pytest.approx(true, rel=0.02)
    assert seen.amplitude == pytest.approx(2.0, rel=0.13)  # the noise alone: 3 % rms
    assert np.mean(seen.amplitude) == pytest.approx(2.0, rel=0.01)
    assert seen.drift == pytest.approx(change, abs=0.005)
    assert seen.course == "drifting"
    assert seen.strength == "steady"


@pytest.mark.parametrize(("samples", "amplitude"), [(600, 3.0), (1000, 1.0), (5000, 0.5)])
def test_a_constant_sine_is_seldom_called_anything_else(samples, amplitude):
    t = np.arange(samples)
    drifting = changing = 0
    ratios = []
    for seed in range(60):
        values = amplitude * np.sin(2 * math.pi * 0.05 * t + seed) + noise(samples, seed)
        seen = ridge(values, 1.0, low=0.035, high=0.07)
        drifting += seen.course != "constant"
        changing += seen.strength != "steady"
        ratios.append(seen.drift / seen.drift_error)
    assert drifting <= 2
    assert changing <= 5
    assert np.std(ratios) < 1.0


@pytest.mark.parametrize("rate", [-4.0, -2.0, -0.5, 0.5, 2.0])
def test_rate_of_a_decaying_or_growing_sine(rate):
    t = np.arange(2000)
    values = np.exp(rate * t / 2000) * np.sin(2 * math.pi * 0.05 * t)
    values += 0.05 * noise(2000, 2) * min(1.0, math.exp(rate + 2.0))
    seen = ridge(values, 1.0, low=0.035, high=0.07)
    assert seen.growth == pytest.approx(rate, rel=0.05)
    assert seen.strength == ("grows" if rate > 0 else "decays")
    assert seen.course == "constant"


def test_a_step_of_the_amplitude():
    t = np.arange(2000)
    values = np.where(t < 1000, 1.0, 2.0) * np.sin(2 * math.pi * 0.05 * t) + 0.05 * noise(2000, 3)
    seen = ridge(values, 1.0, low=0.035, high=0.07)
    assert seen.amplitude[[0, -1]] == pytest.approx([1.0, 2.0], rel=0.03)
    # One step may be slow wandering too, so the slope is doubtful; it isn't decay.
    assert seen.growth > 2.0 * seen.growth_error > 0.0
    assert seen.strength != "decays"
    assert seen.course == "constant"


def test_ringing_on_noise_does_not_drift():
    # second order, damping ratio 0.02, impulse invariant at unit interval
    w, damping = 2 * math.pi * 0.05, 0.02
    r, c = math.exp(-damping * w), math.cos(w * math.sqrt(1 - damping**2))
    courses = []
    for seed in range(40):
        values = signal.lfilter([1.0], [1.0, -2 * r * c, r * r], noise(7000, seed))[2000:]
        seen = ridge(values, 1.0, low=0.035, high=0.07)
        courses.append((seen.course, seen.strength))
    assert sum(course != "constant" for course, _ in courses) <= 4
    assert sum(strength != "steady" for _, strength in courses) <= 5


def test_the_strongest_path_is_taken_past_a_burst_elsewhere():
    t = np.arange(4000)
    values = np.sin(2 * math.pi * 0.05 * t) + 0.2 * noise(4000, 4)
    burst = (t > 2000) & (t < 2100)
    values += 1.5 * burst * np.sin(2 * math.pi * 0.065 * t)
    seen = ridge(values, 1.0, low=0.035, high=0.075)
    assert np.max(np.abs(seen.frequency - 0.05)) < 0.004
    assert seen.wander < 0.01


def test_wander_is_that_of_the_frequency():
    t = np.arange(20_000)
    swing = 0.04 * np.sin(2 * math.pi * t / 4000.0)
    values = np.sin(2 * math.pi * np.cumsum(0.05 * (1.0 + swing)))
    seen = ridge(values, 1.0, low=0.035, high=0.07)
    # median size of a sine over its amplitude is sin(pi/4); the robust measure takes 1.4826 of it
    assert seen.wander == pytest.approx(1.4826 * 0.04 * math.sin(math.pi / 4), rel=0.1)


def test_long_records_cost_little_and_are_followed():
    t = np.arange(400_000) * 0.001
    values = signal.chirp(t, 2.5, 400.0, 3.5) + noise(400_000, 5)
    seen = ridge(values, 0.001, low=2.0, high=4.0)
    assert seen.drift == pytest.approx(1 / 3, abs=0.005)
    assert len(seen.time) <= 400


@pytest.mark.parametrize("values", [np.zeros(200), np.full(200, 3.3), 0.1 * np.arange(200)])
def test_what_does_not_move_has_no_ridge(values):
    seen = ridge(values, 1.0, low=0.1, high=0.2)
    assert len(seen.time) == 0
    assert (seen.course, seen.strength) == ("unknown", "unknown")


def test_short_and_coarse_records():
    t = np.arange(30)
    assert ridge(np.sin(t), 1.0, low=0.1, high=0.2).course == "unknown"
    t = np.arange(64)
    seen = ridge(np.round(1.4 * np.sin(2 * math.pi * 0.15 * t)), 1.0, low=0.1, high=0.22)
    assert np.median(seen.frequency) == pytest.approx(0.15, rel=0.02)
    assert seen.course == "constant"


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"low": 0.0, "high": 0.2}, "low 0.0"),
        ({"low": 0.3, "high": 0.2}, "low < high"),
        ({"low": 0.1, "high": 0.2, "cycles": 0.0}, "cycles"),
    ],
)
def test_what_makes_no_sense_is_refused(settings, said):
    with pytest.raises(ValueError, match=said):
        ridge(np.sin(np.arange(100.0)), 1.0, **settings)
