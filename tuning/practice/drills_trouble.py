"""Drills of a loop, a reading and a brake that are not as they should be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from simulator import Scenario, simulate
from simulator.plan import splice
from simulator.scenario_checks import hunting
from simulator.torque_devices import FrictionBrake
from tuning.practice import moves
from tuning.practice.drill import Drill, Goal, Start
from tuning.practice.drills_events import LAP, in_automatic
from tuning.practice.drills_handover import BRING_UP
from tuning.practice.drills_manual import full_roll, small_roll, unreachable
from tuning.practice.lively_gain import ringing
from tuning.practice.traps import TRAPS

if TYPE_CHECKING:
    from tuning.practice.hands import Hands

# A lap knocks it then [s].
KNOCK_AT = 3.0
# Load cells may be zeroed on a web with less than this [share of the wanted tension, -].
SLACK_ENOUGH = 0.02
# A brake that sticks is found with the tension off by this [share of the wanted one, -].
OFF = 0.06


def _rings(scenario: Scenario, seed: int) -> Start:
    diameter, v = small_roll(scenario), scenario.run.line_speed
    knock = splice(KNOCK_AT, length=LAP, line_speed=v)
    lively = ringing(
        scenario, diameter=diameter, line_speed=v, setpoint=scenario.run.tension, knock=knock
    )
    return replace(in_automatic(lively, diameter), plan=knock)


def _ideal_rings(hands: Hands) -> Iterator[float]:
    # It waits until the display shows the swing, and acts then.
    while abs(hands.reading - hands.wanted) < 0.05 * hands.wanted and hands.time < 40.0:
        yield 0.2
    hands.do("manual")
    yield from moves.put_output(hands, hands.holding_output())
    yield from moves.trim(hands)
    yield from moves.hand_over(hands)
    yield from moves.wait_for_goal(hands)


def _drifted_zero(scenario: Scenario, seed: int) -> Start:
    return TRAPS["drifted zero"].set(BRING_UP.set_up(scenario, seed), seed)


def _not_slack(scenario: Scenario) -> str:
    """Return why there is tension in the web at rest whatever one does; empty where it is slack."""
    start = BRING_UP.set_up(scenario, 0)
    rest = simulate(
        scenario, duration=0.1, diameter=start.diameter, line_speed=0.0, tension=start.tension,
        noise=False,
    )  # fmt: skip
    if rest.web_tension[0] < SLACK_ENOUGH * start.wanted:
        return ""
    return "at rest, its web has tension even at the lowest output, so there is nothing to zero on"


def _ideal_zero(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    hands.zero()
    yield 1.0
    yield from moves.bring_up(hands)
    yield from moves.wait_for_goal(hands)


def _sticking(scenario: Scenario, seed: int) -> Start:
    diameter = 0.5 * (small_roll(scenario) + full_roll(scenario))
    # Off by a little, so that the loop has something to put right, and can't.
    off = replace(in_automatic(scenario, diameter), tension=(1.0 + OFF) * scenario.run.tension)
    return TRAPS["sticking supply"].set(off, seed)


def _ideal_sticking(hands: Hands) -> Iterator[float]:
    yield 10.0
    hands.do("manual")
    yield from moves.put_output(hands, hands.holding_output())
    yield from moves.trim(hands)
    yield from moves.wait_for_goal(hands)


RINGING = Drill(
    key="loop starts to ring",
    title="The loop starts to ring",
    story=(
        "The gain is too high for the roll as it is now: set at a larger one, which answers the "
        "output less, or turned up by someone in a hurry. A splice has just knocked the loop, and "
        "it does not calm down."
    ),
    goal=Goal(
        "Take it back to manual, steady the tension, lower the gain, and have it in automatic "
        "again, within 5 % of the job card for 15 s.",
        automatic=True,
        hold=15.0,
    ),
    points={"goal": 40, "time": 10, "outside": 30, "bump": 10, "web": 10},
    set_up=_rings,
    ideal=_ideal_rings,
    hint=(
        "Manual first: it stops the loop feeding the swing. Set the output to where it swung "
        "about, let it die out, halve the gain (or go lower), then hand over as always."
    ),
    refused=lambda scenario: (
        "its supply sticks, so it hunts whatever the gain"
        if hunting(scenario)
        else unreachable(scenario, small_roll(scenario))
    ),
    faults=("gain too high",),
)

DRIFTED_ZERO = Drill(
    key="drifted zero",
    title="A reading with drifted zero",
    story=(
        "Monday morning: the web has just been threaded and hangs with no tension in it, and the "
        "line stands. Look at the reading before you do anything else."
    ),
    goal=Goal(
        "Have the line at running speed in automatic, and the web's true tension within 5 % of "
        "the job card for 10 s.",
        automatic=True,
    ),
    points={"goal": 55, "time": 10, "bump": 10, "overshoot": 15, "web": 10},
    set_up=_drifted_zero,
    ideal=_ideal_zero,
    hint=(
        "With no tension in the web the load cells must read nothing. If they read something, "
        "zero them now, while it is slack; later you would zero away the tension itself."
    ),
    refused=lambda scenario: unreachable(scenario, full_roll(scenario)) or _not_slack(scenario),
    faults=("drifted zero",),
)

STICKING = Drill(
    key="sticking brake",
    title="A brake that sticks",
    story=(
        "In automatic the tension climbs and falls, slowly and never the same. The output ramps, "
        "nothing happens, then all at once too much does. Maintenance comes at the end of the "
        "shift; until then the roll has to run."
    ),
    goal=Goal(
        "Hold the tension within 5 % of the job card for 15 s, in manual, with a brake that moves "
        "only in jerks.",
        automatic=False,
        hold=15.0,
    ),
    points={"goal": 45, "time": 15, "outside": 20, "error": 10, "web": 10},
    set_up=_sticking,
    ideal=_ideal_sticking,
    hint=(
        "In manual the hunting stops, which tells you that it is the brake. Small moves do "
        "nothing: go away from the place by more than it sticks, and come back to it."
    ),
    refused=lambda scenario: (
        ""
        if isinstance(scenario.torque_device, FrictionBrake)
        else f"a {scenario.torque_device.kind} has no air supply that can stick"
    ),
    faults=("sticking supply", "tracking off", "setpoint off", "gain too high"),
)
