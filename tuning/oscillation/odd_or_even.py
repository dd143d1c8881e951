"""Odd or even: what the cross-correlation of output and measurement says about sticking.

After Horch (A simple method for detection of stiction in control valves, Control Engineering
Practice 7, 1999); the indices are restated from memory, but follow from the correlation of two
sines: with the phase φ between them it goes as cos(ωτ + φ), so over the lags between the first
crossings of zero on either side

    Δρ = |(|r(0)| − max|r|)| / (|r(0)| + max|r|) = (1 − |cos φ|)/(1 + |cos φ|)
    Δτ = |τ_left − τ_right| / (τ_left + τ_right) = 2 |φ|/π, φ folded to ±π/2

An odd correlation (a quarter of a period apart, both 1) speaks for a device that sticks, an even
one (both 0) for a loop too tight or a disturbance from outside. His limits, 1/3 and 2/3 against
0.072 and 1/3, are the phases 60° and 30°; between them nothing is said. Not for a process that
integrates; and a process or a controller with other phases can make either picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import resample_poly

from tuning.oscillation.phase_track import bridge_gaps, sines

Array = NDArray[np.float64]

ODD_RATIO, ODD_LAG = 1.0 / 3.0, 2.0 / 3.0
EVEN_RATIO, EVEN_LAG = (2.0 - math.sqrt(3.0)) / (2.0 + math.sqrt(3.0)), 1.0 / 3.0
FEWEST_PERIODS, NYQUIST_SHARE = 3.0, 0.8
# Lags a period that the correlation is worked out at, or brought to between samples.
_LAGS = 64
# Correlation below this is taken for none.
LEAST_CORRELATION = 0.2


@dataclass(frozen=True)
class OddOrEven:
    """Cross-correlation of output and measurement near lag zero; nan is unknown.

    Attributes:
        ratio_index: Δρ, 0 even to 1 odd [-].
        lag_index: Δτ, 0 even to 1 odd [-].
        at_zero: correlation at lag zero, −1 to 1 [-].
        largest: largest in size between the first crossings of zero, with its sign [-].
        verdict: "odd", "even" or "unknown".
        warnings: what a reader should know.
    """

    ratio_index: float = math.nan
    lag_index: float = math.nan
    at_zero: float = math.nan
    largest: float = math.nan
    verdict: str = "unknown"
    warnings: tuple[str, ...] = ()


def odd_or_even(
    output: ArrayLike, measurement: ArrayLike, interval: float, frequency: float
) -> OddOrEven:
    """Return whether output and measurement are correlated oddly or evenly.

    Level and slope are taken out of each piece of three periods first.

    Args:
        output: of the controller, shape (n,) [%].
        measurement: shape (n,) [units of the measurement].
        interval: between samples [s].
        frequency: of the oscillation [Hz]; it may drift by a few per cent.

    Raises:
        ValueError: records that do not match, or an interval that is not positive.
    """
    u, y = np.asarray(output, dtype=float), np.asarray(measurement, dtype=float)
    if u.ndim != 1 or u.shape != y.shape:
        raise ValueError(f"records of shape {u.shape} and {y.shape}: must both be (n,)")
    if not (math.isfinite(interval) and interval > 0.0):
        raise ValueError(f"interval {interval} s: must be above 0")
    if not (math.isfinite(frequency) and frequency > 0.0):
        return OddOrEven(warnings=("no frequency to look at",))
    if u.size * interval * frequency < FEWEST_PERIODS:
        return OddOrEven(warnings=("less than three periods",))
    if frequency * interval > 0.5 * NYQUIST_SHARE:
        return OddOrEven(warnings=("sampled too slowly for this frequency",))
    records = [bridge_gaps(u), bridge_gaps(y)]
    flat = [sines(r, interval, frequency)[2] for r in records if r is not None]
    if len(flat) < 2:
        return OddOrEven(warnings=("one of the two is not known or never changes",))
    block = max(1, int(1.0 / (frequency * interval * _LAGS)))
    size = flat[0].size // block * block
    one, other = (r[:size].reshape(-1, block).mean(axis=1) for r in flat)
    scale = math.sqrt(float(one @ one) * float(other @ other))
    if scale <= 0.0:
        return OddOrEven(warnings=("one of the two does not move",))
    samples = 1.0 / (frequency * interval * block)
    reach = min(math.ceil(samples) + 12, one.size - 1)
    long = next_fast_len(one.size + reach, real=True)
    lagged = irfft(np.conj(rfft(one, long)) * rfft(other, long), long) / scale
    correlation = np.concatenate([lagged[-reach:], lagged[: reach + 1]])
    finer = max(1, math.ceil(_LAGS / samples))
    return _indices(resample_poly(correlation, finer, 1), reach * finer)


def _indices(correlation: Array, zero: int) -> OddOrEven:
    here = float(correlation[zero])
    sign = 1.0 if here >= 0.0 else -1.0
    right = _crossing(sign * correlation[zero:])
    left = _crossing(sign * correlation[zero::-1])
    if math.isnan(left) or math.isnan(right):
        return OddOrEven(at_zero=here, warnings=("the correlation does not swing",))
    between = sign * correlation[zero - int(left) : zero + int(right) + 1]
    largest = float(np.max(between))
    ratio = abs(abs(here) - largest) / (abs(here) + largest)
    lag = abs(left - right) / max(left + right, 1e-12)
    verdict, notes = "unknown", []
    if largest < LEAST_CORRELATION:
        notes.append("the two hardly go together")
    elif ratio >= ODD_RATIO and lag >= ODD_LAG:
        verdict = "odd"
    elif ratio <= EVEN_RATIO and lag <= EVEN_LAG:
        verdict = "even"
    return OddOrEven(ratio, lag, here, sign * largest, verdict, tuple(notes))


def _crossing(values: Array) -> float:
    """Where values that start above zero first get to zero, straight between places; nan never."""
    below = np.flatnonzero(values <= 0.0)
    if below.size == 0:
        return math.nan
    first = int(below[0])
    if first == 0:
        return 0.0
    return first - 1 + float(values[first - 1] / (values[first - 1] - values[first]))
