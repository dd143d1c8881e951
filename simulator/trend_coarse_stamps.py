"""Time stamps coarser than the samples they belong to: what the rows' true times are.

A clock that ticks every second shows ten rows of a tenth of a second the same time; one that is
rounded to milliseconds shows a thirtieth of a second as 33 or 34 of them. Where rows come steadily,
their number tells their time.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simulator.trend_dialect import TrendFileError
from simulator.trend_text import counted

Array = NDArray[np.float64]
Rows = NDArray[np.intp]


def seconds_text(value: float) -> str:
    """Return a time as people write it, such as "4 ms".

    Args:
        value: of time [s].
    """
    if 0.0 < abs(value) < 0.9995e-3:
        return f"{value * 1e6:.3g} us"
    return f"{value * 1e3:.3g} ms" if 0.0 < abs(value) < 0.09995 else f"{value:.6g} s"


def percent(share: float) -> str:
    """Return a share as people write it, such as "82 %".

    Args:
        share: from 0 to 1 [-].
    """
    return f"{100.0 * share:.2g} %" if share < 0.995 else f"{100.0 * share:.4g} %"


def times_of_their_own(rows: Rows, times: Array, notes: list[str]) -> tuple[Rows, Array]:
    """Return rows with times of their own where several share one, and where stamps are rounded.

    Args:
        rows: of the file, in order of time, shape (n,).
        times: of these, shape (n,) [s].
        notes: gets what was done.

    Raises:
        TrendFileError: the moment of each row is lost.
    """
    stamps, starts, counts = np.unique(times, return_index=True, return_counts=True)
    doubles = rows.size - stamps.size
    if stamps.size < 3:
        if doubles:
            raise TrendFileError(
                f"its {rows.size} rows have {counted(stamps.size, 'different time')}: the time "
                "column stands still; export it with seconds and their fractions"
            )
        return rows, times
    step = float(np.median(np.diff(stamps)))
    if doubles > 0.005 * rows.size:
        even = _by_number(times, stamps, starts, step)
        if even is not None:
            notes.append(
                f"{counted(doubles, 'row')} share a time stamp with another, as stamps are "
                f"{seconds_text(step)} apart: rows spread evenly"
            )
            return rows, even
    elif doubles == 0:
        return rows, _unrounded(times, notes)
    if doubles > 0.2 * rows.size:
        usual = float(np.median(counts))
        inner = counts[1:-1]
        steady = float(np.mean(np.abs(inner - usual) <= max(1.0, 0.15 * usual)))
        if steady < 0.8:
            raise TrendFileError(
                f"{doubles} of {rows.size} rows share a time stamp with another, from "
                f"{inner.min()} to {inner.max()} rows a stamp: the moment of each row is lost; "
                "log at a fixed interval and export the time with fractions of a second"
            )
        notes.append(
            f"{counted(doubles, 'row')} share a time stamp with another, about {usual:g} a stamp: "
            "spread evenly within it"
        )
        return rows, _within(stamps, counts, step)
    notes.append(f"{counted(doubles, 'row')} with the same time as the row before left out")
    return rows[starts], stamps


def _by_number(times: Array, stamps: Array, starts: Rows, step: float) -> Array | None:
    """Return evenly spaced times of the rows of a clock that ticks coarsely; None if they are not.

    A coarse clock shows the last tick, so a row's time lies within one step after its stamp.
    """
    cuts = np.flatnonzero(np.diff(stamps) > 1.5 * step) + 1
    edges = np.concatenate([[0], cuts, [stamps.size]])
    spans = [(a, b - 1) for a, b in pairwise(edges) if b - a >= 3]
    rows_in = sum(int(starts[b] - starts[a]) for a, b in spans)
    if not spans or rows_in == 0:
        return None
    interval = sum(float(stamps[b] - stamps[a]) for a, b in spans) / rows_in
    longest = max(int(starts[b] - starts[a]) for a, b in spans)
    result = np.empty_like(times)
    bounds = np.concatenate([starts[edges[:-1]], [times.size]])
    for choice in (round_interval(interval, step / longest), interval):
        for begin, end in pairwise(bounds):
            number = np.arange(end - begin) * choice
            ahead = times[begin:end] - number
            if np.ptp(ahead) > 1.1 * step + 1e-9 * abs(times[-1]):
                break
            result[begin:end] = number + ahead.max()
        else:
            if np.all(np.diff(result) > 0.0):
                return result
    return None


def _within(stamps: Array, counts: NDArray[np.intp], step: float) -> Array:
    """Return times spread evenly between a stamp and the next; the rows of the first stamp end
    there, as recording may have begun in its midst, and those of the last start there."""
    usual = float(np.median(counts))
    first = np.repeat(np.cumsum(counts) - counts, counts)
    number = np.arange(int(counts.sum())) - first
    spacing = np.repeat(step / counts, counts)
    times: Array = np.repeat(stamps, counts) + number * spacing
    ahead, behind = int(counts[0]), int(counts[-1])
    if ahead < usual:
        times[:ahead] = stamps[1] - (step / usual) * np.arange(ahead, 0, -1)
    if behind < usual:
        times[-behind:] = stamps[-1] + (step / usual) * np.arange(behind)
    return times


def _unrounded(times: Array, notes: list[str]) -> Array:
    """Return even times where stamps only take two steps because they are rounded: 33 and 34 ms."""
    steps = np.diff(times)
    fine = float(np.median(steps)) * 1e-4
    sizes = np.unique(np.rint(steps / fine)) * fine
    if sizes.size != 2:
        return times
    rounding = float(sizes[1] - sizes[0])
    number = np.arange(float(times.size))
    interval = float((times[-1] - times[0]) / number[-1])
    # Steps of one and two intervals are rather a row lost now and then.
    if not 1e-3 * interval < rounding < 0.6 * float(sizes[0]):
        return times
    for choice in (round_interval(interval, rounding / times.size), interval):
        ahead = times - number * choice
        if np.ptp(ahead) <= 1.1 * rounding:
            notes.append(f"stamps are rounded to {seconds_text(rounding)}: rows taken as even")
            return np.asarray(number * choice + np.mean(ahead), dtype=np.float64)
    return times


def round_interval(interval: float, doubt: float) -> float:
    """Return the interval as a round number, of seconds or of samples a second, within a doubt.

    Args:
        interval: as measured [s].
        doubt: how far off it may be [s].
    """
    for digits in (1, 2, 3, 4):
        for near in (float(f"{interval:.{digits}g}"), 1.0 / float(f"{1.0 / interval:.{digits}g}")):
            if abs(near - interval) <= doubt:
                return near
    return interval
