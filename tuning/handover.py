"""The switch from manual to automatic: what the operator will see, simulated on the machine."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from simulator import Action, Scenario, Trend, linearise, operating_point, simulate
from simulator.cell_forces import web_tension
from simulator.machine import (
    diameter_range,
    reading_of,
    running_tension,
    taper_at,
)
from simulator.scenario_checks import hunting
from tuning.gains import Gains
from tuning.margins import loop_margins

# The switch is at this time [s]; before it the trend shows what the operator has in hand.
QUIET_TIME = 4.0
# Settled means within this share of the running tension [-].
BAND = 0.02
# … for at least the last part of the run [-].
QUIET_SHARE = 0.1
# A loop at rest moves its output by less than this [%].
LEAST_MOVE = 0.05
SHORTEST_RUN, LONGEST_RUN = 12.0, 240.0


@dataclass(frozen=True)
class Handover:
    """A simulated switch from manual to automatic.

    Attributes:
        trend: of the run; the switch is at `switched_at`.
        switched_at: time of the switch [s].
        tension_bump: largest departure of the web's tension from what it was, beyond what the new
            setpoint asks for [% of running tension].
        output_bump: jump of the output at the first scan in automatic [%].
        settling: from the switch until the tension stays within 2 % of the running tension where
            the setpoint asks for it [s]; nan if it does not.
        warnings: what a reader should know.
    """

    trend: Trend
    switched_at: float
    tension_bump: float
    output_bump: float
    settling: float
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
        setpoint_offset: setpoint at the switch above the reading [share of running tension, -].
        tracking: whether the integral term follows the output in manual [-]; as the scenario says
            if left out.
        setpoint_follows: whether the setpoint follows the reading in manual [-]; as the scenario
            says if left out. It cancels the offset.
        noise: whether the reading has its noise [-].
        runout: whether the roll is out of round [-].
        seed: of the noise [-].

    Raises:
        ValueError: an argument is out of range.
    """
    if not (math.isfinite(setpoint_offset) and -0.9 <= setpoint_offset <= 2.0):
        raise ValueError(f"setpoint_offset {setpoint_offset}: must lie between -0.9 and 2")
    D = diameter_range(scenario)[1] if diameter is None else diameter
    v = scenario.run.line_speed if line_speed is None else line_speed
    c = scenario.controller
    tuned = gains.set_in(scenario)
    changed = replace(
        tuned,
        controller=replace(
            tuned.controller,
            tracking=c.tracking if tracking is None else tracking,
            setpoint_follows=c.setpoint_follows if setpoint_follows is None else setpoint_follows,
        ),
    )
    margins = loop_margins(
        linearise(scenario, diameter=D, line_speed=v), gains, scan_time=c.scan_time
    )
    slowest = margins.slowest_time
    settle = 8.0 * slowest if math.isfinite(slowest) else LONGEST_RUN / 4.0
    start = running_tension(scenario, D)
    duration = QUIET_TIME + min(max(settle, SHORTEST_RUN), LONGEST_RUN)
    trend = simulate(
        changed,
        [Action(QUIET_TIME, "automatic")],
        duration=duration,
        diameter=D,
        line_speed=v,
        # Off the reading, as the operator sees it, and before any taper.
        setpoint=max(reading_of(scenario, start) / taper_at(scenario, D), 0.0)
        * (1.0 + setpoint_offset),
        noise=noise,
        runout=runout,
        seed=seed,
    )
    point = operating_point(scenario, diameter=D, line_speed=v)
    measured = _measured(scenario, trend, stable=margins.stable)
    if point.reachable:
        return measured
    return replace(measured, warnings=(*measured.warnings, f"can't be held here: {point.reason}"))


def _measured(scenario: Scenario, trend: Trend, *, stable: bool) -> Handover:
    before = trend.automatic == 0.0
    after = ~before
    running = scenario.run.tension
    was = float(trend.web_tension[before].mean())
    # The web is where the setpoint says only if the load cells are right.
    aim = web_tension(scenario.load_cell, float(trend.setpoint[-1]))
    low, high = min(was, aim), max(was, aim)
    tension = trend.web_tension[after]
    beyond = np.maximum(tension - high, low - tension).max()
    jump = trend.output[after][0] - trend.output[before][-1]
    outside = np.flatnonzero(np.abs(tension - aim) > BAND * running)
    time = trend.time[after]
    inside_from = time[0] if outside.size == 0 else time[min(outside[-1] + 1, time.size - 1)]
    # A swing passes through the band: settled means in it for a while, at the end of the run.
    stays = time[-1] - inside_from >= QUIET_SHARE * (time[-1] - time[0])
    # A supply that sticks and has let go once will do so again: a quiet spell is no rest.
    sticks = hunting(scenario)
    stays = stays and not (sticks and np.ptp(trend.output[after]) > LEAST_MOVE)
    settling = float(inside_from - time[0]) if stable and stays else math.nan
    warnings = list(trend.warnings)
    if sticks:
        warnings.append(sticks)
    if abs(aim - trend.setpoint[-1]) > 0.5 * BAND * running:
        warnings.append(
            f"the display goes to {trend.setpoint[-1]:.4g} N and the web to {aim:.4g} N: zero and "
            "calibrate the load cells first"
        )
    if not stable:
        warnings.append("these gains make the loop unstable here: do not switch to automatic")
    elif math.isnan(settling):
        warnings.append("the tension does not settle within the time shown")
    return Handover(
        trend=trend,
        switched_at=QUIET_TIME,
        tension_bump=100.0 * max(float(beyond), 0.0) / running,
        output_bump=float(jump),
        settling=settling,
        warnings=tuple(warnings),
    )
