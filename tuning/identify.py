"""Process models from a step test: which of the three fits, how well, and what to distrust.

All three kinds are fitted by least squares (`tuning.fit_search`). Among them the Bayesian
information criterion chooses (Schwarz, Annals of Statistics 6, 1978, 461–464; for Gaussian
residuals n ln(variance) + k ln n), with two departures, both toward the simpler model:

- A simulated record has no noise, and there the model with most parameters always wins, by
  margins that mean nothing. A residual counts as at least the smallest of the three plus a floor,
  so that models closer to each other than the floor tie and the fewer parameters win. The floor is
  0.3 % of the response or the resolution of the measurement, whichever is larger.
- n counts independent samples: residuals with autocorrelation r are worth n (1 - r)/(1 + r) of
  them. A record does not gain evidence by being sampled faster.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tuning.fit_search import PARAMETERS, Fitted, Record, autocorrelation, fit_kind
from tuning.fit_warnings import doubts
from tuning.process_model import ProcessModel
from tuning.remainder import Ringing, find_ringing, steady_swing, without

Array = NDArray[np.float64]

FEWEST_SAMPLES = 20
MOST_CHANGES = 200
# Models whose residuals differ by less than this share of the response are as good as each other.
IRRELEVANT_SHARE = 0.003
# At damping 0.6 the second swing is a tenth of the step: what a lag and a delay can't draw.
RINGS_BELOW = 0.6
# The overshoot must stand out of the residual this many times.
CLEAR_OVERSHOOT = 3.0
# A model that explains less than half of the movement is no ground for a rule.
PASSABLE_FIT = 50.0
# Parameters correlated more than this can't be told apart.
ALIKE = 0.98


@dataclass(frozen=True)
class StandardErrors:
    """Standard errors of a fitted model; nan where it has no such parameter or can't tell.

    Attributes:
        gain: of the gain [%/%], of the rate of rise of an integrating model [%/(% s)].
        dead_time: of the dead time [s].
        time_constant: of the time constant [s].
        damping: of the damping ratio [-].
    """

    gain: float = math.nan
    dead_time: float = math.nan
    time_constant: float = math.nan
    damping: float = math.nan


@dataclass(frozen=True)
class Candidate:
    """One kind of model fitted to the test.

    Attributes:
        model: fitted.
        baseline: measurement before the first change of the output [% of range].
        residual: rms of measurement less model [% of range].
        fit_percent: 100 (1 - residual/rms of the measurement about its mean) [%].
        criterion: information criterion, smaller is better [-].
        errors: standard errors of the parameters.
        alike: pairs of parameters that the record can't tell apart.
    """

    model: ProcessModel
    baseline: float
    residual: float
    fit_percent: float
    criterion: float
    errors: StandardErrors
    alike: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class StepFit:
    """What a step test says.

    Attributes:
        candidates: one of each kind, the chosen one first.
        ringing: damped oscillation after each step; None if there is none. There is one if the
            chosen model is second order with damping below 0.6 and an overshoot that stands out of
            the noise, or if what the chosen model leaves unexplained rings.
        swing_frequency: of a swing that runs on whether or not the output steps, taken off the
            measurement before the fit [Hz]; nan if there is none.
        warnings: what a reader should know.
    """

    candidates: tuple[Candidate, ...]
    ringing: Ringing | None = None
    swing_frequency: float = math.nan
    warnings: tuple[str, ...] = ()

    @property
    def best(self) -> ProcessModel:
        """The chosen model."""
        return self.candidates[0].model

    @property
    def rings(self) -> bool:
        """Whether the response rings."""
        return self.ringing is not None

    @property
    def ringing_frequency(self) -> float:
        """Frequency of the damped oscillation [Hz]; nan if it does not ring."""
        return math.nan if self.ringing is None else self.ringing.frequency

    @property
    def fit_percent(self) -> float:
        """Fit of the chosen model [%]."""
        return self.candidates[0].fit_percent

    @property
    def models(self) -> tuple[ProcessModel, ...]:
        """Models fit to design on, at most one of each kind, the chosen one first.

        None where the chosen one explains less than half of what the measurement did: noise or
        a drift has drowned the step. Else a first-order model is always among them, since most
        rules want one; an integrating or a second-order one only if it explains half by itself.
        """
        if self.fit_percent < PASSABLE_FIT:
            return ()
        return tuple(
            candidate.model
            for i, candidate in enumerate(self.candidates)
            if i == 0
            or candidate.model.kind == "first order"
            or candidate.fit_percent >= PASSABLE_FIT
        )


def fit_model(
    time: ArrayLike, output: ArrayLike, measurement: ArrayLike, *, resolution: float = 0.0
) -> StepFit:
    """Fit process models to a step test made in manual.

    The machine is taken to be at rest before the first change of the output; an integrating one
    to be in balance there.

    Args:
        time: increasing, evenly spaced or not, shape (n,) [s].
        output: held from each sample to the next, shape (n,) [%].
        measurement: shape (n,) [% of range].
        resolution: smallest change the measurement can show [% of range].

    Raises:
        ValueError: fewer than 20 samples, arrays that do not match, values that are not finite,
            times that do not increase, an output that never changes or changes more than 200
            times, or a measurement that never moves.
    """
    record, held = _read(time, output, measurement)
    if not resolution >= 0.0:
        raise ValueError(f"resolution {resolution} % of range: must be 0 or more")
    fits, closest = _fits(record)
    swing = _swing(record, fits, closest)
    if swing is not None:
        record = without(record, swing[1])
        fits, closest = _fits(record)
    criteria = [_criterion(record, fitted, closest, resolution) for fitted in fits]
    order = [int(i) for i in np.argsort(criteria)]
    chosen = fits[order[0]]
    candidates = tuple(_candidate(record, fits[i], criteria[i]) for i in order)
    noise = float(closest.residual.std())
    ringing = _ringing(record, fits, chosen, noise)
    return StepFit(
        candidates=candidates,
        ringing=ringing,
        swing_frequency=math.nan if swing is None else swing[0],
        warnings=doubts(
            record,
            held,
            chosen,
            noise=noise,
            ringing=ringing,
            swing=swing,
            alike=candidates[0].alike,
        ),
    )


def _fits(record: Record) -> tuple[list[Fitted], Fitted]:
    """Return the three kinds fitted, and the closest of them."""
    fits = [fitted for kind in PARAMETERS if (fitted := fit_kind(record, kind)) is not None]
    if not fits:
        raise ValueError(
            "measurement: does not follow the output at all; check that this is the right signal "
            "and that the output reaches the machine"
        )
    return fits, min(fits, key=lambda fitted: float(fitted.residual.std()))


def _read(time: ArrayLike, output: ArrayLike, measurement: ArrayLike) -> tuple[Record, Array]:
    """Return the checked record and the levels the output was held at [%]."""
    t, u, y = (np.asarray(values, dtype=float) for values in (time, output, measurement))
    if t.ndim != 1 or not t.shape == u.shape == y.shape:
        raise ValueError(
            f"time, output and measurement have shapes {t.shape}, {u.shape}, {y.shape}: "
            "give one value each a sample"
        )
    if t.size < FEWEST_SAMPLES:
        raise ValueError(f"the record has {t.size} samples: a fit needs {FEWEST_SAMPLES} or more")
    for name, values in (("time", t), ("output", u), ("measurement", y)):
        if not np.all(np.isfinite(values)):
            first = int(np.argmin(np.isfinite(values)))
            raise ValueError(f"{name}[{first}] is {values[first]}: every value must be finite")
    if not np.all(np.diff(t) > 0.0):
        first = int(np.argmin(np.diff(t) > 0.0)) + 1
        raise ValueError(f"time[{first}] is {t[first]} s, not after {t[first - 1]} s")
    changed = np.flatnonzero(np.diff(u) != 0.0) + 1
    if changed.size == 0:
        raise ValueError(f"output stays at {u[0]:g} % throughout: a step test needs a step")
    if changed.size > MOST_CHANGES:
        raise ValueError(
            f"output changes {changed.size} times: a step test has one step or a few (at most "
            f"{MOST_CHANGES}); was it recorded in automatic?"
        )
    # No instrument resolves a part in a million million; such numbers only underflow.
    if np.ptp(y) <= 1e-12 * max(1.0, float(np.abs(y).max())):
        raise ValueError(f"measurement stays at {y[0]:g} % of range throughout: nothing to fit")
    record = Record(t - t[0], y, t[changed] - t[0], u[changed] - u[changed - 1])
    return record, u[np.concatenate([[0], changed])]


def _swing(record: Record, fits: list[Fitted], closest: Fitted) -> tuple[float, Array] | None:
    """Return a steady swing that hides in the residuals: frequency [Hz], values [% of range].

    A second-order model with no damping can take a steady swing for its own ringing, so the
    others are asked first.
    """
    others = [fitted for fitted in fits if fitted.model.kind != "second order"]
    for fitted in (*sorted(others, key=lambda other: float(other.residual.std()))[:1], closest):
        swing = steady_swing(record, fitted.residual)
        if swing is not None:
            return swing
    return None


def _criterion(record: Record, fitted: Fitted, closest: Fitted, resolution: float) -> float:
    """Return the information criterion of the module's docstring [-]."""
    response = closest.residual - record.measurement
    floor = max(IRRELEVANT_SHARE * float(np.ptp(response)), resolution)
    least = float(np.mean(closest.residual**2)) + floor**2
    r = autocorrelation(closest.residual)
    n = max(fitted.residual.size * (1.0 - r) / (1.0 + r), FEWEST_SAMPLES)
    # The baseline is a parameter too.
    k = len(PARAMETERS[fitted.model.kind]) + 1
    return n * math.log(max(float(np.mean(fitted.residual**2)), least)) + k * math.log(n)


