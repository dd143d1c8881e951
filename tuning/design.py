"""Gains that hold from full roll to core: the most integral action within an Ms limit.

For PI control C = Kc + Ki I, with I(z) = h/(z - 1) the controller's own integrator, the limit
|1 + G C| >= 1/Ms is a quadratic inequality in Ki at each frequency:

    |b|² Ki² + 2 Re(a b*) Ki + |a|² - 1/Ms² >= 0,      a = 1 + G Kc,  b = G I

Its smaller positive root is where growing integral action first meets the limit. The least of these
over all frequencies, diameters and speeds is the largest Ki that this Kc allows, and on the way
there 1 + G C never is zero, so no closed-loop pole crosses the stability limit. What is left is a
search over one number, Kc. Most integral action is least IAE for a slow load, since the integral
of the error is d/Ki (Åström, Panagopoulos & Hägglund, Automatica 34(5), 1998, state the problem for
continuous loops; the sampled closed form is ours).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from simulator import Scenario, linearise, operating_point
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.margins import Margins, PlantResponse, loop_margins, plant_response

Array = NDArray[np.float64]

DEFAULT_MS = 1.6
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
    if not 1.2 <= ms_limit <= 2.0:
        raise ValueError(f"ms_limit {ms_limit}: must lie between 1.2 and 2.0")
    diameters = _diameters(scenario, CHECK_DIAMETERS)
    checked = _responses(scenario, diameters)
    chosen = {key: seen for key, seen in checked.items() if key[0] in diameters[::DESIGN_EVERY]}
    for _ in range(len(checked)):
        gains = most_integral_pi(list(chosen.values()), ms_limit=ms_limit)
        cases = tuple(RollCase(*key, loop_margins(seen, gains)) for key, seen in checked.items())
        worst = max(cases, key=_severity)
        key = (worst.diameter, worst.line_speed)
        if _severity(worst) <= ms_limit * 1.0005 or key in chosen:
            break
        chosen[key] = checked[key]

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
        ValueError: a plant is not stable by itself or not sampled, or no gains keep the limit.
    """
    responses = []
    for seen in plants:
        if seen.scan_time is None:
            raise ValueError("the design is for a digital controller: give its scan time")
        if seen.plant.poles.real.max() >= 0.0:
            raise ValueError(
                "the machine is not stable in manual at one of its operating points; "
                "lower the breakaway ratio or raise the crawl speed"
            )
        integrator = seen.scan_time / np.expm1(1j * seen.omega * seen.scan_time)
        responses.append((seen.values, seen.values * integrator))
    least_reset = LEAST_RESET_SCANS * (plants[0].scan_time or 0.0)
    G = np.concatenate([g for g, _ in responses])
    b = np.concatenate([gi for _, gi in responses])

    def largest(Kc: float) -> float:
        # Integral action alone is Ti at its least; more gain than that or none.
        Ki = float(largest_integral_gain(np.array([Kc]), G, b, ms_limit=ms_limit)[0])
        return min(Ki, Kc / least_reset)

    # Gain alone meets the limit at the root of the same quadratic with G in the integrator's place;
    # beyond it lie gains that may look fine and are unstable.
    top = float(largest_integral_gain(np.zeros(1), G, G, ms_limit=ms_limit)[0])
    top = min(top, 1e3 / float(np.abs(G).max()))
    grid = np.geomspace(1e-4 * top, top * (1.0 - 1e-9), 160)
    values = np.minimum(largest_integral_gain(grid, G, b, ms_limit=ms_limit), grid / least_reset)
    best = int(np.argmax(values))
    if values[best] <= 0.0:
        raise ValueError(f"no PI gains keep Ms within {ms_limit} here")
    around = grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)]
    found = minimize_scalar(
        lambda Kc: -largest(float(Kc)),
        bounds=around,
        method="bounded",
        options={"xatol": 1e-6 * around[0]},
    )
    Kc = float(found.x) if -found.fun > values[best] else float(grid[best])
    return Gains(Kc=Kc, Ti=Kc / largest(Kc))


def largest_integral_gain(
    Kc: Array, G: NDArray[np.complex128], b: NDArray[np.complex128], *, ms_limit: float
) -> Array:
    """Return the largest Ki for each Kc such that Ms stays within a limit from Ki = 0 up.

    Args:
        Kc: proportional gains, shape (m,) [%/%].
        G: plant responses at all frequencies of all cases, shape (n,) [%/%].
        b: the same times the integrator's response, shape (n,) [% s/%].
        ms_limit: largest sensitivity allowed [-].

    Returns:
        Ki, shape (m,) [1/s]; 0 where the gain alone breaks the limit already.
    """
    a = 1.0 + G[None, :] * Kc[:, None]
    power = np.abs(b) ** 2
    half = (a * b.conj()).real
    rest = np.abs(a) ** 2 - 1.0 / ms_limit**2
    inside = half**2 - power * rest
    meets = (inside > 0.0) & (half < 0.0) & (rest > 0.0)
    # The smaller root, written without cancellation: rest/(-half + sqrt(...)).
    root = np.where(meets, rest / (-half + np.sqrt(np.maximum(inside, 0.0))), np.inf)
    root = np.where(rest <= 0.0, 0.0, root)
    return np.asarray(root.min(axis=1))


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


def _severity(case: RollCase) -> float:
    return case.margins.Ms if case.margins.stable else math.inf


def _warnings(
    scenario: Scenario, gains: Gains, worst: RollCase, *, ms_limit: float
) -> tuple[str, ...]:
    found = []
    if _severity(worst) > ms_limit * 1.01:
        found.append(f"Ms reaches {worst.margins.Ms:.2f} between the points of the design")
    if gains.Ti <= 1.01 * LEAST_RESET_SCANS * scenario.controller.scan_time:
        found.append("proportional action buys nothing here: this is integral action alone")
    for diameter in _diameters(scenario, CHECK_DIAMETERS)[::SCHEDULE_EVERY]:
        point = operating_point(scenario, diameter=diameter)
        if point.reason:
            found.append(f"at {1000 * diameter:.4g} mm diameter: {point.reason}")
    return tuple(found)
