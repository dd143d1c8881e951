"""The rules for a step test made anywhere on the roll, judged there and over the whole roll."""

from __future__ import annotations

from collections.abc import Iterable

from simulator import Scenario, linearise, operating_point
from tuning.pretune import JudgedRule, PlantPoint, judge_rules, plant_points
from tuning.process_model import ProcessModel
from tuning.rules import suggest
from tuning.ultimate import Ultimate


def rules_at_point(
    scenario: Scenario,
    models: Iterable[ProcessModel],
    *,
    diameter: float,
    line_speed: float,
    ultimate: Ultimate | None = None,
    design_time: float | None = None,
) -> tuple[JudgedRule, ...]:
    """Return what every rule asks for, and what that does here and over the roll.

    Args:
        scenario: the machine that the gains are judged on.
        models: fitted to the step test, at most one of each kind.
        diameter: of the roll at the step test [m].
        line_speed: of the web at the step test [m/s].
        ultimate: ultimate cycle, for the rules that need it.
        design_time: closed-loop time constant for the rules that take one [s].

    Raises:
        ValueError: an argument is out of range.
    """
    everywhere = plant_points(scenario)
    place = (diameter, line_speed)
    here = next((p for p in everywhere if (p.point.diameter, p.point.line_speed) == place), None)
    if here is None:
        here = PlantPoint(
            "the step test's diameter",
            operating_point(scenario, diameter=diameter, line_speed=line_speed),
            linearise(scenario, diameter=diameter, line_speed=line_speed),
        )
    points = (here, *(p for p in everywhere if p is not here))
    return judge_rules(
        scenario, points, suggest(models, ultimate=ultimate, design_time=design_time)
    )
