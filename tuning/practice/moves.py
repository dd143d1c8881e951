"""What a good operator does with a machine that is known: the ideal run is put together from this.

Each is a generator that acts through `Hands` and yields how long it waits [s]. Its knowledge is the
machine's own closed form: the output that holds a tension, and J a/R on top while the speed
changes. So it is a yardstick, not a way to learn.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from simulator import linearise, operating_point
from simulator.torque_devices import FrictionBrake

if TYPE_CHECKING:
    from tuning.practice.hands import Hands

# It looks at the machine so long before it acts [s].
LOOK = 2.0
# After a move it waits for the slowest motion to die down to a twentieth, within limits [s].
SHORTEST_WAIT, LONGEST_WAIT = 3.0, 15.0
# From rest to crawl it takes so many times as long as the line could [-].
SOFTLY = 2.0


def settle(hands: Hands) -> Iterator[float]:
    """Wait until the tension has come to rest."""
    device = hands.practice.start.scenario.torque_device
    speed = max(hands.line_speed, hands.practice.start.scenario.run.crawl_speed)
    plant = linearise(hands.practice.start.scenario, diameter=hands.diameter, line_speed=speed)
    wait = device.dead_time + 3.0 * plant.slowest_time
    yield min(max(wait, SHORTEST_WAIT), LONGEST_WAIT)


def put_output(hands: Hands, output: float) -> Iterator[float]:
    """Bring the brake or clutch to an output; one that sticks is moved away from it first.

    Args:
        hands: on the machine.
        output: to come to [%].
    """
    device = hands.practice.start.scenario.torque_device
    sticking = device.sticking if isinstance(device, FrictionBrake) else 0.0
    if sticking > 0.0:
        away = 1.5 * sticking
        hands.do("output", output + away if output < 50.0 else output - away)
        yield 0.2
    hands.do("output", output)


def trim(hands: Hands) -> Iterator[float]:
    """Take out what is left of the error, once the tension is at rest; not twice the same error."""
    point = operating_point(
        hands.practice.start.scenario,
        diameter=hands.diameter,
        line_speed=hands.line_speed,
        tension=hands.wanted,
    )
    for _ in range(2):
        yield from settle(hands)
        error = hands.wanted - hands.mean_tension(2.0)
        if abs(error) < 0.01 * hands.wanted:
            return
        yield from put_output(hands, hands.output + error / point.tension_per_percent)


def hand_over(hands: Hands) -> Iterator[float]:
    """Check the controller's settings, make the reading the setpoint, and switch to automatic."""
    k = hands.practice.running.controller
    if not k.tracking:
        hands.do("tracking", 1.0)
    as_tuned = hands.practice.setup.scenario.controller.Kc or 0.0
    if k.Kc != as_tuned:
        hands.do("Kc", as_tuned)
    yield 1.0
    hands.do("setpoint", max(hands.mean_reading(2.0), 0.0))
    yield 0.5
    hands.do("automatic")


def run_up(hands: Hands) -> Iterator[float]:
    """Start the line to running speed in manual, with the torque that speeds the roll up."""
    run = hands.practice.start.scenario.run
    device = hands.practice.start.scenario.torque_device
    speed = hands.line_speed
    rate = run.line_speed / run.acceleration_time
    lasts = (run.line_speed - speed) / rate
    late = device.dead_time + device.lag
    hands.do("output", hands.holding_output(line_speed=speed, acceleration=rate))
    yield late
    hands.do("start")
    # What drag the speed adds comes on bit by bit.
    steps = 4
    for step in range(1, steps):
        yield lasts / steps
        at = speed + rate * lasts * step / steps
        hands.do("output", hands.holding_output(line_speed=at, acceleration=rate))
    yield max(lasts / steps - late, 0.1)
    yield from put_output(hands, hands.holding_output())
    yield late + run.ramp_rounding + 0.5


def crawl_from_rest(hands: Hands) -> Iterator[float]:
    """Start a standing, threaded line to crawl, at the output that holds the tension there."""
    run = hands.practice.start.scenario.run
    # Pulled from rest, the web swings to twice the tension of the torque: half of it first.
    some = hands.holding_output(line_speed=run.crawl_speed, tension=0.5 * hands.wanted)
    yield from put_output(hands, some)
    yield LOOK
    lasts = SOFTLY * run.acceleration_time * run.crawl_speed / run.line_speed
    hands.do("line speed", run.crawl_speed, lasts)
    yield lasts + 1.0
    yield from settle(hands)
    yield from put_output(hands, hands.holding_output(line_speed=run.crawl_speed))
    yield from trim(hands)


def bring_up(hands: Hands) -> Iterator[float]:
    """From a standing, threaded line to automatic at running speed."""
    yield from crawl_from_rest(hands)
    yield from run_up(hands)
    yield from trim(hands)
    yield from hand_over(hands)


def wait_for_goal(hands: Hands) -> Iterator[float]:
    """Let the goal hold for as long as it must and a little longer; again if it is spoilt."""
    for _ in range(4):
        yield hands.goal.hold + 4.0
        if hands.held >= hands.goal.hold:
            return
