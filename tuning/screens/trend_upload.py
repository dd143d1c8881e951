"""A recorded trend from a file: what was understood, its first rows, which column is what."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import streamlit as st

from simulator import Scenario, Trend
from simulator.machine import diameter_range
from simulator.screens import bench
from simulator.trend_coarse_stamps import seconds_text
from simulator.trend_columns import QUANTITIES, UNITS, ColumnUse
from simulator.trend_import import ImportedTrend
from simulator.trend_text import TrendTable, clean_name
from simulator.trend_units import needs_range
from tuning.screens import oscillation_answers as answers
from tuning.screens.oscillation_answers import Mapping

FILE, AGAIN = "trend.file", "trend.again"
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", " ": "blanks"}
_ENCODINGS = {"utf-8": "UTF-8", "cp1252": "Windows-1252"}
_NOT_THERE = "– not in the file"
_MACHINE_FILE = "It is a machine file: open it at the left, under *Open a scenario file*."
_LONGEST_MACHINE = 1_000_000  # bytes that are looked at
_ROUNDED = 1e-3  # of a limit [-]
# A date may need a clock time beside it.
_PARTS_OF_TIME = 2
# Widths of a line of the form: quantity, column, unit.
_SHARES = (2, 4, 3)


@dataclass(frozen=True)
class _File:
    """A file as it was chosen; it outlives a change of screen."""

    name: str
    data: bytes
    digest: str


@dataclass(frozen=True, eq=False)
class Recorded:
    """A recorded trend with what stands for it in a cache."""

    trend: Trend
    key: tuple[str, Mapping]


def recorded(scenario: Scenario | None) -> Recorded | None:
    """Let the reader choose a file and say what its columns are; None until that is known.

    Args:
        scenario: the machine; it tells the tension range.
    """
    file = _chosen_file()
    if file is None:
        return None
    mapping = st.session_state.get(_mapping_key(file), Mapping())
    given = mapping
    if given.tension_range is None and scenario is not None:
        given = Mapping(mapping.uses, scenario.controller.tension_range, mapping.interval)
    opened = answers.table(file.digest, file.name, file.data)
    found: ImportedTrend | str = ""
    if not isinstance(opened, str) and mapping.uses is not None:
        found = _used_twice(mapping.uses, opened[0].header)
    if not found:
        found = answers.imported(file.digest, file.name, given, file.data)
    if isinstance(found, ImportedTrend):
        _show_understood(found)
        _show_notes(found, scenario, mapping)
        with st.expander("Columns and units, first rows"):
            _show_preview(found.table)
            _ask_mapping(file, found.table, found.uses, given)
        return Recorded(found.trend, (file.digest, given))
    name = bench.plain(clean_name(file.name))
    if isinstance(opened, str):
        wrong = _MACHINE_FILE if _describes_machine(file) else _listed(opened, file)
        st.error(f"**{name} can't be used.**\n\n{wrong}")
        return None
    table, guessed = opened
    with st.container(border=True):
        if mapping.uses is None:
            st.warning(f"**{name}: the columns need a word from you.**\n\n{_listed(found, file)}")
        else:
            st.error(f"**{name}: not with these columns.**\n\n{_listed(found, file)}")
        _show_preview(table)
        _ask_mapping(file, table, guessed if mapping.uses is None else mapping.uses, given)
    return None


def _listed(message: str, file: _File) -> str:
    """Return the lines of a message, without the file's name, which stands above it."""
    lines = [line.removeprefix(f"{clean_name(file.name)}: ") for line in message.splitlines()]
    # "x.csv: is empty", of which the name is gone.
    lines = [f"it {line}" if line.startswith(("is ", "has ")) else line for line in lines]
    if len(lines) == 1:
        return bench.told(lines[0])
    return "\n".join(f"- {bench.told(line)}" for line in lines)


def _describes_machine(file: _File) -> bool:
    """Return whether a file that is no trend is a description of a machine, or meant as one."""
    if file.name.lower().endswith(".toml"):
        return True
    try:
        held = tomllib.loads(file.data[:_LONGEST_MACHINE].decode("utf-8"))
    except (ValueError, RecursionError):
        return False
    return held.keys() >= {"web", "run", "torque_device"}


def _used_twice(uses: Sequence[ColumnUse], header: Sequence[str]) -> str:
    """Return what is wrong where a column is used as more than one quantity, else nothing."""
    faults = []
    for column in sorted({use.column for use in uses}):
        quantities = [use.quantity for use in uses if use.column == column]
        if len(quantities) > 1:
            faults.append(
                f"the column {header[column]} is chosen as {' and as '.join(quantities)}: choose a "
                "column of its own for each"
            )
    return "\n".join(faults)


