"""Gains that are too high, by a known distance from the limit of stability."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from simulator import Action, Scenario, linearise, simulate
from tuning.gains import Gains
from tuning.margins import loop_margins

# Beyond this a gain is no longer what someone would have set by mistake [-].
MOST_TIMES = 30.0
# Past its limit of stability a loop rings up, the farther the faster: the first of these [times the
# limit, -] with which, left alone, it is so far off [share of the wanted tension] so soon [s].
RINGS_UP, FAR, SOON = (1.01, 1.03, 1.06, 1.1, 1.2, 1.35, 1.5, 2.0), 0.25, 15.0


def gain_limit(scenario: Scenario, *, diameter: float, line_speed: float) -> float:
    """Return by how much Kc may still grow before the loop is unstable [-].

    Args:
        scenario: the machine, with its gains.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
    """
    c = scenario.controller
    plant = linearise(scenario, diameter=diameter, line_speed=line_speed)
    margins = loop_margins(plant, Gains.from_controller(c), scan_time=c.scan_time)
    limit = margins.gain_margin if margins.stable else 1.0
    return min(limit, MOST_TIMES) if math.isfinite(limit) else MOST_TIMES


def with_gain(scenario: Scenario, times: float) -> Scenario:
    """Return a machine whose controller has so many times its gain.

    Args:
        scenario: the machine, with its gains.
        times: the gain [-].
    """
    c = scenario.controller
    return replace(scenario, controller=replace(c, Kc=times * (c.Kc or 0.0)))


def ringing(
    scenario: Scenario,
    *,
    diameter: float,
    line_speed: float,
    setpoint: float,
    knock: Sequence[Action] = (),
    times: Sequence[float] = RINGS_UP,
) -> Scenario:
    """Return a machine whose gain makes it ring up slowly enough to be caught by hand.

    Linear theory says from which gain on; play and sticking of a supply hold small swings down, and
    how fast a larger one grows is seen best by trying.

    Args:
        scenario: the machine, with its gains.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        setpoint: the wanted tension is this, or off it by what is to knock the loop [N].
        knock: what else knocks it.
        times: gains to try [times the limit of stability, -].
    """
    limit = gain_limit(scenario, diameter=diameter, line_speed=line_speed)
    wanted = scenario.run.tension
    lively = scenario
    for factor in times:
        lively = with_gain(scenario, factor * limit)
        alone = simulate(
            lively, knock, duration=SOON, diameter=diameter, line_speed=line_speed,
            tension=wanted, setpoint=setpoint, automatic=True,
        )  # fmt: skip
        late = alone.web_tension[alone.time > 0.5 * SOON]
        if np.ptp(late) > 2.0 * FAR * wanted:
            break
    return lively