def _candidate(record: Record, fitted: Fitted, criterion: float) -> Candidate:
    names = PARAMETERS[fitted.model.kind]
    deviation = np.sqrt(np.diag(fitted.covariance))
    with np.errstate(invalid="ignore", divide="ignore"):
        correlation = fitted.covariance / np.outer(deviation, deviation)
    alike = tuple(
        (names[i], names[j])
        for i in range(len(names))
        for j in range(i + 1, len(names))
        if abs(correlation[i, j]) > ALIKE
    )
    rms = float(np.sqrt(np.mean(fitted.residual**2)))
    return Candidate(
        model=fitted.model,
        baseline=fitted.baseline,
        residual=rms,
        fit_percent=100.0 * (1.0 - rms / float(record.measurement.std())),
        criterion=criterion,
        errors=StandardErrors(
            **{name: float(value) for name, value in zip(names, deviation, strict=True)}
        ),
        alike=alike,
    )


def _ringing(record: Record, fits: list[Fitted], chosen: Fitted, noise: float) -> Ringing | None:
    """Return the ringing after each step; None if there is none.

    A model that rings only says that there is ringing: with a lag before the resonance its damping
    is wrong, and what a first-order model leaves shows the decay better.
    """
    own = _model_rings(record, chosen.model, noise)
    if own is None:
        return find_ringing(record, chosen)
    lags = [fitted for fitted in fits if fitted.model.kind == "first order"]
    return (find_ringing(record, lags[0]) if lags else None) or own


def _model_rings(record: Record, model: ProcessModel, noise: float) -> Ringing | None:
    """Return the ringing of the model itself; None if its overshoot drowns in the noise."""
    z = model.damping
    if z is None or z >= RINGS_BELOW:
        return None
    w = math.sqrt(1.0 - z * z)
    # Overshoot of a second-order step, a textbook identity.
    overshoot = math.exp(-math.pi * z / w) * abs(model.gain) * float(np.abs(record.changes).max())
    if overshoot < CLEAR_OVERSHOOT * noise:
        return None
    return Ringing(w / (2.0 * math.pi * model.time_constant), z)
