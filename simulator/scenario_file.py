"""Scenario files: read with all faults at once, written back without loss.

A file is TOML with units in every physical value; unknown keys are refused. The text that was read
stays with the scenario, so that saving gives back every comment, and a change of one value changes
that value alone.
"""

from __future__ import annotations

import contextlib
import dataclasses
import difflib
import re
import tomllib
from collections.abc import Mapping, MutableMapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any, get_type_hints

import tomlkit
from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails
from tomlkit.exceptions import TOMLKitError

from simulator import scenario as schema
from simulator.errors import Fault, ScenarioError
from simulator.quantity import FROM_FILE, Quantity, quantities
from simulator.scenario import Scenario
from simulator.scenario_checks import contradictions
from simulator.sensing_and_control import Controller, DataSheet, LoadCell, ScheduledGains
from simulator.torque_devices import DEVICES
from simulator.units import examples, format_quantity

LARGEST_FILE = 1_000_000  # bytes
MOST_FAULTS = 100
_SCENARIO = TypeAdapter(Scenario)
_PARTS: dict[str, TypeAdapter[Any]] = {
    key: TypeAdapter(hint) for key, hint in get_type_hints(Scenario, include_extras=True).items()
}

# Section of a file → the classes it may be.
_SECTIONS: dict[str, tuple[type, ...]] = {
    "web": (schema.Web,),
    "run": (schema.Run,),
    "roll": (schema.WoundRoll, schema.PullRoll),
    "span": (schema.Span,),
    "roller": (schema.Roller,),
    "torque_device": tuple(DEVICES.values()),
    "load_cell": (LoadCell,),
    "controller": (Controller,),
    "nip": (schema.Nip,),
    "data_sheet": (DataSheet,),
}
# What pydantic puts into a path where a section may be one of several classes → the class.
_TAGS: dict[str, dict[str, type]] = {
    "roll": {"wound roll": schema.WoundRoll, "pull roll": schema.PullRoll},
    "torque_device": DEVICES,
}
# Sections that a file may leave out.
_OPTIONAL = ("nip", "data_sheet")
_KINDS = " or ".join(f'"{kind}"' for kind in DEVICES)

Location = tuple[str | int, ...]


