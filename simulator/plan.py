"""What is done to a machine in a run, and when: the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simulator import run_kernel
from simulator.errors import SimulationError
from simulator.machine import diameter_range
from simulator.scenario import Scenario
from simulator.trend import WEB_BREAK

Array = NDArray[np.float64]
What = Literal[
    "output",
    "setpoint",
    "automatic",
    "manual",
    "relay",
    "line speed",
    "start",
    "stop",
    "fast stop",
    "web thickness",
    "web modulus",
    "zero error",
    "dropout",
    "web break",
    "thread",
    "new roll",
    "preset",
    "Kc",
    "Ti",
    "tracking",
    "setpoint follows",
]

_KINDS: dict[What, int] = {
    "output": run_kernel.SET_OUTPUT,
    "setpoint": run_kernel.SET_SETPOINT,
    "automatic": run_kernel.TO_AUTOMATIC,
    "manual": run_kernel.TO_MANUAL,
    "relay": run_kernel.TO_RELAY,
    "line speed": run_kernel.SET_LINE_SPEED,
    "start": run_kernel.SET_LINE_SPEED,
    "stop": run_kernel.SET_LINE_SPEED,
    "fast stop": run_kernel.SET_LINE_SPEED,
    "web thickness": run_kernel.SET_THICKNESS,
    "web modulus": run_kernel.SET_MODULUS,
    "zero error": run_kernel.SET_ZERO,
    "dropout": run_kernel.DROP_OUT,
    "web break": run_kernel.BREAK_WEB,
    "thread": run_kernel.THREAD_WEB,
    "new roll": run_kernel.NEW_ROLL,
    "preset": run_kernel.SET_PRESET,
}
# Settings of the controller that a run may change on its way.
SETTINGS: tuple[What, ...] = ("Kc", "Ti", "tracking", "setpoint follows")
# How a mark on the trend reads.
_WORDS: dict[What, str] = {
    "output": "output {value:.4g} %",
    "setpoint": "setpoint {value:.4g} N",
    "automatic": "to automatic",
    "manual": "to manual",
    "relay": "relay {value:.4g} %",
    "line speed": "line speed {value:.4g} m/s",
    "start": "line starts",
    "stop": "line stops",
    "fast stop": "fast stop",
    "web thickness": "web {value:.3g} times as thick",
    "web modulus": "web {value:.3g} times as stiff",
    "zero error": "zero off by {value:.4g} N",
    "dropout": "signal lost",
    "web break": WEB_BREAK,
    "thread": "web threaded",
    "new roll": "new roll {value:.3g} m",
    "preset": "preset {value:.4g} %",
    "Kc": "Kc {value:.4g}",
    "Ti": "Ti {value:.4g} s",
    "tracking": "tracking {switch}",
    "setpoint follows": "setpoint follows {switch}",
}
_CHANGES_WEB = ("web thickness", "web modulus")
# A web this many times thicker or stiffer than the scenario's, or thinner, is another machine.
_MOST_CHANGE = 100.0


@dataclass(frozen=True)
class Action:
    """One thing that is done to the machine at a time; it takes effect at the next scan.

    Attributes:
        at: time from the start of the run [s].
        what: "output" (in manual), "setpoint", "automatic", "manual";
            "relay" (the output switches up and down about where it stands, for a relay test);
            "line speed", "start" (to running speed in the scenario's acceleration time), "stop" (in
            its deceleration time), "fast stop" (in its stop time);
            "web thickness", "web modulus" (from now on the web that enters the zone is so many
            times as thick or stiff as the scenario's: a splice);
            "zero error" (of the load cell from now on), "dropout" (its signal is lost for a time);
            "web break", "thread" (a broken web again, just taut; nothing while line or roll turns),
            "new roll" (a flying splice: the web goes over to another roll that turns with it, and
            whose device stands ready), "preset" (the output for that, else the old one);
            "Kc", "Ti", "tracking", "setpoint follows" (settings of the controller).
        value: output [%], setpoint [N], line speed [m/s], swing of the relay [%], thickness or
            modulus over the scenario's [-], zero error [N], diameter of the new roll [m], preset
            output [%], Kc [% of output per % of range], Ti [s], 1 or 0 for on or off [-].
        over: time that a change of line speed takes, or a dropout lasts [s].
    """

    at: float
    what: What
    value: float = 0.0
    over: float = 0.0

    def __post_init__(self) -> None:
        known = (*_KINDS, *SETTINGS)
        if self.what not in known:
            raise SimulationError(f"action {self.what!r}: must be one of {', '.join(known)}")
        if not (math.isfinite(self.at) and math.isfinite(self.value) and self.at >= 0.0):
            raise SimulationError(f"action {self.what} {self.value} at {self.at} s: not finite")
        if not (math.isfinite(self.over) and self.over >= 0.0):
            raise SimulationError(f"action {self.what}, over {self.over} s: must be 0 s or more")
        if self.what in ("line speed", "setpoint") and self.value < 0.0:
            raise SimulationError(f"{self.what} {self.value:g}: must be 0 or more")
        if self.what == "Kc" and self.value < 0.0:
            raise SimulationError(f"Kc {self.value:g}: must be 0 or more")
        if self.what in ("Ti", "new roll") and self.value <= 0.0:
            raise SimulationError(f"{self.what} {self.value:g}: must be above 0")
        if self.what in ("tracking", "setpoint follows") and self.value not in (0.0, 1.0):
            raise SimulationError(f"{self.what} {self.value:g}: must be 1 (on) or 0 (off)")
        if self.what in _CHANGES_WEB and not 1.0 / _MOST_CHANGE <= self.value <= _MOST_CHANGE:
            raise SimulationError(
                f"{self.what} {self.value}: must lie between {1.0 / _MOST_CHANGE:g} and "
                f"{_MOST_CHANGE:g} times the scenario's"
            )

    def __str__(self) -> str:
        if self.what in _CHANGES_WEB and self.value == 1.0:
            return "web as before"
        switch = "on" if self.value else "off"
        return _WORDS[self.what].format(value=self.value, switch=switch)


def splice(
    at: float, *, length: float, line_speed: float, plies: float = 2.0
) -> tuple[Action, ...]:
    """Return the actions of a lapped splice: for a short length the web is thicker.

    Args:
        at: time at which it enters the zone [s].
        length: of the lap [m].
        line_speed: at which it runs in [m/s].
        plies: thickness of the lap over that of the web [-].
    """
    return (
        Action(at, "web thickness", plies),
        Action(at + length / line_speed, "web thickness", 1.0),
    )


def speed_ramp(scenario: Scenario, action: Action, line_speed: float) -> tuple[float, float]:
    """Return the line speed that an action leads to [m/s] and the time that it takes [s].

    Start, stop and fast stop keep the scenario's rate: from another speed they take another time.

    Args:
        scenario: the machine.
        action: that changes the line speed.
        line_speed: where the change starts [m/s].
    """
    run = scenario.run
    if action.what == "line speed":
        return action.value, action.over
    whole = {
        "start": run.acceleration_time,
        "stop": run.deceleration_time or run.acceleration_time,
        "fast stop": run.stop_time,
    }[action.what]
    target = run.line_speed if action.what == "start" else 0.0
    return target, whole * abs(target - line_speed) / run.line_speed


def in_order(plan: Sequence[Action]) -> list[Action]:
    """Return the actions in the order of time; at one time in the order given.

    Raises:
        SimulationError: the plan changes the web more often than a zone can hold.
    """
    changes = sum(action.what in _CHANGES_WEB for action in plan)
    if changes >= run_kernel.MOST_WEBS:
        raise SimulationError(
            f"the plan changes the web {changes} times: at most {run_kernel.MOST_WEBS - 1}"
        )
    return sorted(plan, key=lambda action: action.at)


def scan_of(scenario: Scenario, action: Action) -> int:
    """Return the scan at which an action takes effect, counted from the start of the run.

    Args:
        scenario: the machine.
        action: any.
    """
    return math.ceil(action.at / scenario.controller.scan_time - 1e-9)


def kernel_events(
    scenario: Scenario, actions: Sequence[Action], ramp: tuple[float, float, float, float]
) -> tuple[Array, set[float]]:
    """Return the rows (scan, kind, value, over [s]) for the kernel, and all speeds reached [m/s].

    Settings of the controller make no row: the kernel is given another controller.

    Args:
        scenario: the machine.
        actions: in the order of time.
        ramp: of the line speed before them: from, to [m/s], its start and the time it takes [s].

    Raises:
        SimulationError: a new roll is smaller than the core or larger than the full roll.
    """
    scan_time = scenario.controller.scan_time
    start, target, begins, lasts = ramp
    speeds = {start, target}
    rows = []
    for action in actions:
        if action.what in SETTINGS:
            continue
        scan = scan_of(scenario, action)
        kind, value, over = _KINDS[action.what], action.value, action.over
        if kind == run_kernel.SET_LINE_SPEED:
            rounding = scenario.run.ramp_rounding
            now, _ = run_kernel.ramp(scan * scan_time, start, target, begins, lasts, rounding)
            value, over = speed_ramp(scenario, action, now)
            start, target, begins, lasts = now, value, scan * scan_time, over
            speeds |= {now, value}
        low, high = diameter_range(scenario)
        if kind == run_kernel.NEW_ROLL and not low <= value <= high:
            raise SimulationError(f"new roll {value:g} m: must lie between {low:g} and {high:g} m")
        rows.append((scan, kind, value, over))
    return np.array(rows, dtype=float).reshape(-1, 4), speeds


def stiffest_web(actions: Sequence[Action]) -> float:
    """Return the stiffest web of a plan over the scenario's own [-], at least 1.

    Args:
        actions: in the order of time.
    """
    most, now = 1.0, {"web thickness": 1.0, "web modulus": 1.0}
    for action in actions:
        if action.what in now:
            now[action.what] = action.value
            most = max(most, now["web thickness"] * now["web modulus"])
    return most
