"""Multitaper spectra: the same record seen through several tapers that leak nothing to each other.

One periodogram scatters by 100 % and lets strong lines leak over the whole spectrum. Thomson (Proc.
IEEE 70, 1982; from memory) multiplies the record by K orthogonal tapers, each of which keeps its
energy within +-W of a frequency as well as it can be kept (Slepian's sequences), and averages the K
spectra. Tapers of a high order leak a little; where the spectrum is low they get less weight
(Thomson's adaptive weights). Long records are cut into half-overlapping pieces and averaged (Welch,
IEEE Trans. Audio and Electroacoustics 15, 1967; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft
from scipy.interpolate import CubicSpline
from scipy.signal.windows import dpss

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

# W times the length of a piece, and how many tapers: a resolution of five cycles a piece.
HALF_BANDWIDTH, TAPERS = 2.5, 4
# A record up to this long is one piece; a longer one is cut, but not into ever more pieces: a
# motion of some thirty cycles in the whole record must still show.
LONGEST_PIECE, MOST_CUTS = 4096, 8
# The largest set of tapers that is solved for; longer ones are the same curves drawn finer.
_LONGEST_SOLVED = 4096


@dataclass(frozen=True, eq=False)
class Pieces:
    """How a record is cut, and what its tapers are.

    Attributes:
        length: samples in a piece.
        starts: first sample of each piece.
        tapers: unit energy, shape (TAPERS, length) [-].
        concentration: share of each taper's energy within +-W, shape (TAPERS,) [-].
    """

    length: int
    starts: tuple[int, ...]
    tapers: Array
    concentration: Array

    @property
    def degrees_of_freedom(self) -> float:
        """Return those of the averaged spectrum of noise: twice what counts as independent.

        For Gaussian noise two tapered spectra correlate by the square of the product of their
        tapers (Thomson 1982, Welch 1967).
        """
        shared = 0.0
        for a in self.starts:
            for b in self.starts:
                lag = abs(a - b)
                if lag < self.length:
                    product = self.tapers[:, lag:] @ self.tapers[:, : self.length - lag].T
                    shared += float(np.sum(product**2))
        count = len(self.starts) * TAPERS
        return 2.0 * count**2 / shared

    def apart(self) -> tuple[int, ...]:
        """Return starts of pieces that don't overlap."""
        chosen: list[int] = []
        for start in self.starts:
            if not chosen or start >= chosen[-1] + self.length:
                chosen.append(start)
        return tuple(chosen)


def pieces(samples: int) -> Pieces:
    """Return how a record of so many samples is cut."""
    if samples <= LONGEST_PIECE:
        length, count = samples, 1
    else:
        length = max(LONGEST_PIECE, -(-samples // MOST_CUTS))
        count = -(-2 * samples // length) - 1
    starts = np.round(np.linspace(0, samples - length, count)).astype(int)
    tapers, concentration = _tapers(length)
    return Pieces(length, tuple(int(start) for start in starts), tapers, concentration)


@lru_cache(maxsize=16)
def _tapers(length: int) -> tuple[Array, Array]:
    solved = min(length, _LONGEST_SOLVED)
    tapers, concentration = dpss(solved, HALF_BANDWIDTH, TAPERS, return_ratios=True)
    if length > solved:
        coarse = (np.arange(solved) + 0.5) / solved
        fine = (np.arange(length) + 0.5) / length
        tapers = CubicSpline(coarse, tapers, axis=1)(fine)
        tapers /= np.sqrt(np.sum(tapers**2, axis=1, keepdims=True))
    tapers, concentration = np.asarray(tapers), np.minimum(concentration, 1.0 - 1e-12)
    tapers.flags.writeable = False
    return tapers, concentration


def without_line(values: Array) -> Array:
    """Return values without mean and straight line.

    Args:
        values: shape (n,) [unit].
    """
    count = len(values)
    position = np.arange(count) - 0.5 * (count - 1)
    centred = values - np.mean(values)
    slope = float(position @ centred) / float(position @ position)
    return np.asarray(centred - slope * position)


def densities(values: Array, interval: float, cut: Pieces) -> tuple[Array, Array, Array]:
    """Return frequencies, one-sided density and its share of the full degrees of freedom.

    Args:
        values: shape (n,) [unit].
        interval: between samples [s].
        cut: how they are cut.
    """
    size = next_fast_len(2 * cut.length, real=True)
    power = np.zeros((TAPERS, size // 2 + 1))
    level = 0.0
    for start in cut.starts:
        piece = without_line(values[start : start + cut.length])
        level += float(piece @ piece) / len(piece)
        for row, taper in zip(power, cut.tapers, strict=True):
            seen = rfft(piece * taper, size)
            row += seen.real**2 + seen.imag**2
    power *= 2.0 * interval / len(cut.starts)
    power[:, 0] *= 0.5
    if size % 2 == 0:
        power[:, -1] *= 0.5
    variance = level / len(cut.starts)
    frequency = np.arange(size // 2 + 1) / (size * interval)
    density, share = _weighted(power, 2.0 * interval * variance, cut.concentration)
    return frequency, density, share


def _weighted(power: Array, even: float, concentration: Array) -> tuple[Array, Array]:
    """Return Thomson's adaptive average; `even` is the density of as much white noise."""
    kept = concentration[:, None]
    density = np.mean(power[:2], axis=0)
    weights = np.ones_like(power)
    for _ in range(3):
        below = np.maximum(density, 1e-12 * even + 1e-300)
        weights = kept * (below / (kept * below + (1.0 - kept) * even)) ** 2
        density = np.sum(weights * power, axis=0) / np.sum(weights, axis=0)
    counted = np.sum(weights, axis=0) ** 2 / np.sum(weights**2, axis=0)
    return density, counted / len(power)
