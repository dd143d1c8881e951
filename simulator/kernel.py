"""The compiled kernel: web, roll, torque device, load cell and controller, advanced together.

Everything that runs inside a simulation stands in this one file, because the compiler's cache does
not notice an edit in another one. All values are SI, except output and controller signals [%].

State, for N spans in the order in which the web flows through them:

    0 … N-1       strain of each span [-]; below zero it is the slack that must be taken up first
    N             speed of the roll [rad/s], positive as the web runs
    N+1 … 2N-1    speed of each roller between spans [rad/s]
    2N            output that the torque device has reached, behind its lag [%]
    2N+1          tension behind the load cell's filter [N]
    2N+2          radius of the roll [m]
    2N+3          angle of the roll [rad]

Web: the unstretched length L/(1 + e) in a span changes by what flows in less what flows out, and
the flow over a roller of surface speed s is s/(1 + e_up). This is

    de/dt = (1 + e)/L [ v2 - v1 (1 + e)/(1 + e1) ]

and holds for a web that runs backwards, too, once "up" means where the web comes from.
Tension is T = A (E e + eta de/dt) on a taut span and 0 on a slack one.

Sticking: a body with dry friction stops for good where its speed crosses zero and the torque that
drives it is below what friction can hold; it starts again when the torque passes that. Checked once
a step, so a resting body rests exactly. The idea is Karnopp's (J. Dyn. Sys. Meas. Control 107,
1985; restated from memory) with the band of "nearly zero speed" shrunk to one step.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

BRAKE, CLUTCH, MOTOR = 0, 1, 2
MANUAL, AUTOMATIC, RELAY = 0, 1, 2
SET_OUTPUT, SET_SETPOINT, TO_AUTOMATIC, TO_MANUAL, SET_LINE_SPEED, TO_RELAY = 0, 1, 2, 3, 4, 5

# Where the controller keeps its memory between scans.
INTEGRAL, DERIVATIVE, LAST_READING, LAST_OUTPUT, MODE, SETPOINT, MANUAL_OUTPUT = 0, 1, 2, 3, 4, 5, 6
RELAY_SWING, RELAY_CENTRE = 7, 8
CONTROLLER_MEMORY = 9

# One row of a recording; the tensions of the spans follow.
TIME, READING, OUTPUT, SETPOINT_N, LINE_SPEED = 0, 1, 2, 3, 4
DIAMETER, IS_AUTOMATIC, WEB_TENSION, TORQUE, ROLL_SPEED = 5, 6, 7, 8, 9
COLUMNS = 10


class Machine(NamedTuple):
    """One machine as plain numbers; arrays run along the web, N spans and N-1 rollers between."""

    roll_first: bool  # the web leaves the roll (unwind), else it arrives there
    length: Array  # of each span [m]
    stiffness: float  # A E of the web [N]
    retardation: float  # eta/E of the web [s]
    breaking_tension: float  # [N], inf: never
    arriving_strain: float  # of the web that enters the zone [-]
    tension_behind_roll: float  # on the far side of a pull roll [N], else 0
    roller_radius: Array  # [m], N-1
    roller_inertia: Array  # [kg m²], N-1
    roller_drag: Array  # [N m], N-1
    cell: int  # the load cell's roller lies between spans cell-1 and cell
    core_radius: float  # [m]
    full_radius: float  # [m]
    core_inertia: float  # of what turns with an empty roll [kg m²]
    web_inertia: float  # pi/2 rho width [kg/m²]: times R⁴ - Rc⁴ it is the wound web's inertia
    thickness: float  # [m]
    runout: float  # [m]
    bearing_drag: float  # [N m]
    viscous_drag: float  # [N m s]
    device: int  # BRAKE, CLUTCH or MOTOR
    gear: float  # torque at the roll per torque of the device [-]
    residual_torque: float  # of the device at 0 % [N m]
    full_torque: float  # of the device at 100 % [N m]
    lag: float  # of the device [s]
    breakaway: float  # torque at rest over torque sliding [-]
    stribeck_speed: float  # of the device [rad/s]
    hysteresis: float  # full width of the play in the supply [%]
    overdrive: float  # clutch: speed of the driven side over that of the bare core [-]
    filter_time: float  # of the load cell [s]
    time_compression: float  # how much faster the roll builds up than it should; 0 holds it


class Controller(NamedTuple):
    """Settings of the controller as plain numbers."""

    tension_range: float  # [N]
    scan_time: float  # [s]
    Kc: float
    Ti: float  # [s], inf: no integral action
    Td: float  # [s]
    filter_ratio: float
    setpoint_weight: float
    output_low: float  # [%]
    output_high: float  # [%]
    output_rate: float  # [%/s], inf: no limit
    tracking: bool
    setpoint_follows: bool
    anti_windup: bool
    signal_low: float  # [N]
    signal_high: float  # [N]


@njit(cache=True, error_model="numpy", nogil=True)
def ramp(t: float, start: float, end: float, begins: float, lasts: float) -> float:
    """Return a straight ramp's value at time t."""
    if lasts <= 0.0 or t >= begins + lasts:
        return end
    return start + (end - start) * max(t - begins, 0.0) / lasts


