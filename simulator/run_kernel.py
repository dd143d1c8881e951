"""A whole run, compiled: at each scan the controller, between scans the machine."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from simulator import control_kernel, kernel, web_kernel
from simulator.compiled import inlined, kept
from simulator.control_kernel import (
    AUTOMATIC,
    FED,
    HELD,
    INTEGRAL,
    LAST_OUTPUT,
    MANUAL,
    MANUAL_OUTPUT,
    MODE,
    RELAY,
    RELAY_CENTRE,
    RELAY_SWING,
    SETPOINT,
    WORKING_SETPOINT,
    Controller,
    Sensor,
    control,
    read,
)
from simulator.kernel import CLUTCH, Machine, derivative, roll_inertia, step
from simulator.web_kernel import carry_web, lay_web, thinnest_of

Array = NDArray[np.float64]

SET_OUTPUT, SET_SETPOINT, TO_AUTOMATIC, TO_MANUAL, SET_LINE_SPEED, TO_RELAY = 0, 1, 2, 3, 4, 5
SET_THICKNESS, SET_MODULUS, SET_ZERO, DROP_OUT = 6, 7, 8, 9
BREAK_WEB, THREAD_WEB, NEW_ROLL, SET_PRESET = 10, 11, 12, 13

# One row of a recording; the tensions of the spans follow.
TIME, READING, OUTPUT, SETPOINT_N, LINE_SPEED = 0, 1, 2, 3, 4
DIAMETER, IS_AUTOMATIC, WEB_TENSION, TORQUE, ROLL_SPEED, SLIP = 5, 6, 7, 8, 9, 10
COLUMNS = 11

# What a run leaves besides its recording: times [s], nan where it did not happen.
BROKEN_AT, HELD_AT = 0, 1

# Kinds of web in the zone at one time, at most.
MOST_WEBS = 16

# Where a run keeps what it needs from one scan to the next, besides the state of the machine and
# the controller's memory.
STUCK, PLAYED, BROKEN, ZERO, DROPPED_UNTIL, NIP_ANGLE, WEBS = 0, 1, 2, 3, 4, 5, 6
RAMP_FROM, RAMP_TO, RAMP_START, RAMP_TIME, PRESET, BREAKS = 7, 8, 9, 10, 11, 12
BETWEEN = 13

# Share of the tension range at which a web that has just been threaded is taut [-].
JUST_TAUT = 1e-3
# A rim slower than this stands, for who threads a web [m/s].
REST_SPEED = 0.02


@inlined
def ramp(
    t: float, start: float, end: float, begins: float, lasts: float, rounding: float
) -> tuple[float, float]:
    """Return a ramp's value and slope at time t.

    A straight ramp; with its corners rounded it is the running mean of one over that time, so it
    keeps its slope and ends as much later.
    """
    if lasts <= 0.0 or t >= begins + lasts + rounding:
        return end, 0.0
    x = max(t - begins, 0.0)
    if rounding <= 0.0:
        return start + (end - start) * x / lasts, (end - start) / lasts
    behind = max(x - rounding, 0.0)
    part = (gone(x, lasts) - gone(behind, lasts)) / rounding
    slope = (min(x / lasts, 1.0) - behind / lasts) / rounding
    return start + (end - start) * part, (end - start) * slope


@inlined
def gone(x: float, lasts: float) -> float:
    """Return the integral of a straight ramp from 0 to 1."""
    return 0.5 * x * x / lasts if x < lasts else x - 0.5 * lasts


@inlined
def rests(state: Array, N: int) -> bool:
    """Return whether the rim of the roll stands still."""
    return bool(abs(state[N]) * state[2 * N + 2] < REST_SPEED)


@inlined
def forces_now(
    m: Machine,
    state: Array,
    direction: NDArray[np.int64],
    command: float,
    line_speed: float,
    broken: bool,
    web: Array,
    work: Array,
    forces: Array,
) -> float:
    """Fill `forces` at a scan; return the device torque [N m].

    Not in the loop itself, because the loop then takes half a second longer to compile.
    """
    rate = work[:, 0]
    return derivative(m, state, direction, command, line_speed, broken, web, rate, forces)


def run(
    m: Machine,
    s: Sensor,
    k: Controller,
    state: Array,
    direction: NDArray[np.int64],
    memory: Array,
    between: Array,
    kinds: Array,
    sent: Array,
    taken: Array,
    noise: Array,
    events: Array,
    pieces: Array,
    output_scans: int,
    reading_scans: int,
    record_every: int,
    first: int,
    record: Array,
    happened: Array,
) -> None:
    """Run len(noise) scans from scan `first` on, filling `record` and the times in `happened` [s].

    A row of `events` is (scan, kind, value, time it takes [s]), in the order of scans, which are
    counted from the start of the whole run.
    Each scan is cut into pieces where the delayed output changes (before it the older output acts,
    after it the newer) and where the delayed reading is taken, so both dead times are exact. A row
    of `pieces` is (time [s], steps, whether the newer output acts, whether its end is a reading).
    An output is `sent` and a reading `taken` as many scans ahead as its dead time has whole scans;
    so the first output_scans + 1 and reading_scans + 1 of them are from before, the rest is filled.
    `state`, `direction`, `memory`, `between` and `kinds` are advanced in place.
    """
    n, N = state.size, m.line.shape[1]
    _run(
        m, s, k, state, direction, memory, between, kinds, sent, taken, noise, events, pieces,
        output_scans, reading_scans, record_every, first, record, happened,
        np.zeros((3, N)), np.zeros((n, 4)), np.zeros(n), np.zeros((3, N)),
    )  # fmt: skip


@kept(control_kernel, kernel, web_kernel)
def _run(
    m: Machine,
    s: Sensor,
    k: Controller,
    state: Array,
    direction: NDArray[np.int64],
    memory: Array,
    between: Array,
    kinds: Array,
    sent: Array,
    taken: Array,
    noise: Array,
    events: Array,
    pieces: Array,
    output_scans: int,
    reading_scans: int,
    record_every: int,
    first: int,
    record: Array,
    happened: Array,
    web: Array,
    work: Array,
    trial: Array,
    forces: Array,
) -> None:
    """Do what `run` says, in arrays that it made."""
    N = m.line.shape[1]
    scans = noise.size
    stuck, played, broken = between[STUCK], between[PLAYED], between[BROKEN] > 0.0
    zero, dropped_until = between[ZERO], between[DROPPED_UNTIL]
    nip_angle, count = between[NIP_ANGLE], int(between[WEBS])
    ramp_from, ramp_to = between[RAMP_FROM], between[RAMP_TO]
    ramp_start, ramp_time = between[RAMP_START], between[RAMP_TIME]
    lay_web(m, kinds, count, web)
    thinnest = thinnest_of(kinds, count)  # that is where the web breaks
    event, row = 0, 0
    for scan in range(scans):
        t = (first + scan) * k.scan_time
        line_speed, _ = ramp(t, ramp_from, ramp_to, ramp_start, ramp_time, m.ramp_rounding)
        while event < events.shape[0] and events[event, 0] <= first + scan:
            kind, value = int(events[event, 1]), events[event, 2]
            if kind == SET_OUTPUT:
                memory[MANUAL_OUTPUT] = value
            elif kind == SET_SETPOINT:
                memory[SETPOINT] = value
            elif kind == TO_AUTOMATIC:
                memory[MODE], memory[HELD] = AUTOMATIC, 0.0
            elif kind == TO_MANUAL:
                own = memory[LAST_OUTPUT] - memory[FED]
                memory[MANUAL_OUTPUT] = memory[RELAY_CENTRE] if memory[MODE] == RELAY else own
                memory[MODE], memory[HELD] = MANUAL, 0.0
            elif kind == SET_LINE_SPEED:
                ramp_from, ramp_to, ramp_start, ramp_time = line_speed, value, t, events[event, 3]
                if ramp_time <= 0.0:
                    line_speed = value
            elif kind == TO_RELAY:
                memory[MODE] = RELAY
                memory[RELAY_SWING] = value
                memory[RELAY_CENTRE] = memory[LAST_OUTPUT] - memory[FED]
            elif kind in (SET_THICKNESS, SET_MODULUS) and count < MOST_WEBS:
                for i in range(3):
                    kinds[count, i] = kinds[count - 1, i]
                kinds[count, 0] = 0.0
                kinds[count, 2 if kind == SET_THICKNESS else 1] = value
                count += 1
                lay_web(m, kinds, count, web)
                thinnest = thinnest_of(kinds, count)
            elif kind == SET_ZERO:
                zero = value - s.drift * t
            elif kind == DROP_OUT:
                dropped_until = max(dropped_until, t + events[event, 3])
            elif kind == BREAK_WEB:
                broken = True
            elif kind == THREAD_WEB and broken and line_speed <= 0.0 and rests(state, N):
                # By hand, with line and roll at rest, and just taut.
                broken = False
                for i in range(N):
                    state[i] = JUST_TAUT * k.tension_range / web[0, i]
                    state[N + i] = 0.0
                    direction[i] = 0
            elif kind == NEW_ROLL:
                # Brought to the speed of the web before the splice.
                state[N] *= 2.0 * state[2 * N + 2] / value
                state[2 * N + 2] = 0.5 * value
                direction[N] = 1
                # Its own brake or clutch stands ready at the preset, or where the old one was.
                if not math.isnan(between[PRESET]):
                    ready = min(max(between[PRESET], k.output_low), k.output_high)
                    memory[INTEGRAL] += ready - memory[LAST_OUTPUT]
                    memory[MANUAL_OUTPUT] = memory[LAST_OUTPUT] = ready
                    memory[FED] = 0.0
                    stuck = played = state[2 * N] = ready
                    for i in range(output_scans + 1):
                        sent[scan + i] = ready
                    between[PRESET] = math.nan
            elif kind == SET_PRESET:
                between[PRESET] = value
            event += 1

        now, radius = t + 1e-9, state[2 * N + 2]
        _, acceleration = ramp(now, ramp_from, ramp_to, ramp_start, ramp_time, m.ramp_rounding)
        inertia = roll_inertia(m, radius)
        feed = k.feed_per_torque * inertia * acceleration / radius
        noisy = taken[scan] + noise[scan]
        reading = read(s, noisy, zero + s.drift * t, t < dropped_until)
        was = memory[MODE]
        output = control(k, memory, reading, radius, feed)
        if was == AUTOMATIC and memory[MODE] == MANUAL and math.isnan(happened[HELD_AT]):
            happened[HELD_AT] = t
        # The supply stays where it is until the output has gone on by more than its sticking, and
        # follows only where the output leaves a band as wide as its hysteresis.
        if abs(output - stuck) >= m.sticking:
            stuck = output
        played = min(max(played, stuck - 0.5 * m.hysteresis), stuck + 0.5 * m.hysteresis)
        sent[scan + output_scans + 1] = played

        if (first + scan) % record_every == 0:
            v = line_speed * (1.0 + m.nip_unevenness * math.cos(nip_angle))
            torque = forces_now(m, state, direction, sent[scan], v, broken, web, work, forces)
            if m.device == CLUTCH and direction[N] == 0:
                torque += inertia * m.overdrive * acceleration / m.core_radius
            record[row, TORQUE] = torque
            record[row, TIME] = t
            record[row, READING] = reading
            record[row, OUTPUT] = output
            record[row, SETPOINT_N] = memory[WORKING_SETPOINT]
            record[row, LINE_SPEED] = line_speed
            record[row, DIAMETER] = 2.0 * state[2 * N + 2]
            record[row, IS_AUTOMATIC] = 1.0 if memory[MODE] == AUTOMATIC else 0.0
            record[row, WEB_TENSION] = 0.5 * (forces[0, m.cell - 1] + forces[0, m.cell])
            record[row, ROLL_SPEED] = state[N]
            record[row, SLIP] = state[N]
            if m.device == CLUTCH:
                record[row, SLIP] = m.overdrive * line_speed / m.core_radius - state[N]
            for i in range(N):
                record[row, COLUMNS + i] = forces[0, i]
            row += 1

        for piece in range(pieces.shape[0]):
            lasts, steps = pieces[piece, 0], int(pieces[piece, 1])
            command = sent[scan + 1] if pieces[piece, 2] else sent[scan]
            h = lasts / steps
            for i in range(steps):
                now = t + i * h
                r = m.ramp_rounding
                v0, _ = ramp(now, ramp_from, ramp_to, ramp_start, ramp_time, r)
                v1, _ = ramp(now + 0.5 * h, ramp_from, ramp_to, ramp_start, ramp_time, r)
                v2, _ = ramp(now + h, ramp_from, ramp_to, ramp_start, ramp_time, r)
                if m.nip_unevenness > 0.0:
                    turn = v1 * h / m.nip_radius
                    v0 *= 1.0 + m.nip_unevenness * math.cos(nip_angle)
                    v1 *= 1.0 + m.nip_unevenness * math.cos(nip_angle + 0.5 * turn)
                    nip_angle += turn
                    v2 *= 1.0 + m.nip_unevenness * math.cos(nip_angle)
                step(
                    m, state, direction, command, (v0, v1, v2), h, broken, web, work, trial, forces
                )
                if count > 1:
                    count = carry_web(m, state, v2, h, kinds, count)
                    lay_web(m, kinds, count, web)
                    thinnest = thinnest_of(kinds, count)
                if not broken:
                    for span in range(N):
                        if forces[0, span] > thinnest * m.breaking_tension:
                            broken = True
                            between[BREAKS] += 1.0
                            if math.isnan(happened[BROKEN_AT]):
                                happened[BROKEN_AT] = now + h
            t += lasts
            if pieces[piece, 3]:
                taken[scan + 1 + reading_scans] = state[2 * N + 1]
    between[STUCK], between[PLAYED], between[BROKEN] = stuck, played, 1.0 if broken else 0.0
    between[ZERO], between[DROPPED_UNTIL] = zero, dropped_until
    between[NIP_ANGLE], between[WEBS] = nip_angle, count
    between[RAMP_FROM], between[RAMP_TO] = ramp_from, ramp_to
    between[RAMP_START], between[RAMP_TIME] = ramp_start, ramp_time
