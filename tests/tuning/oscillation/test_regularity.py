"""Regularity and decay of oscillations against closed forms and a reference correlation."""

import math

import numpy as np
import pytest
from scipy import signal
from scipy.linalg import expm

from tuning.oscillation.regularity import (
    autocovariance,
    damping_ratio,
    regularity,
    within_band,
    zero_crossings,
)


def driven(damping, samples, random, frequency=0.05):
    """Return position of x'' + 2 zeta w x' + w² x = white noise, sampled exactly at unit interval.

    Covariance of the steps by Van Loan's matrix exponential (IEEE Trans. Automatic Control 23,
    1978; from memory).
    """
    w = 2.0 * math.pi * frequency
    a = np.array([[0.0, 1.0], [-w * w, -2.0 * damping * w]])
    block = np.zeros((4, 4))
    block[:2, :2], block[1, 3], block[2:, 2:] = -a, 1.0, a.T
    whole = expm(block)
    step = whole[2:, 2:].T
    kicks = np.linalg.cholesky(step @ whole[:2, 2:]) @ random.standard_normal((2, samples + 3000))
    # position alone: x_k = tr x_(k-1) - det x_(k-2) + what both kicks bring
    push = kicks[0].copy()
    push[1:] += step[0, 1] * kicks[1, :-1] - step[1, 1] * kicks[0, :-1]
    values = signal.lfilter([1.0], [1.0, -np.trace(step), np.linalg.det(step)], push)
    return values[3000:] * math.sqrt(4.0 * damping * w**3)


def test_the_filter_keeps_its_band_and_nothing_else():
    t = np.arange(1000) * 0.1
    kept, slow, fast = (np.sin(2 * math.pi * f * t + 0.4) for f in (1.0, 0.2, 3.0))
    seen = within_band(5.0 + 0.3 * t + kept + slow + fast, 0.1, low=0.7, high=1.4)
    assert seen[100:-100] == pytest.approx(kept[100:-100], abs=0.02)
    # Turned images make 0 of the very ends; nothing rings there.
    assert seen[20:-20] == pytest.approx(kept[20:-20], abs=0.15)
    assert np.max(np.abs(seen)) < 1.15


def test_autocovariance_is_that_of_a_plain_sum():
    values = np.random.default_rng(1).standard_normal(200)
    sums = signal.correlate(values, values, method="direct")[199:]
    assert autocovariance(values) == pytest.approx(sums / sums[0] * 200 / np.arange(200, 0, -1))
    assert np.all(autocovariance(np.zeros(20)) == 0.0)


def test_crossings_lie_straight_between_samples():
    assert zero_crossings(np.array([1.0, -3.0, -1.0, 1.0])) == pytest.approx([0.25, 2.5])


@pytest.mark.parametrize("damping", [0.005, 0.01, 0.02, 0.05, 0.1, 0.2])
def test_decay_of_a_system_driven_by_noise_is_that_of_its_autocovariance(damping):
    random = np.random.default_rng(2)
    seen = [regularity(driven(damping, 20_000, random), 1.0, low=0.025, high=0.1) for _ in range(8)]
    exact = math.exp(-2.0 * math.pi * damping / math.sqrt(1.0 - damping**2))
    assert np.mean([one.decay for one in seen]) == pytest.approx(exact, rel=0.08)
    assert np.mean([one.damping for one in seen]) == pytest.approx(damping, rel=0.12)


def test_an_octave_is_enough_for_light_damping():
    random = np.random.default_rng(3)
    seen = [regularity(driven(0.02, 2000, random), 1.0, low=0.035, high=0.07) for _ in range(40)]
    assert np.mean([one.damping for one in seen]) == pytest.approx(0.02, rel=0.2)
    assert all(one.regular for one in seen)
    # of a system with little damping the crossings come every half period
    assert np.mean([one.period for one in seen]) == pytest.approx(20.0, rel=0.01)


@pytest.mark.parametrize("wave", [np.sin, signal.square, lambda p: signal.sawtooth(p, 0.5)])
def test_a_wave_is_regular_and_keeps_everything(wave):
    t = np.arange(3000) * 0.05
    seen = regularity(wave(2 * math.pi * 0.513 * t), 0.05, low=0.36, high=0.73)
    assert seen.regularity > 20.0
    assert seen.period == pytest.approx(1 / 0.513, rel=0.002)
    assert seen.decay == pytest.approx(1.0, abs=0.01)
    assert seen.damping < 0.002


def test_noise_is_less_regular_than_a_sine_in_it():
    random = np.random.default_rng(4)
    alone, beside = [], []
    for _ in range(50):
        noise = random.standard_normal(2000)
        sine = np.sin(2 * math.pi * 0.05 * np.arange(2000))
        alone.append(regularity(noise, 1.0, low=0.035, high=0.07))
        beside.append(regularity(noise + sine, 1.0, low=0.035, high=0.07))
    assert np.mean([one.regular for one in alone]) < 0.5
    assert all(one.regular for one in beside)
    assert np.median([one.damping for one in alone]) > 0.15
    assert max(one.damping for one in beside) < 0.06


@pytest.mark.parametrize("damping", [0.001, 0.02, 0.2, 0.6])
def test_damping_ratio_is_the_inverse_of_the_overshoot(damping):
    # overshoot of a second-order step: exp(-pi zeta/sqrt(1 - zeta²))
    overshoot = math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    assert damping_ratio(overshoot) == pytest.approx(damping)


def test_quarter_decay_is_a_damping_ratio_of_0_215():
    # Ziegler and Nichols' quarter decay a period: zeta 0.215454
    assert damping_ratio(math.sqrt(0.25)) == pytest.approx(0.215454, abs=1e-6)
    assert damping_ratio(1.0) == 0.0
    assert math.isnan(damping_ratio(0.0))


@pytest.mark.parametrize("values", [np.zeros(30), np.full(64, 3.3), 0.1 * np.arange(50) + 7.0])
def test_what_does_not_move_is_not_regular(values):
    seen = regularity(values, 0.1, low=1.0, high=2.0)
    assert (seen.regularity, seen.intervals, seen.index, seen.decay) == (0.0, 0, 0.0, 0.0)
    assert math.isnan(seen.period) and math.isnan(seen.damping)
    assert not seen.regular


def test_short_and_coarse_records():
    t = np.arange(30)
    for values in (np.sin(t), np.round(np.sin(t)), np.eye(30)[5], (t > 9).astype(float)):
        assert 0.0 <= regularity(values, 1.0, low=0.1, high=0.2).index <= 1.0
    seen = regularity(np.sin(2 * math.pi * 0.15 * t), 1.0, low=0.1, high=0.21)
    assert seen.regular
    assert seen.period == pytest.approx(1 / 0.15, rel=0.03)


def test_what_is_no_band_is_refused():
    with pytest.raises(ValueError, match="low < high"):
        regularity(np.zeros(30), 1.0, low=0.2, high=0.1)
    with pytest.raises(ValueError, match="finite"):
        regularity(np.full(30, np.inf), 1.0, low=0.1, high=0.2)