@njit(cache=True, error_model="numpy", nogil=True)
def roll_inertia(m: Machine, radius: float) -> float:
    """Return the moment of inertia [kg m²] of the roll and what turns with it at a radius [m]."""
    return m.core_inertia + m.web_inertia * (radius**4 - m.core_radius**4)


@njit(cache=True, error_model="numpy", nogil=True)
def device_torque(m: Machine, output: float) -> float:
    """Return the torque [N m] at the roll that an output [%] asks of the device, behind its lag."""
    return m.gear * (m.residual_torque + (m.full_torque - m.residual_torque) * output / 100.0)


@njit(cache=True, error_model="numpy", nogil=True)
def derivative(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    command: float,
    line_speed: float,
    broken: bool,
    rate: Array,
    forces: Array,
) -> float:
    """Fill `rate` [state/s] and `forces`; return the device torque at the roll [N m].

    `direction` is the way each body slides (+1, -1) or 0 where it sticks; index 0 is the roll,
    index j the roller at station j, index N a clutch's driven side against the roll. The rows of
    `forces`, shape (3, N): tension of each span [N], torque on each body without its dry friction
    [N m], dry friction it has at rest [N m].
    """
    N = m.length.size
    tension, drive, hold = forces
    omega = state[N]
    radius = state[2 * N + 2]
    arm = radius + m.runout * np.cos(state[2 * N + 3])

    upstream_flow = 0.0
    for j in range(N + 1):
        if (j == 0) == m.roll_first and (j == 0 or j == N):
            speed = arm * omega
        elif j == 0 or j == N:
            speed = line_speed
        else:
            speed = m.roller_radius[j - 1] * state[N + j]
        if speed >= 0.0:
            strain = m.arriving_strain if j == 0 else state[j - 1]
        else:
            strain = state[j] if j < N else state[N - 1]
        flow = speed / (1.0 + max(strain, 0.0))
        if j > 0:
            e = state[j - 1]
            rate[j - 1] = (1.0 + e) ** 2 / m.length[j - 1] * (flow - upstream_flow)
            pull = m.stiffness * (e + m.retardation * rate[j - 1])
            tension[j - 1] = 0.0 if broken or e <= 0.0 else max(pull, 0.0)
        upstream_flow = flow

    for j in range(1, N):
        drive[j] = m.roller_radius[j - 1] * (tension[j] - tension[j - 1])
        hold[j] = m.roller_drag[j - 1]
        slide = direction[j] * m.roller_drag[j - 1]
        rate[N + j] = (drive[j] - slide) / m.roller_inertia[j - 1] if direction[j] != 0 else 0.0

    torque = device_torque(m, state[2 * N])
    if m.roll_first:
        web_torque = arm * tension[0]
    else:
        web_torque = -arm * (tension[N - 1] - m.tension_behind_roll)
    drive[0] = web_torque - m.viscous_drag * omega
    hold[0] = m.bearing_drag
    sliding = m.bearing_drag
    if m.device == BRAKE:
        torque = max(torque, 0.0)
        hold[0] += torque * m.breakaway
        if m.breakaway > 1.0:
            ratio = m.gear * omega / m.stribeck_speed
            torque *= 1.0 + (m.breakaway - 1.0) * np.exp(-ratio * ratio)
        sliding += torque
        torque *= direction[0]
    elif m.device == CLUTCH:
        torque = max(torque, 0.0)
        driven = m.overdrive * line_speed / m.core_radius
        if driven > 0.0 and direction[N] == 0:
            # Locked to its driven side: it passes what keeps the roll at that speed.
            torque = direction[0] * m.bearing_drag - drive[0]
            drive[0] += torque
        elif driven > 0.0:
            torque *= direction[N]
            drive[0] += torque
        else:
            # The driven side stands still: the clutch holds the roll like a brake.
            hold[0] += torque
            sliding += torque
            torque *= -direction[0]
    elif m.roll_first:
        drive[0] -= torque
    else:
        drive[0] += torque
    if direction[0] == 0 and hold[0] > m.bearing_drag:
        # Held at rest: the device gives what the bearings leave to it.
        held = max(abs(drive[0]) - m.bearing_drag, 0.0)
        torque = held if (drive[0] > 0.0) == m.roll_first else -held
    inertia = roll_inertia(m, radius)
    rate[N] = (drive[0] - direction[0] * sliding) / inertia if direction[0] != 0 else 0.0

    rate[2 * N] = (command - state[2 * N]) / m.lag
    seen = 0.5 * (tension[m.cell - 1] + tension[m.cell])
    rate[2 * N + 1] = (seen - state[2 * N + 1]) / m.filter_time
    growth = m.time_compression * m.thickness * omega / (2.0 * np.pi)
    if m.roll_first:
        growth = -growth
    if (growth < 0.0 and radius <= m.core_radius) or (growth > 0.0 and radius >= m.full_radius):
        growth = 0.0
    rate[2 * N + 2] = growth
    rate[2 * N + 3] = omega
    return float(torque)


