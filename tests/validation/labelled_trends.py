"""Trends whose cause is known: what the classifier is fitted to and checked on. Tests only.

Each is a run of a machine of its own, with one cause at work and now and then a weaker second one;
see the three `*_recipes` for what was done, `disturbances` for what was added to the
simulator's run. A draft is kept where its label is true: the named oscillation stands out of what
surrounds it in the record, and is neither tiny nor absurd against the tension.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from simulator import Scenario, SimulationError, Trend
from tests.validation import loop_recipes, outside_recipes, trend_recipes
from tests.validation.line_strength import line_and_floor
from tests.validation.random_machines import NotThis
from tests.validation.running_lines import as_described, recorded
from tests.validation.trend_recipes import CAUSES, NONE, UNKNOWN, Draft

RECIPES: dict[str, Callable[[np.random.Generator], Draft]] = {
    trend_recipes.ROLL: trend_recipes.roll_out_of_round,
    trend_recipes.IDLER: trend_recipes.idler_out_of_round,
    trend_recipes.TIGHT: loop_recipes.tight,
    trend_recipes.RINGING: trend_recipes.ringing,
    trend_recipes.STICKING: loop_recipes.sticking,
    trend_recipes.MOVES: outside_recipes.moves,
    trend_recipes.ALIAS: outside_recipes.pickup,
    UNKNOWN: outside_recipes.unknown,
    NONE: trend_recipes.none,
}
READ_OFF = 0.005  # what a diameter or speed read off the machine may be off [-]
MOST_TRIES = 1000
# A line is this share of the tension; a second one stands out of its neighbourhood by this.
LEAST_SHARE, MOST_SHARE, SECOND_STANDS_OUT = 0.003, 0.3, 2.0
# A second cause is this share of the first.
LEAST_SECOND, MOST_SECOND = 0.2, 0.8


@dataclass(frozen=True, eq=False)
class LabelledTrend:
    """A trend and the truth about it.

    Attributes:
        trend: what the technician has; uniform in time, columns that are unknown are nan.
        described: what the scenario file says: off by usual tolerances, without gains now and then.
        true: the machine that made it.
        causes: largest in the reading first.
        frequency: of the first as recorded, mean over the record [Hz]; nan for none.
        story: what was done, in a line.
        amplitude: of the first in the reading, where it is at work [N]; nan for none.
        tries: drafts until this one.
        diameter: of the roll, as somebody would read it off the machine in the middle [m].
        line_speed: of the web, likewise [m/s].
    """

    trend: Trend
    described: Scenario
    true: Scenario
    causes: tuple[str, ...]
    frequency: float
    story: str
    amplitude: float = math.nan
    tries: int = 1
    diameter: float = math.nan
    line_speed: float = math.nan


def labelled_trend(seed: int, cause: str | None = None) -> LabelledTrend:
    """Return one trend, the same for the same seed; of a cause drawn evenly if none is named."""
    drawn = CAUSES[np.random.default_rng([seed, 2**31]).integers(len(CAUSES))]
    wanted = drawn if cause is None else cause
    index = CAUSES.index(wanted)
    for attempt in range(MOST_TRIES):
        rng = np.random.default_rng([seed, index, attempt])
        try:
            return _finished(rng, RECIPES[wanted](rng), wanted, attempt + 1)
        except (NotThis, SimulationError):
            continue
    raise RuntimeError(f"seed {seed}, {wanted}: no trend in {MOST_TRIES} drafts")


def labelled_trends(seeds: Iterable[int]) -> Iterator[LabelledTrend]:
    """Return one trend a seed."""
    return (labelled_trend(seed) for seed in seeds)


def _finished(rng: np.random.Generator, draft: Draft, cause: str, tries: int) -> LabelledTrend:
    line, clock = draft.line, draft.clock
    trend = recorded(rng, line, draft.base, clock, needs=draft.needs, hides=draft.hides,
                     speed_noise=draft.speed_noise,
                     gives_way=cause != trend_recipes.ALIAS)  # fmt: skip
    causes, amplitude, story = (cause,), math.nan, draft.story
    if cause != NONE:
        phase = draft.phase
        if phase is None:
            phase = 2.0 * math.pi * draft.f * trend.time
        start = int(draft.seen_from * phase.size)
        amplitude = _clear(
            trend.tension[start:], phase[start:], line.T, draft.cycles, draft.stands_out
        )
        if draft.second is not None:
            name, other = draft.second
            second = _clear(trend.tension, other, line.T, 8.0, SECOND_STANDS_OUT)
            if not LEAST_SECOND < second / amplitude < MOST_SECOND:
                raise NotThis("the second cause has the wrong size")
            causes, story = (cause, name), f"{story}; second: {name}"
    if np.ptp(trend.tension) == 0.0:
        raise NotThis("nothing but one step of the reading")
    described = as_described(rng, line)
    return LabelledTrend(trend, described, line.gains.set_in(line.true), causes, draft.f,
                         story, amplitude, tries,
                         *_read_off(rng, draft))  # fmt: skip


def _read_off(rng: np.random.Generator, draft: Draft) -> tuple[float, float]:
    """Return mean diameter [m] and line speed [m/s] with the error of a tape and a display."""
    clock = draft.clock
    keep = slice(clock.lead, clock.lead + clock.samples)
    return tuple(
        float(values[keep].mean() * (1.0 + rng.uniform(-READ_OFF, READ_OFF)))
        for values in (draft.base.diameter, draft.base.line_speed)
    )


def _clear(y: np.ndarray, phase: np.ndarray, T: float, cycles: float, stands_out: float) -> float:
    """Return the amplitude of an oscillation in the record [N]; refuse one that can't be seen."""
    amplitude, floor = line_and_floor(y, phase, cycles=cycles)
    if amplitude < stands_out * floor:
        raise NotThis("lost in the noise")
    if not LEAST_SHARE * T < amplitude < MOST_SHARE * T:
        raise NotThis("too small or too large")
    return amplitude
