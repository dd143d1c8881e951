"""What a fitted model leaves unexplained: a steady swing, or ringing that the steps start.

The three process models have one resonance at most, and a machine often has a lag before its
resonance: then the lag is fitted and the ringing stays in the remainder. An out-of-round roll adds
a swing of its own. The two differ in one thing: the steady swing was there before the step, and
ringing starts anew with each step, with the step's sign and size, and dies away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, minimize_scalar

from tuning.fit_search import SEARCH_SAMPLES, Fitted, Record, autocorrelation, spectral_lines

Array = NDArray[np.float64]

# A steady swing takes at least these cycles in the record, and this share of the power away from
# every stretch of it, the one before the first step included.
FEWEST_CYCLES = 3.0
STEADY_SHARE = 0.2
# Ringing matters from this share of the response on, half a cycle after the step.
RINGING_SHARE = 0.03
# What does not die away to half between two steps is not proven to be started by them.
MOST_LEFT = 0.5
# Decay rate over frequency, sigma/omega: above a half there is no second swing to see.
LEAST_DECAY, MOST_DECAY = 0.002, 0.5


@dataclass(frozen=True)
class Ringing:
    """A damped oscillation that the steps of the output start.

    Attributes:
        frequency: of the damped oscillation [Hz].
        damping: damping ratio [-].
    """

    frequency: float
    damping: float


def steady_swing(record: Record, residual: Array) -> tuple[float, Array] | None:
    """Return a swing that runs through the whole record: frequency [Hz] and values [% of range].

    Args:
        record: the step test.
        residual: measurement less model, shape (n,) [% of range].
    """
    duration = float(record.time[-1])
    lines = spectral_lines(record.time, residual, interval=record.interval, count=1)
    if not lines or lines[0] < FEWEST_CYCLES / duration:
        return None

    def swing(frequency: float) -> Array:
        angle = 2.0 * math.pi * frequency * record.time
        return _explained([np.ones_like(angle), np.cos(angle), np.sin(angle)], residual)

    found = minimize_scalar(
        lambda frequency: float(np.sum((residual - swing(frequency)) ** 2)),
        bounds=(lines[0] - 0.5 / duration, lines[0] + 0.5 / duration),
        method="bounded",
        options={"xatol": 1e-5 / duration},
    )
    frequency = float(found.x)
    values = swing(frequency)
    values = values - values.mean()
    before = slice(0, record.segments[0].start)
    for stretch in (before, *record.segments):
        time, r = record.time[stretch], residual[stretch]
        if time.size < 8 or time[-1] - time[0] < 0.5 / frequency:
            # Too short to say, which before the first step leaves no proof.
            if stretch is before:
                return None
            continue
        if np.var(r - values[stretch]) > (1.0 - STEADY_SHARE) * np.var(r):
            return None
    return frequency, values


def find_ringing(record: Record, fitted: Fitted) -> Ringing | None:
    """Return the ringing that a model leaves unexplained; None if there is none that matters.

    From half a cycle after each change on, the remainder is fitted by the sum over the changes of
    exp(-sigma t) (a cos w t + b sin w t), about a level of its own between changes, since
    hysteresis and drift shift those. It counts if it pays for its four parameters by the Bayesian
    information criterion and is large enough to matter.

    Args:
        record: the step test.
        fitted: the chosen model and its residual.
    """
    segment = record.main_segment
    lines = spectral_lines(
        record.time[segment], fitted.residual[segment], interval=record.interval, count=2
    )
    if not lines:
        return None
    # The first half cycle belongs to the lag, which the chosen model draws as best it can.
    begins = fitted.model.dead_time + 0.5 / lines[0]
    thin = record.thinned(SEARCH_SAMPLES)
    keep, stretch = _from(thin, begins)
    if keep.size < 8:
        return None
    counts = np.maximum(np.bincount(stretch), 1)

    def levelled(values: Array) -> Array:
        means = np.bincount(stretch, values[keep]) / counts
        return np.asarray(values[keep] - means[stretch])

    def columns(theta: Array) -> list[Array]:
        mode = _mode(thin, begins, math.exp(theta[0]), math.exp(theta[1]))
        return [levelled(part) for part in mode]

    def left(theta: Array) -> Array:
        return residual - _explained(columns(theta), residual)

    residual = levelled(thin.measurement - thin.response(fitted.model))
    near = np.log(2.0 * math.pi * np.outer(lines, [0.96, 1.0, 1.04])).ravel()
    grid = [np.array(point) for point in product(near, np.log([0.02, 0.06, 0.2]))]
    start = min(grid, key=lambda theta: float(np.sum(left(theta) ** 2)))
    low = np.array([start[0] - 0.3, math.log(LEAST_DECAY)])
    high = np.array([start[0] + 0.3, math.log(MOST_DECAY)])
    theta = least_squares(left, start, bounds=(low, high), xtol=1e-8).x
    omega, decay = math.exp(theta[0]), math.exp(theta[1])
    longest = float(np.diff([*record.change_times, record.time[-1]]).max())
    if math.exp(-decay * omega * longest) > MOST_LEFT:
        return None
    weights = np.linalg.lstsq(np.column_stack(columns(theta)), residual, rcond=None)[0]
    swing = math.hypot(weights[0], weights[1]) * float(np.abs(record.changes).max())
    remaining = left(theta)
    r = autocorrelation(remaining)
    n = max(remaining.size * (1.0 - r) / (1.0 + r), 8.0)
    evidence = n * math.log(float(np.var(residual)) / max(float(np.var(remaining)), 1e-300))
    matters = RINGING_SHARE * float(np.ptp(record.response(fitted.model)))
    if evidence < 4.0 * math.log(n) or swing < matters:
        return None
    return Ringing(omega / (2.0 * math.pi), decay / math.hypot(1.0, decay))


def without(record: Record, swing: Array) -> Record:
    """Return the record with a swing taken off the measurement.

    Args:
        record: of a step test.
        swing: at each sample, shape (n,) [% of range].
    """
    return replace(record, measurement=record.measurement - swing)


def _from(record: Record, begins: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the samples that come so long after a change, or before all [-], and their stretch.

    Stretch 0 is before the first change.
    """
    stretch = np.searchsorted(record.change_times, record.time, side="right")
    starts = np.concatenate([[-np.inf], record.change_times])
    keep = np.flatnonzero(record.time - starts[stretch] >= begins)
    return keep, stretch[keep]


def _mode(record: Record, begins: float, omega: float, decay: float) -> list[Array]:
    """Return the damped cosine and sine that the changes start, shapes (n,) [%]."""
    cosine, sine = np.zeros_like(record.time), np.zeros_like(record.time)
    for at, change in zip(record.change_times, record.changes, strict=True):
        angle = omega * (record.time - at - begins)
        size = np.where(angle >= 0.0, change * np.exp(-decay * np.maximum(angle, 0.0)), 0.0)
        cosine += size * np.cos(angle)
        sine += size * np.sin(angle)
    return [cosine, sine]


def _explained(columns: list[Array], values: Array) -> Array:
    """Return the least-squares combination of the columns nearest to the values."""
    matrix = np.column_stack(columns)
    return np.asarray(matrix @ np.linalg.lstsq(matrix, values, rcond=None)[0])
