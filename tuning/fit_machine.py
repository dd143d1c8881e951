"""Learning the machine: its physical numbers from one recorded step test or several.

A black-box model of a step test holds where the test was made. A machine whose modulus, torque and
lag have been learned can be taken to any diameter and speed, because the physics between is known.
So the test is replayed on the simulator, and the numbers are searched that make the replay fit.

What is taken from the record:

- The recorded output acts, and the reading is compared at the recorded times.
- The level of each record is free unless `level_error` says how far it can be trusted: friction
  that has changed or a zero that is off moves the level, and would else be taken for torque. The
  torque per per cent then comes from the steps alone, and dry friction can't be seen; how far the
  fitted machine's own level is from the record is reported. With `level_error` the level counts,
  and tests at several diameters tell friction (the same torque everywhere) from full torque.
- A gain error of the load cell can't be told from full torque: calibrate first.
- A swing that was there before the step (an out-of-round roll) is fitted beside the replay.

What the errors suppose: the scatter about the replay is alike throughout one test and may differ
from test to test; each reading's is correlated with the next one's by r, and n such readings count
as n (1 - r)/(1 + r) (exact for the mean of a first-order autoregression, common practice for the
rest). Standard errors are those of the replay linearised at the fit, in the logarithm for what is
above zero by nature; intervals are Student's t (Seber & Wild, Nonlinear Regression, 1989, chapter
5, restated from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from simulator import Scenario, Trend
from tuning.fit_machine_words import FitWords, fit_words
from tuning.fit_search import Record, autocorrelation
from tuning.machine_parameters import USUALLY_FREE, Parameter, parameters
from tuning.machine_record import RecordedTest, read_tests, replay
from tuning.machine_search import Problem, refine, search
from tuning.remainder import steady_swing

Array = NDArray[np.float64]

CONFIDENCE = 0.95
# A number whose standard error is above this is not seen, even if all others were known [z]:
# a factor of 2.7 up and down at 95 %.
UNSEEN = 0.5
# Two numbers correlated more than this are not told apart.
ALIKE = 0.95
# A direction of the numbers less certain than this is not told either [z], and a number takes part
# in it from this share on.
UNCERTAIN, TAKES_PART = 0.5, 0.3
# A coordinate so near its bound stands at it [z].
AT_BOUND = 2e-3
LEAST_FREEDOM = 3.0


@dataclass(frozen=True)
class Learned:
    """One number of the machine and what the tests say about it.

    Attributes:
        name: dotted key as in the scenario file.
        words: its name for people.
        unit: SI unit.
        before: as described [unit].
        after: as learned; as described where it was not seen [unit].
        standard_error: of what was learned [unit]; nan where there is none.
        low: lower end of the 95 % interval [unit]; nan where there is none.
        high: upper end of the 95 % interval [unit]; nan where there is none.
        seen: whether the tests say anything about it.
        at_limit: whether the search ended at the end of its range, so that it has no interval.
    """

    name: str
    words: str
    unit: str
    before: float
    after: float
    standard_error: float = math.nan
    low: float = math.nan
    high: float = math.nan
    seen: bool = True
    at_limit: bool = False

    @property
    def factor(self) -> float:
        """As learned over as described [-]; nan where nothing was described."""
        return self.after / self.before if self.before != 0.0 else math.nan


@dataclass(frozen=True, eq=False)
class FittedTest:
    """One recorded test and what the machine makes of it, before and after.

    Attributes:
        trend: as recorded.
        time: from the first sample, shape (n,) [s].
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        described: reading of the machine as described, at the test's own level, shape (n,) [N].
        learned: reading of the machine as learned, at the test's own level, shape (n,) [N].
        swing: steady swing of the record beside the replay, shape (n,) [N].
        swing_frequency: of that swing [Hz]; nan if there is none.
        noise: of one reading, from how it jumps from sample to sample [N].
        residual: rms of the reading less machine and swing [N].
        correlation: of each residual with the next [-].
        fit_percent: 100 (1 - residual/rms of the reading about its mean) [%].
        level_offset: how much more the record reads than the learned machine at this output [N].
    """

    trend: Trend
    time: Array
    diameter: float
    line_speed: float
    described: Array
    learned: Array
    swing: Array
    swing_frequency: float
    noise: float
    residual: float
    correlation: float
    fit_percent: float
    level_offset: float


@dataclass(frozen=True, eq=False)
class MachineFit:
    """What step tests say about a machine.

    Attributes:
        scenario: the machine as learned.
        described: the machine as it was described.
        parameters: the free numbers, in the order asked for.
        correlation: between what was learned, in the same order, shape (p, p) [-]; nan where a
            number was not seen or stands at a limit.
        tests: one of each recorded test.
        residual: rms of what the learned machine leaves over all tests [N].
        fit_percent: 100 (1 - residual/rms of the readings about their means) [%].
        degrees_of_freedom: readings that count, less what was fitted [-].
        level_error: how far the levels were trusted [N]; inf where they were free.
        alike: groups of numbers that these tests don't tell apart, by name.
        supposed: what the errors suppose, in a sentence.
        warnings: what a reader should know.
    """

    scenario: Scenario
    described: Scenario
    parameters: tuple[Learned, ...]
    correlation: Array
    tests: tuple[FittedTest, ...]
    residual: float
    fit_percent: float
    degrees_of_freedom: float
    level_error: float = math.inf
    alike: tuple[tuple[str, ...], ...] = ()
    supposed: str = ""
    warnings: tuple[str, ...] = ()

    def parameter(self, name: str) -> Learned:
        """Return one of the free numbers by its dotted key.

        Raises:
            KeyError: it was not free; lists those that were.
        """
        for learned in self.parameters:
            if learned.name == name:
                return learned
        raise KeyError(f"{name!r}; free were {', '.join(p.name for p in self.parameters)}")


def fit_machine(
    tests: Trend | Sequence[Trend],
    scenario: Scenario,
    *,
    free: Sequence[str] | None = None,
    diameters: Sequence[float] | None = None,
    line_speeds: Sequence[float] | None = None,
    level_error: float | None = None,
) -> MachineFit:
    """Learn physical numbers of a machine from step tests recorded in manual.

    Args:
        tests: one recorded step test or several, at the same diameter or others.
        scenario: the machine as described; a factor of two off in what is free does no harm.
        free: what to learn, dotted keys as in the scenario file; full torque, lag and dead time of
            the torque device, modulus and damping of the web if left out.
        diameters: of the roll in each test, needed where its trend does not tell [m].
        line_speeds: of the web in each test, needed where its trend does not tell [m/s].
        level_error: standard error of the level of each test: of friction and zero, in tension [N];
            the levels tell nothing if left out.

    Raises:
        ValueError: a trend is no step test in manual of this machine, a name in `free` is none, or
            the machine as learned loses the web in a test; says what to change.
    """
    if level_error is not None and not (math.isfinite(level_error) and level_error > 0.0):
        raise ValueError(f"level_error {level_error} N: must be above 0 N, or left out")
    # A text is a sequence of letters, too.
    names = USUALLY_FREE if free is None else (free,) if isinstance(free, str) else tuple(free)
    asked = parameters(scenario, names)
    records = read_tests(tests, scenario, diameters=diameters, line_speeds=line_speeds)
    problem = Problem(
        scenario=scenario,
        free=asked,
        tests=records,
        noise=tuple(record.noise for record in records),
        swings=(math.nan,) * len(records),
        level_error=math.inf if level_error is None else level_error,
    )
    z = search(problem)
    problem, z = _with_swings(problem, z)
    problem, z = _weighed(problem, z)
    problem, z = _without_unseen(problem, z)
    return _result(problem, z, asked)


def _residuals(problem: Problem, z: Array) -> tuple[list[Array], list[Array], list[Array]]:
    """Return of each test the machine at its level, the swing, and what is left [N]."""
    levelled, swings, left = [], [], []
    for test, sim, basis in zip(problem.tests, problem.replays(z), problem.bases, strict=True):
        difference = test.reading - sim
        level = float(difference.mean())
        solved = basis @ (basis.T @ difference)
        levelled.append(sim + level)
        swings.append(solved - level)
        left.append(difference - solved)
    return levelled, swings, left


def _with_swings(problem: Problem, z: Array) -> tuple[Problem, Array]:
    """Fit a swing that was there before the step beside the machine."""
    _, _, left = _residuals(problem, z)
    swings = []
    for test, residual in zip(problem.tests, left, strict=True):
        moves = np.diff([test.first_output, *test.moves])
        record = Record(test.time, test.reading, test.move_times, moves)
        found = steady_swing(record, residual)
        swings.append(math.nan if found is None else found[0])
    if not np.any(np.isfinite(swings)):
        return problem, z
    problem = replace(problem, swings=tuple(swings))
    return problem, refine(problem, z)


def _weighed(problem: Problem, z: Array) -> tuple[Problem, Array]:
    """Weigh each test by what the machine leaves of it, correlated residuals for less."""
    _, _, left = _residuals(problem, z)
    spent = len(z) / len(left)
    noise = []
    for residual, basis, test in zip(left, problem.bases, problem.tests, strict=True):
        n, r = residual.size, min(autocorrelation(residual), 0.999)
        variance = float(residual @ residual) / max(n - basis.shape[1] - spent, 1.0)
        noise.append(math.sqrt(max(variance, (1e-3 * test.noise) ** 2) * (1.0 + r) / (1.0 - r)))
    problem = replace(problem, noise=tuple(noise))
    return problem, refine(problem, z)


def _without_unseen(problem: Problem, z: Array) -> tuple[Problem, Array]:
    """Hold what the tests say nothing about where the scenario puts it."""
    information = problem.information(z)
    seen = [
        float(np.linalg.norm(information[:, j])) * UNSEEN > 1.0 for j in range(len(problem.free))
    ]
    if all(seen):
        return problem, z
    kept = tuple(p for p, yes in zip(problem.free, seen, strict=True) if yes)
    rest = np.concatenate([z[: len(problem.free)][seen], z[len(problem.free) :]])
    problem = replace(problem, free=kept)
    return problem, refine(problem, rest)


def _result(problem: Problem, z: Array, asked: tuple[Parameter, ...]) -> MachineFit:
    machine = problem.machine(z)
    _check_web(problem, z, machine)
    levelled, swings, left = _residuals(problem, z)
    levels = problem.levels(z, problem.replays(z))
    still = replace(problem, free=())
    as_described, _, _ = _residuals(still, z[len(problem.free) :])
    fitted = tuple(
        _fitted(test, *parts)
        for test, *parts in zip(
            problem.tests, problem.swings, as_described, levelled, swings, left, levels, strict=True
        )
    )
    freedom = _freedom(problem, left)
    at_limit, covariance = _covariance(problem, z)
    learned = tuple(_learned(p, problem, z, at_limit, covariance, freedom) for p in asked)
    correlation, alike = _correlation(problem, asked, at_limit, covariance)
    total = math.sqrt(sum(float(r @ r) for r in left) / sum(r.size for r in left))
    moved = math.sqrt(
        sum(float(np.sum((t.reading - t.reading.mean()) ** 2)) for t in problem.tests)
        / sum(r.size for r in left)
    )
    words: FitWords = fit_words(
        problem.scenario, learned, fitted, alike, correlation, level_error=problem.level_error,
        late=max(test.late for test in problem.tests),
    )  # fmt: skip
    return MachineFit(
        scenario=machine,
        described=problem.scenario,
        parameters=learned,
        correlation=correlation,
        tests=fitted,
        residual=total,
        fit_percent=100.0 * (1.0 - total / moved),
        degrees_of_freedom=freedom,
        level_error=problem.level_error,
        alike=alike,
        supposed=words.supposed,
        warnings=words.warnings,
    )


def _check_web(problem: Problem, z: Array, machine: Scenario) -> None:
    """Refuse a machine that loses the web in a test in which it was not lost."""
    for i, test in enumerate(problem.tests):
        _, run = replay(test, machine, delay=0.5 * test.late, breaks=True)
        lost = run.web_lost or ("start at another tension" if _off_start(run, test) else "")
        if lost:
            raise ValueError(
                f"test {i + 1}: replayed on the machine as learned it ends in a {lost}, which the "
                "record does not show: check friction, breaking tension and zone of the scenario, "
                "and the diameter of the test"
            )


def _off_start(run: Trend, test: RecordedTest) -> bool:
    return abs(float(run.tension[0]) - test.start) > 0.02 * abs(test.start)


def _fitted(
    test: RecordedTest,
    swing_frequency: float,
    described: Array,
    learned: Array,
    swing: Array,
    left: Array,
    level: float,
) -> FittedTest:
    rms = float(np.sqrt(np.mean(left**2)))
    return FittedTest(
        trend=test.trend,
        time=test.time,
        diameter=test.diameter,
        line_speed=test.line_speed,
        described=described,
        learned=learned,
        swing=swing,
        swing_frequency=swing_frequency,
        noise=test.noise,
        residual=rms,
        correlation=autocorrelation(left),
        fit_percent=100.0 * (1.0 - rms / float(test.reading.std())),
        level_offset=float(level),
    )


def _freedom(problem: Problem, left: list[Array]) -> float:
    count = 0.0
    for residual, basis in zip(left, problem.bases, strict=True):
        r = min(autocorrelation(residual), 0.999)
        count += residual.size * (1.0 - r) / (1.0 + r) - basis.shape[1]
    return max(count - len(problem.free), LEAST_FREEDOM)


def _covariance(problem: Problem, z: Array) -> tuple[list[bool], Array]:
    """Return which numbers stand at a bound, and the covariance of all [-]; nan for those."""
    p = len(problem.free)
    low, high = problem.bounds
    at_limit = [bool(min(z[j] - low[j], high[j] - z[j]) < AT_BOUND) for j in range(p)]
    covariance = np.full((p, p), math.nan)
    if p == 0 or all(at_limit):
        return at_limit, covariance
    inside = [j for j in range(p) if not at_limit[j]]
    columns = [*inside, *range(p, z.size)]
    _, sigma, V = np.linalg.svd(problem.information(z)[:, columns], full_matrices=False)
    # What no row knows about is infinitely uncertain; so large a number is as good.
    whole = (V.T / np.maximum(sigma, 1e-6) ** 2) @ V
    covariance[np.ix_(inside, inside)] = whole[: len(inside), : len(inside)]
    return at_limit, covariance


def _learned(
    p: Parameter,
    problem: Problem,
    z: Array,
    at_limit: list[bool],
    covariance: Array,
    freedom: float,
) -> Learned:
    names = [q.name for q in problem.free]
    if p.name not in names:
        return Learned(p.name, p.words, p.unit, p.value, p.value, seen=False)
    j = names.index(p.name)
    at = float(z[j])
    if at_limit[j]:
        bound = p.low if at < 0.5 * (p.z_of(p.low) + p.z_of(p.high)) else p.high
        return Learned(p.name, p.words, p.unit, p.value, bound, at_limit=True)
    error = math.sqrt(float(covariance[j, j]))
    reach = float(student.ppf(0.5 + 0.5 * CONFIDENCE, freedom)) * error
    return Learned(
        name=p.name,
        words=p.words,
        unit=p.unit,
        before=p.value,
        after=p.value_at(at),
        standard_error=p.slope_at(at) * error,
        low=p.value_at(max(at - reach, p.z_of(p.low))),
        high=p.value_at(min(at + reach, p.z_of(p.high))),
    )


def _correlation(
    problem: Problem, asked: tuple[Parameter, ...], at_limit: list[bool], covariance: Array
) -> tuple[Array, tuple[tuple[str, ...], ...]]:
    """Return the correlations of all asked for [-], and the groups that are not told apart."""
    whole = np.full((len(asked), len(asked)), math.nan)
    inside = [j for j, at in enumerate(at_limit) if not at]
    if not inside:
        return whole, ()
    cov = covariance[np.ix_(inside, inside)]
    deviation = np.sqrt(np.diag(cov))
    correlation = cov / np.outer(deviation, deviation)
    names = [problem.free[j].name for j in inside]
    place = [[p.name for p in asked].index(name) for name in names]
    whole[np.ix_(place, place)] = correlation
    groups: list[set[str]] = []
    spread, directions = np.linalg.eigh(cov)
    for variance, direction in zip(spread, directions.T, strict=True):
        part = {name for name, share in zip(names, direction, strict=True)
                if abs(share) > TAKES_PART}  # fmt: skip
        if variance > UNCERTAIN**2 and len(part) > 1:
            groups.append(part)
    for i in range(len(names)):
        for k in range(i + 1, len(names)):
            pair = {names[i], names[k]}
            if abs(correlation[i, k]) > ALIKE and not any(pair <= group for group in groups):
                groups.append(pair)
    order = {p.name: i for i, p in enumerate(asked)}
    return whole, tuple(tuple(sorted(group, key=order.__getitem__)) for group in groups)
