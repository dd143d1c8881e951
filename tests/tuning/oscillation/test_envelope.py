"""How large an oscillation is from moment to moment: against what was put in."""

import math

import numpy as np
import pytest

from tuning.oscillation.envelope import envelope, mode_ratio, unevenness

H = 0.05
T = H * np.arange(4000)


def test_the_envelope_of_a_decaying_sine_is_its_decay():
    decay = 5.0 * np.exp(-T / 60.0)
    found = envelope(decay * np.sin(2 * np.pi * 1.1 * T), H, low=0.8, high=1.5)
    inside = slice(400, -400)  # the ends have no other side
    assert np.allclose(found[inside], decay[inside], rtol=0.05)


def test_what_lies_outside_the_band_does_not_count():
    tension = 2.0 * np.sin(2 * np.pi * 1.0 * T) + 7.0 * np.sin(2 * np.pi * 4.0 * T) + 80.0
    found = envelope(tension, H, low=0.7, high=1.4)
    assert np.median(found) == pytest.approx(2.0, rel=0.02)


def test_automatic_over_manual_is_the_ratio_of_amplitudes():
    automatic = (T > 100.0).astype(float)
    amplitude = np.where(automatic > 0.5, 6.0, 2.0)
    assert mode_ratio(amplitude, automatic, period_samples=20.0) == pytest.approx(
        math.log(3.0), rel=1e-4
    )
    assert math.isnan(mode_ratio(amplitude, np.ones(T.size), period_samples=20.0))
    # Three swings in manual are too few to compare.
    assert math.isnan(mode_ratio(amplitude, (T > 3.0).astype(float), period_samples=20.0))


def test_unevenness_of_known_amplitudes():
    assert unevenness(np.full(4000, 3.0), period_samples=20.0) == pytest.approx(0.0)
    # Half of the time 1, half of the time 3: mean 2, deviation 1.
    steps = np.where(np.arange(4000) // 400 % 2 == 0, 1.0, 3.0)
    assert unevenness(steps, period_samples=20.0) == pytest.approx(0.5, abs=0.02)
    # Amplitude of a narrow band of Gaussian noise is Rayleigh's: sqrt(4/pi - 1) of its mean.
    rng = np.random.default_rng(0)
    pairs = rng.standard_normal((2, 4000))
    noise = np.repeat(np.hypot(*pairs), 20)
    expected = math.sqrt(4.0 / math.pi - 1.0)
    assert unevenness(noise, period_samples=20.0) == pytest.approx(expected, rel=0.05)
    assert math.isnan(unevenness(np.ones(60), period_samples=20.0))
