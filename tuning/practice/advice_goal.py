"""Advice where the goal was not reached, where the reading was wrong, and where all went well."""

from __future__ import annotations

import math

import numpy as np

from tuning.practice.advice_facts import Seen, newtons, rounded, side
from tuning.practice.advice_unearned import asleep, by_hand, no_fast_stop, stopped_early
from tuning.practice.advice_web import pulled_wound_up
from tuning.practice.drills import DRILLS
from tuning.practice.setup import trap_refused
from tuning.practice.traps import TRAPS

# A zero that makes the tension this far off is a wrong one [share of wanted, -].
WRONG_ZERO = 0.03
# At rest or on a broken web automatic does harm after this [s].
LEFT = 2.0
# Slower than the ideal run and its reactions by this is slow [s].
SLOW = 25.0


def zeroed_under_tension(seen: Seen) -> str:
    """Zeroed the load cells with tension in the web."""
    for action in reversed(seen.done("zero error")):
        T = seen.tension(action.at)
        if abs(action.value) > WRONG_ZERO * seen.wanted and T > WRONG_ZERO * seen.wanted:
            return (
                f"You zeroed the load cells with {newtons(T, 2)} in the web, so that from then on "
                f"the web had {newtons(action.value, 2)} more than the display read: zero only "
                "with the web slack and the line at rest."
            )
    return ""


def zero_unnoticed(seen: Seen) -> str:
    """The zero was off and nobody noticed."""
    end = float(seen.run.time[-1])
    off, before = seen.zero_off(end), seen.practice.setup.scenario.load_cell.zero_error
    if abs(off) <= WRONG_ZERO * seen.wanted or off == before or seen.done("zero error"):
        return ""
    last = seen.run.time >= end - 2.0
    read, true = float(seen.run.tension[last].mean()), float(seen.run.web_tension[last].mean())
    lead = (
        f"The zero was off and you did not notice: at the end the display read {newtons(read)}, "
        f"and the web had {newtons(true)}. "
    )
    if seen.start.line_speed == 0.0:
        return lead + (
            "Before a start, with the web slack, the reading must be nothing; if it is not, zero "
            "it then."
        )
    if abs(true / seen.wanted - 1.0) <= seen.drill.goal.band:
        return ""
    return lead + (
        "Note which output holds which reading at which diameter: if they no longer agree, doubt "
        "the reading, and have it zeroed at the next stop."
    )


def automatic_at_rest(seen: Seen) -> str:
    """The controller stayed in automatic while the line stood or the web was broken."""
    time, scan = seen.run.time, seen.scenario.controller.scan_time
    automatic = seen.run.automatic > 0.5
    broken = next((a.at for a in seen.start.plan if a.what == "web break"), math.inf)
    threaded = min((a.at for a in seen.done("thread") if a.at > broken), default=math.inf)
    gone = automatic & (time >= broken) & (time < threaded)
    still = automatic & (seen.run.line_speed <= 0.0)
    after, at_rest = float(gone.sum()) * scan, float(still.sum()) * scan
    if pulled_wound_up(seen):
        return ""  # that says it
    if after > max(2.0 * LEFT, LEFT + 1.0):
        output = float(seen.run.output[np.flatnonzero(gone)[-1]])
        return (
            f"You left the controller in automatic for {after:.0f} s after the break, and it ran "
            f"the output to {rounded(output)} % for a tension that could not come: manual at once, "
            "then the stop."
        )
    if at_rest > LEFT:
        return (
            f"The controller was in automatic for {at_rest:.0f} s with the line at rest: it can do "
            "nothing for the tension there, and winds its output up. Be in manual before the line "
            "stands."
        )
    return ""


def threaded_running(seen: Seen) -> str:
    """Tried to thread a line that still turned."""
    for action in seen.done("thread"):
        if seen.run.line_speed[seen.index(action.at)] > 0.0:
            return (
                "You tried to thread while the line still turned, which nobody may and which did "
                "nothing here: stop the line, wait until it stands, then thread."
            )
    return ""


def not_reached(seen: Seen) -> str:
    """Which condition of the goal did not hold at the end."""
    if seen.m.done or not math.isnan(seen.broke_at):
        return ""
    ways = (
        _web_lost, stopped_early, no_fast_stop, by_hand, _mode, asleep, _line, _too_early, _tension,
    )  # fmt: skip
    return next((text for way in ways if (text := way(seen))), "")


def _web_lost(seen: Seen) -> str:
    broken = any(a.what == "web break" and a.at < seen.run.time[-1] for a in seen.start.plan)
    if not broken or any(seen.run.line_speed[seen.index(a.at)] <= 0.0 for a in seen.done("thread")):
        return ""
    return (
        "The web was never threaded again: stop the line, thread it at rest, set the output, and "
        "bring the line up as in a start."
    )


def _mode(seen: Seen) -> str:
    goal = seen.drill.goal
    if seen.m.held.mode or goal.automatic is None:
        return ""
    if goal.automatic and not seen.m.switches and not seen.start.automatic:
        return (
            "The controller never was in automatic: once the tension stands still, make the "
            "reading the setpoint, compare what automatic would give with the output, and switch."
        )
    if goal.automatic:
        return (
            "You ended in manual, and the drill asks for automatic: when the tension is steady "
            "again, make the reading the setpoint, and hand over once more."
        )
    return (
        "You ended in automatic, and the drill asks for manual: switch to manual before you set "
        "the output; in automatic the controller moves it, not you."
    )


