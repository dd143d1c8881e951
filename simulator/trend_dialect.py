"""How a file of readings is written: what separates its cells, its decimal sign, where it starts.

A few dozen lines are cut up in every way that people use; the way that leaves the most cells which
read as a number, a time or a missing value is the file's own.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from simulator.trend_stamps import is_stamp
from simulator.trend_units import is_unit

MOST_COLUMNS = 200


class TrendFileError(ValueError):
    """A trend file can't be used; the message says what to do."""


# In the order of preference where two fit alike; " " is any run of blanks and tabs.
SEPARATORS = ("\t", ";", "|", ",", " ")
# What loggers and spreadsheets write where there is no value.
MISSING = (
    "", "-", "--", "---", "----", "-----", "*", "**", "***", "****", "?", "???", "NaN", "nan",
    "NAN", "NA", "N/A", "n/a", "#N/A", "#N/A N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NUM!",
    "#NAME?", "#NULL!", "null", "NULL", "Null", "None", "none", "Bad", "BAD", "bad", "Bad Input",
    "No Data", "NO DATA", "No data", "no data", "Error", "ERROR", "error", "ERR", "Err",
)  # fmt: skip
_MISSING = frozenset(MISSING)
# A line that starts like this is a remark; "#N/A" and its like are cells.
COMMENT = r"(?:#(?!N/A|DIV/0|VALUE!|REF!|NUM!|NAME\?|NULL!)|//|%)"
_COMMENT = re.compile(COMMENT)
_BLANKS = re.compile(r'"[^"]*"|\S+')


def _plain(decimal: str) -> re.Pattern[str]:
    sign = re.escape(decimal)
    return re.compile(
        rf"[+-]?(?:\d+(?:{sign}\d*)?|{sign}\d+)(?:[eE][+-]?\d+)?|[+-]?(?:inf|infinity)", re.I
    )


_PLAIN = {decimal: _plain(decimal) for decimal in ".,"}
# A number with its unit in the same cell.
_WITH_UNIT = {
    decimal: re.compile(rf"(?:{_PLAIN[decimal].pattern})\s*[%°A-Za-zµ][%°A-Za-zµ/²]{{0,6}}", re.I)
    for decimal in ".,"
}
# Thousands in groups of three. A blank groups only where it can't be what separates cells.
GROUPED = {
    ".": re.compile(r"[+-]?\d{1,3}(?:(?:,\d{3})+|(?:['’\u00a0\u202f ]\d{3})+)(?:\.\d*)?"),
    ",": re.compile(r"[+-]?\d{1,3}(?:(?:\.\d{3})+|(?:['’\u00a0\u202f ]\d{3})+)(?:,\d*)?"),
}


@dataclass(frozen=True)
class Dialect:
    """How a file is written.

    Attributes:
        separator: between cells; " " for any run of blanks.
        decimal: sign, "." or ",".
        width: number of cells in a row.
        first: which of the lines is the first with data, from 0.
        header: name of each column with its unit as the file has it; empty where there is none.
    """

    separator: str
    decimal: str
    width: int
    first: int
    header: tuple[str, ...]


def split(line: str, separator: str) -> list[str]:
    """Return the cells of a line, without quotes and blanks around them.

    Args:
        line: of the file.
        separator: as in Dialect.
    """
    if separator == " ":
        return [cell.strip('"') for cell in _BLANKS.findall(line)]
    if '"' not in line:
        return [cell.strip() for cell in line.split(separator)]
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        cells = line.split(separator)
    return [cell.strip().strip('"') for cell in cells]


def is_comment(line: str) -> bool:
    """Return whether a line is a remark.

    Args:
        line: of the file.
    """
    return bool(_COMMENT.match(line))


def find_dialect(head: Sequence[str], later: Sequence[str] = ()) -> Dialect | None:
    """Return how a file is written, None if no way of cutting it up gives columns of numbers.

    Args:
        head: its first lines.
        later: some lines from further on, where a preamble can't reach.

    Raises:
        TrendFileError: there are too many columns, or decimal commas can't be told from separators.
    """
    body = [line for line in _sample(head, later) if line.strip() and not is_comment(line)]
    found: tuple[float, str, str] | None = None
    for separator in SEPARATORS:
        cut = [split(line, separator) for line in body]
        for decimal in ".,":
            score = _score(cut, decimal, separator)
            # Blanks also stand within a date with its time, which must not win by more cells.
            margin = 0.15 if separator == " " else 0.02
            if score > 0.0 and (found is None or score > found[0] + margin):
                found = score, separator, decimal
    if found is None or found[0] < 0.4:
        return _one_column(head, body)
    return _located(head, body, found[1], found[2])


def _sample(head: Sequence[str], later: Sequence[str]) -> list[str]:
    """Return lines to judge by: the last of the head and some later ones, not too much text."""
    lines: list[str] = []
    size = 0
    for line in (*reversed(head[-60:]), *later[:40]):
        size += len(line)
        if lines and size > 60_000:
            break
        lines.append(line)
    return lines


def _weight(cell: str, decimal: str, separator: str) -> float:
    """Return how well a cell reads as a reading, from 0 to 1."""
    if cell in _MISSING:
        return 0.6
    if len(cell) > 60:
        return 0.0
    if _PLAIN[decimal].fullmatch(cell) or is_stamp(cell):
        return 1.0
    grouped = GROUPED[decimal].fullmatch(cell)
    if grouped and (" " not in cell or separator in "\t;|"):
        return 0.9
    if separator != " " and _WITH_UNIT[decimal].fullmatch(cell):
        return 0.8
    return 0.0


