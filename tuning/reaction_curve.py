"""A lag and a dead time read off a step response by hand: two points, or two areas.

These are for comparison and for teaching. They want a clean response to one step, from rest to
rest; `tuning.identify.fit_model` uses every sample and copes with noise.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tuning.process_model import ProcessModel

Array = NDArray[np.float64]


def two_point_smith(time: ArrayLike, response: ArrayLike, *, step: float = 1.0) -> ProcessModel:
    """Return the first-order model through the 28.3 % and 63.2 % points.

    T = 1.5 (t63.2 - t28.3), L = t63.2 - T: exact for a lag and dead time but for the rounding of
    28.3 % (1 - exp(-1/3)) and 63.2 % (1 - 1/e). C. L. Smith, Digital Computer Process Control,
    1972 (from memory).

    Args:
        time: from the step, increasing, shape (n,) [s].
        response: from rest to rest, shape (n,) [% of range].
        step: of the output [%].

    Raises:
        ValueError: the response ends where it began, or its points give no lag.
    """
    t, share, gain = _normalised(time, response, step)
    t28, t63 = _first_passage(t, share, 0.283), _first_passage(t, share, 0.632)
    T = 1.5 * (t63 - t28)
    return _model(gain, T, t63 - T)


def two_point_sundaresan_krishnaswamy(
    time: ArrayLike, response: ArrayLike, *, step: float = 1.0
) -> ProcessModel:
    """Return the first-order model through the 35.3 % and 85.3 % points.

    T = 0.67 (t85.3 - t35.3), L = 1.3 t35.3 - 0.29 t85.3: constants rounded by the source, so that
    a true 5 s and 2 s come out as 4.9644 s and 2.0700 s. Sundaresan & Krishnaswamy, Canadian J.
    Chemical Engineering 56, 1978.

    Args:
        time: from the step, increasing, shape (n,) [s].
        response: from rest to rest, shape (n,) [% of range].
        step: of the output [%].

    Raises:
        ValueError: the response ends where it began, or its points give no lag.
    """
    t, share, gain = _normalised(time, response, step)
    t35, t85 = _first_passage(t, share, 0.353), _first_passage(t, share, 0.853)
    return _model(gain, 0.67 * (t85 - t35), 1.3 * t35 - 0.29 * t85)


def area_method(time: ArrayLike, response: ArrayLike, *, step: float = 1.0) -> ProcessModel:
    """Return the first-order model with the same areas under and over the response.

    The area between response and final value, over the gain, is T + L; e times the area under the
    response up to then, over the gain, is T. Åström & Hägglund, PID Controllers, 2nd ed., 1995,
    section 2.4 (from memory).

    Args:
        time: from the step, increasing, shape (n,) [s].
        response: from rest to rest, shape (n,) [% of range].
        step: of the output [%].

    Raises:
        ValueError: the response ends where it began, or before its area is complete.
    """
    t, share, gain = _normalised(time, response, step)
    total = float(np.trapezoid(1.0 - share, t))
    if not t[0] <= total <= t[-1]:
        raise ValueError(f"response: its area gives {total:.3g} s, outside the record")
    until = t < total
    times = np.append(t[until], total)
    values = np.append(share[until], np.interp(total, t, share))
    T = math.e * float(np.trapezoid(values, times))
    return _model(gain, T, total - T)


def _normalised(time: ArrayLike, response: ArrayLike, step: float) -> tuple[Array, Array, float]:
    """Return time from the step, response as a share of its final change, and the gain."""
    t, y = np.asarray(time, dtype=float), np.asarray(response, dtype=float)
    if t.ndim != 1 or t.shape != y.shape or t.size < 3:
        raise ValueError(f"time and response have shapes {t.shape} and {y.shape}: one value each")
    if not (np.all(np.isfinite(y)) and np.all(np.diff(t) > 0.0)):
        raise ValueError("response must be finite and time must increase")
    if not (math.isfinite(step) and step != 0.0):
        raise ValueError(f"step {step} %: must be finite and not 0")
    if y[-1] == y[0]:
        raise ValueError("response ends where it began: no step response from rest to rest")
    return t, (y - y[0]) / (y[-1] - y[0]), float(y[-1] - y[0]) / step


def _first_passage(t: Array, share: Array, level: float) -> float:
    """Return when the response first passes a share of its change, interpolated [s]."""
    i = int(np.argmax(share >= level))
    part = (level - share[i - 1]) / (share[i] - share[i - 1])
    return float(t[i - 1] + part * (t[i] - t[i - 1]))


def _model(gain: float, T: float, L: float) -> ProcessModel:
    """Return the model; a dead time that comes out below zero is none."""
    if T < 0.0:
        raise ValueError(f"response: its points give a time constant of {T:.3g} s")
    return ProcessModel("first order", gain, T, max(L, 0.0))
