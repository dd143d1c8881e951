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
- A swing that was there before the step (an out-of-round roll) is fitted beside the replay, and so
  is a drift of the reading where the scatter shows one.

What the errors suppose: the scatter about the replay is alike throughout one test and may differ
from test to test; how quick and how slow it is, is taken from what is left (`tuning.fit_errors`).
Standard errors are those of the replay linearised at the fit, in the logarithm for what is above
zero by nature; intervals are Student's t (Seber & Wild, Nonlinear Regression, 1989, chapter 5,
restated from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from simulator import Scenario, Trend
from tuning.fit_errors import covariance, degrees_of_freedom, inverse, wandering
from tuning.fit_machine_words import fit_words
from tuning.fit_search import Record, autocorrelation
from tuning.machine_fit import FittedTest, Learned, MachineFit
from tuning.machine_parameters import USUALLY_FREE, parameters
from tuning.machine_record import RecordedTest, read_tests, replay
from tuning.machine_search import DAMPING, SWING, Problem, better, refine, starts, vague
from tuning.remainder import steady_swing

__all__ = ["FittedTest", "Learned", "MachineFit", "fit_machine"]

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
# A swing that is claimed to be known better than this is looked at again [z].
CERTAIN = 0.2
# A drift counts from so many of its standard errors on, and from this share of the noise [-].
CLEAR_DRIFT, LEAST_DRIFT = 3.5, 0.2


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
        drifts=(False,) * len(records),
        level_error=math.inf if level_error is None else level_error,
    )
    first, *others = starts(problem)
    _, z = refine(problem, first)
    problem, z = _with_swings_and_drifts(problem, z)
    z = better(problem, z, others)
    problem, z = _weighed(problem, z)
    unseen, z = _without_unseen(problem, z)
    return _result(problem, z, unseen)


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


def _with_swings_and_drifts(problem: Problem, z: Array) -> tuple[Problem, Array]:
    """Fit beside the machine a swing that was there before the step, and a drift."""
    for what in ("swings", "drifts"):
        _, _, left = _residuals(problem, z)
        pairs = list(zip(problem.tests, left, strict=True))
        if what == "swings":
            swings = tuple(_swing(test, residual) for test, residual in pairs)
            changed = replace(problem, swings=swings)
            found = bool(np.any(np.isfinite(swings)))
        else:
            drifts = tuple(_drifts(test, residual) for test, residual in pairs)
            changed, found = replace(problem, drifts=drifts), any(drifts)
        if found:
            problem, z = changed, refine(changed, z)[1]
    return problem, z


def _swing(test: RecordedTest, residual: Array) -> float:
    """Return the frequency of a steady swing [Hz]; nan if there is none."""
    moves = np.diff([test.first_output, *test.moves])
    record = Record(test.time, test.reading, test.move_times, moves)
    found = steady_swing(record, residual)
    return math.nan if found is None else found[0]


def _drifts(test: RecordedTest, residual: Array) -> bool:
    """Return whether what is left of a test has a slope that stands out of its scatter."""
    centred = test.time - test.time.mean()
    power = float(centred @ centred)
    slope = float(centred @ residual) / power
    left = residual - slope * centred
    r = min(autocorrelation(left), 0.999)
    error = float(left.std()) * math.sqrt((1.0 + r) / (1.0 - r) / power)
    return abs(slope) > max(CLEAR_DRIFT * error, LEAST_DRIFT * test.noise / float(test.time[-1]))


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
    return problem, refine(problem, z)[1]


def _without_unseen(problem: Problem, z: Array) -> tuple[set[int], Array]:
    """Hold what the tests say nothing about where the scenario puts it; return which."""
    unseen: set[int] = set()
    while True:
        information = problem.information(z)
        seen = [j for j in range(len(problem.free)) if j not in unseen]
        found = {j for j in seen if float(np.linalg.norm(information[:, j])) * UNSEEN < 1.0}
        if not found:
            error = np.sqrt(np.diag(inverse(information, unseen)))
            found = {
                j
                for j in seen
                if problem.free[j].name in (*SWING, *DAMPING)
                and error[j] < CERTAIN
                and vague(problem, z, j, held=unseen)
            }
        if not found:
            return unseen, z
        unseen |= found
        z = np.array(z)
        z[list(found)] = 0.0
        _, z = refine(problem, z, held=unseen)


