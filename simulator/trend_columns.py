"""Which column of a trend file is what, and in which unit: from its name, else from its numbers.

What a name does not tell is left out or assumed with a note; the reader may choose otherwise.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.trend_names import COUNT, NamedColumn, read_name
from simulator.trend_stamps import stamp_kind
from simulator.trend_text import TrendTable
from simulator.trend_units import (
    CLOCK,
    DATE,
    DATE_AND_TIME,
    PER_WIDTH,
    QUANTITIES,
    SAMPLES,
    UNITS,
    spelled_unit,
)

__all__ = ["QUANTITIES", "UNITS", "ColumnUse", "guess_uses", "guess_with_notes", "is_state"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ColumnUse:
    """What a column is used as.

    Attributes:
        column: which, from 0.
        quantity: one of QUANTITIES.
        unit: one of the UNITS of that quantity.
    """

    column: int
    quantity: str
    unit: str


_STATES = {
    **dict.fromkeys(("auto", "automatic", "a", "aut", "cas", "cascade", "automatik"), "automatic"),
    **dict.fromkeys(("man", "manual", "m", "hand", "manuell"), "manual"),
    **dict.fromkeys(("true", "on", "yes", "t", "y", "1", "closed", "ein", "ja"), "yes"),
    **dict.fromkeys(("false", "off", "no", "f", "n", "0", "open", "aus", "nein"), "no"),
}


def is_state(text: str) -> str:
    """Return "automatic", "manual", "yes" or "no" for what a cell may say, empty for other words.

    Args:
        text: of a cell.
    """
    return _STATES.get(text.strip().casefold(), "")


def guess_uses(table: TrendTable) -> tuple[ColumnUse, ...]:
    """Return what the columns of a file most likely are; without those that can't be known.

    Args:
        table: the file.
    """
    return guess_with_notes(table)[0]


def guess_with_notes(table: TrendTable) -> tuple[tuple[ColumnUse, ...], tuple[str, ...]]:
    """Return what the columns most likely are, and what was assumed or left out on the way.

    Args:
        table: the file.
    """
    notes: list[str] = []
    named = [read_name(name) if table.has_header else NamedColumn() for name in table.header]
    uses = _time_uses(table, named, notes)
    taken = {use.column for use in uses}
    for quantity in QUANTITIES[1:]:
        found = sorted(
            (-said.sure, k)
            for k, said in enumerate(named)
            if said.quantity == quantity and k not in taken and _fits(table.columns[k], quantity)
        )
        for rank, (_, k) in enumerate(found):
            if any(use.quantity == quantity for use in uses):
                others = [table.header[other] for _, other in found[rank:]]
                notes.append(
                    f"{quantity}: {table.header[found[0][1]]} is used, {', '.join(others)} not"
                )
                break
            unit = _unit(table, k, quantity, named[k], notes)
            if unit:
                uses.append(ColumnUse(k, quantity, unit))
                taken.add(k)
    if not any(use.quantity == "tension" for use in uses):
        _tension_by_numbers(table, uses, named, notes)
    return tuple(sorted(uses, key=lambda use: use.column)), tuple(notes)


def _is_number(column: Any) -> bool:
    return isinstance(column, np.ndarray)


def _fits(column: Any, quantity: str) -> bool:
    """Return whether the cells of a column can be a quantity at all."""
    if _is_number(column):
        return bool(np.isfinite(column).any())
    if quantity != "automatic":
        return False
    cells = [cell for cell in column[column.notna()].unique()[:50] if cell]
    return bool(cells) and any(is_state(str(cell)) for cell in cells)


def _rises(values: Array) -> bool:
    """Return whether numbers go on rising, or falling where the newest come first."""
    steps = np.diff(values[np.isfinite(values)])
    moved = int(np.count_nonzero(steps))
    if steps.size == 0 or moved < 0.02 * steps.size or moved == 0:
        return False
    up = int((steps > 0).sum())
    return max(up, moved - up) >= 0.97 * moved


def _time_uses(table: TrendTable, named: list[NamedColumn], notes: list[str]) -> list[ColumnUse]:
    """Return the column of time, or the columns of date and clock."""
    texts: dict[str, int] = {}
    for k, column in enumerate(table.columns):
        if not _is_number(column) and (kind := stamp_kind(column)):
            texts.setdefault(kind, k)
    numbers = [
        k
        for k, said in enumerate(named)
        if said.quantity == "time"
        and _is_number(table.columns[k])
        and np.isfinite(table.columns[k]).any()
    ]
    fine = [k for k in numbers if _rises(table.columns[k])]
    if DATE in texts and CLOCK in texts:
        uses = [ColumnUse(texts[DATE], "time", DATE), ColumnUse(texts[CLOCK], "time", CLOCK)]
        parts = [
            k for k in numbers if spelled_unit(named[k].unit, "time") == "ms" and k not in fine
        ]
        return uses + [ColumnUse(k, "time", "ms") for k in parts[:1]]
    if fine or (numbers and not texts):
        k = (fine or numbers)[0]
        return [ColumnUse(k, "time", _time_unit(table, k, named[k], notes))]
    for kind in (DATE_AND_TIME, CLOCK):
        if kind in texts:
            return [ColumnUse(texts[kind], "time", kind)]
    for k, said in enumerate(named):
        if said.quantity == COUNT and _is_number(table.columns[k]) and _rises(table.columns[k]):
            return [ColumnUse(k, "time", SAMPLES)]
    for k, said in enumerate(named):
        if (
            said.quantity in ("", COUNT)
            and _is_number(table.columns[k])
            and _rises(table.columns[k])
        ):
            notes.append(f"time: taken from {table.header[k]}, the first column that keeps rising")
            return [ColumnUse(k, "time", _time_unit(table, k, said, notes))]
    return []


def _time_unit(table: TrendTable, k: int, said: NamedColumn, notes: list[str]) -> str:
    """Return the unit of a column of times in numbers."""
    unit = spelled_unit(said.unit, "time")
    values = table.columns[k][np.isfinite(table.columns[k])]
    size = float(np.median(np.abs(values)))
    # Seconds since 1970, in our days, whatever the heading says.
    for scale, name in ((1.0, "s"), (1e3, "ms"), (1e6, "us"), (1e9, "ns")):
        if 8e8 * scale < size < 5e9 * scale and values.min() > 0.0:
            if unit != name:
                notes.append(f"{table.header[k]}: read as {name} since 1970")
            return name
    if unit:
        return unit
    step = float(np.median(np.abs(np.diff(values)))) if values.size > 1 else 0.0
    if 20_000.0 < size < 80_000.0 and step < 0.01 and not np.all(values == np.rint(values)):
        notes.append(f"{table.header[k]}: read as days of a spreadsheet's calendar")
        return "days"
    if step >= 5.0 and np.all(values == np.rint(values)):
        notes.append(f"{table.header[k]}: no unit given, whole numbers {step:g} apart: ms assumed")
        return "ms"
    if said.says_seconds:
        return "s"
    notes.append(f"{table.header[k]}: no unit given, s assumed")
    return "s"


def _unit(table: TrendTable, k: int, quantity: str, said: NamedColumn, notes: list[str]) -> str:
    """Return the unit of a column, empty where it can't be used."""
    name, column, written = table.header[k], table.columns[k], said.unit
    if quantity == "automatic":
        return _automatic_unit(name, column, said, notes)
    if re.sub(r"\s", "", written.casefold()) in PER_WIDTH and quantity in ("tension", "setpoint"):
        notes.append(
            f"{name}: {written} is tension for each width of web; multiply it by the width first"
        )
        return ""
    radius = " radius" if said.says_radius and quantity == "diameter" else ""
    if unit := spelled_unit(written, quantity):
        return unit + radius
    if written and written not in ("-", "t"):
        notes.append(f"{name}: {written} is no unit of {quantity} known here: left out")
        return ""
    size = float(np.nanpercentile(np.abs(column), 98.0))
    middle = float(np.nanmedian(column))
    if quantity == "output":
        if not -10.0 <= middle <= 150.0:
            notes.append(f"{name}: about {middle:.4g}, no per cent: left out; choose its unit")
            return ""
        unit = "0..1" if 0.02 < size <= 1.0 else "%"
    elif quantity == "line speed":
        unit = "m/s" if size <= 20.0 else "m/min"
    elif quantity == "diameter":
        size *= 2.0 if radius else 1.0
        unit = ("m" if size <= 3.5 else "in" if size < 80.0 else "mm") + radius
    else:
        unit = "N"
    notes.append(f"{name}: no unit given, {unit} assumed")
    return unit


