"""A machine's form: a field for every key of its file, holding the text that the file has.

What the reader types is handed to the scenario's own checks as it is; where they find faults, the
form keeps every entry and the machine stays as it was.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, Literal, get_args, get_origin, get_type_hints

import streamlit as st

from simulator import Scenario, ScenarioError, read_scenario, scenario_text, with_values
from simulator import scenario as schema
from simulator.quantity import Quantity, quantities
from simulator.screens import bench
from simulator.sensing_and_control import Controller, DataSheet, LoadCell
from simulator.torque_devices import DEVICES
from simulator.units import examples

# What is on or off, and what it means.
_FLAGS = {
    "load_cell": "this roller is the one on load cells",
    "tracking": "in manual the integral term follows the output, so that the switch to automatic "
    "makes no bump",
    "setpoint_follows": "in manual the setpoint follows the reading",
    "anti_windup": "the integral term stops growing while the output is at a limit",
}
# Keys that are chosen above the form, because other fields depend on them.
_CHOSEN = {"kind"}
_NOT_GIVEN = "not given"


@dataclasses.dataclass(frozen=True)
class _Field:
    """One key of the file: where it stands, what it is, and what the file has there."""

    key: str
    name: str
    quantity: Quantity | None
    needed: bool
    default: Any
    given: Any
    choices: tuple[str, ...] = ()


def show_form(scenario: Scenario) -> None:
    """Show the form for a machine; its button makes the changed machine the one at hand.

    Args:
        scenario: the machine at hand.
    """
    text = scenario_text(scenario)
    # Another machine has other widgets, so no entry is left over from the one before.
    place = f"line.{hashlib.sha256(text.encode()).hexdigest()[:12]}"
    document = tomllib.loads(text)
    left, right = st.columns(2)
    zones = list(get_args(schema.Zone))
    zone = left.selectbox(
        "Zone", zones, zones.index(scenario.zone), key=f"{place}.zone",
        help="unwind: the roll gives web to the nip; rewind: it takes web from the nip; "
        "pull roll: a driven roll of constant diameter after the nip",
        persist_state="session",
    )  # fmt: skip
    kinds = list(DEVICES)
    kind = right.selectbox(
        "Torque device", kinds, kinds.index(scenario.torque_device.kind), key=f"{place}.kind",
        help="brakes fit an unwind, a clutch a rewind or a pull roll, a torque motor all",
        persist_state="session",
    )  # fmt: skip
    roll = schema.PullRoll if zone == "pull roll" else schema.WoundRoll
    sections = _sections(document, roll=roll, device=DEVICES[kind])
    _show_sections(scenario, document, sections, place)


def show_part(scenario: Scenario, parts: Mapping[str, tuple[str, ...]], *, key: str) -> None:
    """Show a form for some keys of a machine.

    Args:
        scenario: the machine at hand.
        parts: title of each tab, and what its keys begin with.
        key: a name that no other form uses.
    """
    text = scenario_text(scenario)
    document = tomllib.loads(text)
    device = DEVICES[scenario.torque_device.kind]
    every = [
        field
        for groups in _sections(document, roll=type(scenario.roll), device=device).values()
        for group in groups
        for field in group
    ]
    sections = {
        title: [[field for field in every if field.key.startswith(begins)]]
        for title, begins in parts.items()
    }
    place = f"{key}.{hashlib.sha256(text.encode()).hexdigest()[:12]}"
    _show_sections(scenario, document, sections, place)


def _show_sections(
    scenario: Scenario,
    document: dict[str, Any],
    sections: dict[str, list[list[_Field]]],
    place: str,
) -> None:
    faults = _faults(place)
    marks = {fault.key: fault.allowed for fault in faults.faults} if faults else {}
    with st.form(f"{place}.form", enter_to_submit=False):
        for tab, (title, rows) in zip(st.tabs(list(sections)), sections.items(), strict=True):
            with tab:
                _show_rows(title, rows, place=place, marks=marks)
        if faults:
            bench.show_error(faults, lead="These entries can't be used; the machine is as before:")
        st.form_submit_button(
            "Use this machine", type="primary", key=f"{place}.use",
            on_click=_use_form, args=(scenario, document, sections, place),
        )  # fmt: skip
    if not faults and (open_keys := _changes(document, sections, place)):
        st.info(bench.plain(f"Not used yet: {', '.join(open_keys)}"))


def show_text(scenario: Scenario) -> None:
    """Show the machine's file as text that can be edited, spans and rollers added or taken out.

    Args:
        scenario: the machine at hand.
    """
    text = scenario_text(scenario)
    place = f"line.text.{hashlib.sha256(text.encode()).hexdigest()[:12]}"
    faults = _faults(place)
    with (
        st.expander("Edit as text (add or take out spans and rollers)", expanded=bool(faults)),
        st.form(f"{place}.form", enter_to_submit=False),
    ):
        st.text_area(
            "Scenario file", text, height=420, key=f"{place}.entry", persist_state="session",
            help="Spans and rollers stand from the roll to the nip; there is one roller fewer "
            "than spans, and one of them is on load cells.",
        )  # fmt: skip
        if faults:
            bench.show_error(faults, lead="This text can't be used; the machine is as before:")
        st.form_submit_button(
            "Use this text", type="primary", key=f"{place}.use", on_click=_use_text, args=(place,)
        )


def _faults(place: str) -> ScenarioError | None:
    found: ScenarioError | None = st.session_state.get(f"{place}.faults")
    return found


def _sections(
    document: dict[str, Any], *, roll: type, device: type
) -> dict[str, list[list[_Field]]]:
    """Tabs of the form, each with groups of fields."""
    spans, rollers = document["span"], document["roller"]
    stations = []
    for i, span in enumerate(spans):
        group = list(_fields(f"span[{i + 1}]", f"span {i + 1}: ", schema.Span, span))
        if i < len(rollers):
            name = f"roller {i + 1}: "
            group += _fields(f"roller[{i + 1}]", name, schema.Roller, rollers[i])
        stations.append(group)
    title = [
        _Field(key, key, None, key == "title", "", document.get(key)) for key in ("title", "note")
    ]
    return {
        "Name": [title],
        "Web": [list(_fields("web", "", schema.Web, document["web"]))],
        "Run": [list(_fields("run", "", schema.Run, document["run"]))],
        "Roll": [list(_fields("roll", "", roll, document["roll"]))],
        "Spans and rollers": stations,
        "Torque device": [list(_fields("torque_device", "", device, document["torque_device"]))],
        "Load cell": [list(_fields("load_cell", "", LoadCell, document["load_cell"]))],
        "Data sheet": [list(_fields("data_sheet", "", DataSheet, document.get("data_sheet", {})))],
        "Nip": [list(_fields("nip", "", schema.Nip, document.get("nip", {})))],
        "Controller": [list(_fields("controller", "", Controller, document["controller"]))],
    }


def _fields(path: str, name: str, section: type, given: Mapping[str, Any]) -> Iterator[_Field]:
    known, hints = quantities(section), get_type_hints(section)
    # The needed ones first: a file may leave out the rest.
    fields = sorted(dataclasses.fields(section), key=lambda f: f.default is not dataclasses.MISSING)
    for f in fields:
        # A gain schedule is a table of its own: it stays in the file.
        if f.name not in _CHOSEN and f.default != ():
            needed = f.default is dataclasses.MISSING
            yield _Field(
                f"{path}.{f.name}",
                name + f.name.replace("anti_", "anti-").replace("_", " "),
                known.get(f.name),
                needed,
                None if needed else f.default,
                given.get(f.name),
                get_args(hints[f.name]) if get_origin(hints[f.name]) is Literal else (),
            )


def _show_rows(
    title: str, groups: list[list[_Field]], *, place: str, marks: Mapping[str, str]
) -> None:
    for group in groups:
        width = 5 if title == "Spans and rollers" else 2 if title == "Name" else 4
        for first in range(0, len(group), width):
            columns = st.columns(width, vertical_alignment="top")
            for column, field in zip(columns, group[first : first + width], strict=False):
                with column:
                    _show_field(field, place=place)
                    if field.key in marks:
                        st.markdown(f":red[{bench.plain(marks[field.key])}]")


def _show_field(field: _Field, *, place: str) -> None:
    key = f"{place}.{field.key}"
    last = field.key.rsplit(".", 1)[-1]
    if last in _FLAGS:
        value = field.default if field.given is None else field.given
        st.checkbox(field.name, bool(value), key=key, help=_FLAGS[last], persist_state="session")
        return
    if field.choices:
        now = field.given or field.default
        at = field.choices.index(now) if now in field.choices else 0
        st.selectbox(field.name, field.choices, at, key=key, persist_state="session")
        return
    st.text_input(
        field.name,
        _entry(field.given),
        key=key,
        help=_help(field),
        placeholder="" if field.needed else _left_out(field),
        persist_state="session",
    )


def _help(field: _Field) -> str | None:
    q = field.quantity
    if q is None:
        return None
    meaning = q.meaning[:1].upper() + q.meaning[1:]
    written = f" Write a number and a unit ({examples(q.unit)})." if q.unit else ""
    return bench.plain(f"{meaning}; {q.allowed}.{written}")


def _left_out(field: _Field) -> str:
    """What holds where the file says nothing."""
    if field.default is None or field.default == "":
        return _NOT_GIVEN
    unit = f" {field.quantity.unit}" if field.quantity and field.quantity.unit else ""
    return f"{field.default:g}{unit}" if isinstance(field.default, int | float) else ""


def _entry(given: Any) -> str:
    return "" if given is None else f"{given}" if isinstance(given, str) else f"{given!r}"


def _value(field: _Field, entry: Any) -> Any:
    """An entry as the file would have it; what can't be a number stays text, to be refused."""
    if isinstance(entry, bool):
        return entry
    text = str(entry or "")
    if not text.strip():
        return None
    plain_number = (field.quantity is not None and not field.quantity.unit) or (
        field.quantity is None and field.key.endswith((".cells", ".bits"))
    )
    if plain_number:
        with contextlib.suppress(ValueError):
            return int(text) if re.fullmatch(r"\s*[+-]?\d{1,15}\s*", text) else float(text)
    return text


