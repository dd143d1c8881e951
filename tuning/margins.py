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
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator.linear_plant import LinearPlant, SampledPlant
from tuning.frequency_grid import crossings, frequency_grid, highest, refined
from tuning.gains import Gains

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


# Ms as people speak of it: 1.2 is calm, 1.6 a sound default, above 2 a loop rings; 1.2 to 2.0 is
# the usual range (Åström & Hägglund, Advanced PID Control, 2006; from memory).
CALM_MS, SOUND_MS, RINGS_ABOVE = 1.2, 1.6, 2.0
MOST_HALVINGS = 40
# Eigenvalues cost the cube of the scans of dead time; beyond this the argument principle decides.
MOST_DELAY_STATES = 150


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

    @property
    def severity(self) -> float:
        """Ms, or inf where the loop is unstable [-]: the order from good to bad."""
        return self.Ms if self.stable else math.inf


@dataclass(frozen=True, eq=False)
class PlantResponse:
    """A plant as a loop sees it, evaluated once and used for as many gains as one likes.

    Attributes:
        plant: output to measured tension, with exact dead time.
        scan_time: of the digital controller [s]; None for a continuous one.
        sampled: the plant at that scan time; None for a continuous loop.
        omega: frequencies that resolve every mode, shape (n,) [rad/s].
        values: response there, shape (n,) [% of range per %].
    """

    plant: LinearPlant
    scan_time: float | None
    sampled: SampledPlant | None
    omega: Array
    values: ComplexArray

    def at(self, omega: Array) -> ComplexArray:
        """Return the response at other frequencies.

        Args:
            omega: angular frequencies, shape (m,) [rad/s].
        """
        source = self.plant if self.sampled is None else self.sampled
        return source.frequency_response(omega)

    def with_frequency(self, omega: float) -> PlantResponse:
        """Return the same with one more frequency on its grid.

        Args:
            omega: angular frequency [rad/s].
        """
        grid = np.union1d(self.omega, [omega])
        return replace(self, omega=grid, values=self.at(grid))


def plant_response(plant: LinearPlant, *, scan_time: float | None = None) -> PlantResponse:
    """Evaluate a plant for judging gains on it.

    Args:
        plant: output to measured tension, with exact dead time.
        scan_time: of the digital controller [s]; None for a continuous one.

    Raises:
        ValueError: the scan time is not positive.
    """
    if scan_time is None:
        omega = refined(plant.frequency_response, frequency_grid(plant.poles, plant.dead_time))
        return PlantResponse(plant, None, None, omega, plant.frequency_response(omega))
    sampled = plant.sampled(scan_time)
    modes = np.linalg.eigvals(sampled.Phi).astype(complex)
    # Modes faster than the scan are seen where they fold down to; spent ones not at all.
    poles = np.log(modes[np.abs(modes) > 1e-12]) / scan_time
    grid = frequency_grid(poles, plant.dead_time + scan_time, math.pi / scan_time)
    omega = refined(sampled.frequency_response, grid)
    return PlantResponse(plant, scan_time, sampled, omega, sampled.frequency_response(omega))


def loop_margins(
    plant: LinearPlant | PlantResponse, gains: Gains, *, scan_time: float | None = None
) -> Margins:
    """Judge gains on a plant.

    Args:
        plant: output to measured tension, with exact dead time; or the same already evaluated,
            which carries its own scan time.
        gains: ISA standard form in % of range.
        scan_time: of the digital controller [s]; None for a continuous one.

    Raises:
        ValueError: the scan time is not positive.
    """
    seen = plant if isinstance(plant, PlantResponse) else plant_response(plant, scan_time=scan_time)

    def controller(w: Array) -> ComplexArray:
        if seen.scan_time is None:
            return gains.frequency_response(w)
        return gains.sampled_frequency_response(w, seen.scan_time)

    def response(w: Array) -> ComplexArray:
        return seen.at(w) * controller(w)

    omega = seen.omega
    L = seen.values * controller(omega)
    slow = abs(L[0]) * omega[0]  # where weak integral action alone would reach a loop gain of 1
    if slow < omega[0]:
        below = np.geomspace(1e-2 * slow, omega[0], 60)[:-1] if slow > 0.0 else omega[:0]
        omega, L = np.concatenate([below, omega]), np.concatenate([response(below), L])

    if seen.sampled is None or seen.sampled.delay > MOST_DELAY_STATES:
        stable, slowest = _stable_by_argument(seen, gains, response, omega), math.nan
    else:
        modes = np.abs(closed_loop_modes(seen.sampled, gains))
        stable = bool(modes.max() < 1.0)
        slowest = math.nan
        if 0.0 < modes.max() < 1.0:
            slowest = -seen.sampled.scan_time / math.log(modes.max())

    Ms, peak = highest(lambda w: 1.0 / np.abs(1.0 + response(w)), omega, 1.0 / np.abs(1.0 + L))
    if seen.sampled is None:
        Ms = max(Ms, 1.0)  # L vanishes at high frequency, where |S| is 1
    Mt, _ = highest(lambda w: np.abs(1.0 - 1.0 / (1.0 + response(w))), omega, np.abs(L / (1.0 + L)))
    if not stable:
        nan = math.nan
        return Margins(False, Ms, Mt, peak, nan, nan, nan, nan)
    gain_margin = _gain_margin(response, omega, L, ends_real=seen.sampled is not None)
    phase_margin, delay_margin, crossover = _phase_margin(response, omega, L)
    return Margins(True, Ms, Mt, peak, gain_margin, phase_margin, delay_margin, crossover, slowest)


