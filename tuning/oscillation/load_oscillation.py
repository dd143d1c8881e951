"""Load disturbances that come too often: Hägglund's detector, on the control error alone.

Between two of its zero crossings a control error that matters has a large integral. A sine of
amplitude a and angular frequency w has 2 a/w there. With the loop's ultimate frequency for w (an
oscillation that is faster than that isn't the loop's), IAE_lim = 2 a/w_u is the least that counts
as a load disturbance; a loop in which they keep coming oscillates. Hägglund (Control Engineering
Practice 3, 1995), from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tuning.oscillation.even_record import even_record
from tuning.oscillation.regularity import zero_crossings

Array = NDArray[np.float64]

# So many loads within a supervision time of so many ultimate periods are an oscillation.
MOST_LOADS, SUPERVISED_PERIODS = 10.0, 50.0


@dataclass(frozen=True, eq=False)
class LoadOscillations:
    """What the control error did between its zero crossings.

    Attributes:
        crossings: times of the zero crossings, shape (m,) [s].
        iae: integral of the absolute error between them, shape (m - 1,) [unit s].
        limit: what counts as a load disturbance [unit s].
        loads: how many there were.
        most: largest number within the supervision time, older ones forgotten exponentially [-].
        detected_at: when that number passed ten [s]; nan if it never did.
    """

    crossings: Array
    iae: Array
    limit: float
    loads: int
    most: float
    detected_at: float

    @property
    def detected(self) -> bool:
        """Return whether load disturbances come so often that it is an oscillation."""
        return not math.isnan(self.detected_at)


def load_oscillations(
    error: ArrayLike, interval: float, *, ultimate_frequency: float, least_amplitude: float
) -> LoadOscillations:
    """Return the load disturbances in a control error, and whether they are an oscillation.

    The error is taken as straight from sample to sample; what comes before its first and after its
    last zero crossing is left out. The count is x := x exp(-dt/T) + 1 at each load, with the
    supervision time T = 50/ultimate_frequency; an oscillation is there once x exceeds 10.

    Args:
        error: setpoint less measurement, shape (n,) [unit].
        interval: between samples [s].
        ultimate_frequency: at which the loop would just keep swinging [Hz].
        least_amplitude: amplitude a of an oscillation that matters [unit].

    Raises:
        ValueError: an error that is not finite, of fewer than 16 samples or not in one row; an
            interval, a frequency or an amplitude that is not positive.
    """
    record = even_record(error, interval)
    for name, value in (
        ("ultimate_frequency", ultimate_frequency),
        ("least_amplitude", least_amplitude),
    ):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} {value}: must be above 0")
    limit = 2.0 * least_amplitude / (2.0 * math.pi * ultimate_frequency)
    places = zero_crossings(record)
    # With the crossings among the samples the absolute error is straight from point to point.
    points = np.concatenate([np.arange(len(record), dtype=float), places])
    sizes = np.concatenate([np.abs(record), np.zeros(len(places))])
    order = np.argsort(points, kind="stable")
    points, sizes = points[order], sizes[order]
    areas = 0.5 * (sizes[1:] + sizes[:-1]) * np.diff(points)
    total = np.concatenate([[0.0], np.cumsum(areas)])
    iae = np.diff(np.interp(places, points, total)) * interval
    times = places * interval
    ends = times[1:][iae > limit]
    count = most = 0.0
    last, detected_at = 0.0, math.nan
    for end in ends.tolist():
        count = count * math.exp(-(end - last) * ultimate_frequency / SUPERVISED_PERIODS) + 1.0
        last, most = end, max(most, count)
        if count > MOST_LOADS and math.isnan(detected_at):
            detected_at = end
    return LoadOscillations(times, iae, limit, len(ends), most, detected_at)
