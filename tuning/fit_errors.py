"""How uncertain a fit is, when what it leaves is no white noise.

Two measures of the same thing, and the larger one counts. The quick part of the scatter: each
reading is correlated with the next by r, and n of them count as n (1 - r)/(1 + r) (exact for the
mean of a first-order autoregression, common practice for the rest); the weights of the fit hold
this already. The slow part: white noise on top of a slow wandering has a small r and still is
nearly constant over a step. So the autocovariance c of what is left, tapered to nothing over a
third of the record, gives the covariance of the numbers as

    (J'J)^-1 J' C J (J'J)^-1,     C[s, t] = c[|s - t|]

the sandwich of least squares under correlated errors (Seber & Wild, Nonlinear Regression, 1989,
section 6.2, restated from memory; the taper is Bartlett's).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import correlate, fftconvolve

from tuning.fit_search import autocorrelation
from tuning.machine_search import Problem

Array = NDArray[np.float64]

# What was not seen is taken to be known so well when the others' errors are worked out [z]: a
# factor of two at one standard error.
AS_DESCRIBED = 0.7
LEAST_FREEDOM = 3.0
# Autocovariances are believed up to this share of a record [-].
BELIEVED = 1.0 / 3.0
# Scatter whose slow part is this many times what its quick part makes of it wanders [-].
WANDERS = 4.0


def covariance(problem: Problem, z: Array, left: list[Array], unseen: set[int]) -> Array:
    """Return the covariance of the coordinates of all numbers, shape (p, p) [-].

    Args:
        problem: what was fitted to what.
        z: at the fit, shape (p + shifts,) [-].
        left: what the fit leaves of each test, shapes (n,) [N].
        unseen: coordinates that the tests say nothing about; known as well as described.
    """
    information = problem.information(z)
    quick = inverse(information, unseen)
    score = np.zeros_like(quick)
    start = 0
    for residual, noise in zip(left, problem.noise, strict=True):
        J = information[start : start + residual.size]
        c = tapered_autocovariance(residual / noise)
        both_ways = np.concatenate([c[:0:-1], c])
        spread = fftconvolve(J, both_ways[:, None], axes=0)[c.size - 1 :][: residual.size]
        score += J.T @ spread
        start += residual.size
    rest = information[start:]
    slow = quick @ (score + rest.T @ rest) @ quick
    grown = np.sqrt(np.maximum(np.diag(slow) / np.diag(quick), 1.0))
    p = len(problem.free)
    return np.asarray((quick * np.outer(grown, grown))[:p, :p])


def degrees_of_freedom(problem: Problem, left: list[Array]) -> float:
    """Return how many independent readings there are beyond what was fitted [-].

    Args:
        problem: what was fitted to what.
        left: what the fit leaves of each test, shapes (n,) [N].
    """
    count = 0.0
    for residual, basis in zip(left, problem.bases, strict=True):
        r = min(autocorrelation(residual), 0.999)
        c = tapered_autocovariance(residual)
        slow = c[0] / max(float(2.0 * c.sum() - c[0]), c[0])
        count += residual.size * min((1.0 - r) / (1.0 + r), slow) - basis.shape[1]
    return max(count - len(problem.free), LEAST_FREEDOM)


def wandering(left: list[Array]) -> tuple[str, ...]:
    """Return a warning for each test whose scatter wanders slowly: its errors are still too small.

    A record not many times longer than a wandering can't say how far it goes.

    Args:
        left: what the fit leaves of each test, shapes (n,) [N].
    """
    notes = []
    for number, residual in enumerate(left, start=1):
        r = min(autocorrelation(residual), 0.999)
        c = tapered_autocovariance(residual)
        if (2.0 * c.sum() - c[0]) / c[0] > WANDERS * (1.0 + r) / (1.0 - r):
            notes.append(
                f"test {number}: the tension wanders slowly beside the steps, and the errors of "
                "torque and lag may be two or three times what they say: record longer, with "
                "several steps up and down"
            )
    return tuple(notes)


def inverse(information: Array, unseen: set[int]) -> Array:
    """Return the covariance [-] of all coordinates if the rows had independent errors of 1.

    Args:
        information: d rows/dz, shape (rows, p + shifts) [-].
        unseen: coordinates that are known as well as described.
    """
    known = np.zeros((len(unseen), information.shape[1]))
    for row, j in enumerate(sorted(unseen)):
        known[row, j] = 1.0 / AS_DESCRIBED
    _, sigma, V = np.linalg.svd(np.vstack([information, known]), full_matrices=False)
    # What no row knows about is infinitely uncertain; so large a number is as good.
    return np.asarray((V.T / np.maximum(sigma, 1e-6) ** 2) @ V)


def tapered_autocovariance(residual: Array) -> Array:
    """Return the autocovariance at lags 0, 1, …, falling to nothing at a third of the record.

    Args:
        residual: shape (n,) [any].
    """
    n = residual.size
    lags = max(int(BELIEVED * n), 1)
    full = correlate(residual, residual, mode="full", method="fft")[n - 1 : n - 1 + lags] / n
    return np.asarray(full * (1.0 - np.arange(lags) / lags))
