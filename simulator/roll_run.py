"""A whole roll: run through from end to end, or looked at from diameter to diameter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from simulator.errors import SimulationError
from simulator.machine import diameter_range, web_leaves_roll, web_on_roll
from simulator.plan import Action
from simulator.scenario import Scenario
from simulator.simulation import simulate
from simulator.trend import Trend

# Samples of a whole roll's trend, at most about this many.
_SAMPLES = 20_000
# Above this compression the loop's lag behind the build-up begins to show [-].
_FAST = 5.0


def roll_time(scenario: Scenario, line_speed: float | None = None) -> float:
    """Return how long the line runs on one roll [s]: its length of web over the line speed.

    Args:
        scenario: the machine.
        line_speed: of the web [m/s]; running speed if left out.

    Raises:
        SimulationError: a pull roll has no web on it.
    """
    full = diameter_range(scenario)[1]
    length = web_on_roll(scenario, full)
    if length == 0.0:
        raise SimulationError("zone 'pull roll': its roll never runs out")
    return length / (scenario.run.line_speed if line_speed is None else line_speed)


def run_roll(
    scenario: Scenario,
    plan: Sequence[Action] = (),
    *,
    time_compression: float = 60.0,
    automatic: bool = True,
    noise: bool = True,
    runout: bool = True,
    seed: int = 0,
) -> Trend:
    """Run one roll from full to core, or from core to full on a rewind, at running speed.

    Args:
        scenario: the machine; its gains must be set for automatic.
        plan: what is done to it on the way, in the time of the run.
        time_compression: how many layers come off for each one that does in life [-]; 1 is life.
            All else keeps its time, so 60 shows an hour of build-up in a minute of the loop.
        automatic: whether the controller is in automatic, else the output stays where it is [-].
        noise: whether the reading has its noise [-].
        runout: whether roll, rollers and nip are out of round [-].
        seed: of the noise [-].

    Raises:
        SimulationError: a pull roll, a compression that is not above 0, or a run of too many steps.
    """
    if not (math.isfinite(time_compression) and time_compression > 0.0):
        raise SimulationError(f"time_compression {time_compression}: must be above 0")
    duration = roll_time(scenario) / time_compression
    scans = duration / scenario.controller.scan_time
    low, high = diameter_range(scenario)
    trend = simulate(
        scenario,
        plan,
        duration=duration,
        diameter=high if web_leaves_roll(scenario) else low,
        automatic=automatic,
        seed=seed,
        noise=noise,
        runout=runout,
        time_compression=time_compression,
        record_every=max(round(scans / _SAMPLES), 1),
    )
    if automatic and time_compression > _FAST:
        note = (
            f"the roll builds up {time_compression:.3g} times as fast as in life, so what the loop "
            "lags behind its setpoint, most near the core, is as many times too large"
        )
        trend = replace(trend, warnings=(*trend.warnings, note))
    return trend


def run_at_diameters(
    scenario: Scenario,
    plan: Sequence[Action],
    *,
    diameters: Sequence[float],
    duration: float,
    line_speed: float | None = None,
    automatic: bool = True,
    noise: bool = True,
    runout: bool = True,
    seed: int = 0,
) -> tuple[Trend, ...]:
    """Run the same plan at one diameter after the other, each held and begun at steady tension.

    Args:
        scenario: the machine.
        plan: what is done to it at each diameter.
        diameters: of the roll [m].
        duration: of each run [s].
        line_speed: at the start [m/s]; running speed if left out.
        automatic: whether the controller is in automatic from the start [-].
        noise: whether the reading has its noise [-].
        runout: whether roll, rollers and nip are out of round [-].
        seed: of the noise [-].

    Raises:
        SimulationError: an argument is out of range.
    """
    return tuple(
        simulate(
            scenario, plan, duration=duration, diameter=diameter, line_speed=line_speed,
            automatic=automatic, seed=seed, noise=noise, runout=runout,
        )
        for diameter in diameters
    )  # fmt: skip
