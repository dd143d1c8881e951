"""The shape of an oscillation against the Fourier series of sine, triangle, square and sawtooth.

The series are textbook matter and derived in a line each; a square behind a lag has each harmonic
divided by 1 + i j ω T.
"""

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from tuning.oscillation.wave_shape import wave_shape

INTERVAL = 0.05
# Fundamental amplitude, third and second as defined, swiftness; each of a wave of height ±1.
WAVES = {
    "sine": (np.sin, 1.0, 0.0, 0.0, math.sin(0.1 * math.pi)),
    "square": (signal.square, 4.0 / math.pi, 1.0 / 3.0, 0.0, 1.0),
    "triangle": (lambda p: signal.sawtooth(p, 0.5), 8.0 / math.pi**2, -1.0 / 9.0, 0.0, 0.2),
    "sawtooth": (signal.sawtooth, 2.0 / math.pi, 1.0 / 3.0, 0.5, 0.6),
    "falling sawtooth": (lambda p: -signal.sawtooth(p), 2.0 / math.pi, 1.0 / 3.0, -0.5, 0.6),
}


def phase_of(samples, frequency, start=0.3):
    return 2.0 * math.pi * frequency * np.arange(samples) * INTERVAL + start


def lagged_square(phase, ratio):
    """Steady answer of a first-order lag to a square; ratio is half a period over the lag."""
    along = np.mod(phase, math.pi) / math.pi
    up = np.where(np.mod(phase, 2.0 * math.pi) < math.pi, 1.0, -1.0)
    return up * (1.0 - 2.0 * np.exp(-ratio * along) / (1.0 + math.exp(-ratio)))


@pytest.mark.parametrize("name", WAVES)
@pytest.mark.parametrize("frequency", [0.1087, 0.2, 0.03])
def test_clean_waves(name, frequency):
    make, amplitude, third, second, swiftness = WAVES[name]
    shape = wave_shape(make(phase_of(4001, frequency)), INTERVAL, frequency)
    assert shape.amplitude == pytest.approx(amplitude, abs=0.01)
    assert shape.third == pytest.approx(third, abs=0.01)
    assert shape.second == pytest.approx(second, abs=0.01)
    # A jump takes one of the 64 places that a period is folded into.
    assert shape.swiftness == pytest.approx(swiftness, abs=0.04 if "saw" in name else 0.025)
    assert shape.frequency == pytest.approx(frequency, rel=1e-3)
    assert shape.periods == pytest.approx(4001 * INTERVAL * frequency, rel=0.15)


def test_which_wave_explains_which():
    shapes = {
        n: wave_shape(w[0](phase_of(4001, 0.1087)), INTERVAL, 0.1087) for n, w in WAVES.items()
    }
    sine = shapes["sine"]
    assert (sine.squareness, sine.triangularity, sine.sawtooth) == (0.0, 0.0, 0.0)
    assert shapes["square"].squareness > 0.99
    assert shapes["square"].triangularity == 0.0
    assert shapes["triangle"].triangularity > 0.99
    assert shapes["triangle"].squareness == 0.0
    assert shapes["sawtooth"].sawtooth > 0.99
    assert shapes["falling sawtooth"].sawtooth > 0.99
    assert shapes["sawtooth"].squareness < 0.4


@pytest.mark.parametrize("ratio", [1.0, 4.0, 20.0])
def test_a_square_behind_a_lag(ratio):
    """X_j goes with 1/[j (1 + i j ωT)], ωT = π/ratio; the rate dies away as e^(−t/T)."""
    frequency = 0.1087
    shape = wave_shape(lagged_square(phase_of(8001, frequency), ratio), INTERVAL, frequency)
    lag = math.pi / ratio
    phasor = [-1j / j / (1.0 + 1j * j * lag) for j in (1, 3)]
    third = -(phasor[1] * np.conj(phasor[0]) ** 3).real / abs(phasor[0]) ** 4
    assert shape.third == pytest.approx(third, abs=0.003)
    assert shape.amplitude == pytest.approx(4.0 / math.pi * abs(phasor[0]), rel=0.01)
    swiftness = (1.0 - math.exp(-0.2 * ratio)) / (1.0 - math.exp(-ratio))
    assert shape.swiftness == pytest.approx(swiftness, abs=0.025)


