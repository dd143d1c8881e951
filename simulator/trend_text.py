"""Bytes of a trend file from any logger or spreadsheet → a table of numbers and texts.

Nothing in a file is evaluated: a cell is a number, or it is text. What is not a number in a column
of numbers is missing, and the table says how often.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from simulator.trend_dialect import (
    COMMENT,
    GROUPED,
    MISSING,
    Dialect,
    TrendFileError,
    find_dialect,
    is_comment,
    split,
)

Array = NDArray[np.float64]

MOST_BYTES = 50_000_000
MOST_ROWS = 2_000_000
LONGEST_LINE = 100_000
_HEAD_BYTES, _HEAD_LINES, _PREVIEW_ROWS = 300_000, 1000, 8
_EXPORT = "export the trend as CSV or another plain text table"
_BINARY = (
    (b"PK\x03\x04", "a spreadsheet or zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet file"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a compressed file"),
    (b"PAR1", "a binary table"),
    (b"\x89HDF", "a binary table"),
)
_BYTE_ORDER_MARKS = (
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_CONTROL = bytes(b for b in range(32) if b not in b"\t\n\r\x0c\x1a\x00")
# A number with its unit behind it, and a mark between groups of thousands.
_UNIT = re.compile(r"[+-]?\d[\d.,]*(?:[eE][+-]?\d+)?\s*([%°A-Za-zµ][%°A-Za-zµ/²]{0,6})")
_MARKED = "[0-9][\u00a0\u202f'’ ][0-9]{3}"
_GROUP = "([0-9])[\u00a0\u202f'’ ]([0-9]{3})"
# Beyond this a number is no reading, and sums with it would overflow.
_LARGEST = 1e18


@dataclass(frozen=True, eq=False)
class TrendTable:
    """What a trend file holds.

    Attributes:
        name: of the file.
        header: name of each column, "column 1" and so on where the file has none.
        rows: number of rows.
        columns: for each column an array of floats, shape (rows,), nan where missing [as in the
            file], or a pandas series of texts.
        separator: between cells; " " for any run of blanks.
        decimal: sign, "." or ",".
        encoding: of the characters.
        first_line: number of the line of the first row, from 1.
        has_header: whether the names are the file's own.
        preview: cells of the first rows as text.
        notes: what was done to read it.
    """

    name: str
    header: tuple[str, ...]
    rows: int
    columns: tuple[Any, ...]
    separator: str
    decimal: str
    encoding: str
    first_line: int
    has_header: bool
    preview: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def clean_name(name: str) -> str:
    """Return the name of a file fit for one line of a message.

    Args:
        name: of the file, whatever it holds.
    """
    return " ".join(name.split())[:80] or "trend"


def counted(count: int, word: str) -> str:
    """Return "1 row", "2 rows".

    Args:
        count: how many.
        word: what, in the singular.
    """
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def read_table(data: bytes, *, name: str) -> TrendTable:
    """Read the bytes of a trend file.

    Args:
        data: the file's bytes.
        name: what to call the file in a message.

    Raises:
        ValueError: it is no table of numbers, or too large; says what to do.
    """
    name = clean_name(name)
    notes: list[str] = []
    try:
        text, encoding = _utf8(data, notes)
        lines = _head(text)
        dialect = find_dialect(lines, _later(text))
        if dialect is None:
            raise TrendFileError(
                "no table found: it needs rows of numbers with a comma, semicolon, tab, | or "
                f"blanks between the columns; {_EXPORT}"
            )
        text = _whole_rows(text, dialect, notes)
        frame = _parsed(text, lines, dialect, notes)
    except TrendFileError as error:
        raise TrendFileError(f"{name}: {' '.join(str(error).split())}") from None
    keep = [k for k in frame if _named(dialect, k) or not frame[k].isna().all()]
    names = list(_distinct([_named(dialect, k) or f"column {k + 1}" for k in keep]))
    first_line = dialect.first + 1
    columns = []
    for at, k in enumerate(keep):
        column, unit = _column(frame[k], names[at], dialect.decimal, first_line, notes)
        columns.append(column)
        if unit and "[" not in names[at]:
            names[at] += f" [{unit}]"
    header = tuple(names)
    preview = []
    shown = [line for line in lines[dialect.first :] if line.strip() and not is_comment(line)]
    for line in shown[:_PREVIEW_ROWS]:
        cells = split(line, dialect.separator)
        preview.append(tuple(cells[k][:60] if k < len(cells) else "" for k in keep))
    if not dialect.header:
        notes.append("no header: the columns are numbered")
    return TrendTable(
        name=name,
        header=header,
        rows=len(frame),
        columns=tuple(columns),
        separator=dialect.separator,
        decimal=dialect.decimal,
        encoding=encoding,
        first_line=first_line,
        has_header=bool(dialect.header),
        preview=tuple(preview),
        notes=tuple(notes),
    )


def _utf8(data: bytes, notes: list[str]) -> tuple[bytes, str]:
    """Return the text as UTF-8 with \\n at the ends of lines, and the encoding it came in."""
    if len(data) > MOST_BYTES:
        raise TrendFileError(
            f"has {len(data) / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read: export "
            "fewer signals or a shorter time"
        )
    for magic, what in _BINARY:
        if data.startswith(magic):
            raise TrendFileError(f"is {what}, not text; {_EXPORT}")
    encoding = next((e for mark, e in _BYTE_ORDER_MARKS if data.startswith(mark)), "")
    encoding = encoding or _unmarked(data)
    text = data
    if encoding == "utf-8-sig":
        text = data[3:]
        encoding = "utf-8"
    if encoding != "utf-8":
        text = data.decode(encoding, errors="replace").encode("utf-8", errors="replace")
    else:
        try:
            text.decode("utf-8")
        except UnicodeDecodeError:
            encoding = "cp1252"
            text = text.decode("cp1252", errors="replace").encode("utf-8")
    if b"\x00" in text:
        # Loggers leave zeros where the power failed; a binary file has them everywhere.
        text = text.rstrip(b"\x00")
        zeros = text.count(b"\x00")
        if zeros > 0.01 * len(text):
            raise TrendFileError(f"is not text; {_EXPORT}")
        text = text.replace(b"\x00", b"")
        notes.append("zero bytes left out, such as a logger leaves when its power fails")
    control = len(text) - len(text.translate(None, _CONTROL))
    if control > 0.002 * len(text) + 2:
        raise TrendFileError(f"is not text; {_EXPORT}")
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if not text.strip():
        raise TrendFileError(f"is empty; {_EXPORT}")
    return text, encoding


def _unmarked(data: bytes) -> str:
    """Return "utf-16-le" or "utf-16-be" where every other byte is mostly zero, else "utf-8"."""
    start = data[:4096]
    even, odd = start[0::2], start[1::2]
    if odd and odd.count(0) > 0.7 * len(odd) and even.count(0) < 0.1 * len(even):
        return "utf-16-le"
    if odd and even.count(0) > 0.7 * len(even) and odd.count(0) < 0.1 * len(odd):
        return "utf-16-be"
    return "utf-8"


def _head(text: bytes) -> list[str]:
    """Return the first lines."""
    start = text[:_HEAD_BYTES]
    lines = start.split(b"\n")
    if len(text) > len(start):
        lines.pop()  # may be cut
    if not lines or max(map(len, lines)) > LONGEST_LINE:
        raise TrendFileError(f"has a line of more than {LONGEST_LINE} characters; {_EXPORT}")
    return [line.decode("utf-8", errors="replace") for line in lines[:_HEAD_LINES]]


def _later(text: bytes) -> list[str]:
    """Return some whole lines from the middle of a file that is longer than its head."""
    if len(text) <= _HEAD_BYTES:
        return []
    middle = len(text) // 2
    lines = text[middle : middle + 30_000].split(b"\n")[1:-1]
    return [line.decode("utf-8", errors="replace") for line in lines[:40]]


def _whole_rows(text: bytes, dialect: Dialect, notes: list[str]) -> bytes:
    """Return the rows alone: without what is above them, remarks, and a last line cut short."""
    start = 0
    for _ in range(dialect.first):
        start = text.index(b"\n", start) + 1
    text = text[start:]
    if text.count(b"\n") > MOST_ROWS:
        raise TrendFileError(
            f"has more than {MOST_ROWS} rows; export a shorter time or a longer interval"
        )
    if any(mark in text for mark in (b"\n#", b"\n//", b"\n%")):
        # An empty line stays, so that line numbers in messages are right.
        text, count = re.subn(rf"(?m)^{COMMENT}.*$".encode(), b"", text)
        if count:
            notes.append(f"{counted(count, 'line')} of remarks among the rows left out")
    end = text.rfind(b"\n")
    if 0 < end < len(text) - 1:
        last = text[end + 1 :][:LONGEST_LINE].decode("utf-8", errors="replace")
        before = text[max(end - LONGEST_LINE, 0) : end].split(b"\n")[-1]
        usual = len(split(before.decode("utf-8", errors="replace"), dialect.separator))
        if last.strip() and len(split(last, dialect.separator)) < usual:
            text = text[: end + 1]
            notes.append("the last line is cut short and left out")
    return text


def _parsed(text: bytes, lines: list[str], dialect: Dialect, notes: list[str]) -> pd.DataFrame:
    """Return the cells as pandas reads them, without empty rows; their index counts lines."""
    frame = None
    # pandas takes the number of cells from the first line; this one has it right, and no values.
    separator = dialect.separator
    text = separator.join(["NaN"] * dialect.width).encode() + b"\n" + text
    # A stray quotation mark (12" roll) would swallow the rest of the file.
    for quoting in (0, 3):
        try:
            frame = pd.read_csv(
                io.BytesIO(text),
                sep=r"\s+" if separator == " " else separator,
                decimal=dialect.decimal,
                header=None,
                names=list(range(dialect.width)),
                index_col=False,
                na_values=list(MISSING),
                keep_default_na=False,
                skipinitialspace=True,
                skip_blank_lines=False,
                on_bad_lines="skip",
                low_memory=False,
                quoting=quoting,
                encoding="utf-8",
            )
        except (ValueError, OverflowError):
            continue
        if quoting == 3 or len(frame) >= 0.5 * text.count(b"\n"):
            break
    if frame is None:
        raise TrendFileError(f"its rows can't be read; {_EXPORT}")
    lines_in = text.count(b"\n") + (not text.endswith(b"\n"))
    odd = lines_in - len(frame)
    if odd > 0:
        if odd > 0.2 * lines_in:
            raise TrendFileError(
                f"{odd} of {lines_in - 1} lines have more than {dialect.width} cells; {_EXPORT}"
            )
        notes.append(f"{counted(odd, 'line')} with more than {dialect.width} cells left out")
    frame = frame[~frame.isna().all(axis=1)]
    if len(frame) == 0:
        raise TrendFileError(f"has no rows with values; {_EXPORT}")
    return frame


def _named(dialect: Dialect, k: int) -> str:
    return dialect.header[k][:80] if dialect.header else ""


def _distinct(names: list[str]) -> tuple[str, ...]:
    """Return the names, with a number where one comes again."""
    seen: dict[str, int] = {}
    result = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        result.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(result)


def _column(
    series: Any, name: str, decimal: str, first_line: int, notes: list[str]
) -> tuple[Any, str]:
    """Return a column as floats where most of it is numbers, else as texts, and the unit that
    stands behind every number."""
    if series.dtype.kind in "iuf":
        return _bounded(series.to_numpy(dtype=np.float64)), ""
    present = series.notna().to_numpy()
    if not present.any():
        return np.full(len(series), np.nan), ""
    if series.dtype == bool or series.dtype == object:
        series = series.map(str, na_action="ignore").astype("str").where(present)
    sample = series[present].iloc[:: max(1, int(present.sum()) // 500)]
    if np.isfinite(_numbers(sample, decimal)[0]).mean() < 0.5:
        return series.reset_index(drop=True), ""
    values, unit = _numbers(series, decimal)
    odd = np.flatnonzero(present & ~np.isfinite(values))
    if odd.size:
        shown = " ".join(str(series.iloc[odd[0]]).split())[:30]
        line = int(series.index[odd[0]]) + first_line - 1  # a line of our own comes first
        notes.append(
            f"{counted(odd.size, 'row')} with text in {name}, such as {shown!r} in line {line}: "
            "taken as missing"
        )
    return _bounded(values), unit


def _bounded(values: Array) -> Array:
    fine = np.abs(values) <= _LARGEST  # False for nan
    return values if fine.all() else np.where(fine, values, np.nan)


def _numbers(series: Any, decimal: str) -> tuple[Array, str]:
    """Return texts as numbers, nan where they are none, and the unit behind each of them; groups of
    thousands are understood."""
    values = _plain_numbers(series)
    if decimal == "." and np.isfinite(values).mean() > 0.98:
        return values, ""
    texts = series.fillna("").astype("str").str.strip()
    if texts.str.contains(_MARKED, regex=True).any():
        # Twice, as the digits between two marks belong to both.
        texts = texts.str.replace(_GROUP, r"\1\2", regex=True)
        texts = texts.str.replace(_GROUP, r"\1\2", regex=True)
    unit = ""
    found = _UNIT.fullmatch(next((t for t in texts.iloc[:1000] if _UNIT.fullmatch(t)), ""))
    if found and texts.iloc[:1000].str.endswith(found.group(1)).mean() > 0.5:
        unit = found.group(1)
        texts = texts.str.removesuffix(unit).str.strip()
    other = "," if decimal == "." else "."
    odd = texts[texts.str.contains(other, regex=False) & texts.str.match(r"[+-]?\d")]
    if len(odd) and odd.str.fullmatch(GROUPED[decimal].pattern).all():
        texts = texts.str.replace(other, "", regex=False)
    elif len(odd) and not texts.str.contains(decimal, regex=False).any():
        decimal = other  # a column with the other sign throughout, such as the time alone
    if decimal == ",":
        texts = texts.str.replace(",", ".", regex=False)
    return _plain_numbers(texts), unit


def _plain_numbers(series: Any) -> Array:
    return np.asarray(pd.to_numeric(series, errors="coerce").to_numpy(dtype=np.float64))
