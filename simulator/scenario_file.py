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
from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any, get_args, get_type_hints

import tomlkit
from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails
from tomlkit.exceptions import TOMLKitError

from simulator import scenario as schema
from simulator.errors import Fault, ScenarioError
from simulator.scenario import FROM_FILE, Quantity, Scenario, quantities
from simulator.scenario_checks import contradictions
from simulator.units import examples, format_quantity

LARGEST_FILE = 1_000_000  # bytes
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
    "torque_device": get_args(schema.TorqueDevice),
    "load_cell": (schema.LoadCell,),
    "controller": (schema.Controller,),
}
# What pydantic adds to a path where a section may be one of several classes.
_TAGS = {"wound roll", "pull roll"} | {device.kind for device in get_args(schema.TorqueDevice)}


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
    data = _parsed(source, name).unwrap()
    if "source" in data:
        raise ScenarioError((_unknown(name, ("source",), data["source"]),))
    try:
        return _SCENARIO.validate_python({**data, "source": source}, context=FROM_FILE)
    except ValidationError as error:
        # The check of the whole (an empty path) is made below, over whatever sections are sound.
        faults = [_fault(name, details) for details in error.errors() if details["loc"]]
        faults += [Fault(name, key, "", allowed) for key, allowed in contradictions(_sound(data))]
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
    document = tomlkit.parse(scenario_text(scenario))
    for key, value in changes.items():
        *path, last = _steps(key)
        place: Any = document
        try:
            for step in path:
                place = place[step]
            if value is None:
                place.pop(last, None)
            else:
                place[last] = value
        except (KeyError, IndexError, TypeError, TOMLKitError):
            fault = Fault(name, key, "" if value is None else repr(value), "there is no such place")
            raise ScenarioError((fault,)) from None
    return read_scenario(tomlkit.dumps(document), name=name)


def _steps(key: str) -> list[str | int]:
    """'span[2].length' → ['span', 1, 'length']."""
    steps: list[str | int] = []
    for part in key.split("."):
        found = re.fullmatch(r"([A-Za-z_]\w*)(?:\[(\d{1,4})\])?", part)
        if not found:
            return [key]
        steps.append(found.group(1))
        if found.group(2):
            steps.append(int(found.group(2)) - 1)
    return steps


def _decoded(text: str | bytes, name: str) -> str:
    if len(text) > LARGEST_FILE:
        raise ScenarioError(
            (Fault(name, "", "", "is larger than 1 MB; a scenario takes a few kB"),)
        )
    if isinstance(text, bytes):
        try:
            text = text.decode("utf-8-sig")
        except UnicodeDecodeError:
            fault = Fault(name, "", "", "is not text in UTF-8; a scenario is a TOML file")
            raise ScenarioError((fault,)) from None
    if not text.strip():
        needed = ", ".join(_required(Scenario))
        raise ScenarioError((Fault(name, "", "", f"is empty; a scenario has {needed}"),))
    return text


def _parsed(source: str, name: str) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(source)
    except TOMLKitError as error:
        reason = str(error).replace("\n", " ").rstrip(".")
        raise ScenarioError((Fault(name, "", "", f"is not TOML: {reason}"),)) from None
    except (ValueError, RecursionError, TypeError) as error:
        reason = str(error).replace("\n", " ")[:200]
        raise ScenarioError((Fault(name, "", "", f"is not TOML: {reason}"),)) from None


def _required(section: type) -> list[str]:
    missing = (dataclasses.MISSING,)
    return [
        f.name
        for f in dataclasses.fields(section)
        if f.default in missing and f.default_factory in missing
    ]


def _fault(name: str, details: ErrorDetails) -> Fault:
    """Turn one of pydantic's errors into a fault in the file's own terms."""
    loc = tuple(step for step in details["loc"] if step not in _TAGS)
    key = _key(loc)
    kind, given = details["type"], details["input"]
    if kind == "missing":
        return Fault(name, key, "", _needs(loc))
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        return _unknown(name, loc, given)
    if kind == "value_error":
        text = str(details["ctx"]["error"])
        # A check across keys speaks of them itself; its input is a whole section.
        whole = not isinstance(given, str | int | float | bool | list | type(None))
        return Fault(name, key, "" if whole else _shown(given), text)
    return Fault(name, key, _shown(given), _plain_words(details, loc))


def _key(loc: tuple[str | int, ...]) -> str:
    key = ""
    for step in loc:
        key += f"[{step + 1}]" if isinstance(step, int) else f"{'.' if key else ''}{step}"
    return key


def _shown(value: Any) -> str:
    text = repr(value) if not isinstance(value, dict | list) else "a table" if isinstance(
        value, dict
    ) else "a list"  # fmt: skip
    text = text.replace("\n", " ")
    return text if len(text) <= 60 else text[:57] + "…'"


def _places(loc: tuple[str | int, ...]) -> tuple[type, ...]:
    """The classes whose keys are allowed where the last step of a path stands."""
    return (Scenario,) if len(loc) < 2 else _SECTIONS.get(str(loc[0]), ())


def _needs(loc: tuple[str | int, ...]) -> str:
    last = str(loc[-1])
    for section in _places(loc):
        quantity = quantities(section).get(last)
        if quantity is not None:
            unit = (
                f"; write a number and a unit ({examples(quantity.unit)})" if quantity.unit else ""
            )
            return f"is missing: {quantity.meaning}{unit}"
    if len(loc) == 1 and last in _SECTIONS:
        keys = ", ".join(_required(_SECTIONS[last][0]))
        return f"is missing: a table with at least {keys}"
    return "is missing"


def _unknown(name: str, loc: tuple[str | int, ...], given: Any) -> Fault:
    last = str(loc[-1])
    known = list(
        dict.fromkeys(f.name for section in _places(loc) for f in dataclasses.fields(section))
    )
    known = [key for key in known if key != "source"]
    near = difflib.get_close_matches(last, known, n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    return Fault(
        name, _key(loc), _shown(given), f"is not known here; {hint}known: {', '.join(known)}"
    )


def _plain_words(details: ErrorDetails, loc: tuple[str | int, ...]) -> str:
    kind, ctx = details["type"], details.get("ctx", {})
    if kind == "literal_error":
        return f"must be {ctx['expected']}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        kinds = " or ".join(f'"{f}"' for f in sorted(_TAGS) if not f.endswith("roll"))
        return f"must have kind = {kinds}"
    if kind in ("dataclass_type", "dataclass_exact_type"):
        return f"must be a table, [{_key(loc)}]"
    if kind == "tuple_type":
        return f"must be tables, [[{_key(loc)}]]"
    words = {
        "bool_type": "must be true or false",
        "string_type": "must be text in quotes",
        "int_type": "must be a whole number",
        "string_too_long": "must be shorter",
    }
    return words.get(kind, details["msg"].replace("Input should", "must").replace("\n", " "))


def _written(scenario: Scenario) -> str:
    """Tidy TOML in SI units, optional values that are not given left out."""
    document = tomlkit.document()
    for f in dataclasses.fields(scenario):
        value = getattr(scenario, f.name)
        if f.name == "source" or value == "":
            continue
        if isinstance(value, tuple):
            tables = tomlkit.aot()
            for item in value:
                tables.append(_table(item))
            document[f.name] = tables
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
        if value is None or value == "":
            continue
        unit = known[f.name].unit if f.name in known else ""
        table[f.name] = format_quantity(value, unit, digits=17) if unit else value
    return table
