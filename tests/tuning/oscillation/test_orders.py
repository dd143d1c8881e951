"""Which clock an oscillation follows, on records made to follow one of them."""

import math
import time

import numpy as np
import pytest

from tuning.oscillation.orders import following

INTERVAL = 0.05
SPEED, FULL, THICKNESS, IDLER = 2.0, 0.6, 100e-6, 0.55


def machine(samples, how):
    """Time, speed, web length, diameter and turns of a roll that unwinds."""
    at = np.arange(samples) * INTERVAL
    speed = {
        "steady": np.full(samples, SPEED),
        "ramp": SPEED * (1.0 + 0.05 * (at / at[-1] - 0.5)),
        "swing": SPEED * (1.0 + 0.03 * np.sin(2.0 * math.pi * at / 40.0)),
        "start": SPEED * np.clip(0.1 + 1.5 * at / at[-1], 0.0, 1.0),
    }[how]
    length = (np.cumsum(speed) - 0.5 * speed) * INTERVAL
    # The area of the roll's end less that of the web gone: π D²/4 = π D0²/4 − h s.
    diameter = np.sqrt(FULL**2 - 4.0 * THICKNESS * length / math.pi)
    turns = np.cumsum(speed / (math.pi * diameter)) * INTERVAL
    return at, speed, length, diameter, turns


def record(samples, how, what, noise, start=0):
    """Values, an expected frequency, speed and diameter."""
    at, speed, length, diameter, turns = machine(samples, how)
    cycles = {"time": 1.1 * at, "length": length / (math.pi * IDLER), "angle": turns}[what]
    values = np.sin(2.0 * math.pi * cycles + start)
    values = values + noise * np.random.default_rng(start).normal(size=samples)
    return values + 120.0, (cycles[-1] - cycles[0]) / at[-1], speed, diameter


@pytest.mark.parametrize("how", ["ramp", "swing", "start"])
@pytest.mark.parametrize("what", ["time", "length", "angle"])
@pytest.mark.parametrize("noise", [0.3, 1.5])
def test_each_clock_is_found(how, what, noise):
    values, frequency, speed, diameter = record(4000, how, what, noise)
    found = following(values, INTERVAL, frequency, speed, diameter)
    shares = {"time": found.time, "length": found.length, "angle": found.angle}
    assert max(shares, key=shares.get) == what
    assert shares[what] > (0.93 if noise < 1.0 else 0.7)
    # Against time and length the sign says which; far beyond what chance does.
    if what != "angle":
        assert (found.length_over_time > 20.0) == (what == "length")
        assert (found.length_over_time < -20.0) == (what == "time")
    if what != "length":
        assert abs(found.angle_over_time) > 20.0
        assert (found.angle_over_time > 0.0) == (what == "angle")
    if what != "time":
        assert abs(found.angle_over_length) > 20.0
        assert (found.angle_over_length > 0.0) == (what == "angle")


def test_a_noise_free_line_is_explained_in_full():
    for what in ("time", "length", "angle"):
        values, frequency, speed, diameter = record(4000, "ramp", what, 0.0)
        found = following(values, INTERVAL, frequency, speed, diameter)
        assert getattr(found, what) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("how", ["steady", "ramp", "start"])
def test_the_share_of_a_noisy_line(how):
    """A sine fitted to N samples with noise s has a complex error of power 4 s²/N, so the share is
    A²/(A² + 4 s²/N)."""
    values, frequency, speed, diameter = record(4000, how, "time", 1.5)
    found = following(values, INTERVAL, frequency, speed, diameter)
    samples = 3.0 / (frequency * INTERVAL)
    assert found.time == pytest.approx(1.0 / (1.0 + 4.0 * 1.5**2 / samples), abs=0.08)


def test_orders_and_their_errors():
    """Length a cycle is π d of the idler, cycles a turn 1; misses scatter as their errors say."""
    lengths, turns = [], []
    for start in range(30):
        values, frequency, speed, diameter = record(2000, "ramp", "length", 1.0, start)
        found = following(values, INTERVAL, frequency, speed, diameter)
        assert found.body_diameter == pytest.approx(IDLER, rel=0.003)
        lengths.append((found.length_per_cycle - math.pi * IDLER) / found.length_error)
        values, frequency, speed, diameter = record(2000, "ramp", "angle", 1.0, start)
        found = following(values, INTERVAL, frequency, speed, diameter)
        assert found.cycles_per_turn == pytest.approx(1.0, rel=0.003)
        turns.append((found.cycles_per_turn - 1.0) / found.turn_error)
    for miss in (lengths, turns):
        assert abs(np.mean(miss)) < 0.7
        assert 0.6 < np.std(miss) < 1.6


