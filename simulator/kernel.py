"""The machine's equations, compiled: web, roll, torque device and filter, advanced by a step.

SI, except the output [%]. State, for N spans in the order in which the web flows through them:

    0 … N-1       strain of each span [-]; below zero it is the slack that must be taken up first
    N             speed of the roll [rad/s], positive as the web runs
    N+1 … 2N-1    speed of each roller between spans [rad/s]
    2N            output that the torque device has reached, behind its lag [%]
    2N+1          tension behind the load cell's filter [N]
    2N+2          radius of the roll [m]
    2N+3 … 3N+2   angle of the roll and of each roller [rad]

Web: the unstretched length L/(1 + e) in a span changes by what flows in less what flows out, and
the flow over a roller of surface speed s is s/(1 + e_up). This is

    de/dt = (1 + e)/L [ v2 - v1 (1 + e)/(1 + e1) ]

and holds for a web that runs backwards, too, once "up" means where the web comes from.
Tension is T = A (E e + eta de/dt) on a taut span and 0 on a slack one.

An out-of-round body has the radius r + a cos(angle), as speed of its surface and as lever arm.

Sticking: a body with dry friction stops for good where its speed crosses zero and the torque that
drives it is below what friction can hold; it starts again when the torque passes that. Checked once
a step, so a resting body rests exactly. After Karnopp (J. Dyn. Sys. Meas. Control 107, 1985;
from memory), the band of "nearly zero speed" shrunk to one step.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.compiled import inlined

Array = NDArray[np.float64]

BRAKE, CLUTCH, MOTOR = 0, 1, 2
# Rows of `Machine.line`.
LENGTH, ROLLER_RADIUS, ROLLER_INERTIA, ROLLER_DRAG, ROLLER_RUNOUT = 0, 1, 2, 3, 4


class Machine(NamedTuple):
    """One machine as plain numbers; what varies along the web in one array, which is quicker."""

    roll_first: bool  # the web leaves the roll (unwind), else it arrives there
    line: Array  # along the web, N spans and N-1 rollers between them, shape (5, N); see above
    stiffness: float  # A E of the web [N]
    retardation: float  # eta/E of the web [s]
    breaking_tension: float  # [N], inf: never
    arriving_strain: float  # of the web that enters the zone [-]
    tension_behind_roll: float  # on the far side of a pull roll [N], else 0
    cell: int  # the load cell's roller lies between spans cell-1 and cell
    core_radius: float  # [m]
    full_radius: float  # [m]
    core_inertia: float  # of what turns with an empty roll [kg m²]
    web_inertia: float  # pi/2 rho width [kg/m²]: times R⁴ - Rc⁴ it is the wound web's inertia
    thickness: float  # [m]
    runout: float  # of the roll [m]
    nip_unevenness: float  # runout of the nip's roller over its radius [-]
    nip_radius: float  # [m]
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
    sticking: float  # change of output up to which the supply stays where it is [%]
    overdrive: float  # clutch: speed of the driven side over that of the bare core [-]
    filter_time: float  # of the load cell [s]
    ramp_rounding: float  # time over which the corners of a ramp of line speed are rounded [s]
    time_compression: float  # how much faster the roll builds up than it should; 0 holds it

    @property
    def length(self) -> Array:
        """Of each span along the web [m], shape (N,)."""
        return self.line[LENGTH, :]

    @property
    def roller_radius(self) -> Array:
        """Of each roller along the web [m], shape (N-1,)."""
        return self.line[ROLLER_RADIUS, :-1]

    @property
    def roller_inertia(self) -> Array:
        """Of each roller along the web [kg m²], shape (N-1,)."""
        return self.line[ROLLER_INERTIA, :-1]

    @property
    def roller_drag(self) -> Array:
        """Of each roller along the web [N m], shape (N-1,)."""
        return self.line[ROLLER_DRAG, :-1]


@inlined
def roll_inertia(m: Machine, radius: float) -> float:
    """Return the moment of inertia [kg m²] of the roll and what turns with it at a radius [m]."""
    return m.core_inertia + m.web_inertia * (radius**4 - m.core_radius**4)


@inlined
def device_torque(m: Machine, output: float) -> float:
    """Return the torque [N m] at the roll that an output [%] asks of the device, behind its lag."""
    return m.gear * (m.residual_torque + (m.full_torque - m.residual_torque) * output / 100.0)


@inlined
def surface(m: Machine, state: Array, station: int, line_speed: float, arm: float) -> float:
    """Return the surface speed [m/s] at a station: 0 and N are the ends, between them rollers.

    `arm` is the radius of the roll where the web touches it [m].
    """
    line = m.line
    N = line.shape[1]
    if 0 < station < N:
        lever = line[ROLLER_RADIUS, station - 1]
        if line[ROLLER_RUNOUT, station - 1] > 0.0:
            lever += line[ROLLER_RUNOUT, station - 1] * math.cos(state[2 * N + 3 + station])
        return float(lever * state[N + station])
    if (station == 0) == m.roll_first:
        return float(arm * state[N])
    return line_speed


@inlined
def roll_arm(m: Machine, state: Array) -> float:
    """Return the radius [m] of the roll where the web touches it."""
    radius = state[2 * m.line.shape[1] + 2]
    if m.runout > 0.0:
        radius += m.runout * math.cos(state[2 * m.line.shape[1] + 3])
    return float(radius)


@inlined
def derivative(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    command: float,
    line_speed: float,
    broken: bool,
    web: Array,
    rate: Array,
    forces: Array,
) -> float:
    """Fill `rate` [state/s] and `forces`; return the device torque at the roll [N m].

    `direction` is the way each body slides (+1, -1) or 0 where it sticks; index 0 is the roll,
    index j the roller at station j, index N a clutch's driven side against the roll. `web` is laid
    by `web_kernel.lay_web`. The rows of `forces`, shape (3, N): tension of each span [N], torque on
    each body without its dry friction [N m], dry friction it has at rest [N m]. A locked clutch's
    torque is the one at constant speed: whether its driven side speeds up is not known here.
    """
    line = m.line
    N = line.shape[1]
    omega = state[N]
    arm = roll_arm(m, state)

    upstream_flow = 0.0
    for j in range(N + 1):
        speed = surface(m, state, j, line_speed, arm)
        if speed >= 0.0:
            strain = web[2, 0] if j == 0 else state[j - 1] * web[1, j - 1]
        else:
            strain = state[j] if j < N else state[N - 1]
        flow = speed / (1.0 + max(strain, 0.0))
        if j > 0:
            e = state[j - 1]
            # A broken web is not stretched by what turns on either side of the break.
            taken_in = 0.0 if broken else flow - upstream_flow
            rate[j - 1] = (1.0 + e) ** 2 / line[LENGTH, j - 1] * taken_in
            pull = web[0, j - 1] * (e + m.retardation * rate[j - 1])
            forces[0, j - 1] = 0.0 if broken or e <= 0.0 else max(pull, 0.0)
        upstream_flow = flow

    for j in range(1, N):
        lever = line[ROLLER_RADIUS, j - 1]
        if line[ROLLER_RUNOUT, j - 1] > 0.0:
            lever += line[ROLLER_RUNOUT, j - 1] * math.cos(state[2 * N + 3 + j])
        turning = lever * (forces[0, j] - forces[0, j - 1])
        forces[1, j] = turning
        forces[2, j] = line[ROLLER_DRAG, j - 1]
        slide = direction[j] * line[ROLLER_DRAG, j - 1]
        rate[N + j] = (turning - slide) / line[ROLLER_INERTIA, j - 1] if direction[j] != 0 else 0.0
        rate[2 * N + 3 + j] = state[N + j]

    torque = device_torque(m, state[2 * N])
    behind = 0.0 if broken else m.tension_behind_roll
    pull = forces[0, 0] if m.roll_first else behind - forces[0, N - 1]
    drive = arm * pull - m.viscous_drag * omega
    hold = m.bearing_drag
    sliding = m.bearing_drag
    if m.device == BRAKE:
        torque = max(torque, 0.0)
        hold += torque * m.breakaway
        if m.breakaway > 1.0:
            ratio = m.gear * omega / m.stribeck_speed
            if ratio * ratio < 40.0:  # beyond that it is 1 to the last bit
                torque *= 1.0 + (m.breakaway - 1.0) * math.exp(-ratio * ratio)
        sliding += torque
        torque *= float(direction[0])
    elif m.device == CLUTCH:
        torque = max(torque, 0.0)
        driven = m.overdrive * line_speed / m.core_radius
        if driven > 0.0 and direction[N] == 0:
            # Locked to its driven side: it passes what keeps the roll at that speed.
            torque = float(direction[0]) * m.bearing_drag - drive
            drive += torque
        elif driven > 0.0:
            torque *= float(direction[N])
            drive += torque
        else:
            # The driven side stands still: the clutch holds the roll like a brake.
            hold += torque
            sliding += torque
            torque *= -float(direction[0])
    else:
        push = -torque if m.roll_first else torque
        if not broken:
            drive += push
        elif push * direction[0] < 0.0:
            hold += abs(push)
            sliding += abs(push)
        else:
            # A drive that has lost its web is tripped: it may brake its roll, but not speed it up
            # (common practice, no source).
            torque = 0.0
    if direction[0] == 0 and hold > m.bearing_drag:
        # Held at rest: the device gives what the bearings leave to it.
        held = max(abs(drive) - m.bearing_drag, 0.0)
        torque = held if (drive > 0.0) == m.roll_first else -held
    forces[1, 0] = drive
    forces[2, 0] = hold
    inertia = roll_inertia(m, state[2 * N + 2])
    rate[N] = (drive - direction[0] * sliding) / inertia if direction[0] != 0 else 0.0

    rate[2 * N] = (command - state[2 * N]) / m.lag
    seen = 0.5 * (forces[0, m.cell - 1] + forces[0, m.cell])
    rate[2 * N + 1] = (seen - state[2 * N + 1]) / m.filter_time
    growth = web[2, 1] * omega / (2.0 * np.pi)
    if m.roll_first:
        growth = -growth
    radius = state[2 * N + 2]
    if (growth < 0.0 and radius <= m.core_radius) or (growth > 0.0 and radius >= m.full_radius):
        growth = 0.0
    rate[2 * N + 2] = growth
    locked = m.device == CLUTCH and direction[N] == 0
    if m.time_compression > 1.0 and direction[0] != 0 and not locked:
        # Build-up in fast motion: only life's own share of it has to speed the roll up or down.
        rate[N] -= (1.0 - 1.0 / m.time_compression) * growth * omega / radius
    rate[2 * N + 3] = omega
    return float(torque)


@inlined
def starts_sliding(direction: NDArray[np.int64], forces: Array) -> bool:
    """Let bodies slide that are driven past their friction; return whether there were any."""
    released = False
    for j in range(forces.shape[1]):
        if direction[j] == 0 and abs(forces[1, j]) > forces[2, j]:
            direction[j] = 1 if forces[1, j] > 0.0 else -1
            released = True
    return released


@inlined
def step(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    command: float,
    speeds: tuple[float, float, float],
    h: float,
    broken: bool,
    web: Array,
    work: Array,
    trial: Array,
    forces: Array,
) -> float:
    """Advance `state` by one Runge–Kutta step of fourth order, in place; return the torque [N m].

    `speeds` is the line speed at the start, middle and end of the step. Friction keeps its
    direction within the step, so the right-hand side is smooth there. `work` has a row a state, not
    a stage: else wide loads would wait for the single stores of the moment before.
    """
    N = m.line.shape[1]
    torque, stage, looked = 0.0, 0, False
    for i in range(state.size):
        trial[i] = state[i]
    while stage < 4:
        v, rate = speeds[(stage + 1) // 2], work[:, stage]
        now = derivative(m, trial, direction, command, v, broken, web, rate, forces)
        if stage == 0:
            if not looked and starts_sliding(direction, forces):
                looked = True
                continue
            torque = now
        part = h if stage == 2 else 0.5 * h
        for i in range(state.size):
            trial[i] = state[i] + part * rate[i]
        stage += 1
    for i in range(state.size):
        state[i] += h / 6.0 * (work[i, 0] + 2.0 * work[i, 1] + 2.0 * work[i, 2] + work[i, 3])
    for j in range(N):
        if state[N + j] * direction[j] < 0.0:
            if abs(forces[1, j]) <= forces[2, j]:
                state[N + j], direction[j] = 0.0, 0
            else:
                direction[j] = -direction[j]
    if m.device == CLUTCH:
        slip_clutch(m, state, direction, speeds, h, torque, forces[1, 0])
    return torque


@inlined
def slip_clutch(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    speeds: tuple[float, float, float],
    h: float,
    torque: float,
    drive: float,
) -> None:
    """Lock a clutch where its slip has crossed zero, hold it locked, or let it slip, in place.

    `speeds` is the line speed at the start, middle and end of the step of `h` seconds; `torque` is
    what the clutch passed in it, `drive` the torque on the roll with that [N m].
    """
    N = m.line.shape[1]
    most = max(device_torque(m, state[2 * N]), 0.0)
    driven = m.overdrive * speeds[2] / m.core_radius
    # Locked, the roll must follow its driven side up and down.
    follow = m.overdrive * (speeds[2] - speeds[0]) / (m.core_radius * h)
    needed = roll_inertia(m, state[2 * N + 2]) * follow + torque - drive
    needed += direction[0] * m.bearing_drag
    # … and an instant change of line speed tears it off.
    jump = m.overdrive * speeds[0] / m.core_radius - state[N]
    if driven <= 0.0:
        # A roll that coasts is faster than a driven side that starts again.
        direction[N] = -1 if state[N] > 0.0 else 1
    elif direction[N] == 0 and abs(jump) > 1e-6 * driven:
        direction[N] = 1 if jump > 0.0 else -1
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
