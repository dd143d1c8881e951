"""What a drill is: a story, a start, what happens on the way, and what must hold at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from simulator import Action, Scenario
from simulator.plan import What

if TYPE_CHECKING:
    from tuning.practice.hands import Hands


class PracticeError(ValueError):
    """A drill, trap, action or log that can't be; the message says what can."""


# What a drill can be scored by; `score` says how each is measured.
Part = Literal["goal", "time", "bump", "peak", "overshoot", "error", "outside", "web", "moves"]


@dataclass(frozen=True)
class Goal:
    """What must hold at the end of a drill, all of it, and without a break for some time.

    Attributes:
        words: the same, for the job card.
        automatic: whether the controller is in automatic; None where either will do [-].
        line: whether the line runs at its speed, at crawl or stands; None where any will do.
        band: how far the tension may be off, averaged over a second [share of wanted, -]; at any
            moment it may be off by twice that and by what the machine's own runout makes.
        hold: for how long it must hold [s].
        by_hand: whether time in automatic on the way spoils it [-].
        needs: what must have been done after the call.
    """

    words: str
    automatic: bool | None = None
    line: Literal["running", "crawl", "standing"] | None = "running"
    band: float = 0.05
    hold: float = 10.0
    by_hand: bool = False
    needs: tuple[What, ...] = ()


@dataclass(frozen=True)
class Start:
    """A drill set up on a machine with a seed: where it starts and what happens on the way.

    Attributes:
        scenario: the machine with what this drill has changed about it.
        diameter: of the roll [m].
        line_speed: [m/s].
        tension: that the web has at the start [N].
        wanted: that the job card asks for [N].
        setpoint: [N].
        automatic: whether the controller starts in automatic [-].
        plan: what happens without the trainee.
        call: when something is called out on the floor [s], and the words; empty if nothing is.
        judged_from: the tension is judged from here on [s].
        time_limit: of the drill [s].
        shake: what runout alone makes of the tension in manual [share of wanted, -].
    """

    scenario: Scenario
    diameter: float
    line_speed: float
    tension: float
    wanted: float
    setpoint: float
    automatic: bool = False
    plan: tuple[Action, ...] = ()
    call: tuple[tuple[float, str], ...] = ()
    judged_from: float = 0.0
    time_limit: float = 120.0
    shake: float = 0.0


@dataclass(frozen=True)
class Drill:
    """One exercise.

    Attributes:
        key: name in a log.
        title: name on the screen.
        story: what has happened, in our own invented plant.
        goal: what must hold at the end.
        points: what each part of the score is worth, 100 in all, or none for no score [-].
        set_up: puts the drill on a machine, with a seed for what is left to chance.
        ideal: how someone who knows the machine does it.
        refused: why a machine does not suit the drill; empty where it does.
        hint: what to think of, for a trainee who is stuck.
        faults: traps that this drill has already, or that would spoil it.
    """

    key: str
    title: str
    story: str
    goal: Goal
    points: Mapping[Part, float]
    set_up: Callable[[Scenario, int], Start]
    ideal: Callable[[Hands], Iterator[float]]
    hint: str
    refused: Callable[[Scenario], str] = field(default=lambda scenario: "")
    faults: tuple[str, ...] = ()
