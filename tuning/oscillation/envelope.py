"""How large an oscillation is from moment to moment, and in automatic against manual."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import hilbert

from tuning.oscillation.regularity import within_band

Array = NDArray[np.float64]

# Swings that each mode must last for a comparison of the two [-].
LEAST_SWINGS = 4.0


def envelope(values: Array, interval: float, *, low: float, high: float) -> Array:
    """Return the amplitude of what lies in a band of frequencies, at each sample, shape (n,).

    Args:
        values: shape (n,) [unit].
        interval: from sample to sample [s].
        low: lower end of the band [Hz].
        high: upper end of the band [Hz].
    """
    band = within_band(values, interval, low=low, high=high)
    return np.asarray(np.abs(hilbert(band)))


def mode_ratio(amplitude: Array, automatic: Array, *, period_samples: float) -> float:
    """Return ln of the amplitude in automatic over that in manual [-]; nan if one is too short.

    Args:
        amplitude: at each sample, shape (n,) [any].
        automatic: 1 or 0, shape (n,) [-].
        period_samples: samples in one swing [-].
    """
    auto = automatic > 0.5
    least = LEAST_SWINGS * period_samples
    if min(auto.sum(), (~auto).sum()) < max(least, 8):
        return math.nan
    power = amplitude**2
    floor = 1e-6 * float(power.max()) + 1e-300
    return 0.5 * math.log(
        (float(power[auto].mean()) + floor) / (float(power[~auto].mean()) + floor)
    )


def unevenness(amplitude: Array, *, period_samples: float) -> float:
    """Return how much an amplitude comes and goes: its coefficient of variation [-].

    0 for a steady swing, about 0.5 for a narrow band of noise, larger for swings that are knocked
    on and die away. Looked at once a swing; the first and the last swing are left out.

    Args:
        amplitude: at each sample, shape (n,) [any].
        period_samples: samples in one swing [-].
    """
    skip = max(int(period_samples), 1)
    inner = amplitude[skip:-skip]
    if inner.size < 4 * skip:
        return math.nan
    count = inner.size // skip
    each = inner[: count * skip].reshape(count, skip).mean(axis=1)
    mean = float(each.mean())
    return float(each.std()) / mean if mean > 0.0 else math.nan
