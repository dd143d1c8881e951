"""Gains that are too high, by a known distance from the limit of stability."""

from __future__ import annotations

import math
from dataclasses import replace

from simulator import Scenario, linearise
from tuning.gains import Gains
from tuning.margins import loop_margins

# Beyond this a gain is no longer what someone would have set by mistake [-].
MOST_TIMES = 30.0


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
