"""The ultimate cycle: the proportional gain at which a loop just keeps swinging, and its period.

`ultimate_cycle` finds it on a linear plant, with dead time and scan exact. `relay_estimate` reads
an approximation of it from a recorded relay test.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from simulator.linear_plant import LinearPlant

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Response = Callable[[Array], ComplexArray]

# Below this share of the fastest pole a pole counts as an integrator.
INTEGRATOR_SHARE = 1e-7
# Longest linear part of the frequency grid: some 1500 turns of the dead time.
MOST_LINEAR_POINTS = 50_000
# A plant that is nearly a pure delay crosses thousands of times at much the same gain.
MOST_CROSSINGS = 200


@dataclass(frozen=True)
class Ultimate:
    """Ultimate gain and period of a loop under proportional control.

    Attributes:
        gain: ultimate gain Ku [% of output per % of range].
        period: ultimate period Pu [s].

    Raises:
        ValueError: a value is not finite or not above 0.
    """

    gain: float
    period: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.gain) and self.gain > 0.0):
            raise ValueError(f"gain {self.gain}: must be finite and above 0")
        if not (math.isfinite(self.period) and self.period > 0.0):
            raise ValueError(f"period {self.period} s: must be finite and above 0 s")


def ultimate_cycle(plant: LinearPlant, scan_time: float | None = None) -> Ultimate | None:
    """Return the smallest proportional gain that brings the loop to its limit, or None.

    Where the response crosses the negative real axis, the gain 1/|G| puts a closed-loop pole on
    the stability limit (Nyquist criterion). A lightly damped plant may cross several times: the
    crossing of largest |G| is the one met first as the gain is raised from 0.

    Args:
        plant: the plant from output to measured tension [-].
        scan_time: scan time of the controller [s]; None for a continuous controller.

    Returns:
        The ultimate cycle; None where no gain reaches the limit.

    Raises:
        ValueError: the plant is unstable or undamped by itself, or its gain is negative.
    """
    poles = _checked_poles(plant)
    response: Response
    if scan_time is None:
        response, top = plant.frequency_response, math.inf
        delay = plant.dead_time
    else:
        sampled = plant.sampled(scan_time)
        response, top = sampled.frequency_response, math.pi / scan_time
        delay = plant.dead_time + scan_time
        moduli = np.linalg.eigvals(sampled.Phi).astype(complex)
        # Modes faster than the scan are seen where they fold down to; spent ones not at all.
        poles = np.log(moduli[np.abs(moduli) > 1e-12]) / scan_time
    omega = _grid(poles, delay, top)
    if omega.size == 0:
        return None
    omega = _refined(response, omega)
    G = response(omega)
    slow = G[0].real if abs(G[0].real) > abs(G[0].imag) else -G[0].imag
    if slow < 0.0:
        raise ValueError("the plant's gain is negative: more output must give more tension")
    crossings = _crossings(response, omega, G)
    if scan_time is not None:
        # At half the sampling frequency the response is real: a crossing of its own.
        crossings.append((top, float(response(np.array([top]))[0].real)))
    lowest = min((value for _, value in crossings), default=0.0)
    if not lowest < 0.0:
        return None
    # A pure delay crosses at the same gain again and again: its slowest crossing is meant.
    w, value = min(crossing for crossing in crossings if crossing[1] < lowest * (1.0 - 1e-6))
    return Ultimate(gain=-1.0 / value, period=2.0 * math.pi / w)


def _checked_poles(plant: LinearPlant) -> ComplexArray:
    """Return the poles, after refusing those for which a small gain is not stable."""
    poles: ComplexArray = plant.poles
    size = np.abs(poles)
    integrators = size <= INTEGRATOR_SHARE * np.max(size, initial=0.0)
    others = poles[~integrators]
    if np.count_nonzero(integrators) > 1 or np.any(others.real > -1e-9 * np.abs(others)):
        raise ValueError(
            "the plant is unstable or undamped by itself: the ultimate gain needs a stable plant,"
            " with one integrator at most"
        )
    return np.asarray(others, dtype=np.complex128)


def _grid(poles: ComplexArray, delay: float, top: float) -> Array:
    """Return ascending frequencies below `top` that resolve every pole and the dead time."""
    speeds = list(np.abs(poles)) + ([1.0 / delay] if delay > 0.0 else [])
    speeds = [speed for speed in speeds if speed > 0.0]
    if not speeds:
        return np.zeros(0)
    slowest, fastest = min(speeds), max(speeds)
    # Rounding drowns the phase of a plant without dead time soon above this.
    highest = min(1e3 * fastest, top)
    parts = [np.geomspace(min(1e-3 * slowest, 1e-3 * highest), highest, 600)]
    if delay > 0.0:
        # Well above all poles |G| only falls, and two turns of the dead time hold a crossing.
        step = math.pi / (16.0 * delay)
        last = min(10.0 * np.max(np.abs(poles), initial=0.0) + 4.0 * math.pi / delay, top)
        parts.append(step * np.arange(1, min(int(last / step) + 2, MOST_LINEAR_POINTS)))
    offsets = np.concatenate([np.linspace(-5.0, 5.0, 80), np.geomspace(5.0, 100.0, 30)])
    parts += [abs(pole.imag) + abs(pole.real) * offsets for pole in poles]
    omega = np.unique(np.concatenate(parts))
    return omega[(omega > 0.0) & (omega < top * (1.0 - 1e-6))]


def _refined(response: Response, omega: Array) -> Array:
    """Return the grid with points added wherever the phase still turns fast, as near a zero."""
    for _ in range(20):
        G = response(omega)
        # G2 conj(G1) has the phase of G2/G1 and can't divide by 0.
        fast = np.abs(np.angle(G[1:] * np.conj(G[:-1]))) > math.pi / 4.0
        if not fast.any() or omega.size > 2 * MOST_LINEAR_POINTS:
            break
        omega = np.union1d(omega, 0.5 * (omega[:-1] + omega[1:])[fast])
    return omega


def _crossings(response: Response, omega: Array, G: ComplexArray) -> list[tuple[float, float]]:
    """Return (frequency, value) of those crossings of the negative axis that can matter."""

    def imaginary(w: float) -> float:
        return float(response(np.array([w]))[0].imag)

    found: list[tuple[float, float]] = []
    size = np.maximum(np.abs(G[:-1]), np.abs(G[1:]))
    turns = np.flatnonzero(
        (np.sign(G.imag[:-1]) * np.sign(G.imag[1:]) < 0.0) & (G.real[:-1] + G.real[1:] < 0.0)
    )
    for i in turns[np.argsort(-size[turns], kind="stable")][:MOST_CROSSINGS]:
        # Between two neighbours of the refined grid |G| can't be much above both.
        if found and 1.5 * size[i] < max(-value for _, value in found):
            break
        w = float(brentq(imaginary, omega[i], omega[i + 1], xtol=1e-14 * omega[i], rtol=1e-14))
        found.append((w, float(response(np.array([w]))[0].real)))
    return found


def relay_estimate(
    time: ArrayLike, output: ArrayLike, measurement: ArrayLike, *, amplitude: float
) -> Ultimate:
    """Return an estimate of the ultimate cycle from a recorded relay test.

    It is an estimate: Ku = 4 d/(pi a) takes the measurement for a pure sine (describing function,
    Åström & Hägglund, Automatica 20, 1984). On a lag with a dead time of the same size it reads
    11 % low in gain and 4 % low in period.

    Args:
        time: sample times, ascending, shape (n,) [s].
        output: recorded output, switching between two levels, shape (n,) [%].
        measurement: recorded measurement, shape (n,) [% of range].
        amplitude: half the distance between the two levels of the output, d [%].

    Raises:
        ValueError: the shapes differ, the record holds fewer than two whole cycles, or the
            measurement does not move.
    """
    t, u, y = (np.asarray(values, dtype=float) for values in (time, output, measurement))
    if not (t.ndim == 1 and t.shape == u.shape == y.shape):
        raise ValueError(f"time {t.shape}, output {u.shape}, measurement {y.shape}: must be alike")
    if not (math.isfinite(amplitude) and amplitude > 0.0):
        raise ValueError(f"amplitude {amplitude} %: must be finite and above 0 %")
    if not all(np.isfinite(values).all() for values in (t, u, y)):
        raise ValueError("time, output and measurement must be finite throughout")
    high = u > 0.5 * (u.min() + u.max()) if u.size else u > 0.0
    rises = np.flatnonzero(high[1:] & ~high[:-1]) + 1
    if rises.size < 3:
        raise ValueError(
            f"{max(rises.size - 1, 0)} whole cycles of the output: the estimate needs two or more"
        )
    # The first cycles still carry the start of the test.
    rises = rises[-min(rises.size, 5) :]
    cycles = [y[i:j] for i, j in pairwise(rises)]
    swing = float(np.mean([0.5 * np.ptp(cycle) for cycle in cycles]))
    if swing <= 0.0:
        raise ValueError("the measurement does not move: no ultimate cycle to estimate")
    period = float(t[rises[-1]] - t[rises[0]]) / (rises.size - 1)
    return Ultimate(gain=4.0 * amplitude / (math.pi * swing), period=period)
