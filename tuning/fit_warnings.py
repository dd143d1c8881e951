"""What to doubt in a fitted step test, in plain words."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tuning.fit_search import Fitted, Record, autocorrelation
from tuning.process_model import ProcessModel
from tuning.remainder import Ringing

Array = NDArray[np.float64]

# Common practice, no source: a step this many times the noise reads well enough.
CLEAR_STEP = 5.0
# Three time constants are 95 % of the way.
SETTLED_AFTER = 3.0
FEWEST_SAMPLES_A_CYCLE = 8.0
# A model this many times more damped than the ringing found hides it from a rule.
MORE_DAMPED = 1.5
POOR_FIT = 70.0
# Drift over the record that matters, as a share of the response, and in standard errors.
DRIFT_SHARE, CLEAR_DRIFT = 0.1, 3.0
STUCK_SHARE = 0.02

_WORDS = {
    "gain": "gain",
    "dead_time": "dead time",
    "time_constant": "time constant",
    "damping": "damping",
}


def doubts(
    record: Record,
    held: Array,
    fitted: Fitted,
    *,
    noise: float,
    ringing: Ringing | None,
    swing: tuple[float, Array] | None,
    alike: tuple[tuple[str, str], ...],
) -> tuple[str, ...]:
    """Return warnings about a fitted step test.

    Args:
        record: the step test.
        held: levels of the output, shape (m + 1,) [%].
        fitted: the chosen model.
        noise: rms of what the closest model leaves [% of range].
        ringing: after each step; None if there is none.
        swing: frequency [Hz] and values [% of range] of a swing taken off the measurement.
        alike: pairs of parameters that the record can't tell apart.
    """
    notes = [
        _ringing(record, fitted.model, ringing),
        _swing(swing),
        _signal(record, fitted, noise),
        _settled(record, fitted.model),
        _limits(record, held, fitted.model),
        _sampling(record, fitted.model),
        _drift(record, fitted),
        *(
            f"the record can't tell {_WORDS[a]} and {_WORDS[b]} apart: take neither by itself"
            for a, b in alike
        ),
    ]
    return tuple(note for note in notes if note)


def _ringing(record: Record, model: ProcessModel, ringing: Ringing | None) -> str:
    if ringing is None:
        return ""
    note = (
        f"the response rings (damping {ringing.damping:.2g}, {ringing.frequency:.3g} Hz): rules "
        "made for a lag plus delay would mislead; begin with integral action alone"
    )
    if model.damping is None or model.damping > MORE_DAMPED * ringing.damping:
        note += (
            f", and the {model.kind} model damps it more than the machine does: check gains on the "
            "machine's own model"
        )
    samples = 1.0 / (ringing.frequency * record.interval)
    if samples < FEWEST_SAMPLES_A_CYCLE:
        note += (
            f"; a cycle has only {samples:.1f} samples, so that a faster oscillation could look "
            "the same: record faster"
        )
    return note


def _swing(swing: tuple[float, Array] | None) -> str:
    if swing is None:
        return ""
    frequency, values = swing
    return (
        f"the measurement swings at {frequency:.3g} Hz ({float(np.ptp(values)):.2g} % of range, "
        "peak to peak) whether or not the output steps: taken off before the fit; compare with the "
        "turning frequency of the roll"
    )


def _signal(record: Record, fitted: Fitted, noise: float) -> str:
    moved = float(np.ptp(record.measurement - fitted.residual))
    if moved < CLEAR_STEP * noise:
        return (
            f"the step moved the measurement by only {moved / noise:.1f} times the noise "
            f"({noise:.2g} % of range rms): step further or repeat the test"
        )
    spread = float(record.measurement.std())
    fit = 100.0 * (1.0 - float(fitted.residual.std()) / spread)
    if fit < POOR_FIT:
        return (
            f"the model explains only {fit:.0f} % of what the measurement did: something else "
            "moved it, or the machine is none of the three kinds"
        )
    return ""


def slowest_decay(model: ProcessModel) -> float:
    """Return the time constant of the slowest part of a model's step response [s].

    Args:
        model: first or second order; inf for an integrating one.
    """
    if model.kind == "integrating":
        return math.inf
    T, z = model.time_constant, model.damping
    if z is None:
        return T
    return T / z if z < 1.0 else T * (z + math.sqrt(z * z - 1.0))


def _settled(record: Record, model: ProcessModel) -> str:
    longest = float(np.diff([*record.change_times, record.time[-1]]).max())
    if model.kind == "integrating":
        return (
            f"the measurement had not settled {longest:.3g} s after a step: taken as integrating, "
            "though a slow lag begins the same way"
        )
    needed = model.dead_time + SETTLED_AFTER * slowest_decay(model)
    if longest < needed:
        return (
            f"the record leaves a step alone for at most {longest:.3g} s and the model needs "
            f"{needed:.3g} s to settle: gain and time constant are extrapolated, wait longer"
        )
    return ""


def _limits(record: Record, held: Array, model: ProcessModel) -> str:
    notes = []
    if held.min() <= 0.0 or held.max() >= 100.0:
        limit = "0 %" if held.min() <= 0.0 else "100 %"
        notes.append(
            f"the output stands at {limit} for part of the test: step within the limits, where "
            "the torque device follows"
        )
    moving = record.time > record.change_times[0] + model.dead_time + record.interval
    y = record.measurement[moving]
    for limit, stuck in (("0 %", y <= 0.0), ("100 %", y >= 100.0)):
        pinned = np.flatnonzero(stuck)
        if pinned.size > STUCK_SHARE * record.time.size and np.ptp(y[pinned]) == 0.0:
            notes.append(f"the measurement stands at {limit} of range for part of the test")
    return "; ".join(notes)


def _sampling(record: Record, model: ProcessModel) -> str:
    notes = []
    h, L, T = record.interval, model.dead_time, model.time_constant
    if model.kind != "integrating" and T < h:
        notes.append(f"the time constant ({T:.2g} s)")
    if h > L:
        notes.append(f"the dead time ({L:.2g} s)")
    if not notes:
        return ""
    return (
        f"{' and '.join(notes)} came out below the time between samples ({h:.2g} s): anything "
        "from 0 to that time fits as well"
    )


def _drift(record: Record, fitted: Fitted) -> str:
    centred = record.time - record.time.mean()
    power = float(centred @ centred)
    slope = float(centred @ fitted.residual) / power
    left = fitted.residual - slope * centred
    r = min(autocorrelation(left), 0.999)
    error = float(left.std()) * math.sqrt((1.0 + r) / (1.0 - r) / power)
    drift = slope * float(record.time[-1])
    moved = float(np.ptp(record.measurement - fitted.residual))
    if abs(drift) > DRIFT_SHARE * moved and abs(slope) > CLEAR_DRIFT * error:
        return (
            f"the measurement drifted by {drift:+.2g} % of range besides the steps: steady the "
            "machine and repeat"
        )
    return ""
