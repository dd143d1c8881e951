"""What counts as an evenly sampled record: one row of enough finite values."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

FEWEST_SAMPLES = 16


def even_record(values: ArrayLike, interval: float) -> Array:
    """Return values as an array, shape (n,) [unit].

    Args:
        values: evenly sampled, shape (n,) [unit].
        interval: between samples [s].

    Raises:
        ValueError: values that are not finite, fewer than 16 or not in one row; an interval that
            is not positive.
    """
    record = np.asarray(values, dtype=float)
    if record.ndim != 1 or len(record) < FEWEST_SAMPLES:
        raise ValueError(
            f"values of shape {record.shape}: must be one row of at least {FEWEST_SAMPLES}"
        )
    if not np.all(np.isfinite(record)):
        raise ValueError("values: must all be finite; fill gaps first")
    if not (math.isfinite(interval) and interval > 0.0):
        raise ValueError(f"interval {interval}: must be above 0 s")
    return record


def only_rounding(part: Array, record: Array) -> bool:
    """Return whether what was taken from a record is no more than its rounding.

    Args:
        part: such as the record without its mean, shape (n,) [unit].
        record: shape (n,) [unit].
    """
    return float(np.std(part)) <= 1e-12 * float(np.max(np.abs(record)))
