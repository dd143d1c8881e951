"""Drills in manual: the output that holds the tension, and bringing the line to speed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from simulator import Scenario, operating_point
from simulator.machine import diameter_range
from simulator.torque_devices import FrictionBrake
from tuning.practice import moves
from tuning.practice.chance import chance
from tuning.practice.drill import Drill, Goal, Start

if TYPE_CHECKING:
    from tuning.practice.hands import Hands

# A wrong output is left this far above or below the wanted tension [share of it, -].
TOO_HIGH, TOO_LOW = 1.4, 0.6
# … but the web must bear it [share of its breaking tension, -].
BORNE = 0.7
# A supply that sticks by more than this can't be set by hand [share of the wanted tension, -].
LARGEST_JERK = 0.1


def unreachable(scenario: Scenario, diameter: float) -> str:
    """Return why the wanted tension can't be held in manual; empty where it can.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    for speed in (scenario.run.line_speed, scenario.run.crawl_speed):
        point = operating_point(
            scenario, diameter=diameter, line_speed=speed, tension=scenario.run.tension
        )
        if not point.reachable:
            return point.reason
    return ""


def full_roll(scenario: Scenario) -> float:
    """Return the diameter of the full roll, or of the pull roll [m].

    Args:
        scenario: the machine.
    """
    return diameter_range(scenario)[1]


def out_of_reach(scenario: Scenario) -> str:
    """Return why the wanted tension can't be held on the full roll; empty where it can.

    Args:
        scenario: the machine.
    """
    return unreachable(scenario, full_roll(scenario))


def at_speed(scenario: Scenario, diameter: float) -> Start:
    """Return a machine at running speed, steady in manual at the wanted tension.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    run = scenario.run
    return Start(
        scenario=scenario,
        diameter=diameter,
        line_speed=run.line_speed,
        tension=run.tension,
        wanted=run.tension,
        setpoint=run.tension,
    )


def small_roll(scenario: Scenario) -> float:
    """Return a diameter near the core [m]: a tenth of the build-up is on it.

    Args:
        scenario: the machine.
    """
    low, high = diameter_range(scenario)
    return low + 0.1 * (high - low)


def _one_diameter(scenario: Scenario) -> str:
    low, high = diameter_range(scenario)
    return "its roll has one diameter only" if low == high else ""


def _jerks(scenario: Scenario, diameter: float) -> str:
    """Return why a supply that sticks can't hold the tension by hand; empty where it can."""
    device = scenario.torque_device
    sticking = device.sticking if isinstance(device, FrictionBrake) else 0.0
    point = operating_point(scenario, diameter=diameter, tension=scenario.run.tension)
    jerk = sticking * point.tension_per_percent / scenario.run.tension
    if jerk < LARGEST_JERK:
        return ""
    return f"its supply moves in jerks, each worth {100.0 * jerk:.0f} % of the tension here"


def _wrong_tension(scenario: Scenario, diameter: float, seed: int) -> float:
    """Return a tension that an output left wrong gives [N]."""
    wanted = scenario.run.tension
    point = operating_point(scenario, diameter=diameter, tension=wanted)
    breaks = scenario.web.breaking_tension
    most = point.tension_high if breaks is None else min(point.tension_high, BORNE * breaks)
    high = min(TOO_HIGH * wanted, most)
    low = max(TOO_LOW * wanted, point.tension_low)
    # Where one of the two is hardly wrong at all, it is the other.
    if low > 0.85 * wanted:
        return high
    if high < 1.15 * wanted:
        return low
    return high if chance(seed, "wrong output") < 0.5 else low


def _find_output(scenario: Scenario, seed: int, diameter: float) -> Start:
    wrong = _wrong_tension(scenario, diameter, seed)
    return replace(at_speed(scenario, diameter), tension=wrong, time_limit=90.0)


def _ideal_output(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    yield from moves.put_output(hands, hands.holding_output())
    yield from moves.trim(hands)
    yield from moves.wait_for_goal(hands)


def _crawl(scenario: Scenario, seed: int) -> Start:
    run = scenario.run
    return replace(
        at_speed(scenario, full_roll(scenario)),
        line_speed=run.crawl_speed,
        time_limit=run.acceleration_time + 60.0,
    )


def _ideal_crawl(hands: Hands) -> Iterator[float]:
    yield moves.LOOK
    yield from moves.run_up(hands)
    yield from moves.trim(hands)
    yield from moves.wait_for_goal(hands)


OUTPUT_FULL = Drill(
    key="output at full roll",
    title="Find the output: full roll",
    story=(
        "First roll of the shift. The web is through, the line runs, and whoever set the output "
        "last night set it for another job. The controller is in manual."
    ),
    goal=Goal(
        "In manual, bring the tension to what the job card says, within 3 %, and keep it there "
        "for 10 s.",
        automatic=False,
        by_hand=True,
        band=0.03,
    ),
    points={"goal": 35, "time": 20, "error": 20, "outside": 10, "web": 10, "moves": 5},
    set_up=lambda scenario, seed: _find_output(scenario, seed, full_roll(scenario)),
    ideal=_ideal_output,
    hint=(
        "Each per cent of output moves the tension by the same amount. Look how far the first move "
        "took you, wait until it has settled, then work out the second."
    ),
    refused=out_of_reach,
    faults=("tracking off", "setpoint off", "gain too high"),
)

OUTPUT_CORE = Drill(
    key="output near the core",
    title="Find the output: near the core",
    story=(
        "The roll is small: near its end on an unwind, just begun on a rewind. The same torque "
        "pulls several times as hard on it as on a full one, so every per cent counts now. The "
        "controller is in manual, and the output is wrong."
    ),
    goal=Goal(
        "In manual, bring the tension to what the job card says, within 5 %, and keep it there "
        "for 10 s.",
        automatic=False,
        by_hand=True,
    ),
    points={"goal": 35, "time": 20, "error": 20, "outside": 10, "web": 10, "moves": 5},
    set_up=lambda scenario, seed: _find_output(scenario, seed, small_roll(scenario)),
    ideal=_ideal_output,
    hint=(
        "Tension is torque over radius: on a roll half as large the same move does twice as much. "
        "Move by small steps, and wait."
    ),
    refused=lambda scenario: (
        _one_diameter(scenario)
        or unreachable(scenario, small_roll(scenario))
        or _jerks(scenario, small_roll(scenario))
    ),
    faults=("tracking off", "setpoint off", "gain too high"),
)

CRAWL_TO_SPEED = Drill(
    key="crawl to speed in manual",
    title="From crawl to speed in manual",
    story=(
        "The splice is through and looks good at crawl. Take the line to running speed, in manual. "
        "The full roll is heavy: while the line changes its speed, the roll's inertia pulls on the "
        "web or lets it go."
    ),
    goal=Goal(
        "Bring the line to running speed and have the tension within 5 % there for 10 s, still in "
        "manual. On the way, stay within 10 % as well as you can.",
        automatic=False,
        by_hand=True,
    ),
    points={"goal": 35, "error": 20, "outside": 25, "web": 15, "moves": 5},
    set_up=_crawl,
    ideal=_ideal_crawl,
    hint=(
        "The moment the ramp starts the tension moves off and stays off until the ramp ends. Take "
        "it out with the output when it starts, and give it back when the ramp ends."
    ),
    refused=lambda scenario: (
        "a pull roll is light, so its speed changes by itself"
        if scenario.zone == "pull roll"
        else out_of_reach(scenario)
    ),
    faults=("tracking off", "setpoint off", "gain too high"),
)