@pytest.mark.parametrize("name", WAVES)
@pytest.mark.parametrize(
    ("samples", "frequency", "noise"),
    [(4000, 0.4321, 0.5), (600, 0.4321, 0.5), (200, 0.77, 0.5), (60, 1.1, 0.3)],
)
def test_noise_gives_honest_errors(name, samples, frequency, noise):
    """Over forty records misses over standard errors scatter as a standard normal does."""
    make, amplitude, third, second, _ = WAVES[name]
    found = [
        wave_shape(
            make(phase_of(samples, frequency, start))
            + noise * np.random.default_rng(start).normal(size=samples),
            INTERVAL,
            frequency,
        )
        for start in range(40)
    ]
    for miss in (
        np.array([(s.third - third) / s.third_error for s in found]),
        np.array([(s.second - second) / s.second_error for s in found]),
    ):
        assert abs(np.mean(miss)) < 0.6
        assert 0.5 < np.std(miss) < 1.4
    assert np.mean([s.amplitude for s in found]) == pytest.approx(amplitude, rel=0.05)


def test_noise_is_not_taken_for_a_shape():
    """In noise of twice its height, a sine shows a square or a sawtooth once in 400 or so."""
    found = [
        wave_shape(
            np.sin(phase_of(600, 0.4321, start)) + np.random.default_rng(start).normal(size=600),
            INTERVAL,
            0.4321,
        )
        for start in range(60)
    ]
    assert sum(s.squareness > 0.0 for s in found) <= 2
    assert sum(s.sawtooth > 0.0 for s in found) <= 2
    assert np.median([s.swiftness for s in found]) == pytest.approx(0.309, abs=0.01)


@pytest.mark.parametrize("name", ["sine", "square", "triangle", "sawtooth"])
def test_a_drifting_frequency(name):
    make, amplitude, third, second, _ = WAVES[name]
    samples, frequency, drift = 4000, 0.4321, 0.04
    at = np.arange(samples) * INTERVAL
    turns = frequency * (at + drift * (at**2 / (2.0 * at[-1]) - 0.5 * at))
    values = make(2.0 * math.pi * turns) + 5.0 + 0.02 * at
    shape = wave_shape(values, INTERVAL, frequency)
    assert shape.amplitude == pytest.approx(amplitude, rel=0.01)
    assert shape.third == pytest.approx(third, abs=0.01)
    assert shape.second == pytest.approx(second, abs=0.01)
    # From the middle of the first third to that of the last is two thirds of the way.
    assert shape.drift == pytest.approx(2.0 / 3.0 * drift, abs=0.003)


@pytest.mark.parametrize("name", ["sine", "square", "triangle", "sawtooth"])
def test_an_oscillation_out_of_step_with_itself(name):
    """Each period takes its own time, 5 % more or less at random: after some twenty nothing is left
    of the first one's phase, but each has its shape."""
    make, amplitude, third, second, _ = WAVES[name]
    rng = np.random.default_rng(4)
    ends = np.concatenate([[0.0], np.cumsum(2.0 * (1.0 + 0.05 * rng.normal(size=120)))])
    at = np.arange(4000) * INTERVAL
    turns = np.interp(at, ends, np.arange(121.0))
    values = make(2.0 * math.pi * turns) + 0.1 * rng.normal(size=at.size)
    shape = wave_shape(values, INTERVAL, float(turns[-1] / at[-1]))
    assert shape.amplitude == pytest.approx(amplitude, rel=0.04)
    assert shape.third == pytest.approx(third, abs=0.05)
    assert shape.second == pytest.approx(second, abs=0.05)
    assert shape.squareness > 0.95 if name == "square" else shape.squareness < 0.5


@pytest.mark.parametrize("step", [0.05, 0.3, 0.7])
@pytest.mark.parametrize("frequency", [0.5, 0.4321])
def test_a_rounded_sine_is_no_square(step, frequency):
    values = np.round(np.sin(phase_of(2000, frequency)) / step) * step
    shape = wave_shape(values, INTERVAL, frequency)
    assert abs(shape.third) < 4.0 * shape.third_error
    assert shape.squareness == 0.0
    assert shape.triangularity == 0.0
    assert shape.swiftness == pytest.approx(0.309, abs=0.01)


