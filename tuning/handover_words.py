"""When to switch to automatic and when not, in words for who stands at the machine."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator import Scenario
from simulator.units import sensible
from tuning.handover_conditions import ConditionStudy, JudgedSwitch
from tuning.handover_judged import (
    CALM,
    CALM_GAP,
    DO_NOT,
    OUTPUT_CHANGED,
    SPEED_CHANGES,
    STEADY,
    VERDICTS,
    Moves,
    Verdict,
)
from tuning.handover_settings import SettingsStudy


@dataclass(frozen=True)
class OperatorWords:
    """A short list for the operator; each entry is a sentence without its full stop.

    Attributes:
        switch_when: what must be so before the switch.
        not_when: what forbids it.
        wait_when: what is better waited for.
        if_wrong: what to do where it goes wrong.
    """

    switch_when: tuple[str, ...]
    not_when: tuple[str, ...]
    wait_when: tuple[str, ...]
    if_wrong: tuple[str, ...]


def operator_words(study: ConditionStudy, scenario: Scenario) -> OperatorWords:
    """Return the list that follows from a study.

    Args:
        study: of this machine.
        scenario: the machine, with its controller as it is set.
    """
    against = _against(study)
    return OperatorWords(
        switch_when=_switch_when(study, scenario),
        not_when=tuple(text for verdict, text in against if verdict == DO_NOT),
        wait_when=tuple(text for verdict, text in against if verdict != DO_NOT),
        if_wrong=IF_WRONG,
    )


IF_WRONG = (
    "Back to manual at once; don't wait for it to come right",
    "The output stays where automatic had it, which may be wrong: set it to the value that you "
    "noted before the switch (Manual output has it for every diameter)",
    "Web slack or broken, or anything you don't understand: stop the line by the machine's own "
    "procedure; don't try to catch it with the output",
    "Before you try again find which of the points above it was",
)


def _switch_when(study: ConditionStudy, scenario: Scenario) -> tuple[str, ...]:
    c = scenario.controller
    best = study.of(moves=STEADY, tracking=True, setpoint_follows=True)
    good = [one for one in best if one.judged.verdict == CALM]
    if not good:
        return ()
    tracks = "it does here" if c.tracking else "it does not here: have it set"
    setpoint = "it does so by itself here" if c.setpoint_follows else "set it by hand here"
    where = "at every diameter and speed" if len(good) == len(best) else f"at {_places(good)}"
    return (
        "The line keeps its speed and the reading stands still: it moves by less than "
        f"{CALM_GAP:g} % of the running tension",
        f"The setpoint is the reading ({setpoint})",
        f"The integral term tracks the output in manual ({tracks})",
        "You have noted the output, and a hand is on manual",
        f"Then the switch is calm {where}",
    )


def _against(study: ConditionStudy) -> list[tuple[Verdict, str]]:
    """Return what speaks against a switch, with its verdict."""
    best = study.of(moves=STEADY, tracking=True, setpoint_follows=True)
    bad = [one for one in best if one.judged.verdict != CALM]
    if len({one.judged for one in bad}) == 1 and len(bad) == len(best):
        # One thing wrong everywhere is said once.
        judged = bad[0].judged
        found = [(judged.verdict, f"Anywhere: {judged.reason}; {judged.instead}")]
    else:
        found = [
            (one.judged.verdict, f"At {_place(one)}: {one.judged.reason}; {one.judged.instead}")
            for one in bad
        ]
    untracked = study.of(moves=STEADY, tracking=False, setpoint_follows=True)
    found += _worst(untracked, "The integral term does not track")
    gap = study.of(moves=STEADY, tracking=True, setpoint_follows=False)
    found += _worst(gap, "The setpoint is not the reading")
    moving: tuple[tuple[Moves, str], ...] = (
        (OUTPUT_CHANGED, "You have just changed the output"),
        (SPEED_CHANGES, "The line speeds up or slows down"),
    )
    for moves, lead in moving:
        found += _worst(study.of(moves=moves, tracking=True, setpoint_follows=True), lead)
    return found


def _worst(switches: tuple[JudgedSwitch, ...], lead: str) -> list[tuple[Verdict, str]]:
    """Say what the worst of some switches does, where it was tried and is not calm."""
    tried = [one for one in switches if not math.isnan(one.output_bump)]
    if not tried:
        return []
    worst = max(
        tried,
        key=lambda one: (VERDICTS.index(one.judged.verdict), max(one.tension_bump, one.gap)),
    )
    if worst.judged.verdict == CALM:
        return []
    return [(worst.judged.verdict, f"{lead}: at {_place(worst)}, {worst.judged.reason}")]


def _place(one: JudgedSwitch) -> str:
    speed = "crawl speed" if one.at_speed == "crawl" else "running speed"
    name = {"core": "the core", "half": "half roll", "pull roll": ""}.get(one.name, one.name)
    return f"{name}, {speed}" if name else speed


def _places(switches: list[JudgedSwitch]) -> str:
    return "; ".join(_place(one) for one in switches)


def settings_in_words(study: SettingsStudy) -> tuple[str, ...]:
    """Return what anti-windup and tracking did on the machine, in two or three sentences.

    Args:
        study: on this machine.
    """
    limit, integral = study.at_limit, study.integral
    on, off = limit.with_anti_windup, limit.without
    asked = sensible(limit.asked_until - limit.asked_from, 2)
    lead = (
        f"Anti-windup: for {asked} s the setpoint asks for more than the output's limit of "
        f"{limit.limit:.3g} % can do. "
        if limit.upper
        else f"Anti-windup: for {asked} s the setpoint asks for less than the output's limit of "
        f"{limit.limit:.3g} % can do. "
    )
    if math.isnan(on.late):
        words = "Here the tension does not answer to so small a change of the output."
    else:
        words = (
            f"When it comes back, the output leaves its limit {_late(on.late)} with anti-windup "
            f"and {_late(off.late)} without: so long the tension is wrong and nothing answers."
        )
    zero, old = integral.at_zero, integral.at_old
    return (
        lead + words,
        "Tracking: with it the integral term always stands where the output is, and at the switch "
        f"nothing jumps ({jump_in_words(integral.tracks.output_bump)}).",
        f"Without it the output goes to where the integral term was left: it jumps by "
        f"{jump_in_words(zero.output_bump)} from 0, and by {jump_in_words(old.output_bump)} from "
        f"where it last held {integral.old_tension:.4g} N in automatic; the tension is thrown "
        f"off by {zero.tension_bump:.0f} % and {old.tension_bump:.0f} %.",
    )


def _late(late: float) -> str:
    if math.isnan(late):
        return "not within the time shown"
    return "at once" if late < 0.05 else f"after {sensible(late, 2)} s"


def jump_in_words(value: float) -> str:
    """Return a jump with its sign; one that rounds to nothing has none.

    Args:
        value: of the output [%].
    """
    tenths = round(value, 1)
    return f"{tenths:+.1f} %".replace("-", "−") if tenths else "0.0 %"
