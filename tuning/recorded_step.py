"""A step test recorded on a real machine: read from a file's bytes and fitted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import Trend, read_trend
from tuning.identify import StepFit
from tuning.step_test import fit_trend

Array = NDArray[np.float64]

# A step test of an hour at 20 samples a second; more is a production record.
MOST_SAMPLES = 72_000
# Nothing on a machine is measured in larger numbers; beyond them sums of squares lose meaning.
LARGEST = 1e9


@dataclass(frozen=True)
class RecordedStep:
    """A recorded step test and what it says.

    Attributes:
        trend: as recorded.
        fit: models fitted to it.
        diameter: of the roll, where the file tells [m]; nan elsewhere.
        line_speed: of the web, where the file tells [m/s]; nan elsewhere.
    """

    trend: Trend
    fit: StepFit
    diameter: float = math.nan
    line_speed: float = math.nan


def read_record(data: bytes, *, name: str) -> Trend:
    """Read a trend file of a step test.

    Args:
        data: the file as it is.
        name: what to call the file in an error.

    Raises:
        ValueError: the file is not text, not a trend, or too long or too large to be a step test.
    """
    try:
        trend = read_trend(data.decode("utf-8-sig"), name=name)
    except UnicodeDecodeError:
        raise ValueError(
            f"{name}: is not text in UTF-8; export the trend as CSV, not as a workbook"
        ) from None
    if trend.time.size > MOST_SAMPLES:
        raise ValueError(
            f"{name}: has {trend.time.size} samples, more than {MOST_SAMPLES}: cut out the step "
            "test, from shortly before the first step"
        )
    for column in ("time", "tension", "output"):
        largest = float(np.abs(getattr(trend, column)).max())
        if largest > LARGEST:
            raise ValueError(f"{name}: {column} reaches {largest:.3g}: check its unit")
    return trend


def recorded_step(
    data: bytes, *, name: str, tension_range: float, play: float = 0.0
) -> RecordedStep:
    """Read a trend file recorded in manual and fit models to its steps.

    Args:
        data: the file as it is.
        name: what to call the file in an error.
        tension_range: 100 % of the measured scale [N].
        play: of the device's supply, full width [%].

    Raises:
        ValueError: the file is not text, not a trend, or holds no step test; says what to change.
    """
    trend = read_record(data, name=name)
    try:
        fit = fit_trend(trend, tension_range=tension_range, play=play)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None
    return RecordedStep(trend, fit, _middle(trend.diameter), _middle(trend.line_speed))


def _middle(values: Array) -> float:
    """Return the median of what is known; nan if nothing is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan
