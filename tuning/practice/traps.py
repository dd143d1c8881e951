"""Traps that an instructor can set: faults of the machine or of the one who was there before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from simulator import Action, Scenario
from simulator.plan import splice
from simulator.torque_devices import FrictionBrake
from tuning.practice.chance import chance, off_setpoint
from tuning.practice.drill import Start
from tuning.practice.lively_gain import gain_limit, with_gain

# Common practice, no source: what a plant would call plainly wrong, without being broken.
ZERO_SHARE = 0.08  # of the tension range
STICKING = 3.0  # [% of output]
NOISE_TIMES, LEAST_NOISE = 4.0, 0.01  # times the scenario's; share of the tension range
LOST_TIME = 0.6  # [s]
LAP_LENGTH = 0.5  # [m]
EARLIEST, LATEST = 5.0, 15.0  # [s]
# A gain this close to the limit of stability rings on and on [share of that limit].
LIVELY = 0.85


@dataclass(frozen=True)
class Trap:
    """One trap.

    Attributes:
        title: for the instructor's list.
        told: what the debrief says about it.
        set: returns the start of a drill with the trap in it.
        refused: why a machine can't have it; empty where it can.
    """

    title: str
    told: str
    set: Callable[[Start, int], Start]
    refused: Callable[[Scenario], str] = field(default=lambda scenario: "")


def _some_time(start: Start, seed: int, what: str) -> float:
    """A moment before even a quick trainee is through [s]."""
    return start.judged_from + EARLIEST + (LATEST - EARLIEST) * chance(seed, what)


def _zero(start: Start, seed: int) -> Start:
    cell = start.scenario.load_cell
    error = ZERO_SHARE * start.scenario.controller.tension_range
    if chance(seed, "zero") < 0.5:
        error = -error
    error = max(error, -0.5 * start.wanted)
    drifted = replace(cell, zero_error=cell.zero_error + error)
    return replace(start, scenario=replace(start.scenario, load_cell=drifted))


def _sticking(start: Start, seed: int) -> Start:
    device = start.scenario.torque_device
    assert isinstance(device, FrictionBrake)
    worn = replace(device, sticking=max(STICKING, device.sticking))
    return replace(start, scenario=replace(start.scenario, torque_device=worn))


def _noise(start: Start, seed: int) -> Start:
    cell = start.scenario.load_cell
    least = LEAST_NOISE * start.scenario.controller.tension_range
    noisy = replace(cell, noise=max(NOISE_TIMES * cell.noise, least))
    return replace(start, scenario=replace(start.scenario, load_cell=noisy))


def _tracking(start: Start, seed: int) -> Start:
    controller = replace(start.scenario.controller, tracking=False)
    return replace(start, scenario=replace(start.scenario, controller=controller))


def _setpoint(start: Start, seed: int) -> Start:
    return replace(start, setpoint=off_setpoint(start.wanted, seed))


def _gain(start: Start, seed: int) -> Start:
    v = start.scenario.run.line_speed
    limit = gain_limit(start.scenario, diameter=start.diameter, line_speed=v)
    return replace(start, scenario=with_gain(start.scenario, max(LIVELY * limit, 1.0)))


def _lost(start: Start, seed: int) -> Start:
    lost = Action(_some_time(start, seed, "lost"), "dropout", over=LOST_TIME)
    return replace(start, plan=(*start.plan, lost))


def _lap(start: Start, seed: int) -> Start:
    at = _some_time(start, seed, "lap")
    lap = splice(at, length=LAP_LENGTH, line_speed=start.scenario.run.line_speed)
    return replace(start, plan=(*start.plan, *lap))


def _needs_friction_brake(scenario: Scenario) -> str:
    if isinstance(scenario.torque_device, FrictionBrake):
        return ""
    return f"a {scenario.torque_device.kind} has no air supply that can stick"


TRAPS: dict[str, Trap] = {
    "drifted zero": Trap(
        "The zero has drifted",
        "The zero of the load cells was off by 8 % of the range.",
        _zero,
    ),
    "sticking supply": Trap(
        "The brake's supply sticks",
        "The brake's supply moved only once the output had moved by 3 %.",
        _sticking,
        _needs_friction_brake,
    ),
    "noisy reading": Trap(
        "The reading is noisy", "The reading was four times as noisy as usual.", _noise
    ),
    "tracking off": Trap(
        "Tracking is switched off",
        "The integral term did not track the output in manual, so automatic did not start from it.",
        _tracking,
    ),
    "setpoint off": Trap(
        "The setpoint is off by 20 %",
        "The setpoint had been left 20 % off the wanted tension.",
        _setpoint,
    ),
    "gain too high": Trap(
        "Someone has turned the gain up",
        "The gain stood at 85 % of what makes the loop unstable.",
        _gain,
    ),
    "signal lost": Trap(
        "The signal drops out once",
        "The load cells' signal dropped out for 0.6 s.",
        _lost,
    ),
    "lap in the web": Trap(
        "A lap of two plies comes through",
        "A lap of two plies, 0.5 m long, came through.",
        _lap,
    ),
}
