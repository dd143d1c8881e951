"""How good a response was: times, overshoot and error areas, right from any baseline.

Times are interpolated between samples. Areas take the measurement as straight from sample to
sample, and are exact for that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StepMetrics:
    """How a measurement followed a step of its target.

    Attributes:
        rise_time: from first passing 10 % of the step to first passing 90 % [s]; nan if it never
            does.
        overshoot: largest excursion past the target [% of the step]; 0 if there is none.
        peak_time: from the step to that excursion [s]; nan if there is none.
        settling_time: from the step until it stays within the band for good [s]; nan if it has not
            by the end.
        iae: integral of the absolute error [units of the measurement times s].
        ise: integral of the squared error [squared units of the measurement times s].
        total_variation: sum of all moves of the output [%]; nan if no output was given.
        warnings: what a reader should know.
    """

    rise_time: float
    overshoot: float
    peak_time: float
    settling_time: float
    iae: float
    ise: float
    total_variation: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class LoadMetrics:
    """How a measurement came back to its target after a disturbance.

    Attributes:
        peak_deviation: largest deviation from the target, with its sign [units of the
            measurement].
        peak_time: from the disturbance to that deviation [s].
        recovery_time: from the disturbance until it stays within the band for good [s]; nan if it
            has not by the end.
        iae: integral of the absolute error [units of the measurement times s].
        ise: integral of the squared error [squared units of the measurement times s].
        total_variation: sum of all moves of the output [%]; nan if no output was given.
        warnings: what a reader should know.
    """

    peak_deviation: float
    peak_time: float
    recovery_time: float
    iae: float
    ise: float
    total_variation: float
    warnings: tuple[str, ...] = ()


def step_metrics(
    time: ArrayLike,
    measurement: ArrayLike,
    *,
    start: float,
    target: float,
    at: float = 0.0,
    band: float = 0.02,
    output: ArrayLike | None = None,
) -> StepMetrics:
    """Return how a measurement followed a step of its target.

    Args:
        time: increasing, shape (n,) [s].
        measurement: shape (n,) [units of the measurement].
        start: value before the step [units of the measurement].
        target: value wanted after the step [units of the measurement].
        at: time of the step [s].
        band: half-width of the settled band as a share of the step [-].
        output: of the controller, held from sample to sample, shape (n,) [%].

    Raises:
        ValueError: arrays that do not match or are not finite, a time of the step outside the
            record, no step, or a band that is not positive.
    """
    t, y, moves = _after(time, measurement, at, output)
    step = target - start
    if not (math.isfinite(step) and step != 0.0):
        raise ValueError(f"start {start} and target {target}: must be finite and differ")
    if not band > 0.0:
        raise ValueError(f"band {band}: must be above 0")
    share = (y - start) / step
    notes = []
    rise = _first_passage(t, share, 0.9) - _first_passage(t, share, 0.1)
    if math.isnan(rise):
        notes.append("the measurement never reached 90 % of the step")
    settling = _settled_after(t, share - 1.0, band)
    if math.isnan(settling):
        notes.append(f"the measurement had not settled within {100.0 * band:g} % by the end")
    highest = int(np.argmax(share))
    over = share[highest] > 1.0
    iae, ise = _error_areas(t, y - target)
    return StepMetrics(
        rise_time=rise,
        overshoot=100.0 * float(share[highest] - 1.0) if over else 0.0,
        peak_time=float(t[highest]) if over else math.nan,
        settling_time=settling,
        iae=iae,
        ise=ise,
        total_variation=moves,
        warnings=tuple(notes),
    )


def load_metrics(
    time: ArrayLike,
    measurement: ArrayLike,
    *,
    target: float,
    band_absolute: float,
    at: float = 0.0,
    output: ArrayLike | None = None,
) -> LoadMetrics:
    """Return how a measurement came back to its target after a disturbance.

    Args:
        time: increasing, shape (n,) [s].
        measurement: shape (n,) [units of the measurement].
        target: value wanted throughout [units of the measurement].
        band_absolute: half-width of the band about the target [units of the measurement].
        at: time of the disturbance [s].
        output: of the controller, held from sample to sample, shape (n,) [%].

    Raises:
        ValueError: arrays that do not match or are not finite, a time of the disturbance outside
            the record, or a band that is not positive.
    """
    t, y, moves = _after(time, measurement, at, output)
    if not math.isfinite(target):
        raise ValueError(f"target {target}: must be finite")
    if not band_absolute > 0.0:
        raise ValueError(f"band_absolute {band_absolute}: must be above 0")
    error = y - target
    recovery = _settled_after(t, error, band_absolute)
    notes = []
    if math.isnan(recovery):
        notes.append(f"the measurement was not back within {band_absolute:g} of the target")
    worst = int(np.argmax(np.abs(error)))
    iae, ise = _error_areas(t, error)
    return LoadMetrics(
        peak_deviation=float(error[worst]),
        peak_time=float(t[worst]),
        recovery_time=recovery,
        iae=iae,
        ise=ise,
        total_variation=moves,
        warnings=tuple(notes),
    )


def _after(
    time: ArrayLike, measurement: ArrayLike, at: float, output: ArrayLike | None
) -> tuple[Array, Array, float]:
    """Return time since `at`, measurement from there on, and the total variation of the output."""
    t, y = np.asarray(time, dtype=float), np.asarray(measurement, dtype=float)
    if t.ndim != 1 or t.shape != y.shape or t.size < 2:
        raise ValueError(
            f"time and measurement have shapes {t.shape} and {y.shape}: give one value each a "
            "sample, two samples or more"
        )
    if not np.all(np.isfinite(y)):
        raise ValueError("measurement: every value must be finite")
    if not (np.all(np.isfinite(t)) and np.all(np.diff(t) > 0.0)):
        raise ValueError("time: must be finite and increase from sample to sample")
    if not t[0] <= at < t[-1]:
        raise ValueError(f"at {at} s: outside the record, {t[0]:g} … {t[-1]:g} s")
    first = int(np.searchsorted(t, at))
    moves = math.nan
    if output is not None:
        u = np.asarray(output, dtype=float)
        if u.shape != t.shape or not np.all(np.isfinite(u)):
            raise ValueError(f"output: give {t.size} finite values, one a sample")
        # The move made at the step itself counts.
        moves = float(np.abs(np.diff(u[max(first - 1, 0) :])).sum())
    later, values = t[first:] - at, y[first:]
    if later[0] > 0.0:
        later = np.concatenate([[0.0], later])
        values = np.concatenate([[np.interp(at, t, y)], values])
    return later, values, moves


def _first_passage(t: Array, share: Array, level: float) -> float:
    """Return when the response first passes a share of the step [s]; nan if never."""
    reached = share >= level
    if not reached.any():
        return math.nan
    i = int(np.argmax(reached))
    if i == 0:
        return float(t[0])
    part = (level - share[i - 1]) / (share[i] - share[i - 1])
    return float(t[i - 1] + part * (t[i] - t[i - 1]))


def _settled_after(t: Array, error: Array, band: float) -> float:
    """Return when the error enters the band for good [s]; nan if it is outside at the end."""
    outside = np.flatnonzero(np.abs(error) > band)
    if outside.size == 0:
        return 0.0
    i = int(outside[-1])
    if i + 1 == t.size:
        return math.nan
    edge = math.copysign(band, error[i])
    part = (edge - error[i]) / (error[i + 1] - error[i])
    return float(t[i] + part * (t[i + 1] - t[i]))


def _error_areas(t: Array, error: Array) -> tuple[float, float]:
    """Return the integrals of |error| and error², the error straight between samples."""
    h, a, b = np.diff(t), error[:-1], error[1:]
    size = np.abs(a) + np.abs(b)
    # Two triangles where the sign changes, a trapezium elsewhere.
    crossing = a * b < 0.0
    triangles = np.divide(a * a + b * b, size, out=np.zeros_like(size), where=crossing)
    absolute = np.where(crossing, triangles, size) / 2.0
    return float(h @ absolute), float(h @ (a * a + a * b + b * b)) / 3.0
