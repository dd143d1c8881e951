"""Is there an oscillation, and which: peaks of the spectrum over time, web length and roll turns.

A body out of round is a sharp line over web length or over turns of the roll, however the speed
changes; over time the same line is smeared and may drown. So a record in which the speed or the
diameter moves is looked at in each of the three, and a peak is taken where it stands sharpest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from tuning.oscillation.multitaper import LONGEST_PIECE
from tuning.oscillation.record import Record
from tuning.oscillation.spectrum import Peak, peaks, spectrum

Array = NDArray[np.float64]
Axis = Literal["time", "web length", "roll turns"]

# Over another axis than time a peak must stand so much higher above its background [-].
SHARPER = 1.6
# Speed or turns that move a line by less than so many resolutions leave it as it is over time [-].
MOVED = 0.5
# Two peaks are multiples of one another if they fit to so much of the resolution [-].
FITS = 0.6
MOST_HARMONIC = 25


@dataclass(frozen=True)
class Oscillation:
    """One oscillation of the tension.

    Attributes:
        axis: over which it is sharpest.
        peak: in the spectrum over that axis, in mean swings a second [Hz, N].
        lowest: least frequency over time while speed and diameter moved [Hz].
        highest: largest frequency over time [Hz].
        harmonics: which multiples of it stand out as peaks, too [-].
    """

    axis: Axis
    peak: Peak
    lowest: float
    highest: float
    harmonics: tuple[int, ...] = ()

    @property
    def frequency(self) -> float:
        """Mean frequency [Hz]."""
        return self.peak.frequency

    @property
    def amplitude(self) -> float:
        """Amplitude of the sine with the same variance [N]."""
        return self.peak.amplitude


def oscillations(record: Record, *, most: int = 6) -> tuple[Oscillation, ...]:
    """Return the oscillations of a record, the strongest first.

    The first is there whether chance could make it or not; behind it stand only significant ones
    that are no multiples of a stronger one. A tension that does not move has none.

    Args:
        record: the recording.
        most: how many at most [-].
    """
    found: list[_Found] = []
    for view in views(record):
        seen = spectrum(view.values, view.step)
        for peak in peaks(view.values, view.step, spectrum=seen, most=2 * most):
            height = peak.amplitude**2 / (peak.width + seen.resolution) / view.rate
            if view.axis != "time":
                height /= SHARPER
            peak = _in_hertz(peak, view.rate)
            low, high = view.slowest * peak.frequency, view.fastest * peak.frequency
            resolution = seen.resolution * view.rate
            found.append(_Found(Oscillation(view.axis, peak, low, high), height, resolution, view))
    found.sort(key=lambda one: (not one.oscillation.peak.significant, -one.height))
    kept: list[_Found] = []
    for one in found:
        if kept and not one.oscillation.peak.significant:
            break
        if not any(_same(one, other) for other in kept):
            kept.append(one)
    kept.sort(key=lambda one: -one.oscillation.amplitude * _sure(one.oscillation.peak))
    return _families(kept)[:most]


@dataclass(frozen=True, eq=False)
class View:
    """The tension over one axis.

    Attributes:
        axis: which.
        values: evenly sampled over it, shape (k,) [N].
        step: between samples [s, m or turns].
        rate: mean of the axis [its unit per s].
        slowest: least rate over the mean [-].
        fastest: largest rate over the mean [-].
    """

    axis: Axis
    values: Array
    step: float
    rate: float = 1.0
    slowest: float = 1.0
    fastest: float = 1.0


@dataclass(frozen=True, eq=False)
class _Found:
    oscillation: Oscillation
    height: float
    resolution: float
    view: View


def views(record: Record) -> list[View]:
    """Return the tension over time, and over web length and roll turns where they differ from it.

    Args:
        record: the recording.
    """
    y, h = record.tension, record.interval
    found = [View("time", y, h)]
    if y.size > LONGEST_PIECE:
        # Cut into pieces a long record shows no slow oscillation; averaged down it does.
        block = -(-y.size // LONGEST_PIECE)
        count = y.size // block
        coarse = y[: count * block].reshape(count, block).mean(axis=1)
        found.append(View("time", coarse, block * h))
    if not record.knows("line_speed"):
        return found
    rates: list[tuple[Axis, Array]] = [("web length", record.line_speed)]
    if record.knows("diameter"):
        rates.append(("roll turns", record.line_speed / (math.pi * record.diameter)))
    for axis, rate in rates:
        mean = float(rate.mean())
        smooth = _smoothed(rate)
        # How far a line at a twentieth of the sample rate would be smeared over time.
        smear = float(np.std(smooth / mean)) * 0.05 / h
        if smear < MOVED * 8.0 / record.duration or smooth.min() <= 0.0:
            continue
        way = np.concatenate([[0.0], np.cumsum(0.5 * (smooth[1:] + smooth[:-1]) * h)])
        step = mean * h
        even = step * np.arange(int(way[-1] / step) + 1)
        # Straight lines between samples would make a fast oscillation smaller than it is.
        over = make_interp_spline(way, y, k=3)(even)
        slow, fast = float(smooth.min()) / mean, float(smooth.max()) / mean
        found.append(View(axis, over, step, mean, slow, fast))
    return found


def _sure(peak: Peak) -> float:
    """What of its amplitude a peak may put forward: all from a chance of 1e-6 down [-]."""
    return min(max(-peak.false_alarm / 6.0, 0.1), 1.0)


def _smoothed(rate: Array) -> Array:
    """A recorded speed without the noise of its record: a running mean over some samples."""
    span = min(max(rate.size // 200, 1), 101) | 1
    padded = np.pad(rate, span // 2, mode="edge")
    return np.convolve(padded, np.full(span, 1.0 / span), mode="valid")


def _in_hertz(peak: Peak, scale: float) -> Peak:
    return replace(
        peak,
        frequency=scale * peak.frequency,
        low=scale * peak.low,
        high=scale * peak.high,
        width=scale * peak.width,
    )


def _same(one: _Found, other: _Found) -> bool:
    """Whether two peaks, perhaps over different axes, are one oscillation."""
    a, b = one.oscillation, other.oscillation
    reach = max(one.resolution, other.resolution)
    if one.view is other.view:
        return abs(a.frequency - b.frequency) < 0.5 * reach
    near = a.lowest - reach < b.frequency < a.highest + reach
    back = b.lowest - reach < a.frequency < b.highest + reach
    return near or back


def _families(found: list[_Found]) -> tuple[Oscillation, ...]:
    """Take multiples of a stronger oscillation as part of it."""
    heads: list[Oscillation] = []
    for one in found:
        f = one.oscillation.frequency
        for i, head in enumerate(heads):
            order = round(f / head.frequency)
            off = abs(f - order * head.frequency)
            alike = one.oscillation.axis == head.axis
            # A slow line is known too badly for high multiples of it to mean anything.
            sure = order <= 3 or head.frequency > 2.0 * one.resolution
            if 2 <= order <= MOST_HARMONIC and sure and off < FITS * one.resolution and alike:
                heads[i] = replace(head, harmonics=tuple(sorted({*head.harmonics, order})))
                break
        else:
            heads.append(one.oscillation)
    return tuple(heads)