@njit(cache=True, error_model="numpy", nogil=True)
def step(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    command: float,
    speeds: tuple[float, float, float],
    h: float,
    broken: bool,
    work: Array,
    forces: Array,
) -> float:
    """Advance `state` by one Runge–Kutta step of fourth order, in place; return the torque [N m].

    `speeds` is the line speed at the start, middle and end of the step. Friction keeps its
    direction within the step, so the right-hand side is smooth there.
    """
    N = m.length.size
    k1, k2, k3, k4, trial = work
    _, drive, hold = forces
    torque = derivative(m, state, direction, command, speeds[0], broken, k1, forces)
    released = False
    for j in range(N):
        if direction[j] == 0 and abs(drive[j]) > hold[j]:
            direction[j] = 1 if drive[j] > 0.0 else -1
            released = True
    if released:
        torque = derivative(m, state, direction, command, speeds[0], broken, k1, forces)
    trial[:] = state + 0.5 * h * k1
    derivative(m, trial, direction, command, speeds[1], broken, k2, forces)
    trial[:] = state + 0.5 * h * k2
    derivative(m, trial, direction, command, speeds[1], broken, k3, forces)
    trial[:] = state + h * k3
    derivative(m, trial, direction, command, speeds[2], broken, k4, forces)
    state += h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
    for j in range(N):
        if state[N + j] * direction[j] < 0.0:
            if abs(drive[j]) <= hold[j]:
                state[N + j] = 0.0
                direction[j] = 0
            else:
                direction[j] = -direction[j]
    if m.device == CLUTCH:
        slip_clutch(m, state, direction, speeds[2], torque, drive[0])
    return torque


