"""The verdict on gains for the whole roll: margins say what a loop bears, the machine what it does.

Margins are those of the linear plant. Where the output is at its end, the web breaks or goes slack,
or the supply sticks, the machine does something else, and that comes first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from simulator import Scenario
from simulator.machine import named_diameters
from simulator.scenario_checks import hunting
from simulator.units import METRIC, UnitSystem, sensible
from tuning.design import RollCase, RollDesign
from tuning.roll_responses import RollResponse


@dataclass(frozen=True)
class RollVerdict:
    """What to think of the recommended gains.

    Attributes:
        headline: in one sentence.
        problems: what speaks against them, worst first; empty where nothing does.
        binding: what holds the gains back, in a sentence.
    """

    headline: str
    problems: tuple[str, ...]
    binding: str


def roll_verdict(
    scenario: Scenario,
    design: RollDesign,
    responses: Sequence[RollResponse],
    units: UnitSystem = METRIC,
) -> RollVerdict:
    """Judge the recommended gains by their margins and by the machine's own responses.

    Args:
        scenario: the machine.
        design: the recommended gains.
        responses: of the machine to setpoint steps with them.
        units: that the reader wants.
    """
    problems = [f"the tension is out of reach at {place}" for place in design.out_of_reach]
    problems += [text for text in (_response_problem(r, units) for r in responses) if text]
    if text := hunting(scenario):
        problems.append(text)
    Ms = design.worst.margins.Ms
    if problems:
        headline = (
            f"On paper these gains keep Ms at {Ms:.2f} or less, but this machine can't do as the "
            f"paper says: {problems[0]}."
        )
    else:
        slowest = max(r.metrics.settling_time for r in responses if r.metrics is not None)
        headline = (
            f"These gains hold everywhere: Ms is {Ms:.2f} at most, from full roll to core and from "
            f"line to crawl speed, and a setpoint step settles within {sensible(slowest, 2)} s."
        )
    return RollVerdict(headline, tuple(problems), binding_in_words(scenario, design, units))


def binding_in_words(scenario: Scenario, design: RollDesign, units: UnitSystem = METRIC) -> str:
    """Return what holds the gains back, and where.

    Args:
        scenario: the machine.
        design: the recommended gains.
        units: that the reader wants.
    """
    more = None if design.kind == "I" else design.binds_proportional
    sooner = design.binds_integral
    parts = []
    if more is not None and sooner is not None and _place(more) == _place(sooner):
        parts.append(f"{_where(scenario, more, units)} holds both actions back")
    else:
        if more is not None:
            parts.append(f"{_where(scenario, more, units)} holds the proportional action back")
        if sooner is not None:
            parts.append(f"{_where(scenario, sooner, units)} holds the integral action back")
    if design.chosen.limited_by_noise:
        parts.append(
            "noise in the reading holds them back: it moves the output by "
            f"{design.chosen.noise_output:.2g} % rms already"
        )
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _response_problem(response: RollResponse, units: UnitSystem) -> str:
    place = f"{response.name}, {units.text(response.line_speed, 'speed')}"
    if response.trend.web_lost:
        return f"a setpoint step ends in a {response.trend.web_lost} ({place})"
    if response.metrics is None or math.isnan(response.metrics.settling_time):
        return f"a setpoint step does not settle within the time shown ({place})"
    return ""


def _place(case: RollCase) -> tuple[float, float]:
    return case.diameter, case.line_speed


def _where(scenario: Scenario, case: RollCase, units: UnitSystem) -> str:
    """Name a place by its diameter's name where it has one."""
    speed = units.text(case.line_speed, "speed")
    for name, D in named_diameters(scenario).items():
        if math.isclose(D, case.diameter, rel_tol=0.01):
            return f"the {name} at {speed}"
    return f"{units.text(case.diameter, 'diameter')} at {speed}"
