"""The whole job for one machine: from its description to gains and a checked hand-over.

Scenario → operating points and linear plants over the roll → step test → rules judged on this
machine → gains for the whole roll → simulated hand-over. One frozen result carries it all; the
command prints it, and programs read it as JSON.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from simulator import LinearPlant, OperatingPoint, Scenario, linearise, operating_point
from simulator.machine import named_diameters
from simulator.units import METRIC, UnitSystem, sensible
from tuning.design import DEFAULT_MS, RollDesign, design_for_roll
from tuning.gains import Gains
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
    warnings = (
        *scenario.warnings,
        *seat_warnings(points),
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


def as_json(result: Pretune) -> dict[str, Any]:
    """Return the result as plain data with SI units in the key names; nan and inf become None."""
    design, fit = result.design, result.step_test.fit
    whole: dict[str, Any] = _plain(
        {
            "title": result.scenario.title,
            "zone": result.scenario.zone,
            "operating_points": [_point_json(p.point) for p in result.points],
            "plant": [
                {
                    "diameter_m": p.point.diameter,
                    "line_speed_m_per_s": p.point.line_speed,
                    "static_gain": p.plant.static_gain,
                    "natural_frequency_Hz": p.plant.natural_frequency / (2.0 * math.pi),
                    "damping_ratio": p.plant.damping_ratio,
                    "roll_frequency_Hz": p.roll_frequency,
                }
                for p in result.points
            ],
            "step_test": {
                "diameter_m": result.step_test.diameter,
                "line_speed_m_per_s": result.step_test.line_speed,
                "step_percent": result.step_test.step,
                "model": {
                    "kind": fit.best.kind,
                    "gain": fit.best.gain,
                    "time_constant_s": fit.best.time_constant,
                    "dead_time_s": fit.best.dead_time,
                    "damping": fit.best.damping,
                },
                "fit": fit.fit_percent,
                "rings": fit.rings,
            },
            "rules": [_rule_json(rule) for rule in result.rules],
            "recommended": {
                **_gains_json(design.gains),
                "filter_ratio": design.gains.filter_ratio,
                "worst": {
                    "Ms": design.worst.margins.Ms,
                    "diameter_m": design.worst.diameter,
                    "line_speed_m_per_s": design.worst.line_speed,
                },
                "schedule": [
                    {"diameter_m": entry.diameter, **_gains_json(entry.gains)}
                    for entry in design.schedule
                ],
            },
            "handover": {
                "tension_bump_percent": result.handover.tension_bump,
                "output_bump_percent": result.handover.output_bump,
                "settling_s": result.handover.settling,
            },
            "warnings": list(result.warnings),
        }
    )
    return whole


def _point_json(point: OperatingPoint) -> dict[str, Any]:
    return {
        "diameter_m": point.diameter,
        "line_speed_m_per_s": point.line_speed,
        "tension_N": point.tension,
        "output_percent": point.output,
        "torque_N_m": point.torque,
        "slip_power_W": point.slip_power,
        "reachable": point.reachable,
        "reason": point.reason,
        "warnings": list(point.warnings),
    }


def _rule_json(judged: JudgedRule) -> dict[str, Any]:
    gains, here = judged.suggestion.gains, judged.here
    return {
        "rule": judged.suggestion.rule.name,
        "source": judged.suggestion.rule.source,
        **(_gains_json(gains) if gains else {"Kc": None, "Ti_s": None, "Td_s": None}),
        "stable": here.stable if here else None,
        "Ms": here.Ms if here and here.stable else None,
        "gain_margin": here.gain_margin if here else None,
        "phase_margin_deg": here.phase_margin if here else None,
        "note": judged.note,
    }


def _gains_json(gains: Gains) -> dict[str, Any]:
    return {"Kc": gains.Kc, "Ti_s": gains.Ti, "Td_s": gains.Td}


def _plain(value: Any) -> Any:
    """JSON knows no nan and no infinity: both become None."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
