"""A practice run as a file to take home, and the run again from such a file.

The file is JSON: drill, machine (the text of a scenario, gains and all), seed, traps, and what the
trainee did at which scan; values are SI. The run is not stored but repeated; a digest of the state
that it ended in tells whether the repeat is the same to the last bit (it is no signature). Nothing
says who, when or where. A file of no scans is an assignment: a drill on a machine, to be done.
"""

from __future__ import annotations

import difflib
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, cast

import numpy as np
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from simulator import Action, Fault, Scenario, ScenarioError, read_scenario, scenario_text
from simulator.plan import What, scan_of
from simulator.simulation import MOST_STEPS
from tuning.practice.drills import DRILLS
from tuning.practice.log_file import (
    FORMAT,
    LARGEST_FILE,
    VERSION,
    LogError,
    named,
    parsed_log,
    shown,
)
from tuning.practice.session import (
    MOST_ACTIONS,
    TRAINEE,
    Practice,
    begin_practice,
    last_scan,
    repeated,
)
from tuning.practice.setup import MOST_SEED, Setup, trap_refused
from tuning.practice.traps import TRAPS

ABOUT = (
    "Practice on a simulated machine: no real machine was run, and what holds on one is said by "
    "its own procedures and by the people licensed to work on it."
)
MOST_FAULTS = 100
# Below this a scan times the scan time still gives the scan back, and a trend has room in memory.
MOST_SCANS = 1_000_000
# Beyond this no value of an action means anything on a machine [any].
LARGEST_VALUE = 1e6


@dataclass(frozen=True, eq=False)
class Logged:
    """What a log holds.

    Attributes:
        practice: the run, repeated; at its start if the log is an assignment.
        notes: what to know about it, such as that the repeat is not the same to the last bit.
    """

    practice: Practice
    notes: tuple[str, ...] = ()


def log_text(practice: Practice) -> str:
    """Return a run as the text of a log, in ASCII.

    The machine is written without the comments of the file it came from, which may name people.

    Args:
        practice: the run so far.

    Raises:
        LogError: the run is too long for a log.
    """
    m = practice.start.scenario
    actions = [
        {"scan": scan_of(m, a), "what": a.what, "value": float(a.value), "over": float(a.over)}
        for a in practice.done
    ]
    scans, digest = practice.running.scan, run_digest(practice)
    return _text(practice.setup, actions, scans=scans, ended=practice.over, digest=digest)


def assignment_text(setup: Setup) -> str:
    """Return the text of a log in which nothing has been done yet.

    Args:
        setup: drill, machine, seed and traps.

    Raises:
        PracticeError: as `begin_practice`.
    """
    begin_practice(setup)
    return _text(setup, [], scans=0, ended=False, digest="")


def run_digest(practice: Practice) -> str:
    """Return the sha256, in hexadecimal, of all that the rest of a run depends on.

    Args:
        practice: the run so far.
    """
    now = practice.running
    numbers = (
        now.state, now.direction, now.memory, now.between, now.kinds, now.sent, now.taken,
        now.happened, practice.window[-1],
    )  # fmt: skip
    digest = hashlib.sha256(f"{now.scan} {json.dumps(now.random, sort_keys=True)}".encode())
    for array in numbers:
        values = np.array(array, dtype="<f8")
        # The sign of a nan is the processor's affair.
        values[np.isnan(values)] = np.nan
        digest.update(values.tobytes())
    return digest.hexdigest()


def read_log(data: bytes, *, name: str) -> Logged:
    """Return the run of a log, repeated, or the start of a run if the log is an assignment.

    Args:
        data: what the file holds.
        name: what to call the file in an error.

    Raises:
        LogError: the file can't be used; it lists all faults.
    """
    found = parsed_log(data, name)
    values, faults = _values(found, name)
    try:
        faults += _misfits(values, name)
        if faults:
            more = len(faults) - MOST_FAULTS
            rest = [Fault(name, "", "", f"has {more} more faults")] if more > 0 else []
            raise LogError((*dict.fromkeys(faults[:MOST_FAULTS]), *rest))
        return _repeated(values, name)
    except (ValueError, ArithmeticError) as error:
        if isinstance(error, LogError):
            raise
        # A machine may be sound by itself and still be none that a drill can be run on.
        reason = " ".join(str(error).split())[:300]
        raise LogError((Fault(name, "", "", f"can't be repeated: {reason}"),)) from None


