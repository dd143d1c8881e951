"""The operating points that people speak of, each with its linear plant."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator import LinearPlant, OperatingPoint, Scenario, linearise, operating_point
from simulator.machine import named_diameters
from simulator.units import METRIC


@dataclass(frozen=True)
class PlantPoint:
    """The linear plant at one operating point, in the numbers people compare.

    Attributes:
        name: of the diameter, such as "full roll".
        point: the operating point.
        plant: its linear plant.
    """

    name: str
    point: OperatingPoint
    plant: LinearPlant

    @property
    def place(self) -> str:
        """Name of the diameter and line speed, such as "core, 150 m/min"."""
        return f"{self.name}, {METRIC.text(self.point.line_speed, 'speed')}"

    @property
    def roll_frequency(self) -> float:
        """Turns of the roll [Hz]: where an out-of-round roll shakes the tension."""
        return self.point.roll_speed / (2.0 * math.pi)


def plant_points(scenario: Scenario) -> tuple[PlantPoint, ...]:
    """Return the named diameters at line speed, then at crawl speed."""
    speeds = dict.fromkeys([scenario.run.line_speed, scenario.run.crawl_speed])
    return tuple(
        PlantPoint(
            name,
            operating_point(scenario, diameter=diameter, line_speed=speed),
            linearise(scenario, diameter=diameter, line_speed=speed),
        )
        for speed in speeds
        for name, diameter in named_diameters(scenario).items()
    )


def seat_warnings(points: tuple[PlantPoint, ...]) -> tuple[str, ...]:
    """Return what is wrong with where the output sits, or with the device there, point by point."""
    return tuple(
        f"{p.place}: {text}" for p in points for text in (p.point.reason, *p.point.warnings) if text
    )
