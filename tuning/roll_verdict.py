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
from simulator.ripple import largest_ripple
from simulator.scenario_checks import hunting
from simulator.units import METRIC, UnitSystem, sensible
from tuning.design import RollCase, RollDesign
from tuning.roll_responses import STEP_SHARE, RollResponse

# An overshoot that is worth a word [% of the step].
MUCH_OVERSHOOT = 25.0


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
    if text := hunting(scenario):
        problems.append(text)
    problems += _response_problems(responses, units)
    shaken, where, _ = largest_ripple(scenario)
    if "slack or broken web" in " ".join(shaken.warnings):
        problems.append(
            f"at {units.text(where, 'diameter')} the runout of the roll alone shakes the tension "
            f"by {units.text(shaken.tension, 'tension')} up and down, as much as there is to a "
            "slack or broken web"
        )
    Ms = design.worst.margins.Ms
    if problems:
        headline = (
            f"On paper these gains keep Ms at {Ms:.2f} or less, but this machine can't do as the "
            f"paper says: {problems[0]}."
        )
    else:
        metrics = [r.metrics for r in responses if r.metrics is not None]
        slowest = max(one.settling_time for one in metrics)
        overshoot = max(one.overshoot for one in metrics)
        roll = "from full roll to core and from" if len(named_diameters(scenario)) > 1 else "from"
        headline = (
            f"On the machine as described these gains hold everywhere: Ms is {Ms:.2f} at most, "
            f"{roll} line to crawl speed; a setpoint step of {100.0 * STEP_SHARE:.0f} % overshoots "
            f"by {overshoot:.0f} % of the step at most and settles within {sensible(slowest, 2)} s."
        )
        if overshoot > MUCH_OVERSHOOT:
            headline += " Ramp the setpoint, or take a calmer Ms, where that overshoot is too much."
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


def _response_problems(responses: Sequence[RollResponse], units: UnitSystem) -> list[str]:
    """Say each kind of trouble once, with the points where it shows."""
    found: dict[str, list[str]] = {}
    for r in responses:
        place = f"{r.name}, {units.text(r.line_speed, 'speed')}"
        if r.trend.web_lost:
            found.setdefault(f"a setpoint step ends in a {r.trend.web_lost}", []).append(place)
        elif r.metrics is None or math.isnan(r.metrics.settling_time):
            lasts = float(r.trend.time[-1]) - r.stepped_at
            text = f"a setpoint step does not settle within {lasts:.2g} s"
            found.setdefault(text, []).append(place)
        if r.running_lost:
            text = f"at the setpoint alone, noise and runout end in a {r.running_lost}"
            found.setdefault(text, []).append(place)
    every = len(responses)
    return [
        f"{text} ({'everywhere' if len(places) == every else '; '.join(places)})"
        for text, places in found.items()
    ]


def _place(case: RollCase) -> tuple[float, float]:
    return case.diameter, case.line_speed


def _where(scenario: Scenario, case: RollCase, units: UnitSystem) -> str:
    """Name a place by its diameter's name where it has one."""
    speed = units.text(case.line_speed, "speed")
    for name, D in named_diameters(scenario).items():
        if math.isclose(D, case.diameter, rel_tol=0.01):
            return f"the {name} at {speed}"
    return f"{units.text(case.diameter, 'diameter')} at {speed}"
