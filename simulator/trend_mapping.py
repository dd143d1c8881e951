"""Which column is what, said in words: "tension=PV 7:N"."""

from __future__ import annotations

from collections.abc import Sequence

from simulator.trend_columns import QUANTITIES, UNITS, ColumnUse, guess_uses
from simulator.trend_dialect import TrendFileError
from simulator.trend_text import TrendTable


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
    for text in given:
        quantity, _, rest = (part.strip() for part in text.partition("="))
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


def _column(table: TrendTable, text: str) -> tuple[int, str] | None:
    """Return column and unit of "header:unit" or "header"; a header may hold colons itself."""
    if text in table.header:
        return table.header.index(text), ""
    header, colon, unit = text.rpartition(":")
    if colon and header.strip() in table.header:
        return table.header.index(header.strip()), unit.strip()
    return None