def test_a_harmonic_of_the_roll():
    _, speed, _, diameter, turns = machine(4000, "ramp")
    values = 0.3 * np.sin(2.0 * math.pi * turns) + np.sin(4.0 * math.pi * turns + 1.0)
    frequency = 2.0 * turns[-1] / (4000 * INTERVAL)
    found = following(values, INTERVAL, frequency, speed, diameter)
    assert found.cycles_per_turn == pytest.approx(2.0, rel=1e-3)
    assert found.angle_over_length > 100.0


@pytest.mark.parametrize("what", ["time", "length"])
def test_constant_speed_tells_nothing_of_time_and_length(what):
    values, frequency, speed, diameter = record(4000, "steady", what, 0.3)
    found = following(values, INTERVAL, frequency, speed, diameter)
    assert math.isnan(found.length_over_time)
    assert found.time == pytest.approx(found.length, abs=1e-3)
    assert found.angle_over_length < -20.0
    assert found.speed_varied == pytest.approx(0.0, abs=1e-9)
    assert "told apart" in found.warnings[0]
    # The order is still worth knowing: 2 m/s over the frequency.
    assert found.length_per_cycle == pytest.approx(SPEED / frequency, rel=1e-3)


def test_how_much_speed_varied():
    values, frequency, speed, diameter = record(4000, "ramp", "time", 0.3)
    found = following(values, INTERVAL, frequency, speed, diameter)
    assert found.speed_varied == pytest.approx(0.98 * 0.05, rel=0.01)
    assert found.speed_cycles == pytest.approx(0.98 * 0.05 * 220.0, rel=0.01)
    # A ramp bends the clock by Δv T/(8 v) at its middle; the best straight line leaves all of that
    # peak to peak. 0.05 × 220 / 8.
    assert found.length_apart == pytest.approx(0.05 * 220.0 / 8.0, rel=0.01)


def test_noise_favours_no_clock():
    ratios = []
    for start in range(30):
        _, speed, _, diameter, _ = machine(4000, "ramp")
        noise = np.random.default_rng(start).normal(size=4000)
        found = following(noise, INTERVAL, 1.1, speed, diameter)
        ratios += [found.length_over_time, found.angle_over_time, found.angle_over_length]
    assert np.max(np.abs(ratios)) < 12.0
    assert np.quantile(np.abs(ratios), 0.95) < 6.0
    assert abs(np.mean(ratios)) < 2.0


def test_unknown_columns():
    values, frequency, speed, diameter = record(1000, "ramp", "length", 0.3)
    for lost in (None, np.full(1000, np.nan), np.zeros(1000)):
        found = following(values, INTERVAL, frequency, lost, diameter)
        assert math.isnan(found.length)
        assert math.isnan(found.angle)
        assert found.time > 0.1
        assert "line speed" in found.warnings[0]
    for lost in (None, np.full(1000, np.nan), np.zeros(1000)):
        found = following(values, INTERVAL, frequency, speed, lost)
        assert math.isnan(found.angle_over_length)
        assert found.length > 0.9
    for lost in (np.zeros(1000), np.full(1000, np.nan)):
        assert math.isnan(following(lost, INTERVAL, frequency, speed, diameter).time)
    stopped = np.where(np.arange(1000) < 300, 0.0, speed)
    assert np.isfinite(following(values, INTERVAL, frequency, stopped, diameter).length)


def test_short_slow_and_broken():
    values, _, speed, diameter = record(30, "ramp", "time", 0.0)
    assert math.isnan(following(values, INTERVAL, 1.1, speed, diameter).time)
    assert math.isnan(following(values, INTERVAL, 9.9, speed, diameter).time)
    assert math.isnan(following(values, INTERVAL, math.nan, speed, diameter).time)
    values, _, speed, diameter = record(60, "ramp", "time", 0.0)
    quick = np.sin(2.0 * math.pi * 5.0 * np.arange(60) * INTERVAL)
    assert following(quick, INTERVAL, 5.0, speed, diameter).time > 0.95
    with pytest.raises(ValueError, match="line_speed"):
        following(values, INTERVAL, 1.1, speed[1:], diameter)
    with pytest.raises(ValueError, match="interval"):
        following(values, 0.0, 1.1, speed)


def test_a_million_samples():
    at = np.arange(1_000_000) * INTERVAL
    speed = SPEED * (1.0 + 0.03 * np.sin(2.0 * math.pi * at / 400.0))
    values = np.sin(2.0 * math.pi * at) + np.random.default_rng(1).normal(size=at.size)
    start = time.process_time()
    found = following(values, INTERVAL, 1.0, speed, np.full(at.size, 0.4))
    assert time.process_time() - start < 4.0
    assert found.length_over_time < -100.0
