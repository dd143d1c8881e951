"""What a change of speed comes to, and what to do about it, in plain words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from simulator.machine import torque_per_percent
from simulator.operating_point import operating_point
from simulator.scenario import Scenario
from simulator.torque_devices import FrictionBrake
from simulator.trend import SLACK_WEB, WEB_BREAK

if TYPE_CHECKING:
    from simulator.speed_change import RampTension, SpeedChange

# A tension error up to this share of the tension needs nothing done about it [-].
SMALL_ERROR = 0.1
# A first swing beyond this share of the tension is worth a warning [-].
HARD_SWING = 0.3
# A device that is late by more than this share of the first swing can do little about it [-].
LATE = 0.5
# Torque that just suffices leaves no room for what the model does not know: more time [-].
MARGIN = 1.15
SAFETY = "only as far as the machine's own stop time for safety, its manual and local codes allow"


def comes_to(tension: RampTension) -> str:
    """Return what a tension comes to in words, such as "the tension falls to 105 N".

    Args:
        tension: that a ramp settles at.
    """
    if tension.lost == SLACK_WEB:
        return "the web goes slack"
    moves = "rises" if tension.error > 0.0 else "falls"
    text = f"the tension {moves} to {tension.tension:.3g} N"
    return f"{text}, and the web breaks" if tension.lost == WEB_BREAK else text


def reason_of(scenario: Scenario, change: SpeedChange) -> str:
    """Return why the device can't hold the tension; empty where it can.

    Args:
        scenario: the machine.
        change: of its speed.
    """
    if math.isinf(change.shortest_time):
        run = scenario.run
        points = [
            operating_point(
                scenario, diameter=change.diameter, line_speed=v, tension=change.tension
            )
            for v in (run.line_speed, run.crawl_speed)
        ]
        worst = min(points, key=lambda point: point.reachable)
        return (
            f"even at a constant {worst.line_speed:.3g} m/s the tension is out of reach: "
            f"{worst.reason}"
        )
    if change.has_torque:
        return ""
    c = scenario.controller
    what = (
        f"a {change.kind} in {change.time:.3g} s takes {change.torque_needed:.3g} N m at the roll"
    )
    if change.output_needed > c.output_high:
        return (
            f"too little torque: {what}, {c.output_high:.3g} % makes {change.torque_high:.3g} N m"
        )
    return f"too much torque: {what}, {c.output_low:.3g} % still makes {change.torque_low:.3g} N m"


def what_to_do(scenario: Scenario, change: SpeedChange) -> str:
    """Return what to do about a change of speed: a sentence without its capital and full stop.

    Args:
        scenario: the machine.
        change: that is to be made.
    """
    held, compensated, T = change.held, change.compensated, change.tension
    if math.isinf(change.shortest_time):
        return "first find a tension, or a device, that holds at constant speed"
    if not change.has_torque:
        same = bool(held.lost) and held.lost == compensated.lost
        then = "it does so, too" if same else comes_to(compensated)
        if not compensated.lost and change.swing_lost and _too_late(scenario, change):
            lost = "goes slack" if change.swing_lost == SLACK_WEB else "breaks"
            then = f"it still {lost} before the tension could settle at {compensated.tension:.3g} N"
        least = MARGIN * change.least_time
        # At the same top rate a ramp with rounded corners takes as much longer as they last.
        corner = max(corner_time(scenario, change) - scenario.run.ramp_rounding, 0.0)
        rounded = f", and {round_up(corner):g} s on top to round its corners" if corner else ""
        safety = f" ({SAFETY})" if change.kind == "fast stop" else ""
        with_it = (
            f", and with {change.compensation:.3g} % inertia compensation {then}"
            if change.compensation
            else ""
        )
        return (
            f"allow {round_up(least):g} s or more for the {change.kind}{rounded}{safety}, or take "
            f"a device or gear with more reach; in {change.time:.3g} s {comes_to(held)}{with_it}"
        )
    if not held.lost and abs(held.error) <= SMALL_ERROR * T:
        share = 100.0 * abs(held.error) / T
        return f"leave the output where it is: {comes_to(held)}, which is {share:.2g} % off"
    start = (
        f"let the output go from {change.steady_output:.3g} % to {change.output_needed:.3g} % "
        f"while the speed changes; left where it is, {comes_to(held)}"
    )
    if not compensated.lost and abs(compensated.error) <= SMALL_ERROR * T:
        verdict = _does_it(scenario, change)
        return f"{start}. {change.compensation:.3g} % inertia compensation {verdict}"
    if change.compensation == 0.0:
        return f"{start}: that is what inertia compensation does, or else automatic has to"
    if change.compensation < 100.0:
        return (
            f"{start}. {change.compensation:.3g} % inertia compensation is not enough: with it "
            f"{comes_to(compensated)}"
        )
    return (
        f"{start}. Inertia compensation alone does not do it ({comes_to(compensated)}): here "
        "friction, which changes with the speed, counts more than inertia; automatic does the rest"
    )


def warnings_of(scenario: Scenario, change: SpeedChange) -> tuple[str, ...]:
    """Return what else a reader should know about a change of speed.

    Args:
        scenario: the machine.
        change: of its speed.
    """
    found = []
    device = scenario.torque_device
    if corner_time(scenario, change) > 1.05 * scenario.run.ramp_rounding:
        found.append(_swing(scenario, change))
    step = abs(0.01 * change.compensation * change.inertia_torque / torque_per_percent(scenario))
    if step == 0.0 or abs(change.held.error) <= SMALL_ERROR * change.tension:
        return tuple(found)
    play = 0.5 * device.hysteresis + device.sticking if isinstance(device, FrictionBrake) else 0.0
    if step < play:
        found.append(
            f"inertia compensation would move the output by {step:.2g} % only, less than the "
            f"play of the brake's supply ({play:.2g} %): it may not get through"
        )
    return tuple(found)


def corner_time(scenario: Scenario, change: SpeedChange) -> float:
    """Return over how long the corners of the ramp should be rounded [s]; 0 where sharp will do.

    Over one whole swing they leave no swing behind, apart from damping: the mean of a sine over its
    period is 0. And while the acceleration comes up over r, a device that is late by L leaves the
    share L/r of the error without compensation: r so long that this is a swing to be borne.

    Args:
        scenario: the machine.
        change: of its speed.
    """
    if not _swings_hard(change):
        return 0.0
    lag = _late(scenario) * abs(change.inertia_error) / (HARD_SWING * change.tension)
    return max(2.0 * change.half_swing, lag)


def _does_it(scenario: Scenario, change: SpeedChange) -> str:
    """Whether inertia compensation does it, and what the corners have to do with it."""
    corner = corner_time(scenario, change)
    if corner == 0.0:
        return "does it"
    if corner > change.time:
        return (
            f"alone does not do it: the {scenario.torque_device.kind} is too late for a ramp this "
            f"short; take {round_up(corner):g} s or more for it"
        )
    if corner <= 1.05 * scenario.run.ramp_rounding:
        return "does it, with the corners rounded as they are"
    left = min(_late(scenario) / corner, 1.0) * abs(change.inertia_error)
    return (
        f"does it once the corners of the speed ramp are rounded over {round_up(corner):g} s; a "
        f"passing error of about {left:.2g} N stays"
    )


def _swings_hard(change: SpeedChange) -> bool:
    """Whether the corner, were it sharp, would make a swing that matters."""
    return change.half_swing > 0.0 and 2.0 * abs(change.inertia_error) > HARD_SWING * change.tension


def _late(scenario: Scenario) -> float:
    """How far the device is behind its output in a change [s]."""
    return scenario.torque_device.dead_time + scenario.torque_device.lag


def _too_late(scenario: Scenario, change: SpeedChange) -> bool:
    """Whether compensation comes too late for a first swing that matters."""
    return _swings_hard(change) and _late(scenario) > LATE * change.half_swing


def _swing(scenario: Scenario, change: SpeedChange) -> str:
    """What the corner of the ramp does, and for how long it should be rounded."""
    comes = {
        SLACK_WEB: "the web goes slack",
        WEB_BREAK: f"the tension goes to {change.first_swing:.3g} N, and the web breaks,",
        "": f"the tension goes to {change.first_swing:.3g} N",
    }[change.swing_lost]
    settles = "" if change.held.lost else " before it settles"
    text = (
        "where the speed begins to change, the roll swings on the web: with the output held "
        f"{comes}{settles}"
    )
    if _too_late(scenario, change):
        text += (
            f". The {scenario.torque_device.kind} follows {_late(scenario):.2g} s late and that "
            f"swing takes {change.half_swing:.2g} s: inertia compensation does little against it, "
            "and makes the same swing the other way where the change ends"
        )
    whole = round_up(corner_time(scenario, change))
    return f"{text}. Round the corners of the speed ramp, over {whole:g} s or longer"


def round_up(time: float) -> float:
    """Return a time to two digits that is not below the true one [s].

    Args:
        time: to round [s], above 0.
    """
    step = 10.0 ** (math.floor(math.log10(time)) - 1)
    return float(f"{math.ceil(time / step - 1e-9) * step:.6g}")
