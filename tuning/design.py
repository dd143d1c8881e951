"""Gains that hold from full roll to core: the most integral action within an Ms limit.

For a reset time Ti, the PI controller is Kc times a fixed response, and the loop is Kc H with
H = G (1 + I/Ti), I(z) = h/(z - 1) the controller's own integrator. The limit |1 + Kc H| >= 1/Ms is
then a quadratic inequality in Kc at each frequency:

    |H|² Kc² + 2 Re(H) Kc + 1 - 1/Ms² >= 0

Its smaller positive root is where growing gain first meets the limit; the least of these over all
frequencies, diameters and speeds is the largest Kc for this Ti. The way there starts at Kc = 0+,
where a stable plant of positive gain is stable with a little PI action, and 1 + Kc H never is zero
on it, so no closed-loop pole crosses the stability limit. What is left is a search over Ti for the
largest Ki = Kc/Ti. Most integral action is least IAE for a slow load, since the integral of the
error is d/Ki (Åström, Panagopoulos & Hägglund, Automatica 34(5), 1998, state the problem for
continuous loops; the sampled closed form is ours).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from simulator import Scenario, linearise
from simulator.machine import diameter_range
from simulator.sensing_and_control import ScheduledGains
from tuning.gains import Gains
from tuning.margins import (
    CALM_MS,
    RINGS_ABOVE,
    SOUND_MS,
    Margins,
    PlantResponse,
    loop_margins,
    plant_response,
)

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

DEFAULT_MS = SOUND_MS
# Below this many scans a reset time is integral action alone, whatever the gain says.
LEAST_RESET_SCANS = 1.0
# The grid of diameters that gains are checked on; every third starts the design, every sixth has an
# entry in the schedule.
CHECK_DIAMETERS = 25
DESIGN_EVERY, SCHEDULE_EVERY = 3, 6


@dataclass(frozen=True)
class RollCase:
    """One operating point with the margins of the recommended gains there.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        margins: of the recommended gains at this point.
    """

    diameter: float
    line_speed: float
    margins: Margins


@dataclass(frozen=True)
class ScheduleEntry:
    """Gains for one diameter.

    Attributes:
        diameter: of the roll [m].
        gains: best at this diameter, at line and at crawl speed.
    """

    diameter: float
    gains: Gains


@dataclass(frozen=True)
class RollDesign:
    """One set of gains for the whole roll, and what it costs against gains that follow diameter.

    Attributes:
        gains: recommended, the same at every diameter.
        ms_limit: that they keep [-].
        cases: every point that was checked.
        worst: the case with the highest Ms.
        schedule: gains for single diameters, from full roll to core.
        warnings: what a reader should know.
    """

    gains: Gains
    ms_limit: float
    cases: tuple[RollCase, ...]
    worst: RollCase
    schedule: tuple[ScheduleEntry, ...]
    warnings: tuple[str, ...] = ()

    def set_in(self, scenario: Scenario, *, scheduled: bool = False) -> Scenario:
        """Return the scenario with these gains in its controller.

        Args:
            scenario: the scenario to copy [-].
            scheduled: whether the gains follow the diameter, else the one set for the whole roll.
        """
        tuned = self.gains.set_in(scenario)
        if not scheduled or len(self.schedule) < 2:
            return tuned
        points = tuple(
            ScheduledGains(diameter=at.diameter, Kc=at.gains.Kc, Ti=at.gains.Ti, Td=at.gains.Td)
            for at in self.schedule
        )
        return replace(tuned, controller=replace(tuned.controller, schedule=points))


def design_for_roll(scenario: Scenario, *, ms_limit: float = DEFAULT_MS) -> RollDesign:
    """Find the PI gains with the most integral action such that Ms stays within a limit everywhere.

    Everywhere is from full roll to core, at line speed and at crawl speed, on the exact sampled
    plant. The gains are then checked on a finer grid of diameters; a point that breaks the limit
    there joins the design, until none does.

    Args:
        scenario: the machine.
        ms_limit: largest sensitivity allowed [-], 1.2 to 2.0.

    Raises:
        ValueError: the limit is out of range, or no gains keep it.
    """
    if not CALM_MS <= ms_limit <= RINGS_ABOVE:
        raise ValueError(f"ms_limit {ms_limit}: must lie between {CALM_MS} and {RINGS_ABOVE}")
    diameters = _diameters(scenario, CHECK_DIAMETERS)
    checked = _responses(scenario, diameters)
    chosen = {key: seen for key, seen in checked.items() if key[0] in diameters[::DESIGN_EVERY]}
    for _ in range(len(checked)):
        gains = most_integral_pi(list(chosen.values()), ms_limit=ms_limit)
        cases = tuple(RollCase(*key, loop_margins(seen, gains)) for key, seen in checked.items())
        worst = max(cases, key=lambda case: case.margins.severity)
        if worst.margins.severity <= ms_limit * 1.0005:
            break
        # The point that breaks the limit joins the design, its peak exactly.
        key = (worst.diameter, worst.line_speed)
        chosen[key] = chosen.get(key, checked[key]).with_frequency(worst.margins.peak_frequency)

    schedule = []
    for diameter in diameters[::SCHEDULE_EVERY]:
        here = [seen for key, seen in checked.items() if key[0] == diameter]
        best = most_integral_pi(here, ms_limit=ms_limit)
        schedule.append(ScheduleEntry(diameter, best))
    return RollDesign(
        gains=gains,
        ms_limit=ms_limit,
        cases=cases,
        worst=worst,
        schedule=tuple(schedule),
        warnings=_warnings(scenario, gains, worst, ms_limit=ms_limit),
    )


def most_integral_pi(plants: Sequence[PlantResponse], *, ms_limit: float = DEFAULT_MS) -> Gains:
    """Return the PI gains with the largest Ki = Kc/Ti that keep Ms within a limit on all plants.

    Args:
        plants: stable, with positive gain, all sampled at the same scan time.
        ms_limit: largest sensitivity allowed [-].

    Raises:
        ValueError: a plant is not stable by itself, or not sampled.
    """
    for seen in plants:
        if seen.scan_time is None:
            raise ValueError("the design is for a digital controller: give its scan time")
        if not math.isfinite(seen.plant.slowest_time):
            raise ValueError(
                "the machine is not stable in manual at one of its operating points; "
                "lower the breakaway ratio or raise the crawl speed"
            )
    scan = float(plants[0].scan_time or 0.0)
    G = np.concatenate([seen.values for seen in plants])
    integrated = np.concatenate(
        [seen.values * scan / np.expm1(1j * seen.omega * scan) for seen in plants]
    )

    def integral_gain(Ti: Array) -> Array:
        H = (G + integrated / Ti[:, None]).astype(np.complex128)
        return largest_gain(H, ms_limit=ms_limit) / Ti

    slowest = max(seen.plant.slowest_time for seen in plants)
    grid = np.geomspace(LEAST_RESET_SCANS * scan, max(100.0 * slowest, 1e3 * scan), 160)
    values = np.concatenate([integral_gain(part) for part in np.split(grid, 10)])
    best = int(np.argmax(values))
    found = minimize_scalar(
        lambda Ti: -float(integral_gain(np.array([Ti]))[0]),
        bounds=(grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)]),
        method="bounded",
        options={"xatol": 1e-6 * grid[best]},
    )
    Ti = float(found.x) if -found.fun > values[best] else float(grid[best])
    return Gains(Kc=float(integral_gain(np.array([Ti]))[0]) * Ti, Ti=Ti)


def largest_gain(H: ComplexArray, *, ms_limit: float) -> Array:
    """Return the largest gain k for each controller such that Ms of the loop k H keeps a limit.

    Args:
        H: loop responses at unit gain, one row a controller, all frequencies of all cases in the
            columns, shape (m, n) [-].
        ms_limit: largest sensitivity allowed [-].

    Returns:
        The first gain from 0 up that meets the limit, shape (m,) [-]; inf if none does.
    """
    power, rest = np.abs(H) ** 2, 1.0 - 1.0 / ms_limit**2
    inside = H.real**2 - power * rest
    meets = (inside > 0.0) & (H.real < 0.0)
    # The smaller root, written without cancellation.
    root = rest / (-H.real + np.sqrt(np.where(meets, inside, 0.0)))
    return np.asarray(np.where(meets, root, np.inf).min(axis=1))


def _diameters(scenario: Scenario, count: int) -> list[float]:
    """Diameters from full roll to core, evenly spaced in ratio, since the gain goes with 1/D."""
    low, high = diameter_range(scenario)
    if low == high:
        return [low]
    return [float(d) for d in np.geomspace(high, low, count)]


def _responses(
    scenario: Scenario, diameters: Sequence[float]
) -> dict[tuple[float, float], PlantResponse]:
    speeds = sorted({scenario.run.line_speed, scenario.run.crawl_speed}, reverse=True)
    scan = scenario.controller.scan_time
    return {
        (d, v): plant_response(linearise(scenario, diameter=d, line_speed=v), scan_time=scan)
        for d in diameters
        for v in speeds
    }


def _warnings(
    scenario: Scenario, gains: Gains, worst: RollCase, *, ms_limit: float
) -> tuple[str, ...]:
    found = []
    if worst.margins.severity > ms_limit * 1.01:
        found.append(f"Ms reaches {worst.margins.Ms:.2f} between the points of the design")
    if gains.Ti <= 1.01 * LEAST_RESET_SCANS * scenario.controller.scan_time:
        found.append(
            f"proportional action buys nothing here: this is integral action alone, Ki "
            f"{gains.Ki:.3g} per s; set Ti as short as the controller allows and Kc = Ki Ti"
        )
    return tuple(found)