def _text(
    setup: Setup, actions: Sequence[Mapping[str, Any]], *, scans: int, ended: bool, digest: str
) -> str:
    listed = ",\n".join(f"  {json.dumps(action)}" for action in actions)
    values: dict[str, Any] = {
        "format": FORMAT, "version": VERSION, "about": ABOUT, "drill": setup.drill,
        "seed": int(setup.seed), "traps": list(setup.traps), "scans": scans, "ended": ended,
        "digest": digest, "scenario": _machine_text(setup.scenario),
    }  # fmt: skip
    lines = [f' "{key}": {json.dumps(value)}' for key, value in values.items()]
    lines.append(f' "actions": [\n{listed}\n ]' if actions else ' "actions": []')
    text = "{\n" + ",\n".join(lines) + "\n}\n"
    for amount, most, what in (
        (len(actions), MOST_ACTIONS, "actions"),
        (scans, MOST_SCANS, "scans"),
        (len(text), LARGEST_FILE, "bytes"),
    ):
        if amount > most:
            raise LogError((Fault("log", "", "", f"{amount} {what}: at most {most} can be kept"),))
    return text


def _machine_text(scenario: Scenario) -> str:
    """Return a machine without comments, if that says all that it is; else as it was read."""
    text = scenario_text(replace(scenario, source=""))
    try:
        return text if read_scenario(text) == scenario else scenario_text(scenario)
    except ScenarioError:
        return scenario_text(scenario)


def _one_of(names: Iterable[str]) -> AfterValidator:
    def known(key: str) -> str:
        if key not in names:
            raise ValueError(f"must be one of {', '.join(names)}")
        return key

    return AfterValidator(known)