@njit(cache=True, error_model="numpy", nogil=True)
def slip_clutch(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    line_speed: float,
    torque: float,
    drive: float,
) -> None:
    """Lock a clutch where its slip has crossed zero, hold it locked, or let it slip, in place.

    `torque` is what it passed in the step, `drive` the torque on the roll with that [N m].
    """
    N = m.length.size
    most = max(device_torque(m, state[2 * N]), 0.0)
    driven = m.overdrive * line_speed / m.core_radius
    needed = direction[0] * m.bearing_drag - (drive - torque)
    if driven <= 0.0:
        direction[N] = 1
    elif direction[N] == 0 and abs(needed) > most:
        direction[N] = 1 if needed > 0.0 else -1
    elif direction[N] == 0:
        state[N] = driven
    elif (driven - state[N]) * direction[N] < 0.0:
        if abs(needed) <= most:
            state[N] = driven
            direction[N] = 0
        else:
            direction[N] = -direction[N]


@njit(cache=True, error_model="numpy", nogil=True)
def control(k: Controller, memory: Array, reading: float) -> float:
    """Run one scan of the controller on a reading [N]; return the output [%].

    u = Kc [b r - y] + I - Kc Td dy_f/dt, with I[next] = I + Kc h/Ti (r - y) + h/Tt (u - v), where
    v is the output before its limits (back-calculation; Åström & Hägglund, Advanced PID Control,
    2006, section 3.5, restated from memory) and Tt = Ti, or a scan where that is longer.
    """
    h = k.scan_time
    y = 100.0 * reading / k.tension_range
    if k.Td > 0.0:
        Tf = k.Td / k.filter_ratio
        rise = k.Kc * k.Td * (y - memory[LAST_READING])
        memory[DERIVATIVE] = (Tf * memory[DERIVATIVE] - rise) / (Tf + h)
    memory[LAST_READING] = y
    if memory[MODE] == MANUAL and k.setpoint_follows:
        memory[SETPOINT] = reading
    r = 100.0 * memory[SETPOINT] / k.tension_range
    direct = k.Kc * (k.setpoint_weight * r - y) + memory[DERIVATIVE]

    if memory[MODE] == AUTOMATIC:
        wanted = direct + memory[INTEGRAL]
        u = min(max(wanted, k.output_low), k.output_high)
        reach = k.output_rate * h
        u = min(max(u, memory[LAST_OUTPUT] - reach), memory[LAST_OUTPUT] + reach)
        if k.Ti < np.inf:
            memory[INTEGRAL] += k.Kc * h / k.Ti * (r - y)
            if k.anti_windup:
                memory[INTEGRAL] += h / max(k.Ti, h) * (u - wanted)
    else:
        if memory[MODE] == RELAY:
            swing = memory[RELAY_SWING] if y < r else -memory[RELAY_SWING]
            u = memory[RELAY_CENTRE] + swing
        else:
            u = memory[MANUAL_OUTPUT]
        u = min(max(u, k.output_low), k.output_high)
        if k.tracking:
            memory[INTEGRAL] = u - direct
    memory[LAST_OUTPUT] = u
    return float(u)


