"""Frequencies that resolve a loop: a grid, and what lies between its points.

Everything works on arrays of frequencies, since one batched evaluation costs little more than a
single point does.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Function = Callable[[Array], Array]

# Each round of refinement looks at so many points between two neighbours of the last one.
ZOOM_POINTS = 33
ZOOM_ROUNDS = 4
MOST_PEAKS = 4
# Longest linear part of the grid: some 1500 turns of the dead time.
MOST_LINEAR_POINTS = 50_000
MOST_HALVINGS = 20


def frequency_grid(poles: NDArray[np.complex128], delay: float, top: float = math.inf) -> Array:
    """Return ascending frequencies that resolve every pole and the dead time, shape (m,) [rad/s].

    Args:
        poles: of the plant, shape (n,) [rad/s].
        delay: dead time, a scan included [s].
        top: highest frequency of interest, pi over the scan time [rad/s]; it is the last point.
    """
    speeds = [float(size) for size in np.abs(poles) if size > 0.0]
    speeds += [1.0 / delay] if delay > 0.0 else []
    slowest, fastest = min(speeds, default=1.0), max(speeds, default=1.0)
    # Rounding drowns the phase of a plant without dead time soon above this.
    highest_of_all = min(1e3 * fastest, top)
    low = 1e-3 * min(slowest, highest_of_all)
    parts: list[NDArray[Any]] = [np.geomspace(low, highest_of_all, 500)]
    if delay > 0.0:
        # Well above all poles the response only falls, and two turns of the dead time hold a
        # crossing.
        step = math.pi / (16.0 * delay)
        last = min(10.0 * float(np.abs(poles).max(initial=0.0)) + 4.0 * math.pi / delay, top)
        parts.append(step * np.arange(1, min(int(last / step) + 2, MOST_LINEAR_POINTS)))
    # Points crowd around a resonance as its own width demands.
    offsets = np.sinh(np.linspace(-5.0, 5.0, 81))
    parts += [abs(pole.imag) + abs(pole.real) * offsets for pole in poles if pole.imag > 0.0]
    omega = np.unique(np.concatenate(parts))
    return np.append(omega[(omega >= low) & (omega < highest_of_all)], highest_of_all)


def refined(response: Callable[[Array], NDArray[np.complex128]], omega: Array) -> Array:
    """Return a grid with points added wherever the phase still turns fast, as near a zero.

    Args:
        response: of arrays of frequencies.
        omega: the grid, shape (n,) [rad/s].
    """
    for _ in range(MOST_HALVINGS):
        G = response(omega)
        # G2 conj(G1) has the phase of G2/G1 and can't divide by 0.
        fast = np.abs(np.angle(G[1:] * np.conj(G[:-1]))) > math.pi / 4.0
        if not fast.any() or omega.size > 2 * MOST_LINEAR_POINTS:
            break
        omega = np.union1d(omega, 0.5 * (omega[:-1] + omega[1:])[fast])
    return omega


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
