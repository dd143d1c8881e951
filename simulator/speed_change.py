"""What a start, a stop or a fast stop asks of the torque device, and what the tension does in it.

While the line speed changes at a constant rate a, the web must speed the roll up or slow it down.
The inertia of each body then acts like one more dry drag (d'Alembert), J a/R on the roll and
J_i a/r_i on each roller, so that the closed form of the steady state answers for the ramp, too:

    torque, unwind               tau = R T - drag - J a/R
    torque, rewind, pull roll    tau = R (T - T_behind) + drag + J a/R
    tension at another torque    T + (tau_device - tau)/R

Where the output stays where it is, the roll's inertia puts the tension off by J a/R²: on an unwind
it rises while the line speeds up and falls while it slows down, on a rewind the other way round.
Drag that changes with the speed, and the rollers' inertia, come on top. Inertia compensation adds
J a/R to the output; it leaves what is not the roll's inertia, and what the device can't make.

All this is what the tension settles at, while the web moves between crawl and line speed (below
crawl, friction begins to stick). Before it settles, the corner of the ramp makes the roll swing on
the web, at first to 1 + exp(-pi zeta/sqrt(1 - zeta²)) times the error it settles at: nearly twice.
(Overshoot of a second-order step, any control text; where the web itself damps the swing well, its
viscosity adds up to a sixth.) A corner rounded over r leaves |sin(pi r f)/(pi r f)| of that
overshoot, f the frequency of the swing: none where r is one whole swing. (Response of an undamped
oscillator to a ramp-step, any text on shock and vibration; from memory.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from simulator import kernel
from simulator.linearise import linearise
from simulator.machine import (
    kernel_machine,
    roll_inertia,
    running_tension,
    torque_per_percent,
    web_leaves_roll,
)
from simulator.operating_point import SteadyState, check_diameter, sliding_ratio, steady_state
from simulator.plan import Action, speed_ramp
from simulator.scenario import Run, Scenario
from simulator.speed_advice import reason_of, warnings_of, what_to_do
from simulator.trend import SLACK_WEB, WEB_BREAK

Array = NDArray[np.float64]
Kind = Literal["start", "stop", "fast stop"]
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True)
class RampTension:
    """What the tension settles at while the speed changes.

    Attributes:
        output: of the controller, within its limits [%].
        tension: at the load cell, where it is farthest from the wanted one [N]; below 0 the web
            would have to push: it goes slack.
        error: the same less the wanted tension [N].
        lost: "slack web" or "web break" if a span comes to that, else empty.
    """

    output: float
    tension: float
    error: float
    lost: str


@dataclass(frozen=True)
class SpeedChange:
    """What one change of speed asks of the torque device at one diameter.

    Attributes:
        kind: "start", "stop" or "fast stop".
        diameter: of the roll [m].
        tension: wanted, at the load cell [N].
        time: from standstill to line speed, or back [s].
        acceleration: of the web; below 0 where it slows down [m/s²].
        inertia: of the roll and what turns with it [kg m²].
        inertia_torque: J a/R that changes the roll's speed; below 0 where it slows down [N m].
        inertia_error: what that alone does to the tension where the output is held, J a/R² with the
            sign that this zone gives it [N].
        steady_output: that holds the tension before the change begins [%].
        torque_needed: at the roll to hold the tension, where that is hardest [N m].
        output_needed: that makes this torque [%]; may lie outside the limits.
        line_speed: at which that is hardest, line or crawl speed [m/s].
        torque_low: at the roll at the lowest output [N m].
        torque_high: at the roll at the highest output [N m].
        has_torque: whether the device holds the tension all the way.
        held: tension where the output stays at `steady_output`.
        compensated: tension where inertia compensation is added, as far as the output goes.
        compensation: share of the roll's inertia torque that is added there [%].
        first_swing: tension that the first swing reaches where the output is held [N].
        swing_lost: "slack web" or "web break" if the first swing comes to that, else empty.
        half_swing: time from the corner of the ramp to that [s]; 0 where nothing swings.
        shortest_time: standstill to line speed, or back, in which the torque just suffices to hold
            the tension [s]; inf where it does not at constant speed.
        follow_time: in which the device has made 95 % of a step of output [s]; a change that is
            over sooner is over before the device has answered.
        reason: why the device can't hold the tension; empty where it can.
        advice: what to do, without capital and full stop.
        warnings: what else a reader should know.
    """

    kind: Kind
    diameter: float
    tension: float
    time: float
    acceleration: float
    inertia: float
    inertia_torque: float
    inertia_error: float
    steady_output: float
    torque_needed: float
    output_needed: float
    line_speed: float
    torque_low: float
    torque_high: float
    has_torque: bool
    held: RampTension
    compensated: RampTension
    compensation: float
    first_swing: float
    swing_lost: str
    half_swing: float
    shortest_time: float
    follow_time: float
    reason: str = ""
    advice: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def least_time(self) -> float:
        """Time for which the torque suffices and in which the device can answer [s]."""
        return max(self.shortest_time, self.follow_time)


def with_time(scenario: Scenario, kind: Kind, time: float) -> Scenario:
    """Return the machine with another time for one change of speed.

    Args:
        scenario: the machine.
        kind: "start", "stop" or "fast stop".
        time: from standstill to line speed, or back [s].

    Raises:
        ValueError: the kind is unknown, or a scenario can't have this time.
    """
    _check_kind(kind)
    if not 0.01 <= time <= 7200.0:
        raise ValueError(f"time {time} s: must lie between 0.01 s and 7200 s")
    run = scenario.run
    usual_stop = run.deceleration_time or run.acceleration_time
    changed: dict[Kind, Run] = {
        "start": replace(run, acceleration_time=time, deceleration_time=usual_stop),
        "stop": replace(run, deceleration_time=time),
        "fast stop": replace(run, stop_time=time),
    }
    return replace(scenario, run=changed[kind], source="")


def with_rounding(scenario: Scenario, rounding: float) -> Scenario:
    """Return the machine with other corners to its ramps of line speed.

    Args:
        scenario: the machine.
        rounding: time over which a corner is rounded [s].

    Raises:
        ValueError: a scenario can't have this time.
    """
    if not 0.0 <= rounding <= 600.0:
        raise ValueError(f"rounding {rounding} s: must lie between 0 s and 600 s")
    return replace(scenario, run=replace(scenario.run, ramp_rounding=rounding), source="")


def rate_of(scenario: Scenario, kind: Kind) -> tuple[float, float]:
    """Return the acceleration [m/s²] and the time from standstill to line speed, or back [s].

    Args:
        scenario: the machine.
        kind: "start", "stop" or "fast stop".

    Raises:
        ValueError: the kind is unknown.
    """
    _check_kind(kind)
    start = 0.0 if kind == "start" else scenario.run.line_speed
    target, time = speed_ramp(scenario, Action(0.0, kind), start)
    # Corners longer than the ramp leave no straight part, and make the ramp as long as they are.
    return (target - start) / max(time, scenario.run.ramp_rounding), time


def ramp_state(
    m: kernel.Machine, *, diameter: float, line_speed: float, tension: float, acceleration: float
) -> SteadyState:
    """Return where everything stands while a machine holds its tension in a ramp of speed.

    Args:
        m: the machine as the kernel wants it.
        diameter: of the roll [m].
        line_speed: of the web at the nip, above 0 [m/s].
        tension: at the load cell [N].
        acceleration: of the web [m/s²].
    """
    line = m.line.copy()
    inertia, radius = line[kernel.ROLLER_INERTIA, :-1], line[kernel.ROLLER_RADIUS, :-1]
    line[kernel.ROLLER_DRAG, :-1] += inertia * acceleration / radius
    on_roll = kernel.roll_inertia(m, 0.5 * diameter) * acceleration / (0.5 * diameter)
    dragging = m._replace(line=line, bearing_drag=m.bearing_drag + on_roll)
    return steady_state(dragging, diameter=diameter, line_speed=line_speed, tension=tension)


def tension_in_ramp(
    m: kernel.Machine, state: SteadyState, *, diameter: float, tension: float, output: float
) -> float:
    """Return the tension [N] that an output makes in a ramp; below 0 the web goes slack.

    Args:
        m: the machine as the kernel wants it.
        state: in which the machine would hold a tension in this ramp.
        diameter: of the roll [m].
        tension: that it would hold [N].
        output: of the controller [%].
    """
    torque = kernel.device_torque(m, output) * sliding_ratio(m, state.roll_speed)
    return tension + (torque - state.roll_torque) / (0.5 * diameter)


def speed_change(
    scenario: Scenario,
    kind: Kind = "fast stop",
    *,
    diameter: float,
    tension: float | None = None,
    compensation: float = 100.0,
) -> SpeedChange:
    """Return what a change of speed asks of the torque device, and what the tension does.

    Args:
        scenario: the machine.
        kind: "start" (to line speed), "stop" or "fast stop" (to standstill), each in its own time.
        diameter: of the roll [m].
        tension: wanted at the load cell [N]; the running tension, tapered, if left out.
        compensation: share of the roll's inertia torque that inertia compensation adds [%].

    Raises:
        ValueError: the kind is unknown, the diameter is not on this roll, the tension is not above
            0, or the share is not between 0 and 200 %.
    """
    a, time = rate_of(scenario, kind)
    T = wanted_tension(scenario, diameter, tension=tension)
    check_share(compensation)
    m = kernel_machine(scenario, runout=False)
    c, run, device = scenario.controller, scenario.run, scenario.torque_device
    radius = 0.5 * diameter
    speeds = (run.crawl_speed, run.line_speed)
    states = [
        ramp_state(m, diameter=diameter, line_speed=v, tension=T, acceleration=a) for v in speeds
    ]
    still = [steady_state(m, diameter=diameter, line_speed=v, tension=T) for v in speeds]
    first = 0 if kind == "start" else 1  # of the two speeds, where the change begins
    steady = still[first].output
    inertia = roll_inertia(scenario, diameter)
    # What speeds a roll up takes torque off an unwind's device, and adds to what winds.
    side = -1.0 if web_leaves_roll(scenario) else 1.0
    on_roll = inertia * a / radius
    added = side * 0.01 * compensation * on_roll / torque_per_percent(scenario)

    def settled(state: SteadyState, output: float) -> float:
        return tension_in_ramp(m, state, diameter=diameter, tension=T, output=output)

    def loses(state: SteadyState, at_cell: float) -> str:
        spans = state.span_tension + at_cell - T
        broken = WEB_BREAK if spans.max() > m.breaking_tension else ""
        return SLACK_WEB if spans.min() <= 0.0 else broken

    def settles(wanted: float) -> RampTension:
        output = min(max(wanted, c.output_low), c.output_high)
        found = [settled(state, output) for state in states]
        worst = max(found, key=lambda x: abs(x - T))
        lost = max(loses(state, x) for state, x in zip(states, found, strict=True))
        return RampTension(output, worst, worst - T, lost)

    held = settles(steady)
    overshoot, half_swing = _first_swing(scenario, diameter, speeds[first], T)
    swing = T + (1.0 + overshoot) * (settled(states[first], held.output) - T)
    outputs = [state.output for state in states]
    at = int(np.argmax(outputs) if raises_output(scenario, a) else np.argmin(outputs))
    ratio = sliding_ratio(m, states[at].roll_speed)
    found = SpeedChange(
        kind=kind,
        diameter=diameter,
        tension=T,
        time=time,
        acceleration=a,
        inertia=inertia,
        inertia_torque=on_roll,
        inertia_error=-side * on_roll / radius,
        steady_output=steady,
        torque_needed=states[at].roll_torque,
        output_needed=states[at].output,
        line_speed=speeds[at],
        torque_low=kernel.device_torque(m, c.output_low) * ratio,
        torque_high=kernel.device_torque(m, c.output_high) * ratio,
        has_torque=all(c.output_low <= u <= c.output_high for u in outputs),
        held=held,
        compensated=settles(steady + added),
        compensation=compensation,
        first_swing=swing,
        swing_lost=loses(states[first], swing),
        half_swing=half_swing,
        shortest_time=max(
            _shortest(scenario, s.output, output, max(time, run.ramp_rounding))
            for s, output in zip(still, outputs, strict=True)
        ),
        follow_time=device.dead_time + math.log(20.0) * device.lag,
    )
    reason = reason_of(scenario, found)
    return replace(
        found,
        reason=reason,
        advice=what_to_do(scenario, found),
        warnings=warnings_of(scenario, found),
    )


def wanted_tension(scenario: Scenario, diameter: float, *, tension: float | None) -> float:
    """Return the tension to hold [N]: the one given, else the running tension, tapered.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        tension: at the load cell [N].

    Raises:
        ValueError: the diameter is not on this roll, or the tension is not above 0.
    """
    check_diameter(scenario, diameter)
    T = running_tension(scenario, diameter) if tension is None else tension
    if not (T > 0.0 and math.isfinite(T)):
        raise ValueError(f"tension {T} N: must be above 0 N")
    return T


def check_share(compensation: float) -> None:
    """Refuse a share of inertia compensation that a controller can't have.

    Args:
        compensation: share of the roll's inertia torque [%].

    Raises:
        ValueError: it is not between 0 and 200 %.
    """
    if not 0.0 <= compensation <= 200.0:
        raise ValueError(f"compensation {compensation} %: must lie between 0 and 200 %")


def raises_output(scenario: Scenario, acceleration: float) -> bool:
    """Return whether it takes more output to hold the tension in a ramp than at constant speed.

    Args:
        scenario: the machine.
        acceleration: of the web [m/s²].
    """
    return (acceleration < 0.0) == web_leaves_roll(scenario)


def _check_kind(kind: str) -> None:
    if kind not in KINDS:
        raise ValueError(f"kind {kind!r}: must be one of {', '.join(KINDS)}")


def _shortest(scenario: Scenario, steady: float, needed: float, time: float) -> float:
    """Time at which the output reaches its end [s]: it goes off from steady with 1/time."""
    c = scenario.controller
    if not c.output_low <= steady <= c.output_high:
        return math.inf
    if needed == steady:
        return 0.0
    end = c.output_high if needed > steady else c.output_low
    return math.inf if end == steady else time * (needed - steady) / (end - steady)


def _first_swing(scenario: Scenario, diameter: float, v: float, T: float) -> tuple[float, float]:
    """Overshoot [-] of the roll's swing on the web, and the time to its first end [s]."""
    plant = linearise(scenario, diameter=diameter, line_speed=v, tension=T)
    zeta = plant.damping_ratio
    if zeta >= 1.0:
        return 0.0, 0.0
    root = math.sqrt(1.0 - zeta * zeta)
    half = math.pi / (plant.natural_frequency * root)
    rounded = float(abs(np.sinc(scenario.run.ramp_rounding / (2.0 * half))))
    return rounded * math.exp(-math.pi * zeta / root), half
