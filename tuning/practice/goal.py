"""For how long a drill's goal has held, up to now."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tuning.practice.drill import Goal, Start

if TYPE_CHECKING:
    from tuning.practice.session import Practice

Array = NDArray[np.float64]

# The tension is averaged over this, as the eye does [s].
AVERAGE_TIME = 1.0
# At any moment the tension may be off by so many times the band, and the machine's own shake.
SWING, SHAKES = 2.0, 1.3
# Less than this of the tuned integral gain is no automatic [-].
ASLEEP = 0.1
# A line runs at its speed, or at crawl, within this [share of running speed, -].
SPEED_BAND = 0.01


@dataclass(frozen=True)
class Held:
    """Which conditions of a goal hold now, and for how long all of them have.

    Attributes:
        time: for which all have held without a break [s].
        tension: whether the tension is within the band, and does not swing out of it [-].
        mode: whether the controller is in the mode asked for [-].
        line: whether the line does what is asked for [-].
    """

    time: float
    tension: bool
    mode: bool
    line: bool

    @property
    def share(self) -> float:
        """Of the conditions, how many hold now [-]."""
        return (self.tension + self.mode + self.line) / 3.0


def averaged(time: Array, values: Array) -> Array:
    """Return the mean over the last second at each sample; at the start over what there is.

    Args:
        time: evenly spaced, shape (n,) [s].
        values: at these times, shape (n,) [any].
    """
    if time.size < 2:
        return values
    n = max(round(AVERAGE_TIME / float(time[1] - time[0])), 1)
    sums = np.concatenate([[0.0], np.cumsum(values)])
    ends = np.arange(1, values.size + 1)
    begins = np.maximum(ends - n, 0)
    mean: Array = (sums[ends] - sums[begins]) / (ends - begins)
    return mean


def spoilt(practice: Practice, goal: Goal) -> bool:
    """Return whether what was done keeps the goal from counting, whatever the tension does.

    That is automatic in a drill by hand; automatic with an integral gain that does nothing; or what
    the goal needs and was not done after the call.

    Args:
        practice: the run so far.
        goal: of the drill.
    """
    done = practice.done
    if goal.by_hand and any(action.what == "automatic" for action in done):
        return True
    tuned, now = practice.setup.scenario.controller, practice.running.controller
    asleep = now.Kc / now.Ti < ASLEEP * (tuned.Kc or 0.0) / (tuned.Ti or math.inf)
    if goal.automatic and asleep:
        return True
    after = {action.what for action in done if action.at >= practice.start.judged_from}
    return not after.issuperset(goal.needs)


def held(
    goal: Goal, start: Start, *, time: Array, tension: Array, line_speed: Array, automatic: Array
) -> Held:
    """Return for how long a goal has held at the end of a record.

    Args:
        goal: of the drill.
        start: of the drill.
        time: evenly spaced, shape (n,) [s].
        tension: of the web at the load cells, shape (n,) [N].
        line_speed: shape (n,) [m/s].
        automatic: whether in automatic, 1 or 0, shape (n,) [-].
    """
    run = start.scenario.run
    within = np.abs(averaged(time, tension) - start.wanted) <= goal.band * start.wanted
    # A mean is blind to a swing about it.
    swing = SWING * goal.band + SHAKES * start.shake
    within &= np.abs(tension - start.wanted) <= swing * start.wanted
    mode = np.ones(time.size, dtype=bool)
    if goal.automatic is not None:
        mode = (automatic == 1.0) == goal.automatic
    line = np.ones(time.size, dtype=bool)
    if goal.line == "standing":
        line = line_speed == 0.0
    elif goal.line is not None:
        target = run.line_speed if goal.line == "running" else run.crawl_speed
        line = np.abs(line_speed - target) <= SPEED_BAND * run.line_speed
    # Before the call nothing counts: what holds then has not been done yet.
    everything = within & mode & line & (time >= start.judged_from)
    broken_off = np.flatnonzero(~everything)
    first = broken_off[-1] + 1 if broken_off.size else 0
    lasted = float(time[-1] - time[first]) if first < time.size else 0.0
    return Held(lasted, bool(within[-1]), bool(mode[-1]), bool(line[-1]))