def test_a_known_resolution_hides_what_two_levels_pretend():
    values = np.round(0.8 * np.sin(phase_of(2000, 0.4321)) + 0.5)
    assert wave_shape(values, INTERVAL, 0.4321).squareness > 0.5
    assert wave_shape(values, INTERVAL, 0.4321, resolution=1.0).squareness == 0.0


def test_few_samples_a_period():
    """At a rate of 20 Hz harmonics end at 8 Hz: 0.8 of 10 Hz."""
    for frequency, known in [(7.3, 1), (4.7, 1), (3.7, 2), (2.63, 3), (1.93, 4), (1.57, 5)]:
        shape = wave_shape(np.sin(phase_of(500, frequency)), INTERVAL, frequency)
        assert np.isfinite(shape.harmonics).sum() == known
        assert shape.amplitude == pytest.approx(1.0, rel=0.01)
        assert math.isnan(shape.second) == (known < 2)
        assert math.isnan(shape.third) == math.isnan(shape.squareness) == (known < 3)
        assert bool(shape.warnings) == (known < 3)


def test_averaging_a_long_record_down_keeps_the_harmonics():
    for frequency in (0.0123, 0.0037):
        shape = wave_shape(signal.square(phase_of(30_000, frequency)), INTERVAL, frequency)
        odd = 4.0 / math.pi / np.array([1.0, 3.0, 5.0])
        assert shape.harmonics[::2] == pytest.approx(odd, rel=0.01)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        (np.zeros(100), "never changes"),
        (np.full(100, 7.3), "never changes"),
        (np.full(100, np.nan), "too few"),
        (np.sin(np.arange(10.0)), "too few"),
        (np.sin(np.arange(30.0)), "two periods"),
        (np.zeros(0), "too few"),
    ],
)
def test_unknown_says_why(values, why):
    shape = wave_shape(values, 1.0, 0.05 if values.size == 30 else 0.2)
    assert why in shape.warnings[0]
    assert math.isnan(shape.third)
    assert math.isnan(shape.squareness)


def test_gaps_are_bridged_and_noise_is_not_called_an_oscillation():
    values = signal.square(phase_of(4000, 0.1087))
    values[1000:1010] = np.nan
    assert wave_shape(values, INTERVAL, 0.1087).third == pytest.approx(1.0 / 3.0, abs=0.02)
    lost = wave_shape(np.random.default_rng(3).normal(size=4000), INTERVAL, 0.1087)
    assert lost.squareness == 0.0 or math.isnan(lost.squareness)
    assert math.isnan(wave_shape(values, INTERVAL, math.nan).third)


def test_wrong_arguments():
    with pytest.raises(ValueError, match="interval"):
        wave_shape(np.zeros(30), 0.0, 1.0)
    with pytest.raises(ValueError, match="shape"):
        wave_shape(np.zeros((30, 2)), 1.0, 1.0)


@settings(max_examples=30, deadline=None)
@given(scale=st.floats(1e-3, 1e6), level=st.floats(-1e3, 1e3), start=st.floats(0.0, 6.2))
def test_scale_level_and_start_do_not_matter(scale, level, start):
    noise = 0.2 * np.random.default_rng(5).normal(size=800)
    one = wave_shape(signal.square(phase_of(800, 0.4321, 0.0)), INTERVAL, 0.4321)
    values = scale * (signal.square(phase_of(800, 0.4321, start)) + level)
    other = wave_shape(values, INTERVAL, 0.4321)
    assert other.third == pytest.approx(one.third, abs=0.02)
    assert other.amplitude == pytest.approx(scale * one.amplitude, rel=0.02)
    flipped = wave_shape(-values + scale * noise, INTERVAL, 0.4321)
    assert flipped.third == pytest.approx(1.0 / 3.0, abs=0.06)


def test_a_million_samples():
    values = np.sin(phase_of(1_000_000, 1.0)) + np.random.default_rng(1).normal(size=1_000_000)
    wave_shape(values[:1000], INTERVAL, 1.0)
    start = time.process_time()
    wave_shape(values, INTERVAL, 1.0)
    assert time.process_time() - start < 2.0
