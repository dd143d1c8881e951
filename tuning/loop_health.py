"""Loop health: the usual numbers of a recorded loop, from variability to the Harris ratio.

The Harris ratio compares the variance of the control error with the least that any controller could
reach (Harris, Canadian Journal of Chemical Engineering 67, 1989; restated from memory). What is
disturbed now can't be mended before the dead time is over, so with the error as an autoregression
e = Σ a_i e(−i) + w, its impulse response ψ, and b samples of dead time, one for the scan included,

    eta = σ_mv²/σ_e² = σ_w² (1 + ψ_1² + … + ψ_{b−1}²)/σ_e²

1 is as calm as can be, near 0 leaves much to gain. A loop that deliberately is calm rather than
quick has a low ratio, too: it ranks, it doesn't condemn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft, next_fast_len, rfft

from simulator import Trend
from simulator.units import sensible

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Orders tried, and how many in vain before the search ends.
MOST_ORDER, PATIENCE = 30, 10
FEWEST_SAMPLES, ENOUGH_SAMPLES, LONG = 30, 200, 50_000
# With more samples of dead time than twice this the record is thinned.
USUAL_DELAY = 10
# Closer to a limit than this is at the limit [% of its range].
AT_LIMIT = 0.1
# An output that rests for this many times its usual time between moves is stuck.
STUCK = 10
# Thirds of a steady record differ less than this: means, in standard deviations; variances, times.
MEAN_SHIFT, VARIANCE_SHIFT = 1.0, 4.0


@dataclass(frozen=True)
class LoopHealth:
    """Health of a loop over one recording; nan is unknown.

    Attributes:
        harris_ratio: least variance that is possible over the variance found [-], 0 to 1.
        delay_samples: b, of the record as used; 0 where no ratio was found.
        order: of the autoregression; 0 where no ratio was found.
        mean: of the tension [N].
        standard_deviation: of the tension [N].
        variability: standard deviation [% of the mean].
        mean_error: setpoint less tension on average [N], in automatic where that is known.
        automatic: share of time in automatic [-].
        at_limit: share of time with the output at one of its limits [-].
        stuck: share of the time in automatic in which the output does not move [-].
        reversals: changes of direction of the output, in automatic where that is known [1/min].
        duration: of the recording [s].
        warnings: what a reader should know.
    """

    harris_ratio: float
    delay_samples: int
    order: int
    mean: float
    standard_deviation: float
    variability: float
    mean_error: float
    automatic: float
    at_limit: float
    stuck: float
    reversals: float
    duration: float
    warnings: tuple[str, ...] = ()

    @property
    def two_sigma(self) -> float:
        """Twice the standard deviation [% of the mean]."""
        return 2.0 * self.variability


def loop_health(
    trend: Trend,
    *,
    dead_time: float | None = None,
    output_low: float = 0.0,
    output_high: float = 100.0,
) -> LoopHealth:
    """Return the health of a recorded loop.

    Args:
        trend: the recording; samples may be missing (nan).
        dead_time: of output, machine and measurement together [s]; None leaves the Harris ratio
            unknown.
        output_low: lower limit of the output [%].
        output_high: upper limit of the output [%].

    Raises:
        ValueError: limits in the wrong order, or a dead time below 0.
    """
    if not output_low < output_high:
        raise ValueError(f"output limits {output_low} and {output_high} %: low must be below high")
    if dead_time is not None and not (math.isfinite(dead_time) and dead_time >= 0.0):
        raise ValueError(f"dead_time {dead_time} s: must be 0 or more")
    time, tension, output = trend.time, trend.tension, trend.output
    gaps = np.diff(time)
    interval = float(np.median(gaps)) if gaps.size else math.nan
    # Each sample holds until the next; the last as long as is usual.
    held = np.append(gaps, interval if gaps.size else 1.0)
    modes = np.isfinite(trend.automatic)
    in_automatic = modes & (trend.automatic > 0.5)
    judged = in_automatic if modes.any() else np.ones(time.size, dtype=bool)
    known = np.isfinite(tension)
    mean, deviation = math.nan, math.nan
    if known.sum() >= 2:
        mean, deviation = float(np.mean(tension[known])), float(np.std(tension[known]))
    variability = 100.0 * deviation / abs(mean) if abs(mean) > 1e-9 else math.nan
    error = trend.setpoint - tension
    near = 0.01 * AT_LIMIT * (output_high - output_low)
    limited = (output <= output_low + near) | (output >= output_high - near)
    warnings = []
    if not modes.any():
        warnings.append("whether the loop was in automatic is not known: taken as if it was")
    ratio, delay, order = math.nan, 0, 0
    if dead_time is None:
        warnings.append("the dead time is not known: no Harris ratio")
    else:
        ratio, delay, order, notes = _harris(error, tension, judged, time, interval, dead_time)
        warnings += notes
    return LoopHealth(
        harris_ratio=ratio,
        delay_samples=delay,
        order=order,
        mean=mean,
        standard_deviation=deviation,
        variability=variability,
        mean_error=_mean(error, held, judged),
        automatic=_mean(in_automatic.astype(float), held, modes),
        at_limit=_mean(limited.astype(float), held, np.isfinite(output)),
        stuck=_stuck(output, held, judged),
        reversals=_reversals(output, held, judged),
        duration=float(time[-1] - time[0]) if time.size > 1 else 0.0,
        warnings=tuple(warnings),
    )


def harris_ratio_of_model(coefficients: ArrayLike, delay_samples: int) -> float:
    """Return the exact Harris ratio of an autoregression e = a_1 e(−1) + a_2 e(−2) + … + w [-].

    σ_e²/σ_w² = Π 1/(1 − k_i²), k_i the reflection coefficients (Levinson's recursion backwards).

    Args:
        coefficients: a_1, a_2, …, shape (p,) [-]; empty for white noise.
        delay_samples: b, one for the scan included.

    Raises:
        ValueError: b below 1, or a model that is not stable.
    """
    if delay_samples < 1:
        raise ValueError(f"delay_samples {delay_samples}: must be 1 or more")
    a = np.asarray(coefficients, dtype=float)
    reach = float(np.sum(_impulse(a, delay_samples) ** 2))
    white = 1.0
    while a.size:
        k = float(a[-1])
        if not abs(k) < 1.0:
            raise ValueError("coefficients: the autoregression must be stable")
        white *= 1.0 - k * k
        a = (a[:-1] + k * a[-2::-1]) / (1.0 - k * k) if a.size > 1 else a[:0]
    return min(reach * white, 1.0)


def harris_ratio(error: ArrayLike, delay_samples: int) -> tuple[float, int]:
    """Return the Harris ratio of a control error [-] and the order of the autoregression used.

    The autoregression is Burg's (Yule and Walker's for long records), of the order with the least
    corrected Akaike criterion (Hurvich & Tsai, Biometrika 76, 1989, from memory).

    Args:
        error: without gaps, shape (n,) [any unit]; its mean is taken out.
        delay_samples: b, one for the scan included.

    Raises:
        ValueError: b below 1.
    """
    if delay_samples < 1:
        raise ValueError(f"delay_samples {delay_samples}: must be 1 or more")
    e = np.asarray(error, dtype=float)
    if e.size < FEWEST_SAMPLES or not np.all(np.isfinite(e)):
        return math.nan, 0
    level = float(np.mean(e))
    e = e - level
    variance = float(np.mean(e**2))
    if variance <= (1e-12 * (1.0 + abs(level))) ** 2:
        return math.nan, 0
    coefficients, white, order = _autoregression(e, variance)
    least = white * float(np.sum(_impulse(coefficients, delay_samples) ** 2))
    return min(least / variance, 1.0), order


def _autoregression(e: Array, variance: float) -> tuple[Array, float, int]:
    """Levinson's recursion: coefficients, variance of what drives them, order.

    Each reflection coefficient is Burg's, or, where the record is long and the two agree, what the
    autocovariances give, which is much quicker.
    """
    n = e.size
    most = min(MOST_ORDER, n // 5)
    forward, backward = e[1:], e[:-1]
    lags = np.zeros(0)
    if n > LONG:
        power = np.abs(rfft(e, next_fast_len(n + most, real=True))) ** 2
        lags = irfft(power, next_fast_len(n + most, real=True))[: most + 1] / n
    a, white = np.zeros(0), variance
    best, least = (a, white, 0), math.log(variance) + n / (n - 2.0)
    for order in range(1, most + 1):
        if lags.size:
            k = float(lags[order] - a @ lags[order - 1 : 0 : -1]) / white
        else:
            bottom = float(forward @ forward + backward @ backward)
            if bottom <= 1e-20 * variance * n:
                break
            k = 2.0 * float(forward @ backward) / bottom
            forward, backward = (forward - k * backward)[1:], (backward - k * forward)[:-1]
        a = np.append(a - k * a[::-1], k)
        white *= 1.0 - k * k
        if white <= 1e-14 * variance:
            break
        criterion = math.log(white) + (n + order) / (n - order - 2.0)
        if criterion < least:
            best, least = (a, white, order), criterion
        elif order - best[2] >= PATIENCE:
            break
    return best


def _impulse(a: Array, count: int) -> Array:
    """First coefficients of the impulse response, ψ_0 = 1."""
    psi = np.zeros(count)
    psi[0] = 1.0
    for j in range(1, count):
        reach = min(j, a.size)
        psi[j] = float(a[:reach] @ psi[j - reach : j][::-1])
    return psi


def _harris(
    error: Array, tension: Array, judged: Flags, time: Array, interval: float, dead_time: float
) -> tuple[float, int, int, list[str]]:
    """Ratio, delay, order and notes from the longest stretch in automatic without gaps."""
    if not judged.any():
        return math.nan, 0, 0, ["never in automatic: the Harris ratio means nothing in manual"]
    notes = []
    if not np.isfinite(error).any():
        notes.append("the setpoint is not known: taken as constant")
        error = -tension
    start, end = _longest(judged & np.isfinite(error), np.diff(time) / interval)
    e = error[start:end]
    if e.size < FEWEST_SAMPLES:
        return math.nan, 0, 0, [*notes, "too short for a Harris ratio"]
    delay = round(dead_time / interval) + 1
    if dead_time > 0.0 and interval > dead_time:
        notes.append(
            "recorded less often than once a dead time: the Harris ratio flatters the loop"
        )
    thin = max(1, delay // USUAL_DELAY)
    if e.size // thin < FEWEST_SAMPLES:
        return math.nan, 0, 0, [*notes, "too short for a Harris ratio"]
    e = e[::thin]
    delay = max(1, round(delay / thin))
    if e.size < max(ENOUGH_SAMPLES, 20 * delay):
        notes.append("short for a Harris ratio: take it for a hint")
    ratio, order = harris_ratio(e, delay)
    if math.isnan(ratio):
        return math.nan, 0, 0, [*notes, "the control error never changes"]
    if _not_steady(e):
        notes.append("the record is not steady throughout: the Harris ratio mixes what it did")
    return ratio, delay, order, notes


def _not_steady(e: Array) -> bool:
    """Whether the thirds of a record differ in mean or variance."""
    thirds = np.array_split(e, 3)
    means = [float(np.mean(part)) for part in thirds]
    variances = [float(np.var(part)) for part in thirds]
    inside = float(np.mean(variances))
    if max(means) - min(means) > MEAN_SHIFT * math.sqrt(inside) + 1e-300:
        return True
    return max(variances) > VARIANCE_SHIFT * min(variances)


def _longest(flags: Flags, steps: Array) -> tuple[int, int]:
    """Start and end of the longest run of true that is evenly sampled, but for jitter."""
    even = (steps > 0.5) & (steps < 1.5)
    joined = flags[1:] & flags[:-1] & even
    edges = np.flatnonzero(np.diff(np.concatenate([[False], joined, [False]]).astype(np.int8)))
    if edges.size == 0:
        return 0, 0
    starts, ends = edges[::2], edges[1::2]
    at = int(np.argmax(ends - starts))
    return int(starts[at]), int(ends[at]) + 1


def _mean(values: Array, held: Array, where: Flags) -> float:
    """Mean over time where flagged and known; nan where nothing is."""
    use = where & np.isfinite(values)
    total = float(np.sum(held[use]))
    return float(np.sum(values[use] * held[use])) / total if total > 0.0 else math.nan


def _stuck(output: Array, held: Array, judged: Flags) -> float:
    """Share of the judged time in which the output rests far longer than it usually does."""
    use = judged & np.isfinite(output)
    if use.sum() < 2:
        return math.nan
    # A stretch ends where the output moves or where it is not judged.
    ends = np.flatnonzero((np.diff(output) != 0.0) | ~use[1:] | ~use[:-1]) + 1
    edges = np.concatenate([[0], ends, [output.size]])
    lengths = np.diff(edges)
    counted = use[edges[:-1]]
    usual = float(np.median(lengths[counted]))
    rests = counted & ((lengths >= STUCK * usual) | (lengths == use.sum()))
    time = np.add.reduceat(held, edges[:-1])
    return float(np.sum(time[rests])) / float(np.sum(time[counted]))


def _reversals(output: Array, held: Array, judged: Flags) -> float:
    """Changes of direction a minute; where the output rests it keeps its direction."""
    use = judged & np.isfinite(output)
    minutes = float(np.sum(held[use])) / 60.0
    if use.sum() < 3 or minutes <= 0.0:
        return math.nan
    moves = np.diff(output)[use[1:] & use[:-1]]
    moves = np.sign(moves[moves != 0.0])
    return float(np.sum(moves[1:] != moves[:-1])) / minutes


def health_in_words(health: LoopHealth) -> tuple[str, ...]:
    """Return what the numbers say, a sentence each, in SI units; what is unknown is left out.

    Args:
        health: of a loop.
    """
    said = []
    if math.isfinite(health.variability):
        said.append(
            f"Tension varies by {sensible(health.two_sigma, 2)} % of its mean of "
            f"{sensible(health.mean)} N (two standard deviations)."
        )
    if math.isfinite(health.mean_error):
        side = "below" if health.mean_error > 0.0 else "above"
        off = f"{sensible(abs(health.mean_error), 2)} N {side}"
        if abs(health.mean_error) < 0.001 * abs(health.mean):
            off = "at"
        said.append(f"On average it is {off} the setpoint.")
    if math.isfinite(health.automatic):
        said.append(f"The loop was in automatic for {100.0 * health.automatic:.0f} % of the time.")
    if math.isfinite(health.at_limit) and health.at_limit > 0.0:
        said.append(
            f"The output was at a limit for {sensible(100.0 * health.at_limit, 2)} % of the time: "
            "there the loop can't act."
        )
    if math.isfinite(health.stuck) and health.stuck > 0.0:
        said.append(
            f"In automatic the output stood still for {sensible(100.0 * health.stuck, 2)} % of "
            "the time."
        )
    if math.isfinite(health.reversals):
        times = f"{health.reversals:.0f}" if health.reversals >= 10.0 else f"{health.reversals:.2g}"
        said.append(f"The output changes direction {times} times a minute.")
    if math.isfinite(health.harris_ratio):
        least = math.sqrt(health.harris_ratio)
        said.append(
            f"Harris ratio {health.harris_ratio:.2f}: no controller could bring the swing of the "
            f"tension below {100.0 * least:.0f} % of what it is."
        )
    return tuple(said)
