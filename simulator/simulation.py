"""Run a machine in time: a scenario, a plan of actions, and the trend that comes of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from simulator.errors import SimulationError
from simulator.machine import diameter_range, running_tension
from simulator.operating_point import check_diameter
from simulator.plan import Action, in_order, kernel_events, stiffest_web
from simulator.run_marks import trend_of
from simulator.running import STEP_SHARE, advance, begin
from simulator.scenario import Scenario
from simulator.trend import Trend

# The method's own limit of stability is 2.78.
LONGEST_SHARE = 2.0
# More steps than this take a minute; the machine or the run is not what was meant.
MOST_STEPS = 40_000_000
# More scans or samples than this take more memory than a laptop likes to give.
MOST_SCANS, MOST_ROWS = 20_000_000, 5_000_000


def simulate(
    scenario: Scenario,
    plan: Sequence[Action] = (),
    *,
    duration: float,
    diameter: float | None = None,
    line_speed: float | None = None,
    tension: float | None = None,
    setpoint: float | None = None,
    automatic: bool = False,
    seed: int = 0,
    noise: bool = True,
    runout: bool = True,
    time_compression: float = 0.0,
    record_every: int = 1,
    step_share: float = STEP_SHARE,
) -> Trend:
    """Run a machine from steady tension through a plan, and return its trend.

    The run starts steady: at the tension asked for if an output within the limits holds it, else at
    the tension of the nearest output. The controller starts in manual at that output unless
    `automatic` is set, with its integral term at that output if it tracks, else at 0 %.

    Args:
        scenario: the machine and its controller.
        plan: what is done to it, in any order.
        duration: of the run [s].
        diameter: of the roll at the start [m]; full roll (or the pull roll's own) if left out.
        line_speed: at the start [m/s]; running speed if left out, 0 for a standing machine.
        tension: at the start [N]; running tension, tapered, if left out.
        setpoint: at the start, before any taper [N]; what the reading starts at if left out.
        automatic: whether the controller is in automatic from the start, without a bump [-].
        seed: of the noise [-]; the same seed gives the same trend, bit for bit.
        noise: whether the reading has its noise [-].
        runout: whether roll, rollers and nip are out of round [-].
        time_compression: how much faster than life the roll builds up or down [-]; 0 holds the
            diameter, so that the run shows what happens at this diameter. Above 1 the rim keeps its
            speed over what is in fast motion, so that no torque goes into it.
        record_every: scans from one recorded sample to the next [-].
        step_share: step of the integration in units of the fastest mode's time [-].

    Raises:
        SimulationError: an argument is out of range, or the run would take too many steps.
    """
    run = scenario.run
    D = diameter_range(scenario)[1] if diameter is None else diameter
    v = run.line_speed if line_speed is None else line_speed
    T = running_tension(scenario, D) if tension is None else tension
    _check(duration=duration, line_speed=v, tension=T, record_every=record_every)
    for name, value in {"setpoint": setpoint or 0.0, "time_compression": time_compression}.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise SimulationError(f"{name} {value}: must be 0 or more")
    if not 0.0 < step_share <= LONGEST_SHARE:
        raise SimulationError(f"step_share {step_share}: must be above 0, at most {LONGEST_SHARE}")
    try:
        check_diameter(scenario, D)
    except ValueError as error:
        raise SimulationError(str(error)) from None

    actions = in_order(plan)
    still = (v, v, 0.0, 0.0)
    _, speeds = kernel_events(scenario, actions, still)
    start = begin(
        scenario,
        diameter=D,
        line_speed=v,
        tension=T,
        setpoint=setpoint,
        automatic=automatic,
        seed=seed,
        noise=noise,
        runout=runout,
        time_compression=time_compression,
        step_share=step_share,
        speeds=tuple(sorted(speeds)),
        stiffest=stiffest_web(actions),
    )
    scan_time = start.controller.scan_time
    scans = max(math.ceil(duration / scan_time - 1e-9), 1)
    steps, rows = scans * start.pieces[:, 1].sum(), -(-scans // record_every)
    if steps > MOST_STEPS or scans > MOST_SCANS or rows > MOST_ROWS:
        longest = float((start.pieces[:, 0] / start.pieces[:, 1]).min())
        raise SimulationError(
            f"duration {duration:.4g} s takes {steps:.2g} steps, {scans:.2g} scans and {rows:.2g} "
            f"samples, more than {MOST_STEPS:.0e}, {MOST_SCANS:.0e} or {MOST_ROWS:.0e}: run a "
            f"shorter time, record less often, or look for a number that can't be: the fastest "
            f"motion of this machine asks for steps of {longest:.1g} s"
        )
    end, record = advance(start, scans, actions, record_every=record_every)
    return trend_of(
        scenario, record, actions=actions, happened=end.happened, notes=start.warnings,
        time_compression=time_compression,
    )  # fmt: skip


def _check(*, duration: float, line_speed: float, tension: float, record_every: int) -> None:
    if not (math.isfinite(duration) and duration > 0.0):
        raise SimulationError(f"duration {duration} s: must be above 0 s")
    if not (math.isfinite(line_speed) and line_speed >= 0.0):
        raise SimulationError(f"line_speed {line_speed} m/s: must be 0 m/s or more")
    if not (math.isfinite(tension) and tension > 0.0):
        raise SimulationError(f"tension {tension} N: must be above 0 N")
    if record_every < 1:
        raise SimulationError(f"record_every {record_every}: must be 1 or more")
