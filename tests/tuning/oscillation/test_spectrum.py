"""Spectra and their peaks against scipy, closed forms, Fourier series and the laws of chance."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import signal, stats

from tuning.oscillation.multitaper import HALF_BANDWIDTH, TAPERS, pieces
from tuning.oscillation.spectrum import peaks, spectrum, without_drift
from tuning.oscillation.strict_line import harmonic_test, log10_chance, sine_frequency


def noise(kind, samples, random):
    white = random.standard_normal(samples + 500)
    if kind == "random walk":
        return np.cumsum(white)[500:]
    phi = {"white": 0.0, "AR(1) 0.9": 0.9, "AR(1) 0.99": 0.99, "AR(1) and drift": 0.9}[kind]
    values = signal.lfilter([1.0], [1.0, -phi], white)[500:]
    if kind == "AR(1) and drift":
        values += 30.0 * np.linspace(0.0, 1.0, samples) ** 2
    return values


def rung(damping, samples, random, frequency=0.05):
    """Return a second-order system driven by white noise (impulse invariant), unit interval."""
    w = 2.0 * math.pi * frequency
    r, c = math.exp(-damping * w), math.cos(w * math.sqrt(1.0 - damping**2))
    driven = random.standard_normal(samples + 2000)
    return signal.lfilter([1.0], [1.0, -2.0 * r * c, r * r], driven)[2000:]


# --- motion slower than what is looked for


@pytest.mark.parametrize("ratio", [0.25, 0.5, 1.0, 2.0, 4.0])
def test_gain_without_drift_is_that_of_the_formula(ratio):
    # (1 - g)² with g = exp(-2 (pi s f)²) and a half at `slowest`, away from the ends
    t, slowest = np.arange(4000) * 0.1, 0.05
    sine = np.sin(2.0 * math.pi * ratio * slowest * t)
    left = without_drift(sine, 0.1, slowest=slowest)
    g = (1.0 - math.sqrt(0.5)) ** (ratio**2)
    assert left[1000:3000] == pytest.approx((1.0 - g) ** 2 * sine[1000:3000], abs=2e-3)


def test_a_straight_line_goes_and_a_fast_sine_stays_to_the_ends():
    t = np.arange(600) * 0.02
    sine = 0.5 * np.sin(2.0 * math.pi * 5.0 * t)
    left = without_drift(300.0 + 7.0 * t + sine, 0.02, slowest=0.5)
    assert left == pytest.approx(sine, abs=0.1)
    assert left[50:-50] == pytest.approx(sine[50:-50], abs=0.005)


def test_a_step_does_not_ring():
    left = without_drift(np.repeat([0.0, 1.0], 500), 1.0, slowest=0.01)
    # one swing to each side of the step and at most a small one back
    before = left[100:500]
    assert np.min(before) < -0.4
    assert np.max(before) < 0.1


# --- the spectrum


def test_variance_is_the_area_of_the_density():
    values = np.random.default_rng(1).standard_normal(3000)
    seen = spectrum(values, 0.01)
    area = np.sum(seen.density) * seen.frequency[1]
    assert area == pytest.approx(np.var(values), rel=0.03)
    assert seen.frequency[-1] == pytest.approx(50.0)


def test_a_long_record_agrees_with_welchs_method():
    values = noise("AR(1) 0.9", 60_000, np.random.default_rng(2))
    seen = spectrum(values, 0.5)
    frequency, density = signal.welch(values, fs=2.0, nperseg=4096, detrend="linear")
    edges = np.geomspace(0.005, 0.9, 15)
    for low, high in pairwise(edges):
        ours = np.mean(seen.density[(seen.frequency >= low) & (seen.frequency < high)])
        theirs = np.mean(density[(frequency >= low) & (frequency < high)])
        assert ours == pytest.approx(theirs, rel=0.12)


def test_density_of_white_noise_scatters_as_chi_square():
    random = np.random.default_rng(3)
    ratios = []
    for _ in range(60):
        seen = spectrum(random.standard_normal(500), 1.0)
        ratios.extend((seen.density * seen.dof / 2.0)[40:-40:25])  # one-sided density of it is 2
    chance = stats.kstest(ratios, stats.chi2(2 * TAPERS).cdf).pvalue
    assert chance > 0.001


def test_degrees_of_freedom_of_pieces_are_those_of_the_scatter():
    random = np.random.default_rng(4)
    seen = [spectrum(random.standard_normal(9000), 1.0) for _ in range(30)]
    densities = np.array([one.density[300:-300:60] for one in seen])
    found = 2.0 * np.mean(densities) ** 2 / np.var(densities)
    assert found == pytest.approx(pieces(9000).degrees_of_freedom, rel=0.15)
    assert pieces(1000).degrees_of_freedom == pytest.approx(2 * TAPERS)


def test_long_tapers_drawn_from_shorter_ones_are_slepians():
    drawn = pieces(40_000)
    exact = signal.windows.dpss(drawn.length, HALF_BANDWIDTH, TAPERS)
    assert np.abs(np.sum(drawn.tapers * exact, axis=1)) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("kind", "true"),
    [
        ("white", lambda w: np.full_like(w, 2.0)),
        ("AR(1) 0.9", lambda w: 2.0 / np.abs(1.0 - 0.9 * np.exp(-1j * w)) ** 2),
        ("AR(1) 0.99", lambda w: 2.0 / np.abs(1.0 - 0.99 * np.exp(-1j * w)) ** 2),
        ("random walk", lambda w: 2.0 / np.abs(1.0 - np.exp(-1j * w)) ** 2),
    ],
)
def test_background_is_right_under_a_red_spectrum_and_at_both_ends(kind, true):
    random = np.random.default_rng(5)
    found = []
    for _ in range(40):
        values = noise(kind, 2000, random)
        # a strong line must not lift it
        values += 20.0 * np.sin(2.0 * math.pi * 0.11 * np.arange(2000))
        found.append(np.log(spectrum(values, 1.0).background))
    seen = spectrum(values, 1.0)
    places = np.searchsorted(seen.frequency, [seen.lowest, 0.005, 0.03, 0.11, 0.3, 0.499])
    ratio = np.exp(np.mean(found, axis=0)[places]) / true(2 * math.pi * seen.frequency[places])
    assert ratio == pytest.approx(1.0, abs=0.35)
    assert ratio[2:] == pytest.approx(1.0, abs=0.15)


# --- chance


@pytest.mark.parametrize(
    "kind", ["white", "AR(1) 0.9", "AR(1) 0.99", "random walk", "AR(1) and drift"]
)
@pytest.mark.parametrize(("samples", "draws"), [(200, 100), (1000, 60), (6000, 20)])
def test_chance_makes_a_peak_as_seldom_as_said(kind, samples, draws):
    random = np.random.default_rng(6)
    alarms = sum(
        peaks(noise(kind, samples, random), 1.0, most=1)[0].significant for _ in range(draws)
    )
    # at a true rate of 1 % so many come with a chance of one in ten thousand
    assert alarms <= stats.binom.isf(1e-4, draws, 0.01)


def test_the_tail_of_fishers_f():
    assert log10_chance(3.0, 8.0, 30.0) == pytest.approx(math.log10(stats.f.sf(3.0, 8, 30)))
    # F(2, d): (1 + 2 x/d)^(-d/2) exactly, far below the smallest float
    assert log10_chance(1e6, 2.0, 200.0) == pytest.approx(-100.0 * math.log10(1.0 + 1e4), rel=1e-9)


def test_ratio_of_thomsons_test_follows_f_in_noise():
    random = np.random.default_rng(7)
    cut = pieces(300)
    ratios = [harmonic_test(random.standard_normal(300), 1.0, 0.137, cut)[0] for _ in range(400)]
    assert stats.kstest(ratios, stats.f(2, 2 * (TAPERS - 1)).cdf).pvalue > 0.001


# --- what is found


def test_a_sine_ten_decibels_below_the_noise_is_found():
    random = np.random.default_rng(8)
    errors, found = [], 0
    for draw in range(60):
        frequency = random.uniform(0.01, 0.49)
        sine = math.sqrt(0.2) * np.sin(2 * math.pi * frequency * np.arange(1000) + draw)
        peak = peaks(sine + random.standard_normal(1000), 1.0, most=1)[0]
        if peak.significant:
            found += 1
            errors.append(1000.0 * (peak.frequency - frequency))
    assert found >= 57
    # Cramér–Rao: sqrt(6/(snr n))/(pi T) with snr 0.1 is 0.078 of 1/T; the window costs a little
    assert np.sqrt(np.mean(np.square(errors))) < 0.2


def test_a_line_is_told_from_ringing():
    random = np.random.default_rng(9)
    t = np.arange(1000)
    line = peaks(np.sin(0.3 * t) + 0.3 * random.standard_normal(1000), 1.0)[0]
    ringing = peaks(rung(0.02, 1000, random), 1.0)[0]
    assert line.significant and ringing.significant
    assert line.line < -4.0 < ringing.line
    assert line.width == 0.0
    assert line.amplitude == pytest.approx(1.0, rel=0.05)
    assert line.share == pytest.approx(0.5 / 0.59, rel=0.05)
    assert line.low < line.frequency < line.high


def test_a_rung_system_is_found_if_it_rings():
    random = np.random.default_rng(10)
    lightly = [peaks(rung(0.02, 1000, random), 1.0, most=1)[0] for _ in range(30)]
    strongly = [peaks(rung(0.3, 1000, random), 1.0, most=1)[0] for _ in range(60)]
    assert all(peak.significant for peak in lightly)
    assert np.mean([peak.significant for peak in strongly]) < 0.2
    assert np.mean([peak.frequency for peak in lightly]) == pytest.approx(0.05, rel=0.01)


def test_width_of_a_resonance_is_twice_damping_times_frequency():
    random = np.random.default_rng(11)
    found = [peaks(rung(0.02, 20_000, random), 1.0, most=1)[0].width for _ in range(10)]
    assert np.mean(found) == pytest.approx(2 * 0.02 * 0.05, rel=0.25)


def test_two_sines_close_to_each_other():
    t = np.arange(1000) * 0.1
    random = np.random.default_rng(12)
    values = 2.0 * np.sin(2 * math.pi * 0.371 * t) + np.sin(2 * math.pi * 0.441 * t + 1.0)
    first, second = peaks(values + 0.1 * random.standard_normal(1000), 0.1)
    assert first.frequency == pytest.approx(0.371, abs=0.0005)
    assert second.frequency == pytest.approx(0.441, abs=0.001)
    assert (first.amplitude, second.amplitude) == pytest.approx((2.0, 1.0), rel=0.03)


@pytest.mark.parametrize("frequency", [0.48, 0.4985])
def test_a_sine_near_half_the_sampling_frequency(frequency):
    noise_ = 0.2 * np.random.default_rng(13).standard_normal(1000)
    found = peaks(np.sin(2 * math.pi * frequency * np.arange(1000) + 1.0) + noise_, 1.0)[0]
    assert found.significant
    assert found.frequency == pytest.approx(frequency, abs=1e-4)
    assert found.amplitude == pytest.approx(1.0, rel=0.05)


def test_a_sine_in_steps_of_its_own_size():
    found = peaks(np.round(1.2 * np.sin(2 * math.pi * 0.0371 * np.arange(1000))), 1.0)
    assert found[0].frequency == pytest.approx(0.0371, abs=2e-5)
    assert found[0].line < -6.0
    # a three-level wave of levels -1, 0, 1 that is 1 from asin(1/2.4): 4/pi cos(asin(0.5/1.2))
    assert found[0].amplitude == pytest.approx(
        4 / math.pi * math.sqrt(1 - (0.5 / 1.2) ** 2), rel=0.02
    )


@pytest.mark.parametrize(
    ("wave", "series"),
    [
        (lambda p: signal.sawtooth(p), {n: 2 / (math.pi * n) for n in (1, 2, 3, 4)}),
        (lambda p: signal.square(p), {n: 4 / (math.pi * n) for n in (1, 3, 5, 7)}),
        (lambda p: signal.sawtooth(p, 0.5), {n: 8 / (math.pi * n) ** 2 for n in (1, 3, 5, 7)}),
    ],
    ids=["saw-tooth", "square", "triangle"],
)
@pytest.mark.parametrize("frequency", [0.0083, 0.0371])
def test_harmonics_of_a_wave_are_those_of_its_fourier_series(wave, series, frequency):
    t = np.arange(1000)
    values = wave(2 * math.pi * frequency * t) + 0.01 * np.random.default_rng(14).standard_normal(
        1000
    )
    found = peaks(values, 1.0, most=4)
    # From about eight cycles only, the window's neighbours overlap.
    off = 0.05 if frequency > 0.02 else 0.12
    for peak, (order, amplitude) in zip(found, series.items(), strict=True):
        assert peak.frequency == pytest.approx(order * frequency, abs=1e-4)
        assert peak.amplitude == pytest.approx(amplitude, rel=off)


def test_a_sine_beside_a_hundred_times_as_much_drift():
    t = np.arange(1000)
    values = 100.0 * (t / 1000) ** 2 + 0.5 * np.sin(2 * math.pi * 0.05 * t)
    found = peaks(values + 0.3 * np.random.default_rng(15).standard_normal(1000), 1.0)
    assert found[0].significant
    assert found[0].frequency == pytest.approx(0.05, abs=2e-4)
    assert found[0].amplitude == pytest.approx(0.5, rel=0.15)


def test_a_slow_line_in_a_long_record():
    t = np.arange(100_000) * 0.01
    values = 0.1 * np.sin(2 * math.pi * 0.3 * t) + np.random.default_rng(16).standard_normal(
        100_000
    )
    found = peaks(values, 0.01)[0]
    assert found.significant
    assert found.line < -6.0
    # a tenth of 1/(length of the record)
    assert found.frequency == pytest.approx(0.3, abs=1e-4)
    assert found.amplitude == pytest.approx(0.1, rel=0.1)


def test_the_frequency_of_a_sine_alone_is_close_to_exact():
    values = np.sin(2 * math.pi * 0.12345 * np.arange(800))
    # a hundredth of 1/(length of the record): the negative frequency leaks in a little
    assert sine_frequency(values, 1.0, 0.124, 0.002) == pytest.approx(0.12345, abs=0.01 / 800)


@pytest.mark.parametrize("values", [np.zeros(30), np.full(64, 3.3), 0.1 * np.arange(50) + 7.0])
def test_what_does_not_move_has_no_peak(values):
    assert peaks(values, 0.1) == ()
    assert np.all(np.isfinite(spectrum(values, 0.1).background))


@pytest.mark.parametrize("samples", [16, 17, 30, 45])
def test_short_records(samples):
    t = np.arange(samples)
    for values in (np.sin(t), np.round(np.sin(t)), np.eye(samples)[5], (t > 9).astype(float)):
        for peak in peaks(values, 1.0):
            assert math.isfinite(peak.frequency) and math.isfinite(peak.amplitude)
    strong = peaks(np.sin(2 * math.pi * 0.15 * np.arange(40)), 1.0)[0]
    assert strong.frequency == pytest.approx(0.15, abs=0.004)


def test_same_values_same_bits_and_scale_goes_through():
    values = np.random.default_rng(17).standard_normal(700) + np.sin(0.4 * np.arange(700))
    once, again = peaks(values, 0.1), peaks(values, 0.1)
    assert once == again
    scaled = peaks(1024.0 * values, 0.1)
    assert scaled[0].amplitude == pytest.approx(1024.0 * once[0].amplitude)
    assert scaled[0].false_alarm == pytest.approx(once[0].false_alarm)
    assert peaks(values, 0.1, spectrum=spectrum(values, 0.1)) == once


@pytest.mark.parametrize(
    ("values", "interval", "said"),
    [
        (np.zeros(5), 1.0, "at least 16"),
        (np.zeros((20, 2)), 1.0, "one row"),
        (np.full(20, np.nan), 1.0, "finite"),
        (np.zeros(20), 0.0, "interval 0.0"),
    ],
)
def test_what_is_no_record_is_refused(values, interval, said):
    for call in (spectrum, peaks, lambda v, h: without_drift(v, h, slowest=0.1)):
        with pytest.raises(ValueError, match=said):
            call(values, interval)
    with pytest.raises(ValueError, match="slowest"):
        without_drift(np.zeros(20), 1.0, slowest=0.0)
