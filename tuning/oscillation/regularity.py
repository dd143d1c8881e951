"""Is it a regular oscillation, how fast does it forget itself, and is it more than load changes?

Noise that passed a narrow band looks like an oscillation; what tells is the autocovariance, in
which noise dies out and a regular oscillation goes on. Its zero crossings come at even intervals
(Thornhill, Huang & Zhang, J. Process Control 13, 2003), and its swings shrink by what the
oscillation loses in half a period (Miao & Seborg, IEEE Conf. on Control Applications, 1999). Both
are restated from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from tuning.oscillation.even_record import even_record, only_rounding
from tuning.oscillation.multitaper import without_line

Array = NDArray[np.float64]

# Intervals between zero crossings that are looked at, and the fewest that say something.
MOST_INTERVALS, FEWEST_INTERVALS = 10, 3


@dataclass(frozen=True)
class Regularity:
    """How regular an oscillation is.

    Attributes:
        period: twice the mean interval between zero crossings of the autocovariance [s]; nan where
            there are too few.
        regularity: mean over three standard deviations of those intervals [-]; above 1 for a
            regular oscillation, 0 where there are too few.
        intervals: how many there were.
        index: what the autocovariance keeps from one swing to the next, half a period later [-]; 1
            for a sine, 0 where it doesn't swing.
        decay: what it keeps over one period, index² [-].
        damping: damping ratio of the second-order system that, driven by noise, decays so [-]; nan
            where it doesn't swing.
    """

    period: float
    regularity: float
    intervals: int
    index: float
    decay: float
    damping: float

    @property
    def regular(self) -> bool:
        """Return whether the intervals are even enough for an oscillation."""
        return self.regularity > 1.0


def within_band(values: ArrayLike, interval: float, *, low: float, high: float) -> Array:
    """Return what moves within a band, without delay, shape (n,).

    A filter on the Fourier transform of the values without mean and straight line, continued
    beyond both ends by their turned image so that the ends don't ring; at the very ends, within
    half a period, the result goes to 0 instead. The gain is 1 in the band and falls along a cosine
    to 0 at a third of an octave outside.

    Args:
        values: evenly sampled, shape (n,) [unit].
        interval: between samples [s].
        low: lower end of the band [Hz].
        high: upper end of the band [Hz].

    Raises:
        ValueError: values that are not finite, fewer than 16 or not in one row; an interval that
            is not positive; a band that is not 0 <= low < high.
    """
    record = even_record(values, interval)
    if not (math.isfinite(high) and 0.0 <= low < high):
        raise ValueError(f"band {low} to {high} Hz: must be 0 <= low < high")
    record = without_line(record)
    count = len(record)
    before = 2.0 * record[0] - record[1:][::-1]
    after = 2.0 * record[-1] - record[:-1][::-1]
    longer = np.concatenate([before, record, after])
    size = next_fast_len(len(longer), real=True)
    frequency = np.maximum(rfftfreq(size, interval), 1e-300)
    octaves = np.log2(frequency / high)
    if low > 0.0:
        octaves = np.maximum(octaves, np.log2(low / frequency))
    gain = 0.5 + 0.5 * np.cos(np.pi * np.clip(3.0 * octaves, 0.0, 1.0))
    # What goes round from one end to the other joins smoothly: the line between them is taken off.
    tilt = np.linspace(longer[0], longer[-1], len(longer))
    seen = irfft(rfft(longer - tilt, size) * gain, size)[count - 1 : 2 * count - 1]
    return np.asarray(seen, dtype=float)


def autocovariance(values: ArrayLike) -> Array:
    """Return the autocovariance against lag over that at lag 0, shape (n,) [-]; zeros for none.

    Each lag's sum is divided by how many products are in it, so that a sine doesn't fade.

    Args:
        values: mean taken off, shape (n,) [unit].
    """
    record = np.asarray(values, dtype=float)
    count = len(record)
    seen = rfft(record, next_fast_len(2 * count, real=True))
    sums = irfft(seen.real**2 + seen.imag**2, next_fast_len(2 * count, real=True))[:count]
    # Below this the transform's rounding is all there is.
    if not sums[0] > 1e-250:
        return np.zeros(count)
    kept: Array = sums / sums[0] * (count / np.arange(count, 0, -1.0))
    return kept


def regularity(values: ArrayLike, interval: float, *, low: float, high: float) -> Regularity:
    """Return how regular the oscillation within a band is.

    The index is Miao and Seborg's: height of the autocovariance's first maximum over the line
    through its first two minima, over the depth of its first minimum below the line from lag 0 to
    the first maximum. The autocovariance of a second-order system driven by white noise has its
    n-th extreme at n half periods and (-h)^n there, with h = exp(-pi zeta/sqrt(1 - zeta²)); the
    index is then exactly h, and h² = exp(-2 pi zeta/sqrt(1 - zeta²)) is what one period keeps.

    A band of an octave about the peak (0.7 to 1.4 times its frequency) keeps noise and harmonics
    out; but the filter rings itself: white noise in that band looks like a damping ratio of 0.28,
    and one record in three of it like a regular oscillation. So significance is the spectrum's
    matter, and a damping ratio above 0.05 needs a band of two octaves.

    Args:
        values: evenly sampled, shape (n,) [unit].
        interval: between samples [s].
        low: lower end of the band [Hz].
        high: upper end of the band [Hz].

    Raises:
        ValueError: as for `within_band`.
    """
    seen = within_band(values, interval, low=low, high=high)
    if only_rounding(seen, np.asarray(values, dtype=float)):
        return Regularity(math.nan, 0.0, 0, 0.0, 0.0, math.nan)
    # Beyond half the record a lag has too few products.
    kept = autocovariance(seen)[: len(seen) // 2 + 1]
    intervals = np.diff(zero_crossings(kept)[: MOST_INTERVALS + 1])
    period, even = math.nan, 0.0
    if len(intervals) >= FEWEST_INTERVALS:
        mean, spread = float(np.mean(intervals)), float(np.std(intervals, ddof=1))
        period, even = 2.0 * mean * interval, mean / (3.0 * max(spread, 1e-6 * mean))
    index = _index(kept)
    return Regularity(
        period=period,
        regularity=even,
        intervals=len(intervals),
        index=index,
        decay=index**2,
        damping=damping_ratio(index),
    )


def damping_ratio(index: float) -> float:
    """Return zeta of exp(-pi zeta/sqrt(1 - zeta²)) = index [-]; nan where it is 0.

    Args:
        index: what half a period keeps, 0 to 1 [-].
    """
    if not index > 0.0:
        return math.nan
    lost = -math.log(min(index, 1.0))
    return lost / math.hypot(math.pi, lost)


def zero_crossings(values: Array) -> Array:
    """Return where values pass 0, in samples, straight between them, shape (m,) [-].

    Args:
        values: shape (n,) [unit].
    """
    positive = values > 0.0
    before = np.flatnonzero(positive[1:] != positive[:-1])
    places: Array = before + values[before] / (values[before] - values[before + 1])
    return places


def _index(kept: Array) -> float:
    """Return Miao and Seborg's index of an autocovariance; 0 where it hasn't swung back twice."""
    places, heights = [0.0], [float(kept[0])]
    inner = kept[1:-1]
    turns = np.flatnonzero((inner - kept[:-2]) * (kept[2:] - inner) <= 0.0) + 1
    for turn in turns:
        a, b, c = kept[turn - 1 : turn + 2]
        bend = a - 2.0 * b + c
        # Extremes alternate: a minimum first.
        if bend == 0.0 or (bend > 0.0) != (len(places) % 2 == 1):
            continue
        shift = 0.5 * (a - c) / bend
        places.append(float(turn + shift))
        heights.append(float(b - 0.25 * (a - c) * shift))
        if len(places) == 4:
            break
    if len(places) < 4:
        return 0.0
    (p0, p1, p2, p3), (h0, h1, h2, h3) = places, heights
    above = h2 - (h1 + (h3 - h1) * (p2 - p1) / (p3 - p1))
    below = (h0 + (h2 - h0) * (p1 - p0) / (p2 - p0)) - h1
    if not (above > 0.0 and below > 0.0):
        return 0.0
    return min(1.0, above / below)
