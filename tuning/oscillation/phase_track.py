"""Where in its cycle an oscillation is at each sample, when its frequency drifts a little.

The record is cut into pieces of three periods, and in each a level, a slope and a sine of the
expected frequency are fitted. The phases of the fitted sines say how far the oscillation runs ahead
of the expected frequency. How long to average them is chosen from the record itself: every other
piece is foretold from those between, so a noisy oscillation is averaged over long, and a clean one
is followed through every drift.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

# Short enough for a drift of some per cent, long enough to tell a sine from a level and a slope.
PIECE_PERIODS = 3.0
FEWEST_SAMPLES, MOST_GAPS = 12, 0.2
# Power of a piece's sine over that of its error from which the piece's own phase will do, to a
# fifth of a radian; wandering that makes it worth having, besides twice that error [rad].
OWN_CLEAR, OWN_WORTH = 12.0, 0.05
# Pieces averaged for the local frequency and for the phase; 0 takes one frequency throughout.
_FREQUENCY_SPANS = (0, 81, 27, 9, 3)
_PHASE_SPANS = (81, 27, 9, 3, 1)
# A shorter average must foretell this much better, as a share, before it is believed.
_WORTH = 1e-3


def piece_length(samples: int, interval: float, frequency: float) -> tuple[int, int]:
    """Return how many pieces of three periods or a little more a record has, and their samples.

    Less than one piece is left over.

    Args:
        samples: in the record.
        interval: between samples [s].
        frequency: of the oscillation [Hz].
    """
    pieces = max(1, samples // math.ceil(PIECE_PERIODS / (interval * frequency) - 1e-9))
    return pieces, samples // pieces


def bridge_gaps(values: ArrayLike) -> Array | None:
    """Return the values about their mean with gaps (nan) filled straight across.

    None where more than a fifth is missing, or less than a dozen values or no change is left.

    Args:
        values: shape (n,) [units of the measurement].
    """
    y = np.asarray(values, dtype=float)
    known = np.isfinite(y)
    if known.sum() < max(FEWEST_SAMPLES, (1.0 - MOST_GAPS) * y.size):
        return None
    if not known.all():
        at = np.arange(float(y.size))
        y = np.interp(at, at[known], y[known])
    middle = float(np.mean(y))
    if np.ptp(y) <= 1e-12 * (1.0 + abs(middle)):
        return None
    about: Array = y - middle
    return about


def track_phase(values: Array, interval: float, frequency: float) -> Array:
    """Return the phase of an oscillation at each sample, so that it goes as cos(phase) [rad].

    Args:
        values: finite, shape (n,) [units of the measurement].
        interval: between samples [s].
        frequency: known to about a quarter of a cycle over the record, or that drifts around this
            by a few per cent [Hz].
    """
    ahead, centre, _ = sines(values, interval, frequency)
    time = np.arange(float(values.size)) * interval
    phase: Array = 2.0 * math.pi * frequency * time + _between(time, centre, _smooth_phase(ahead))
    return phase


def sines(values: Array, interval: float, frequency: float) -> tuple[ComplexArray, Array, Array]:
    """Return a sine of one frequency fitted to each piece, beside a level and a slope.

    Args:
        values: finite, shape (n,) [units of the measurement].
        interval: between samples [s].
        frequency: of the sine [Hz].

    Returns:
        Phasors X of Re[X exp(i 2π f t)], t from the first sample, shape (pieces,) [units of the
        measurement]; middles of the pieces, shape (pieces,) [s]; values without levels and slopes,
        cut to whole pieces [units of the measurement].
    """
    pieces, length = piece_length(values.size, interval, frequency)
    omega = 2.0 * math.pi * frequency
    local = (np.arange(float(length)) - 0.5 * (length - 1)) * interval
    columns = np.stack(
        [np.ones(length), local * frequency, np.cos(omega * local), np.sin(omega * local)]
    )
    cut = values[: pieces * length].reshape(pieces, length)
    fitted = cut @ np.linalg.pinv(columns)
    centre = (np.arange(float(pieces)) * length + 0.5 * (length - 1)) * interval
    phasors = (fitted[:, 2] - 1j * fitted[:, 3]) * np.exp(-1j * omega * centre)
    flat: Array = (cut - fitted[:, :2] @ columns[:2]).ravel()
    return phasors, centre, flat


def fit_harmonics(
    y: Array, phase: Array, pieces: int, order: int
) -> tuple[Array, ComplexArray, float]:
    """Return harmonics fitted to each piece of a record, beside a level and a slope.

    Args:
        y: finite, shape (n,) [units of the measurement]; n a multiple of the pieces.
        phase: of the oscillation, shape (n,) [rad].
        pieces: of equal length.
        order: harmonics fitted, the fundamental included.

    Returns:
        Values without levels and slopes, shape (n,) [units of the measurement]; phasors X of
        Re[X exp(i j phase)], shape (pieces, order); rms of the remainder.
    """
    length = y.size // pieces
    values, phases = y.reshape(pieces, length), phase.reshape(pieces, length)
    flat = np.empty((pieces, length))
    phasors = np.empty((pieces, order), dtype=complex)
    square = 0.0
    # A few pieces at a time, which stays in the processor's cache.
    some = max(1, 40000 // length)
    ramp = np.linspace(-1.0, 1.0, length)
    for start in range(0, pieces, some):
        part = slice(start, min(start + some, pieces))
        turn = np.exp(1j * phases[part])
        columns = np.empty((turn.shape[0], 2 + 2 * order, length))
        columns[:, 0] = 1.0
        columns[:, 1] = ramp
        power = turn
        for j in range(order):
            columns[:, 2 + 2 * j] = power.real
            columns[:, 3 + 2 * j] = power.imag
            power = power * turn
        target = columns @ values[part, :, None]
        normal = columns @ columns.transpose(0, 2, 1)
        # Pieces of hardly more samples than unknowns may not tell these apart.
        normal += 1e-12 * length * np.eye(normal.shape[1])
        fitted = np.linalg.solve(normal, target)[:, :, 0]
        flat[part] = values[part] - fitted[:, :1] - fitted[:, 1:2] * ramp
        rest = flat[part] - (fitted[:, None, 2:] @ columns[:, 2:])[:, 0]
        square += float(np.sum(rest**2))
        phasors[part] = fitted[:, 2::2] - 1j * fitted[:, 3::2]
    freedom = max(y.size - pieces * (2 + 2 * order), 1)
    return flat.ravel(), phasors, math.sqrt(square / freedom)


def own_phase(phase: Array, fundamental: ComplexArray, noise: float) -> Array | None:
    """Return the phase turned by what each piece says of it, or None where that is no better.

    An oscillation that hunts, such as one of a device that sticks, is not in step with itself for
    long, and neighbours foretell it badly; where it is clear enough a piece knows its own phase.

    Args:
        phase: tracked, shape (n,) [rad].
        fundamental: phasors fitted against it, shape (pieces,) [units of the measurement].
        noise: rms of what the harmonics leave [units of the measurement].
    """
    pieces, length = fundamental.size, phase.size // fundamental.size
    power = float(np.mean(np.abs(fundamental) ** 2))
    # A sine fitted to N samples with noise s has the complex error 4 s²/N, in power.
    error = 4.0 * noise**2 / length
    if pieces < 3 or power < OWN_CLEAR * error:
        return None
    ahead = np.unwrap(np.angle(fundamental))
    if float(np.var(ahead)) < max(OWN_WORTH**2, 2.0 * error / power):
        return None
    centre = np.arange(float(pieces)) * length + 0.5 * (length - 1)
    turned: Array = phase + _between(np.arange(float(phase.size)), centre, ahead)
    return turned


def _between(time: Array, centre: Array, phase: Array) -> Array:
    """Straight from piece to piece, and straight on past the first and the last."""
    if centre.size == 1:
        return np.full(time.size, phase[0])
    inside: Array = np.interp(time, centre, phase)
    slope = np.diff(phase) / np.diff(centre)
    before, after = time < centre[0], time > centre[-1]
    inside[before] = phase[0] + slope[0] * (time[before] - centre[0])
    inside[after] = phase[-1] + slope[-1] * (time[after] - centre[-1])
    return inside


def _smooth_phase(ahead: ComplexArray) -> Array:
    """Unwrapped phase of the pieces' phasors, averaged as long as foretells them best."""
    best, best_score = (0, ahead.size), -math.inf
    even, odd = ahead[::2], ahead[1::2]
    worth = _WORTH * float(np.sum(np.abs(odd)))
    for frequency_span in _FREQUENCY_SPANS:
        if frequency_span >= even.size:
            continue
        turned = _turned(even, frequency_span)
        for phase_span in _PHASE_SPANS:
            if phase_span > max(even.size, 1):
                continue
            phase = _averaged_phase(even, turned, phase_span)
            told = np.append(0.5 * (phase[1:] + phase[:-1]), phase[-1])[: odd.size]
            score = float(np.sum((odd * np.exp(-1j * told)).real))
            if score > best_score + worth:
                best, best_score = (2 * frequency_span, 2 * phase_span - 1), score
    return _averaged_phase(ahead, _turned(ahead, best[0]), best[1])


