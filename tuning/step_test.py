"""A step test in manual on the simulated machine, sized from the noise.

The output steps up, waits until tension is steady again, and steps back down. Up and down together
show a drift as a difference between the two, where a single step would hide it in the gain.

A supply with play (hysteresis) swallows part of a step: all of the play where the output turns
round. So the play is taken up in the direction of the step first, the way back is longer by it, and
the models are fitted to the output behind the play.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import (
    Action,
    LinearPlant,
    OperatingPoint,
    Scenario,
    Trend,
    linearise,
    operating_point,
    simulate,
)
from simulator.machine import diameter_range
from simulator.torque_devices import FrictionBrake
from tuning.identify import StepFit, fit_model

Array = NDArray[np.float64]

# A step in tension this many times the rms noise gives a model within a few per cent.
SIGNAL_TO_NOISE = 15.0
# … but never below this share of the range nor above this share of the running tension.
LEAST_SHARE_OF_RANGE = 0.03
MOST_SHARE_OF_TENSION = 0.25
# A supply that sticks lets go at a step this many times its sticking.
STICKING_MARGIN = 1.5
# Wait this many time constants of the slowest motion, within these times [s].
SETTLING_TIMES = 6.0
SHORTEST_WAIT, LONGEST_WAIT = 2.0, 120.0
QUIET_SHARE, QUIET_TURNS = 0.25, 1.5


@dataclass(frozen=True)
class StepTest:
    """A step test and what it says.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        step: size of the step in output [%].
        wait: from one step to the next [s].
        trend: of the test.
        fit: models fitted to it.
        warnings: what a reader should know, those of the fit included.
    """

    diameter: float
    line_speed: float
    step: float
    wait: float
    trend: Trend
    fit: StepFit
    warnings: tuple[str, ...] = ()


def step_test(
    scenario: Scenario,
    *,
    diameter: float | None = None,
    line_speed: float | None = None,
    step: float | None = None,
    seed: int = 0,
    noise: bool = True,
    runout: bool = True,
) -> StepTest:
    """Run a step test in manual and fit models to it.

    Args:
        scenario: the machine.
        diameter: of the roll [m]; full roll if left out.
        line_speed: of the web [m/s]; running speed if left out.
        step: size of the step in output [%]; chosen from the noise if left out.
        seed: of the noise [-].
        noise: whether the reading has its noise [-].
        runout: whether the roll is out of round [-].

    Raises:
        ValueError: an argument is out of range, or no step fits within the output's limits.
    """
    D = diameter_range(scenario)[1] if diameter is None else diameter
    v = scenario.run.line_speed if line_speed is None else line_speed
    point = operating_point(scenario, diameter=D, line_speed=v)
    plant = linearise(scenario, diameter=D, line_speed=v)
    play = supply_play(scenario)
    size, notes = _step_size(scenario, point, wanted=step, play=play)
    wait = _wait(plant)
    output = min(max(point.output, scenario.controller.output_low), scenario.controller.output_high)
    # Long enough to see the roll turn, so that the fit can tell its swing from the step's answer.
    turns = min(QUIET_TURNS * 2.0 * math.pi / point.roll_speed, LONGEST_WAIT)
    lead = max(QUIET_SHARE * wait, 1.0, turns if runout else 0.0)
    ready = output + math.copysign(play, size)
    plan = [Action(lead, "output", ready)] if play else []
    at = lead + wait if play else lead
    plan += [Action(at, "output", ready + size), Action(at + wait, "output", output)]
    trend = simulate(
        scenario,
        plan,
        duration=at + 2.0 * wait,
        diameter=D,
        line_speed=v,
        seed=seed,
        noise=noise,
        runout=runout,
    )
    if trend.web_lost:
        raise ValueError(
            f"the step test ends in a {trend.web_lost}: nothing can be fitted to it; look at the "
            "manual output and the breaking tension first, or take a smaller step"
        )
    if play:
        notes = (
            *notes,
            f"the supply's play of {play:.2g} % is taken up before the step and left out of the "
            "fit; at the machine, move the output by that much in the direction of the step first",
        )
    fit = fit_trend(trend, tension_range=scenario.controller.tension_range, play=play)
    return StepTest(D, v, size, wait, trend, fit, (*notes, *trend.warnings, *fit.warnings))


def supply_play(scenario: Scenario) -> float:
    """Return the full width of the play in the device's supply [%]; 0 for one without."""
    device = scenario.torque_device
    return device.hysteresis if isinstance(device, FrictionBrake) else 0.0