def load_scenario(path: str | Path) -> Scenario:
    """Read a scenario file.

    Args:
        path: of the file.

    Raises:
        ScenarioError: the file can't be read or used; it lists all faults.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = error.strerror or "can't be read"
        raise ScenarioError((Fault(str(path), "", "", f"{reason.lower()}; name a scenario file "
                                   "(.toml)"),)) from None  # fmt: skip
    except ValueError as error:
        raise ScenarioError((Fault(str(path), "", "", f"is not a path: {error}"),)) from None
    return read_scenario(data, name=path.name)


def read_scenario(text: str | bytes, *, name: str = "scenario") -> Scenario:
    """Read a scenario from a file's text or bytes.

    Args:
        text: what the file holds.
        name: what to call the file in an error.

    Raises:
        ScenarioError: the text can't be used; it lists all faults.
    """
    source = _decoded(text, name)
    data = _parsed(source, name)
    if "source" in data:
        raise ScenarioError((_unknown(name, ("source",), data["source"], Scenario),))
    try:
        return _SCENARIO.validate_python({**data, "source": source}, context=FROM_FILE)
    except ValidationError as error:
        # The check of the whole (an empty path) is made below, over whatever sections are sound.
        details = [each for each in error.errors() if each["loc"]]
        faults = [_fault(name, each, data) for each in details[:MOST_FAULTS]]
        if len(details) > MOST_FAULTS:
            faults.append(Fault(name, "", "", f"has {len(details) - MOST_FAULTS} more faults"))
        for key, allowed in contradictions(_sound(data)):
            faults.append(Fault(name, key, _given(data, key), allowed))
        raise ScenarioError(tuple(dict.fromkeys(faults))) from None


def _sound(data: dict[str, Any]) -> Any:
    """Return an object with those parts of a scenario that are valid by themselves."""
    parts = SimpleNamespace()
    for key, adapter in _PARTS.items():
        with contextlib.suppress(ValidationError, KeyError):
            setattr(parts, key, adapter.validate_python(data[key], context=FROM_FILE))
    return parts


def scenario_text(scenario: Scenario) -> str:
    """Return the file's text: as it was read, or tidy TOML for a scenario built in Python.

    A scenario changed in Python after it was read is written anew, without the comments.
    """
    if scenario.source:
        try:
            if read_scenario(scenario.source) == scenario:
                return scenario.source
        except ScenarioError:
            pass
    return _written(scenario)


def save_scenario(scenario: Scenario, path: str | Path) -> None:
    """Write a scenario file.

    Args:
        scenario: to write.
        path: of the file; its folder must exist.

    Raises:
        OSError: the file can't be written.
    """
    Path(path).write_text(scenario_text(scenario), encoding="utf-8", newline="")


def with_values(
    scenario: Scenario, changes: Mapping[str, str | float | bool | None], *, name: str = "form"
) -> Scenario:
    """Return a scenario with some values of its file changed, comments kept.

    Args:
        scenario: to start from; it stays as it is.
        changes: dotted key as in the file, such as roll.full_diameter or span[2].length (counted
            from 1), and its new value as the file would have it; None takes the key out.
        name: what to call the changes in an error.

    Raises:
        ScenarioError: the result can't be used; it lists all faults.
    """
    document = _document(scenario)
    faults = []
    for key, value in changes.items():
        if not (value is None or isinstance(value, str | int | float)):
            faults.append(Fault(name, key, _shown(value), "must be text, a number, true or false"))
            continue
        section = key.partition(".")[0]
        if section in _OPTIONAL and section not in document and value is not None:
            document[section] = tomlkit.table()
        place = _place(document, key)
        if place is None:
            faults.append(Fault(name, key, "" if value is None else _shown(value), "no such place"))
            continue
        table, last = place
        if value is None:
            table.pop(last, None)
        else:
            table[last] = value
    for section in _OPTIONAL:
        if section in document and not document[section]:
            del document[section]
    if faults:
        raise ScenarioError(tuple(faults))
    return read_scenario(tomlkit.dumps(document), name=name)


def _document(scenario: Scenario) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(scenario_text(scenario))
    except (TOMLKitError, ValueError):  # odd TOML that only the reader understands
        return tomlkit.parse(_written(scenario))


def _place(document: tomlkit.TOMLDocument, key: str) -> tuple[MutableMapping[str, Any], str] | None:
    """Return the table that a dotted key stands in, and its last part; None if there is no such."""
    *path, last = key.split(".")
    place: Any = document
    for step in path:
        found = re.fullmatch(r"([A-Za-z_]\w*)(?:\[([1-9]\d{0,3})\])?", step)
        if not found or not isinstance(place, MutableMapping) or found.group(1) not in place:
            return None
        place = place[found.group(1)]
        if found.group(2):
            index = int(found.group(2)) - 1
            if not isinstance(place, list) or index >= len(place):
                return None
            place = place[index]
    if not isinstance(place, MutableMapping) or not re.fullmatch(r"[A-Za-z_]\w*", last):
        return None
    return place, last


def _decoded(text: str | bytes, name: str) -> str:
    if len(text) > LARGEST_FILE:
        raise ScenarioError(
            (Fault(name, "", "", "is larger than 1 MB; a scenario takes a few kB"),)
        )
    not_text = Fault(name, "", "", "is not text in UTF-8; a scenario is a TOML file")
    try:
        data = text.encode("utf-8") if isinstance(text, str) else text
        text = data.decode("utf-8-sig")
    except UnicodeError:
        raise ScenarioError((not_text,)) from None
    if "\0" in text:
        raise ScenarioError((not_text,))
    if not text.strip():
        needed = ", ".join(_required(Scenario))
        raise ScenarioError((Fault(name, "", "", f"is empty; a scenario has {needed}"),))
    return text


def _parsed(source: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(source)
    except tomllib.TOMLDecodeError as error:
        reason = str(error)
        if "overwrite a value" in reason or "twice" in reason:
            reason += "; each key and each [table] is given once"
    except RecursionError:
        reason = "lists or tables are nested too deep"
    except ValueError:  # Python reads no whole number of thousands of digits
        reason = "a number has too many digits"
    reason = " ".join(reason.split())[:200]
    raise ScenarioError((Fault(name, "", "", f"is not TOML: {reason}"),))


def _required(section: type) -> list[str]:
    missing = (dataclasses.MISSING,)
    return [
        f.name
        for f in dataclasses.fields(section)
        if f.default in missing and f.default_factory in missing
    ]


def _fault(name: str, details: ErrorDetails, data: dict[str, Any]) -> Fault:
    """Turn one of pydantic's errors into a fault in the file's own terms."""
    loc = details["loc"]
    section: type = Scenario
    if len(loc) > 1:
        tags = _TAGS.get(str(loc[0]), {})
        section = tags.get(str(loc[1])) or _SECTIONS[str(loc[0])][0]
        loc = loc[:1] + loc[2:] if loc[1] in tags else loc
        if len(loc) > 2 and loc[1] == "schedule":
            section = ScheduledGains
    kind, key = details["type"], _key(loc)
    if kind == "missing":
        return Fault(name, key, "", _needs(str(loc[-1]), section))
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        return _unknown(name, loc, details["input"], section)
    if kind == "union_tag_not_found":
        return Fault(name, f"{key}.kind", "", f"is missing: must be {_KINDS}")
    if kind == "union_tag_invalid":
        return Fault(name, f"{key}.kind", _given(data, f"{key}.kind"), f"must be {_KINDS}")
    if kind != "value_error":
        return Fault(name, key, _shown(details["input"]), _plain_words(details, key))
    text = str(details["ctx"]["error"])
    if isinstance(details["input"], dict) and len(loc) == 1:
        # A check of a whole section starts with the key that it is about.
        first, _, allowed = text.partition(" ")
        key = f"{key}.{first}"
        return Fault(name, key, _given(data, key), allowed)
    return Fault(name, key, _shown(details["input"]), text)


def _key(loc: Location) -> str:
    key = ""
    for step in loc:
        if isinstance(step, int):
            key += f"[{step + 1}]"
        else:
            plain = re.fullmatch(r"[\w-]{1,60}", step)
            key += f"{'.' if key else ''}{step if plain else _shown(step)}"
    return key


def _given(data: dict[str, Any], key: str) -> str:
    """Return what a file has at a dotted key, as text; empty for a table or for nothing."""
    place: Any = data
    for step in key.split("."):
        place = place.get(step) if isinstance(place, dict) else None
    return "" if place is None or key in _SECTIONS else _shown(place)


def _shown(value: Any) -> str:
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, bool):
        return str(value).lower()
    try:
        text = repr(value) if isinstance(value, str | int | float) else str(value)
    except ValueError:  # a whole number of thousands of digits
        return "a number"
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "…'"


def _needs(key: str, section: type) -> str:
    quantity = quantities(section).get(key)
    if quantity is not None:
        unit = f"; write a number and a unit ({examples(quantity.unit)})" if quantity.unit else ""
        return f"is missing: {quantity.meaning}{unit}"
    if section is Scenario and key in _SECTIONS:
        kind = ["kind"] if key in _TAGS and key != "roll" else []
        keys = ", ".join(kind + _required(_SECTIONS[key][0]))
        return f"is missing: a table with at least {keys}"
    return "is missing"


def _unknown(name: str, loc: Location, given: Any, section: type) -> Fault:
    known = [f.name for f in dataclasses.fields(section) if f.name != "source"]
    near = difflib.get_close_matches(str(loc[-1])[:60], known, n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    allowed = f"is not known here; {hint}known: {', '.join(known)}"
    return Fault(name, _key(loc), _shown(given), allowed)


def _plain_words(details: ErrorDetails, key: str) -> str:
    kind, limits = details["type"], details.get("ctx", {})
    if kind == "literal_error":
        return f"must be {limits['expected']}"
    if kind in ("dataclass_type", "dataclass_exact_type", "model_attributes_type"):
        return f"must be a table, [{key}]"
    words = {
        "tuple_type": f"must be tables, [[{key}]]",
        "bool_type": "must be true or false",
        "string_type": "must be text in quotes",
        "string_too_short": "must not be empty",
        "string_too_long": f"must be at most {limits.get('max_length')} characters",
        "int_type": "must be a whole number",
        "greater_than_equal": f"must be {limits.get('ge')} or more",
        "less_than_equal": f"must be {limits.get('le')} or less",
    }
    return words.get(kind, details["msg"].replace("Input should", "must"))


def _written(scenario: Scenario) -> str:
    """Tidy TOML in SI units, optional values that are not given left out."""
    document = tomlkit.document()
    for f in dataclasses.fields(scenario):
        value = getattr(scenario, f.name)
        if f.name == "source" or (value == "" and f.default == ""):
            continue
        if isinstance(value, tuple):
            tables = tomlkit.aot()
            for item in value:
                tables.append(_table(item))
            document[f.name] = tables
        elif value is None:
            continue
        elif dataclasses.is_dataclass(value):
            document[f.name] = _table(value)
        else:
            document[f.name] = value
    return tomlkit.dumps(document)


def _table(section: Any) -> Any:
    known: dict[str, Quantity] = quantities(type(section))
    table = tomlkit.table()
    for f in dataclasses.fields(section):
        value = getattr(section, f.name)
        if value is None or value == "" or value == ():
            continue
        if isinstance(value, tuple):
            table[f.name] = tomlkit.aot()
            for item in value:
                table[f.name].append(_table(item))
            continue
        unit = known[f.name].unit if f.name in known else ""
        table[f.name] = format_quantity(value, unit, digits=None) if unit else value
    return table
