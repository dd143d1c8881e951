"""Whether a switch to automatic is calm, to be waited with, or not to be made: the rule of judging.

    do not switch   no output holds the tension here, or the loop swings up by itself; the web goes
                    slack or breaks; the controller goes back to manual by itself; the tension is
                    thrown off by more than 10 % of running tension, goes on swinging by more than
                    5 %, or is taken more than 20 % away by the setpoint
    wait            it is thrown off by more than 2 %, the output jumps by more than 1 %, it does
                    not settle; or the setpoint is more than 2 % from where the tension is, or,
                    caught on its way, from where the operator's output was taking it; or a supply
                    sticks
    calm            none of these

The limits are common practice and a choice, without a source: 2 % is the band in which a loop is
called settled, 10 % is what a web's print, length or wound roll is likely to show. The most serious
of what is true is told. Judged is one switch of a model without noise or runout, from the running
tension: a real web shows more, never less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from simulator.scenario_checks import hunting
from simulator.trend import WEB_BREAK
from tuning.handover import Handover
from tuning.handover_place import SwitchPlace

Verdict = Literal["calm", "wait", "do not switch"]
Moves = Literal["steady", "output just changed", "line changes speed"]
CALM: Verdict = "calm"
WAIT: Verdict = "wait"
DO_NOT: Verdict = "do not switch"
# From calm to bad.
VERDICTS: tuple[Verdict, ...] = (CALM, WAIT, DO_NOT)
STEADY: Moves = "steady"
OUTPUT_CHANGED: Moves = "output just changed"
SPEED_CHANGES: Moves = "line changes speed"

# An operator sees the switch beyond these [% of running tension, % of output].
CALM_BUMP, CALM_JUMP = 2.0, 1.0
# The setpoint, off where the tension is or was going [% of running tension].
CALM_GAP = 2.0
# Beyond these the web is in danger, or the product [% of running tension].
ROUGH_BUMP, ROUGH_SWING, ROUGH_GAP = 10.0, 5.0, 20.0


@dataclass(frozen=True)
class Condition:
    """How the controller is set, and what the tension does, when the operator switches.

    Attributes:
        tracking: whether the integral term follows the output in manual [-].
        setpoint_follows: whether the setpoint follows the reading in manual [-].
        moves: what the tension does.
    """

    tracking: bool
    setpoint_follows: bool
    moves: Moves = STEADY


@dataclass(frozen=True)
class Judged:
    """A verdict on a switch, in words.

    Attributes:
        verdict: "calm", "wait" or "do not switch".
        reason: why, a plain sentence without its full stop.
        instead: what to do instead; empty where it is calm.
    """

    verdict: Verdict
    reason: str
    instead: str = ""


def judge_place(place: SwitchPlace) -> Judged | None:
    """Return the verdict where no switch need be tried; None where it must be.

    Args:
        place: the machine with its gains at a diameter and a speed.
    """
    if not place.point.reachable:
        reason = f"the tension can't be held here: {place.point.reason}"
        return Judged(DO_NOT, reason, "mend that first: see Manual output")
    if not place.margins.stable:
        return Judged(
            DO_NOT,
            "with these gains the tension swings up by itself here",
            "stay in manual and take calmer gains: see Full roll to core",
        )
    return None


def judge(h: Handover, place: SwitchPlace, condition: Condition) -> Judged:
    """Return the verdict on a simulated switch.

    Args:
        h: the switch.
        place: where it was made.
        condition: how the controller was set, and what the tension did.
    """
    known = judge_place(place)
    if known is not None:
        return known
    verdict, reason = _seen(h, condition)
    sticks = hunting(place.scenario)
    if verdict == CALM and not sticks:
        return Judged(CALM, reason)
    if verdict == CALM:
        return Judged(
            WAIT,
            "nothing jumps, but the brake's supply sticks: sooner or later the tension hunts",
            "mend what sticks first",
        )
    return Judged(verdict, reason, _instead(h, condition, sticks=bool(sticks)))


def _seen(h: Handover, condition: Condition) -> tuple[Verdict, str]:
    """Return the verdict on what is seen of a switch, and why."""
    jumps = abs(h.output_bump) > CALM_JUMP
    lead = f"the output jumps by {_percent(h.output_bump, '+')} and " if jumps else ""
    unsettled = math.isnan(h.settling)
    goes = f"the setpoint is {_percent(h.walk)} off the tension, which it then goes to"
    caught = condition.setpoint_follows and condition.moves != STEADY
    if h.trend.web_lost:
        return (
            DO_NOT,
            lead + f"the web {'breaks' if h.trend.web_lost == WEB_BREAK else 'goes slack'}",
        )
    if h.taken_back:
        return DO_NOT, lead + "the controller takes it for a web break: back to manual by itself"
    if h.tension_bump > ROUGH_BUMP:
        return DO_NOT, lead + f"the tension is thrown off by {_percent(h.tension_bump)}"
    if unsettled and h.swing > ROUGH_SWING:
        return DO_NOT, f"the tension goes on swinging by ±{_percent(h.swing)}"
    if h.walk > ROUGH_GAP:
        return DO_NOT, goes
    if h.tension_bump > CALM_BUMP:
        return WAIT, lead + f"the tension is off by {_percent(h.tension_bump)} for a moment"
    if jumps:
        return WAIT, f"the output jumps by {_percent(h.output_bump, '+')}"
    if unsettled:
        return WAIT, "the tension does not come to rest"
    if caught and h.caught > CALM_GAP:
        return (
            WAIT,
            f"the setpoint is caught {_percent(h.caught)} from where the tension was going",
        )
    if h.walk > CALM_GAP:
        return WAIT, goes
    return CALM, "nothing jumps and the tension stays"


def _percent(value: float, sign: str = "") -> str:
    """Return a value [%] to two digits, or whole."""
    text = f"{value:{sign}.0f} %" if abs(value) >= 10.0 else f"{value:{sign}.2g} %"
    return text.replace("-", "−")


def _instead(h: Handover, condition: Condition, *, sticks: bool) -> str:
    if not condition.tracking and abs(h.output_bump) > CALM_JUMP:
        return "let the integral term track the output in manual"
    if condition.moves == OUTPUT_CHANGED:
        return "wait until the tension is steady, then see that the setpoint is the reading"
    if condition.moves == SPEED_CHANGES:
        return "wait until the line keeps its speed and the tension is steady"
    if sticks:
        return "mend what sticks in the brake's supply first"
    if h.walk > CALM_GAP:
        return "bring the setpoint to the reading first, change it after the switch"
    return "take calmer gains: see Full roll to core"
