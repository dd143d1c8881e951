"""What a practice run amounts to in numbers: the measures that the score and the debrief use.

    IAE = ∫ |T - T_wanted| dt      integral of the absolute error, as any control text has it

All are taken of the web's true tension at the load cells, from the moment from which the drill is
judged until its goal has held long enough (or to the end), so that idle time changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import Trend, run_kernel
from tuning.practice.drill import Goal
from tuning.practice.drills import DRILLS
from tuning.practice.goal import SPEED_BAND, Held, averaged, held, spoilt
from tuning.practice.session import Practice, trend

Array = NDArray[np.float64]

# A tension within this of the wanted one is on target [share, -], once for so long [s].
ON_TARGET, STAYS = 0.05, 3.0
# Farther off than this, a web is out of tolerance (common practice, no source) [share, -].
TOLERANCE = 0.10
# A bump shows within this after the switch [s]; before it, the tension is averaged over a second.
BUMP_TIME, BEFORE = 10.0, 1.0
# What an operator does after a switch that makes a bump of its own.
_OWN_DOING = ("manual", "start", "stop", "fast stop", "line speed")
# A hand-over worth the name is made with the tension within this of the wanted one [share, -].
READY = 0.15


@dataclass(frozen=True)
class Switch:
    """One hand-over from manual to automatic.

    Attributes:
        at: time of it [s].
        gap: of the setpoint above the reading [% of the wanted tension].
        jump: of the output at the first scan in automatic [%].
        bump: largest departure of the tension from what it was before [N].
        bump_percent: the same [% of the wanted tension].
        ready: whether the line ran and the tension was near the wanted one: else it is no
            hand-over of a tension [-].
    """

    at: float
    gap: float
    jump: float
    bump: float
    bump_percent: float
    ready: bool


@dataclass(frozen=True)
class Measures:
    """A practice run in numbers.

    Attributes:
        held: whether and for how long the goal held at the end.
        done: whether it held long enough [-].
        goal_time: from the start, or the call, until the goal held for good [s]; nan if it did not.
        reached: the same until the tension first was on target for 3 s [s]; nan if never.
        switches: hand-overs to automatic.
        peak: largest departure from the wanted tension of a web that is whole [% of it].
        overshoot: how far the tension went above the wanted one, once it had been there or below
            [% of it].
        iae: integral of the absolute error [N s].
        error: mean absolute error while the line moves [% of the wanted tension].
        outside: time farther off than 10 % while the line moves [s].
        slack: time with slack web that was not broken [s].
        breaks: web breaks beyond those that the drill had [-].
        moves: of the output by hand [-].
        travel: of the output by hand, all moves added up [%].
    """

    held: Held
    done: bool
    goal_time: float
    reached: float
    switches: tuple[Switch, ...]
    peak: float
    overshoot: float
    iae: float
    error: float
    outside: float
    slack: float
    breaks: int
    moves: int
    travel: float

    @property
    def bump(self) -> float:
        """The largest bump of all hand-overs [% of the wanted tension]; nan if none was one."""
        if not any(s.ready for s in self.switches):
            return math.nan
        return max(s.bump_percent for s in self.switches)


def measured(practice: Practice, run: Trend | None = None) -> Measures:
    """Return the measures of a practice run.

    Args:
        practice: the run, as far as it went.
        run: its trend at every scan, if there is one already.
    """
    goal: Goal = DRILLS[practice.setup.drill].goal
    start = practice.start
    run = trend(practice) if run is None else run
    end = held(
        goal, start, time=run.time, tension=run.web_tension, line_speed=run.line_speed,
        automatic=run.automatic,
    )  # fmt: skip
    # What is held before its call, by a line that was stopped too early, has not been done.
    call = max(_at(run, start.judged_from) - 1, 0)
    early = start.judged_from > 0.0 and run.line_speed[call] < (1.0 - SPEED_BAND) * start.line_speed
    if early or spoilt(practice, goal):
        end = replace(end, time=0.0)
    done = end.time >= goal.hold
    began = float(run.time[-1]) - end.time
    last = began + goal.hold if done else math.inf
    judged = (run.time >= start.judged_from) & (run.time <= last)
    scan = start.scenario.controller.scan_time
    off = 100.0 * (run.web_tension - start.wanted) / start.wanted
    # In automatic an entry of the output does nothing.
    moves = [a for a in practice.done if a.what == "output" and not _automatic(run, a.at)]
    at = np.searchsorted(run.time, [a.at - 0.5 * scan for a in moves])
    came_from = run.output[np.maximum(at - 1, 0)]
    unbroken, breaks = _unbroken(practice, run)
    slack = np.any(run.span_tension <= 0.0, axis=1) & unbroken
    moving = judged & (run.line_speed > 0.0)
    whole = np.abs(off[judged & unbroken])
    return Measures(
        held=end,
        done=done,
        goal_time=max(began - start.judged_from, 0.0) if done else math.nan,
        reached=_reached(run, off, start.judged_from),
        switches=tuple(_switches(practice, run)),
        peak=float(whole.max()) if whole.size else 0.0,
        overshoot=_overshoot(off[judged]),
        iae=float(np.abs(run.web_tension[judged] - start.wanted).sum() * scan),
        error=float(np.abs(off[moving]).mean()) if moving.any() else 0.0,
        outside=float((np.abs(off[moving]) > 100.0 * TOLERANCE).sum() * scan),
        slack=float(slack.sum() * scan),
        breaks=breaks,
        moves=len(moves),
        travel=float(sum(abs(a.value - was) for a, was in zip(moves, came_from, strict=True))),
    )


def _overshoot(off: Array) -> float:
    """Largest error above 0 after the first that is not [%]: a tension found too high is none."""
    there = np.flatnonzero(off <= 0.0)
    return max(float(off[there[0] :].max()), 0.0) if there.size else 0.0


def _reached(run: Trend, off: Array, judged_from: float) -> float:
    """Time after the call at which the tension first stays on target for a while [s]."""
    on = (np.abs(averaged(run.time, off)) <= 100.0 * ON_TARGET) & (run.time >= judged_from)
    n = max(round(STAYS / float(run.time[1] - run.time[0])), 1) if run.time.size > 1 else 1
    runs = np.convolve(on, np.ones(n), mode="valid")
    first = np.flatnonzero(runs >= n - 0.5)
    return float(run.time[first[0]]) - judged_from if first.size else math.nan


def _switches(practice: Practice, run: Trend) -> list[Switch]:
    wanted = practice.start.wanted
    found = []
    for i in np.flatnonzero(np.diff(run.automatic) > 0.5) + 1:
        at = float(run.time[i])
        before = (run.time >= at - BEFORE) & (run.time < at)
        was, reading = float(run.web_tension[before].mean()), float(run.tension[before].mean())
        end = min([a.at for a in practice.done if a.at > at and a.what in _OWN_DOING] + [math.inf])
        after = (run.time >= at) & (run.time <= min(at + BUMP_TIME, end))
        bump = float(np.abs(run.web_tension[after] - was).max())
        found.append(
            Switch(
                at=at,
                gap=100.0 * (float(run.setpoint[i]) - reading) / wanted,
                jump=float(run.output[i] - run.output[i - 1]),
                bump=bump,
                bump_percent=100.0 * bump / wanted,
                ready=abs(was - wanted) <= READY * wanted and float(run.line_speed[i]) > 0.0,
            )
        )
    return found


def _unbroken(practice: Practice, run: Trend) -> tuple[NDArray[np.bool_], int]:
    """Return when the web was whole, and how often it broke that the drill did not ask for.

    After a break of one's own it counts as lost to the end: the score asks for no more.
    """
    whole = np.ones(run.time.size, dtype=bool)
    first = float(practice.running.happened[run_kernel.BROKEN_AT])
    if math.isfinite(first):
        whole &= run.time < first
    threaded = [a.at for a in practice.done if a.what == "thread"]
    for at in [a.at for a in practice.start.plan if a.what == "web break"]:
        mended = min((t for t in threaded if t > at and _stood(run, t)), default=math.inf)
        whole &= (run.time < at) | (run.time > mended)
    return whole, int(practice.running.between[run_kernel.BREAKS])


def _at(run: Trend, at: float) -> int:
    return min(int(np.searchsorted(run.time, at)), run.time.size - 1)


def _stood(run: Trend, at: float) -> bool:
    return bool(run.line_speed[_at(run, at)] <= 0.0)


def _automatic(run: Trend, at: float) -> bool:
    return bool(run.automatic[_at(run, at)] > 0.5)
