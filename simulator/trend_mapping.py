"""Which column is what, said in words: "tension=PV 7:N"."""

from __future__ import annotations

from collections.abc import Sequence

from simulator.trend_columns import QUANTITIES, UNITS, ColumnUse, guess_uses
from simulator.trend_dialect import TrendFileError
from simulator.trend_text import TrendTable
from simulator.trend_units import spelled_unit


def uses_with(table: TrendTable, given: Sequence[str]) -> tuple[ColumnUse, ...]:
    """Return what the columns are: as given, and for the other quantities as guessed.

    Args:
        table: the file.
        given: each "quantity=header:unit", "quantity=header" where the unit is to be guessed from
            the header, or "quantity=" for a quantity that the file does not hold.

    Raises:
        ValueError: a quantity, header or unit is not known; lists everything that is wrong.
    """
    guessed = guess_uses(table)
    named: dict[str, ColumnUse | None] = {}
    faults: list[str] = []
    seen: set[str] = set()
    for text in given:
        quantity, equals, rest = (part.strip() for part in text.partition("="))
        if not equals:
            faults.append(f'column {text!r}: must read "quantity=header" or "quantity=header:unit"')
            continue
        if quantity in seen:
            faults.append(f"column {text!r}: {quantity} is said twice")
            continue
        seen.add(quantity)
        if quantity not in QUANTITIES:
            faults.append(f"column {text!r}: {quantity!r} must be one of {', '.join(QUANTITIES)}")
            continue
        if not rest:
            named[quantity] = None
            continue
        found = _column(table, rest)
        if found is None:
            headers = ", ".join(repr(header) for header in table.header)
            faults.append(f"column {text!r}: no column has this header; the file has {headers}")
            continue
        column, unit = found
        if not unit:
            unit = next((use.unit for use in guessed if use.column == column), UNITS[quantity][0])
        unit = spelled_unit(unit, quantity) or unit
        if unit not in UNITS[quantity]:
            faults.append(
                f"column {text!r}: unit {unit!r} must be one of {', '.join(UNITS[quantity])}"
            )
            continue
        named[quantity] = ColumnUse(column, quantity, unit)
    if faults:
        raise TrendFileError("\n".join(f"{table.name}: {fault}" for fault in faults))
    taken = {use.column for use in named.values() if use is not None}
    kept = [use for use in guessed if use.quantity not in named and use.column not in taken]
    return (*(use for use in named.values() if use is not None), *kept)


def understood(table: TrendTable, uses: Sequence[ColumnUse]) -> str:
    """Return which column was taken as what, in one sentence.

    Args:
        table: the file.
        uses: of its columns.
    """
    named = (f"{use.quantity} from {table.header[use.column]!r} in {use.unit}" for use in uses)
    left = [
        repr(header)
        for column, header in enumerate(table.header)
        if column not in {use.column for use in uses}
    ]
    rest = f"; not used: {', '.join(left)}" if left else ""
    return f"read as {', '.join(named)}{rest}"


def _column(table: TrendTable, text: str) -> tuple[int, str] | None:
    """Return column and unit of "header:unit" or "header"; a header may hold colons itself."""
    if text in table.header:
        return table.header.index(text), ""
    header, colon, unit = text.rpartition(":")
    if colon and header.strip() in table.header:
        return table.header.index(header.strip()), unit.strip()
    return None