def _line(seen: Seen) -> str:
    if seen.m.held.line:
        return ""
    run, speed = seen.scenario.run, float(seen.run.line_speed[-1])
    if seen.drill.goal.line == "standing":
        return "The line still ran at the end: after the bell take the fast stop, and wait it out."
    if any(r.until >= seen.run.time[-1] - 0.5 and r.to > r.was for r in seen.ramps):
        return (
            f"You finished while the line still sped up; it needs {run.acceleration_time:.0f} s "
            "from rest. Start it earlier, and stay until the goal has held."
        )
    if speed <= 0.0:
        return (
            "The line stood at the end: set the output, take the line to crawl, put the tension "
            "right there, and then start it to its running speed."
        )
    return (
        f"The line was not at running speed at the end but at {rounded(speed, 3)} m/s: once the "
        f"tension is right at crawl, start it, and keep {run.acceleration_time:.0f} s for the ramp."
    )


def _too_early(seen: Seen) -> str:
    held, goal = seen.m.held, seen.drill.goal
    if not held.tension or held.time <= 0.5:
        return ""
    # Never rounded up to what was asked for.
    lasted = f"{math.floor(10.0 * held.time) / 10.0:.1f}"
    if seen.practice.over:
        return (
            f"All was right at the end, but for {lasted} s only instead of {goal.hold:.0f}: "
            f"the time was up. Be on target sooner: the ideal run is after "
            f"{rounded(seen.ideal.goal_time)} s."
        )
    return (
        f"You finished too early: all was right, but for {lasted} s only, and it must hold "
        f"for {goal.hold:.0f} s. Take your hands off and let it run before you finish."
    )


def _tension(seen: Seen) -> str:
    goal, off = seen.drill.goal, float(seen.mean[-1]) - seen.wanted
    far = abs(off) / seen.wanted
    if abs(seen.zero_off(float(seen.run.time[-1]))) > WRONG_ZERO * seen.wanted:
        return ""  # what the display reads is another matter
    if far <= goal.band:
        if seen.ringing and seen.ringing[-1][1] > seen.run.time[-1] - 5.0:
            return ""
        return (
            "The tension swung about the wanted one at the end and did not stay within the band: "
            "hands off until it has calmed down, or, if automatic makes it swing, go to manual and "
            "lower the gain."
        )
    lead = (
        f"The tension ended {newtons(off, 2)} ({rounded(100.0 * far)} %) too "
        f"{side(off, 'high', 'low')}"
    )
    if goal.line == "standing":
        return (
            f"{lead} at rest: set the output to what holds the tension just before the line "
            "stands, and leave it there."
        )
    if seen.run.automatic[-1] > 0.5:
        aim = float(seen.run.setpoint[-1])
        if abs(aim / seen.wanted - 1.0) > goal.band:
            return (
                f"{lead} because the setpoint was {newtons(aim)}: once in automatic, bring the "
                f"setpoint to the job card's {newtons(seen.wanted)}, a little at a time."
            )
        return f"{lead}: give automatic time to bring it back, and change nothing meanwhile."
    point = seen.point(float(seen.run.time[-1]))
    now = float(seen.run.output[-1])
    right = now - off / point.tension_per_percent
    return (
        f"{lead}: one per cent of output is worth {newtons(point.tension_per_percent, 2)} here, so "
        f"from {rounded(now)} to about {rounded(right)} % would have put it right."
    )


def too_slow(seen: Seen) -> str:
    """Reached the goal, but took long."""
    m, ideal = seen.m, seen.ideal
    if not m.done or math.isnan(ideal.goal_time) or m.goal_time < ideal.goal_time + SLOW:
        return ""
    # On target before, and thrown off again, is not slow.
    begin = seen.start.judged_from
    waited = slice(seen.index(begin + m.reached), seen.index(begin + m.goal_time))
    on = np.abs(seen.mean[waited] / seen.wanted - 1.0) <= seen.drill.goal.band
    if m.goal_time > m.reached + 10.0 and on.mean() > 0.7:
        return ""
    return (
        f"It took you {m.goal_time:.0f} s, the ideal run {ideal.goal_time:.0f} s: look at the two "
        "in the picture for where you waited longer than the tension needed, and act there as soon "
        "as the reading stands still."
    )


def praise(seen: Seen) -> tuple[str, ...]:
    """Say what was good, and what to try next; what is asked for where that was not reached."""
    m = seen.m
    if not m.done:
        return (
            f"The goal did not hold: {seen.drill.goal.words} Look at the two runs in the picture "
            "for where they part.",
        )
    when = "at once" if m.goal_time < 1.0 else f"after {m.goal_time:.0f} s"
    good = [f"the goal held {when}"]
    if not math.isnan(m.bump):
        good.append(f"the largest bump of a hand-over was {rounded(m.bump)} %")
    if seen.start.plan or seen.drill.goal.line == "standing":
        good.append("the web stayed whole and taut" if m.slack < 0.1 else "the web stayed whole")
    elif m.outside < 0.1:
        good.append("the tension was never more than 10 % off")
    words = good[0] if len(good) == 1 else f"{', '.join(good[:-1])}, and {good[-1]}"
    return f"Well done: {words}.", _next(seen)


def _next(seen: Seen) -> str:
    setup = seen.practice.setup
    free = [
        key
        for key in TRAPS
        if key not in setup.traps and not trap_refused(setup.scenario, setup.drill, key)
    ]
    keys = list(DRILLS)
    later = [DRILLS[key] for key in keys[keys.index(setup.drill) + 1 :]]
    drill = next((d for d in later if not d.refused(setup.scenario)), None)
    what = []
    if free and not setup.traps:
        # Another trap for each drill, so that all come up in the course of them.
        trap = TRAPS[free[keys.index(setup.drill) % len(free)]]
        what.append(f"the same drill with the trap “{trap.title}”")
    if drill is not None:
        what.append(f"the drill “{drill.title}”")
    if not what:
        what.append("the same drill with other traps, or on another machine")
    return f"Try next: {', or '.join(what)}."
