"""The manual output over the whole roll: which output holds a tension, and how much room it leaves.

A wound roll is followed from core to full diameter at line and at crawl speed; a pull roll, which
keeps its diameter, from crawl to line speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator.machine import diameter_range, taper_at
from simulator.operating_point import ROOM, OperatingPoint, operating_point
from simulator.scenario import Scenario


@dataclass(frozen=True)
class ManualOutputLine:
    """Operating points along one line of the picture.

    Attributes:
        name: what is held along the line, such as "line speed".
        points: in the order of the axis.
    """

    name: str
    points: tuple[OperatingPoint, ...]


@dataclass(frozen=True)
class ManualOutputCurve:
    """The manual output for one tension over the whole roll.

    Attributes:
        against: "diameter" or, for a pull roll, "speed".
        lines: one for each speed, or one for a pull roll.
        tension: wanted, at the load cell [N].
        output_low: lowest output of the controller [%].
        output_high: highest output of the controller [%].
        room: nearer than this to an end of the output the loop has little room [%].
        device: kind of torque device.
        continuous_heat: power that the device bears for long [W]; None where it is not given.
    """

    against: str
    lines: tuple[ManualOutputLine, ...]
    tension: float
    output_low: float
    output_high: float
    room: float
    device: str
    continuous_heat: float | None


def manual_output_curve(
    scenario: Scenario, *, tension: float | None = None, count: int = 40
) -> ManualOutputCurve:
    """Return the manual output for a tension over the whole roll.

    Args:
        scenario: the machine.
        tension: wanted at the load cell, before any taper [N]; the running tension if left out.
        count: points along a line, at least 2 [-].

    Raises:
        ValueError: the tension is not above 0, or the count is below 2.
    """
    if count < 2:
        raise ValueError(f"count {count}: a line takes at least 2 points")
    run, controller = scenario.run, scenario.controller
    wanted = run.tension if tension is None else tension
    low, high = diameter_range(scenario)

    def points(*places: tuple[float, float]) -> tuple[OperatingPoint, ...]:
        return tuple(
            operating_point(
                scenario,
                diameter=diameter,
                line_speed=speed,
                tension=wanted * taper_at(scenario, diameter),
            )
            for diameter, speed in places
        )

    if low == high:
        against = "speed"
        speeds = np.linspace(run.crawl_speed, run.line_speed, count)
        lines = [ManualOutputLine("pull roll", points(*((high, float(v)) for v in speeds)))]
    else:
        against = "diameter"
        diameters = np.linspace(low, high, count)
        lines = [
            ManualOutputLine(name, points(*((float(d), speed) for d in diameters)))
            for name, speed in (("line speed", run.line_speed), ("crawl speed", run.crawl_speed))
        ]
    return ManualOutputCurve(
        against=against,
        lines=tuple(lines),
        tension=wanted,
        output_low=controller.output_low,
        output_high=controller.output_high,
        room=ROOM,
        device=scenario.torque_device.kind,
        continuous_heat=scenario.torque_device.continuous_heat,
    )


def startup_points(
    scenario: Scenario, *, tension: float | None = None
) -> tuple[tuple[str, str, OperatingPoint], ...]:
    """Return (diameter, speed, point) for what people start up with, from full roll to core.

    The parts of a roll are parts of its build-up.

    Args:
        scenario: the machine.
        tension: wanted at the load cell, before any taper [N]; the running tension if left out.

    Raises:
        ValueError: the tension is not above 0.
    """
    low, high = diameter_range(scenario)
    wanted = scenario.run.tension if tension is None else tension
    if low == high:
        diameters = {"pull roll": high}
    else:
        parts = {"full roll": 1.0, "3/4": 0.75, "half": 0.5, "1/4": 0.25, "core": 0.0}
        diameters = {name: low + part * (high - low) for name, part in parts.items()}
    run = scenario.run
    speeds = {"crawl speed": run.crawl_speed, "line speed": run.line_speed}
    return tuple(
        (
            name,
            at,
            operating_point(
                scenario,
                diameter=diameter,
                line_speed=speed,
                tension=wanted * taper_at(scenario, diameter),
            ),
        )
        for name, diameter in diameters.items()
        for at, speed in speeds.items()
    )
