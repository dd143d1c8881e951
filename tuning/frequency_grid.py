"""Frequencies that resolve a loop: a grid, and what lies between its points.

Everything works on arrays of frequencies, since one batched evaluation costs little more than a
single point does.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from simulator.linear_plant import LinearPlant

Array = NDArray[np.float64]
Function = Callable[[Array], Array]

# Each round of refinement looks at so many points between two neighbours of the last one.
ZOOM_POINTS = 33
ZOOM_ROUNDS = 3
MOST_PEAKS = 4


def frequency_grid(plant: LinearPlant, *, scan_time: float | None = None) -> Array:
    """Return angular frequencies that resolve every mode and the dead time, shape (n,) [rad/s].

    Args:
        plant: whose poles and dead time are to be resolved.
        scan_time: the grid ends at pi/scan_time [s]; None for a continuous loop.
    """
    poles = plant.poles
    sizes = np.abs(poles[np.abs(poles) > 0.0])
    delay = plant.dead_time + (scan_time or 0.0)
    rates = [*(sizes if sizes.size else [1.0]), *([1.0 / delay] if delay > 0.0 else [])]
    low, high = 1e-3 * min(rates), 1e3 * max(rates)
    if scan_time is not None:
        high = math.pi / scan_time
        low = min(low, 1e-3 * high)
    parts = [np.geomspace(low, high, 500)]
    if delay > 0.0:
        # The dead time turns the phase evenly along a linear axis: six turns of it, finely.
        parts.append(np.linspace(low, min(high, 40.0 / delay), 400))
    for pole in poles:
        if abs(pole.imag) > 0.0:
            # Points crowd around a resonance as its own width demands.
            spread = np.sinh(np.linspace(-5.0, 5.0, 81)) / np.sinh(1.0)
            parts.append(abs(pole.imag) + abs(pole.real) * spread)
    grid = np.unique(np.concatenate(parts))
    return np.asarray(grid[(grid >= low) & (grid <= high)])


def highest(function: Function, omega: Array, values: Array) -> tuple[float, float]:
    """Return (maximum, where [rad/s]) of a function known on a grid, refined between its points.

    Args:
        function: of arrays of frequencies.
        omega: the grid, shape (n,) [rad/s].
        values: the function there, shape (n,) [any].
    """
    at = int(np.argmax(values))
    best, where = float(values[at]), float(omega[at])
    inner = np.flatnonzero((values[1:-1] >= values[:-2]) & (values[1:-1] >= values[2:])) + 1
    tops = inner[np.argsort(-values[inner])[:MOST_PEAKS]]
    left, right = omega[tops - 1], omega[tops + 1]
    rows = np.arange(tops.size)
    for _ in range(ZOOM_ROUNDS if tops.size else 0):
        points = np.linspace(left, right, ZOOM_POINTS, axis=1)
        heights = function(points.ravel()).reshape(points.shape)
        top = np.argmax(heights, axis=1)
        row = int(np.argmax(heights[rows, top]))
        if heights[row, top[row]] > best:
            best, where = float(heights[row, top[row]]), float(points[row, top[row]])
        left = points[rows, np.maximum(top - 1, 0)]
        right = points[rows, np.minimum(top + 1, ZOOM_POINTS - 1)]
    return best, where


def crossings(function: Function, omega: Array, values: Array) -> Array:
    """Return where a function known on a grid passes zero, shape (m,) [rad/s].

    Args:
        function: of arrays of frequencies.
        omega: the grid, shape (n,) [rad/s].
        values: the function there, shape (n,) [any].
    """
    above = values >= 0.0
    places = np.flatnonzero(above[:-1] != above[1:])
    if not places.size:
        return np.zeros(0)
    left, right = omega[places], omega[places + 1]
    rows = np.arange(places.size)
    for _ in range(ZOOM_ROUNDS):
        points = np.linspace(left, right, ZOOM_POINTS, axis=1)
        heights = function(points.ravel()).reshape(points.shape)
        changes = (heights[:, :-1] >= 0.0) != (heights[:, 1:] >= 0.0)
        i = np.argmax(changes, axis=1)
        left, right = points[rows, i], points[rows, i + 1]
        low, high = heights[rows, i], heights[rows, i + 1]
    # Over so short a piece the function is straight.
    share = np.divide(low, low - high, out=np.zeros_like(low), where=low != high)
    return np.asarray(left + share * (right - left))