def _automatic_unit(name: str, column: Any, said: NamedColumn, notes: list[str]) -> str:
    """Return what 1 means, empty where the column has other states than two."""
    if _is_number(column):
        states = np.unique(column[np.isfinite(column)])
        if not np.all(np.isin(states, (0.0, 1.0))):
            shown = ", ".join(f"{state:g}" for state in states[:4])
            notes.append(f"{name}: states {shown}: which of them is automatic can't be told")
            return ""
    return UNITS["automatic"][1 if said.says_manual else 0]


def _tension_by_numbers(
    table: TrendTable,
    uses: list[ColumnUse],
    named: list[NamedColumn],
    notes: list[str],
) -> None:
    """Add the column of tension where no name tells it and only one can be meant."""
    taken = {use.column for use in uses}
    left = [
        k
        for k, column in enumerate(table.columns)
        if k not in taken
        and not named[k].quantity
        and not named[k].aside
        and (not named[k].unit or spelled_unit(named[k].unit, "tension"))
        and _is_number(column)
        and np.isfinite(column).any()
        and np.nanmin(column) < np.nanmax(column)
    ]
    if not left or (table.has_header and len(left) > 1):
        return
    k = left[0]
    unit = spelled_unit(named[k].unit, "tension") or "N"
    what = "the only column left" if len(left) == 1 else "the first column left, a guess"
    notes.append(f"tension: taken from {table.header[k]}, {what}, in {unit}; choose otherwise")
    uses.append(ColumnUse(k, "tension", unit))
