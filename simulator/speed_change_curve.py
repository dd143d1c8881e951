"""Which output a start, a stop and a fast stop need, over the whole roll.

A wound roll is followed from core to full diameter: at constant speed at line speed, in a ramp at
crawl or line speed, whichever is harder. A pull roll, which keeps its diameter, is followed from
crawl to line speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.machine import diameter_range, kernel_machine, taper_at
from simulator.scenario import Scenario
from simulator.speed_change import KINDS, raises_output, ramp_state, rate_of

Array = NDArray[np.float64]
CONSTANT_SPEED = "constant speed"


@dataclass(frozen=True)
class SpeedChangeLine:
    """The output needed along one line of the picture.

    Attributes:
        name: "constant speed", "start", "stop" or "fast stop".
        time: from standstill to line speed, or back [s]; inf at constant speed.
        outputs: that hold the tension, shape (n,) [%]; may lie outside the limits.
    """

    name: str
    time: float
    outputs: Array


@dataclass(frozen=True)
class SpeedChangeCurve:
    """The output that holds the tension while the speed changes, over the whole roll.

    Attributes:
        against: "diameter" or, for a pull roll, "speed".
        places: diameters [m] or line speeds [m/s], shape (n,).
        lines: at constant speed and for each change of speed.
        output_low: lowest output of the controller [%].
        output_high: highest output of the controller [%].
    """

    against: str
    places: Array
    lines: tuple[SpeedChangeLine, ...]
    output_low: float
    output_high: float


def speed_change_curve(
    scenario: Scenario, *, tension: float | None = None, count: int = 40
) -> SpeedChangeCurve:
    """Return the output that holds the tension in each change of speed, over the whole roll.

    Args:
        scenario: the machine.
        tension: wanted at the load cell, before any taper [N]; the running tension if left out.
        count: points along a line, at least 2 [-].

    Raises:
        ValueError: the tension is not above 0, or the count is below 2.
    """
    if count < 2:
        raise ValueError(f"count {count}: a line takes at least 2 points")
    wanted = scenario.run.tension if tension is None else tension
    if not (wanted > 0.0 and math.isfinite(wanted)):
        raise ValueError(f"tension {tension} N: must be above 0 N")
    m = kernel_machine(scenario, runout=False)
    low, high = diameter_range(scenario)
    both = (scenario.run.crawl_speed, scenario.run.line_speed)
    points: list[tuple[float, tuple[float, ...]]]
    if low == high:
        places = np.linspace(*both, count)
        points = [(high, (float(v),)) for v in places]
    else:
        places = np.linspace(low, high, count)
        points = [(float(d), both) for d in places]

    def needed(diameter: float, speeds: tuple[float, ...], a: float) -> float:
        T = wanted * taper_at(scenario, diameter)
        outputs = [
            ramp_state(m, diameter=diameter, line_speed=v, tension=T, acceleration=a).output
            for v in speeds
        ]
        if a == 0.0:
            return outputs[-1]
        return max(outputs) if raises_output(scenario, a) else min(outputs)

    rates: dict[str, tuple[float, float]] = {CONSTANT_SPEED: (0.0, math.inf)}
    rates |= {kind: rate_of(scenario, kind) for kind in KINDS}
    c = scenario.controller
    return SpeedChangeCurve(
        against="speed" if low == high else "diameter",
        places=places,
        lines=tuple(
            SpeedChangeLine(name, time, np.array([needed(d, speeds, a) for d, speeds in points]))
            for name, (a, time) in rates.items()
        ),
        output_low=c.output_low,
        output_high=c.output_high,
    )
