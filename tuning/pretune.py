"""The whole job for one machine: from its description to gains and a checked hand-over.

Scenario → operating points and linear plants over the roll → step test → rules judged on this
machine → gains for the whole roll → simulated hand-over. One frozen result carries it all; the
command prints it, and programs read it as JSON (`pretune_json`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from simulator import LinearPlant, OperatingPoint, Scenario, linearise, operating_point
from simulator.machine import named_diameters
from simulator.speed_change import KINDS, SpeedChange, speed_change
from simulator.units import METRIC, UnitSystem, sensible
from tuning.design import DEFAULT_MS, RollDesign, design_for_roll
from tuning.handover import Handover, handover
from tuning.margins import RINGS_ABOVE, Margins, loop_margins, plant_response
from tuning.rules import Suggestion, suggest
from tuning.step_test import StepTest, step_test
from tuning.ultimate import Ultimate, ultimate_cycle

Progress = Callable[[str], None]

# The hand-over is also shown with the setpoint off the reading by this share of the tension.
SETPOINT_OFF = 0.1


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
    def roll_frequency(self) -> float:
        """Turns of the roll [Hz]: where an out-of-round roll shakes the tension."""
        return self.point.roll_speed / (2.0 * math.pi)


@dataclass(frozen=True)
class JudgedRule:
    """What a tuning rule asks for, and what that does on this machine.

    Attributes:
        suggestion: the rule's gains, or why it gives none.
        here: margins where the step test was made; None without gains.
        worst: the worst margins over the roll; None without gains.
        worst_point: (name of the diameter, line speed [m/s]) of the worst margins.
    """

    suggestion: Suggestion
    here: Margins | None
    worst: Margins | None
    worst_point: tuple[str, float] | None

    def verdict(self, units: UnitSystem = METRIC) -> str:
        """Return what the gains do over the roll, in a few words.

        Args:
            units: that the reader wants.
        """
        if self.here is None or self.worst is None or self.worst_point is None:
            return "no gains here"
        if not self.here.stable:
            return "unstable at the test already"
        name, speed = self.worst_point
        place = f"{name}, {units.text(speed, 'speed')}"
        if not self.worst.stable:
            return f"unstable: {place}"
        if self.worst.Ms > RINGS_ABOVE:
            return f"rings, Ms {sensible(self.worst.Ms, 2)}: {place}"
        return f"holds, Ms {sensible(self.worst.Ms, 3)}: {place}"

    @property
    def note(self) -> str:
        """The verdict and all reservations about the rule, in one line."""
        return "; ".join([self.verdict(), *self.suggestion.warnings])


@dataclass(frozen=True)
class Pretune:
    """Everything that the main job yields for one machine.

    Attributes:
        scenario: the machine.
        points: at full roll, half and core (a pull roll has one), at line and at crawl speed.
        step_test: made at full roll and line speed.
        ultimate: the true ultimate cycle there; None if no proportional gain makes it swing.
        rules: every rule, judged.
        design: gains for the whole roll.
        speed_changes: (name of the diameter, what a start, a stop and a fast stop ask there).
        handover: simulated with them at full roll and line speed, as the scenario is set.
        handover_off: the same with the setpoint 10 % above the reading.
        handover_untracked: the same with the integral term not following the output in manual.
        warnings: what a reader should know.
    """

    scenario: Scenario
    points: tuple[PlantPoint, ...]
    step_test: StepTest
    ultimate: Ultimate | None
    rules: tuple[JudgedRule, ...]
    design: RollDesign
    speed_changes: tuple[tuple[str, SpeedChange], ...]
    handover: Handover
    handover_off: Handover
    handover_untracked: Handover
    warnings: tuple[str, ...] = ()


def pretune(
    scenario: Scenario,
    *,
    ms_limit: float = DEFAULT_MS,
    seed: int = 0,
    progress: Progress = lambda message: None,
) -> Pretune:
    """Do the whole job for one machine.

    Args:
        scenario: the machine.
        ms_limit: largest sensitivity allowed [-], 1.2 to 2.0.
        seed: of the noise in the step test [-].
        progress: called with a line of text as each part begins.

    Raises:
        ValueError: the machine can't be tuned as it stands; the message says why.
    """
    progress("operating points over the roll")
    points = plant_points(scenario)
    progress("step test in manual")
    test = step_test(scenario, seed=seed)
    progress("rules, judged on this machine")
    start = points[0]
    ultimate = ultimate_cycle(start.plant, scan_time=scenario.controller.scan_time)
    rules = judge_rules(scenario, points, suggest(test.fit.models, ultimate=ultimate))
    progress("gains for the whole roll")
    design = design_for_roll(scenario, ms_limit=ms_limit)
    progress("hand-over from manual to automatic")
    switch = handover(scenario, design.gains)
    ramps = tuple(
        (name, speed_change(scenario, kind, diameter=diameter))
        for kind in KINDS
        for name, diameter in named_diameters(scenario).items()
    )
    warnings = (
        *scenario.warnings,
        *seat_warnings(points),
        *(f"{name}: {ramp.reason}" for name, ramp in ramps if ramp.reason),
        *test.warnings,
        *design.warnings,
        *switch.warnings,
    )
    return Pretune(
        scenario=scenario,
        points=points,
        step_test=test,
        ultimate=ultimate,
        rules=rules,
        design=design,
        speed_changes=ramps,
        handover=switch,
        handover_off=handover(scenario, design.gains, setpoint_offset=SETPOINT_OFF),
        handover_untracked=handover(scenario, design.gains, tracking=False),
        warnings=tuple(dict.fromkeys(warnings)),
    )


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
        f"{p.name}, {METRIC.text(p.point.line_speed, 'speed')}: {text}"
        for p in points
        for text in (p.point.reason, *p.point.warnings)
        if text
    )


def judge_rules(
    scenario: Scenario, points: tuple[PlantPoint, ...], suggestions: tuple[Suggestion, ...]
) -> tuple[JudgedRule, ...]:
    """Judge each rule's gains at every point; the first point is where the step test was made."""
    scan = scenario.controller.scan_time
    responses = [plant_response(p.plant, scan_time=scan) for p in points]
    judged = []
    for suggestion in suggestions:
        if suggestion.gains is None:
            judged.append(JudgedRule(suggestion, None, None, None))
            continue
        margins = [loop_margins(seen, suggestion.gains) for seen in responses]
        worst = max(range(len(points)), key=lambda i: margins[i].severity)
        place = (points[worst].name, points[worst].point.line_speed)
        judged.append(JudgedRule(suggestion, margins[0], margins[worst], place))
    return tuple(judged)