def _score(cut: list[list[str]], decimal: str, separator: str) -> float:
    widths = Counter(len(cells) for cells in cut if len(cells) > 1)
    if not widths:
        return 0.0
    # A separator at the end of some lines makes them one wider.
    width = max(widths, key=lambda each: (widths[each] + widths[each - 1], each))
    total, numbers = 0.0, 0
    for cells in cut:
        if width - 1 <= len(cells) <= width and len(cells) > 1 and len(cells) <= 4 * MOST_COLUMNS:
            weights = [_weight(cell, decimal, separator) for cell in cells]
            total += sum(weights) / len(weights)
            numbers += sum(weight >= 0.8 for weight in weights)
    return total / len(cut) if numbers else 0.0


def _one_column(head: Sequence[str], body: list[str]) -> Dialect | None:
    """Return the dialect of a file with a single column."""
    cells = [line.strip().strip('"').strip() for line in body]
    shares = {
        decimal: sum(bool(_PLAIN[decimal].fullmatch(cell)) for cell in cells) for decimal in ".,"
    }
    decimal = max(".,", key=lambda each: shares[each])
    if len(cells) < 3 or shares[decimal] < 0.7 * len(cells):
        return None
    return _located(head, body, ";", decimal)


def _located(head: Sequence[str], body: list[str], separator: str, decimal: str) -> Dialect | None:
    """Return the dialect with its first line of data and its header."""
    cut = [split(line, separator) for line in body]
    good = [c for c in cut if all(_weight(cell, decimal, separator) > 0.0 for cell in c)] or cut
    width = max(len(cells) for cells in good)
    common = Counter(len(cells) for cells in good).most_common(1)[0][0]
    if width > common + 1:  # some odd long lines
        width = common
    if width > MOST_COLUMNS:
        raise TrendFileError(
            f"has {width} columns; at most {MOST_COLUMNS} are read: export fewer signals"
        )
    numeric = [
        k
        for k in range(width)
        if sum(len(c) > k and _weight(c[k], decimal, separator) > 0.0 for c in cut)
        >= 0.5 * max(sum(len(c) > k for c in cut), 1)
    ]
    first = -1
    for at, line in enumerate(head):
        cells = split(line, separator)
        if not line.strip() or is_comment(line) or not common - 1 <= len(cells) <= width:
            continue
        weights = [_weight(cells[k], decimal, separator) for k in numeric if k < len(cells)]
        if any(weights) and all(weights) and max(weights) >= 0.8:
            first = at
            break
    if first < 0:
        return None
    before = [line for line in head[:first] if line.strip()]
    if separator == "," and width == 2 and _alone(before):
        return _located(head, body, ";", ",")
    header = _header(before, separator, width)
    mark = re.compile(rf"[+-]?\d*{re.escape(decimal)}\d+(?:[eE][+-]?\d+)?")
    sure = any(mark.fullmatch(cell) for cells in cut for cell in cells)
    filled = max((sum(bool(cell) for cell in cells) for cells in good), default=0)
    names = [name for name in split(before[-1], separator) if name] if before else []
    sure = sure or not all(re.fullmatch(r"[+-]?\d*", c) for cells in good for c in cells)
    if separator == "," and not sure and 1 < len(names) < filled and all(map(_worded, names)):
        raise TrendFileError(
            f"its rows have {filled} cells and its header {len(names)}: a decimal comma can't be "
            "told from a separating comma; export with a decimal point, or with semicolons or "
            "tabs between the columns"
        )
    return Dialect(separator, decimal, width, first, header)


def _alone(before: list[str]) -> bool:
    """Return whether the line over the data is a single name: commas below are decimal signs."""
    return bool(before) and not re.search(r"[,;\t|]", before[-1]) and len(before) == 1


def _worded(cell: str) -> bool:
    """Return whether a cell may be the name of a column."""
    return bool(re.search(r"[^\W\d_]|[%#]", cell))


def _names(line: str, separator: str, width: int) -> list[str]:
    """Return the cells of a line that may be a header, none if their number does not fit."""
    remark = is_comment(line)
    line = _COMMENT.sub("", line, count=1) if remark else line
    choices = [split(line, separator)]
    if separator == " ":
        wide = re.split(r"\t+|\s{2,}", line.strip())
        choices.append([cell.strip('"') for cell in wide])
    for cells in sorted(choices, key=lambda each: len(each) != width):
        while cells and not cells[-1] and len(cells) > width:
            cells.pop()
        texts = [cell for cell in cells if cell]
        fits = len(cells) == width or (not remark and width > len(cells) >= max(2, width // 2))
        if fits and texts and 2 * sum(map(_worded, texts)) >= len(texts):
            return cells + [""] * (width - len(cells))
    return []


def _header(before: list[str], separator: str, width: int) -> tuple[str, ...]:
    """Return the names over the data, with units of their own line put behind them."""
    lines = [_names(line, separator, width) for line in before[-3:]]
    while lines and not lines[-1]:
        lines.pop()
    if not lines:
        return ()
    last = lines[-1]
    units = [cell for cell in last if cell]
    above = lines[-2] if len(lines) > 1 else []
    if above and sum(map(is_unit, units)) >= 0.6 * len(units):
        bare = [cell.strip("[](){} ") for cell in last]
        return tuple(
            f"{name} [{unit}]" if name and unit and is_unit(unit) else name or unit
            for name, unit in zip(above, bare, strict=True)
        )
    return tuple(last)
