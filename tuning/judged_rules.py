"""What tuning rules ask for, and what that does on this machine from full roll to core."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from simulator import Scenario, linearise, operating_point
from simulator.machine import named_diameters
from simulator.units import METRIC, UnitSystem, sensible
from tuning.margins import RINGS_ABOVE, Margins, loop_margins
from tuning.plant_bank import plant_bank
from tuning.plant_points import PlantPoint
from tuning.process_model import ProcessModel
from tuning.roll_grid import roll_grid, speeds_over
from tuning.rules import Suggestion, suggest
from tuning.ultimate import Ultimate

# Rules are judged at the named diameters and on a grid of so many diameters and speeds.
DIAMETERS, SPEEDS = 9, 3


@dataclass(frozen=True)
class JudgedRule:
    """What a tuning rule asks for, and what that does on this machine.

    Attributes:
        suggestion: the rule's gains, or why it gives none.
        here: margins where the step test was made; None without gains.
        worst: the worst margins over the roll; None without gains.
        worst_point: (name of the diameter or "", diameter [m], line speed [m/s]) of the worst.
    """

    suggestion: Suggestion
    here: Margins | None
    worst: Margins | None
    worst_point: tuple[str, float, float] | None

    def verdict(self, units: UnitSystem = METRIC) -> str:
        """Return what the gains do over the roll, in a few words.

        Args:
            units: that the reader wants.
        """
        if self.here is None or self.worst is None or self.worst_point is None:
            return "no gains here"
        if not self.here.stable:
            return "unstable at the test already"
        name, diameter, speed = self.worst_point
        place = f"{name or units.text(diameter, 'diameter')}, {units.text(speed, 'speed')}"
        if not self.worst.stable:
            return f"unstable: {place}"
        if self.worst.Ms > RINGS_ABOVE:
            return f"rings, Ms {sensible(self.worst.Ms, 2)}: {place}"
        return f"holds, Ms {sensible(self.worst.Ms, 3)}: {place}"

    @property
    def note(self) -> str:
        """The verdict and all reservations about the rule, in one line."""
        return "; ".join([self.verdict(), *self.suggestion.warnings])


def judge_rules(
    scenario: Scenario, here: PlantPoint, suggestions: tuple[Suggestion, ...]
) -> tuple[JudgedRule, ...]:
    """Judge each rule's gains where the step test was made, and all over the roll.

    Args:
        scenario: the machine.
        here: where the step test was made.
        suggestions: of the rules.
    """
    scan = scenario.controller.scan_time
    named = {D: name for name, D in named_diameters(scenario).items()}
    start = (here.point.diameter, here.point.line_speed)
    points = [start, *((D, v) for v in speeds_over(scenario, 2) for D in named)]
    points += roll_grid(scenario, diameters=DIAMETERS, speeds=SPEEDS)
    bank = plant_bank(scenario, list(dict.fromkeys(points)))
    judged = []
    for suggestion in suggestions:
        if suggestion.gains is None:
            judged.append(JudgedRule(suggestion, None, None, None))
            continue
        at = int(np.argmax(bank.severity(suggestion.gains)[0]))
        D, v = bank.points[at]
        judged.append(
            JudgedRule(
                suggestion,
                loop_margins(here.plant, suggestion.gains, scan_time=scan),
                loop_margins(bank.plants[at], suggestion.gains, scan_time=scan),
                (named.get(D, ""), D, v),
            )
        )
    return tuple(judged)


def rules_at_point(
    scenario: Scenario,
    models: Iterable[ProcessModel],
    *,
    diameter: float,
    line_speed: float,
    ultimate: Ultimate | None = None,
    design_time: float | None = None,
) -> tuple[JudgedRule, ...]:
    """Return what every rule asks for after a step test, and what that does here and over the roll.

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
    here = PlantPoint(
        "the step test's diameter",
        operating_point(scenario, diameter=diameter, line_speed=line_speed),
        linearise(scenario, diameter=diameter, line_speed=line_speed),
    )
    suggestions = suggest(
        models,
        ultimate=ultimate,
        design_time=design_time,
        least_dead_time=0.5 * scenario.controller.scan_time,
    )
    return judge_rules(scenario, here, suggestions)
