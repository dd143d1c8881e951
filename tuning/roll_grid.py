"""Where on the roll gains are judged: diameters and speeds, closer where it looks worst."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario
from simulator.linearise import matrices_over
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.plant_bank import PlantBank, plant_bank

Array = NDArray[np.float64]

DIAMETERS, SPEEDS = 17, 5
# Diameters between which swings are followed; a peak of Ms as wide as this [ratio] needs no help.
FOLDS_SOUGHT, WIDE_ENOUGH = 65, 0.15
# Looked at in so many steps of half a width either way; at most at so many diameters in all.
FOLD_STEPS, MOST_FOLDED = 8, 240
# About so many of the highest points of a grid, ever smaller grids of diameters and speeds.
TOPS, PATCH, PACES, PATCHES = 3, 7, 4, 3


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

    Diameters where a swing folds come on top.

    Args:
        scenario: the machine.
        diameters: how many [-].
        speeds: how many [-].
    """
    across = sorted(
        {*diameters_over(scenario, diameters), *folding_diameters(scenario)}, reverse=True
    )
    return [(D, v) for D in across for v in speeds_over(scenario, speeds)]


@lru_cache(maxsize=64)
def folding_diameters(scenario: Scenario) -> tuple[float, ...]:
    """Return diameters [m] where a fast swing is worst seen through the scans, and close to them.

    A swing of frequency w looks to a controller that scans every h like one of w folded between 0
    and pi/h. Where it falls on either end as the diameter changes, a light swing makes a peak of Ms
    so narrow over diameter that a grid steps over it. The peak is about as wide as the swing's own
    decay rate takes the frequency, so it is looked at that closely.

    Args:
        scenario: the machine.
    """
    low, high = diameter_range(scenario)
    top = math.pi / scenario.controller.scan_time
    found: set[float] = set()
    for v in speeds_over(scenario, 2):
        across = np.array(diameters_over(scenario, FOLDS_SOUGHT))
        if across.size == 1:
            break
        A, _, _ = matrices_over(scenario, [(float(D), v) for D in across])
        eigenvalues = np.asarray(np.linalg.eigvals(A), dtype=np.complex128)
        # The swings of each diameter from slow to fast; those that rest have no frequency.
        modes = np.take_along_axis(eigenvalues, np.argsort(eigenvalues.imag, axis=1), axis=1)
        for j in range(modes.shape[1]):
            at, decay = modes[:, j].imag / top, -modes[:, j].real / top
            whole = np.floor(at)
            for i in np.flatnonzero((whole[1:] != whole[:-1]) & (at[1:] > 0.5)):
                fold = max(whole[i], whole[i + 1])
                share = (fold - at[i]) / (at[i + 1] - at[i])
                D = float(across[i] * (across[i + 1] / across[i]) ** share)
                slope = abs(at[i + 1] - at[i]) / abs(math.log(across[i + 1] / across[i]))
                width = float(decay[i]) / slope
                if width < WIDE_ENOUGH:
                    steps = 0.5 * width * np.arange(-FOLD_STEPS, FOLD_STEPS + 1)
                    found.update(float(D * math.exp(step)) for step in steps)
    inside = sorted((D for D in found if low < D < high), reverse=True)
    return tuple(inside[:: -(-len(inside) // MOST_FOLDED) or 1])


def worst_over_roll(
    scenario: Scenario,
    gains: Gains | Callable[[float], Gains],
    *,
    judged: PlantBank,
    enough: float | None = None,
) -> WorstPoint:
    """Return the point of the roll with the highest Ms, looked for between the points of a grid.

    Args:
        scenario: the machine.
        gains: the same at every diameter, or what gives them for a diameter [m].
        judged: the plants of `roll_grid(scenario)`, or of another grid made the same way.
        enough: Ms [-]; the grid's own worst point is returned if its Ms is above that.
    """
    Ms, peak = judged.severity(_each(gains, judged))
    best = int(np.argmax(Ms))
    worst = WorstPoint(*judged.points[best], float(Ms[best]), float(peak[best]))
    if not math.isfinite(worst.Ms) or (enough is not None and worst.Ms > enough):
        return worst
    across = list(dict.fromkeys(D for D, _ in judged.points))
    along = list(dict.fromkeys(v for _, v in judged.points))
    ridge = np.pad(Ms.reshape(len(across), len(along)).max(axis=1), 1)
    tops = np.where((ridge[1:-1] >= ridge[:-2]) & (ridge[1:-1] >= ridge[2:]), ridge[1:-1], 0.0)
    # About each of the highest diameters a patch, and about the best point in it a smaller one.
    patches = [
        (_beside(across, int(i)), (min(along), max(along))) for i in np.argsort(-tops)[:TOPS]
    ]
    for _ in range(PATCHES):
        grids = [
            [(float(D), float(v)) for D in np.linspace(*d, PATCH) for v in np.linspace(*s, PACES)]
            for d, s in patches
        ]
        bank = plant_bank(scenario, [point for grid in grids for point in grid])
        Ms, peak = bank.severity(_each(gains, bank))
        for number, rows in enumerate(np.arange(Ms.size).reshape(len(grids), -1)):
            at = int(rows[np.argmax(Ms[rows])])
            if Ms[at] > worst.Ms:
                worst = WorstPoint(*bank.points[at], float(Ms[at]), float(peak[at]))
            (d0, d1), (s0, s1) = patches[number]
            D, v = bank.points[at]
            wide, tall = (d1 - d0) / (PATCH - 1), (s1 - s0) / (PACES - 1)
            patches[number] = (
                (max(D - wide, d0), min(D + wide, d1)),
                (max(v - tall, s0), min(v + tall, s1)),
            )
    return worst


def sensitivity_map(
    scenario: Scenario, gains: Gains, *, diameters: int = 41, speeds: int = 13
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


def _each(gains: Gains | Callable[[float], Gains], bank: PlantBank) -> Gains | list[Gains]:
    return gains if isinstance(gains, Gains) else [gains(D) for D, _ in bank.points]


def _beside(values: Sequence[float], i: int) -> tuple[float, float]:
    """Return the least and the largest of a value of a row and its neighbours."""
    near = values[max(i - 1, 0) : i + 2]
    return min(near), max(near)
