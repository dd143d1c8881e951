"""One or two sentences of advice on a practice run, by what was done in it.

Each rule looks at the facts of the run and returns its sentence, or nothing where it does not
apply. The list is in order of importance; of one topic only the first that applies is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from simulator import Trend
from simulator.plan import Action
from tuning.practice import advice_goal, advice_handover, advice_moves, advice_web
from tuning.practice.advice_facts import Seen
from tuning.practice.measures import Measures
from tuning.practice.session import Practice
from tuning.practice.traps import TRAPS

# No one keeps more than this in mind for the next run [sentences].
MOST = 2


@dataclass(frozen=True)
class Rule:
    """One piece of advice.

    Attributes:
        topic: of two rules on one topic only the first is said.
        find: returns its sentences; empty where it does not apply.
    """

    topic: Literal["web", "reading", "loop", "switch", "output", "rest", "goal", "pace"]
    find: Callable[[Seen], str]


RULES: tuple[Rule, ...] = (
    Rule("web", advice_web.broke),
    Rule("web", advice_web.pulled_wound_up),
    Rule("rest", advice_goal.threaded_running),
    Rule("reading", advice_goal.zeroed_under_tension),
    Rule("reading", advice_goal.zero_unnoticed),
    Rule("output", advice_moves.no_preset),
    Rule("loop", advice_handover.same_gain_again),
    Rule("loop", advice_handover.left_ringing),
    Rule("web", advice_web.went_slack),
    Rule("goal", advice_goal.not_reached),
    Rule("switch", advice_handover.not_tracking),
    Rule("switch", advice_handover.setpoint_off),
    Rule("switch", advice_handover.in_a_ramp),
    Rule("switch", advice_handover.still_moving),
    Rule("loop", advice_handover.gain_left_high),
    Rule("rest", advice_goal.automatic_at_rest),
    Rule("rest", advice_moves.slow_to_stop),
    Rule("output", advice_moves.first_pull),
    Rule("output", advice_moves.stuck_moves),
    Rule("output", advice_moves.ramp_uncompensated),
    Rule("output", advice_moves.ramp_not_undone),
    Rule("output", advice_moves.wrong_way),
    Rule("output", advice_moves.too_large),
    Rule("output", advice_moves.too_hasty),
    Rule("output", advice_moves.too_many),
    Rule("pace", advice_goal.too_slow),
)


def advice(practice: Practice, run: Trend, m: Measures, ideal: Measures) -> tuple[str, ...]:
    """Return what to do better, most important first; what was good where there is nothing.

    Args:
        practice: the run.
        run: its trend at every scan.
        m: its measures.
        ideal: measures of the ideal run.
    """
    seen = Seen(practice, run, m, ideal)
    found: dict[str, str] = {}
    for rule in RULES:
        if rule.topic not in found and (text := rule.find(seen)):
            found[rule.topic] = text
        if len(found) == MOST:
            break
    return tuple(found.values()) or advice_goal.praise(seen)


def told(practice: Practice) -> tuple[str, ...]:
    """Return what each trap of a run did; nothing of one that had not yet come when it ended.

    Args:
        practice: the run, as far as it went.
    """
    return tuple(
        TRAPS[key].told for key in practice.setup.traps if _comes_at(practice, key) < practice.time
    )


def _comes_at(practice: Practice, trap: str) -> float:
    """When a trap comes [s]; 0 for one that is there from the start."""

    def is_it(action: Action) -> bool:
        if trap == "signal lost":
            return action.what == "dropout"
        return trap == "lap in the web" and action.what == "web thickness" and action.value > 1.0

    # A trap is added to what the drill itself has planned.
    return next((a.at for a in reversed(practice.start.plan) if is_it(a)), 0.0)
