"""The most integral action within limits on Ms and on noise, for one controller on many plants.

For a reset time Ti and a derivative time Td the controller is Kc times a fixed response F, and the
loop is Kc H with H = G F. The limit |1 + Kc H| >= 1/Ms is then a quadratic inequality in Kc at each
frequency:

    |H|² Kc² + 2 Re(H) Kc + 1 - 1/Ms² >= 0

Its smaller positive root is where growing gain first meets the limit; the least of these over all
frequencies and plants is the largest Kc for this Ti and Td. The way there starts at Kc = 0+, where
a stable plant of positive gain is stable with a little of any such controller, and 1 + Kc H never
is zero on it, so no closed-loop pole crosses the stability limit. What is left is a search over Ti
and Td for the largest Ki = Kc/Ti. Most integral action is least IAE for a slow load, since the
integral of the error is d/Ki (Åström, Panagopoulos & Hägglund, Automatica 34(5), 1998, state the
problem for continuous PI loops; the sampled closed form is ours).

Derivative time stays at or below Ti/4: the zeros are then real, so that a series controller can
hold the gains, too, and the search keeps away from the ridge of barely damped optima that the most
integral action is known for with PID (Panagopoulos, Åström & Hägglund, IEE Proc. Control Theory
Appl. 149(1), 2002, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from tuning.gains import INTEGRAL_ONLY_TIME, Gains
from tuning.plant_bank import PlantBank

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Kind = Literal["I", "PI", "PID"]
KINDS: tuple[Kind, ...] = ("I", "PI", "PID")

# The shortest reset time of a controller with proportional action.
LEAST_RESET_SCANS = 1.0
LEAST_TI_OVER_TD = 4.0
# Ti, and Td for PID, that the search starts from.
PI_STARTS, PID_STARTS = 120, (32, 10)
# So many starts are polished, if they are so near to the best and differ so much in Td/Ti [-].
MOST_STARTS, WORTH_A_LOOK, UNLIKE = 3, 0.85, 1.4
# Shapes worked on at a time.
ROWS = 16
# Peaks of |S| between the frequencies of the grid are looked at so many times, to this share of Ms.
MOST_LOOKS, CLOSE, SHRINK = 5, 2e-4, 0.995
# The output's noise grows with the gain to a power of about 1, between these; steps of a search.
LEAST_POWER, MOST_POWER, NOISE_STEPS, CLOSE_ENOUGH = 0.3, 3.0, 8, 1e-7


@dataclass(frozen=True, eq=False)
class Limits:
    """What gains must keep on every plant.

    Attributes:
        Ms: largest sensitivity [-].
        noise_gain: largest rms of the output over the rms of white noise in the reading [%/%].
        filter_ratio: Td over the time constant of the derivative filter [-].
    """

    Ms: float
    noise_gain: float = math.inf
    filter_ratio: float = 10.0


def most_integral(
    bank: PlantBank, kind: Kind, limits: Limits, *, lead: float | None = None
) -> Gains:
    """Return the gains with the largest Ki = Kc/Ti that keep the limits on all plants.

    Integral action alone is written as `Gains.integral_only` writes it, with hardly a proportional
    part. PI keeps to reset times of a scan or more, as controllers of the standard form do: near a
    light resonance even the proportional part of one scan may cost more than it is worth.

    Args:
        bank: plants that are stable by themselves, with positive gain.
        kind: of controller, I, PI or PID.
        limits: to keep.
        lead: Td/Ti to hold for PID [-]; looked for, too, if left out.

    Raises:
        ValueError: a plant is not stable by itself.
    """
    if not math.isfinite(bank.slowest_time):
        raise ValueError(
            "the machine is not stable in manual at one of its operating points; "
            "lower the breakaway ratio or raise the crawl speed"
        )
    search = GainSearch(bank, limits)
    scan = bank.scan_time
    shortest = LEAST_RESET_SCANS * scan
    longest = max(100.0 * bank.slowest_time, 1e3 * scan)
    if kind == "I":
        only = INTEGRAL_ONLY_TIME
        return _kept(search, search.gains(only, 0.0), shortest=only, longest=only)
    if kind == "PI" or lead is not None:
        Ti = np.geomspace(shortest, longest, PI_STARTS)
        Td = (lead or 0.0) * Ti
    else:
        many, few = PID_STARTS
        slow = np.geomspace(LEAST_TI_OVER_TD * shortest, longest, many)
        Ti = np.repeat(slow, few)
        share = np.tile(np.geomspace(0.03, 1.0, few), many)
        Td = Ti / LEAST_TI_OVER_TD * share
    starts = search.best_of(Ti, Td)
    found = [
        _kept(
            search,
            search.gains(float(Ti[i]), float(Td[i])),
            shortest=shortest,
            longest=longest,
            lead=lead,
        )
        for i in starts
    ]
    return max(found, key=lambda gains: gains.Ki)


def _kept(
    search: GainSearch,
    start: Gains,
    *,
    shortest: float,
    longest: float,
    lead: float | None = None,
) -> Gains:
    """Return the best gains near some, with the limit kept between the frequencies, too."""
    for _ in range(MOST_LOOKS):
        start = search.polished(start.Ti, start.Td, shortest=shortest, longest=longest, lead=lead)
        Ms, peak = search.bank.severity(start)
        if Ms.max() <= (1.0 + CLOSE) * search.limits.Ms:
            break
        search = GainSearch(search.bank.looking_at(peak), search.limits)
    # A lower gain on the same ray is always safe.
    while Ms.max() > (1.0 + CLOSE) * search.limits.Ms:
        start = replace(start, Kc=SHRINK * start.Kc)
        Ms, _ = search.bank.severity(start)
    return start


def largest_gain(H: ComplexArray, *, ms_limit: float) -> Array:
    """Return the largest gain k for each controller such that Ms of the loop k H keeps a limit.

    Args:
        H: loop responses at unit gain, one row a controller, all frequencies of all cases in the
            columns, shape (m, n) [-].
        ms_limit: largest sensitivity allowed [-]; inf asks for stability, which only a grid that
            hits the critical frequency shows.

    Returns:
        The first gain from 0 up that meets the limit, shape (m,) [-]; inf if none does.
    """
    power, rest = H.real**2 + H.imag**2, 1.0 - 1.0 / ms_limit**2
    inside = H.real**2 - power * rest
    meets = (inside > 0.0) & (H.real < 0.0)
    # The smaller root, written without cancellation.
    root = rest / (-H.real + np.sqrt(np.where(meets, inside, 0.0)))
    return np.asarray(np.where(meets, root, np.inf).min(axis=1))


@dataclass(frozen=True, eq=False)
class GainSearch:
    """Plants and limits, with what does not change while controllers are tried on them.

    Attributes:
        bank: plants that are stable by themselves, with positive gain.
        limits: to keep.
    """

    bank: PlantBank
    limits: Limits

    @cached_property
    def _flat(self) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """G, the integrator h/(z - 1), and z, of all plants in one row."""
        z = np.exp(1j * self.bank.omega.ravel() * self.bank.scan_time)
        return self.bank.values.ravel(), self.bank.scan_time / (z - 1.0), z

    def shapes(self, Ti: Array, Td: Array) -> ComplexArray:
        """Return the controllers' responses at Kc = 1, shape (r, n) [%/%].

        Args:
            Ti: reset times, shape (r,) [s].
            Td: derivative times, shape (r,) [s].
        """
        _, integrator, z = self._flat
        F = 1.0 + integrator / Ti[:, None]
        if np.any(Td > 0.0):
            filter_time = Td[:, None] / self.limits.filter_ratio
            span = filter_time + self.bank.scan_time
            F = F + Td[:, None] / span * (z - 1.0) / (z - filter_time / span)
        return np.asarray(F, dtype=np.complex128)

    def largest_Kc(self, Ti: Array, Td: Array) -> Array:
        """Return the largest Kc within the limits for each pair, shape (r,) [%/%].

        Args:
            Ti: reset times, shape (r,) [s].
            Td: derivative times, shape (r,) [s].
        """
        F = self.shapes(Ti, Td)
        H = self._flat[0] * F
        Kc = largest_gain(H, ms_limit=self.limits.Ms)
        return self._quiet(F, H, Kc, Ti) if math.isfinite(self.limits.noise_gain) else Kc

    def best_of(self, Ti: Array, Td: Array) -> list[int]:
        """Return which pairs to start from: the best, and the best of unlike Td/Ti after it [-].

        Args:
            Ti: reset times, shape (r,) [s].
            Td: derivative times, shape (r,) [s].
        """
        parts = [slice(start, start + ROWS) for start in range(0, Ti.size, ROWS)]
        loose = replace(self, limits=replace(self.limits, noise_gain=math.inf))
        Ki = np.concatenate([loose.largest_Kc(Ti[part], Td[part]) for part in parts]) / Ti
        if math.isfinite(self.limits.noise_gain):
            # Noise only lowers a gain, so most pairs are out before it is looked at.
            order, found = np.argsort(-Ki), 0.0
            for part in parts:
                rows = order[part]
                if Ki[rows[0]] <= WORTH_A_LOOK * found:
                    Ki[order[part.start :]] = 0.0
                    break
                Ki[rows] = self.largest_Kc(Ti[rows], Td[rows]) / Ti[rows]
                found = max(found, float(Ki[rows].max()))
        # Ms has several valleys over Td/Ti, and the best of a coarse grid may lie in the second.
        share = Td / Ti
        starts = [int(np.argmax(Ki))]
        for i in np.argsort(-Ki):
            if len(starts) == MOST_STARTS or Ki[i] < WORTH_A_LOOK * Ki[starts[0]]:
                break
            if all(max(share[i], share[j]) > UNLIKE * min(share[i], share[j]) for j in starts):
                starts.append(int(i))
        return starts

    def gains(self, Ti: float, Td: float) -> Gains:
        """Return the gains with the largest Kc at one pair.

        Args:
            Ti: reset time [s].
            Td: derivative time [s].
        """
        Kc = float(self.largest_Kc(np.array([Ti]), np.array([Td]))[0])
        return Gains(Kc=Kc, Ti=Ti, Td=Td, filter_ratio=self.limits.filter_ratio)

    def polished(
        self,
        Ti: float,
        Td: float,
        *,
        shortest: float,
        longest: float,
        lead: float | None = None,
    ) -> Gains:
        """Return the best gains near a pair.

        Args:
            Ti: reset time [s].
            Td: derivative time [s].
            shortest: reset time to be considered [s].
            longest: reset time to be considered [s].
            lead: Td/Ti to hold [-]; free if left out.
        """
        held = Td / Ti if lead is None else lead

        def pair(x: Array) -> tuple[float, float]:
            near = float(np.clip(math.exp(x[0]), shortest, longest))
            return near, min(math.exp(x[1]), near / LEAST_TI_OVER_TD) if x.size > 1 else held * near

        def lost(x: Array) -> float:
            near, ahead = pair(x)
            return -math.log(self.gains(near, ahead).Ki)

        if shortest == longest:
            return self.gains(Ti, Td)
        start = np.log([Ti, Td] if Td > 0.0 and lead is None else [Ti])
        simplex = np.vstack([start, *(start + 0.1 * row for row in np.eye(start.size))])
        found = minimize(
            lost, start, method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": 1e-4, "fatol": 1e-6, "maxfev": 200},
        )  # fmt: skip
        return self.gains(*pair(found.x))

    def _quiet(self, F: ComplexArray, H: ComplexArray, Kc: Array, Ti: Array) -> Array:
        """Return the gains, lowered where noise would move the output too much."""
        over = np.log(self._noise(F, H, Kc, Ti) / self.limits.noise_gain)
        loud = np.flatnonzero(over > 0.0)
        if not loud.size:
            return Kc
        F, H, Ti, over = F[loud], H[loud], Ti[loud], over[loud]
        # The secant method in logarithms, where the curve is nearly straight.
        at, power = np.log(Kc[loud]), np.ones(loud.size)
        for _ in range(NOISE_STEPS):
            if np.abs(over).max() < CLOSE_ENOUGH:
                break
            step = -over / power
            at, before = at + step, over
            over = np.log(self._noise(F, H, np.exp(at), Ti) / self.limits.noise_gain)
            slope = np.divide(over - before, step, out=power.copy(), where=np.abs(step) > 1e-9)
            power = np.clip(slope, LEAST_POWER, MOST_POWER)
        lowered = np.array(Kc)
        lowered[loud] = np.minimum(np.exp(at), Kc[loud])
        return lowered

    def _noise(self, F: ComplexArray, H: ComplexArray, Kc: Array, Ti: Array) -> Array:
        """Return the largest noise gain over the plants for each shape, shape (r,) [%/%]."""
        k = Kc[:, None]
        moved = np.abs(k * F / (1.0 + k * H)) ** 2
        by_plant = moved.reshape(Kc.size, *self.bank.omega.shape)
        mean = self.bank.mean_over_frequency(by_plant, (Kc / Ti)[:, None])
        return np.asarray(np.sqrt(mean.max(axis=1)))
