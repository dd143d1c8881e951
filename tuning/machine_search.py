"""Least squares of a machine's numbers on recorded step tests, through the simulator itself.

    rows     (reading - replay)/noise of each test, less its own level (and swing and drift, if any)
    and      z/3 for each number: where the tests say nothing, it stays where the scenario puts it
    and      how late in its sample each test's output moved, if not every scan was recorded

Levels, swings and drifts enter linearly and are solved on the spot (variable projection: Golub &
Pereyra, SIAM J. Numerical Analysis 10, 1973). A swing of the roll on the web leaves one narrow
valley for each cycle that the replay is off by; so the search starts from the best points of a
coarse grid over the frequency of that swing and the lag of the device. The torque per per cent
scales the whole answer and is solved at each point of the grid.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from simulator import Scenario
from tuning.machine_parameters import Parameter, with_parameters
from tuning.machine_record import RecordedTest, own_level, replay

Array = NDArray[np.float64]

# What nothing is known about is held to the scenario's value this loosely [z].
LOOSE = 3.0
# Step of z for derivatives.
STEP = 1e-3
# The grid: stiffness over inertia, and lag, over what the scenario says.
SWINGS, LAGS = np.geomspace(1 / 6.0, 6.0, 15), (0.4, 0.65, 1.0, 1.6, 2.5)
STARTS = 3
MOST_STEPS, FEW_STEPS = 40, 10
# A fit that leaves so many times the variance of the noise needs no second start.
GOOD = 1.5
# A number that sets the swing must be better by this in the sum of squares than one so far off [z].
WORTH, WELL_OFF = 16.0, 0.8
# Numbers that the roll's swing on the web goes with, and which way.
SWING = {"web.modulus": 1.0, "web.density": -1.0, "roll.core_inertia": -1.0, "roll.inertia": -1.0}
# … and those that damp it.
DAMPING = ("web.retardation_time", "roll.viscous_drag")


@dataclass(frozen=True, eq=False)
class Problem:
    """What is to be fitted to what.

    Attributes:
        scenario: the machine as described.
        free: the numbers that are searched.
        tests: recorded.
        noise: uncertainty of one reading in each test [N].
        swings: frequency of a steady swing in each test [Hz]; nan where there is none.
        drifts: whether each test drifts besides.
        level_error: how well the level of a test is known [N]; inf where it tells nothing.
        bases: of what is solved on the spot in each test: orthonormal columns, shape (n, k) [-].
    """

    scenario: Scenario
    free: tuple[Parameter, ...]
    tests: tuple[RecordedTest, ...]
    noise: tuple[float, ...]
    swings: tuple[float, ...]
    drifts: tuple[bool, ...]
    level_error: float
    bases: tuple[Array, ...] = field(init=False)

    def __post_init__(self) -> None:
        bases = [
            _basis(test, swing, drift)
            for test, swing, drift in zip(self.tests, self.swings, self.drifts, strict=True)
        ]
        object.__setattr__(self, "bases", tuple(bases))

    @property
    def shifted(self) -> tuple[int, ...]:
        """Which tests have a time shift of their own, searched behind the numbers."""
        return tuple(i for i, test in enumerate(self.tests) if test.late > 0.0)

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Least and largest coordinates, shape (p + shifts,) each [-]."""
        # A time spread evenly over a sample ends at sqrt(3) of its standard deviation.
        shift = [math.sqrt(3.0)] * len(self.shifted)
        low = [p.z_of(p.low) for p in self.free] + [-s for s in shift]
        return np.array(low), np.array([p.z_of(p.high) for p in self.free] + shift)

    def machine(self, z: Array) -> Scenario:
        """Return the machine at coordinates.

        Args:
            z: shape (p + shifts,) [-].
        """
        values = {p.name: p.value_at(float(x)) for p, x in zip(self.free, z, strict=False)}
        return with_parameters(self.scenario, values)

    def replays(self, z: Array) -> list[Array]:
        """Return the replay of each test at coordinates, shapes (n,) [N].

        Args:
            z: shape (p + shifts,) [-].
        """
        machine, found = self.machine(z), []
        for i, test in enumerate(self.tests):
            delay = 0.0
            if test.late > 0.0:
                spread = test.late / math.sqrt(12.0)
                own = float(z[len(self.free) + self.shifted.index(i)])
                delay = min(max(0.5 * test.late + own * spread, 0.0), test.late)
            found.append(replay(test, machine, delay=delay)[0])
        return found

    def levels(self, z: Array, replays: list[Array]) -> Array:
        """Return by how much each test reads above the machine at z, shape (tests,) [N].

        Args:
            z: shape (p + shifts,) [-].
            replays: at z, shapes (n,) [N].
        """
        machine = self.machine(z)
        return np.array(
            [
                test.start + float(np.mean(test.reading - sim)) - own_level(test, machine)
                for test, sim in zip(self.tests, replays, strict=True)
            ]
        )

    def rows(self, z: Array) -> Array:
        """Return the residuals at coordinates, shape (rows,) [-]; the last ones only hold z.

        Args:
            z: shape (p + shifts,) [-].
        """
        replays = self.replays(z)
        parts = [
            _without((test.reading - sim) / noise, basis)
            for test, sim, noise, basis in zip(
                self.tests, replays, self.noise, self.bases, strict=True
            )
        ]
        if math.isfinite(self.level_error):
            parts.append(self.levels(z, replays) / self.level_error)
        n = len(self.free)
        return np.concatenate([*parts, z[n:], z[:n] / LOOSE])

    def jacobian(self, z: Array, rows: Array, active: Sequence[int]) -> Array:
        """Return d rows/dz by forward differences, shape (rows, active) [-].

        Args:
            z: shape (p + shifts,) [-].
            rows: at z, shape (rows,) [-].
            active: coordinates to differentiate by [-].
        """
        _, high = self.bounds
        columns = []
        for j in active:
            moved = np.array(z)
            step = STEP if z[j] + STEP <= high[j] else -STEP
            moved[j] += step
            columns.append((self.rows(moved) - rows) / step)
        return np.column_stack(columns)

    def information(self, z: Array) -> Array:
        """Return d rows/dz by central differences, without the rows that only hold z [-].

        Args:
            z: shape (p + shifts,) [-].
        """
        low, high = self.bounds
        columns = []
        for j in range(z.size):
            up, down = np.array(z), np.array(z)
            up[j] = min(z[j] + STEP, high[j])
            down[j] = max(z[j] - STEP, low[j])
            columns.append((self.rows(up) - self.rows(down)) / (up[j] - down[j]))
        return np.column_stack(columns)[: -len(self.free)]


