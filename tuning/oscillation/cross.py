"""Two records of one oscillation: how late, how much larger, how much of one explains the other.

Everything is fitted in pieces of equal length, so a drifting frequency does no harm: what drifts is
common to both records. Phases are those of y over u: a delay D gives −360° f D.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tuning.oscillation.phase_track import (
    bridge_gaps,
    fit_harmonics,
    piece_length,
    sines,
    track_phase,
)

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

FEWEST_PERIODS = 2.0
# A sine between a level and a slope can't be told from an alias closer to Nyquist than this.
NYQUIST_SHARE = 0.9
# A line counts where its power is this many times what noise puts there on average.
CLEAR = 6.0
# A piece for coherence has this many cycles at least, and the record this many pieces if it can.
FEWEST_CYCLES, USUAL_PIECES, FEWEST_PIECES = 4.0, 16, 3
# Equivalent noise bandwidth of a Hann window, in bins (textbook, exact).
_HANN_BANDWIDTH = 1.5


@dataclass(frozen=True)
class PhaseBetween:
    """How an oscillation stands in y against u; nan is unknown.

    Attributes:
        phase: of y over u, −180 to 180 [deg].
        phase_error: its standard error [deg].
        gain: ratio of amplitudes, y over u [units of y per unit of u].
        gain_error: its standard error [units of y per unit of u].
        ratio: Y/U, complex [units of y per unit of u].
        coherence: magnitude-squared coherence of the two over the pieces [-].
        amplitude_u: of the oscillation in u, steady part [units of u].
        amplitude_y: of the oscillation in y, steady part [units of y].
        pieces: that it was found from.
        warnings: what a reader should know.
    """

    phase: float = math.nan
    phase_error: float = math.nan
    gain: float = math.nan
    gain_error: float = math.nan
    ratio: complex = complex(math.nan, math.nan)
    coherence: float = math.nan
    amplitude_u: float = math.nan
    amplitude_y: float = math.nan
    pieces: int = 0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Coherence:
    """How much of y at a frequency goes with x; nan is unknown.

    Attributes:
        coherence: magnitude-squared, 0 to 1 [-].
        level: that unrelated records exceed with the chance alpha [-]; 1 − alpha^(1/(K−1)).
        pieces: independent ones, K.
        bandwidth: over which it was taken [Hz].
        amplitude_x: of x in that band, as of a sine [units of x].
        amplitude_y: of y in that band, as of a sine [units of y].
        explained: amplitude of y that goes with x, without what chance makes coherent [units of y].
        gain: of y over x [units of y per unit of x].
        phase: of y over x [deg].
        warnings: what a reader should know.
    """

    coherence: float = math.nan
    level: float = math.nan
    pieces: int = 0
    bandwidth: float = math.nan
    amplitude_x: float = math.nan
    amplitude_y: float = math.nan
    explained: float = math.nan
    gain: float = math.nan
    phase: float = math.nan
    warnings: tuple[str, ...] = ()

    @property
    def significant(self) -> bool:
        """Whether chance alone would hardly make the two so coherent; False where unknown."""
        return self.coherence > self.level


def phase_between(u: ArrayLike, y: ArrayLike, interval: float, frequency: float) -> PhaseBetween:
    """Return phase and gain of y over u at a frequency that both have.

    The phase of the record in which the oscillation is clearer is tracked, and both are averaged
    against it, Y/U = mean(Y)/mean(U), so noise in u doesn't make the gain too small.

    Args:
        u: one record, such as the output, shape (n,) [units of u].
        y: the other, such as the measurement, shape (n,) [units of y].
        interval: between samples [s].
        frequency: known to a quarter of a cycle over the record; it may drift [Hz].

    Raises:
        ValueError: records that do not match, or an interval that is not positive.
    """
    records, why = _both(u, y, interval, frequency)
    if records is None:
        return PhaseBetween(warnings=(why,))
    pieces, length = piece_length(records[0].size, interval, frequency)
    cut = [record[: pieces * length] for record in records]
    clearer = max(cut, key=lambda record: _sine_share(record, interval, frequency))
    phase = track_phase(clearer, interval, frequency)
    a, b = (fit_harmonics(record, phase, pieces, 1) for record in cut)
    return _ratio(a[1][:, 0], b[1][:, 0], [a[2], b[2]], pieces * length)


def _sine_share(record: Array, interval: float, frequency: float) -> float:
    """Power of the sines in the pieces over that of all but level and slope."""
    phasors, _, flat = sines(record, interval, frequency)
    return 0.5 * float(np.mean(np.abs(phasors) ** 2)) / max(float(np.mean(flat**2)), 1e-300)


def _ratio(a: ComplexArray, b: ComplexArray, noise: list[float], samples: int) -> PhaseBetween:
    mean_a, mean_b = complex(np.mean(a)), complex(np.mean(b))
    pieces = a.size
    # A sine fitted to N samples with noise s has the complex error 4 s²/N, in power.
    own = [4.0 * n**2 / samples for n in noise]
    coherence = math.nan
    if pieces >= FEWEST_PIECES:
        power = float(np.sum(np.abs(a) ** 2) * np.sum(np.abs(b) ** 2))
        coherence = float(abs(np.sum(b * np.conj(a))) ** 2) / power if power > 0.0 else math.nan
    known = PhaseBetween(
        coherence=coherence, amplitude_u=abs(mean_a), amplitude_y=abs(mean_b), pieces=pieces
    )
    if abs(mean_a) ** 2 <= CLEAR * own[0] or abs(mean_b) ** 2 <= CLEAR * own[1]:
        return _with(known, "noise hides the oscillation in one of the two")
    ratio = mean_b / mean_a
    error = own[1] + abs(ratio) ** 2 * own[0]
    if pieces >= 4:
        scatter = float(np.sum(np.abs(b - ratio * a) ** 2)) / (pieces * (pieces - 1.0))
        error = max(error, scatter)
    gain_error = math.sqrt(0.5 * error) / abs(mean_a)
    return PhaseBetween(
        phase=math.degrees(math.atan2(ratio.imag, ratio.real)),
        phase_error=math.degrees(min(gain_error / abs(ratio), math.pi / math.sqrt(3.0))),
        gain=abs(ratio),
        gain_error=gain_error,
        ratio=ratio,
        coherence=coherence,
        amplitude_u=abs(mean_a),
        amplitude_y=abs(mean_b),
        pieces=pieces,
    )


def _with(known: PhaseBetween, why: str) -> PhaseBetween:
    return PhaseBetween(
        coherence=known.coherence,
        amplitude_u=known.amplitude_u,
        amplitude_y=known.amplitude_y,
        pieces=known.pieces,
        warnings=(why,),
    )


def coherence_at(
    x: ArrayLike,
    y: ArrayLike,
    interval: float,
    frequency: float,
    band: float = math.nan,
    *,
    alpha: float = 0.05,
) -> Coherence:
    """Return the magnitude-squared coherence of two records at a frequency.

    The record is cut into K pieces that don't overlap, each without its straight line and under a
    Hann window: |Σ Y X*|²/(Σ|X|² Σ|Y|²). For unrelated Gaussian records and independent pieces
    1 − alpha^(1/(K−1)) is exceeded with the chance alpha (exact; Carter, Knapp & Nuttall, IEEE
    Trans. Audio Electroacoust. 21(4), 1973, from memory). Two steady lines of the very same
    frequency are coherent whatever makes them: coherence then says that they go together, no more.

    Args:
        x: what might explain, such as the line speed, shape (n,) [units of x].
        y: what is to be explained, shape (n,) [units of y].
        interval: between samples [s].
        frequency: looked at [Hz].
        band: width over which the two are compared [Hz]; 1.5 over a piece's duration. nan takes 16
            pieces, or fewer with four cycles each.
        alpha: chance of a false alarm [-].

    Raises:
        ValueError: records that do not match, or an interval or alpha out of range.
    """
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha {alpha}: must be above 0 and below 1")
    records, why = _both(x, y, interval, frequency)
    if records is None:
        return Coherence(warnings=(why,))
    samples = records[0].size
    if math.isfinite(band) and band > 0.0:
        length = round(_HANN_BANDWIDTH / (band * interval))
    else:
        length = max(math.ceil(FEWEST_CYCLES / (frequency * interval)), samples // USUAL_PIECES)
    length = max(length, math.ceil(2.0 / (frequency * interval)), 8)
    pieces = samples // length
    if pieces < FEWEST_PIECES:
        return Coherence(pieces=pieces, warnings=("too short to compare the two piece by piece",))
    window = 0.5 - 0.5 * np.cos(2.0 * math.pi * np.arange(float(length)) / length)
    local = np.arange(float(length)) - 0.5 * (length - 1)
    wave = window * np.exp(-2j * math.pi * frequency * interval * local)
    # Taking the straight line out of a piece is taking it out of the wave that it meets.
    wave = wave - np.mean(wave) - local * (np.sum(wave * local) / np.sum(local**2))
    wave *= 2.0 / np.sum(window)
    fx, fy = (record[: pieces * length].reshape(pieces, length) @ wave for record in records)
    power_x, power_y = float(np.mean(np.abs(fx) ** 2)), float(np.mean(np.abs(fy) ** 2))
    level = 1.0 - alpha ** (1.0 / (pieces - 1.0))
    bandwidth = _HANN_BANDWIDTH / (length * interval)
    least = [1e-24 * float(np.mean(record**2)) for record in records]
    if power_x <= least[0] or power_y <= least[1]:
        return Coherence(
            level=level,
            pieces=pieces,
            bandwidth=bandwidth,
            amplitude_x=math.sqrt(power_x),
            amplitude_y=math.sqrt(power_y),
            warnings=("one of the two does not move at this frequency",),
        )
    cross = complex(np.mean(fy * np.conj(fx)))
    coherence = min(abs(cross) ** 2 / (power_x * power_y), 1.0)
    beyond_chance = max(0.0, (pieces * coherence - 1.0) / (pieces - 1.0))
    return Coherence(
        coherence=coherence,
        level=level,
        pieces=pieces,
        bandwidth=bandwidth,
        amplitude_x=math.sqrt(power_x),
        amplitude_y=math.sqrt(power_y),
        explained=math.sqrt(beyond_chance * power_y),
        gain=abs(cross) / power_x,
        phase=math.degrees(math.atan2(cross.imag, cross.real)),
    )


def _both(
    u: ArrayLike, y: ArrayLike, interval: float, frequency: float
) -> tuple[tuple[Array, Array] | None, str]:
    """Both records about their means, or why the question can't be answered."""
    one, other = np.asarray(u, dtype=float), np.asarray(y, dtype=float)
    if one.ndim != 1 or one.shape != other.shape:
        raise ValueError(f"records of shape {one.shape} and {other.shape}: must both be (n,)")
    if not (math.isfinite(interval) and interval > 0.0):
        raise ValueError(f"interval {interval} s: must be above 0")
    if not (math.isfinite(frequency) and frequency > 0.0):
        return None, "no frequency to look at"
    if one.size * interval * frequency < FEWEST_PERIODS:
        return None, "less than two periods"
    if frequency * interval > 0.5 * NYQUIST_SHARE:
        return None, "sampled too slowly for this frequency"
    first, second = bridge_gaps(one), bridge_gaps(other)
    if first is None or second is None:
        return None, "one of the two is not known or never changes"
    return (first, second), ""
