"""Hägglund's detector on control errors whose integrals are known."""

import math

import numpy as np
import pytest

from tuning.oscillation.load_oscillation import load_oscillations


def test_a_sine_has_two_amplitudes_over_its_angular_frequency_in_half_a_period():
    t = np.arange(4000) * 0.05
    error = 3.0 * np.sin(2 * math.pi * 0.2 * t + 1.0)
    seen = load_oscillations(error, 0.05, ultimate_frequency=0.2, least_amplitude=1.0)
    assert seen.limit == pytest.approx(2 * 1.0 / (2 * math.pi * 0.2))
    assert seen.iae == pytest.approx(3.0 * seen.limit, rel=0.001)
    assert np.diff(seen.crossings) == pytest.approx(2.5, abs=1e-3)
    assert seen.loads == len(seen.iae)


def test_straight_errors_are_integrated_exactly():
    # triangles of height 1 from -1 to 1 and back in 8 samples: half-periods of 4, area 2
    error = np.tile([0.5, 1.0, 0.5, 0.0, -0.5, -1.0, -0.5, 0.0], 6)
    seen = load_oscillations(error, 1.0, ultimate_frequency=0.1, least_amplitude=0.1)
    assert seen.iae == pytest.approx(2.0)


@pytest.mark.parametrize(("amplitude", "found"), [(1.1, True), (0.9, False)])
def test_only_an_oscillation_that_matters_is_detected(amplitude, found):
    t = np.arange(3000) * 0.05
    error = amplitude * np.sin(2 * math.pi * 0.2 * t)
    seen = load_oscillations(error, 0.05, ultimate_frequency=0.2, least_amplitude=1.0)
    assert seen.detected is found
    assert (seen.loads > 0) is found


def test_when_it_is_detected():
    # two loads a period P, forgotten with T = 50 P: n loads count (1 - q^n)/(1 - q), q = e^(-1/100)
    t = np.arange(6000) * 0.01
    error = 2.0 * np.sin(2 * math.pi * t + 0.001)
    seen = load_oscillations(error, 0.01, ultimate_frequency=1.0, least_amplitude=1.0)
    q = math.exp(-0.01)
    needed = next(n for n in range(1, 100) if (1 - q**n) / (1 - q) > 10.0)
    # The first load ends a period after the start, at the second crossing that is seen.
    assert seen.detected_at == pytest.approx(0.5 + 0.5 * needed, abs=0.01)
    assert seen.most == pytest.approx((1 - q**seen.loads) / (1 - q), rel=1e-3)


def test_loads_that_come_seldom_are_no_oscillation():
    t = np.arange(60_000) * 0.1
    # one load disturbance in a hundred ultimate periods, on a quick small noise
    error = 0.01 * np.where(np.arange(60_000) % 2 == 0, 1.0, -1.0)
    error = error + 5.0 * (t % 100.0 < 2.0)
    seen = load_oscillations(error, 0.1, ultimate_frequency=1.0, least_amplitude=1.0)
    assert seen.loads == pytest.approx(59, abs=1)
    assert not seen.detected
    assert seen.most < 2.0


@pytest.mark.parametrize("error", [np.zeros(30), np.full(30, 2.0)])
def test_an_error_that_never_crosses_has_no_loads(error):
    seen = load_oscillations(error, 1.0, ultimate_frequency=0.1, least_amplitude=1.0)
    assert (len(seen.crossings), len(seen.iae), seen.loads, seen.most) == (0, 0, 0, 0.0)
    assert not seen.detected


@pytest.mark.parametrize("name", ["ultimate_frequency", "least_amplitude"])
def test_what_is_not_positive_is_refused(name):
    settings = {"ultimate_frequency": 1.0, "least_amplitude": 1.0, name: 0.0}
    with pytest.raises(ValueError, match=name):
        load_oscillations(np.zeros(30), 1.0, **settings)