def _basis(test: RecordedTest, swing: float, drift: bool) -> Array:
    columns = [np.ones_like(test.time)]
    if drift:
        columns.append(test.time - test.time.mean())
    if math.isfinite(swing):
        angle = 2.0 * math.pi * swing * test.time
        columns += [np.cos(angle), np.sin(angle)]
    return np.asarray(np.linalg.qr(np.column_stack(columns))[0])


def _without(values: Array, basis: Array) -> Array:
    return np.asarray(values - basis @ (basis.T @ values))


def refine(
    problem: Problem, z: Array, *, held: Collection[int] = (), most: int = MOST_STEPS
) -> tuple[float, Array]:
    """Return half the sum of squares at the best fit near a point, and where it is.

    Args:
        problem: what is to be fitted to what.
        z: to start from, shape (p + shifts,) [-].
        held: coordinates that stay where they are [-].
        most: evaluations at most [-].
    """
    low, high = problem.bounds
    active = [j for j in range(z.size) if j not in held]
    kept: dict[bytes, Array] = {}

    def at(part: Array) -> Array:
        whole = np.array(z)
        whole[active] = part
        return whole

    def rows(part: Array) -> Array:
        kept.clear()
        kept[part.tobytes()] = problem.rows(at(part))
        return kept[part.tobytes()]

    def jacobian(part: Array) -> Array:
        known = kept.get(part.tobytes())
        return problem.jacobian(at(part), rows(part) if known is None else known, active)

    if not active:
        return 0.5 * float(np.sum(problem.rows(z) ** 2)), z
    found = least_squares(
        rows,
        np.clip(z[active], low[active] + 1e-9, high[active] - 1e-9),
        jac=jacobian,
        bounds=(low[active], high[active]),
        xtol=1e-6,
        ftol=1e-8,
        gtol=1e-9,
        max_nfev=most,
    )
    return float(found.cost), at(found.x)


