"""When the rows of a trend were taken: put in order, judged, and brought to an even interval.

Frequencies can only be told from samples at a fixed interval. Stamps that are merely rounded or
scattered are mended; a file that was only written when something changed is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simulator.trend_coarse_stamps import (
    percent,
    round_interval,
    seconds_text,
    times_of_their_own,
)
from simulator.trend_dialect import TrendFileError
from simulator.trend_text import counted

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

MOST_MISSING = 3  # in a row that are filled by a straight line
FEWEST_SAMPLES = 8
_STEADY_SHARE = 0.6  # of the steps that must be single ones
_MOST_SCATTER = 0.35  # of an interval
_MOST_FILLED = 0.3  # of the samples
_ON_GRID = 0.01  # of an interval: nearer than that, no resampling


@dataclass(frozen=True, eq=False)
class Sampling:
    """The samples that are used, and how even they were.

    Attributes:
        rows: of the file that are used, in order of time, shape (m,).
        stamps: of these rows from the first, shape (m,) [s].
        grid: even times from the first of them, shape (n,) [s].
        interval: of the grid [s].
        scatter: standard deviation of the steps from whole intervals [s].
        missing: share of the samples that the file lacks [-].
        resampled: whether the samples are moved to the grid by straight lines.
        notes: what was done.
    """

    rows: Rows
    stamps: Array
    grid: Array
    interval: float
    scatter: float
    missing: float
    resampled: bool
    notes: tuple[str, ...]


def unrolled(seconds: Array, period: float, notes: list[str]) -> Array:
    """Return clock times that go on past midnight, or past the hour where hours are lost.

    Args:
        seconds: as read from the clock, shape (n,) [s].
        period: after which the clock starts anew [s]; 0 for a clock that does not.
        notes: gets what was done.
    """
    good = np.isfinite(seconds)
    steps = np.diff(seconds[good])
    if period <= 0.0 or steps.size == 0:
        return seconds
    newest_first = (steps < 0).sum() > (steps > 0).sum()
    turn = (steps > 0.5 * period) if newest_first else (steps < -0.5 * period)
    turns = np.concatenate([[0.0], np.cumsum(turn)])
    if turns[-1] == 0:
        return seconds
    result = seconds.copy()
    result[good] += (-period if newest_first else period) * turns
    what = "midnight" if period > 3600.0 else "the hour"
    notes.append(f"the clock passes {what} {counted(int(turns[-1]), 'time')}: counted on")
    return result


def sample(seconds: Array, known: NDArray[np.bool_]) -> Sampling:
    """Judge the times of a file's rows and find the even samples in them.

    Args:
        seconds: of each row, shape (n,) [s]; nan where unknown.
        known: whether a row has a tension, shape (n,).

    Raises:
        TrendFileError: times that can't be brought to a fixed interval; says why and what to do.
    """
    notes: list[str] = []
    rows, times = _in_order(seconds, notes)
    rows, times = times_of_their_own(rows, times, notes)
    _enough(rows.size, "rows with a time of their own")
    with_tension = known[rows]
    lost = int((~with_tension).sum())
    if lost:
        notes.append(f"{counted(lost, 'row')} without tension left out")
    rows, times = rows[with_tension], times[with_tension]
    _enough(rows.size, "rows with time and tension")
    interval = _interval(times)
    first, last = _longest_piece(times, interval, notes)
    rows, times = rows[first : last + 1], times[first : last + 1] - times[first]
    steps = np.diff(times)
    whole = np.maximum(np.rint(steps / interval), 1.0)
    scatter = float(np.sqrt(np.mean((steps - whole * interval) ** 2)))
    _judge_evenness(steps, interval, scatter)
    positions = times / interval
    count = int(np.rint(positions[-1])) + 1
    slots = np.rint(positions)
    resampled = bool(np.max(np.abs(positions - slots)) > _ON_GRID)
    if not resampled:
        times = slots * interval  # without what the float or the text rounded
    else:
        count = int(np.floor(positions[-1] + _ON_GRID)) + 1
    _enough(count, "even samples")
    absent = max(count - rows.size, 0)
    missing = absent / count
    if missing > _MOST_FILLED:
        raise TrendFileError(
            f"{percent(missing)} of the samples are missing at its interval of "
            f"{seconds_text(interval)}: the logger left out rows, perhaps where nothing changed; "
            "log at a fixed interval"
        )
    if absent:
        notes.append(
            f"{counted(absent, 'missing sample')} filled by straight lines, never more than "
            f"{MOST_MISSING} in a row"
        )
    even = f"sampled every {seconds_text(interval)}"
    even += f", {percent(missing)} of the samples missing" if absent else ", no sample missing"
    if resampled:
        even += f"; stamps scattered by {seconds_text(scatter)}: resampled by straight lines"
    notes.append(even)
    grid = np.asarray(np.arange(count) * interval, dtype=np.float64)
    return Sampling(rows, times, grid, interval, scatter, missing, resampled, tuple(notes))


def _enough(count: int, what: str) -> None:
    if count < FEWEST_SAMPLES:
        raise TrendFileError(f"has {count} {what}; at least {FEWEST_SAMPLES} are needed")


def _in_order(seconds: Array, notes: list[str]) -> tuple[Rows, Array]:
    """Return rows and times in order of time."""
    rows = np.flatnonzero(np.isfinite(seconds))
    lost = len(seconds) - rows.size
    if lost:
        notes.append(f"{counted(lost, 'row')} without a time left out")
    _enough(rows.size, "rows with a time")
    times = seconds[rows]
    steps = np.diff(times)
    back = int((steps < 0.0).sum())
    if back == 0:
        return rows, times
    if back > 0.9 * np.count_nonzero(steps):
        notes.append("newest rows first: turned round")
        rows, times = rows[::-1], times[::-1]
        steps = np.diff(times)
        back = int((steps < 0.0).sum())
        if back == 0:
            return rows, times
    starts = np.concatenate([[0], np.flatnonzero(steps < 0.0) + 1, [rows.size]])
    # Recordings one after the other, each from its own start, must not be mixed by sorting.
    if np.median(np.diff(starts)) >= 20 and _overlap(times, starts):
        longest = int(np.argmax(np.diff(starts)))
        piece = slice(starts[longest], starts[longest + 1])
        share = (piece.stop - piece.start) / rows.size
        notes.append(
            f"time starts again {counted(back, 'time')}: the longest recording is used, "
            f"{percent(share)} of the rows"
        )
        return rows[piece], times[piece]
    order = np.argsort(times, kind="stable")
    notes.append(f"times went back {counted(back, 'time')}: rows sorted by time")
    return rows[order], times[order]


def _overlap(times: Array, starts: Sequence[int] | Rows) -> bool:
    """Return whether pieces of a file cover the same times, so that sorting would mix them."""
    spans = sorted((times[a], times[b - 1]) for a, b in pairwise(starts))
    mixed = sum(max(min(one[1], other[1]) - other[0], 0.0) for one, other in pairwise(spans))
    usual = float(np.median(np.abs(np.diff(times))))
    return bool(mixed > max(0.02 * (times.max() - times.min()), 3.0 * usual))


def _interval(times: Array) -> float:
    """Return the interval that most steps are near, refined over all of them."""
    steps = np.diff(times)
    usual = float(np.median(steps))
    if not usual > 0.0 or not np.isfinite(usual):
        raise TrendFileError("its times do not move on; choose another time column")
    # If no row is missing, the ends alone tell it, however the stamps between them scatter. A
    # missing row makes a step that scatter does not.
    mean = float(times[-1] - times[0]) / steps.size
    astray = float(np.ptp(times - mean * np.arange(float(times.size))))
    common = float(np.median(np.abs(steps - usual)))
    if astray < mean and steps.max() <= usual + max(0.4 * usual, 8.0 * common):
        return round_interval(mean, max(0.05 * mean, astray) / steps.size)
    # A stamp late by more than half makes steps of two and of none, which add up again.
    whole = np.rint(steps / usual)
    near = whole <= MOST_MISSING + 1
    number = float(whole[near].sum())
    if number <= 0.0:
        return usual
    mean = float(steps[near].sum()) / number
    spread = float(np.std(steps[near] - whole[near] * mean))
    # Rounder by less than the stamps can tell: a twentieth of a sample over the whole file.
    doubt = max(0.05 * mean, 3.0 * spread) / number
    return round_interval(mean, max(doubt, 1e-9 * mean))


def _longest_piece(times: Array, interval: float, notes: list[str]) -> tuple[int, int]:
    """Return the first and last row of the longest piece without a gap."""
    steps = np.diff(times)
    gaps = np.flatnonzero(np.rint(steps / interval) > MOST_MISSING + 1)
    if gaps.size == 0:
        return 0, times.size - 1
    edges = np.concatenate([[-1], gaps, [times.size - 1]])
    longest = int(np.argmax(np.diff(edges)))
    first, last = int(edges[longest]) + 1, int(edges[longest + 1])
    share = (last - first + 1) / times.size
    if last - first + 1 < FEWEST_SAMPLES:
        raise TrendFileError(
            f"its steps are {_spread(steps)}: no piece of {FEWEST_SAMPLES} even samples; the "
            "logger seems to write only when something changes: log at a fixed interval"
        )
    notes.append(
        f"{counted(gaps.size, 'gap')}, the longest of {seconds_text(float(steps.max()))}: the "
        f"longest piece without a gap is used, {percent(share)} of the rows, from "
        f"{seconds_text(float(times[first] - times[0]))} to "
        f"{seconds_text(float(times[last] - times[0]))} after the start"
    )
    return first, last


def _spread(steps: Array) -> str:
    low, middle, high = np.percentile(steps, [10.0, 50.0, 90.0])
    return (
        f"very uneven (a tenth under {seconds_text(float(low))}, half under "
        f"{seconds_text(float(middle))}, a tenth over {seconds_text(float(high))})"
    )


def _judge_evenness(steps: Array, interval: float, scatter: float) -> None:
    single = float(np.mean(np.abs(steps - interval) <= 0.5 * interval))
    if single < _STEADY_SHARE or scatter > _MOST_SCATTER * interval:
        raise TrendFileError(
            f"its steps are {_spread(steps)}; the logger seems to write only when something "
            "changes, and then frequencies can't be told: log at a fixed interval"
        )


def interpolated(sampling: Sampling, values: Array, longest: float = np.inf) -> Array:
    """Return a column on the grid, by straight lines over what is missing; its ends are held.

    Args:
        sampling: the samples.
        values: of the file's rows, shape (n,) [any].
        longest: time over which a straight line is drawn [s]; nan beyond.
    """
    mine = values[sampling.rows]
    good = np.isfinite(mine)
    if not good.any():
        return np.full(sampling.grid.size, np.nan)
    stamps = sampling.stamps[good]
    result: Array = np.interp(sampling.grid, stamps, mine[good])
    if np.isfinite(longest):
        after = np.searchsorted(stamps, sampling.grid - 1e-9 * sampling.interval)
        right = stamps[np.minimum(after, stamps.size - 1)]
        left = stamps[np.maximum(after - 1, 0)]
        near = np.minimum(np.abs(sampling.grid - left), np.abs(right - sampling.grid))
        half = 0.5 * sampling.interval
        outside = (sampling.grid < stamps[0] - half) | (sampling.grid > stamps[-1] + half)
        result[(near > half) & ((right - left > longest) | outside)] = np.nan
    return result


def held(sampling: Sampling, values: Array) -> Array:
    """Return a column on the grid, each value held until the next; the first before it, too.

    Args:
        sampling: the samples.
        values: of the file's rows, shape (n,) [any].
    """
    mine = values[sampling.rows]
    good = np.isfinite(mine)
    if not good.any():
        return np.full(sampling.grid.size, np.nan)
    # A scattered stamp belongs to the nearest sample.
    half = 0.5 * sampling.interval
    at = np.searchsorted(sampling.stamps[good], sampling.grid + half, side="right") - 1
    result: Array = mine[good][np.maximum(at, 0)]
    return result
