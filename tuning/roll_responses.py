"""What gains do on the machine itself: setpoint steps in automatic from full roll to core.

Margins come from the linear plant; here the whole machine runs, with its friction, its limits and
its hysteresis. Noise and runout are left out, so that what moves is the loop; a second run has them
and no step, and says whether the web holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simulator import Action, Scenario, Trend, linearise, simulate
from simulator.machine import named_diameters, running_tension
from tuning.gains import Gains
from tuning.margins import Margins, loop_margins
from tuning.metrics import StepMetrics, step_metrics

# The setpoint steps at this time [s].
LEAD = 1.0
# The run shows this many time constants of the slowest loop over the roll, within these times [s].
SETTLING_TIMES = 6.0
SHORTEST_RUN, LONGEST_RUN = 4.0, 60.0
# A run at the setpoint, with noise and a roll out of round, lasts this long [s].
RUNNING_TIME = 20.0
# Size of the setpoint step as a share of the running tension [-].
STEP_SHARE = 0.05
# Of one step; half a step either way is still a step of the tension and no more.
LEAST_SHARE, MOST_SHARE = 0.001, 0.5
# Settled means within this share of the step [-].
BAND = 0.05


@dataclass(frozen=True)
class RollResponse:
    """One setpoint step at one point of the roll.

    Attributes:
        name: of the diameter, such as "full roll".
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        trend: of the run; the setpoint steps at `stepped_at`.
        stepped_at: time of the step [s].
        margins: of the loop here.
        metrics: of the web's tension; None where the web broke or went slack.
        running_lost: how the web is lost at the setpoint alone, with noise and runout; empty where
            it holds.
        warnings: what a reader should know.
    """

    name: str
    diameter: float
    line_speed: float
    trend: Trend
    stepped_at: float
    margins: Margins
    metrics: StepMetrics | None
    running_lost: str = ""
    warnings: tuple[str, ...] = ()


def roll_responses(
    scenario: Scenario, gains: Gains, *, step_share: float = STEP_SHARE
) -> tuple[RollResponse, ...]:
    """Step the setpoint at full roll, half and core, at line and then at crawl speed.

    Args:
        scenario: the machine.
        gains: in automatic throughout.
        step_share: size of the step as a share of the running tension [-]; negative steps down.

    Raises:
        ValueError: the step is too small, too large or not finite.
    """
    if not LEAST_SHARE <= abs(step_share) <= MOST_SHARE:
        raise ValueError(
            f"step_share {step_share}: must lie between {LEAST_SHARE} and {MOST_SHARE}, up or down"
        )
    changed = gains.set_in(scenario)
    scan = scenario.controller.scan_time
    cases = [
        (name, diameter, speed)
        for speed in dict.fromkeys([scenario.run.line_speed, scenario.run.crawl_speed])
        for name, diameter in named_diameters(scenario).items()
    ]
    margins = [
        loop_margins(linearise(scenario, diameter=D, line_speed=v), gains, scan_time=scan)
        for _, D, v in cases
    ]
    slowest = max((m.slowest_time for m in margins if m.stable), default=0.0)
    duration = LEAD + min(max(SETTLING_TIMES * slowest, SHORTEST_RUN), LONGEST_RUN)
    return tuple(
        _response(changed, *case, margins=m, step_share=step_share, duration=duration)
        for case, m in zip(cases, margins, strict=True)
    )


def _response(
    scenario: Scenario,
    name: str,
    diameter: float,
    line_speed: float,
    *,
    margins: Margins,
    step_share: float,
    duration: float,
) -> RollResponse:
    start = running_tension(scenario, diameter)
    target = start * (1.0 + step_share)
    # The setpoint is the operator's, before any taper.
    setpoint = scenario.run.tension
    trend = simulate(
        scenario,
        [Action(LEAD, "setpoint", setpoint * (1.0 + step_share))],
        duration=duration,
        diameter=diameter,
        line_speed=line_speed,
        setpoint=setpoint,
        automatic=True,
        noise=False,
        runout=False,
    )
    lost = bool(trend.web_lost)
    metrics = None
    if not lost:
        metrics = step_metrics(
            trend.time,
            trend.web_tension,
            start=start,
            target=target,
            at=LEAD,
            band=BAND,
            output=trend.output,
        )
    warnings = list(trend.warnings)
    if not margins.stable:
        warnings.append("these gains make the loop unstable here")
    running = simulate(
        scenario,
        duration=RUNNING_TIME,
        diameter=diameter,
        line_speed=line_speed,
        setpoint=setpoint,
        automatic=True,
    )
    if running.web_lost:
        warnings.append(f"noise and runout alone end in a {running.web_lost}")
    at_limit = np.isclose(trend.output, scenario.controller.output_low) | np.isclose(
        trend.output, scenario.controller.output_high
    )
    if at_limit.any():
        warnings.append("the output reaches its limit")
    elif metrics is not None and math.isnan(metrics.settling_time):
        warnings.append(f"the tension does not settle within {duration - LEAD:.2g} s")
    return RollResponse(
        name=name,
        diameter=diameter,
        line_speed=line_speed,
        trend=trend,
        stepped_at=LEAD,
        margins=margins,
        metrics=metrics,
        running_lost=running.web_lost,
        warnings=tuple(warnings),
    )
