"""The free run: the machine, its controls, an hour, and no task."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from simulator import Scenario
from tuning.practice.drill import Drill, Goal, Start
from tuning.practice.drills_manual import at_speed, full_roll, out_of_reach

if TYPE_CHECKING:
    from tuning.practice.hands import Hands


def _free(scenario: Scenario, seed: int) -> Start:
    return replace(at_speed(scenario, full_roll(scenario)), time_limit=3600.0)


def _hands_off(hands: Hands) -> Iterator[float]:
    yield hands.goal.hold + 4.0


FREE_RUN = Drill(
    key="free run",
    title="Free run, no task",
    story=(
        "A full roll at running speed, steady in manual, and nobody wants anything of you. Try "
        "what you would never try on a real machine, and see how it answers."
    ),
    goal=Goal("None: there is no score. Finish when you have seen enough."),
    points={},
    set_up=_free,
    ideal=_hands_off,
    hint=(
        "Move the output by 1 % and count how long the tension takes to settle. Stop the line in "
        "automatic and watch the output. Turn the gain up until it rings, and get it back."
    ),
    refused=out_of_reach,
)