def _sticking(scenario: Scenario) -> float:
    device = scenario.torque_device
    return device.sticking if isinstance(device, FrictionBrake) else 0.0


def behind_play(output: Array, play: float) -> Array:
    """Return what a device behind a supply with play makes of an output.

    The supply follows only where the output leaves a band about it; it starts in the middle.

    Args:
        output: of the controller, shape (n,) [%].
        play: full width of the band [%].
    """
    acting = np.array(output, dtype=float)
    for i in np.flatnonzero(np.diff(output)) + 1 if play > 0.0 else ():
        low, high = output[i] - 0.5 * play, output[i] + 0.5 * play
        acting[i:] = min(max(acting[i - 1], low), high)
    return acting


def fit_trend(trend: Trend, *, tension_range: float, play: float = 0.0) -> StepFit:
    """Fit models to a step test, recorded or simulated.

    Args:
        trend: recorded in manual, with one step of the output or a few.
        tension_range: 100 % of the measured scale [N].
        play: of the device's supply, full width [%].

    Raises:
        ValueError: the record is too short, or its output does not step.
    """
    if np.any(trend.automatic == 1.0):
        raise ValueError(
            "the trend was recorded in automatic at least in part: a step test needs manual "
            "throughout, or the controller's own moves hide the machine"
        )
    acting = behind_play(trend.output, play)
    return fit_model(trend.time, acting, 100.0 * trend.tension / tension_range)


def _step_size(
    scenario: Scenario, point: OperatingPoint, *, wanted: float | None, play: float
) -> tuple[float, tuple[str, ...]]:
    """Return the step [%] and warnings about it."""
    c = scenario.controller
    output = min(max(point.output, c.output_low), c.output_high)
    up, down = c.output_high - output - play, output - c.output_low - play
    if wanted is not None:
        fits = 0.0 < wanted <= up or -down <= wanted < 0.0
        if not (math.isfinite(wanted) and fits):
            raise ValueError(
                f"step {wanted:.3g} %: must not be 0 and must leave the output ({output:.3g} %) "
                f"within {c.output_low:.3g} … {c.output_high:.3g} %"
            )
        if abs(wanted) <= _sticking(scenario):
            raise ValueError(
                f"step {wanted} %: must be above the sticking of the supply, "
                f"{_sticking(scenario):.3g} %, or nothing moves"
            )
        return wanted, ()
    tension = max(
        SIGNAL_TO_NOISE * scenario.load_cell.noise, LEAST_SHARE_OF_RANGE * c.tension_range
    )
    notes: list[str] = []
    most = MOST_SHARE_OF_TENSION * point.tension
    if tension > most:
        tension = most
        notes.append("the step is small against the noise, to keep the tension near its setpoint")
    size = tension / point.tension_per_percent
    least = STICKING_MARGIN * _sticking(scenario)
    if least * point.tension_per_percent > point.tension:
        raise ValueError(
            f"the supply sticks at {_sticking(scenario):.3g} %, which is more than half of the "
            "tension: no step test can be made before it is mended"
        )
    if size < least:
        size = least
        notes.append("the step is as large as the sticking of the supply asks for")
    if size > up:
        size = -size if size <= down else up
        notes.append("the output has little room for a step here")
    if abs(size) < 1e-3:
        raise ValueError("the output stands at its limit and leaves no room for a step")
    return size, tuple(notes)


def _wait(plant: LinearPlant) -> float:
    """Return how long a step takes to settle [s]."""
    wait = SETTLING_TIMES * plant.slowest_time + 2.0 * plant.dead_time
    return float(min(max(wait, SHORTEST_WAIT), LONGEST_WAIT))
