"""Drills of the hand-over: manual to automatic, as it should go and with what can be wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from simulator import Scenario
from simulator.run_kernel import JUST_TAUT
from tuning.practice import moves
from tuning.practice.chance import chance, off_setpoint
from tuning.practice.drill import Drill, Goal, Start
from tuning.practice.drills_manual import at_speed, full_roll, out_of_reach
from tuning.practice.lively_gain import ringing

if TYPE_CHECKING:
    from tuning.practice.hands import Hands

# The tension that an operator takes over is off by this [share of the wanted, -].
OFF = 0.12
# Gains that ring at crawl once a switch knocks them by so much [share of the wanted tension, -]:
# some of these [times the limit of stability there, -].
KNOCK, PAST_LIMIT = 0.05, (1.01, 1.03, 1.06, 1.1, 1.2)


def _running(scenario: Scenario, tension: float, setpoint: float) -> Start:
    start = at_speed(scenario, full_roll(scenario))
    return replace(start, tension=tension, setpoint=setpoint)


def _bumpless(scenario: Scenario, seed: int) -> Start:
    wanted = scenario.run.tension
    off = OFF if chance(seed, "tension") < 0.5 else -OFF
    return _running(scenario, wanted * (1.0 + off), wanted)


def _setpoint_off(scenario: Scenario, seed: int) -> Start:
    wanted = scenario.run.tension
    return _running(scenario, wanted, off_setpoint(wanted, seed))


def _tracking_off(scenario: Scenario, seed: int) -> Start:
    off = replace(scenario, controller=replace(scenario.controller, tracking=False))
    wanted = scenario.run.tension
    return _running(off, wanted, wanted)


def _at_crawl(scenario: Scenario, seed: int) -> Start:
    run, diameter = scenario.run, full_roll(scenario)
    lively = ringing(
        scenario,
        diameter=diameter,
        line_speed=run.crawl_speed,
        setpoint=(1.0 + KNOCK) * run.tension,
        times=PAST_LIMIT,
    )
    start = _running(lively, run.tension, run.tension)
    return replace(start, line_speed=run.crawl_speed, time_limit=run.acceleration_time + 90.0)


def _standing(scenario: Scenario, seed: int) -> Start:
    return replace(
        at_speed(scenario, full_roll(scenario)),
        line_speed=0.0,
        tension=JUST_TAUT * scenario.controller.tension_range,
        time_limit=scenario.run.acceleration_time + 120.0,
    )


def _ideal_bumpless(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    yield from moves.put_output(hands, hands.holding_output())
    yield from moves.trim(hands)
    yield from moves.hand_over(hands)
    yield from moves.wait_for_goal(hands)


def _ideal_steady(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    yield from moves.hand_over(hands)
    yield from moves.wait_for_goal(hands)


def _ideal_crawl(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    yield from moves.run_up(hands)
    yield from moves.trim(hands)
    yield from moves.hand_over(hands)
    yield from moves.wait_for_goal(hands)


def _ideal_bring_up(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    yield from moves.bring_up(hands)
    yield from moves.wait_for_goal(hands)


_IN_AUTOMATIC = (
    "Have the controller in automatic, and the tension within 5 % of the job card for 10 s."
)

BUMPLESS = Drill(
    key="bumpless hand-over",
    title="Hand over without a bump",
    story=(
        "The line runs in manual and the tension is a little off. Put it right, make the reading "
        "the setpoint, and hand over to automatic so that nobody downstream notices."
    ),
    goal=Goal(_IN_AUTOMATIC, automatic=True),
    points={"goal": 35, "time": 10, "bump": 30, "error": 10, "web": 10, "moves": 5},
    set_up=_bumpless,
    ideal=_ideal_bumpless,
    hint=(
        "Output first, then wait; setpoint to the reading; look at what automatic would give: it "
        "must be where the output is. Then switch."
    ),
    refused=out_of_reach,
)

SETPOINT_OFF = Drill(
    key="setpoint off",
    title="Hand over: the setpoint is off by 20 %",
    story=(
        "The tension is right and steady in manual, and you are asked to go to automatic. The "
        "setpoint is still the one of the last job."
    ),
    goal=Goal(_IN_AUTOMATIC, automatic=True),
    points={"goal": 25, "bump": 50, "outside": 10, "web": 10, "moves": 5},
    set_up=_setpoint_off,
    ideal=_ideal_steady,
    hint="Compare setpoint and reading before you switch. Automatic does what the setpoint says.",
    refused=out_of_reach,
    faults=("setpoint off",),
)

TRACKING_OFF = Drill(
    key="tracking off",
    title="Hand over: tracking is switched off",
    story=(
        "The controller has been exchanged over the weekend. Tension right, setpoint right, yet "
        "something tells you to look where automatic would put the output before you switch."
    ),
    goal=Goal(_IN_AUTOMATIC, automatic=True),
    points={"goal": 25, "bump": 50, "outside": 10, "web": 10, "moves": 5},
    set_up=_tracking_off,
    ideal=_ideal_steady,
    hint=(
        "Without tracking the integral term stays where it was, and automatic starts from there. "
        "Look at 'automatic would give', and at the controller's settings."
    ),
    refused=out_of_reach,
    faults=("tracking off",),
)

AT_CRAWL = Drill(
    key="hand-over at crawl",
    title="Automatic at crawl",
    story=(
        "You creep at crawl speed in manual, and the foreman wants automatic before you speed up. "
        "The gains were set for speed, with a heavy hand. At crawl the web damps the roll's swing "
        "least, and what is lively at speed rings here."
    ),
    goal=Goal(
        "Have the line at running speed, the controller in automatic, and the tension within 5 % "
        "of the job card for 10 s.",
        automatic=True,
    ),
    points={"goal": 40, "bump": 10, "outside": 25, "error": 10, "web": 15},
    set_up=_at_crawl,
    ideal=_ideal_crawl,
    hint=(
        "Nobody says that you must switch here. Run up in manual and hand over at speed; or lower "
        "the gain first. If it rings, go back to manual at once."
    ),
    refused=out_of_reach,
    faults=("gain too high",),
)

BRING_UP = Drill(
    key="from rest to automatic",
    title="The whole start: from rest to automatic",
    story=(
        "The web has just been threaded and hangs loosely taut; the line stands. It is your start: "
        "crawl, tension, speed, automatic."
    ),
    goal=Goal(
        "Have the line at running speed, the controller in automatic, and the tension within 5 % "
        "of the job card for 10 s.",
        automatic=True,
    ),
    points={"goal": 35, "time": 10, "bump": 15, "overshoot": 25, "outside": 5, "web": 10},
    set_up=_standing,
    ideal=_ideal_bring_up,
    hint=(
        "A brake or clutch makes no tension in a standing web, a motor does. Set a small output "
        "first, then start to crawl: pulled from rest, the web swings to twice what the output "
        "holds. Get the tension right at crawl, run up, trim, hand over."
    ),
    refused=out_of_reach,
)
