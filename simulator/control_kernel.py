"""The reading and the controller, compiled: one scan at a time. Signals are in % of range."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.compiled import inlined

Array = NDArray[np.float64]

MANUAL, AUTOMATIC, RELAY = 0, 1, 2

# Where the controller keeps its memory between scans.
INTEGRAL, DERIVATIVE, LAST_READING, LAST_OUTPUT, MODE, SETPOINT, MANUAL_OUTPUT = 0, 1, 2, 3, 4, 5, 6
RELAY_SWING, RELAY_CENTRE, WORKING_SETPOINT, LAST_GAIN, FED, ARMED, RAMPED = 7, 8, 9, 10, 11, 12, 13
HELD, LOW_FOR = 14, 15
CONTROLLER_MEMORY = 16


class Sensor(NamedTuple):
    """What stands between the filtered tension and the reading, as plain numbers."""

    zero: float  # [N]
    drift: float  # of the zero [N/s]
    gain: float  # reading per tension [-]
    resolution: float  # [N], 0: none
    low: float  # least reading [N]
    high: float  # largest reading [N]


class Controller(NamedTuple):
    """Settings of the controller as plain numbers."""

    tension_range: float  # [N]
    scan_time: float  # [s]
    Kc: float
    Ti: float  # [s], inf: no integral action
    Td: float  # [s]
    schedule: Array  # rows (radius [m], Kc, Ti [s], Td [s]), radius rising; none: as above
    filter_ratio: float
    setpoint_weight: float
    deadband: float  # [%]
    output_low: float  # [%]
    output_high: float  # [%]
    output_rate: float  # [%/s], inf: no limit
    setpoint_rate: float  # [%/s], inf: no limit
    feed_per_torque: float  # output that it adds per torque that speeds the roll up [%/(N m)]
    taper: float  # fall of the setpoint [-]
    hyperbolic: bool  # shape of the taper
    core_radius: float  # [m]
    full_radius: float  # [m]
    break_level: float  # [%], -inf: no hold on web break
    break_delay: float  # [s]
    break_output: float  # [%], nan: hold the last output
    tracking: bool
    setpoint_follows: bool
    anti_windup: bool


@inlined
def read(s: Sensor, tension: float, zero: float, dropped: bool) -> float:
    """Return the reading [N] of a filtered tension [N], its noise included, at a zero [N]."""
    reading = s.low if dropped else s.gain * tension + zero
    if s.resolution > 0.0 and not dropped:
        reading = s.resolution * math.floor(reading / s.resolution + 0.5)
    return float(min(max(reading, s.low), s.high))


@inlined
def gains_at(k: Controller, radius: float) -> tuple[float, float, float]:
    """Return (Kc, Ti [s], Td [s]) at a radius [m]: on straight lines between scheduled points."""
    points = k.schedule.shape[0]
    if points == 0:
        return k.Kc, k.Ti, k.Td
    upper = 1
    while upper < points - 1 and radius > k.schedule[upper, 0]:
        upper += 1
    at, lower = k.schedule, upper - 1
    part = min(max((radius - at[lower, 0]) / (at[upper, 0] - at[lower, 0]), 0.0), 1.0)
    return (
        at[lower, 1] + part * (at[upper, 1] - at[lower, 1]),
        at[lower, 2] + part * (at[upper, 2] - at[lower, 2]),
        at[lower, 3] + part * (at[upper, 3] - at[lower, 3]),
    )


@inlined
def tapered(k: Controller, radius: float) -> float:
    """Return the share of the setpoint that a taper leaves at a radius [m].

    Linear 1 - taper (R - Rc)/(Rf - Rc), hyperbolic 1 - taper (R - Rc)/R; see `machine.taper_at`.
    """
    if k.taper == 0.0:
        return 1.0
    over = radius if k.hyperbolic else k.full_radius - k.core_radius
    return 1.0 - k.taper * (radius - k.core_radius) / over


@inlined
def errors(k: Controller, r: float, y: float) -> tuple[float, float]:
    """Return the error [%] outside the deadband, and the one that proportional action sees."""
    error = r - y
    error -= min(max(error, -k.deadband), k.deadband)
    return error, error - (1.0 - k.setpoint_weight) * r


@inlined
def watch_for_break(k: Controller, memory: Array, y: float) -> None:
    """Go to manual and hold the output where the reading [%] has been too low for too long.

    Armed in automatic, once the reading has been above the level there, so that a start from slack
    web is no break; and again after the next switch to automatic.
    """
    if y >= k.break_level:
        memory[LOW_FOR] = 0.0
        if memory[MODE] == AUTOMATIC:
            memory[ARMED] = 1.0
        return
    memory[LOW_FOR] += k.scan_time
    if memory[MODE] == AUTOMATIC and memory[ARMED] > 0.0 and memory[LOW_FOR] > k.break_delay:
        memory[MODE], memory[HELD], memory[ARMED] = MANUAL, 1.0, 0.0
        held = memory[LAST_OUTPUT] if math.isnan(k.break_output) else k.break_output
        memory[MANUAL_OUTPUT] = held


@inlined
def control(k: Controller, memory: Array, reading: float, radius: float, feed: float) -> float:
    """Run one scan of the controller on a reading [N]; return the output [%].

    u = Kc [b r - y] + I - Kc Td dy_f/dt, with I[next] = I + Kc h/Ti (r - y) + h/Tt (u - v), where v
    is the output before its limits (back-calculation; Åström & Hägglund, Advanced PID Control,
    2006, section 3.5, restated from memory) and Tt = Ti, or a scan where that is longer. `feed` [%]
    is added to u, in manual, too, so that it makes no bump at the switch.
    """
    h = k.scan_time
    Kc, Ti, Td = gains_at(k, radius)
    y = 100.0 * reading / k.tension_range
    if Td > 0.0:
        Tf = Td / k.filter_ratio
        rise = Kc * Td * (y - memory[LAST_READING])
        memory[DERIVATIVE] = (Tf * memory[DERIVATIVE] - rise) / (Tf + h)
    else:
        memory[DERIVATIVE] = 0.0
    memory[LAST_READING] = y

    share = tapered(k, radius)
    followed = max(reading, 0.0) / share
    if memory[MODE] == MANUAL and k.setpoint_follows:
        memory[SETPOINT] = followed
    reach = 0.01 * k.tension_range * k.setpoint_rate * h
    memory[RAMPED] += min(max(memory[SETPOINT] - memory[RAMPED], -reach), reach)
    if memory[MODE] == MANUAL and (k.setpoint_follows or k.setpoint_rate < np.inf):
        memory[RAMPED] = followed  # a ramp begins at the reading
    memory[WORKING_SETPOINT] = memory[RAMPED] * share
    r = 100.0 * memory[WORKING_SETPOINT] / k.tension_range
    error, proportional = errors(k, r, y)

    # Scheduled gains move without a bump: the integral term takes what the proportional part gives.
    if memory[MODE] == AUTOMATIC:
        memory[INTEGRAL] += (memory[LAST_GAIN] - Kc) * proportional
    memory[LAST_GAIN] = Kc
    direct = Kc * proportional + memory[DERIVATIVE]

    watch_for_break(k, memory, y)
    if memory[HELD] > 0.0:
        feed = 0.0

    # Limits and rate are the controller's own affair; what is fed forward comes on top, as far as
    # the output goes, and where it drives the output to its end the integral term waits.
    if memory[MODE] == AUTOMATIC:
        wanted = direct + memory[INTEGRAL]
        own = min(max(wanted, k.output_low), k.output_high)
        last, reach = memory[LAST_OUTPUT] - memory[FED], k.output_rate * h
        own = min(max(own, last - reach), last + reach)
        u = min(max(own + feed, k.output_low), k.output_high)
        if Ti < np.inf:
            if not (k.anti_windup and (own + feed - u) * error > 0.0):
                memory[INTEGRAL] += Kc * h / Ti * error
            if k.anti_windup:
                memory[INTEGRAL] += h / max(Ti, h) * (own - wanted)
    else:
        own = memory[MANUAL_OUTPUT]
        if memory[MODE] == RELAY:
            swing = memory[RELAY_SWING] if y < r else -memory[RELAY_SWING]
            own, feed = memory[RELAY_CENTRE] + swing, 0.0
        own = min(max(own, k.output_low), k.output_high)
        u = min(max(own + feed, k.output_low), k.output_high)
        if k.tracking:
            memory[INTEGRAL] = own - direct
    memory[LAST_OUTPUT] = u
    memory[FED] = u - own
    return float(u)