def _mapping_key(file: _File) -> str:
    return f"trend.mapping.{file.digest}"


def _chosen_file() -> _File | None:
    upload = st.file_uploader(
        "Trend as text or CSV: time and tension, and what else was recorded (output, setpoint, "
        "line speed, diameter, automatic)",
        key="trend.upload",
        on_change=_take_upload,
        help="Any separator, decimal comma or point, clock times or seconds; up to 50 MB and two "
        "million rows. It stays on the computer that runs this app, and nothing in it is run.",
    )
    file: _File | None = st.session_state.get(FILE)
    if file is None:
        st.info(
            "No file yet. Record at least ten swings, ten samples or more in each, and export them "
            "with a heading over each column. Output, line speed and roll diameter beside the "
            "tension tell causes apart that look alike in the tension alone."
        )
        return None
    if upload is None:
        left, right = st.columns([4, 1], vertical_alignment="center")
        left.caption(bench.plain(f"From before: {file.name}"))
        if right.button("Forget this file", key="trend.forget"):
            del st.session_state[FILE]
            st.rerun()
    return file


def _take_upload() -> None:
    """Keep the file that was chosen, forget the one that was removed.

    It is called for these alone: where only the screen is left, the file is kept.
    """
    st.session_state.pop(FILE, None)
    upload = st.session_state["trend.upload"]
    if upload is not None:
        data = upload.getvalue()
        st.session_state[FILE] = _File(upload.name, data, hashlib.sha256(data).hexdigest())


def _rows(count: int) -> str:
    """Return a count with narrow blanks between thousands."""
    return f"{count:,}".replace(",", "\u202f") if count >= 10_000 else str(count)


def _show_understood(found: ImportedTrend) -> None:
    table, trend = found.table, found.trend
    lasts = float(trend.time[-1] - trend.time[0])
    long = f"{lasts:.3g} s" if lasts < 120.0 else f"{lasts / 60.0:.3g} min"
    columns = "; ".join(
        f"{use.quantity} from {table.header[use.column]}"
        + (
            ""
            if use.quantity == "automatic" or use.unit in table.header[use.column]
            else f" in {use.unit}"
        )
        for use in sorted(found.uses, key=lambda use: QUANTITIES.index(use.quantity))
    )
    every = seconds_text(float(f"{found.interval:.3g}"))
    read = f"{table.name}: {_rows(table.rows)} rows"
    if trend.time.size < table.rows:
        samples = _rows(trend.time.size)
        what = f"{read}. Explained are {long} of it, {samples} samples, one every {every}"
    else:
        what = f"{read} in {long}, a sample every {every}"
    st.success(bench.plain(f"{what}. Understood: {columns}."))


def _show_notes(found: ImportedTrend, scenario: Scenario | None, mapping: Mapping) -> None:
    table = found.table
    notes = [
        f"columns between {_SEPARATORS.get(table.separator, table.separator)}, decimal "
        f"{'comma' if table.decimal == ',' else 'point'}, characters in "
        f"{_ENCODINGS.get(table.encoding, table.encoding.upper())}, first row in line "
        f"{table.first_line}"
    ]
    if (
        scenario is not None
        and mapping.tension_range is None
        and any(needs_range(use.unit) for use in found.uses)
    ):
        notes.append(
            f"100 % of tension is {scenario.controller.tension_range:.4g} N, the tension range of "
            "the machine at hand"
        )
    # That a piece has no sample missing would contradict the gap beside it.
    said = f"sampled every {seconds_text(found.interval)}"
    for note in found.notes:
        rest = note.removeprefix(said).removeprefix(", no sample missing").lstrip(",; ")
        if rest:
            notes.append(rest)
    # What was assumed decides what comes out, so it is not hidden behind a click.
    st.caption(" · ".join(bench.told(note) for note in notes))


def _show_preview(table: TrendTable) -> None:
    if not table.preview:
        return
    columns = {name: [row[k] for row in table.preview[:5]] for k, name in enumerate(table.header)}
    st.dataframe(columns, hide_index=True, height="content", alt="The first rows of the file")