def _changes(
    document: Mapping[str, Any], sections: Mapping[str, list[list[_Field]]], place: str
) -> dict[str, Any]:
    """Keys whose entry is not what the file has, and what they are to become."""
    state = st.session_state
    changes: dict[str, Any] = {}
    for groups in sections.values():
        for field in (field for group in groups for field in group):
            entry = state.get(f"{place}.{field.key}")
            shown = _entry(field.given)
            if isinstance(entry, bool):
                if entry != bool(field.default if field.given is None else field.given):
                    changes[field.key] = entry
            elif field.choices and entry == (field.given or field.default):
                continue
            elif entry is not None and entry != shown:
                changes[field.key] = _value(field, entry)
    for key, path in (("zone", "zone"), ("kind", "torque_device.kind")):
        given = document["zone"] if key == "zone" else document["torque_device"]["kind"]
        if state.get(f"{place}.{key}", given) != given:
            changes[path] = state[f"{place}.{key}"]
    # Keys that belong to another kind of roll or device go.
    shown_keys = {f.key for groups in sections.values() for group in groups for f in group}
    for section in ("roll", "torque_device"):
        if not any(key.startswith(f"{section}.") for key in shown_keys):
            continue
        for name in document[section]:
            if f"{section}.{name}" not in shown_keys and name not in _CHOSEN:
                changes[f"{section}.{name}"] = None
    return changes


def _use_form(
    scenario: Scenario,
    document: Mapping[str, Any],
    sections: Mapping[str, list[list[_Field]]],
    place: str,
) -> None:
    st.session_state[f"{place}.faults"] = None
    try:
        changed = with_values(scenario, _changes(document, sections, place))
    except ScenarioError as error:
        st.session_state[f"{place}.faults"] = error
        return
    _take(changed, place)


def _use_text(place: str) -> None:
    st.session_state[f"{place}.faults"] = None
    try:
        changed = read_scenario(st.session_state[f"{place}.entry"], name="text")
    except ScenarioError as error:
        st.session_state[f"{place}.faults"] = error
        return
    _take(changed, place)


def _take(scenario: Scenario, place: str) -> None:
    """Make the changed machine the one at hand, and forget the entries that made it."""
    for key in [key for key in st.session_state if str(key).startswith(f"{place}.")]:
        del st.session_state[key]
    bench.set_scenario(scenario)