def _result(problem: Problem, z: Array, unseen: set[int]) -> MachineFit:
    machine = problem.machine(z)
    _check_web(problem, machine)
    levelled, swings, left = _residuals(problem, z)
    levels = problem.levels(z, problem.replays(z))
    p = len(problem.free)
    as_described, _, _ = _residuals(problem, np.concatenate([np.zeros(p), z[p:]]))
    fitted = tuple(
        _fitted(test, *parts)
        for test, *parts in zip(
            problem.tests,
            problem.swings,
            problem.drifts,
            as_described,
            levelled,
            swings,
            left,
            levels,
            strict=True,
        )
    )
    freedom = degrees_of_freedom(problem, left)
    spread = covariance(problem, z, left, unseen)
    learned = tuple(
        _learned(problem, z, j, spread, freedom, seen=j not in unseen) for j in range(p)
    )
    correlation, alike = _correlation(learned, spread)
    total = math.sqrt(sum(float(r @ r) for r in left) / sum(r.size for r in left))
    moved = math.sqrt(
        sum(float(np.sum((t.reading - t.reading.mean()) ** 2)) for t in problem.tests)
        / sum(r.size for r in left)
    )
    words = fit_words(
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
        warnings=(*words.warnings, *wandering(left)),
    )


def _check_web(problem: Problem, machine: Scenario) -> None:
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
    drifts: bool,
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
        drift=float(np.polyfit(test.time, swing, 1)[0]) if drifts else 0.0,
        noise=test.noise,
        residual=rms,
        correlation=autocorrelation(left),
        fit_percent=100.0 * (1.0 - rms / float(test.reading.std())),
        level_offset=float(level),
    )


def _learned(
    problem: Problem, z: Array, j: int, covariance: Array, freedom: float, *, seen: bool
) -> Learned:
    p = problem.free[j]
    if not seen:
        return Learned(p.name, p.words, p.unit, p.value, p.value, seen=False)
    at, low, high = float(z[j]), p.z_of(p.low), p.z_of(p.high)
    at_limit = min(at - low, high - at) < AT_BOUND
    if at_limit:
        at = low if at - low < high - at else high
    error = math.sqrt(float(covariance[j, j]))
    reach = float(student.ppf(0.5 + 0.5 * CONFIDENCE, freedom)) * error
    return Learned(
        name=p.name,
        words=p.words,
        unit=p.unit,
        before=p.value,
        after=p.value_at(at),
        standard_error=p.slope_at(at) * error,
        low=p.value_at(max(at - reach, low)),
        high=p.value_at(min(at + reach, high)),
        at_limit=at_limit,
    )


def _correlation(
    learned: tuple[Learned, ...], covariance: Array
) -> tuple[Array, tuple[tuple[str, ...], ...]]:
    """Return the correlations of what was learned [-], and the groups that are not told apart."""
    whole = np.full(covariance.shape, math.nan)
    seen = [j for j, one in enumerate(learned) if one.seen]
    if not seen:
        return whole, ()
    part = np.ix_(seen, seen)
    deviation = np.sqrt(np.diag(covariance))
    whole[part] = (covariance / np.outer(deviation, deviation))[part]
    groups: list[set[int]] = []
    for variance, direction in zip(*_directions(covariance[part]), strict=True):
        group = {j for j, share in zip(seen, direction, strict=True) if abs(share) > TAKES_PART}
        if variance > UNCERTAIN**2 and len(group) > 1:
            groups.append(group)
    for i, k in combinations(seen, 2):
        if abs(whole[i, k]) > ALIKE and not any({i, k} <= group for group in groups):
            groups.append({i, k})
    return whole, tuple(tuple(learned[j].name for j in sorted(group)) for group in groups)


def _directions(covariance: Array) -> tuple[Array, Array]:
    """Return the variances along the principal directions, and those directions as rows [-]."""
    variances, columns = np.linalg.eigh(covariance)
    return variances, columns.T
