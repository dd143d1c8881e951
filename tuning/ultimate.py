"""The ultimate cycle: the proportional gain at which a loop just keeps swinging, and its period.

`ultimate_cycle` finds it on a linear plant, with dead time and scan exact. `relay_estimate` reads
an approximation of it from a recorded relay test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from simulator.linear_plant import LinearPlant
from tuning.frequency_grid import crossings
from tuning.margins import plant_response

# Below this share of the fastest pole a pole counts as an integrator.
INTEGRATOR_SHARE = 1e-7


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
    _refuse_unstable(plant)
    seen = plant_response(plant, scan_time=scan_time)
    first = seen.values[0]
    slow = first.real if abs(first.real) > abs(first.imag) else -first.imag
    if slow < 0.0:
        raise ValueError("the plant's gain is negative: more output must give more tension")
    places = crossings(lambda w: seen.at(w).imag, seen.omega, seen.values.imag)
    if scan_time is not None:
        # At half the sampling frequency the response is real: a crossing of its own.
        places = np.append(places, seen.omega[-1])
    values = seen.at(places).real if places.size else places
    lowest = float(values.min(initial=0.0))
    if not lowest < 0.0:
        return None
    # A pure delay crosses at the same gain again and again: its slowest crossing is meant.
    at = int(np.flatnonzero(values < lowest * (1.0 - 1e-6))[0])
    return Ultimate(gain=float(-1.0 / values[at]), period=float(2.0 * math.pi / places[at]))


def _refuse_unstable(plant: LinearPlant) -> None:
    """Refuse poles for which a small gain is not stable."""
    poles = plant.poles
    size = np.abs(poles)
    integrators = size <= INTEGRATOR_SHARE * np.max(size, initial=0.0)
    others = poles[~integrators]
    if np.count_nonzero(integrators) > 1 or np.any(others.real > -1e-9 * np.abs(others)):
        raise ValueError(
            "the plant is unstable or undamped by itself: the ultimate gain needs a stable plant,"
            " with one integrator at most"
        )


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
