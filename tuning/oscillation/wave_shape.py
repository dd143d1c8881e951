"""The shape of one oscillation: sine, square, triangle or sawtooth, and how sure that is.

A device that sticks leaves a square or a triangle, a loop that is too tight a sine, stick and slip
a sawtooth. The phase is tracked, so the frequency may drift, and a clear oscillation may fall out
of step with itself. Harmonics are fitted by least squares in pieces of three periods beside a level
and a slope, and averaged in phase with the fundamental:

    y = level + slope t + Re Σ X_j exp(i j φ)
    third  = −Re[X3 conj(X1)³]/|X1|⁴     square +1/3, triangle −1/9, sine 0
    second = −Im[X2 conj(X1)²]/|X1|³     slow rise and sudden drop +1/2, the reverse −1/2

Neither depends on when the record starts. (Fourier series of these waves: any textbook.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammainccinv as gammaincc_inverse

from tuning.oscillation.phase_track import (
    FEWEST_SAMPLES,
    MOST_GAPS,
    bridge_gaps,
    fit_harmonics,
    own_phase,
    piece_length,
    track_phase,
)

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

HARMONICS = 5
# Harmonics above this share of the Nyquist frequency can't be told from aliases.
NYQUIST_SHARE = 0.8
FEWEST_PERIODS = 2.0
MOST_BINS, FEWEST_BINS = 64, 10
# Records of more samples a period than this are averaged down first, to half of it at least.
MOST_SAMPLES_A_PERIOD = 256.0
# A harmonic counts from this many times its noise power on: noise alone gets there once in 400.
CLEAR = 6.0
# Harmonics below this share of the fundamental are rounding, whatever the noise.
LEAST_SHARE = 1e-3
FAST_SHARE = 0.2


@dataclass(frozen=True, eq=False)
class WaveShape:
    """Shape of one oscillation; nan is unknown, such as a harmonic that was sampled too slowly.

    Attributes:
        amplitude: of the fundamental [units of the measurement].
        harmonics: amplitudes of the first to the fifth harmonic, shape (5,) [units of the
            measurement]; nan above 0.8 of the Nyquist frequency.
        third: third harmonic in phase with the fundamental [-]; +1/3 for a square wave, −1/9 for a
            triangle, 0 for a sine.
        third_error: its standard error [-].
        second: second harmonic a quarter off [-]; +1/2 for a slow rise and a sudden drop, −1/2 for
            the reverse, 0 for anything that rises as it falls.
        second_error: its standard error [-].
        squareness: how much of what a sine leaves of the average period a square wave explains
            [-], 0 to 1; 0 where noise hides it.
        triangularity: the same for a triangle [-].
        sawtooth: the same for a sawtooth [-], either way round.
        swiftness: share of the movement within the fastest 20 % of the time [-]: triangle 0.2,
            sine sin(18°) = 0.309, sawtooth 0.6, square 1.
        phase: of the average period, shape (b,) [cycles]; 0 where the fundamental is at its top.
        mean_value: the average period about its level, shape (b,) [units of the measurement].
        standard_error: of that, shape (b,) [units of the measurement].
        frequency: mean, as tracked [Hz].
        drift: change of frequency from the first to the last third of the record [-], of the mean.
        periods: in the record [-].
        noise: rms of what five harmonics leave [units of the measurement].
        warnings: what a reader should know.
    """

    amplitude: float
    harmonics: Array
    third: float
    third_error: float
    second: float
    second_error: float
    squareness: float
    triangularity: float
    sawtooth: float
    swiftness: float
    phase: Array
    mean_value: Array
    standard_error: Array
    frequency: float
    drift: float
    periods: float
    noise: float
    warnings: tuple[str, ...] = ()


def wave_shape(
    values: ArrayLike, interval: float, frequency: float, *, resolution: float = math.nan
) -> WaveShape:
    """Return the shape of the oscillation at a frequency.

    Args:
        values: of the measurement or the output, shape (n,) [units of the measurement]; gaps (nan)
            up to a fifth are bridged.
        interval: between samples [s].
        frequency: of the fundamental [Hz], known to a quarter of a cycle over the record; it may
            drift by a few per cent.
        resolution: smallest step of the recording [units of the measurement]; nan finds it from
            the values where they take three levels or more.

    Raises:
        ValueError: values of a wrong shape, or an interval that is not positive.
    """
    y = np.asarray(values, dtype=float)
    if y.ndim != 1:
        raise ValueError(f"values of shape {y.shape}: must be (n,)")
    if not (math.isfinite(interval) and interval > 0.0):
        raise ValueError(f"interval {interval} s: must be above 0")
    if not (math.isfinite(frequency) and frequency > 0.0):
        return _unknown("no frequency to look at")
    periods = y.size * interval * frequency
    known = y[np.isfinite(y)]
    flat = bridge_gaps(y)
    if flat is None and known.size >= (1.0 - MOST_GAPS) * y.size and known.size >= FEWEST_SAMPLES:
        return _unknown("the value never changes", periods, amplitude=0.0)
    if flat is None:
        return _unknown("too few values", periods)
    if periods < FEWEST_PERIODS:
        return _unknown("less than two periods", periods)
    order = int(NYQUIST_SHARE * 0.5 / (frequency * interval) + 1e-9)
    if order < 1:
        return _unknown("sampled too slowly to see even the fundamental", periods)
    y = flat
    quantum = _resolution(known) if math.isnan(resolution) else max(resolution, 0.0)
    block = 1
    if frequency * interval * MOST_SAMPLES_A_PERIOD < 1.0:
        block = int(2.0 / (frequency * interval * MOST_SAMPLES_A_PERIOD))
        y = y[: y.size // block * block].reshape(-1, block).mean(axis=1)
    return _shape(y, interval * block, frequency, min(order, HARMONICS), block, quantum)


def _shape(
    y: Array, interval: float, frequency: float, order: int, block: int, quantum: float
) -> WaveShape:
    pieces, length = piece_length(y.size, interval, frequency)
    y = y[: pieces * length]
    phase = track_phase(y, interval, frequency)
    flat, phasors, noise = fit_harmonics(y, phase, pieces, order)
    own = own_phase(phase, phasors[:, 0], noise)
    if own is not None:
        phase = own
        flat, phasors, noise = fit_harmonics(y, phase, pieces, order)
    multiple = np.arange(1, order + 1)
    # What averaging a block of samples took from each harmonic.
    half = math.pi * frequency * interval / block * multiple
    phasors = phasors * (block * np.sin(half) / np.sin(block * half))
    mean = np.mean(phasors, axis=0)
    size = float(np.abs(mean[0]))
    if pieces >= 4:
        power = np.sum(np.abs(phasors - mean) ** 2, axis=0) / (pieces * (pieces - 1.0))
    else:
        power = np.full(order, 4.0 * noise**2 / y.size)
    # Unless noise shakes the last digit, a rounded sine has harmonics that no averaging removes:
    # J_k(2πA/q) 2q/π, about 0.2 A (q/A)^1.5.
    hidden = 0.0
    if quantum > 0.0 and noise < 0.5 * quantum:
        hidden = 0.2 * size * (quantum / max(size, quantum)) ** 1.5
    power = power + hidden**2
    folded = _fold(flat, phase, pieces, 1.0 / (frequency * interval), noise, block)
    turns, warnings = np.diff(phase) / (2.0 * math.pi * interval), []
    if turns.size < 3 or pieces < 3:
        drift = math.nan
    else:
        third_part = turns.size // 3
        drift = float((turns[-third_part:].mean() - turns[:third_part].mean()) / turns.mean())
    seen = size**2 > CLEAR * power[0]
    if not seen:
        warnings.append("noise hides the oscillation")
    if order < 3:
        warnings.append("sampled too slowly to know its shape")
    second, second_error = math.nan, math.nan
    third, third_error = math.nan, math.nan
    explained = (math.nan, math.nan, math.nan)
    swift = math.nan
    if seen:
        lead = np.conj(mean[0]) / size
        fundamental = (phasors[:, 0] * lead).real
        if order >= 2:
            second, second_error = _ratio(-(phasors[:, 1] * lead**2).imag, fundamental, power[1])
        if order >= 3:
            third, third_error = _ratio(-(phasors[:, 2] * lead**3).real, fundamental, power[2])
            explained = _explained(mean, power)
            if folded[0].size >= FEWEST_BINS:
                floor = quantum**2 / 12.0 if hidden > 0.0 else 0.0
                swift = _swiftness(folded[0], folded[1], folded[2] ** 2 + floor)
    harmonics = np.full(HARMONICS, math.nan)
    harmonics[:order] = np.abs(mean)
    return WaveShape(
        amplitude=size,
        harmonics=harmonics,
        third=third,
        third_error=third_error,
        second=second,
        second_error=second_error,
        squareness=explained[0],
        triangularity=explained[1],
        sawtooth=explained[2],
        swiftness=swift,
        phase=folded[0],
        mean_value=folded[1],
        standard_error=folded[2],
        frequency=float(turns.mean()),
        drift=drift,
        periods=float((phase[-1] - phase[0]) / (2.0 * math.pi)),
        noise=noise,
        warnings=tuple(warnings),
    )


def _ratio(top: Array, bottom: Array, power: float) -> tuple[float, float]:
    """Ratio of two means over pieces and its standard error, never below what `power` says."""
    ratio = float(np.mean(top) / np.mean(bottom))
    least = math.sqrt(0.5 * power) / abs(float(np.mean(bottom)))
    if top.size < 4:
        return ratio, least
    rest = top - ratio * bottom
    scatter = math.sqrt(float(np.sum(rest**2)) / (top.size * (top.size - 1.0)))
    return ratio, max(scatter / abs(float(np.mean(bottom))), least)


def _explained(mean: ComplexArray, power: Array) -> tuple[float, float, float]:
    """Share of what a sine leaves that a square, a triangle and a sawtooth explain."""
    left = float(np.sum(np.abs(mean[1:]) ** 2))
    noise = float(np.sum(power[1:]))
    # Powers over their means add up to a gamma variable where there is nothing but noise.
    rarely = float(gammaincc_inverse(mean.size - 1, math.exp(-CLEAR)))
    in_noise = float(np.sum(np.abs(mean[1:]) ** 2 / np.maximum(power[1:], 1e-300))) < rarely
    if in_noise or left < (LEAST_SHARE * abs(mean[0])) ** 2:
        return 0.0, 0.0, 0.0
    multiple = np.arange(1, mean.size + 1)
    odd = multiple % 2 == 1
    sign = np.where(multiple % 4 == 1, 1.0, -1.0)
    shapes = (
        np.where(odd, sign / multiple, 0.0),
        np.where(odd, 1.0 / multiple**2, 0.0),
        -1j / multiple,
    )
    angle = np.linspace(0.0, 2.0 * math.pi, 1440, endpoint=False)
    turn = np.exp(-1j * np.outer(angle, multiple))
    total = float(np.sum(np.abs(mean) ** 2))
    shares = []
    for shape in shapes:
        matched = (turn @ (mean * np.conj(shape))).real ** 2 / float(np.sum(np.abs(shape) ** 2))
        unexplained = total - float(np.max(matched))
        shares.append(min(max((left - unexplained) / (left - noise), 0.0), 1.0))
    return shares[0], shares[1], shares[2]


def _fold(
    flat: Array, phase: Array, pieces: int, samples: float, noise: float, block: int
) -> tuple[Array, Array, Array]:
    """Average period: phase [cycles], mean and its standard error in each filled bin."""
    bins = int(max(4, min(MOST_BINS, samples + 1e-9, flat.size / 4)))
    turns = phase / (2.0 * math.pi)
    place = turns - np.floor(turns)
    groups = min(pieces, 32)
    group = np.repeat(np.arange(pieces) * groups // pieces, flat.size // pieces)
    index = group * bins + np.minimum((place * bins).astype(np.int64), bins - 1)

    def sums(weights: Array | None) -> Array:
        return np.bincount(index, weights, groups * bins).astype(float).reshape(groups, bins)

    count, total, places = sums(None), sums(flat), sums(place)
    full = count.sum(axis=0) > 0
    count, total, places = count[:, full], total[:, full], places[:, full]
    weight = count.sum(axis=0)
    mean = total.sum(axis=0) / weight
    filled = np.maximum(count, 1.0)
    scatter = np.sum((count * (total / filled - mean)) ** 2, axis=0)
    used = np.sum(count > 0, axis=0)
    error = np.sqrt(scatter * used / np.maximum(used - 1, 1)) / weight
    error = np.where(used >= 3, error, noise / np.sqrt(weight))
    return places.sum(axis=0) / weight, mean, error


def _swiftness(phase: Array, value: Array, variance: Array) -> float:
    """Share of the movement in the fastest fifth of the time, noise shrunk away first."""
    spectrum = np.fft.rfft(value)
    noise = float(np.sum(variance))
    spectrum *= np.maximum(1.0 - CLEAR * noise / np.maximum(np.abs(spectrum) ** 2, 1e-300), 0.0)
    smooth = np.fft.irfft(spectrum, value.size)
    gap = np.diff(phase, append=phase[0] + 1.0)
    change = np.abs(np.diff(smooth, append=smooth[0]))
    total = float(np.sum(change))
    if total <= 0.0:
        return math.nan
    fastest = np.argsort(-change / gap, kind="stable")
    time = np.concatenate([[0.0], np.cumsum(gap[fastest])])
    moved = np.concatenate([[0.0], np.cumsum(change[fastest])])
    return float(np.interp(FAST_SHARE * time[-1], time, moved) / total)


def _resolution(y: Array) -> float:
    """Smallest step between recorded values; 0 where they are as good as continuous."""
    part = y[:20000]
    levels = np.unique(part)
    steps = np.diff(levels)
    steps = steps[steps > 1e-9 * float(levels[-1] - levels[0])]
    if steps.size < 2 or steps.size > 0.25 * part.size:
        return 0.0
    return float(np.min(steps))


def _unknown(why: str, periods: float = math.nan, amplitude: float = math.nan) -> WaveShape:
    empty = np.zeros(0)
    nan = math.nan
    return WaveShape(
        amplitude=amplitude, harmonics=np.full(HARMONICS, nan),
        third=nan, third_error=nan, second=nan, second_error=nan,
        squareness=nan, triangularity=nan, sawtooth=nan, swiftness=nan,
        phase=empty, mean_value=empty, standard_error=empty,
        frequency=nan, drift=nan, periods=periods, noise=nan, warnings=(why,),
    )  # fmt: skip
