"""A trend file from a machine → a Trend on an even grid of time, and what was done to get there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.trend import Trend
from simulator.trend_coarse_stamps import seconds_text
from simulator.trend_columns import QUANTITIES, UNITS, ColumnUse, guess_with_notes, is_state
from simulator.trend_dialect import TrendFileError
from simulator.trend_stamps import read_stamps
from simulator.trend_text import TrendTable, clean_name, counted, read_table
from simulator.trend_time import (
    MOST_MISSING,
    Sampling,
    held,
    interpolated,
    sample,
    unrolled,
)
from simulator.trend_units import CLOCK, DATE, DATE_AND_TIME, SAMPLES, needs_range, to_si

Array = NDArray[np.float64]

_TEXT_TIMES = (CLOCK, DATE, DATE_AND_TIME)
# Above it no result is usable: more than an hour between samples, or a million of them a second.
_INTERVALS = 1e-6, 3600.0


@dataclass(frozen=True, eq=False)
class ImportedTrend:
    """A trend from a file.

    Attributes:
        trend: on an even grid that starts at 0; nan throughout where a quantity is unknown.
        table: the file as it was read.
        uses: which columns are used as what.
        interval: between samples [s].
        notes: everything that was done to the data or assumed.
    """

    trend: Trend
    table: TrendTable
    uses: tuple[ColumnUse, ...]
    interval: float
    notes: tuple[str, ...]


def import_trend(
    data: bytes,
    *,
    name: str = "trend",
    uses: Sequence[ColumnUse] | None = None,
    tension_range: float | None = None,
    interval: float | None = None,
) -> ImportedTrend:
    """Read a trend file of any common form.

    Args:
        data: the file's bytes.
        name: what to call the file in a message.
        uses: which columns are what; None to guess.
        tension_range: what 100 % of tension is [N]; needed where tension is a share of it.
        interval: between rows [s]; needed where the file has no times.

    Raises:
        ValueError: the file or what is asked of it can't be used; lists everything that is wrong.
    """
    name = clean_name(name)
    table = read_table(data, name=name)
    notes = list(table.notes)
    guessed = uses is None
    if uses is None:
        uses, more = guess_with_notes(table)
        notes += more
    uses = tuple(uses)
    faults = _below_each_other(table, uses) + _faults(
        table, uses, tension_range, interval, notes if guessed else []
    )
    if faults:
        raise TrendFileError("\n".join(f"{name}: {fault}" for fault in faults))
    with np.errstate(all="ignore"):
        columns = {
            use.quantity: _values(table, use, tension_range, notes)
            for use in uses
            if use.quantity != "time"
        }
        tension = columns["tension"]
        try:
            if not np.isfinite(tension).any():
                raise TrendFileError("tension has no number in any row; choose another column")
            sampling = sample(_seconds(table, uses, interval, notes), np.isfinite(tension))
        except TrendFileError as error:
            raise TrendFileError(f"{name}: {error}") from None
        notes += sampling.notes
        trend = _trend(columns, sampling, notes)
    return ImportedTrend(trend, table, uses, sampling.interval, tuple(dict.fromkeys(notes)))


def _faults(
    table: TrendTable,
    uses: tuple[ColumnUse, ...],
    tension_range: float | None,
    interval: float | None,
    notes: list[str],
) -> list[str]:
    """Return everything that is wrong with what is asked of a file."""
    faults = []
    columns = ", ".join(table.header[:20]) + (" …" if len(table.header) > 20 else "")
    for use in uses:
        if use.quantity not in QUANTITIES:
            faults.append(f"{use.quantity!r} is no quantity; use {', '.join(QUANTITIES)}")
        elif not 0 <= use.column < len(table.columns):
            faults.append(f"column {use.column} for {use.quantity}: the file has {columns}")
        elif use.unit not in UNITS[use.quantity]:
            faults.append(
                f"{table.header[use.column]} as {use.quantity} in {use.unit!r}: use "
                f"{', '.join(UNITS[use.quantity])}"
            )
        elif fault := _misfit(table, use):
            faults.append(fault)
        elif needs_range(use.unit) and tension_range is None:
            faults.append(
                f"{table.header[use.column]} as {use.quantity} in {use.unit}: give the tension "
                "range, which is what 100 % stands for"
            )
    quantities = [use.quantity for use in uses]
    for quantity in QUANTITIES[1:]:
        if quantities.count(quantity) > 1:
            faults.append(f"{quantity} is chosen for {quantities.count(quantity)} columns; use one")
    if "tension" not in quantities:
        why = [note for note in notes if "width" in note or "left out" in note]
        faults.append(
            f"no column is known to be tension; choose one of {columns}"
            + "".join(f" ({reason})" for reason in why)
        )
    timed = [use for use in uses if use.quantity == "time" and use.unit != SAMPLES]
    clocks = sorted(use.unit for use in timed)
    if len(clocks) > 1 and clocks not in ([CLOCK, DATE], [CLOCK, DATE, "ms"], [CLOCK, "ms"]):
        faults.append(
            f"time in {', '.join(clocks)}: use one column, or a date and a clock time, to which ms "
            "may come"
        )
    if not timed and interval is None:
        faults.append(
            f"no column is known to be time; choose one of {columns}, or give the interval between "
            "the rows"
        )
    if interval is not None and not _INTERVALS[0] <= interval <= _INTERVALS[1]:
        faults.append(f"interval = {interval:g} s: must be from 1e-6 s to 3600 s")
    if tension_range is not None and not 0.0 < tension_range <= 1e9:
        faults.append(f"tension range = {tension_range:g} N: must be above 0 N, to 1e9 N")
    return faults


def _below_each_other(table: TrendTable, uses: tuple[ColumnUse, ...]) -> list[str]:
    """Return a fault where several signals stand below each other, told apart by a name."""
    used = {use.column for use in uses}
    for k, column in enumerate(table.columns):
        if k in used or isinstance(column, np.ndarray):
            continue
        codes, words = column.factorize()
        counts = np.bincount(codes[codes >= 0], minlength=1)
        if not 2 <= len(words) <= 50 or all(is_state(str(word)) for word in words):
            continue
        by_turns = np.count_nonzero(np.diff(codes)) > 0.5 * codes.size
        if by_turns and counts.min() > 0.5 * counts.max() and counts.sum() > 0.9 * codes.size:
            shown = ", ".join(" ".join(str(word).split())[:30] for word in words[:4])
            return [
                f"{table.header[k]} names {len(words)} signals by turns ({shown}), one below the "
                "other; export one column for each signal"
            ]
    return []


def _misfit(table: TrendTable, use: ColumnUse) -> str:
    """Return what is wrong with a column of text as a number or the other way round."""
    is_text = not isinstance(table.columns[use.column], np.ndarray)
    wants_text = use.quantity == "time" and use.unit in _TEXT_TIMES
    name = table.header[use.column]
    if use.quantity == "automatic" or is_text == wants_text or use.unit == SAMPLES:
        return ""
    shown = [row[use.column] for row in table.preview if row[use.column]][:1]
    example = f", such as {shown[0][:30]!r}" if shown else ""
    if wants_text:
        return f"{name} as {use.unit}: holds numbers{example}; choose s, ms or another unit of time"
    return (
        f"{name} as {use.quantity} in {use.unit}: holds text{example}; choose a column of numbers"
    )


def _seconds(
    table: TrendTable, uses: tuple[ColumnUse, ...], interval: float | None, notes: list[str]
) -> Array:
    """Return the time of each row [s], nan where there is none."""
    timed = [use for use in uses if use.quantity == "time"]
    counts = [use for use in timed if use.unit == SAMPLES]
    if not timed or len(counts) == len(timed):
        assert interval is not None
        notes.append(f"times from the given interval of {seconds_text(interval)}")
        column = table.columns[counts[0].column] if counts else None
        numbers = column if isinstance(column, np.ndarray) else np.arange(float(table.rows))
        return numbers * interval
    total = np.zeros(table.rows)
    dated = any(use.unit == DATE for use in timed)
    for use in timed:
        column, header = table.columns[use.column], table.header[use.column]
        if use.unit == SAMPLES:
            continue
        if use.unit not in _TEXT_TIMES:
            # Large times, such as since 1970, lose nothing if the first is taken off before.
            start = np.nanmin(column) if np.isfinite(column).any() else 0.0
            total = total + to_si(column - start, "time", use.unit)
            continue
        stamps = read_stamps(column, header)
        notes += stamps.notes
        seconds = stamps.seconds
        if use.unit == CLOCK and not dated:
            seconds = unrolled(seconds, stamps.period, notes)
        total = total + seconds
    if interval is not None:
        notes.append(
            f"the given interval of {seconds_text(interval)} is not used, as the file has times"
        )
    return total


def _values(
    table: TrendTable, use: ColumnUse, tension_range: float | None, notes: list[str]
) -> Array:
    """Return a column in SI units [%, for the output], nan where it has no value."""
    column, header = table.columns[use.column], table.header[use.column]
    if use.quantity == "automatic":
        return _automatic(column, header, use.unit, notes)
    values = to_si(column, use.quantity, use.unit, tension_range)
    missing = int((~np.isfinite(values)).sum())
    if missing == values.size:
        notes.append(f"{header}: is empty")
    elif missing and use.quantity != "tension":
        notes.append(f"{counted(missing, 'row')} without {use.quantity}")
    if use.quantity == "output" and missing < values.size:
        middle = float(np.nanmedian(values))
        if not -10.0 <= middle <= 150.0:
            notes.append(f"{header}: about {middle:.4g} % of output in {use.unit}: check its unit")
    return values


def _automatic(column: object, header: str, unit: str, notes: list[str]) -> Array:
    """Return 1 in automatic, 0 in manual, nan where unknown."""
    yes = 1.0 if unit == UNITS["automatic"][0] else 0.0
    if isinstance(column, np.ndarray):
        known = np.isin(column, (0.0, 1.0))
        result = np.where(known, column if yes else 1.0 - column, np.nan)
        odd = int((np.isfinite(column) & ~known).sum())
    else:
        meaning = {"automatic": 1.0, "manual": 0.0, "yes": yes, "no": 1.0 - yes, "": np.nan}
        codes, words = column.factorize()  # type: ignore[attr-defined]
        states = np.array([*(meaning[is_state(str(word))] for word in words), np.nan])
        result = states[codes]  # a missing cell has code -1, the last
        odd = int(((codes >= 0) & np.isnan(result)).sum())
    if odd:
        notes.append(
            f"{counted(odd, 'row')} of {header} neither automatic nor manual: taken as missing"
        )
    return np.asarray(result, dtype=np.float64)


def _trend(columns: dict[str, Array], sampling: Sampling, notes: list[str]) -> Trend:
    """Return all columns on the even grid."""
    unknown = np.full(sampling.grid.size, np.nan)
    none = np.full(int(sampling.rows.max()) + 1, np.nan)
    # A hole in the output is bridged only where one in the tension would be.
    bridge = (MOST_MISSING + 1.5) * sampling.interval
    output = interpolated(sampling, columns.get("output", none), bridge)
    if "output" in columns and not np.isnan(output).all() and (gone := int(np.isnan(output).sum())):
        notes.append(f"output is unknown in {counted(gone, 'sample')}")
    tension = interpolated(sampling, columns["tension"])
    if np.ptp(tension) == 0.0:
        notes.append(
            f"tension never changes from {tension[0]:.6g} N: a signal that stands still, or the "
            "wrong column"
        )
    else:
        _repeats(columns["tension"][sampling.rows], sampling.interval, notes)
    slow = {
        quantity: interpolated(sampling, columns[quantity]) if quantity in columns else unknown
        for quantity in ("line speed", "diameter")
    }
    steps = {
        quantity: held(sampling, columns[quantity]) if quantity in columns else unknown
        for quantity in ("setpoint", "automatic")
    }
    return Trend(
        time=sampling.grid,
        tension=tension,
        output=output,
        setpoint=steps["setpoint"],
        line_speed=slow["line speed"],
        diameter=slow["diameter"],
        automatic=steps["automatic"],
    )


def _repeats(tension: Array, interval: float, notes: list[str]) -> None:
    """Note a tension that is renewed less often than it is written."""
    changes = np.flatnonzero(np.diff(tension) != 0.0)
    if changes.size < 20 or np.unique(tension).size < 20:
        return
    run = float(np.median(np.diff(changes)))
    if run >= 2.0:
        notes.append(
            f"tension changes only about every {run:g}th row: the signal is renewed every "
            f"{seconds_text(run * interval)}, whatever the interval of the file"
        )
