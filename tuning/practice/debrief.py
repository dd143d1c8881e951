"""The debrief of a practice run: its trend beside the ideal one, its measures, score and advice."""

from __future__ import annotations

from dataclasses import dataclass

from simulator import Trend
from tuning.practice.advice import advice
from tuning.practice.drill import Drill
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.measures import Measures, measured
from tuning.practice.moments import Moment, moments
from tuning.practice.score import Score, scored
from tuning.practice.session import Practice, trend


@dataclass(frozen=True, eq=False)
class Debrief:
    """What there is to say about a run.

    Attributes:
        practice: the run.
        drill: that it was.
        run: its trend at every scan.
        measures: of it.
        ideal_run: trend of the ideal operator on the same machine, traps and seed.
        ideal: measures of that.
        score: of the run, against the ideal.
        advice: one or two sentences that depend on what was done.
        moments: of the run, in the order of time; the picture has their numbers, from 1.
    """

    practice: Practice
    drill: Drill
    run: Trend
    measures: Measures
    ideal_run: Trend
    ideal: Measures
    score: Score
    advice: tuple[str, ...]
    moments: tuple[Moment, ...]


def debriefed(practice: Practice) -> Debrief:
    """Return the debrief of a run, as far as it went.

    Args:
        practice: the run.
    """
    drill = DRILLS[practice.setup.drill]
    best = performed(practice.setup, drill.ideal)
    run, ideal_run = trend(practice), trend(best)
    m, ideal = measured(practice, run), measured(best, ideal_run)
    return Debrief(
        practice=practice,
        drill=drill,
        run=run,
        measures=m,
        ideal_run=ideal_run,
        ideal=ideal,
        score=scored(drill.key, practice.start, m, ideal),
        advice=advice(practice, run, m, ideal),
        moments=moments(practice, run, m),
    )
