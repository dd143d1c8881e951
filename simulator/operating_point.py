"""Which output holds the wanted tension: the steady state of the whole machine, in closed form.

At rest in the moving frame every strain is constant, so the unstretched flow q is the same
everywhere and everything follows one after the other:

    tension from span to span    T[i+1] = T[i] + drag_i/r_i           (dragging rollers)
    flow                         q = v/(1 + e) at the nip
    rim speed of the roll        R omega = q (1 + e)                  (draw law)
    torque, unwind               tau = R T - drag(omega)
    torque, rewind, pull roll    tau = R (T - T_behind) + drag(omega)
    output                       u = 100 (tau/gear - residual)/(full - residual)

"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from simulator import kernel
from simulator.heat import time_to_heat
from simulator.machine import diameter_range, kernel_machine, running_tension
from simulator.scenario import Scenario
from simulator.web_slip import capstan_limits, tension_ratios

Array = NDArray[np.float64]

# An operating point this close to an end of the output leaves the loop no room [%].
ROOM = 5.0
# A clutch that slips by less than this share of the roll's speed is about to lock [-].
LEAST_SLIP = 0.02
LOCKED = (
    "the clutch can't slip here: its driven side turns no faster than the roll; raise the overdrive"
)


@dataclass(frozen=True)
class SteadyState:
    """Where everything stands when tension is steady.

    Attributes:
        span_tension: in the order of the web's flow, shape (N,) [N].
        strain: in the same order, shape (N,) [-].
        surface_speed: of roll, rollers and nip in the same order, shape (N + 1,) [m/s].
        roll_speed: of the roll [rad/s].
        roll_torque: from the torque device, at the roll [N m].
        output: that makes this torque [%]; may lie outside 0…100.
    """

    span_tension: Array
    strain: Array
    surface_speed: Array
    roll_speed: float
    roll_torque: float
    output: float


@dataclass(frozen=True)
class OperatingPoint:
    """The manual output for a wanted tension, and what surrounds it.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web at the nip [m/s].
        tension: wanted, at the load cell [N].
        output: that holds it in manual [%]; outside the limits where it can't be reached.
        torque: of the torque device [N m].
        roll_torque: the same at the roll, behind the gear [N m].
        roll_speed: of the roll [rad/s].
        slip_power: heat in the torque device; for a motor its mechanical power [W].
        tension_low: tension at the controller's lowest output [N].
        tension_high: tension at the controller's highest output [N].
        tension_per_percent: what one per cent of output is worth [N/%].
        span_tensions: from the roll to the nip, length N [N].
        reachable: whether an output within the limits holds the tension.
        reason: why it can't be reached, or why it sits badly; empty where all is well.
        warnings: what else a reader should know.
    """

    diameter: float
    line_speed: float
    tension: float
    output: float
    torque: float
    roll_torque: float
    roll_speed: float
    slip_power: float
    tension_low: float
    tension_high: float
    tension_per_percent: float
    span_tensions: tuple[float, ...]
    reachable: bool
    reason: str
    warnings: tuple[str, ...] = ()


def steady_state(
    m: kernel.Machine, *, diameter: float, line_speed: float, tension: float
) -> SteadyState:
    """Return the steady state of a machine that holds a tension.

    Args:
        m: the machine as the kernel wants it.
        diameter: of the roll [m].
        line_speed: of the web at the nip [m/s]; at 0 nothing turns and nothing drags.
        tension: at the load cell: the mean of its two sides [N].
    """
    turning = line_speed > 0.0
    N = m.length.size
    rises = m.roller_drag / m.roller_radius if turning else np.zeros(N - 1)
    T = np.concatenate([[0.0], np.cumsum(rises)])
    T += tension - 0.5 * (T[m.cell - 1] + T[m.cell])
    strain = T / m.stiffness
    # Strain of the web as it comes to each station: the roll, the rollers, the nip.
    coming = np.concatenate([[m.arriving_strain], strain])
    flow = line_speed / (1.0 + coming[-1 if m.roll_first else 0])
    speed = flow * (1.0 + coming)
    radius = 0.5 * diameter
    omega = speed[0 if m.roll_first else -1] / radius
    drag = (m.bearing_drag if turning else 0.0) + m.viscous_drag * omega
    if m.roll_first:
        torque = radius * T[0] - drag
    else:
        torque = radius * (T[-1] - m.tension_behind_roll) + drag
    device = torque / (m.gear * sliding_ratio(m, omega))
    output = 100.0 * (device - m.residual_torque) / (m.full_torque - m.residual_torque)
    return SteadyState(T, strain, speed, float(omega), float(torque), float(output))


def sliding_ratio(m: kernel.Machine, omega: float) -> float:
    """Return friction at a speed over friction at high speed [-]: the Stribeck curve.

    Args:
        m: the machine as the kernel wants it.
        omega: speed of the roll [rad/s].
    """
    if m.device != kernel.BRAKE or m.breakaway <= 1.0:
        return 1.0
    return 1.0 + (m.breakaway - 1.0) * math.exp(-((m.gear * omega / m.stribeck_speed) ** 2))


def tension_at(m: kernel.Machine, *, diameter: float, line_speed: float, output: float) -> float:
    """Return the steady tension [N] that an output makes; below zero the web would go slack.

    Args:
        m: the machine as the kernel wants it.
        diameter: of the roll [m].
        line_speed: of the web at the nip [m/s].
        output: of the controller [%].
    """

    def excess(tension: float) -> float:
        state = steady_state(m, diameter=diameter, line_speed=line_speed, tension=tension)
        return state.output - output

    torque = kernel.device_torque(m, output)
    # Friction and the stretch of the web move the tension only a little from torque over radius.
    drags = abs(m.bearing_drag) + m.viscous_drag * 4.0 * line_speed / diameter
    span = m.breakaway * abs(torque) + drags
    slack = float(np.sum(m.roller_drag / m.roller_radius)) + m.tension_behind_roll
    high = 2.0 * (span / (0.5 * diameter) + slack) + 1.0
    # Far below zero strain the draw law has no meaning; the search stays where 1 + e > 0.
    low = max(-high, -0.5 * m.stiffness)
    if excess(low) >= 0.0:
        return low
    while excess(high) < 0.0:  # a stretched web turns the roll faster, which drags more
        high *= 2.0
    return float(brentq(excess, low, high, xtol=1e-9 * high))


def operating_point(
    scenario: Scenario,
    *,
    diameter: float,
    line_speed: float | None = None,
    tension: float | None = None,
) -> OperatingPoint:
    """Return the manual output that holds a tension at a diameter and a speed.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        line_speed: of the web at the nip, above 0 [m/s]; the running speed if left out.
        tension: wanted at the load cell [N]; the running tension, tapered, if left out.

    Raises:
        ValueError: the diameter is not on this roll, or speed or tension is not above 0.
    """
    v = scenario.run.line_speed if line_speed is None else line_speed
    T = running_tension(scenario, diameter) if tension is None else tension
    check_diameter(scenario, diameter)
    if not (v > 0.0 and math.isfinite(v)):
        raise ValueError(f"line_speed {v} m/s: must be above 0 m/s; a standing web has no draw")
    if not (T > 0.0 and math.isfinite(T)):
        raise ValueError(f"tension {T} N: must be above 0 N")
    m = kernel_machine(scenario, runout=False)
    state = steady_state(m, diameter=diameter, line_speed=v, tension=T)
    c = scenario.controller
    low = tension_at(m, diameter=diameter, line_speed=v, output=c.output_low)
    high = tension_at(m, diameter=diameter, line_speed=v, output=c.output_high)
    slip = _slip(m, state.roll_speed, v)
    # A brake or clutch that would have to drive the other way makes no torque, and no heat.
    drives = m.device == kernel.MOTOR
    power = abs(state.roll_torque * slip) if drives else max(state.roll_torque, 0.0) * abs(slip)
    locked = m.device == kernel.CLUTCH and slip <= 0.0
    reachable = c.output_low <= state.output <= c.output_high and not locked
    span_tensions = state.span_tension if m.roll_first else state.span_tension[::-1]
    return OperatingPoint(
        diameter=diameter,
        line_speed=v,
        tension=T,
        output=state.output,
        torque=state.roll_torque / m.gear,
        roll_torque=state.roll_torque,
        roll_speed=state.roll_speed,
        slip_power=power,
        tension_low=low,
        tension_high=high,
        tension_per_percent=(high - low) / (c.output_high - c.output_low),
        span_tensions=tuple(float(x) for x in span_tensions),
        reachable=reachable,
        reason=LOCKED if locked else _reason(scenario, state.output, low=low, high=high, tension=T),
        warnings=_warnings(scenario, m, state, slip=slip, power=power),
    )


def check_diameter(scenario: Scenario, diameter: float) -> None:
    """Refuse a diameter that the roll never has.

    Args:
        scenario: the machine.
        diameter: of the roll [m].

    Raises:
        ValueError: it is not between core and full roll.
    """
    low, high = diameter_range(scenario)
    if not low * (1.0 - 1e-9) <= diameter <= high * (1.0 + 1e-9):
        raise ValueError(
            f"diameter {1000 * diameter:.4g} mm: must lie between {1000 * low:.4g} mm and "
            f"{1000 * high:.4g} mm on this machine"
        )


def _slip(m: kernel.Machine, omega: float, line_speed: float) -> float:
    """Speed difference across the device, seen at the roll [rad/s]."""
    if m.device == kernel.CLUTCH:
        return m.overdrive * line_speed / m.core_radius - omega
    return omega


def _reason(scenario: Scenario, output: float, *, low: float, high: float, tension: float) -> str:
    c = scenario.controller
    if output < c.output_low:
        return (
            f"too much torque: at {c.output_low:.3g} % the tension is still {low:.3g} N, "
            f"above the wanted {tension:.3g} N; a smaller device or less gear would reach it"
        )
    if output > c.output_high:
        return (
            f"too little torque: {c.output_high:.3g} % makes only {high:.3g} N of the wanted "
            f"{tension:.3g} N; it takes more torque or more gear"
        )
    if output < c.output_low + ROOM:
        return (
            f"reached at {output:.2g} %, close to the bottom of the output: the loop can hardly "
            f"lower the tension (to {max(low, 0.0):.3g} N at the least)"
        )
    if output > c.output_high - ROOM:
        return (
            f"reached at {output:.3g} %, close to the top of the output: the loop can hardly "
            f"raise the tension (to {high:.3g} N at the most)"
        )
    return ""


def _how_long(scenario: Scenario, power: float) -> str:
    time = time_to_heat(scenario, power)
    if math.isnan(time):
        return "long"
    return f"over {time:.2g} s" if time < 100.0 else f"over {time / 60.0:.2g} min"


def _warnings(
    scenario: Scenario, m: kernel.Machine, state: SteadyState, *, slip: float, power: float
) -> tuple[str, ...]:
    found = []
    heat = scenario.torque_device.continuous_heat
    if heat is not None and power > heat:
        found.append(
            f"{power:.3g} W in the {scenario.torque_device.kind} is more than its continuous "
            f"{heat:.3g} W: it will overheat if it runs here for {_how_long(scenario, power)}"
        )
    spans = state.span_tension if m.roll_first else state.span_tension[::-1]
    limits = capstan_limits(scenario)
    for name, ratio in tension_ratios(scenario, spans[np.newaxis]).items():
        if ratio[0] > limits[name]:
            found.append(
                f"the web slips on {name}: its tensions are {ratio[0]:.4g} to 1, friction holds "
                f"{limits[name]:.4g} to 1; it takes more wrap or more grip"
            )
    if m.device == kernel.CLUTCH and 0.0 < slip < LEAST_SLIP * state.roll_speed:
        found.append("the clutch hardly slips here and may lock: raise the overdrive")
    if state.span_tension.min() <= 0.0:
        found.append("a span goes slack: the rollers drag more than the tension can pull")
    if m.device == kernel.BRAKE and state.roll_torque < 0.0:
        found.append(
            "friction alone makes more than this tension, and a brake can't drive the roll"
        )
    return tuple(found)
