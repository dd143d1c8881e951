"""Odd or even against the correlation of two sines, and a loop that sticks by construction."""

import math

import numpy as np
import pytest
from scipy import signal

from tuning.oscillation.odd_or_even import odd_or_even

INTERVAL = 0.05


def angle(samples, frequency):
    return 2.0 * math.pi * frequency * np.arange(samples) * INTERVAL


@pytest.mark.parametrize("frequency", [0.31, 1.0, 4.3, 7.7])
@pytest.mark.parametrize("degrees", [0.0, 20.0, 45.0, 70.0, 90.0, -100.0, 135.0, 180.0])
def test_two_sines(frequency, degrees):
    """Δρ = (1 − |cos φ|)/(1 + |cos φ|), Δτ = 2|φ|/π with φ folded to ±90°."""
    turn = angle(3000, frequency)
    found = odd_or_even(np.sin(turn), np.sin(turn + math.radians(degrees)), INTERVAL, frequency)
    cosine = abs(math.cos(math.radians(degrees)))
    folded = math.degrees(math.acos(cosine))
    assert found.ratio_index == pytest.approx((1.0 - cosine) / (1.0 + cosine), abs=0.01)
    assert found.lag_index == pytest.approx(folded / 90.0, abs=0.01)
    assert found.at_zero == pytest.approx(math.cos(math.radians(degrees)), abs=0.01)
    assert found.verdict == ("even" if folded < 30.0 else "odd" if folded > 60.0 else "unknown")


def test_square_and_triangle_are_odd():
    """The triangular output of an integrating controller on a square measurement: r is even about
    a quarter period, so r(0) = 0."""
    turn = angle(4000, 0.217)
    noise = np.random.default_rng(1).normal(size=(2, 4000))
    found = odd_or_even(
        signal.sawtooth(turn, 0.5) + 0.1 * noise[0],
        5.0 + signal.square(turn) + 0.3 * noise[1] + np.linspace(0.0, 20.0, 4000),
        INTERVAL,
        0.217,
    )
    assert abs(found.at_zero) < 0.1
    assert found.ratio_index > 0.8
    assert found.verdict == "odd"


def test_unrelated_records_say_nothing():
    noise = np.random.default_rng(2).normal(size=(2, 4000))
    assert odd_or_even(noise[0], noise[1], INTERVAL, 0.5).verdict == "unknown"


@pytest.mark.parametrize("bad", [np.zeros(300), np.full(300, 5.1), np.full(300, np.nan)])
def test_a_column_that_says_nothing(bad):
    good = np.sin(angle(300, 0.7))
    for pair in ((bad, good), (good, bad)):
        found = odd_or_even(*pair, INTERVAL, 0.7)
        assert found.verdict == "unknown"
        assert found.warnings
        assert math.isnan(found.ratio_index)


def test_short_and_broken():
    good = np.sin(angle(40, 1.7))
    assert odd_or_even(good, good, INTERVAL, 1.7).verdict == "even"
    assert odd_or_even(good, good, INTERVAL, 0.7).verdict == "unknown"
    assert odd_or_even(good, good, INTERVAL, 9.0).verdict == "unknown"
    assert odd_or_even(good, good, INTERVAL, math.nan).verdict == "unknown"
    with pytest.raises(ValueError, match="shape"):
        odd_or_even(good, good[1:], INTERVAL, 1.0)
    with pytest.raises(ValueError, match="interval"):
        odd_or_even(good, good, 0.0, 1.0)
