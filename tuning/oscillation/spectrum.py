"""Which frequencies a record holds, and how sure it is that they are no chance.

The spectrum is Thomson's multitaper estimate (`multitaper`), its background a running median
(`background`). Noise alone makes the ratio of density and background follow Fisher's F; a peak is
what chance would hardly make anywhere in the spectrum. Whether it's a strict line (something that
turns) or a narrow band of noise (something that rings) is asked by Thomson's harmonic test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import fftconvolve, find_peaks
from scipy.special import betaincinv

from tuning.oscillation.background import STEEPEST, background
from tuning.oscillation.even_record import even_record, only_rounding
from tuning.oscillation.multitaper import (
    HALF_BANDWIDTH,
    TAPERS,
    Pieces,
    densities,
    pieces,
    without_line,
)
from tuning.oscillation.strict_line import harmonic_test, log10_chance, sine_frequency

Array = NDArray[np.float64]

# log10 of the chance that counts as none.
SIGNIFICANT = -2.0
# Cycles in a piece: below the first, mean and line have taken motion off; slower than the second,
# an oscillation can't be told from drift.
_LEAST_KEPT, LEAST_CYCLES = 1.5, HALF_BANDWIDTH + 1.0
# A peak counts beside others if chance digs the valley between as rarely as this (log10).
_VALLEY = -2.0
# A peak's band ends where the density comes down to this many backgrounds.
_FOOT = 1.5


@dataclass(frozen=True, eq=False)
class Spectrum:
    """How the variance of a record is spread over frequency; arrays have shape (m,).

    Attributes:
        frequency: evenly spaced from 0 to half the sampling frequency [Hz].
        density: one-sided [unit²/Hz].
        background: level between the peaks [unit²/Hz].
        dof: degrees of freedom of each density: in noise, dof density/background is chi-square [-].
        background_dof: degrees of freedom of each background [-].
        resolution: width a line is smeared over, 2 W [Hz].
        lowest: slowest oscillation that can be told from drift [Hz].
        taken: length of the record [s].
        bins: how many frequencies chance has a try at [-].
        cut: how the record was cut.
    """

    frequency: Array
    density: Array
    background: Array
    dof: Array
    background_dof: Array
    resolution: float
    lowest: float
    taken: float
    bins: int
    cut: Pieces


@dataclass(frozen=True)
class Peak:
    """One peak of a spectrum.

    Attributes:
        frequency: its centre [Hz].
        amplitude: of a sine with the variance that the peak has above the background [unit].
        low: lower end of the band in which it stands [Hz].
        high: upper end of that band [Hz].
        width: between its half-power points, less what the resolution makes of a line [Hz]; 0 for
            a line. Of a broad peak only what stands out of the background is seen.
        share: of the variance faster than drift [-].
        false_alarm: log10 of the chance that noise makes such a peak anywhere [-]; Bonferroni's
            bound over all independent frequencies.
        line: log10 of the p value of Thomson's harmonic test [-]; strongly negative for a strict
            line.
    """

    frequency: float
    amplitude: float
    low: float
    high: float
    width: float
    share: float
    false_alarm: float
    line: float

    @property
    def significant(self) -> bool:
        """Return whether chance hardly makes such a peak."""
        return self.false_alarm < SIGNIFICANT


def without_drift(values: ArrayLike, interval: float, *, slowest: float) -> Array:
    """Return values without mean, straight line and motion slower than `slowest`, shape (n,).

    A Gaussian smoother that fits a straight line at each place (so the ends are no special case)
    is taken off twice: the gain is (1 - g)² with g = exp(-2 (pi s f)²). It is a half at `slowest`,
    0.985 at twice, 0.07 at half of that; there's no phase and, since a Gaussian has no edge in
    time or frequency, no ringing.

    Args:
        values: evenly sampled, shape (n,) [unit].
        interval: between samples [s].
        slowest: motion to keep [Hz].

    Raises:
        ValueError: values that are not finite, fewer than 16 or not in one row; an interval or a
            frequency that is not positive.
    """
    record = even_record(values, interval)
    if not (math.isfinite(slowest) and slowest > 0.0):
        raise ValueError(f"slowest {slowest}: must be above 0 Hz")
    left = without_line(record)
    # exp(-2 (pi s f)²) = 1 - 1/sqrt(2) at `slowest`
    deviation = math.sqrt(-0.5 * math.log(1.0 - math.sqrt(0.5))) / (math.pi * slowest * interval)
    for _ in range(2):
        left = left - _smooth(left, deviation)
    return left


def spectrum(values: ArrayLike, interval: float) -> Spectrum:
    """Return the multitaper spectrum of a record, with its background.

    Args:
        values: evenly sampled, shape (n,) [unit]; mean and straight line are taken off.
        interval: between samples [s].

    Raises:
        ValueError: values that are not finite, fewer than 16 or not in one row; an interval that
            is not positive.
    """
    record = without_line(even_record(values, interval))
    cut = pieces(len(record))
    length = cut.length * interval
    resolution = 2.0 * HALF_BANDWIDTH / length
    for steep in (False, True):
        # Where a spectrum falls so fast that what leaks hides the rest, differences fall slower.
        moves = np.diff(record, append=record[-1]) if steep else record
        frequency, density, share = densities(moves, interval, cut)
        if steep:
            gain = 4.0 * np.sin(np.pi * frequency * interval) ** 2
            density = density / np.maximum(gain, gain[1])
        dof = cut.degrees_of_freedom * share
        level, level_dof, power = background(
            frequency, density, dof=dof, resolution=resolution, lowest=_LEAST_KEPT / length
        )
        if power < STEEPEST:
            break
    return Spectrum(
        frequency=frequency,
        density=density,
        background=level,
        dof=dof,
        background_dof=level_dof,
        resolution=resolution,
        lowest=LEAST_CYCLES / length,
        taken=len(record) * interval,
        bins=cut.length // 2,
        cut=cut,
    )


def peaks(
    values: ArrayLike, interval: float, *, most: int = 6, spectrum: Spectrum | None = None
) -> tuple[Peak, ...]:
    """Return the peaks of a record, strongest (by variance above the background) first.

    The first is the strongest significant one or, if none is, the strongest of all; behind it stand
    only significant ones. A record that doesn't move has none.

    Args:
        values: evenly sampled, shape (n,) [unit].
        interval: between samples [s].
        most: how many at most.
        spectrum: of these values, where it's known already.

    Raises:
        ValueError: as for `spectrum`.
    """
    given = even_record(values, interval)
    record = without_line(given)
    if only_rounding(record, given):
        return ()
    seen = _spectrum(given, interval) if spectrum is None else spectrum
    stands = [stand for i, stand in enumerate(_stands(seen)[:most]) if not i or stand.significant]
    return tuple(_peak(record, interval, seen, stand) for stand in stands)


_spectrum = spectrum  # `peaks` has an argument of that name


def _smooth(values: Array, deviation: float) -> Array:
    """Return Gaussian-weighted straight-line fits at each sample; deviation in samples."""
    count = len(values)
    reach = min(count - 1, math.ceil(5.0 * deviation))
    offset = np.arange(-reach, reach + 1) / deviation
    kernel = np.exp(-0.5 * offset**2)
    kernel /= np.sum(kernel)
    ones = np.ones(count)
    # Seen from sample i the neighbour i - j of the convolution lies at -offset.
    s0, s1, s2 = (fftconvolve(ones, kernel * (-offset) ** p, mode="full") for p in range(3))
    t0, t1 = (fftconvolve(values, kernel * (-offset) ** p, mode="full") for p in range(2))
    inside = slice(reach, reach + count)
    above = s2[inside] * t0[inside] - s1[inside] * t1[inside]
    fitted: Array = above / (s2[inside] * s0[inside] - s1[inside] ** 2)
    return fitted


class _Stand(NamedTuple):
    """Where a peak stands, in places of the spectrum, its variance and its chance (log10)."""

    top: int
    low: int
    high: int
    variance: float
    false_alarm: float

    @property
    def significant(self) -> bool:
        return self.false_alarm < SIGNIFICANT


def _stands(seen: Spectrum) -> list[_Stand]:
    """Return where peaks stand, strongest first."""
    step = seen.frequency[1]
    first = math.ceil(seen.lowest / step)
    tiny = 1e-300 + 1e-20 * float(np.max(seen.density))
    ratio = np.log(np.maximum(seen.density, tiny) / np.maximum(seen.background, tiny))
    # Mirrored at the end, a peak at half the sampling frequency has two sides.
    mirrored = np.concatenate([ratio, ratio[-2:-12:-1]])
    tops, found = find_peaks(mirrored, prominence=0.0)
    inside = (tops >= first) & (tops < len(ratio))
    tops, rises = tops[inside], found["prominences"][inside]
    if not len(tops):
        return []
    # The least rise that could count, so that the chance is worked out for few.
    most_certain = 0.5 * float(np.max(seen.dof))
    keep = rises > math.log(1.0 / betaincinv(most_certain, most_certain, 10.0**_VALLEY) - 1.0)
    keep[np.argmax(rises)] = True
    tops = tops[keep]
    valleys = np.array(
        [
            log10_chance(math.exp(rise), dof, dof)
            for rise, dof in zip(rises[keep], seen.dof[tops], strict=True)
        ]
    )
    keep = valleys < _VALLEY
    keep[int(np.argmin(valleys))] = True
    tops, valleys = tops[keep], valleys[keep]
    least = max(1, round(0.5 * seen.resolution / step))
    stands: list[_Stand] = []
    for i, top in enumerate(tops):
        left = tops[i - 1] + int(np.argmin(ratio[tops[i - 1] : top])) if i else 0
        right = len(ratio) - 1
        if i + 1 < len(tops):
            right = top + int(np.argmin(ratio[top : tops[i + 1]]))
        low_side = np.flatnonzero(ratio[left : top + 1] < math.log(_FOOT))
        high_side = np.flatnonzero(ratio[top : right + 1] < math.log(_FOOT))
        low = left + int(low_side[-1]) if len(low_side) else left
        high = top + int(high_side[0]) if len(high_side) else right
        low, high = max(left, min(low, top - least)), min(right, max(high, top + least))
        variance = max(_excess(seen, low, high), 0.0)
        chance = max(_chance(seen, top), float(valleys[i]))
        stands.append(_Stand(int(top), int(low), int(high), variance, min(0.0, chance)))
    stands.sort(key=lambda stand: (not stand.significant, -stand.variance))
    return stands


def _chance(seen: Spectrum, top: int) -> float:
    """Return log10 of the bound on the chance that noise rises so high anywhere."""
    density = float(seen.density[top])
    ratio = density / max(float(seen.background[top]), 1e-14 * density + 1e-300)
    alone = log10_chance(ratio, float(seen.dof[top]), float(seen.background_dof[top]))
    return alone + math.log10(seen.bins)


def _excess(seen: Spectrum, low: int, high: int) -> float:
    band = slice(low, high + 1)
    return float(np.sum(seen.density[band] - seen.background[band]) * seen.frequency[1])


def _peak(record: Array, interval: float, seen: Spectrum, stand: _Stand) -> Peak:
    """Return one peak with its numbers."""
    top, low, high, variance, false_alarm = stand
    step = float(seen.frequency[1])
    band = slice(low, high + 1)
    excess = np.maximum(seen.density[band] - seen.background[band], 0.0)
    half = excess >= 0.5 * np.max(excess)
    # The half-power region that holds the top, not other bumps of the same band.
    edges = np.flatnonzero(~half)
    before, after = edges[edges < top - low], edges[edges > top - low]
    start = int(before[-1]) + 1 if len(before) else 0
    end = int(after[0]) if len(after) else len(half)
    weights = excess[start:end]
    # The middle half of a resonance's variance is as wide as its half-power width (quartiles of
    # Cauchy's distribution); that of a line, half the resolution.
    sums = np.cumsum(excess) / max(float(np.sum(excess)), 1e-300)
    quarter, three_quarters = np.interp([0.25, 0.75], sums, np.arange(len(sums)))
    middle = step * float(three_quarters - quarter)
    broadened = max(0.0, middle**2 - (0.5 * seen.resolution) ** 2)
    centre = float(seen.frequency[top])
    if np.any(weights > 0.0):
        centre = float(weights @ seen.frequency[band][start:end] / np.sum(weights))
    refined = sine_frequency(record, interval, centre, 0.5 * seen.resolution)
    # A line may stand anywhere in the resolution; its independent places are counted.
    f_ratio, count = harmonic_test(record, interval, refined, seen.cut)
    line = log10_chance(f_ratio, 2.0 * count, 2.0 * count * (TAPERS - 1))
    line = min(0.0, line + math.log10(2.0 * HALF_BANDWIDTH))
    kept = seen.frequency >= _LEAST_KEPT / LEAST_CYCLES * seen.lowest
    total = float(np.sum(seen.density[kept]) * step)
    return Peak(
        frequency=refined if line < SIGNIFICANT else centre,
        amplitude=math.sqrt(2.0 * variance),
        low=float(seen.frequency[low]),
        high=float(seen.frequency[high]),
        width=0.0 if line < SIGNIFICANT else math.sqrt(broadened),
        share=min(1.0, variance / total) if total > 0.0 else 0.0,
        false_alarm=false_alarm,
        line=line,
    )
