"""Phase, gain and coherence of two records against closed forms and scipy.signal."""

import math

import numpy as np
import pytest
from scipy import signal

from tuning.oscillation.cross import coherence_at, phase_between

INTERVAL = 0.05


def sine(samples, frequency, lag=0.0):
    return np.sin(2.0 * math.pi * frequency * np.arange(samples) * INTERVAL - lag)


@pytest.mark.parametrize("frequency", [0.1, 0.317, 1.0, 4.3, 7.7])
@pytest.mark.parametrize("degrees", [-170.0, -90.0, -45.0, 0.0, 30.0, 120.0])
def test_two_sines(frequency, degrees):
    samples = max(60, round(4.4 / frequency / INTERVAL))
    u = 3.0 * sine(samples, frequency) + 50.0
    y = 1.2 * sine(samples, frequency, -math.radians(degrees)) - 7.0
    found = phase_between(u, y, INTERVAL, frequency)
    assert found.phase == pytest.approx(degrees, abs=1e-3)
    assert found.gain == pytest.approx(0.4, rel=1e-4)
    assert found.ratio == pytest.approx(
        0.4 * complex(math.cos(math.radians(degrees)), math.sin(math.radians(degrees))), rel=1e-4
    )
    assert found.amplitude_u == pytest.approx(3.0, rel=1e-4)
    assert found.phase_error < 0.01


@pytest.mark.parametrize(
    ("samples", "frequency", "noise_u", "noise_y"),
    [(3000, 0.43, 1.0, 1.0), (3000, 0.43, 0.1, 3.0), (3000, 0.43, 3.0, 0.1), (60, 1.1, 0.3, 0.3)],
)
def test_noise_gives_honest_errors(samples, frequency, noise_u, noise_y):
    """Misses over standard errors scatter as a standard normal does, and the gain isn't drawn
    down by noise in u, as it is in the plain quotient of spectra."""
    found = []
    for start in range(60):
        rng = np.random.default_rng(start)
        u = sine(samples, frequency, start) + noise_u * rng.normal(size=samples)
        y = 0.7 * (sine(samples, frequency, start + 1.0) + noise_y * rng.normal(size=samples))
        found.append(phase_between(u, y, INTERVAL, frequency))
    phases = np.array([(f.phase + math.degrees(1.0)) / f.phase_error for f in found])
    gains = np.array([(f.gain - 0.7) / f.gain_error for f in found])
    for miss in (phases, gains):
        assert abs(np.mean(miss)) < 0.5
        assert 0.7 < np.std(miss) < 1.35


def test_a_drifting_oscillation_keeps_its_phase():
    """y = g delay(u): 0.1 s at 0.8 to 1.2 times 0.5 Hz is −18° on average."""
    at = np.arange(4000) * INTERVAL
    turns = 0.5 * (at + 0.05 * (at**2 / (2.0 * at[-1]) - 0.5 * at))
    u = np.sin(2.0 * math.pi * turns)
    y = 2.0 * np.roll(u, 2)
    y[:2] = 0.0
    found = phase_between(u, y, INTERVAL, 0.5)
    assert found.phase == pytest.approx(-18.0, abs=0.3)
    assert found.gain == pytest.approx(2.0, rel=0.005)
    assert found.coherence > 0.99


def test_a_first_order_lag():
    """1/(1 + i ω T), exact."""
    u = sine(6000, 0.25)
    y = signal.lfilter(
        *(np.ravel(p) for p in signal.cont2discrete(([1.0], [0.8, 1.0]), 0.05)[:2]), u
    )
    found = phase_between(u[1000:], y[1000:], INTERVAL, 0.25)
    discrete = signal.freqz(
        *(np.ravel(p) for p in signal.cont2discrete(([1.0], [0.8, 1.0]), 0.05)[:2]),
        worN=[0.25],
        fs=20.0,
    )[1][0]
    assert found.ratio == pytest.approx(discrete, rel=1e-3)
    # The held steps of the sampled form are half a scan late, no more.
    true = 1.0 / (1.0 + 1j * 2.0 * math.pi * 0.25 * 0.8)
    assert found.gain == pytest.approx(abs(true), rel=0.01)
    assert found.phase == pytest.approx(math.degrees(np.angle(true)) - 360 * 0.25 * 0.025, abs=0.3)


