"""Advice where the tension was right and the goal does not count: it was not reached as asked."""

from __future__ import annotations

import math

from tuning.practice.advice_facts import Seen, rounded
from tuning.practice.goal import ASLEEP, SPEED_BAND


def stopped_early(seen: Seen) -> str:
    """The line was taken down before what the drill is about had happened."""
    call, speed = seen.start.judged_from, seen.start.line_speed
    before = max(seen.index(call) - 1, 0)
    if call <= 0.0 or call > seen.run.time[-1]:
        return ""
    if seen.run.line_speed[before] >= (1.0 - SPEED_BAND) * speed:
        return ""
    if seen.drill.goal.line == "standing":
        return "You stopped before the bell: let the line run until it rings, then stop it fast."
    return (
        "You had taken the line down before it was called out, so nothing of the drill was left "
        "to do: let it run at its speed until then."
    )


def no_fast_stop(seen: Seen) -> str:
    """The bell rang and the line was not stopped fast."""
    if "fast stop" not in seen.drill.goal.needs:
        return ""
    bell = seen.start.judged_from
    if any(a.at >= bell for a in seen.done("fast stop")):
        return ""
    if any(a.at >= bell for a in seen.done("stop", "line speed")):
        return (
            "You took the line down slowly; the bell asks for the fast stop: go to manual, set the "
            "output, and take that at once."
        )
    return "The line was never stopped: after the bell go to manual and take the fast stop at once."


def by_hand(seen: Seen) -> str:
    """A drill in manual was left to automatic."""
    if not seen.drill.goal.by_hand or not seen.done("automatic"):
        return ""
    lasted = float((seen.run.automatic > 0.5).sum()) * seen.scenario.controller.scan_time
    time = f"for {max(lasted, 0.1):.1f} s " if lasted < 10.0 else f"for {lasted:.0f} s "
    return (
        f"You were in automatic {time}on the way, and this drill is done by hand: what automatic "
        "found does not count. Stay in manual from start to end, and put the output there yourself."
    )


def asleep(seen: Seen) -> str:
    """In automatic with gains that do next to nothing."""
    tuned, now = seen.practice.setup.scenario.controller, seen.practice.running.controller
    full = (tuned.Kc or 0.0) / (tuned.Ti or math.inf)
    left = now.Kc / now.Ti
    if not seen.drill.goal.automatic or left >= ASLEEP * full:
        return ""
    return (
        f"Automatic did next to nothing: Kc/Ti stood at {rounded(100.0 * left / full)} % of what "
        "suits this machine, and that does not count. Against ringing half of Kc is enough; put Kc "
        "and Ti back to where automatic holds the tension."
    )
