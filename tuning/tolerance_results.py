"""What a tolerance study found: shares with their intervals, ranges, what matters most.

A share found in n machines is uncertain itself; it comes with its Clopper–Pearson interval of 95 %
(Biometrika 26, 1934; `scipy.stats.binomtest`). What matters is read from the same machines, no
further ones are needed: for each tolerance

- the rank correlation of Spearman between what it was and the worst Ms, with its sign,
- the share of the spread of Ms, as ranks, that it makes alone: the first-order index
  var(E[Y|X])/var(Y) of Sobol, estimated from given data by sorting the machines into classes of
  equal count (Plischke, Borgonovo & Smith, European J. Operational Research 226, 2013, from
  memory) and corrected for what chance alone would show (epsilon squared of a one-way analysis of
  variance; Kelley, Proc. National Academy of Sciences 21, 1935, from memory).

Ranks, because Ms has no upper end: an unstable machine simply is the worst.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tuning.margins import RINGS_ABOVE
from tuning.tolerances import UNCERTAIN, Tolerance

Array = NDArray[np.float64]

CONFIDENCE = 0.95
# Nine machines of ten lie between these.
LOW_LEVEL, MIDDLE_LEVEL, HIGH_LEVEL = 0.05, 0.5, 0.95
# The chance that a tolerance without effect is taken for one with, over all of them together.
FALSE_ALARM = 0.05
# Machines in a class, at least; and classes, at most.
LEAST_IN_CLASS, MOST_CLASSES = 20, 16
# Names of diameters as they stand in a sentence.
_SPOKEN = {"core": "the core", "half": "half the build-up", "pull roll": "the pull roll"}
# A tolerance that matters this much more than its correlation says works both ways [-].
BOTH_WAYS = 0.1


@dataclass(frozen=True)
class Share:
    """So many of so many machines, and between what the share of all machines lies.

    Attributes:
        count: machines that do.
        of: machines looked at.
        low: lower end of the interval of 95 % [-].
        high: upper end [-].
    """

    count: int
    of: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """The share found [-]."""
        return self.count / self.of

    @property
    def words(self) -> str:
        """Such as "97 % (95 to 98)"; the interval is rounded outwards."""
        # A decimal where a per cent more or less is a lot: close to none and close to all.
        digits = 0 if 0.1 <= self.value <= 0.9 else 1
        scale = 10**digits
        # Rounding first: 0.3 * 100 is 30.000000000000004, and no reason to say 31.
        low = math.floor(round(100.0 * self.low * scale, 6)) / scale
        high = math.ceil(round(100.0 * self.high * scale, 6)) / scale
        if self.count == self.of:
            return f"all {self.of} (at least {low:.{digits}f} %)"
        if self.count == 0:
            return f"none of {self.of} (at most {high:.{digits}f} %)"
        return f"{100.0 * self.value:.{digits}f} % ({low:.{digits}f} to {high:.{digits}f})"


@dataclass(frozen=True)
class Influence:
    """What one tolerance does to the worst Ms.

    Attributes:
        name: of the tolerance.
        words: what it is, for people.
        rank_correlation: Spearman's, above 0 where more of it makes Ms larger [-].
        p_value: of the rank correlation: how often chance alone shows as much [-].
        share: of the spread of Ms, as ranks, that it makes alone [-].
        sure: whether chance is ruled out, all tolerances looked at together.
    """

    name: str
    words: str
    rank_correlation: float
    p_value: float
    share: float
    sure: bool

    @property
    def both_ways(self) -> bool:
        """Whether too much and too little of it matter more than the one against the other."""
        return self.share > self.rank_correlation**2 + BOTH_WAYS


@dataclass(frozen=True)
class Place:
    """One operating point that every machine is judged at.

    Attributes:
        name: of the diameter, such as "full roll".
        at: "line speed" or "crawl speed".
        diameter: of the roll [m].
        line_speed: of the web, of the machine as it is thought to be [m/s].
    """

    name: str
    at: str
    diameter: float
    line_speed: float

    @property
    def words(self) -> str:
        """Such as "the core, crawl speed"."""
        return f"{_SPOKEN.get(self.name, self.name)}, {self.at}"


@dataclass(frozen=True, eq=False)
class ToleranceStudy:
    """Many machines within the tolerances, each judged with the same gains.

    n machines, m operating points, k tolerances that change this machine.

    Attributes:
        places: the operating points, m.
        tolerances: that change this machine, k.
        seed: of the study [-].
        ms_limit: that was asked for [-].
        deviations: of each machine, as shares of the values, shape (n, k) [-].
        Ms: largest sensitivity, inf where the loop is unstable, shape (n, m) [-].
        overshoot: of the tension after a step of the setpoint, inf where the loop is unstable,
            shape (n, m) [% of the step].
        output: that holds the running tension in manual, shape (n, m) [%].
        reachable: whether an output within the limits does, shape (n, m).
        nominal_Ms: of the machine as it is thought to be, shape (m,) [-].
        nominal_overshoot: the same, shape (m,) [% of the step].
        nominal_output: the same, shape (m,) [%].
        output_low: lowest output of the controller [%].
        output_high: highest output of the controller [%].
        redrawn: draws that were no machine, and were made anew [-].
        warnings: what a reader should know.
    """

    places: tuple[Place, ...]
    tolerances: tuple[Tolerance, ...]
    seed: int
    ms_limit: float
    deviations: Array
    Ms: Array
    overshoot: Array
    output: Array
    reachable: NDArray[np.bool_]
    nominal_Ms: Array
    nominal_overshoot: Array
    nominal_output: Array
    output_low: float
    output_high: float
    redrawn: int
    warnings: tuple[str, ...] = ()

    @property
    def samples(self) -> int:
        """Machines that were judged."""
        return int(self.Ms.shape[0])

    @property
    def worst_Ms(self) -> Array:
        """Worst Ms of each machine over the roll, inf where it is unstable, shape (n,) [-]."""
        return np.asarray(self.Ms.max(axis=1))

    @property
    def worst_overshoot(self) -> Array:
        """Largest overshoot of each machine over the roll, shape (n,) [% of the step]."""
        return np.asarray(self.overshoot.max(axis=1))

    @property
    def worst_place(self) -> NDArray[np.int64]:
        """Which of the places is the worst of each machine, shape (n,)."""
        return np.asarray(self.Ms.argmax(axis=1), dtype=np.int64)

    @cached_property
    def stable(self) -> Share:
        """Machines that are stable everywhere."""
        return share_of(np.isfinite(self.worst_Ms))

    @cached_property
    def within(self) -> Share:
        """Machines that keep the limit of Ms everywhere."""
        return share_of(self.worst_Ms <= self.ms_limit)

    @cached_property
    def calm_enough(self) -> Share:
        """Machines whose loop does not ring anywhere: Ms at most 2."""
        return share_of(self.worst_Ms <= RINGS_ABOVE)

    @cached_property
    def held(self) -> Share:
        """Machines whose tension can be held everywhere."""
        return share_of(np.asarray(self.reachable.all(axis=1)))

    @cached_property
    def influences(self) -> tuple[Influence, ...]:
        """What each tolerance does to the worst Ms, the one that matters most first."""
        names = [one.name for one in self.tolerances]
        return influences(self.deviations, self.worst_Ms, names)

    @cached_property
    def matters_most(self) -> Influence | None:
        """The tolerance that matters most; None where chance could be all there is to it."""
        return next((one for one in self.influences if one.sure), None)


def share_of(does: NDArray[np.bool_]) -> Share:
    """Return the share of machines that do something.

    Args:
        does: whether each does, shape (n,).
    """
    # Only here: it takes half a second to import, and processes that only judge don't need it.
    from scipy.stats import binomtest

    count, of = int(np.count_nonzero(does)), int(does.size)
    interval = binomtest(count, of).proportion_ci(CONFIDENCE, method="exact")
    return Share(count, of, float(interval.low), float(interval.high))


def quantile(values: ArrayLike, level: float) -> float:
    """Return the value that a share of machines stays at or below.

    Always the value of one machine, so that infinite ones are no trouble.

    Args:
        values: one a machine, shape (n,) [any].
        level: the share [-].
    """
    return float(np.quantile(np.asarray(values, dtype=float), level, method="inverted_cdf"))


def influences(inputs: Array, result: Array, names: list[str]) -> tuple[Influence, ...]:
    """Return what each input does to a result, the one that matters most first.

    Args:
        inputs: one a column, shape (n, k) [any].
        result: infinite values rank above all others, shape (n,) [any].
        names: of the inputs, k.
    """
    from scipy.stats import rankdata, spearmanr

    ranks = rankdata(result)
    found = []
    for name, values in zip(names, inputs.T, strict=True):
        correlation, p_value = 0.0, 1.0
        if np.ptp(ranks) > 0.0 and np.ptp(values) > 0.0:
            tested = spearmanr(values, ranks)
            correlation, p_value = float(tested.statistic), float(tested.pvalue)
        share, by_chance = explained_share(values, ranks)
        # Each of the k inputs is looked at in two ways, so each look gets its part of the chance.
        sure = min(p_value, by_chance) < FALSE_ALARM / (2 * len(names))
        words = UNCERTAIN[name].words if name in UNCERTAIN else name
        found.append(Influence(name, words, correlation, p_value, share, sure))

    def weight(one: Influence) -> tuple[bool, float, float]:
        return one.sure, one.share, one.rank_correlation**2

    return tuple(sorted(found, key=weight, reverse=True))


def explained_share(values: Array, result: Array) -> tuple[float, float]:
    """Return (share of the variance of a result that one input makes alone, p-value) [-].

    Machines are sorted by the input into classes of about equal count; what the means of the
    classes vary, over what all machines vary, less what chance would show.

    Args:
        values: of the input, shape (n,) [any].
        result: finite, shape (n,) [any].
    """
    from scipy.stats import f as fisher

    n = values.size
    classes = min(MOST_CLASSES, n // LEAST_IN_CLASS)
    total = float(((result - result.mean()) ** 2).sum())
    if classes < 2 or total == 0.0 or np.ptp(values) == 0.0:
        return 0.0, 1.0
    parts = np.array_split(result[np.argsort(values, kind="stable")], classes)
    inside = float(sum(((part - part.mean()) ** 2).sum() for part in parts))
    between = total - inside
    if inside <= 0.0:
        return 1.0, 0.0
    noise = inside / (n - classes)
    p_value = float(fisher.sf(between / (classes - 1) / noise, classes - 1, n - classes))
    return min(max((between - (classes - 1) * noise) / total, 0.0), 1.0), p_value