class _Done(BaseModel):
    """One action as a file has it."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    scan: Annotated[int, Field(ge=1)]
    what: Annotated[str, _one_of(TRAINEE)]
    value: Annotated[float, Field(ge=-LARGEST_VALUE, le=LARGEST_VALUE, allow_inf_nan=False)] = 0.0
    over: Annotated[float, Field(ge=0.0, le=LARGEST_VALUE, allow_inf_nan=False)] = 0.0

    def action(self, at: float) -> Action:
        """Return it at a time [s]."""
        return Action(at, cast(What, self.what), self.value, self.over)


def _possible(done: _Done) -> _Done:
    done.action(0.0)
    return done


_Word = Annotated[str, Field(strict=True)]
_OfDrill = Annotated[_Word, _one_of(DRILLS)]
_OfTraps = Annotated[list[Annotated[_Word, _one_of(TRAPS)]], Field(max_length=50)]
_OfActions = Annotated[
    list[Annotated[_Done, AfterValidator(_possible)]], Field(max_length=MOST_ACTIONS)
]
_Version = Annotated[int, Field(strict=True, ge=VERSION, le=VERSION)]
# What a file may hold, each key by itself, and what holds where it is left out; None: never.
_KEYS: dict[str, tuple[TypeAdapter[Any], Any]] = {
    "format": (TypeAdapter(_Word), None),
    "version": (TypeAdapter(_Version), None),
    "about": (TypeAdapter(_Word), ""),
    "drill": (TypeAdapter(_OfDrill), None),
    "seed": (TypeAdapter(Annotated[int, Field(strict=True, ge=0, le=MOST_SEED)]), None),
    "traps": (TypeAdapter(_OfTraps), []),
    "scans": (TypeAdapter(Annotated[int, Field(strict=True, ge=0)]), 0),
    "ended": (TypeAdapter(Annotated[bool, Field(strict=True)]), False),
    "digest": (TypeAdapter(Annotated[_Word, Field(pattern="^([0-9a-f]{64})?$")]), ""),
    "scenario": (TypeAdapter(Annotated[_Word, AfterValidator(read_scenario)]), None),
    "actions": (TypeAdapter(_OfActions), []),
}


def _values(found: Mapping[str, Any], name: str) -> tuple[dict[str, Any], list[Fault]]:
    """Return what is sound by itself, and a fault for all that is not."""
    values: dict[str, Any] = {}
    faults = [_unknown(name, key, value, _KEYS) for key, value in found.items() if key not in _KEYS]
    for key, (adapter, otherwise) in _KEYS.items():
        if key in found:
            try:
                values[key] = adapter.validate_python(found[key])
            except ValidationError as error:
                for details in error.errors(include_url=False):
                    faults += _faults(name, key, details)
        elif otherwise is None:
            faults.append(Fault(name, key, "", "is missing"))
        else:
            values[key] = otherwise
    return values, faults


def _faults(name: str, key: str, details: ErrorDetails) -> list[Fault]:
    """Turn one of pydantic's errors into faults in the file's own terms."""
    limits = details.get("ctx", {})
    error = limits.get("error")
    if isinstance(error, ScenarioError):
        return [replace(f, file=name, key=f"{key}.{f.key}".rstrip(".")) for f in error.faults]
    for step in details["loc"]:
        key += f"[{step + 1}]" if isinstance(step, int) else f".{named(step)}"
    if details["type"] == "extra_forbidden":
        return [_unknown(name, key, details["input"], _Done.model_fields)]
    if details["type"] == "missing":
        return [Fault(name, key, "", "is missing")]
    words = {
        "model_type": "must be a table of scan, what, value and over",
        "list_type": "must be a list",
        "bool_type": "must be true or false",
        "string_type": "must be text in quotes",
        "string_pattern_mismatch": "must be 64 figures of a hexadecimal number, or empty",
        "int_type": "must be a whole number",
        "float_type": "must be a number, no larger than any machine has",
        "finite_number": "must be a finite number",
        "too_long": f"must have at most {limits.get('max_length')} entries",
        "greater_than_equal": f"must be {limits.get('ge')} or more",
        "less_than_equal": f"must be {limits.get('le')} or less",
        "value_error": str(error),
    }
    allowed = words.get(details["type"], details["msg"].replace("Input should", "must"))
    return [Fault(name, key, shown(details["input"]), allowed)]


def _misfits(values: Mapping[str, Any], name: str) -> list[Fault]:
    """Return what does not go together in a file, of what is sound by itself."""
    faults: list[Fault] = []
    drill, scenario = values.get("drill"), values.get("scenario")
    if drill and scenario and (reason := DRILLS[drill].refused(scenario)):
        faults.append(Fault(name, "drill", shown(drill), f"does not suit this machine: {reason}"))
    traps = values.get("traps", [])
    for i, trap in enumerate(traps):
        reason = "is set twice" if trap in traps[:i] else ""
        if drill and scenario and not reason:
            reason = trap_refused(scenario, drill, trap)
        if reason:
            faults.append(Fault(name, f"traps[{i + 1}]", shown(trap), reason))
    actions: list[_Done] = values.get("actions", [])
    scans, before = values.get("scans"), 0
    for i, done in enumerate(actions, start=1):
        allowed = ""
        if done.scan < before:
            allowed = f"must be {shown(before)} or more: actions stand in the order of time"
        elif scans is not None and done.scan > scans:
            allowed = f"must be at most {shown(scans)}, the scans of the run"
        if allowed:
            faults.append(Fault(name, f"actions[{i}].scan", shown(done.scan), allowed))
        if scenario and done.what == "line speed":
            # The step of the integration is made for the speeds that the machine has.
            fastest = max(scenario.run.line_speed, scenario.run.crawl_speed)
            allowed = f"must be at most {fastest:g} m/s, the machine's fastest"
            if done.value > fastest:
                faults.append(Fault(name, f"actions[{i}].value", shown(done.value), allowed))
        before = max(before, done.scan)
    return faults


def _repeated(values: Mapping[str, Any], name: str) -> Logged:
    """Return the run of a file that has no fault by itself."""
    scenario: Scenario = values["scenario"]
    setup = Setup(values["drill"], scenario, values["seed"], tuple(values["traps"]))
    scans: int = values["scans"]
    begun = begin_practice(setup)
    most = min(last_scan(begun.start), MOST_SCANS)
    if scans > most:
        allowed = f"must be at most {most}, the time of the drill"
        raise LogError((Fault(name, "scans", shown(scans), allowed),))
    if scans * float(begun.running.pieces[:, 1].sum()) > MOST_STEPS:
        allowed = f"so fast a machine would take more than {MOST_STEPS:.0e} steps to repeat this"
        raise LogError((Fault(name, "scenario", "", allowed),))
    scan_time = scenario.controller.scan_time
    done = [each.action(each.scan * scan_time) for each in values["actions"]]
    practice = repeated(setup, done, scans)
    if not np.isfinite(practice.running.state).all():
        raise LogError((Fault(name, "actions", "", "lead to a tension that is no number"),))
    notes = []
    if scans and values["digest"] != run_digest(practice):
        notes.append(
            "The run was repeated, but not to the last bit: the log comes from another version or "
            "another kind of processor, or was changed. The trainee may have seen it otherwise."
        )
    if values["ended"] != practice.over:
        was, now = ("over", "not over") if values["ended"] else ("not over", "over")
        notes.append(f"When the log was written the time of the drill was {was}; here it is {now}.")
    return Logged(practice, tuple(notes))


def _unknown(name: str, key: str, given: Any, known: Iterable[str]) -> Fault:
    last = key.rpartition(".")[2]
    near = difflib.get_close_matches(last[:60], list(known), n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    allowed = f"is not known here; {hint}known: {', '.join(known)}"
    return Fault(name, named(key), shown(given), allowed)