def _ask_mapping(file: _File, table: TrendTable, uses: Sequence[ColumnUse], given: Mapping) -> None:
    """Let the reader say which column is what, in which unit."""
    units = bench.unit_system()
    again = st.session_state.get(AGAIN, 0)
    key = f"trend.{file.digest[:16]}.{again}"
    with st.form(f"{key}.form", border=False):
        for column, word in zip(st.columns(_SHARES), ("", "column", "unit"), strict=True):
            column.caption(word)
        chosen = []
        for number, (quantity, label, use) in enumerate(_asked(uses)):
            words, column, unit = st.columns(_SHARES, vertical_alignment="center")
            words.markdown(label)
            at = column.selectbox(
                label, range(-1, len(table.header)),
                0 if use is None else use.column + 1,
                format_func=lambda k: table.header[k] if k >= 0 else _NOT_THERE,
                label_visibility="collapsed", key=f"{key}.{number}.column",
            )  # fmt: skip
            known = UNITS[quantity]
            in_unit = unit.selectbox(
                f"{label}, unit", known, 0 if use is None else known.index(use.unit),
                label_visibility="collapsed", key=f"{key}.{number}.unit",
            )  # fmt: skip
            if at >= 0:
                chosen.append(ColumnUse(at, quantity, in_unit))
        left, right = st.columns(2, gap="large")
        shown = given.tension_range
        scale = left.number_input(
            f"What 100 % of tension stands for [{units.label('tension')}]",
            min_value=0.0,
            value=None if shown is None else float(f"{units.show(shown, 'tension'):.6g}"),
            placeholder="if it is in % of a range",
            key=f"{key}.range.{shown!r}.{units.name}",
        )
        every = right.number_input(
            "Time from row to row [s]", min_value=0.0, value=given.interval, format="%.6g",
            placeholder="if there are no times", key=f"{key}.interval",
        )  # fmt: skip
        if st.form_submit_button("Use these columns", type="primary"):
            in_newtons = None if scale is None else scale / units.factor("tension")
            st.session_state[_mapping_key(file)] = Mapping(tuple(chosen), in_newtons, every)
            st.rerun()
    if _mapping_key(file) in st.session_state and st.button(
        "Back to what the names tell", key=f"{key}.back"
    ):
        del st.session_state[_mapping_key(file)]
        st.session_state[AGAIN] = again + 1
        st.rerun()


def _asked(uses: Sequence[ColumnUse]) -> list[tuple[str, str, ColumnUse | None]]:
    """Return (quantity, label, what it is now) for each line of the form."""
    asked: list[tuple[str, str, ColumnUse | None]] = []
    for quantity in QUANTITIES:
        now: list[ColumnUse | None] = [use for use in uses if use.quantity == quantity]
        lines = max(len(now), _PARTS_OF_TIME if quantity == "time" else 1)
        for number, use in enumerate([*now, None, None][:lines]):
            label = quantity.capitalize() if number == 0 else "Time, in one more column"
            asked.append((quantity, label, use))
    return asked


def typed_place(found: Recorded, scenario: Scenario | None) -> tuple[float | None, float | None]:
    """Let the reader type diameter [m] and line speed [m/s] where a record does not tell them.

    Args:
        found: the record.
        scenario: the machine.
    """
    low, high = (0.02, 10.0) if scenario is None else diameter_range(scenario)
    whose = "a roll" if scenario is None else "the roll of this machine"
    diameter = line_speed = None
    key = f"trend.{found.key[0][:16]}"
    left, right = st.columns(2)
    if not np.isfinite(found.trend.diameter).any() and low < high:
        with left:
            diameter = _type("Roll diameter", "diameter", whose, low, high, key=f"{key}.diameter")
    if not np.isfinite(found.trend.line_speed).any():
        with right:
            line_speed = _type("Line speed", "speed", "a line", 0.01, 60.0, key=f"{key}.speed")
    return diameter, line_speed


def _type(label: str, kind: str, whose: str, low: float, high: float, *, key: str) -> float | None:
    """Let the reader type a value that may stay unknown: a start would pass for knowledge."""
    units = bench.unit_system()
    unit = units.label(kind)
    kept: float | None = st.session_state.get(f"{key}.kept")
    shown = None if kept is None else float(f"{units.show(kept, kind):.6g}")
    widget = f"{key}.{unit}"
    if widget not in st.session_state and shown is not None:
        # Not as its start: what has a start can't be emptied again.
        st.session_state[widget] = shown
    chosen = st.number_input(
        f"{label} in this record [{unit}]", value=None, format="%.6g",
        placeholder="if you know it", key=widget,
    )  # fmt: skip
    if chosen is None:
        kept = None
    elif chosen != shown:
        kept = chosen / units.factor(kind)
    st.session_state[f"{key}.kept"] = kept
    if kept is None:
        return None
    # The limits as they are shown are rounded, so what is typed may be off by as much.
    if not low * (1.0 - _ROUNDED) <= kept <= high * (1.0 + _ROUNDED):
        ends = " to ".join(units.plain(value, kind) for value in (low, high))
        st.warning(
            bench.plain(
                f"{whose.capitalize()} goes from {ends}: {units.plain(kept, kind)} is not used."
            )
        )
        return None
    return min(max(kept, low), high)