def closed_loop_modes(sampled: SampledPlant, gains: Gains) -> ComplexArray:
    """Return the eigenvalues of plant and digital controller together, per scan [-].

    Args:
        sampled: the plant as the controller sees it.
        gains: ISA standard form in % of range.
    """
    return np.asarray(np.linalg.eigvals(closed_loop(sampled, gains)), dtype=np.complex128)


def closed_loop(sampled: SampledPlant, gains: Gains) -> Array:
    """Return the state matrix [per scan] of plant and digital controller together.

    The states are the plant's, then the outputs under way, newest first, then the controller's.

    Args:
        sampled: the plant as the controller sees it.
        gains: ISA standard form in % of range.
    """
    A, B, C = sampled.with_delay_states()
    Ac, Bc, Cc, direct = gains.sampled_state_space(sampled.scan_time)
    return np.block([[A + direct * np.outer(B, C), np.outer(B, Cc)], [np.outer(Bc, C), Ac]])


def _gain_margin(
    response: Callable[[Array], ComplexArray], omega: Array, L: ComplexArray, *, ends_real: bool
) -> float:
    places = crossings(lambda w: response(w).imag, omega, L.imag)
    values = response(places) if places.size else places.astype(complex)
    if ends_real:
        # At half the sampling frequency a sampled response is real and ends.
        values = np.append(values, L[-1].real)
    factors = 1.0 / np.abs(values[values.real < 0.0])
    return float(min(factors[factors > 1.0], default=math.inf))


def _phase_margin(
    response: Callable[[Array], ComplexArray], omega: Array, L: ComplexArray
) -> tuple[float, float, float]:
    """Return (phase margin [deg], delay margin [s], lowest crossover [rad/s])."""
    places = crossings(lambda w: np.abs(response(w)) - 1.0, omega, np.abs(L) - 1.0)
    if not places.size:
        return math.inf, math.inf, math.nan
    lag_left = (np.angle(response(places)) + math.pi) % (2.0 * math.pi)
    nearest = np.minimum(lag_left, 2.0 * math.pi - lag_left)
    return (
        float(np.degrees(nearest.min())),
        float((lag_left / places).min()),
        float(places.min()),
    )


def _stable_by_argument(
    seen: PlantResponse, gains: Gains, response: Callable[[Array], ComplexArray], omega: Array
) -> bool:
    """Count unstable closed-loop poles by the turn of 1 + L along w = 0+ … inf, or to pi/h.

    With n0 open-loop poles at the origin (at z = 1) and P unstable ones, 1 + L turns by
    (pi/2)(n0 + 2 P - 2 Z), so Z = P + n0/2 - turn/pi; the same on the imaginary axis and on the
    upper half of the unit circle.
    """
    plant = seen.plant
    parts = [np.geomspace(1e-6 * omega[0], omega[0], 200)[:-1], omega]
    if seen.sampled is None and plant.dead_time == 0.0:
        parts.append(np.geomspace(omega[-1], 1e3 * omega[-1], 200)[1:])
    everywhere = np.concatenate(parts)
    f = 1.0 + response(everywhere)
    for _ in range(MOST_HALVINGS):
        # A loop that passes close to -1 turns fast there: look closer until no step turns far.
        turns = np.angle(f[1:] / f[:-1])
        wide = np.flatnonzero(np.abs(turns) > 0.5)
        if not wide.size:
            break
        middle = 0.5 * (everywhere[wide] + everywhere[wide + 1])
        everywhere = np.insert(everywhere, wide + 1, middle)
        f = np.insert(f, wide + 1, 1.0 + response(middle))
    turn = float(np.sum(np.angle(f[1:] / f[:-1])))
    tiny = 1e-9 * max(1.0, float(np.abs(plant.poles).max()))
    at_origin = int(np.sum(np.abs(plant.poles) <= tiny)) + (1 if math.isfinite(gains.Ti) else 0)
    unstable = int(np.sum(plant.poles.real > tiny))
    # The ends add what is left of the way to +1 and to the origin's asymptote: a rounding matter.
    return round(unstable + at_origin / 2.0 - turn / math.pi) == 0
