"""Where the web slips on a roller: the capstan limit.

Friction carries a ratio of tensions up to e^(mu beta) round a wrap beta (Euler 1769, Eytelwein
1808: dT/T = mu d(beta), integrated). The simulation itself keeps the web on its rollers; beyond the
limit its numbers are those of a machine that grips better.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simulator.scenario import PullRoll, Scenario

Array = NDArray[np.float64]

# Below this share of the running tension on the tight side there is nothing to hold [-].
_LEAST_TENSION = 0.01


def capstan_limits(scenario: Scenario) -> dict[str, float]:
    """Return, for each roller whose wrap is known, the largest ratio of tensions it holds [-].

    "roller 1" is the one next to the roll, "pull roll" the roll itself. Empty where the web's
    friction is not given. A roller on load cells has the wrap of its load cells.
    """
    friction = scenario.web.roller_friction
    if friction is None:
        return {}
    found = {}
    if isinstance(scenario.roll, PullRoll) and scenario.roll.wrap_angle is not None:
        found["pull roll"] = math.exp(friction * scenario.roll.wrap_angle)
    for i, roller in enumerate(scenario.roller, start=1):
        wrap = roller.wrap_angle
        if wrap is None and roller.load_cell:
            wrap = scenario.load_cell.wrap_angle
        if wrap is not None:
            found[f"roller {i}"] = math.exp(friction * wrap)
    return found


def tension_ratios(scenario: Scenario, span_tension: Array) -> dict[str, Array]:
    """Return tight over slack side at the same rollers, each of shape (n,) [-].

    Args:
        scenario: the machine.
        span_tension: from the roll to the nip, shape (n, spans) [N].
    """
    behind = np.full(span_tension.shape[0], scenario.run.far_tension)
    least = _LEAST_TENSION * scenario.run.tension
    ratios = {}
    for name in capstan_limits(scenario):
        at = 0 if name == "pull roll" else int(name.removeprefix("roller "))
        one = behind if at == 0 else span_tension[:, at - 1]
        other = span_tension[:, at]
        tight, slack = np.maximum(one, other), np.minimum(one, other)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios[name] = np.where(tight > least, tight / slack, 1.0)
    return ratios
