"""How frequency and amplitude of one oscillation change along a record.

What is tied to the roll gets faster or slower as the roll builds up or runs off; what is tied to
the loop stays; what was kicked dies out. A short-time spectrum (Hann window, moved along the
record) shows each; its ridge is the path of most power that doesn't jump, found by dynamic
programming (Viterbi, IEEE Trans. Information Theory 13, 1967; from memory). Slopes along the ridge
are Theil and Sen's: the median of the slopes between all pairs of places.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from tuning.oscillation.even_record import only_rounding
from tuning.oscillation.regularity import autocovariance, within_band

Array = NDArray[np.float64]

# Cycles under the window; fewer where the record has not so many windows.
CYCLES, FEWEST_CYCLES, LEAST_WINDOWS = 10.0, 4.0, 6.0
# Places of the window in a window's length, and in the whole record.
_HOPS, _MOST_PLACES = 8, 400
# Points of the frequency grid in 1/window, and what a jump by 1/window costs in log power.
_GRID, _JUMP = 4, 4.0
# Where the amplitude is below this share of the largest, the frequency is noise's.
_LEAST_SHARE = 0.1
# Chance of calling a steady oscillation drifting, growing or dying.
_DOUBT = 0.01
# A change too small to matter: of the frequency [-], of the logarithm of the amplitude.
LEAST_DRIFT, LEAST_GROWTH = 0.01, 0.2


@dataclass(frozen=True, eq=False)
class Ridge:
    """One oscillation along a record; arrays have shape (m,), empty where it couldn't be followed.

    Attributes:
        time: middle of the window, from the first sample [s].
        frequency: there [Hz].
        amplitude: there [unit].
        window: length of the window [s].
        drift: change of frequency over the record, over its median [-].
        drift_error: standard error of that [-].
        growth: change of the logarithm of the amplitude over the record [-]; -1 means that it fell
            to 37 %.
        growth_error: standard error of that [-].
        wander: robust standard deviation of the frequency about its slope, over its median [-].
        doubt: standard errors that a change must have to be one [-].
    """

    time: Array
    frequency: Array
    amplitude: Array
    window: float
    drift: float
    drift_error: float
    growth: float
    growth_error: float
    wander: float
    doubt: float

    @property
    def course(self) -> Literal["constant", "drifting", "unknown"]:
        """Return what the frequency does."""
        if math.isnan(self.drift):
            return "unknown"
        moves = abs(self.drift) > max(self.doubt * self.drift_error, LEAST_DRIFT)
        return "drifting" if moves else "constant"

    @property
    def strength(self) -> Literal["steady", "grows", "decays", "unknown"]:
        """Return what the amplitude does."""
        if math.isnan(self.growth):
            return "unknown"
        if abs(self.growth) <= max(self.doubt * self.growth_error, LEAST_GROWTH):
            return "steady"
        return "grows" if self.growth > 0.0 else "decays"


def ridge(
    values: ArrayLike, interval: float, *, low: float, high: float, cycles: float = CYCLES
) -> Ridge:
    """Return frequency and amplitude of the oscillation within a band along a record.

    Args:
        values: evenly sampled, shape (n,) [unit].
        interval: between samples [s].
        low: slowest that the oscillation gets [Hz].
        high: fastest that it gets [Hz].
        cycles: of the middle of the band under the window, where the record is long enough [-].

    Raises:
        ValueError: values that are not finite, fewer than 16 or not in one row; an interval or
            cycles that are not positive; a band that is not 0 < low < high.
    """
    if not low > 0.0:
        raise ValueError(f"low {low}: must be above 0 Hz")
    if not (math.isfinite(cycles) and cycles > 0.0):
        raise ValueError(f"cycles {cycles}: must be above 0")
    seen = within_band(values, interval, low=low, high=high)
    high = min(high, 0.5 / interval)
    middle = 0.5 * (low + high)
    taken = len(seen) * interval
    window = max(min(cycles, taken * middle / LEAST_WINDOWS), FEWEST_CYCLES) / middle
    if (
        not low < high
        or 2.0 * window > taken
        or only_rounding(seen, np.asarray(values, dtype=float))
    ):
        return _unknown(window)
    time, power, grid = _short_time_spectrum(seen, interval, low, high, window)
    frequency, amplitude = _refined(power, grid, _path(np.log(power + 1e-300)))
    heard = amplitude >= _LEAST_SHARE * float(np.max(amplitude))
    # Windows less than half a length apart see much the same.
    apart = max(3.0, 2.0 * (time[-1] - time[0]) / window)
    usual = float(np.median(frequency[heard]))
    drift, drift_error, wander = _slope(time[heard], frequency[heard] / usual, apart, taken)
    growth, growth_error, _ = _slope(time, np.log(np.maximum(amplitude, 1e-300)), apart, taken)
    return Ridge(
        time=time,
        frequency=frequency,
        amplitude=amplitude,
        window=window,
        drift=drift,
        drift_error=drift_error,
        growth=growth,
        growth_error=growth_error,
        wander=wander,
        doubt=float(stdtrit(max(1.0, apart - 2.0), 1.0 - 0.5 * _DOUBT)),
    )


def _unknown(window: float) -> Ridge:
    none = np.zeros(0)
    return Ridge(none, none, none, window, *([math.nan] * 6))


def _short_time_spectrum(
    seen: Array, interval: float, low: float, high: float, window: float
) -> tuple[Array, Array, Array]:
    """Return times, squared amplitudes (times, frequencies) and frequencies."""
    middle = 0.5 * (low + high)
    turned = seen * np.exp(-2j * np.pi * middle * interval * np.arange(len(seen)))
    # Turned to 0 Hz the band needs few samples; the image at twice the frequency averages out in
    # the window, not in the blocks.
    block = max(1, int(0.125 / (high * interval)))
    blocks = len(turned) // block
    short = turned[: blocks * block].reshape(blocks, block).mean(axis=1)
    spacing = block * interval
    length = min(blocks, max(4, round(window / spacing)))
    places = min(_MOST_PLACES, max(2, math.ceil(_HOPS * (blocks - length) / length) + 1))
    starts = np.unique(np.round(np.linspace(0, blocks - length, places)).astype(int))
    hann = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    count = max(8, math.ceil((high - low) * length * spacing * _GRID)) + 1
    grid = np.linspace(low, high, count)
    local = np.arange(length) * spacing
    waves = hann[:, None] * np.exp(-2j * np.pi * np.outer(local, grid - middle))
    frames = short[starts[:, None] + np.arange(length)]
    # A block averages, so what is off the middle comes out a little small.
    droop = np.sinc((grid - middle) * spacing)
    amplitudes = np.abs(frames @ waves) * (2.0 / np.sum(hann)) / droop
    times = (starts + 0.5 * (length - 1)) * spacing + 0.5 * (block - 1) * interval
    return times, amplitudes**2, grid


def _path(power: Array) -> NDArray[np.intp]:
    """Return the path of most log power, less what jumps cost."""
    places, count = power.shape
    reach = min(count - 1, 2 * _GRID)
    offsets = np.arange(-reach, reach + 1)
    cost = _JUMP * (offsets / _GRID) ** 2
    best = power[0]
    came = np.zeros((places, count), dtype=np.intp)
    index = np.arange(count)
    sources = index[:, None] + offsets
    outside = (sources < 0) | (sources >= count)
    sources = np.clip(sources, 0, count - 1)
    for place in range(1, places):
        reached = np.where(outside, -np.inf, best[sources] - cost)
        pick = np.argmax(reached, axis=1)
        came[place] = sources[index, pick]
        best = reached[index, pick] + power[place]
    path = np.zeros(places, dtype=np.intp)
    path[-1] = int(np.argmax(best))
    for place in range(places - 1, 0, -1):
        path[place - 1] = came[place, path[place]]
    return path


def _refined(power: Array, grid: Array, path: NDArray[np.intp]) -> tuple[Array, Array]:
    """Return frequency and amplitude at the top of a parabola through three log powers."""
    rows = np.arange(len(path))
    inner = np.clip(path, 1, len(grid) - 2)
    a, b, c = (np.log(power[rows, inner + k] + 1e-300) for k in (-1, 0, 1))
    bend = a - 2.0 * b + c
    safe = np.where(bend < 0.0, bend, -1.0)
    shift = np.where(bend < 0.0, np.clip(0.5 * (a - c) / safe, -1.0, 1.0), 0.0)
    frequency = grid[inner] + shift * (grid[1] - grid[0])
    return frequency, np.exp(0.5 * (b - 0.25 * (a - c) * shift))


def _slope(time: Array, values: Array, apart: float, taken: float) -> tuple[float, float, float]:
    """Return change over the record by Theil and Sen, its standard error, and the scatter."""
    if len(time) < 3:
        return math.nan, math.nan, math.nan
    first, second = np.triu_indices(len(time), 1)
    slope = float(np.median((values[second] - values[first]) / (time[second] - time[first])))
    left = values - slope * (time - np.median(time))
    scatter = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    error = scatter / (math.sqrt(min(apart, _independent(left))) * float(np.std(time)))
    return slope * taken, error * taken, scatter


def _independent(left: Array) -> float:
    """Return how many of the values are independent, by their autocovariance up to its first 0.

    What rings on noise changes its amplitude slower than the window sees it.
    """
    kept = autocovariance(left - np.mean(left))[1 : len(left) // 2]
    ends = np.flatnonzero(kept <= 0.0)
    together = 1.0 + 2.0 * float(np.sum(kept[: int(ends[0]) if len(ends) else len(kept)]))
    return max(2.0, len(left) / together)
