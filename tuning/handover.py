"""The switch from manual to automatic: what the operator will see, simulated on the machine.

What the first scan in automatic does to the output follows from the controller's equation
(`simulator.control_kernel`), with y the reading, r the setpoint, in % of range, u the output before
the switch, D the derivative part, h the scan time, and a step back in time written as old:

    output       u1 = Kc (b r - y) + D + I
    tracking     in manual I = u - Kc (b r_old - y_old) - D_old, so
                 u1 - u = Kc b (r - r_old) - Kc (y - y_old) + D - D_old
    no tracking  I is what was left there, so u1 - u = Kc (b r - y) + D + I_left - u

With tracking a steady machine sees no jump at all, whatever the setpoint: only what the reading has
moved in one scan counts, and the output then walks off by Kc h/Ti (r - y) a scan. Without tracking
all that stands between the old integral and the output falls on the machine at once. (Bumpless
transfer: Åström & Hägglund, Advanced PID Control, 2006, chapter 3, restated from memory.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import Action, Scenario, Trend, simulate
from simulator.cell_forces import web_tension
from simulator.scenario_checks import hunting
from tuning.gains import Gains
from tuning.handover_movement import QUIET_TIME, Movement, Unrest, unrest
from tuning.handover_place import SHORTEST_RUN, SwitchPlace, switch_place

Array = NDArray[np.float64]

# Settled means within this share of the running tension [-].
BAND = 0.02
# … for at least the last part of the run [-].
QUIET_SHARE = 0.1
# What still swings in this last part of the run swings on [-].
SWING_SHARE = 0.25
# A loop at rest moves its output by less than this [%].
LEAST_MOVE = 0.05


@dataclass(frozen=True)
class Handover:
    """A simulated switch from manual to automatic.

    Attributes:
        trend: of the run; the switch is at `switched_at`.
        switched_at: time of the switch [s].
        tension_bump: largest departure of the web's tension from what it was, beyond what the new
            setpoint asks for, and beyond what it would have done in manual [% of running tension].
        output_bump: jump of the output at the first scan in automatic [%].
        settling: from the switch until the tension stays within 2 % of the running tension where
            the setpoint asks for it [s]; nan if it does not.
        walk: from the web's tension at the switch to where the setpoint takes it [% of running
            tension].
        swing: half of the tension's swing in the last quarter of the run [% of running tension].
        caught: how far the setpoint lies from where the operator's output would have taken the
            tension [% of running tension].
        taken_back: whether the controller went back to manual by itself [-].
        warnings: what a reader should know.
    """

    trend: Trend
    switched_at: float
    tension_bump: float
    output_bump: float
    settling: float
    walk: float
    swing: float
    caught: float
    taken_back: bool
    warnings: tuple[str, ...] = ()


def handover(
    scenario: Scenario,
    gains: Gains,
    *,
    diameter: float | None = None,
    line_speed: float | None = None,
    setpoint_offset: float = 0.0,
    tracking: bool | None = None,
    setpoint_follows: bool | None = None,
    anti_windup: bool | None = None,
    movement: Movement | None = None,
    noise: bool = False,
    runout: bool = False,
    seed: int = 0,
) -> Handover:
    """Simulate manual → automatic at the operating point and measure the bump.

    Args:
        scenario: the machine.
        gains: to switch on.
        diameter: of the roll [m]; full roll if left out.
        line_speed: of the web [m/s]; running speed if left out.
        setpoint_offset: setpoint at the switch above the steady reading [share of running
            tension, -].
        tracking: whether the integral term follows the output in manual [-]; as the scenario says
            if left out.
        setpoint_follows: whether the setpoint follows the reading in manual [-]; as the scenario
            says if left out. It cancels the offset.
        anti_windup: whether the integral term is held back while the output is at a limit [-]; as
            the scenario says if left out.
        movement: what moves the tension at the switch; nothing if left out.
        noise: whether the reading has its noise [-].
        runout: whether the roll is out of round [-].
        seed: of the noise [-].

    Raises:
        ValueError: an argument is out of range.
    """
    place = switch_place(scenario, gains, diameter=diameter, line_speed=line_speed)
    moved = None
    if movement is not None:
        moved = unrest(
            place.scenario, movement, diameter=place.diameter, line_speed=place.line_speed,
            output=place.output, lasts=place.watched, noise=noise, runout=runout, seed=seed,
        )  # fmt: skip
    return switch(
        place, setpoint_offset=setpoint_offset, tracking=tracking,
        setpoint_follows=setpoint_follows, anti_windup=anti_windup, moved=moved, noise=noise,
        runout=runout, seed=seed,
    )  # fmt: skip


def switch(
    place: SwitchPlace,
    *,
    setpoint_offset: float = 0.0,
    tracking: bool | None = None,
    setpoint_follows: bool | None = None,
    anti_windup: bool | None = None,
    moved: Unrest | None = None,
    noise: bool = False,
    runout: bool = False,
    seed: int = 0,
) -> Handover:
    """Simulate manual → automatic at a place and measure the bump.

    While the line changes speed it is watched until that ends, for at least the shortest run: what
    the end of the ramp does is no matter of the switch.

    Args:
        place: the machine with its gains at a diameter and a speed.
        setpoint_offset: as for `handover` [-].
        tracking: as for `handover` [-].
        setpoint_follows: as for `handover` [-].
        anti_windup: as for `handover` [-].
        moved: what moves the tension, and what it does in manual; nothing if left out.
        noise: whether the reading has its noise [-].
        runout: whether the roll is out of round [-].
        seed: of the noise [-].

    Raises:
        ValueError: an argument is out of range.
    """
    if not (math.isfinite(setpoint_offset) and -0.9 <= setpoint_offset <= 2.0):
        raise ValueError(f"setpoint_offset {setpoint_offset}: must lie between -0.9 and 2")
    scenario = place.with_settings(
        tracking=tracking, setpoint_follows=setpoint_follows, anti_windup=anti_windup
    )
    switched_at, watched = QUIET_TIME, place.watched
    actions: tuple[Action, ...] = ()
    if moved is not None:
        movement = moved.movement
        switched_at += movement.before
        actions = movement.actions(place.output)
        if movement.line_speed is not None:
            watched = min(watched, max(movement.over - movement.before, SHORTEST_RUN))
    trend = simulate(
        scenario,
        [*actions, Action(switched_at, "automatic")],
        duration=switched_at + watched,
        diameter=place.diameter,
        line_speed=place.line_speed,
        # Off the reading, as the operator sees it, and before any taper.
        setpoint=place.reading * (1.0 + setpoint_offset),
        noise=noise,
        runout=runout,
        seed=seed,
    )
    measured = measure_switch(
        scenario,
        trend,
        switched_at=switched_at,
        stable=place.margins.stable,
        in_manual=None if moved is None else moved.trend,
    )
    if place.point.reachable:
        return measured
    reason = f"can't be held here: {place.point.reason}"
    return replace(measured, warnings=(*measured.warnings, reason))


def measure_switch(
    scenario: Scenario,
    trend: Trend,
    *,
    switched_at: float,
    stable: bool,
    in_manual: Trend | None = None,
) -> Handover:
    """Measure a switch in a simulated run.

    Args:
        scenario: the machine with its controller as in the run.
        trend: of the run.
        switched_at: time of the switch [s].
        stable: whether the loop is stable there [-].
        in_manual: the same run without the switch, at least as long; None where the tension is
            steady before it.
    """
    scan = scenario.controller.scan_time
    # What is done takes effect at the next scan.
    switched_at = scan * math.ceil(switched_at / scan - 1e-9)
    before = trend.time < switched_at - 0.5 * scan
    after = ~before
    running = scenario.run.tension
    tension = trend.web_tension[after]
    time = trend.time[after]
    # The web is where the setpoint says only if the load cells are right.
    automatic = np.flatnonzero(trend.automatic == 1.0)
    asked = float(trend.setpoint[automatic[-1]])
    aim = web_tension(scenario.load_cell, asked)
    if in_manual is None:
        was = heading = float(trend.web_tension[before].mean())
        alone = np.array([was])
    else:
        was = float(trend.web_tension[before][-1])
        alone = in_manual.web_tension[: trend.time.size][after]
        heading = float(alone[-max(alone.size // 4, 1) :].mean())
    low, high = min(was, aim, alone.min()), max(was, aim, alone.max())
    beyond = max(float(np.maximum(tension - high, low - tension).max()), 0.0)
    jump = trend.output[after][0] - trend.output[before][-1]
    last = tension[-max(int(SWING_SHARE * tension.size), 1) :]
    settling = _settling(scenario, trend, time=time, off=tension - aim, stable=stable)
    share = 100.0 / running
    return Handover(
        trend=trend,
        switched_at=switched_at,
        tension_bump=share * beyond,
        output_bump=float(jump),
        settling=settling,
        walk=share * abs(aim - was),
        swing=share * 0.5 * float(np.ptp(last)),
        caught=share * abs(aim - heading),
        taken_back=bool(trend.automatic[-1] == 0.0),
        warnings=_warnings(scenario, trend, asked=asked, aim=aim, stable=stable, settling=settling),
    )


def _settling(scenario: Scenario, trend: Trend, *, time: Array, off: Array, stable: bool) -> float:
    """Return the time from the switch until the tension stays in its band [s]; nan if never."""
    outside = np.flatnonzero(np.abs(off) > BAND * scenario.run.tension)
    inside_from = time[0] if outside.size == 0 else time[min(outside[-1] + 1, time.size - 1)]
    # A swing passes through the band: settled means in it for a while, at the end of the run.
    stays = time[-1] - inside_from >= QUIET_SHARE * (time[-1] - time[0])
    # A supply that sticks and has let go once will do so again: a quiet spell is no rest.
    moved = np.ptp(trend.output[-time.size :]) > LEAST_MOVE
    stays = stays and not (hunting(scenario) and moved)
    return float(inside_from - time[0]) if stable and stays else math.nan


def _warnings(
    scenario: Scenario, trend: Trend, *, asked: float, aim: float, stable: bool, settling: float
) -> tuple[str, ...]:
    warnings = list(trend.warnings)
    sticks = hunting(scenario)
    if sticks:
        warnings.append(sticks)
    if abs(aim - asked) > 0.5 * BAND * scenario.run.tension:
        warnings.append(
            f"the display goes to {asked:.4g} N and the web to {aim:.4g} N: zero and "
            "calibrate the load cells first"
        )
    if trend.automatic[-1] == 0.0:
        warnings.append(
            "the tension drops so far that the controller takes it for a web break and goes back "
            "to manual by itself"
        )
    if not stable:
        warnings.append("these gains make the loop unstable here: do not switch to automatic")
    elif math.isnan(settling):
        warnings.append("the tension does not settle within the time shown")
    return tuple(warnings)