@pytest.mark.parametrize("pieces", [4, 10, 32])
def test_coherence_as_scipy_has_it(pieces):
    """scipy.signal.coherence and csd, Hann, straight line out, no overlap, at one of its bins."""
    rng = np.random.default_rng(pieces)
    length, bin_number = 200, 6
    x = rng.normal(size=pieces * length) + 0.01 * np.arange(pieces * length)
    y = signal.lfilter([0.3], [1.0, -0.7], x) + rng.normal(size=x.size)
    frequency = bin_number / (length * INTERVAL)
    band = 1.5 / (length * INTERVAL)
    found = coherence_at(x, y, INTERVAL, frequency, band)
    how = {
        "fs": 1.0 / INTERVAL, "window": "hann", "nperseg": length, "noverlap": 0,
        "detrend": "linear",
    }  # fmt: skip
    assert found.pieces == pieces
    expected = signal.coherence(x, y, **how)[1][bin_number]
    assert found.coherence == pytest.approx(expected, rel=1e-9)
    cross = signal.csd(x, y, **how)[1][bin_number]
    power = signal.csd(x, x, **how)[1][bin_number].real
    assert found.gain == pytest.approx(abs(cross) / power, rel=1e-9)
    assert found.phase == pytest.approx(math.degrees(np.angle(cross)), abs=1e-6)
    assert found.bandwidth == pytest.approx(band)


def test_known_coherence():
    """y = g x delayed + noise: g² Sx/(g² Sx + Sn); the estimate's bias is (1 − γ²)²/K."""
    rng = np.random.default_rng(7)
    x = rng.normal(size=200_000)
    y = 0.8 * np.roll(x, 3) + 0.6 * rng.normal(size=x.size)
    found = coherence_at(x, y, INTERVAL, 2.0, 0.15)
    true = 0.64
    assert found.pieces == 1000
    spread = math.sqrt(2.0 * true) * (1.0 - true) / math.sqrt(found.pieces)
    assert abs(found.coherence - true) < 3.0 * spread
    assert found.gain == pytest.approx(0.8, rel=0.05)
    assert found.phase == pytest.approx(-360.0 * 2.0 * 0.15, abs=3.0)
    assert found.significant


@pytest.mark.parametrize("alpha", [0.05, 0.01])
def test_unrelated_records_exceed_the_level_as_often_as_said(alpha):
    """With K pieces |γ|² of unrelated Gaussian records exceeds 1 − alpha^(1/(K−1)) with alpha."""
    rng = np.random.default_rng(11)
    runs, false = 2000, 0
    for _ in range(runs):
        x, y = rng.normal(size=(2, 320))
        false += coherence_at(x, y, INTERVAL, 4.0, 1.5, alpha=alpha).significant
    assert abs(false / runs - alpha) < 4.0 * math.sqrt(alpha / runs)
    assert coherence_at(x, y, INTERVAL, 4.0, 1.5).level == pytest.approx(1 - 0.05 ** (1 / 15))


def test_the_amplitude_that_x_explains():
    rng = np.random.default_rng(3)
    x = 0.02 * sine(6000, 0.5) + 0.001 * rng.normal(size=6000)
    y = 150.0 * x + 0.5 * rng.normal(size=6000)
    found = coherence_at(x, y, INTERVAL, 0.5)
    assert found.explained == pytest.approx(3.0, rel=0.03)
    assert found.amplitude_x == pytest.approx(0.02, rel=0.03)
    other = coherence_at(rng.normal(size=6000), y, INTERVAL, 0.5)
    assert other.explained < 1.5
    assert other.amplitude_y == pytest.approx(3.0, rel=0.03)


@pytest.mark.parametrize("bad", [np.zeros(600), np.full(600, 5.1), np.full(600, np.nan)])
def test_a_column_that_says_nothing(bad):
    good = sine(600, 0.7)
    for pair in ((bad, good), (good, bad), (bad, bad)):
        assert math.isnan(phase_between(*pair, INTERVAL, 0.7).phase)
        unknown = coherence_at(*pair, INTERVAL, 0.7)
        assert math.isnan(unknown.coherence)
        assert not unknown.significant
        assert unknown.warnings


def test_short_slow_and_broken():
    good = sine(30, 2.3)
    assert phase_between(good, good, INTERVAL, 2.3).phase == pytest.approx(0.0, abs=1e-6)
    assert math.isnan(phase_between(good, good, INTERVAL, 9.5).phase)
    assert math.isnan(phase_between(good, good, INTERVAL, 0.1).phase)
    assert math.isnan(coherence_at(good, good, INTERVAL, 0.7).coherence)
    noisy = np.random.default_rng(0).normal(size=(2, 3000))
    lost = phase_between(0.1 * sine(3000, 1.0), noisy[0] * 30.0, INTERVAL, 1.0)
    assert math.isnan(lost.phase) or lost.phase_error > 10.0
    with pytest.raises(ValueError, match="shape"):
        phase_between(good, good[1:], INTERVAL, 1.0)
    with pytest.raises(ValueError, match="interval"):
        coherence_at(good, good, -1.0, 1.0)
    with pytest.raises(ValueError, match="alpha"):
        coherence_at(good, good, 1.0, 0.1, alpha=1.0)
