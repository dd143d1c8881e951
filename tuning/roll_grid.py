"""Where on the roll gains are judged: diameters and speeds, closer where it looks worst."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.plant_bank import PlantBank, plant_bank

Array = NDArray[np.float64]
GainsAt = Gains | Sequence[Gains]

DIAMETERS, SPEEDS = 17, 5
# Grids about the worst point: so many each way, each reaching as far as one step of the last.
PATCH, PATCHES = 5, 3


@dataclass(frozen=True)
class WorstPoint:
    """Where the loop is nearest to ringing.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        Ms: largest sensitivity there [-]; inf where the loop is unstable.
        peak_frequency: where it lies [rad/s].
    """

    diameter: float
    line_speed: float
    Ms: float
    peak_frequency: float


@dataclass(frozen=True, eq=False)
class SensitivityMap:
    """Ms of one set of gains over the roll.

    Attributes:
        diameters: from full roll to core, shape (d,) [m].
        speeds: from line to crawl speed, shape (s,) [m/s].
        Ms: largest sensitivity, shape (d, s) [-]; inf where the loop is unstable.
    """

    diameters: Array
    speeds: Array
    Ms: Array


def diameters_over(scenario: Scenario, count: int) -> tuple[float, ...]:
    """Return diameters [m] from full roll to core, evenly spaced in ratio, as the gain goes by it.

    Args:
        scenario: the machine.
        count: how many [-]; a pull roll has one.
    """
    low, high = diameter_range(scenario)
    if low == high:
        return (low,)
    inner = np.geomspace(high, low, count)[1:-1]
    return (high, *(float(d) for d in inner), low)


def speeds_over(scenario: Scenario, count: int) -> tuple[float, ...]:
    """Return speeds [m/s] from line to crawl speed, evenly spaced in ratio, as damping is.

    Args:
        scenario: the machine.
        count: how many [-]; one where crawl speed is line speed.
    """
    fast, slow = scenario.run.line_speed, scenario.run.crawl_speed
    if fast == slow:
        return (fast,)
    inner = np.geomspace(fast, slow, count)[1:-1]
    return (fast, *(float(v) for v in inner), slow)


def roll_grid(
    scenario: Scenario, *, diameters: int = DIAMETERS, speeds: int = SPEEDS
) -> list[tuple[float, float]]:
    """Return (diameter [m], line speed [m/s]) of every point of a grid, diameter by diameter.

    Args:
        scenario: the machine.
        diameters: how many [-].
        speeds: how many [-].
    """
    return [
        (D, v) for D in diameters_over(scenario, diameters) for v in speeds_over(scenario, speeds)
    ]


def worst_over_roll(
    scenario: Scenario, gains: Gains, *, judged: PlantBank, enough: float | None = None
) -> WorstPoint:
    """Return the point of the roll with the highest Ms, looked for between the points of a grid.

    Args:
        scenario: the machine.
        gains: the same at every diameter.
        judged: the plants of `roll_grid(scenario)`.
        enough: Ms [-]; the grid's own worst point is returned if its Ms is above that.
    """
    worst = _worst(judged, gains)
    if enough is not None and worst.Ms > enough:
        return worst
    low, high = diameter_range(scenario)
    slow, fast = scenario.run.crawl_speed, scenario.run.line_speed
    wide, tall = (high / low) ** (1.0 / (DIAMETERS - 1)), (fast / slow) ** (1.0 / (SPEEDS - 1))
    for _ in range(PATCHES):
        spread = np.linspace(-1.0, 1.0, PATCH)
        near = np.unique(np.clip(worst.diameter * wide**spread, low, high))
        paces = np.unique(np.clip(worst.line_speed * tall**spread, slow, fast))
        patch = [(float(D), float(v)) for D in near for v in paces]
        closer = _worst(plant_bank(scenario, patch), gains)
        worst = max(worst, closer, key=lambda point: point.Ms)
        wide, tall = wide ** (2.0 / (PATCH - 1)), tall ** (2.0 / (PATCH - 1))
    return worst


def sensitivity_map(
    scenario: Scenario, gains: Gains, *, diameters: int = 49, speeds: int = 21
) -> SensitivityMap:
    """Return Ms of one set of gains at every point of a grid.

    Args:
        scenario: the machine.
        gains: the same at every diameter.
        diameters: how many [-]; a pull roll has one.
        speeds: how many [-].
    """
    across, along = diameters_over(scenario, diameters), speeds_over(scenario, speeds)
    bank = plant_bank(scenario, [(D, v) for D in across for v in along])
    Ms, _ = bank.severity(gains)
    return SensitivityMap(np.array(across), np.array(along), Ms.reshape(len(across), len(along)))


def _worst(bank: PlantBank, gains: GainsAt) -> WorstPoint:
    Ms, peak = bank.severity(gains)
    at = int(np.argmax(Ms))
    return WorstPoint(*bank.points[at], float(Ms[at]), float(peak[at]))
