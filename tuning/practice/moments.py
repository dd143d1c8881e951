"""The marked moments of a practice run: the few things worth a number on its picture."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from simulator import Trend
from simulator.plan import Action
from tuning.practice.advice_facts import Seen, newtons, rounded, side
from tuning.practice.measures import ON_TARGET, Measures, Switch
from tuning.practice.session import Practice

Kind = Literal["call", "web", "switch", "line", "setting", "output", "trap", "tension", "goal"]

# What is first of things at one time.
_ORDER: tuple[Kind, ...] = (
    "call", "trap", "web", "setting", "switch", "output", "line", "tension", "goal",
)  # fmt: skip
# A picture carries so many numbers [-].
MOST = 10
# A setting that is changed again within this is one change [s].
TOGETHER = 3.0
# A departure of the tension is worth a mark from here on [share of wanted, -].
DEPARTURE = 0.10
# Things of one kind that follow each other within this carry one number [s].
ONE_MARK = 1.0


@dataclass(frozen=True)
class Moment:
    """One marked moment.

    Attributes:
        at: when [s].
        words: what happened, in a few words; quantities in SI units.
        kind: of what.
    """

    at: float
    words: str
    kind: Kind


def moments(practice: Practice, run: Trend, measures: Measures) -> tuple[Moment, ...]:
    """Return the marked moments of a run in the order of time, ten at most.

    Args:
        practice: the run.
        run: its trend at every scan.
        measures: of it.
    """
    seen = Seen(practice, run, measures, measures)
    # Most important first; within each in the order of time.
    found = [moment for some in _SOURCES for moment in _joined(some(seen))]
    inside = [m for m in found if run.time[0] <= m.at <= run.time[-1]]
    return tuple(sorted(inside[:MOST], key=lambda m: (m.at, _ORDER.index(m.kind))))


def _close(times: list[float]) -> Iterator[list[float]]:
    """Group what follows each other closely."""
    group: list[float] = []
    for at in times:
        if group and at - group[-1] > ONE_MARK:
            yield group
            group = []
        group.append(at)
    if group:
        yield group


def _joined(found: Iterator[Moment]) -> Iterator[Moment]:
    """Join what is of one kind and follows each other closely; of many the first and the last."""
    by_kind: dict[Kind, list[Moment]] = {}
    for moment in found:
        by_kind.setdefault(moment.kind, []).append(moment)
    for kind, some in by_kind.items():
        some.sort(key=lambda m: m.at)
        for times in _close([m.at for m in some]):
            here, some = some[: len(times)], some[len(times) :]
            words = [m.words for m in here]
            said = (
                "; ".join(words)
                if len(words) < 3
                else (f"{words[0]}, and {len(words) - 1} more until {words[-1]}")
            )
            yield Moment(here[0].at, said, kind)


def _web(seen: Seen) -> Iterator[Moment]:
    planned = [a.at for a in seen.start.plan if a.what == "web break"]
    called = [at for at, _ in seen.start.call]
    for at in planned:
        if at not in called:
            yield Moment(at, "the web breaks", "web")
    if not math.isnan(seen.broke_at):
        yield Moment(seen.broke_at, "the web breaks", "web")
    if not math.isnan(seen.slack_at) and seen.m.slack > 0.1:
        yield Moment(seen.slack_at, f"web slack, {rounded(seen.m.slack)} s in all", "web")
    for action in seen.done("thread"):
        standing = seen.run.line_speed[seen.index(action.at)] <= 0.0
        words = "web threaded" if standing else "threading tried while the line turned"
        yield Moment(action.at, words, "web")


def _calls(seen: Seen) -> Iterator[Moment]:
    for at, words in seen.start.call:
        yield Moment(at, f"called out: {words.rstrip('.')}", "call")


def _switches(seen: Seen) -> Iterator[Moment]:
    back = [float(seen.run.time[i]) for i in np.flatnonzero(np.diff(seen.run.automatic) < -0.5) + 1]
    there = {s.at: s for s in seen.m.switches}
    for some in _close(sorted((*there, *back))):
        switches = [there[at] for at in some if at in there]
        bump = max((s.bump for s in switches), default=0.0)
        if len(some) > 2:
            words = f"to automatic and back {len(switches)} times, largest bump {newtons(bump, 2)}"
            yield Moment(some[0], words, "switch")
            continue
        for at in some:
            yield _switched(at, there)


def _switched(at: float, there: dict[float, Switch]) -> Moment:
    if at not in there:
        return Moment(at, "to manual", "switch")
    words = f"to automatic, bump {newtons(there[at].bump, 2)}"
    if abs(there[at].jump) >= 0.5:
        words += f", output jumps by {rounded(there[at].jump)} %"
    return Moment(at, words, "switch")


def _goal(seen: Seen) -> Iterator[Moment]:
    goal = seen.drill.goal
    if seen.m.done:
        yield Moment(
            seen.start.judged_from + seen.m.goal_time, f"goal held from here for {goal.hold:.0f} s",
            "goal",
        )  # fmt: skip


def _zero(seen: Seen) -> Iterator[Moment]:
    for action in seen.done("zero error"):
        T = seen.tension(action.at)
        rest = f" with {newtons(T, 2)} in the web" if T > 0.03 * seen.wanted else ""
        yield Moment(action.at, f"load cells zeroed{rest}", "setting")


def _traps(seen: Seen) -> Iterator[Moment]:
    lap_done = False
    for action in seen.start.plan:
        if action.what == "dropout":
            yield Moment(action.at, f"signal lost for {action.over:.1f} s", "trap")
        if action.what == "web thickness" and action.value > 1.0 and not lap_done:
            # The lap of a splice that was called out needs no second mark.
            if all(abs(at - action.at) > 1.0 for at, _ in seen.start.call):
                yield Moment(action.at, "a lap comes through", "trap")
            lap_done = True


def _line(seen: Seen) -> Iterator[Moment]:
    words = {"start": "line starts", "stop": "line stops", "fast stop": "fast stop"}
    for action in _settled(seen.done("start", "stop", "fast stop", "line speed")):
        said = words.get(action.what, f"line to {rounded(action.value, 3)} m/s")
        yield Moment(action.at, said, "line")
    for ramp in seen.ramps:
        if ramp.to <= 0.0:
            yield Moment(ramp.until, "line stands", "line")
        elif ramp.to > ramp.was and ramp.to >= 0.99 * seen.scenario.run.line_speed:
            yield Moment(ramp.until, "line at its speed", "line")


def _departure(seen: Seen) -> Iterator[Moment]:
    """The largest departure once the tension had been on target, or at speed."""
    on = np.flatnonzero(np.abs(seen.mean / seen.wanted - 1.0) < 0.5 * DEPARTURE)
    begin = max(int(on[0]) if on.size else 0, seen.index(seen.start.judged_from))
    counts = (np.arange(seen.off.size) >= begin) & (seen.run.line_speed > 0.0)
    # A web that is broken has no tension to speak of.
    counts &= np.any(seen.run.span_tension > 0.0, axis=1)
    if not counts.any():
        return
    i = int(np.argmax(np.where(counts, np.abs(seen.off), -1.0)))
    off = float(seen.off[i])
    if abs(off) > DEPARTURE + seen.start.shake:
        yield Moment(
            float(seen.run.time[i]),
            f"farthest off: {newtons(off * seen.wanted, 2)} too {side(off, 'high', 'low')}",
            "tension",
        )


def _reached(seen: Seen) -> Iterator[Moment]:
    m, begins = seen.m, seen.start.judged_from
    was_on = abs(seen.tension(begins) / seen.wanted - 1.0) <= ON_TARGET
    # Where the goal holds from then on, that says it.
    if not math.isnan(m.reached) and not was_on and not abs(m.goal_time - m.reached) < 1.0:
        yield Moment(begins + m.reached, "first on target", "tension")


def _moves(seen: Seen) -> Iterator[Moment]:
    """Moves of the output, all in one."""
    moves = seen.moves
    if not moves:
        return
    last, at = moves[-1], moves[0].at
    if len(moves) == 1:
        yield Moment(at, f"output to {rounded(last.to, 3)} %", "output")
        return
    yield Moment(
        at, f"first of {len(moves)} moves of the output, the last to {rounded(last.to, 3)} %",
        "output",
    )  # fmt: skip


def _settings(seen: Seen) -> Iterator[Moment]:
    for action in _settled(seen.done("Kc", "Ti", "tracking", "setpoint follows", "preset")):
        yield Moment(action.at, str(action), "setting")


def _setpoints(seen: Seen) -> Iterator[Moment]:
    for action in _settled(seen.done("setpoint")):
        yield Moment(action.at, f"setpoint to {newtons(action.value)}", "setting")


def _settled(actions: list[Action]) -> list[Action]:
    """Keep the last of each kind that follow each other closely."""
    return [
        a
        for i, a in enumerate(actions)
        if not any(b.what == a.what and b.at - a.at <= TOGETHER for b in actions[i + 1 :])
    ]


_SOURCES = (
    _web, _calls, _switches, _goal, _zero, _traps, _line, _departure, _reached, _moves, _settings,
    _setpoints,
)  # fmt: skip