def _turned(ahead: ComplexArray, span: int) -> Array:
    """Phase from adding up the local frequency, averaged over a span of steps; 0 over all."""
    if ahead.size < 2:
        return np.zeros(ahead.size)
    steps = ahead[1:] * np.conj(ahead[:-1])
    local = _averaged(steps, span) if span else np.full(steps.size, np.angle(np.sum(steps)))
    turned: Array = np.concatenate([[0.0], np.cumsum(local)])
    return turned


def _averaged_phase(ahead: ComplexArray, turned: Array, span: int) -> Array:
    return turned + _averaged(ahead * np.exp(-1j * turned), span)


def _averaged(phasors: ComplexArray, span: int) -> Array:
    """Angle of the average over neighbours, unwrapped; a raised cosine weighs them.

    Towards the ends the neighbours lie on one side, so an average belongs to where their weight
    lies; beyond the last such place the angle goes straight on.
    """
    weights = np.hanning(span + 2)[1:-1]
    half, size = span // 2, phasors.size
    angle: Array = np.unwrap(np.angle(np.convolve(phasors, weights)[half:][:size]))
    if half == 0 or size <= span:
        return angle
    at = np.arange(float(size))
    place = (
        np.convolve(at, weights)[half:][:size] / np.convolve(np.ones(size), weights)[half:][:size]
    )
    straight: Array = np.interp(at, place, angle)
    for end, inner in ((0, half), (-1, -1 - half)):
        slope = (angle[inner] - angle[end]) / (place[inner] - place[end])
        beyond = at < place[0] if end == 0 else at > place[-1]
        straight[beyond] = angle[end] + slope * (at[beyond] - place[end])
    return straight