@njit(cache=True, error_model="numpy", nogil=True)
def run(
    m: Machine,
    k: Controller,
    state: Array,
    direction: NDArray[np.int64],
    memory: Array,
    noise: Array,
    events: Array,
    pieces: Array,
    output_scans: int,
    reading_scans: int,
    record_every: int,
    line_speed: float,
    first_output: float,
    record: Array,
) -> float:
    """Run len(noise) scans, filling `record`; return the time of a web break [s], or nan.

    A row of `events` is (scan, kind, value, time it takes [s]), in the order of scans.
    Each scan is cut into pieces where the delayed output changes (before it the older output acts,
    after it the newer) and where the delayed reading is taken, so both dead times are exact. A row
    of `pieces` is (time [s], steps, whether the newer output acts, whether its end is a reading).
    `state`, `direction` and `memory` are advanced in place.
    """
    N = m.length.size
    scans = noise.size
    work = np.zeros((5, state.size))
    forces = np.zeros((3, N))
    tension = forces[0]
    sent = np.full(scans + output_scans + 2, first_output)
    taken = np.full(scans + reading_scans + 2, state[2 * N + 1])
    played = first_output
    broken, broken_at = False, np.nan
    ramp_from, ramp_to, ramp_start, ramp_time = line_speed, line_speed, 0.0, 0.0
    event, row = 0, 0
    for scan in range(scans):
        t = scan * k.scan_time
        line_speed = ramp(t, ramp_from, ramp_to, ramp_start, ramp_time)
        while event < events.shape[0] and events[event, 0] <= scan:
            kind, value = int(events[event, 1]), events[event, 2]
            if kind == SET_OUTPUT:
                memory[MANUAL_OUTPUT] = value
            elif kind == SET_SETPOINT:
                memory[SETPOINT] = value
            elif kind == TO_AUTOMATIC:
                memory[MODE] = AUTOMATIC
            elif kind == TO_MANUAL:
                memory[MODE] = MANUAL
                memory[MANUAL_OUTPUT] = memory[LAST_OUTPUT]
            elif kind == SET_LINE_SPEED:
                ramp_from, ramp_to, ramp_start, ramp_time = line_speed, value, t, events[event, 3]
            elif kind == TO_RELAY:
                memory[MODE] = RELAY
                memory[RELAY_SWING] = value
                memory[RELAY_CENTRE] = memory[LAST_OUTPUT]
            event += 1
        if ramp_time <= 0.0:
            line_speed = ramp_to

        reading = min(max(taken[scan] + noise[scan], k.signal_low), k.signal_high)
        output = control(k, memory, reading)
        # The supply follows the output only where it leaves a band as wide as its hysteresis.
        played = min(max(played, output - 0.5 * m.hysteresis), output + 0.5 * m.hysteresis)
        sent[scan + output_scans + 1] = played

        if scan % record_every == 0:
            record[row, TORQUE] = derivative(
                m, state, direction, sent[scan], line_speed, broken, work[0], forces
            )
            record[row, TIME] = t
            record[row, READING] = reading
            record[row, OUTPUT] = output
            record[row, SETPOINT_N] = memory[SETPOINT]
            record[row, LINE_SPEED] = line_speed
            record[row, DIAMETER] = 2.0 * state[2 * N + 2]
            record[row, IS_AUTOMATIC] = 1.0 if memory[MODE] == AUTOMATIC else 0.0
            record[row, WEB_TENSION] = 0.5 * (tension[m.cell - 1] + tension[m.cell])
            record[row, ROLL_SPEED] = state[N]
            record[row, COLUMNS:] = tension
            row += 1

        for piece in range(pieces.shape[0]):
            lasts, steps = pieces[piece, 0], int(pieces[piece, 1])
            command = sent[scan + 1] if pieces[piece, 2] else sent[scan]
            h = lasts / steps
            for i in range(steps):
                now = t + i * h
                speeds = (
                    ramp(now, ramp_from, ramp_to, ramp_start, ramp_time),
                    ramp(now + 0.5 * h, ramp_from, ramp_to, ramp_start, ramp_time),
                    ramp(now + h, ramp_from, ramp_to, ramp_start, ramp_time),
                )
                step(m, state, direction, command, speeds, h, broken, work, forces)
                if not broken and tension.max() > m.breaking_tension:
                    broken, broken_at = True, now + h
            t += lasts
            if pieces[piece, 3]:
                taken[scan + 1 + reading_scans] = state[2 * N + 1]
    return broken_at
