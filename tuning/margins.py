"""How far a loop is from ringing: margins on the exact plant.

With L(jw) = G(jw) C(jw) the loop's response, S = 1/(1 + L) and T = L/(1 + L),

    Ms = max |S|     the nearest approach of L to -1 is 1/Ms
    Mt = max |T|

Near a resonance the phase margin misleads (it can read 88° with Ms = 4), so loops are judged by Ms.
A digital loop is analysed as sampled: exact hold, fractional delay, the controller's own difference
equations, stability from the closed loop's eigenvalues. Without a scan time the loop is continuous
with exact dead time, and stability comes from the argument principle on 1 + L.

Definitions: Åström & Hägglund, Advanced PID Control (2006), section 4.5, restated from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar

from simulator.linear_plant import LinearPlant, SampledPlant
from tuning.gains import Gains

Array = NDArray[np.float64]
Response = Callable[[Array], NDArray[np.complex128]]


@dataclass(frozen=True)
class Margins:
    """The verdict on one loop; what does not exist (an unstable loop has no margin) is nan.

    Attributes:
        stable: whether the closed loop is stable [-].
        Ms: largest sensitivity [-]; 1.2 is calm, 1.6 a sound default, above 2 it rings.
        Mt: largest complementary sensitivity [-].
        peak_frequency: where Ms lies [rad/s].
        gain_margin: factor by which the gain may still grow [-]; inf if without limit.
        phase_margin: [deg]; inf if the loop gain never is 1.
        delay_margin: dead time that the loop still bears [s]; inf if the loop gain never is 1.
        crossover: lowest frequency at which the loop gain is 1 [rad/s]; nan if it never is.
        slowest_time: time constant of the slowest closed-loop mode [s]; nan for a continuous loop.
    """

    stable: bool
    Ms: float
    Mt: float
    peak_frequency: float
    gain_margin: float
    phase_margin: float
    delay_margin: float
    crossover: float
    slowest_time: float = float("nan")


def loop_margins(plant: LinearPlant, gains: Gains, *, scan_time: float | None = None) -> Margins:
    """Judge gains on a plant.

    Args:
        plant: output to measured tension, with exact dead time.
        gains: ISA standard form in % of range.
        scan_time: of the digital controller [s]; None for a continuous one.

    Raises:
        ValueError: the scan time is not positive.
    """
    omega = frequency_grid(plant, scan_time=scan_time, slow=plant_gain_near(plant) * gains.Ki)
    if scan_time is None:

        def response(w: Array) -> NDArray[np.complex128]:
            return plant.frequency_response(w) * gains.frequency_response(w)

        stable, slowest = _stable_by_argument(plant, gains, response, omega), math.nan
    else:
        sampled = plant.sampled(scan_time)

        def response(w: Array) -> NDArray[np.complex128]:
            controller = gains.sampled_frequency_response(w, scan_time)
            return sampled.frequency_response(w) * controller

        modes = np.abs(closed_loop_modes(sampled, gains))
        stable = bool(modes.max() < 1.0)
        slowest = -scan_time / math.log(modes.max()) if 0.0 < modes.max() < 1.0 else math.nan

    L = response(omega)
    Ms, peak = _highest(lambda w: 1.0 / np.abs(1.0 + response(w)), omega, 1.0 / np.abs(1.0 + L))
    Mt, _ = _highest(
        lambda w: np.abs(response(w) / (1.0 + response(w))), omega, np.abs(L / (1.0 + L))
    )
    if not stable:
        nan = math.nan
        return Margins(False, Ms, Mt, peak, nan, nan, nan, nan)
    gain_margin = _gain_margin(response, omega, L, ends_real=scan_time is not None)
    phase_margin, delay_margin, crossover = _phase_margin(response, omega, L)
    return Margins(True, Ms, Mt, peak, gain_margin, phase_margin, delay_margin, crossover, slowest)


def plant_gain_near(plant: LinearPlant) -> float:
    """Return the static gain [%/%], or the rate of rise [%/(% s)] of an integrating plant."""
    gain = abs(plant.static_gain)
    return gain if math.isfinite(gain) else float(np.abs(plant.C) @ np.abs(plant.B))


def frequency_grid(
    plant: LinearPlant, *, scan_time: float | None = None, slow: float = 0.0
) -> Array:
    """Return angular frequencies that resolve every mode and the dead time, shape (n,) [rad/s].

    Args:
        plant: whose poles and dead time are to be resolved.
        scan_time: the grid ends at pi/scan_time [s]; None for a continuous loop.
        slow: a frequency that the grid must reach well below, such as K Ki [rad/s].
    """
    poles = plant.poles
    sizes = np.abs(poles[np.abs(poles) > 0.0])
    reach = sizes if sizes.size else np.array([1.0])
    delays = plant.dead_time + (scan_time or 0.0)
    low = min([1e-3 * reach.min(), *([1e-2 * slow] if slow > 0.0 else [])])
    if delays > 0.0:
        low = min(low, 1e-3 / delays)
    high = 100.0 * max(reach.max(), 10.0 / delays if delays > 0.0 else 0.0, slow)
    if scan_time is not None:
        high = math.pi / scan_time
        low = min(low, 1e-3 * high)
    parts = [
        np.geomspace(low, high, 500),
        np.linspace(0.0, min(high, 40.0 / max(delays, 40.0 / high)), 401)[1:],
    ]
    for pole in poles:
        if abs(pole.imag) > 0.0:
            # Points crowd around a resonance as its own width demands.
            spread = np.sinh(np.linspace(-5.0, 5.0, 81)) / np.sinh(1.0)
            parts.append(abs(pole.imag) + abs(pole.real) * spread)
    grid = np.unique(np.concatenate(parts))
    return np.asarray(grid[(grid >= low) & (grid <= high)])


def closed_loop_modes(sampled: SampledPlant, gains: Gains) -> NDArray[np.complex128]:
    """Return the eigenvalues of plant and digital controller together, per scan [-].

    Args:
        sampled: the plant as the controller sees it.
        gains: ISA standard form in % of range.
    """
    A, B, C = sampled.with_delay_states()
    Ac, Bc, Cc, Dc = gains.sampled_state_space(sampled.scan_time)
    Bc, Cc = np.reshape(Bc, -1), np.reshape(Cc, -1)
    direct = float(np.reshape(Dc, -1)[0])
    loop = np.block([[A + direct * np.outer(B, C), np.outer(B, Cc)], [np.outer(Bc, C), Ac]])
    return np.asarray(np.linalg.eigvals(loop), dtype=np.complex128)


def _highest(
    function: Callable[[Array], Array], omega: Array, values: Array
) -> tuple[float, float]:
    """Return (maximum, where) of a function known on a grid, refined between grid points."""
    inner = np.flatnonzero((values[1:-1] >= values[:-2]) & (values[1:-1] >= values[2:])) + 1
    tops = sorted(inner, key=lambda i: -values[i])[:4]
    at = int(np.argmax(values))
    best, where = float(values[at]), float(omega[at])
    for i in tops:
        found = minimize_scalar(
            lambda w: -float(function(np.array([w]))[0]),
            bounds=(omega[i - 1], omega[i + 1]),
            method="bounded",
            options={"xatol": 1e-9 * omega[i]},
        )
        if -found.fun > best:
            best, where = float(-found.fun), float(found.x)
    return best, where


def _crossings(function: Callable[[Array], Array], omega: Array, values: Array) -> list[float]:
    """Return where a function known on a grid passes zero [rad/s]."""
    above = values >= 0.0
    places = np.flatnonzero(above[:-1] != above[1:])
    return [
        float(
            brentq(lambda w: float(function(np.array([w]))[0]), omega[i], omega[i + 1], rtol=1e-12)
        )
        for i in places
    ]


def _gain_margin(
    response: Response, omega: Array, L: NDArray[np.complex128], *, ends_real: bool
) -> float:
    places = _crossings(lambda w: response(w).imag, omega, L.imag)
    values = [complex(response(np.array([w]))[0]) for w in places]
    if ends_real:
        # At half the sampling frequency a sampled response is real and ends.
        values.append(complex(L[-1].real, 0.0))
    factors = [1.0 / abs(value) for value in values if value.real < 0.0]
    return min((factor for factor in factors if factor > 1.0), default=math.inf)


def _phase_margin(
    response: Response, omega: Array, L: NDArray[np.complex128]
) -> tuple[float, float, float]:
    """Return (phase margin [deg], delay margin [s], lowest crossover [rad/s])."""
    places = _crossings(lambda w: np.log(np.abs(response(w))), omega, np.log(np.abs(L)))
    if not places:
        return math.inf, math.inf, math.nan
    angles = np.angle(response(np.array(places)))
    lag_left = (angles + math.pi) % (2.0 * math.pi)
    nearest = np.minimum(lag_left, 2.0 * math.pi - lag_left)
    return (
        float(np.degrees(nearest.min())),
        float((lag_left / np.array(places)).min()),
        min(places),
    )


def _stable_by_argument(plant: LinearPlant, gains: Gains, response: Response, omega: Array) -> bool:
    """Count closed-loop poles in the right half plane by the turn of 1 + L along w = 0+ … inf.

    With n0 open-loop poles at the origin and P in the right half plane, 1 + L turns by
    (pi/2)(n0 + 2 P - 2 Z), so Z = P + n0/2 - turn/pi.
    """
    far = np.geomspace(omega[-1], 1e3 * omega[-1], 200)[1:]
    near = np.geomspace(1e-6 * omega[0], omega[0], 200)[:-1]
    everywhere = np.concatenate([near, omega, far if plant.dead_time == 0.0 else far[:0]])
    f = 1.0 + response(everywhere)
    turn = float(np.sum(np.angle(f[1:] / f[:-1])))
    tiny = 1e-9 * max(1.0, float(np.abs(plant.poles).max()))
    at_origin = int(np.sum(np.abs(plant.poles) <= tiny)) + (1 if math.isfinite(gains.Ti) else 0)
    unstable = int(np.sum(plant.poles.real > tiny))
    # The ends add what is left of the way to +1 and to the origin's asymptote: a rounding matter.
    return round(unstable + at_origin / 2.0 - turn / math.pi) == 0
