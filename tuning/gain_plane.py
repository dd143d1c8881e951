"""The plane of Kc and Ki: where a loop is stable, and where it keeps each limit on Ms.

Along a ray Ki/Kc from the origin the loop is rho H, with one fixed controller response. Its first
meeting with a limit on Ms is the closed form of `tuning.most_integral`; its first meeting with -1,
where the loop starts to swing by itself, is where H is real and negative:

    rho = 1/|H|     at the frequencies where Im H = 0 and Re H < 0

The nearest meeting over all speeds bounds the region that holds at that diameter at every speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario
from tuning.gains import Gains
from tuning.most_integral import largest_gain
from tuning.plant_bank import plant_bank
from tuning.roll_grid import speeds_over

Array = NDArray[np.float64]

MS_LEVELS = (1.2, 1.4, 1.6, 2.0)
RAYS, SPEEDS = 121, 4
# Rays worked on at a time.
ROWS = 16


@dataclass(frozen=True, eq=False)
class GainPlane:
    """The plane of Kc and Ki at one diameter, at every speed from line to crawl.

    Each boundary is given along rays from the Ki axis to the Kc axis.

    Attributes:
        diameter: of the roll [m].
        Td: derivative time throughout [s].
        levels: limits on Ms, shape (l,) [-].
        Kc: of each limit, shape (l, r) [%/%].
        Ki: of each limit, shape (l, r) [%/% per s].
        stable_Kc: where the loop starts to swing by itself, shape (r,) [%/%].
        stable_Ki: the same, shape (r,) [%/% per s].
    """

    diameter: float
    Td: float
    levels: tuple[float, ...]
    Kc: Array
    Ki: Array
    stable_Kc: Array
    stable_Ki: Array


def gain_plane(
    scenario: Scenario,
    *,
    diameter: float,
    around: Gains,
    levels: Sequence[float] = MS_LEVELS,
    speeds: int = SPEEDS,
) -> GainPlane:
    """Return the regions of the plane at one diameter.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        around: gains that set the scale of the rays, and the derivative time.
        levels: limits on Ms [-].
        speeds: how many, from line to crawl speed [-].
    """
    bank = plant_bank(scenario, [(diameter, v) for v in speeds_over(scenario, speeds)])
    # The parts of the controller at Kc = 1 and at Ki = 1.
    quick = bank.controller(replace(around, Kc=1.0, Ti=math.inf), bank.omega)
    slow = bank.scan_time / (np.exp(1j * bank.omega * bank.scan_time) - 1.0)
    # Rays at equal angles in a plane scaled so that either part alone swings at about 1.
    Kc, Ki = _first_swing(np.stack([bank.values * quick, bank.values * slow]))
    angle = np.linspace(0.0, 0.5 * math.pi, RAYS)
    across = (Kc if math.isfinite(Kc) else around.Kc) * np.sin(angle)
    up = (Ki if math.isfinite(Ki) else around.Ki) * np.cos(angle)
    reach = np.empty((len(levels) + 1, RAYS))
    for start in range(0, RAYS, ROWS):
        part = slice(start, start + ROWS)
        H = bank.values * (across[part, None, None] * quick + up[part, None, None] * slow)
        flat = H.reshape(len(H), -1)
        for i, level in enumerate(levels):
            reach[i, part] = largest_gain(flat, ms_limit=level)
        reach[-1, part] = _first_swing(H)
    return GainPlane(
        diameter=diameter,
        Td=around.Td,
        levels=tuple(levels),
        Kc=reach[:-1] * across,
        Ki=reach[:-1] * up,
        stable_Kc=reach[-1] * across,
        stable_Ki=reach[-1] * up,
    )


def _first_swing(H: NDArray[np.complex128]) -> Array:
    """Return the least gain at which 1 + gain H is zero somewhere, shape (r,) [-].

    Shape of H: (rays, plants, frequencies); inf where no gain makes it swing.
    """
    before, after = H[..., :-1], H[..., 1:]
    crosses = (before.imag >= 0.0) != (after.imag >= 0.0)
    span = np.where(crosses, before.imag - after.imag, 1.0)
    real = before.real + before.imag / span * (after.real - before.real)
    at = np.where(crosses & (real < 0.0), -real, 0.0)
    # At half the sampling frequency a sampled response is real and ends.
    ends = np.maximum(-H[..., -1].real, 0.0)
    most = np.maximum(at.max(axis=(1, 2)), ends.max(axis=1))
    return np.asarray(np.divide(1.0, most, out=np.full(most.shape, np.inf), where=most > 0.0))
