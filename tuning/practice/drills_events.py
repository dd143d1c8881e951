"""Drills of what happens to a running line: a splice, a fast stop, a web break."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from simulator import Action, Scenario
from simulator.machine import diameter_range, web_leaves_roll
from simulator.plan import splice
from simulator.run_kernel import REST_SPEED
from simulator.speed_change import speed_change
from simulator.torque_devices import Clutch, TorqueMotor
from tuning.practice import moves
from tuning.practice.chance import chance
from tuning.practice.drill import Drill, Goal, Start
from tuning.practice.drills_manual import (
    at_speed,
    full_roll,
    out_of_reach,
    small_roll,
    unreachable,
)

if TYPE_CHECKING:
    from tuning.practice.hands import Hands

# A lap of two plies is so long [m].
LAP = 0.3
# The splice is called this long before it comes [s].
CALLED, SPLICE_AT = 10.0, 25.0
# The bell rings, or the web breaks, between these [s].
EARLIEST, LATEST = 15.0, 25.0


def in_automatic(scenario: Scenario, diameter: float) -> Start:
    """Return the start of a drill at running speed, steady in automatic.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    return replace(at_speed(scenario, diameter), automatic=True)


def _some_time(seed: int, what: str) -> float:
    return EARLIEST + (LATEST - EARLIEST) * chance(seed, what)


def _splice(scenario: Scenario, seed: int) -> Start:
    before, after = small_roll(scenario), full_roll(scenario)
    if not web_leaves_roll(scenario):
        before, after = after, diameter_range(scenario)[0]
    call = (
        (SPLICE_AT - CALLED, f"The splice comes in {CALLED:.0f} s."),
        (SPLICE_AT, "The splice is made: the web runs on the new roll."),
    )
    v = scenario.run.line_speed
    # On a rewind the joint lies on the new core.
    lap = splice(SPLICE_AT, length=LAP, line_speed=v) if web_leaves_roll(scenario) else ()
    new = Action(SPLICE_AT, "new roll", after)
    return replace(
        in_automatic(scenario, before), plan=(new, *lap), call=call, judged_from=SPLICE_AT
    )


def _ideal_splice(hands: Hands) -> Iterator[float]:
    new = next(a for a in hands.practice.start.plan if a.what == "new roll")
    yield moves.LOOK
    # Automatic holds the reading: what is wrong with it, or was with the setpoint, goes in there.
    off = hands.wanted - hands.mean_tension(moves.LOOK)
    hands.do("setpoint", hands.mean_reading(moves.LOOK) + off)
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
        in_automatic(scenario, diameter),
        call=((at, "The bell: fast stop, now!"),),
        judged_from=at,
        time_limit=at + scenario.run.stop_time + 40.0,
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
        in_automatic(scenario, full_roll(scenario)),
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
    hands.do("output", hands.braking_output())
    yield scenario.run.stop_time
    # A full roll runs on for long: nobody threads before it stands.
    while abs(hands.rim_speed) > 0.5 * REST_SPEED and not hands.practice.over:
        yield 0.1
    hands.do("output", hands.idle_output())
    yield 2.0
    hands.do("thread")
    yield 1.0
    yield from moves.bring_up(hands)
    yield from moves.wait_for_goal(hands)


SPLICE = Drill(
    key="splice to a new roll",
    title="A splice to a new roll",
    story=(
        "The running roll comes to its end, empty on an unwind, full on a rewind, and the web is "
        "swung over to the next one at full speed. The next roll's own brake, clutch or motor "
        "stands ready at the preset, or, if nobody sets one, where the old one stood. That is the "
        "wrong torque by far, and automatic needs time to find it out."
    ),
    goal=Goal(
        "After the splice, have the controller in automatic and the tension within 5 % of the job "
        "card for 10 s.",
        automatic=True,
    ),
    points={"goal": 15, "time": 5, "peak": 30, "outside": 20, "error": 15, "web": 15},
    set_up=_splice,
    ideal=_ideal_splice,
    hint=(
        "Work out the output of the new roll beforehand: torque goes with the diameter, so the "
        "output does nearly: output now, times new diameter, over the present one. Set it as the "
        "preset before the splice comes."
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
        needs=("fast stop",),
    ),
    points={"goal": 40, "time": 20, "outside": 15, "web": 25},
    set_up=_fast_stop,
    ideal=_ideal_fast_stop,
    hint=(
        "Stopping an unwinding roll takes more brake, a winding one less. With a brake or clutch "
        "no loop can do anything for the tension at rest, but it will go on trying: be in manual "
        "by then."
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
    points={"goal": 40, "time": 10, "bump": 10, "overshoot": 30, "web": 10},
    set_up=_break,
    ideal=_ideal_break,
    hint=(
        "Manual at once, or the output winds up to its end and the first pull is several times the "
        "job card. Fast stop, and brake the roll to rest before anyone goes near it. Then little "
        "output, thread, crawl, tension, speed, automatic."
    ),
    refused=out_of_reach,
)
