"""The score of a practice run: each part between full marks and none, against the ideal run.

The ideal operator does the same drill on the same machine with the same traps and seed. Full marks
are what that took plus what hands and eyes need; from there a part falls on a straight line to
nothing. The limits are ours; that a bump, an overshoot, the IAE and the time outside a tolerance
are what a hand-over is judged by is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tuning.practice.drill import Part, Start
from tuning.practice.drills import DRILLS
from tuning.practice.measures import Measures

# Beyond the ideal run, what still gets full marks, and what gets none.
BUMP = (2.0, 12.0)  # [% of tension]
PEAK = (10.0, 60.0)  # [% of tension]
OVERSHOOT = (5.0, 50.0)  # [% of tension]
ERROR = (2.0, 12.0)  # mean [% of tension]
OUTSIDE = (1.5, 12.0)  # [s]
SLACK = (0.1, 2.0)  # [s]
MOVES = (6.0, 40.0)  # [-]
REACTION = 10.0  # [s]
# Without the goal, what was done on the way counts for less, and the goal a little.
WITHOUT_GOAL, SOME_GOAL = 0.3, 0.3
# A broken web takes the score at most this far.
BROKEN = 30.0
GOOD, USABLE = 80.0, 60.0


@dataclass(frozen=True)
class Marks:
    """One part of a score.

    Attributes:
        part: which one.
        points: given [-].
        most: that there were [-].
    """

    part: Part
    points: float
    most: float


@dataclass(frozen=True)
class Score:
    """The score of a run.

    Attributes:
        total: of 100 [-].
        marks: its parts.
        word: "good", "usable" or "again".
    """

    total: float
    marks: tuple[Marks, ...]
    word: str


def scored(drill: str, start: Start, m: Measures, ideal: Measures) -> Score:
    """Return the score of a run.

    Args:
        drill: key of the drill.
        start: of the drill.
        m: measures of the run.
        ideal: measures of the ideal run of the same drill.
    """
    shares: dict[Part, float] = {
        "goal": 1.0 if m.done else SOME_GOAL * m.held.share,
        "time": _time_share(start, m, ideal),
        "bump": _share(m.bump, _or(ideal.bump, 0.0), BUMP),
        "peak": _share(m.peak, ideal.peak, PEAK),
        "overshoot": _share(m.overshoot, ideal.overshoot, OVERSHOOT),
        "error": _share(m.error, ideal.error, ERROR),
        "outside": _share(m.outside, ideal.outside, OUTSIDE),
        "web": 0.0 if m.breaks else _share(m.slack, ideal.slack, SLACK),
        "moves": _share(m.moves, ideal.moves, MOVES),
    }
    points = DRILLS[drill].points
    marks = []
    for part, most in points.items():
        worth = most if m.done or part == "goal" else WITHOUT_GOAL * most
        marks.append(Marks(part, worth * shares[part], most))
    total = sum(mark.points for mark in marks)
    if m.breaks > ideal.breaks:
        total = min(total, BROKEN)
    word = "good" if total >= GOOD else "usable" if total >= USABLE else "again"
    return Score(total, tuple(marks), word)


def _time_share(start: Start, m: Measures, ideal: Measures) -> float:
    """Full marks for the ideal time and a reaction; none for all the time there was."""
    if math.isnan(m.goal_time):
        return 0.0
    full = _or(ideal.goal_time, 0.0) + REACTION
    none = max(start.time_limit - start.judged_from, full + REACTION)
    return min(max((none - m.goal_time) / (none - full), 0.0), 1.0)


def _share(value: float, ideal: float, limits: tuple[float, float]) -> float:
    """1 up to the ideal and the first limit, 0 from the second on; 0 where nothing was measured."""
    if math.isnan(value):
        return 0.0
    full, none = limits
    return min(max((none - (value - ideal)) / (none - full), 0.0), 1.0)


def _or(value: float, instead: float) -> float:
    return instead if math.isnan(value) else value
