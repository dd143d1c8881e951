"""Many sampled plants judged at once: one machine at many diameters and speeds, one set of gains.

`tuning.margins` says everything about one loop; this says the one thing that decides, whether it is
stable and how large Ms is, about hundreds of them in the time of a few. All plants of a bank have
the same states, dead time and scan time, so that every step is one operation on arrays with a row a
plant. Stability comes from the closed loop's eigenvalues, Ms from the exact sampled response.

What noise does to the output: reading noise n, white from scan to scan, moves the output by
-C S n, so with sigma its rms

    (sigma_u/sigma_n)² = (h/pi) integral of |C S|² dw, 0 … pi/h        (Parseval)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulator import LinearPlant, Scenario
from simulator.linear_plant import SampledPlant, triangular, triangular_responses
from simulator.linearise import matrices_over
from tuning.gains import Gains
from tuning.margins import MOST_DELAY_STATES, closed_loop_modes, loop_margins

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Points = Sequence[tuple[float, float]]

# Frequencies of the grid: evenly in ratio, for each scan of dead time, and about each mode.
RATIO_POINTS, DELAY_POINTS, MODE_POINTS = 240, 8, 31
# A round of zooming looks at so many points about the highest peaks.
PEAKS, ZOOM_POINTS, ZOOM_ROUNDS = 3, 9, 4
# Modes that die within a scan by more than this are spent.
SPENT = 1e-12
# Above this Ms a loop is so close to swinging that the grid may not tell which side it is on.
CLOSE_TO_SWINGING = 8.0
# Rows worked on at a time, so that they stay in the processor's cache.
ROWS = 16


@dataclass(frozen=True, eq=False)
class PlantBank:
    """Plants of one machine as its digital controller sees them.

    Attributes:
        points: (diameter [m], line speed [m/s]) of each plant, length m.
        plants: each before sampling, length m.
        sampled: each at the scan time, length m.
        scan_time: of the controller [s].
        extra: frequencies to look at besides the grid, shape (m, j) [rad/s].
    """

    points: tuple[tuple[float, float], ...]
    plants: tuple[LinearPlant, ...]
    sampled: tuple[SampledPlant, ...]
    scan_time: float
    extra: Array

    def __len__(self) -> int:
        return len(self.plants)

    def joined(self, other: PlantBank) -> PlantBank:
        """Return a bank of the plants of this and another one.

        Args:
            other: of the same machine, on its grid alone.
        """
        # A frequency at the end of the grid once more looks at nothing new.
        ends = np.full((len(other), self.extra.shape[1]), math.pi / self.scan_time)
        return PlantBank(
            self.points + other.points,
            self.plants + other.plants,
            self.sampled + other.sampled,
            self.scan_time,
            np.concatenate([self.extra, ends]),
        )

    def only(self, rows: NDArray[np.intp]) -> PlantBank:
        """Return a bank of some of these plants.

        Args:
            rows: which of them, shape (k,) [-].
        """
        return replace(
            self,
            points=tuple(self.points[i] for i in rows),
            plants=tuple(self.plants[i] for i in rows),
            sampled=tuple(self.sampled[i] for i in rows),
            extra=self.extra[rows],
        )

    def looking_at(self, omega: Array) -> PlantBank:
        """Return the same plants with one more frequency on the grid of each.

        Args:
            omega: angular frequencies, shape (m,) [rad/s].
        """
        return replace(self, extra=np.column_stack([self.extra, omega]))

    @cached_property
    def modes(self) -> ComplexArray:
        """Eigenvalues of each plant over one scan, shape (m, n) [-]."""
        return np.stack([np.diagonal(T) for T, _, _ in self._triangular])

    @property
    def slowest_time(self) -> float:
        """Time constant of the slowest mode of any plant [s]; inf if one does not die away."""
        size = float(np.abs(self.modes).max())
        return math.inf if size >= 1.0 else -self.scan_time / math.log(max(size, SPENT))

    @cached_property
    def omega(self) -> Array:
        """Frequencies that resolve every plant, ascending to pi/h in each row, shape (m, k)
        [rad/s]."""
        top = math.pi / self.scan_time
        sizes = np.clip(np.abs(self.modes), SPENT, None)
        poles = (np.log(sizes) + 1j * np.angle(self.modes)) / self.scan_time
        alive = np.abs(self.modes) > 1e-9
        slowest = np.where(alive, np.abs(poles), np.inf).min(axis=1).clip(1e-6 * top, top)
        low = 1e-3 * slowest
        ratio = low[:, None] * (top / low[:, None]) ** np.linspace(0.0, 1.0, RATIO_POINTS)
        steps = DELAY_POINTS * (self.sampled[0].delay + 2)
        evenly = np.broadcast_to(np.linspace(0.0, top, steps + 1)[1:], (len(self), steps))
        # A different share of a step for each mode, so that the points of a pair do not coincide.
        n, step = poles.shape[1], 9.0 / (MODE_POINTS - 1)
        spread = np.linspace(-4.5, 4.5, MODE_POINTS) + step * np.arange(n)[:, None] / n
        about = np.abs(poles.imag)[:, :, None] + np.abs(poles.real)[:, :, None] * np.sinh(spread)
        about = about.reshape(len(self), -1).clip(low[:, None], top)
        return np.sort(np.concatenate([ratio, evenly, about, self.extra], axis=1), axis=1)

    @cached_property
    def weights(self) -> Array:
        """Of a mean over the grid by the trapezoidal rule, shape (m, k) [-]."""
        steps = np.diff(self.omega, axis=1)
        ends = np.zeros((len(self), 1))
        weights = 0.5 * (np.hstack([ends, steps]) + np.hstack([steps, ends]))
        return np.asarray(weights * self.scan_time / math.pi)

    @cached_property
    def values(self) -> ComplexArray:
        """Response at `omega`, shape (m, k) [% of range per %]."""
        return self.at(self.omega)

    def at(self, omega: Array) -> ComplexArray:
        """Return the response of each plant at frequencies of its own.

        Args:
            omega: angular frequencies up to pi/h, shape (m, k) [rad/s].
        """
        found = np.empty(omega.shape, dtype=np.complex128)
        T, prompt, late, C = self._inputs
        delay = self.sampled[0].delay
        for start in range(0, len(self), ROWS):
            rows = slice(start, start + ROWS)
            z = np.exp(1j * self.scan_time * omega[rows])
            now = triangular_responses(T[rows], prompt[rows, None, :], C[rows], z)
            if late.any():
                now += triangular_responses(T[rows], late[rows, None, :], C[rows], z) / z
            found[rows] = now * z**-delay
        return found

    def severity(self, gains: Gains | Sequence[Gains]) -> tuple[Array, Array]:
        """Return (Ms, or inf where the loop is unstable [-]; where Ms lies [rad/s]), shapes (m,).

        Args:
            gains: the same for all plants, or a set for each.
        """
        Ms, where = self._peak(gains)
        return np.where(self._stable(gains, Ms), Ms, np.inf), where

    def _stable(self, gains: Gains | Sequence[Gains], Ms: Array) -> NDArray[np.bool_]:
        """Whether each loop is stable, by the argument principle.

        Of a plant that is stable, 1 + L turns by (pi/2)(n0 - 2 Z) from w = 0+ to pi/h, with n0 = 1
        for the integrator and Z unstable poles. Loops that pass close to -1, where it turns faster
        than the grid can tell, and plants that are not stable, are looked at one by one.
        """
        each = self._each(gains)
        f = 1.0 + self.values * self.controller(gains, self.omega)
        turn = np.angle(f[:, 1:] * np.conj(f[:, :-1])).sum(axis=1)
        integrates = np.array([g.Ki > 0.0 for g in each])
        # From w = 0+ to the grid: an integrator comes from -j inf.
        turn += np.angle(f[:, 0]) + np.where(integrates, 0.5 * math.pi, 0.0)
        poles = 0.5 * integrates - turn / math.pi
        stable = np.rint(poles) == 0
        unsure = (Ms > CLOSE_TO_SWINGING) | (np.abs(poles - np.rint(poles)) > 0.1)
        unsure |= np.abs(self.modes).max(axis=1) >= 1.0
        for i in map(int, np.flatnonzero(unsure)):
            plant, one = self.sampled[i], each[i]
            if plant.delay <= MOST_DELAY_STATES:
                stable[i] = np.abs(closed_loop_modes(plant, one)).max() < 1.0
            else:
                stable[i] = loop_margins(self.plants[i], one, scan_time=self.scan_time).stable
        return np.asarray(stable)

    def noise_gain(self, gains: Gains | Sequence[Gains]) -> Array:
        """Return rms of the output over rms of white noise in the reading, shape (m,) [%/%].

        Only meant for stable loops.

        Args:
            gains: the same for all plants, or a set for each.
        """
        C = self.controller(gains, self.omega)
        power = np.abs(C / (1.0 + self.values * C)) ** 2
        Ki = np.array([g.Ki for g in self._each(gains)])
        return np.asarray(np.sqrt(self.mean_over_frequency(power, Ki)))

    def mean_over_frequency(self, power: Array, Ki: Array) -> Array:
        """Return the mean from 0 to pi/h of |C S|², shape (…, m) [%²/%²].

        Below the grid it is that of a first-order lag with its corner at Ki G(0).

        Args:
            power: |C S|² on the grid, shape (…, m, k) [%²/%²].
            Ki: integral gain of each loop, shape (…, m) or (…, 1) [%/% per s].
        """
        lowest = self.omega[:, 0]
        x = lowest / np.maximum(Ki * np.abs(self.values[:, 0]), 1e-12 * lowest)
        below = power[..., 0] * lowest * (1.0 + x * x) * np.arctan(x) / x
        below = np.where(np.broadcast_to(Ki, below.shape) > 0.0, below, power[..., 0] * lowest)
        return np.asarray((power * self.weights).sum(axis=-1) + below * self.scan_time / math.pi)

    def controller(self, gains: Gains | Sequence[Gains], omega: Array) -> ComplexArray:
        """Return the controller's response [%/%] at frequencies of each plant's own.

        Args:
            gains: the same for all plants, or a set for each.
            omega: angular frequencies, shape (m, k) [rad/s].
        """
        if isinstance(gains, Gains):
            return gains.sampled_frequency_response(omega, self.scan_time)
        return np.stack(
            [
                g.sampled_frequency_response(row, self.scan_time)
                for g, row in zip(gains, omega, strict=True)
            ]
        )

    def _each(self, gains: Gains | Sequence[Gains]) -> Sequence[Gains]:
        return [gains] * len(self) if isinstance(gains, Gains) else gains

    def _peak(self, gains: Gains | Sequence[Gains]) -> tuple[Array, Array]:
        """Return (max of 1/|1 + L|, where [rad/s]), the tallest few peaks looked at closely."""

        def height(omega: Array, G: ComplexArray) -> Array:
            return 1.0 / np.abs(1.0 + G * self.controller(gains, omega))

        omega = self.omega
        known = height(omega, self.values)
        rows = np.arange(len(self))[:, None]
        inner = known[:, 1:-1]
        tops = np.where((inner >= known[:, :-2]) & (inner >= known[:, 2:]), inner, 0.0)
        at = np.argsort(-tops, axis=1)[:, :PEAKS] + 1
        left, right = omega[rows, at - 1], omega[rows, at + 1]
        best_at = np.argmax(known, axis=1)
        best, where = known[rows[:, 0], best_at], omega[rows[:, 0], best_at]
        for _ in range(ZOOM_ROUNDS):
            points = np.linspace(left, right, ZOOM_POINTS, axis=2)
            flat = points.reshape(len(self), -1)
            heights = height(flat, self.at(flat))
            top = np.argmax(heights, axis=1)
            higher = heights[rows[:, 0], top] > best
            best = np.where(higher, heights[rows[:, 0], top], best)
            where = np.where(higher, flat[rows[:, 0], top], where)
            each = np.argmax(heights.reshape(points.shape), axis=2)
            peak = np.arange(points.shape[1])
            left = points[rows, peak, np.maximum(each - 1, 0)]
            right = points[rows, peak, np.minimum(each + 1, ZOOM_POINTS - 1)]
        return best, where

    @cached_property
    def _triangular(self) -> list[tuple[ComplexArray, ComplexArray, Array]]:
        return [triangular(one.Phi) for one in self.sampled]

    @cached_property
    def _inputs(self) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
        """(T, prompt, late, C) in the states in which Phi is triangular."""
        made = [
            (T, (one.prompt / scale) @ Q.conj(), (one.late / scale) @ Q.conj(), (one.C * scale) @ Q)
            for (T, Q, scale), one in zip(self._triangular, self.sampled, strict=True)
        ]
        T, prompt, late, C = (np.stack(part) for part in zip(*made, strict=True))
        return T, prompt, late, C


def plant_bank(scenario: Scenario, points: Points) -> PlantBank:
    """Return a machine's plants at operating points, at the running tension, tapered.

    Args:
        scenario: the machine.
        points: (diameter [m], line speed [m/s]) of each.
    """
    A, B, C = matrices_over(scenario, points)
    dead_time = scenario.torque_device.dead_time + scenario.load_cell.dead_time
    plants = [LinearPlant(A[i], B[i], C, dead_time) for i in range(len(points))]
    return bank_of(plants, scan_time=scenario.controller.scan_time, points=points)


def bank_of(
    plants: Sequence[LinearPlant], *, scan_time: float, points: Points | None = None
) -> PlantBank:
    """Return a bank of plants that have as many states and the same dead time.

    Args:
        plants: at least one.
        scan_time: of the controller [s].
        points: (diameter [m], line speed [m/s]) of each; nan if left out.

    Raises:
        ValueError: the plants differ in dead time or states, or the scan time is not positive.
    """
    if len({(plant.A.shape, plant.dead_time) for plant in plants}) != 1:
        raise ValueError("plants: all must have as many states and the same dead time")
    named = [(math.nan, math.nan)] * len(plants) if points is None else points
    sampled = tuple(plant.sampled(scan_time) for plant in plants)
    return PlantBank(tuple(named), tuple(plants), sampled, scan_time, np.zeros((len(plants), 0)))
