"""How strong an oscillation of known phase stands in a record, and what surrounds it."""

from __future__ import annotations

import math

import numpy as np

Array = np.ndarray
# Where the neighbourhood is looked at, as shares of the frequency; no harmonics among them.
NEIGHBOURS = (0.62, 0.7, 0.78, 1.28, 1.36, 1.45)


def line_and_floor(y: Array, phase: Array, *, cycles: float = 8.0) -> tuple[float, float]:
    """Return the amplitude of an oscillation in a record and its neighbourhood's [unit of y].

    In blocks of some cycles, each without its straight line and under a Hann window, y is taken
    times exp(-j phase); the root mean square over blocks is the amplitude, the same at neighbouring
    frequencies the floor. `phase` [rad] has the shape of y.
    """
    n = y.size
    turns = abs(phase[-1] - phase[0]) / (2.0 * math.pi)
    size = max(int(n / max(turns / cycles, 1.0)), 8)
    count = n // size
    blocks = y[: count * size].reshape(count, size)
    along = np.linspace(-1.0, 1.0, size)
    slope = blocks @ along / (along @ along)
    flat = blocks - blocks.mean(axis=1, keepdims=True) - slope[:, None] * along
    window = np.hanning(size + 2)[1:-1]
    angles = phase[: count * size].reshape(count, size)

    def amplitude(share: float) -> float:
        seen = 2.0 / window.sum() * np.sum(flat * window * np.exp(-1j * share * angles), axis=1)
        return float(np.sqrt(np.mean(np.abs(seen) ** 2)))

    return amplitude(1.0), float(np.median([amplitude(share) for share in NEIGHBOURS]))


def peak_frequency(y: Array, dt: float, low: float, high: float) -> float:
    """Return the frequency of the highest line of a record between two [Hz]; nan if none."""
    n = y.size
    along = np.linspace(-1.0, 1.0, n)
    flat = y - np.polyval(np.polyfit(along, y, 2), along)
    padded = 4 * n
    power = np.abs(np.fft.rfft(flat * np.hanning(n), padded)) ** 2
    f = np.fft.rfftfreq(padded, dt)
    inside = (f >= low) & (f <= high)
    if not inside.any():
        return math.nan
    return float(f[inside][np.argmax(power[inside])])


def folded(f: float, rate: float) -> float:
    """Return where a frequency is seen when it is sampled at a rate [Hz]."""
    return abs(f - rate * round(f / rate))