def better(problem: Problem, z: Array, others: Sequence[Array]) -> Array:
    """Return a better fit than z from other starts, if z is poor and there is one.

    Args:
        problem: what is to be fitted to what.
        z: a fit, shape (p + shifts,) [-].
        others: starts, shapes (p + shifts,) [-].
    """
    cost = 0.5 * float(np.sum(problem.rows(z) ** 2))
    if cost < 0.5 * GOOD * sum(test.time.size for test in problem.tests):
        return z
    # Another valley may be deeper; a few steps into it are enough to see. With the damping free a
    # wrong swing is damped away, which is slow to simulate and teaches nothing.
    damping = [j for j, p in enumerate(problem.free) if p.name in DAMPING]
    tried = [(cost, z)]
    tried += [refine(problem, other, held=damping, most=FEW_STEPS) for other in others]
    _, best = min(tried, key=lambda pair: pair[0])
    return z if best is z else refine(problem, best)[1]


def vague(problem: Problem, z: Array, j: int, *, held: Collection[int]) -> bool:
    """Return whether a number that shapes the roll's swing could as well be quite another.

    Where the swing hardly stands out of the noise, the fit takes some line of the noise for it, and
    the curvature there says nothing of the other lines. So the number is put well off, to either
    side and to where it was described, and all others are fitted again.

    Args:
        problem: what is to be fitted to what.
        z: the fit, shape (p + shifts,) [-].
        j: which number [-].
        held: coordinates that stay where they are [-].
    """
    low, high = problem.bounds
    cost = 0.5 * float(np.sum(problem.rows(z) ** 2))
    for place in (z[j] - WELL_OFF, z[j] + WELL_OFF, 0.0):
        moved = np.array(z)
        # A line of the noise is narrow; elsewhere the damping is what it was.
        moved[[i for i, p in enumerate(problem.free) if p.name in DAMPING and i not in held]] = 0.0
        moved[j] = min(max(place, low[j]), high[j])
        if abs(moved[j] - z[j]) < 0.5 * WELL_OFF:
            continue
        other, _ = refine(problem, moved, held={*held, j}, most=FEW_STEPS)
        if 2.0 * (other - cost) < WORTH:
            return True
    return False


def starts(problem: Problem) -> list[Array]:
    """Return the few best points of a coarse grid, at different swings, shapes (p + shifts,) [-].

    Args:
        problem: what is to be fitted to what.
    """
    names = [p.name for p in problem.free]
    swinging = [name for name in names if name in SWING]
    torque = "torque_device.full_torque"
    coarse = replace(
        problem, free=tuple(p for p in problem.free if p.name != torque), level_error=math.inf
    )
    low, high = problem.bounds
    tried = []
    swings = SWINGS if swinging else (1.0,)
    lags = LAGS if "torque_device.lag" in names else (1.0,)
    for swing, lag in product(swings, lags):
        z = np.zeros(len(names) + len(problem.shifted))
        if swinging:
            # The modulus takes it if it is free, else whatever makes the inertia.
            taking = ["web.modulus"] if "web.modulus" in swinging else swinging
            for name in taking:
                z[names.index(name)] = SWING[name] * math.log(swing)
        if "torque_device.lag" in names:
            z[names.index("torque_device.lag")] = math.log(lag)
        z = np.clip(z, low, high)
        rest = np.array([x for x, name in zip(z, names, strict=False) if name != torque])
        cost, gain = _scaled(coarse, np.concatenate([rest, z[len(names) :]]))
        if torque in names:
            p = problem.free[names.index(torque)]
            residual = problem.scenario.torque_device.residual_torque
            full = residual + max(gain, 1e-3) * (p.value - residual)
            z[names.index(torque)] = p.z_of(min(max(full, p.low), p.high))
        else:
            cost = 0.5 * float(np.sum(problem.rows(z) ** 2))
        tried.append((cost, swing, z))
    tried.sort(key=lambda one: one[0])
    starts: dict[float, Array] = {}
    for _, swing, z in tried:
        if len(starts) < STARTS:
            starts.setdefault(swing, z)
    return list(starts.values())


def _scaled(problem: Problem, z: Array) -> tuple[float, float]:
    """Return half the sum of squares of the replay times its best gain, and that gain [-]."""
    wanted, shape = [], []
    for test, sim, noise, basis in zip(
        problem.tests, problem.replays(z), problem.noise, problem.bases, strict=True
    ):
        wanted.append(_without(test.reading / noise, basis))
        shape.append(_without(sim / noise, basis))
    y, s = np.concatenate(wanted), np.concatenate(shape)
    power = float(s @ s)
    gain = max(float(s @ y) / power, 0.0) if power > 0.0 else 0.0
    return 0.5 * float(np.sum((y - gain * s) ** 2)), gain
