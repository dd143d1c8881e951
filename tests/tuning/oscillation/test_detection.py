"""Oscillations found in a record: over time, web length and turns of the roll."""

import math

import numpy as np
import pytest

from tuning.oscillation.detection import oscillations
from tuning.oscillation.record import Record


def record(tension, interval=0.1, speed=None, diameter=None):
    row = np.full(tension.size, np.nan)
    v = row if speed is None else speed
    D = row if diameter is None else diameter
    return Record(interval, tension, row, row, v, D, row)


T = 0.1 * np.arange(3000)
NOISE = np.random.default_rng(3).standard_normal(T.size)


def test_a_sine_in_noise_has_its_frequency_and_amplitude():
    found = oscillations(record(100.0 + 2.0 * np.sin(2 * np.pi * 0.7 * T) + NOISE))
    assert len(found) == 1
    assert found[0].frequency == pytest.approx(0.7, abs=0.1 / 300.0)
    assert found[0].amplitude == pytest.approx(2.0, rel=0.15)
    assert found[0].peak.significant
    assert found[0].axis == "time"


def test_noise_alone_has_no_significant_oscillation():
    found = oscillations(record(100.0 + NOISE))
    assert not any(one.peak.significant for one in found)


def test_two_sines_are_two_and_the_larger_comes_first():
    tension = 3.0 * np.sin(2 * np.pi * 0.31 * T) + 5.0 * np.sin(2 * np.pi * 1.13 * T)
    found = oscillations(record(tension + NOISE))
    assert [round(one.frequency, 2) for one in found[:2]] == [1.13, 0.31]


def test_multiples_belong_to_their_fundamental():
    square = np.sign(np.sin(2 * np.pi * 0.2 * T))
    found = oscillations(record(3.0 * square + 0.3 * NOISE))
    assert len(found) == 1
    assert {3, 5} <= set(found[0].harmonics)
    # Fourier series of a square wave.
    assert found[0].amplitude == pytest.approx(3.0 * 4.0 / math.pi, rel=0.05)


def test_what_turns_with_the_web_is_sharpest_over_its_length():
    speed = np.linspace(2.0, 3.0, T.size)
    way = np.cumsum(speed) * 0.1
    diameter = 0.4  # turns 1.6 to 2.4 times a second
    found = oscillations(record(2.0 * np.sin(way / (0.5 * diameter)) + NOISE, speed=speed))
    assert len(found) == 1
    assert found[0].axis == "web length"
    assert found[0].frequency == pytest.approx(speed.mean() / (math.pi * diameter), rel=1e-3)
    assert found[0].amplitude == pytest.approx(2.0, rel=0.1)
    assert found[0].lowest == pytest.approx(2.0 / (math.pi * diameter), rel=0.01)
    assert found[0].highest == pytest.approx(3.0 / (math.pi * diameter), rel=0.01)


def test_what_turns_with_the_roll_is_sharpest_over_its_turns():
    speed = np.full(T.size, 2.5)
    diameter = np.linspace(0.8, 0.5, T.size)
    turn = np.cumsum(speed / (math.pi * diameter)) * 0.1
    tension = 2.0 * np.sin(2 * np.pi * turn) + NOISE
    found = oscillations(record(tension, speed=speed, diameter=diameter))
    assert [one.axis for one in found] == ["roll turns"]
    mean = float(np.mean(speed / (math.pi * diameter)))
    assert found[0].frequency == pytest.approx(mean, rel=1e-3)


def test_a_slow_oscillation_of_a_long_record_is_seen():
    t = 0.02 * np.arange(60_000)
    tension = 2.0 * np.sin(2 * np.pi * 0.012 * t)
    tension = tension + np.random.default_rng(1).standard_normal(t.size)
    found = oscillations(record(tension, interval=0.02))
    assert found[0].frequency == pytest.approx(0.012, rel=0.02)
    assert found[0].amplitude == pytest.approx(2.0, rel=0.15)


def test_a_tension_that_does_not_move_has_none():
    assert oscillations(record(np.full(500, 80.0))) == ()
