"""A start, a stop or a fast stop, simulated: the output held, then with inertia compensation."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import kernel
from simulator.machine import kernel_machine
from simulator.operating_point import sliding_ratio
from simulator.plan import Action, speed_ramp
from simulator.scenario import Scenario
from simulator.simulation import simulate
from simulator.speed_change import Kind, check_share, ramp_state, rate_of, wanted_tension
from simulator.trend import WEB_BREAK, Trend

Array = NDArray[np.float64]

# A run goes on before the speed begins to change, and after it has changed [s].
BEFORE, AFTER = 1.0, 3.0
# A ramp of many minutes is recorded at fewer scans than all [-].
MOST_SAMPLES = 100_000


@dataclass(frozen=True, eq=False)
class SpeedChangeRun:
    """One simulated change of speed.

    Attributes:
        kind: "start", "stop" or "fast stop".
        automatic: whether the controller was in automatic [-].
        compensation: share of the roll's inertia torque that it added [%].
        trend: of the run, without noise and with true rolls.
        begins: time at which the speed begins to change [s].
        ends: time at which it has changed [s].
        least_tension: at the load cell from there to the end of the run [N].
        largest_tension: in the same time [N].
        lost: "slack web" or "web break", else empty.
        closed_form: tension that the output would settle at in the ramp, shape (n,) [N]; below 0
            where the web goes slack; nan outside the straight part of the ramp and in automatic,
            where the output never rests.
    """

    kind: Kind
    automatic: bool
    compensation: float
    trend: Trend
    begins: float
    ends: float
    least_tension: float
    largest_tension: float
    lost: str
    closed_form: Array


def simulate_speed_change(
    scenario: Scenario,
    kind: Kind = "fast stop",
    *,
    diameter: float,
    tension: float | None = None,
    compensation: float = 100.0,
) -> tuple[SpeedChangeRun, ...]:
    """Run a change of speed without and with inertia compensation: in manual, then in automatic.

    Automatic is left out where the scenario has no gains. A start begins at crawl speed, where the
    web already moves, or at half the line speed where crawl is faster. The diameter is held.

    Args:
        scenario: the machine.
        kind: "start", "stop" or "fast stop".
        diameter: of the roll [m].
        tension: wanted at the load cell [N]; the running tension, tapered, if left out.
        compensation: share of the roll's inertia torque that inertia compensation adds [%].

    Raises:
        ValueError: the kind is unknown, the diameter is not on this roll, the tension is not above
            0, or the share is not between 0 and 200 %.
        SimulationError: the run would take too many steps.
    """
    rate_of(scenario, kind)
    T = wanted_tension(scenario, diameter, tension=tension)
    check_share(compensation)
    c, run = scenario.controller, scenario.run
    begins = math.ceil(BEFORE / c.scan_time) * c.scan_time
    speed = run.line_speed
    if kind == "start":
        speed = min(run.crawl_speed, 0.5 * run.line_speed)
    _, lasts = speed_ramp(scenario, Action(begins, kind), speed)
    has_gains = bool(c.schedule) or (c.Kc is not None and c.Ti is not None)
    rounding = run.ramp_rounding
    ends = begins + lasts + rounding
    duration = ends + max(AFTER, 0.15 * lasts)
    found = []
    for automatic in (False, True) if has_gains else (False,):
        for share in dict.fromkeys((0.0, compensation)):
            trend = simulate(
                replace(scenario, controller=replace(c, inertia_compensation=share), source=""),
                [Action(begins, kind)],
                duration=duration,
                diameter=diameter,
                line_speed=speed,
                tension=T,
                automatic=automatic,
                noise=False,
                runout=False,
                record_every=math.ceil(duration / c.scan_time / MOST_SAMPLES),
            )
            found.append(
                SpeedChangeRun(
                    kind=kind,
                    automatic=automatic,
                    compensation=share,
                    trend=trend,
                    begins=begins,
                    ends=ends,
                    least_tension=float(trend.web_tension[trend.time >= begins].min()),
                    largest_tension=float(trend.web_tension[trend.time >= begins].max()),
                    lost=trend.web_lost,
                    closed_form=np.full(trend.time.size, math.nan)
                    if automatic
                    else _closed_form(
                        scenario, trend, kind, diameter=diameter, tension=T,
                        ramp=(trend.time >= begins + rounding)
                        & (trend.time < begins + lasts - 1e-9),
                    ),
                )
            )  # fmt: skip
    return tuple(found)


def outcome(run: SpeedChangeRun) -> str:
    """Return what came of a run: a sentence without its full stop.

    Args:
        run: to tell of.
    """
    mode = "in automatic" if run.automatic else "in manual"
    how = f"{run.compensation:.3g} %" if run.compensation else "no"
    text = (
        f"{mode} with {how} inertia compensation the tension lies between "
        f"{run.least_tension:.3g} N and {run.largest_tension:.3g} N"
    )
    if not run.lost:
        return text
    at = next(time for time, mark in run.trend.events if mark == run.lost)
    what = "breaks" if run.lost == WEB_BREAK else "goes slack"
    return f"{text}, and the web {what} {at - run.begins:.2g} s after the speed begins to change"


def _closed_form(
    scenario: Scenario,
    trend: Trend,
    kind: Kind,
    *,
    diameter: float,
    tension: float,
    ramp: NDArray[np.bool_],
) -> Array:
    """Tension that the output settles at in the ramp; below crawl as if friction went on."""
    m = kernel_machine(scenario, runout=False)
    a, _ = rate_of(scenario, kind)
    v, v_line = trend.line_speed[ramp], scenario.run.line_speed
    half, line = (
        ramp_state(m, diameter=diameter, line_speed=speed, tension=tension, acceleration=a)
        for speed in (0.5 * v_line, v_line)
    )
    # All that changes with the speed is viscous drag, and friction where it has not yet fallen.
    slope = (line.roll_torque - half.roll_torque) / (0.5 * v_line)
    needed = line.roll_torque + slope * (v - v_line)
    ratio = np.array([sliding_ratio(m, line.roll_speed * x / v_line) for x in v])
    none, full = kernel.device_torque(m, 0.0), kernel.device_torque(m, 100.0)
    torque = (none + 0.01 * (full - none) * trend.output[ramp]) * ratio
    expected = np.full(trend.time.size, math.nan)
    expected[ramp] = tension + (torque - needed) / (0.5 * diameter)
    return expected
