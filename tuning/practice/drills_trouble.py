"""Drills of what goes wrong on a running line, and how to get it back in hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from simulator import Action, Scenario, simulate
from simulator.machine import diameter_range, web_leaves_roll
from simulator.plan import splice
from simulator.speed_change import speed_change
from simulator.torque_devices import Clutch, FrictionBrake, TorqueMotor
from tuning.practice import moves
from tuning.practice.chance import chance
from tuning.practice.drill import Drill, Goal, Start
from tuning.practice.drills_handover import BRING_UP
from tuning.practice.drills_manual import full_roll, small_roll, unreachable
from tuning.practice.lively_gain import gain_limit, with_gain
from tuning.practice.traps import TRAPS

if TYPE_CHECKING:
    from tuning.practice.hands import Hands

# Past its limit of stability a loop rings up, the farther the faster: the first of these [times the
# limit, -] with which, left alone, it is that far off [share of the wanted tension] so soon [s].
RINGS_UP, FAR, SOON = (1.05, 1.1, 1.2, 1.35, 1.5, 2.0), 0.25, 15.0
# What knocks it [m of a lap of two plies], and when [s].
KNOCK, KNOCK_AT = 0.3, 3.0
# The splice is called this long before it comes [s].
CALLED, SPLICE_AT = 10.0, 25.0
# The bell rings, or the web breaks, between these [s].
EARLIEST, LATEST = 15.0, 25.0


def _some_time(seed: int, what: str) -> float:
    return EARLIEST + (LATEST - EARLIEST) * chance(seed, what)


def _in_automatic(scenario: Scenario, diameter: float) -> Start:
    return Start(
        scenario=scenario,
        diameter=diameter,
        line_speed=scenario.run.line_speed,
        tension=scenario.run.tension,
        wanted=scenario.run.tension,
        setpoint=scenario.run.tension,
        automatic=True,
    )


def _rings(scenario: Scenario, seed: int) -> Start:
    diameter, v = small_roll(scenario), scenario.run.line_speed
    limit = gain_limit(scenario, diameter=diameter, line_speed=v)
    knock = splice(KNOCK_AT, length=KNOCK, line_speed=v)
    wanted = scenario.run.tension
    lively = scenario
    for times in RINGS_UP:
        lively = with_gain(scenario, times * limit)
        alone = simulate(
            lively, knock, duration=KNOCK_AT + SOON, diameter=diameter, tension=wanted,
            automatic=True, seed=seed,
        )  # fmt: skip
        late = alone.time > KNOCK_AT + 0.5 * SOON
        if np.ptp(alone.web_tension[late]) > 2.0 * FAR * wanted:
            break
    return replace(_in_automatic(lively, diameter), plan=knock)


def _ideal_rings(hands: Hands) -> Iterator[float]:
    # It waits until it sees the swing, and acts then.
    while abs(hands.reading - hands.wanted) < 0.1 * hands.wanted and hands.time < 40.0:
        yield 0.2
    hands.do("manual")
    yield from moves.put_output(hands, hands.holding_output())
    yield from moves.trim(hands)
    yield from moves.hand_over(hands)
    yield from moves.wait_for_goal(hands)


def _splice(scenario: Scenario, seed: int) -> Start:
    before, after = small_roll(scenario), full_roll(scenario)
    if not web_leaves_roll(scenario):
        before, after = after, diameter_range(scenario)[0]
    call = (
        (SPLICE_AT - CALLED, f"The splice comes in {CALLED:.0f} s."),
        (SPLICE_AT, "The splice is made: the web runs on the new roll."),
    )
    v = scenario.run.line_speed
    lap = splice(SPLICE_AT, length=KNOCK, line_speed=v)
    new = Action(SPLICE_AT, "new roll", after)
    return replace(
        _in_automatic(scenario, before), plan=(new, *lap), call=call, judged_from=SPLICE_AT
    )


def _ideal_splice(hands: Hands) -> Iterator[float]:
    new = next(a for a in hands.practice.start.plan if a.what == "new roll")
    yield moves.LOOK
    hands.do("preset", hands.holding_output(diameter=new.value))
    yield new.at - hands.time
    yield from moves.settle(hands)
    yield from moves.wait_for_goal(hands)


def _stop_diameter(scenario: Scenario) -> float | None:
    """Return the largest roll whose tension the device can hold in a fast stop [m]."""
    low, high = diameter_range(scenario)
    for part in (1.0, 0.75, 0.5, 0.35, 0.2):
        diameter = low + part * (high - low)
        change = speed_change(
            scenario, "fast stop", diameter=diameter, tension=scenario.run.tension
        )
        if change.has_torque and not unreachable(scenario, diameter):
            return diameter
    return None


def _fast_stop(scenario: Scenario, seed: int) -> Start:
    diameter = _stop_diameter(scenario)
    assert diameter is not None
    at = _some_time(seed, "bell")
    return replace(
        _in_automatic(scenario, diameter),
        call=((at, "The bell: fast stop, now!"),),
        judged_from=at,
        time_limit=at + scenario.run.stop_time + 60.0,
    )


def _ideal_fast_stop(hands: Hands) -> Iterator[float]:
    scenario = hands.practice.start.scenario
    device, run = scenario.torque_device, scenario.run
    at, _ = hands.practice.start.call[0]
    late = device.lag + device.dead_time
    yield at + 1.0 - hands.time
    hands.do("manual")
    hands.do("output", hands.holding_output(acceleration=-run.line_speed / run.stop_time))
    yield min(0.5 * late, 0.2)
    hands.do("fast stop")
    # A clutch or motor must be halfway back to its torque when all stands, or the web pulls the
    # roll around; a brake holds what it has.
    ahead = 0.5 * late if isinstance(device, Clutch | TorqueMotor) else -0.3
    yield max(run.stop_time - ahead, 0.1)
    hands.do("output", hands.holding_output(line_speed=run.crawl_speed))
    yield late + 1.0
    yield from moves.wait_for_goal(hands)


def _break(scenario: Scenario, seed: int) -> Start:
    run = scenario.run
    at = _some_time(seed, "break")
    return replace(
        _in_automatic(scenario, full_roll(scenario)),
        plan=(Action(at, "web break"),),
        call=((at, "Web break!"),),
        judged_from=at,
        time_limit=at + run.stop_time + run.acceleration_time + 150.0,
    )


def _ideal_break(hands: Hands) -> Iterator[float]:
    scenario = hands.practice.start.scenario
    at, _ = hands.practice.start.call[0]
    yield at + 1.0 - hands.time
    hands.do("manual")
    hands.do("fast stop")
    hands.do("output", hands.idle_output())
    yield scenario.run.stop_time + 2.0
    hands.do("thread")
    yield 1.0
    yield from moves.bring_up(hands)
    yield from moves.wait_for_goal(hands)


def _drifted_zero(scenario: Scenario, seed: int) -> Start:
    return TRAPS["drifted zero"].set(BRING_UP.set_up(scenario, seed), seed)


def _ideal_zero(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    hands.zero()
    yield 1.0
    yield from moves.bring_up(hands)
    yield from moves.wait_for_goal(hands)


def _sticking(scenario: Scenario, seed: int) -> Start:
    diameter = 0.5 * (small_roll(scenario) + full_roll(scenario))
    return TRAPS["sticking supply"].set(_in_automatic(scenario, diameter), seed)


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
        "The roll has shrunk since someone set the gains at the full one, and a small roll answers "
        "the brake more strongly. A splice has just knocked the loop, and it does not calm down."
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
    refused=lambda scenario: unreachable(scenario, small_roll(scenario)),
    faults=("gain too high",),
)

SPLICE = Drill(
    key="splice to a new roll",
    title="A splice to a new roll",
    story=(
        "The running roll comes to its end and the splicer swings the web over to a new one at "
        "full speed. The new roll's own brake or clutch stands ready at the preset, or, if nobody "
        "sets one, where the old one stood. That is the wrong torque by far, and automatic needs "
        "time to find it out. The lap of the splice runs through the zone, too."
    ),
    goal=Goal(
        "After the splice, have the controller in automatic and the tension within 5 % of the job "
        "card for 10 s.",
        automatic=True,
    ),
    points={"goal": 25, "time": 10, "outside": 30, "error": 20, "web": 15},
    set_up=_splice,
    ideal=_ideal_splice,
    hint=(
        "Work out the output of the new roll beforehand: torque goes with the diameter, so the "
        "output does nearly. Set it as the preset before the splice comes."
    ),
    refused=lambda scenario: (
        "a pull roll is not spliced"
        if scenario.zone == "pull roll"
        else unreachable(scenario, small_roll(scenario))
        or unreachable(scenario, full_roll(scenario))
    ),
)

FAST_STOP = Drill(
    key="fast stop",
    title="A fast stop",
    story=(
        "Everything runs well in automatic. When the bell rings you have to stop the line as fast "
        "as the machine allows, and keep the web: neither slack nor broken. The roll wants to run "
        "on."
    ),
    goal=Goal(
        "After the bell, stop the line with the fast stop and have the web taut at rest, between a "
        "quarter and one and three quarters of the job card, in manual, for 5 s.",
        automatic=False,
        line="standing",
        band=0.75,
        hold=5.0,
    ),
    points={"goal": 40, "time": 20, "outside": 15, "web": 25},
    set_up=_fast_stop,
    ideal=_ideal_fast_stop,
    hint=(
        "Stopping an unwinding roll takes more brake, a winding one less. At rest no loop can do "
        "anything for the tension, but it will go on trying: be in manual by then."
    ),
    refused=lambda scenario: (
        "" if _stop_diameter(scenario) else "its torque does not suffice for a fast stop"
    ),
    faults=("tracking off", "setpoint off"),
)

WEB_BREAK = Drill(
    key="web break and restart",
    title="A web break and the restart",
    story=(
        "It runs in automatic when the web breaks. The reading falls to nothing, and automatic "
        "will do all it can to get it back. Stop, thread, and bring the line up again."
    ),
    goal=Goal(
        "Stop the line, thread the web, and have the line at running speed in automatic again, "
        "within 5 % of the job card for 10 s.",
        automatic=True,
    ),
    points={"goal": 50, "time": 15, "bump": 10, "overshoot": 10, "web": 15},
    set_up=_break,
    ideal=_ideal_break,
    hint=(
        "Manual at once, or the output winds up to its end and the first pull breaks the web "
        "again. Thread only with the line at rest, then output, crawl, tension, speed, automatic."
    ),
    refused=lambda scenario: unreachable(scenario, full_roll(scenario)),
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
    refused=lambda scenario: unreachable(scenario, full_roll(scenario)),
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
