"""Times written as text → seconds: clock times, dates, both, in the orders that people use.

A logger writes all its times alike, so cells are read a layout at a time: where the digits stand is
found once, and the digits of all rows with that layout are read as numbers together.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.trend_units import CLOCK, DATE, DATE_AND_TIME

Array = NDArray[np.float64]

DAY = 86_400.0
_LONGEST = 40
_LAYOUTS = 64
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = r"(?P<month>[A-Za-z]{3,9})\.?"
_DATES = (
    r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})",
    r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})(?=T|\s)",
    r"(?P<a>\d{1,2})(?P<mark>[-/.])(?P<b>\d{1,2})[-/.](?P<c>\d{4}|\d{2})",
    rf"(?P<d>\d{{1,2}})\.?[-/ ]{_MONTH}[-/ ](?P<y>\d{{4}}|\d{{2}})",
    rf"{_MONTH}\s+(?P<d>\d{{1,2}}),?\s+(?P<y>\d{{4}})",
)
_TIME = (
    r"(?:(?P<days>\d{1,5})\s*(?:days?|d)[, ]\s*)?"
    r"(?P<hour>\d{1,5}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,:](?P<part>\d{1,9}))?)?"
    r"(?:\s*(?P<half>[AaPp])\.?[Mm]\.?)?"
    r"(?:\s*(?:Z|UTC|GMT|(?P<zone>[+-])(?P<zone_hour>\d{2}):?(?P<zone_minute>\d{2})))?"
)
# Spreadsheets show 5 min 3.2 s as "05:03.2" and lose the hour.
_MINUTES = r"(?P<minute>\d{1,2}):(?P<second>\d{2})[.,](?P<part>\d{1,9})"
_WEEKDAY = r"(?:[A-Za-z]{2,9},?\s+)?"
_PATTERNS = tuple(
    re.compile(rf"\s*{pattern}\s*", re.ASCII)
    for pattern in (
        _MINUTES,
        _TIME,
        *(rf"{_WEEKDAY}{date}(?:[T ,_;-]\s*{_TIME})?" for date in _DATES),
    )
)
# What the three parts of a date may mean, by their order.
_ORDERS = {"day first": (2, 1, 0), "month first": (2, 0, 1), "year first": (0, 1, 2)}


@dataclass(frozen=True, eq=False)
class Stamps:
    """Times read from text.

    Attributes:
        seconds: from midnight of the first day, shape (n,) [s]; nan where a cell is no time.
        kind: "clock time", "date", "date and time" or empty.
        period: after which a clock starts anew [s]; 0 if it does not.
        notes: what was assumed.
    """

    seconds: Array
    kind: str
    period: float
    notes: tuple[str, ...]


def is_stamp(cell: str) -> bool:
    """Return whether a cell is a time or a date.

    Args:
        cell: of a file.
    """
    return bool(_match(cell))


def _match(cell: str) -> re.Match[str] | None:
    if len(cell) > _LONGEST or not re.search(r"\d[-/.: ]|T", cell):
        return None
    for pattern in _PATTERNS:
        found = pattern.fullmatch(cell)
        if found and _month(found):
            return found
    return None


def _month(found: re.Match[str]) -> bool:
    """Return whether the name of a month, if there is one, is one."""
    name = found.groupdict().get("month")
    return name is None or name[:3].lower() in _MONTHS


def _kind(found: re.Match[str]) -> str:
    groups = found.groupdict()
    dated = groups.get("d") is not None or groups.get("a") is not None
    timed = groups.get("minute") is not None
    return DATE_AND_TIME if dated and timed else DATE if dated else CLOCK


def stamp_kind(series: Any) -> str:
    """Return what kind of time a column of texts holds, empty if it is none.

    Args:
        series: pandas series of texts.
    """
    present = series[series.notna()]
    sample = present.iloc[:: max(1, len(present) // 100)]
    kinds = Counter(_kind(m) if (m := _match(str(cell))) else "" for cell in sample)
    if not kinds:
        return ""
    kind, count = kinds.most_common(1)[0]
    return kind if count >= 0.6 * len(sample) else ""


def read_stamps(series: Any, column: str) -> Stamps:
    """Read a column of times.

    Args:
        series: pandas series of texts.
        column: its name, for the notes.
    """
    characters, signs, layouts = _layouts(series)
    n = len(signs)
    fields = {name: np.full(n, np.nan) for name in ("days", "clock", "zone", "a", "b", "c")}
    kinds: Counter[str] = Counter()
    marks: set[str] = set()
    period = 0.0
    todo = np.ones(n, dtype=bool)
    for layout in layouts:
        found = _match(layout.decode("ascii", errors="replace"))
        rows = np.flatnonzero(todo & (signs == layout)) if found else np.zeros(0, np.intp)
        if found is None or rows.size == 0:
            continue
        todo[rows] = False
        _read_rows(characters, rows, found, fields)
        kind = _kind(found)
        kinds[kind] += rows.size
        groups = found.groupdict()
        marks.add(groups.get("mark") or "")
        if kind == CLOCK:
            period = max(period, DAY if groups.get("hour") is not None else 3600.0)
    notes: list[str] = []
    _ambiguous(fields, marks, column, notes)
    kind = kinds.most_common(1)[0][0] if kinds else ""
    days = fields["days"]
    if kind != CLOCK and np.isfinite(days).any():
        days = days - np.nanmin(days)
    if kind == CLOCK:  # days that are counted, 1 day 02:03:04
        seconds = fields["clock"] + np.nan_to_num(days) * DAY
    else:
        seconds = np.nan_to_num(fields["clock"]) + days * DAY
    seconds = seconds - np.nan_to_num(fields["zone"])
    if period == DAY and np.nanmax(fields["clock"], initial=0.0) >= DAY + 1.0:
        period = 0.0  # a time that is counted on, 25:10:00
    return Stamps(seconds, kind, period, tuple(notes))


def _layouts(series: Any) -> tuple[NDArray[np.uint8], Any, list[bytes]]:
    """Return the characters, each cell with its digits turned to 0, and the commonest of these."""
    texts = series.fillna("").astype("str")
    if len(texts) and int(texts.str.len().max()) > _LONGEST:
        texts = texts.str.slice(0, _LONGEST)
    values = texts.to_numpy(dtype=object)
    try:
        cells = values.astype("S")
    except UnicodeEncodeError:
        plain = texts.str.replace(r"[^\x00-\x7f]", " ", regex=True)
        cells = plain.to_numpy(dtype=object).astype("S")
    width = max(cells.dtype.itemsize, 1)
    characters = np.ascontiguousarray(cells).view(np.uint8).reshape(len(cells), width)
    masked = np.where((characters - np.uint8(48)) < 10, np.uint8(48), characters)
    signs = np.ascontiguousarray(masked).view(f"S{width}").ravel()
    step = max(1, len(signs) // 4000)
    common = Counter(signs[::step].tolist()).most_common(_LAYOUTS)
    return characters, signs, [layout for layout, _ in common]


def _read_rows(
    characters: NDArray[np.uint8],
    rows: NDArray[np.intp],
    found: re.Match[str],
    fields: dict[str, Array],
) -> None:
    """Put the numbers of all rows with one layout into the fields."""
    groups = found.groupdict()
    part = characters if rows.size == len(characters) else characters[rows]

    def number(name: str) -> Array:
        value = np.zeros(rows.size)
        if groups.get(name) is not None:
            for k in range(*found.span(name)):
                value = 10.0 * value + (part[:, k] - np.uint8(48))
        return value

    if groups.get("minute") is not None:
        hour, minute, second = number("hour"), number("minute"), number("second")
        if half := groups.get("half"):
            hour = np.where(hour <= 12, hour % 12 + 12 * (half in "pP"), np.nan)
        if groups.get("part") is not None:
            begin, end = found.span("part")
            second = second + number("part") / 10.0 ** (end - begin)
        good = (minute < 60) & (second < 61)
        if _kind(found) == DATE_AND_TIME:
            good &= hour <= 24
        fields["clock"][rows] = np.where(good, 3600 * hour + 60 * minute + second, np.nan)
        if sign := groups.get("zone"):
            offset = 3600 * number("zone_hour") + 60 * number("zone_minute")
            fields["zone"][rows] = offset if sign == "+" else -offset
    if groups.get("days") is not None:
        fields["days"][rows] = number("days")
    if groups.get("a") is not None:
        for name in "abc":
            fields[name][rows] = number(name)
    elif groups.get("d") is not None:
        named = groups.get("month")
        month = number("m")
        if named is not None:
            month = np.full(rows.size, _MONTHS.index(named[:3].lower()) + 1.0)
        fields["days"][rows] = _days(number("y"), month, number("d"))
    if _kind(found) == DATE_AND_TIME:
        # A date with an impossible clock is no time.
        lost = rows[~np.isfinite(fields["clock"][rows])]
        for name in ("days", "a", "b", "c"):
            fields[name][lost] = np.nan


def _days(year: Array, month: Array, day: Array) -> Array:
    """Return days since 1970 of calendar dates; nan where there is no such day."""
    year = np.where(year < 100, year + 2000, year)
    good = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1900) & (year <= 2200)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype(np.int64)
    first = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    after = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64)
    good &= day <= after - first
    return np.where(good, first + day - 1.0, np.nan)


def _ambiguous(fields: dict[str, Array], marks: set[str], column: str, notes: list[str]) -> None:
    """Decide in which order day, month and year stand, by what makes a calendar and moves on."""
    rows = np.flatnonzero(np.isfinite(fields["a"]))
    if rows.size == 0:
        return
    parts = tuple(fields[name][rows] for name in "abc")
    judged: list[tuple[int, int, float, int, str, Array]] = []
    prefer = ["day first", "month first"] if "." in marks else ["month first", "day first"]
    for rank, order in enumerate([*prefer, "year first"]):
        if order == "year first" and np.max(parts[2]) >= 100:
            continue
        year, month, day = (parts[k] for k in _ORDERS[order])
        days = _days(year, month, day)
        good = np.isfinite(days)
        if not good.any():
            continue
        steps = np.diff(days[good])
        turns = min(int((steps < 0).sum()), int((steps > 0).sum()))
        span = float(np.ptp(days[good]))
        judged.append((int((~good).sum()), turns, span, rank, order, days))
    if not judged:
        return
    judged.sort(key=lambda each: each[:4])
    best = judged[0]
    fields["days"][rows] = best[5]
    rivals = [each for each in judged[1:] if each[0] == best[0]]
    if not rivals:
        return
    if rivals[0][:3] == best[:3]:
        if best[2] > 0:
            notes.append(f"{column}: whether day or month stands first can't be told: {best[4]}")
        return
    notes.append(f"{column}: dates read with the {best[4]}, as they then move on most evenly")
