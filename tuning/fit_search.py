"""Least squares of one process model on a step test.

The measurement is fitted as

    y(t) = y0 + K [ du1 s(t - t1) + du2 s(t - t2) + … ]

with s the closed-form step response of the model for a gain of 1, and du1, du2 … the changes of
the held output. Baseline y0 and gain K enter linearly, so each trial of the other parameters
solves them on the spot (variable projection: Golub & Pereyra, SIAM J. Numerical Analysis 10,
1973). Dead time, time constant and damping are searched from the best points of coarse grids. Dead
time moves continuously, between samples too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from tuning.process_model import Kind, ProcessModel

Array = NDArray[np.float64]
Theta = tuple[float, ...]

PARAMETERS: dict[Kind, tuple[str, ...]] = {
    "integrating": ("gain", "dead_time"),
    "first order": ("gain", "dead_time", "time_constant"),
    "second order": ("gain", "dead_time", "time_constant", "damping"),
}
# Damping above 5 means two lags whose times differ a hundredfold: one lag, for a record.
LEAST_DAMPING, MOST_DAMPING = 1e-3, 5.0
# A lag of a tenth of a sampling interval can't be seen, nor one of twenty records.
LEAST_LAG_IN_SAMPLES, MOST_LAG_IN_RECORDS = 0.1, 20.0
# The grids look at this many samples, the searches from them at more, the last one at all.
GRID_SAMPLES, SEARCH_SAMPLES = 500, 4000


@dataclass(frozen=True, eq=False)
class Record:
    """A step test, time counted from its first sample.

    Attributes:
        time: increasing, from 0, shape (n,) [s].
        measurement: shape (n,) [% of range].
        change_times: when the output changed, shape (m,) [s].
        changes: by how much, shape (m,) [%].
    """

    time: Array
    measurement: Array
    change_times: Array
    changes: Array

    @cached_property
    def interval(self) -> float:
        """Usual time between samples [s]."""
        return float(np.median(np.diff(self.time)))

    @cached_property
    def segments(self) -> list[slice]:
        """Samples from each change to the next, or to the end."""
        starts = np.searchsorted(self.time, self.change_times)
        stops = [*starts[1:], self.time.size]
        return [slice(int(a), int(b)) for a, b in zip(starts, stops, strict=True)]

    @property
    def main_segment(self) -> slice:
        """Samples after the change that weighs most by its size and the time it was left alone."""
        lengths = np.diff([*self.change_times, self.time[-1]])
        return self.segments[int(np.argmax(np.abs(self.changes) * np.sqrt(lengths)))]

    def response(self, model: ProcessModel) -> Array:
        """Return what the model makes of the output, from 0, shape (n,) [% of range]."""
        total = np.zeros_like(self.time)
        for segment, at, change in zip(self.segments, self.change_times, self.changes, strict=True):
            after = slice(segment.start, None)
            total[after] += change * model.step_response(self.time[after] - at)
        return total

    def thinned(self, samples: int) -> Record:
        """Return the record with about so many samples, half of them soon after the changes."""
        n = self.time.size
        if n <= samples:
            return self
        keep = [np.linspace(0, n - 1, samples // 2).astype(int)]
        for segment in self.segments:
            length = segment.stop - segment.start
            picks = np.geomspace(1, length, max(samples // (2 * self.changes.size), 5))
            keep.append(segment.start - 1 + picks.astype(int))
        index = np.unique(np.concatenate(keep))
        return replace(self, time=self.time[index], measurement=self.measurement[index])


@dataclass(frozen=True, eq=False)
class Fitted:
    """One model fitted to a record.

    Attributes:
        model: fitted.
        baseline: measurement before the first change y0 [% of range].
        residual: measurement less model, shape (n,) [% of range].
        covariance: of the parameters in the order of `PARAMETERS`, shape (p, p) [product of the
            two parameters' units]; nan where the record does not fix them.
    """

    model: ProcessModel
    baseline: float
    residual: Array
    covariance: Array


def fit_kind(record: Record, kind: Kind) -> Fitted | None:
    """Return the least-squares model of one kind; None if the record holds no trace of it.

    Args:
        record: the step test.
        kind: of model [-].
    """
    # Times in samples and the measurement in its own spread: the same search at any scale.
    h = record.interval
    scaled = Record(
        record.time / h,
        record.measurement / record.measurement.std(),
        record.change_times / h,
        record.changes / np.abs(record.changes).max(),
    )
    thin = scaled.thinned(SEARCH_SAMPLES)
    searches = [_search(thin, scaled, kind, start) for start in _starts(scaled, kind)]
    _, theta = min(searches)
    if thin is not scaled:
        _, theta = _search(scaled, scaled, kind, theta)
    found_model = _model(kind, theta)
    unit = replace(
        found_model,
        time_constant=h * found_model.time_constant,
        dead_time=h * found_model.dead_time,
    )
    gain, baseline, residual = _project(record, unit)
    if gain == 0.0:
        return None
    model = replace(unit, gain=gain)
    return Fitted(model, baseline, residual, _covariance(record, model, residual))


def _search(thin: Record, whole: Record, kind: Kind, start: Theta) -> tuple[float, Theta]:
    """Return half the sum of squares at the nearest minimum, and where it is."""
    low, high = _bounds(whole, kind)
    found = least_squares(
        lambda theta: _project(thin, _model(kind, theta))[2],
        np.clip(start, low + 1e-9, high - 1e-9),
        bounds=(low, high),
        x_scale=[max(1.0, *np.exp(start[1:2]), start[0]), 1.0, 1.0][: len(start)],
        xtol=1e-10,
        ftol=1e-12,
        gtol=1e-14,
        max_nfev=200,
    )
    return float(found.cost), tuple(float(x) for x in found.x)


def autocorrelation(residual: Array) -> float:
    """Return the correlation of each residual with the next, between 0 and 1 [-].

    Args:
        residual: at each sample, shape (n,) [any].
    """
    r = residual - residual.mean()
    power = float(r @ r)
    return min(max(float(r[1:] @ r[:-1]) / power, 0.0), 1.0) if power > 0.0 else 0.0


def spectral_lines(time: Array, values: Array, *, interval: float, count: int) -> list[float]:
    """Return the frequencies of the strongest peaks of the spectrum, strongest first [Hz].

    Args:
        time: increasing, shape (n,) [s].
        values: shape (n,) [% of range].
        interval: usual time between samples [s].
        count: most peaks wanted [-].
    """
    if time.size < 8:
        return []
    n = min(max(int((time[-1] - time[0]) / interval) + 1, 8), 2**15)
    even = np.linspace(time[0], time[-1], n)
    resampled = np.interp(even, time, values)
    # Zeros appended place the peak between the lines of the plain transform.
    power = np.abs(np.fft.rfft(resampled - resampled.mean(), 4 * n))
    frequency = np.fft.rfftfreq(4 * n, even[1] - even[0])
    peaks = np.flatnonzero((power[1:-1] >= power[:-2]) & (power[1:-1] > power[2:])) + 1
    strongest = peaks[np.argsort(power[peaks])[::-1][:count]]
    return [float(frequency[i]) for i in strongest]


def _model(kind: Kind, theta: Theta | Array) -> ProcessModel:
    """Return a model of gain 1 from (dead time [s], log time constant, log damping)."""
    T = math.exp(theta[1]) if len(theta) > 1 else 0.0
    damping = math.exp(theta[2]) if len(theta) > 2 else None
    return ProcessModel(kind, 1.0, T, float(theta[0]), damping=damping)


def _project(record: Record, unit: ProcessModel) -> tuple[float, float, Array]:
    """Return the best gain and baseline for a model of gain 1, and the residual."""
    shape, n = record.response(unit), record.time.size
    # Sums, not means: this is called some thousand times a fit.
    mean, level = float(shape.sum()) / n, float(record.measurement.sum()) / n
    centred, y = shape - mean, record.measurement - level
    power = float(centred @ centred)
    gain = float(centred @ y) / power if power > 0.0 else 0.0
    return gain, level - gain * mean, y - gain * centred


def _bounds(record: Record, kind: Kind) -> tuple[Array, Array]:
    duration = float(record.time[-1])
    latest = max(duration - float(record.change_times[0]) - record.interval, 0.1 * record.interval)
    low = [
        0.0,
        math.log(LEAST_LAG_IN_SAMPLES * record.interval),
        math.log(LEAST_DAMPING),
    ]
    high = [latest, math.log(MOST_LAG_IN_RECORDS * duration), math.log(MOST_DAMPING)]
    n = len(PARAMETERS[kind]) - 1
    return np.array(low[:n]), np.array(high[:n])


def _starts(record: Record, kind: Kind) -> list[Theta]:
    """Return a few starting points, the best of each grid."""
    thin = record.thinned(GRID_SAMPLES)
    dead_times = _dead_times(record)
    lags = np.log(np.geomspace(record.interval, record.time[-1], 12))
    if kind == "integrating":
        return [_best(thin, kind, product(dead_times))]
    if kind == "first order":
        return [_best(thin, kind, product(dead_times, lags))]
    # One grid over everything, and a fine one about the frequency at which the measurement rings:
    # many cycles in phase leave a basin too narrow for the first.
    starts = [_best(thin, kind, product(dead_times[::2], lags[::2], np.log([0.15, 0.5, 1.0, 2.0])))]
    for T in _ringing_times(record, _model("first order", _starts(record, "first order")[0])):
        near = np.log(T) + np.array([-0.04, 0.0, 0.04])
        phases = T * np.linspace(0.0, 2.0 * math.pi, 8, endpoint=False)
        latest = _bounds(record, kind)[1][0]
        late = [min(L, latest) for L in {*phases, *dead_times[::2]}]
        starts.append(_best(thin, kind, product(late, near, np.log([0.01, 0.04, 0.15]))))
    return starts


def _best(record: Record, kind: Kind, grid: Iterable[Theta]) -> Theta:
    """Return the point of a grid with the smallest residual."""

    def misfit(theta: Theta) -> float:
        residual = _project(record, _model(kind, theta))[2]
        return float(residual @ residual)

    return min(grid, key=misfit)


def _dead_times(record: Record) -> Array:
    """Return dead times to try [s]: up to where the measurement has moved half-way, and a few."""
    segment = record.main_segment
    since = record.time[segment] - record.time[segment.start]
    moved = np.abs(record.measurement[segment] - record.measurement[max(segment.start - 1, 0)])
    half = float(since[int(np.argmax(moved >= 0.5 * moved.max()))])
    longest = 0.9 * float(_bounds(record, "integrating")[1][0])
    fine = np.linspace(0.0, min(1.3 * half, longest), 13)
    return np.unique(np.concatenate([fine, np.linspace(0.0, min(since[-1], longest), 9)]))


def _ringing_times(record: Record, lag: ProcessModel) -> list[float]:
    """Return T = 1/(2 pi f) [s] for the two strongest lines in what a lag leaves unexplained."""
    segment = record.main_segment
    left = _project(record, lag)[2][segment]
    lines = spectral_lines(record.time[segment], left, interval=record.interval, count=2)
    return [1.0 / (2.0 * math.pi * f) for f in lines]


def _covariance(record: Record, model: ProcessModel, residual: Array) -> Array:
    """Return the covariance of the parameters, linearised about the fit.

    Residuals that follow one another say less than as many independent ones: the covariance is
    widened by (1 + r)/(1 - r), r their autocorrelation (exact for the mean of a first-order
    autoregression, common practice for the rest).
    """
    names = PARAMETERS[model.kind]
    n, p = residual.size, len(names) + 1
    at_fit = record.response(model)
    scales = {
        "gain": abs(model.gain),
        "dead_time": max(model.dead_time, record.interval),
        "time_constant": model.time_constant,
        "damping": model.damping or 1.0,
    }
    columns = [np.ones(n)]
    for name in names:
        step = 1e-6 * scales[name]
        moved = replace(model, **{name: getattr(model, name) + step})
        columns.append((record.response(moved) - at_fit) / step)
    sensitivity = np.column_stack(columns)
    size = np.linalg.norm(sensitivity, axis=0)
    # A parameter that no sample feels (the dead time of a step between two samples) has no error
    # to give; the others keep theirs.
    felt = np.flatnonzero(size > 0.0)
    covariance = np.full((p, p), np.nan)
    _, singular, rows = np.linalg.svd(sensitivity[:, felt] / size[felt], full_matrices=False)
    if n <= p or singular[-1] < 1e-9 * singular[0]:
        return covariance[1:, 1:]
    spread = (rows.T / singular) / size[felt, None]
    r = min(autocorrelation(residual), 0.999)
    variance = float(residual @ residual) / (n - p) * (1.0 + r) / (1.0 - r)
    covariance[np.ix_(felt, felt)] = variance * spread @ spread.T
    return covariance[1:, 1:]
