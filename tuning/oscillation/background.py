"""The level a spectrum has between its peaks.

A running median is deaf to a peak that takes less than half of its window. The window is as wide
as an octave to each side, and at low frequencies never narrower than some resolutions. A red
spectrum would tilt within the window; so it's first divided by the shape, among those of
first-order noise 1/|1 - phi e^(-iw)|² (or flatter, or steeper) with a white floor, that leaves it
flattest in the mean absolute logarithm, which peaks hardly move. The median of chi-square with d
degrees of freedom lies below its mean; that is corrected.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, percentile_filter
from scipy.special import gammaincinv

Array = NDArray[np.float64]

# Half the window: a factor of two in frequency, but at least so many resolutions.
HALF_WINDOW, LEAST_RESOLUTIONS = math.log(2.0), 3.0
# Points in half a window.
_STEPS = 60
# Shapes that are tried: distances of phi from 1, from white to ever redder; powers, for noise that
# falls flatter or steeper than first order; white floors, against the level of the red part at half
# the sampling frequency.
_REDNESS = (1.0, *np.geomspace(0.6, 1e-4, 14).tolist())
_POWERS = (0.5, 1.0, 2.0)
# A shape of this power falls with 1/f⁴.
STEEPEST = 2.0
_FLOORS = (0.0, *np.geomspace(1.0, 1e6, 9).tolist())
# The background is never known better than this many degrees of freedom (10 %), since no true
# spectrum is as smooth as the window takes it to be.
MOST_CERTAIN = 200.0
# What the second pass takes for the level: between the harmonics of a slow saw-tooth less than half
# of the spectrum is free of peaks.
_LOWER = 0.25
# Scatter of a mean over that of this quantile, squared, for normal scatter.
_EFFICIENCY = 0.54


def background(
    frequency: Array, density: Array, *, dof: Array, resolution: float, lowest: float
) -> tuple[Array, Array, float]:
    """Return the background, its degrees of freedom (shape (m,)) and the power of its shape.

    Args:
        frequency: evenly spaced from 0, shape (m,) [Hz].
        density: shape (m,) [unit²/Hz].
        dof: degrees of freedom of each density, shape (m,) [-].
        resolution: 2 W, what a line is smeared over [Hz].
        lowest: below it mean and straight line have been taken off [Hz].
    """
    step = frequency[1]
    least = LEAST_RESOLUTIONS * resolution
    places = _warp(frequency, least)
    start, end = _warp(np.array([lowest, frequency[-1]]), least)
    grid = np.linspace(start, end, max(8, math.ceil((end - start) * _STEPS)))
    index = np.round(_unwarp(grid, least) / step).astype(int)
    index = np.clip(index, math.ceil(lowest / step), len(density) - 1)
    floor = 1e-14 * float(np.max(density)) + 1e-300
    seen = np.log(np.maximum(density[index], floor))
    cycles = frequency / (2.0 * frequency[-1])
    redness, power, share = _flattest(seen - _quantile(dof[index], 0.5), cycles[index])
    shape = _red(cycles, redness, power, share)
    flat = seen - np.log(shape[index])
    window = min(2 * _STEPS + 1, 2 * (len(grid) // 2) + 1)
    level = np.zeros(len(grid))
    for quantile in (0.5, _LOWER):
        rest = flat - level - _quantile(dof[index], quantile)
        smooth = percentile_filter(rest, 100.0 * quantile, window, mode="reflect")
        level += gaussian_filter1d(smooth, 0.25 * _STEPS, mode="nearest")
    line = np.exp(np.interp(places, grid, level)) * shape
    return line, _certainty(frequency, dof, resolution, lowest), power


def _quantile(dof: Array, quantile: float) -> Array:
    """Return the logarithm of a quantile of chi-square over its mean."""
    half = 0.5 * dof
    ratio: Array = np.log(gammaincinv(half, quantile) / half)
    return ratio


def _certainty(frequency: Array, dof: Array, resolution: float, lowest: float) -> Array:
    """Return degrees of freedom of the background: of the independent estimates in the window."""
    reach = np.maximum(frequency * 0.75, LEAST_RESOLUTIONS * resolution)
    above = np.minimum(frequency + reach, frequency[-1])
    below = np.maximum(frequency - reach, lowest)
    independent = np.clip((above - below) / resolution, 1.0, 2.0 * _STEPS)
    known: Array = np.minimum(_EFFICIENCY * independent * dof, MOST_CERTAIN)
    return known


def _warp(frequency: Array, least: float) -> Array:
    """Return places where half a window is 1 everywhere: even, then logarithmic."""
    bend = least / HALF_WINDOW
    above = 1.0 / HALF_WINDOW + np.log(np.maximum(frequency, bend) / bend) / HALF_WINDOW
    places: Array = np.where(frequency < bend, frequency / least, above)
    return places


def _unwarp(places: Array, least: float) -> Array:
    """Return the frequencies at those places."""
    bend = least / HALF_WINDOW
    above = bend * np.exp(HALF_WINDOW * np.maximum(places - 1.0 / HALF_WINDOW, 0.0))
    frequency: Array = np.where(places < 1.0 / HALF_WINDOW, places * least, above)
    return frequency


def _red(cycles: Array, redness: float, power: float, floor: float) -> Array:
    """Return |1 - phi e^(-iw)|^(-2 power) and a white floor, against cycles a sample."""
    phi = 1.0 - redness
    falling = (redness**2 + 4.0 * phi * np.sin(np.pi * cycles) ** 2) ** -power
    shape: Array = falling + floor * (redness**2 + 4.0 * phi) ** -power
    return shape


def _flattest(level: Array, cycles: Array) -> tuple[float, float, float]:
    """Return redness, power and floor of the shape that leaves the level flattest."""
    shapes = [
        (redness, power, floor)
        for redness in _REDNESS
        for power in (_POWERS if redness < 1.0 else (1.0,))
        for floor in (_FLOORS if redness < 1.0 else (0.0,))
    ]
    flat = level - np.log(np.array([_red(cycles, *shape) for shape in shapes]))
    spread = np.mean(np.abs(flat - np.median(flat, axis=1, keepdims=True)), axis=1)
    return shapes[int(np.argmin(spread))]
