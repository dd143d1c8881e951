"""The film unwind's minute with general solvers: scipy scan by scan, python-control in one piece.

Both get the project's own right-hand side, compiled for this one machine, so that what they spend
is theirs: their steps and their Python.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import control
import numpy as np
from film_case import AUTOMATIC_AT, MINUTE, PLAN, Arguments, Array
from numba import njit
from scipy.integrate import solve_ivp

from simulator import control_kernel, kernel, run_kernel, web_kernel
from simulator.scenario import Scenario

PADE_ORDER = 2


def right_hand_side(m: kernel.Machine) -> Callable[..., Array]:
    """Return rates(state, output [%], line speed [m/s]) of a machine whose friction slides."""
    N = m.line.shape[1]
    web = np.zeros((3, N))
    web_kernel.lay_web(m, np.array([[np.inf, 1.0, 1.0]]), 1, web)
    forward = np.ones(N + 1, dtype=np.int64)
    derivative = kernel.derivative

    @njit(error_model="numpy")
    def rates(state: Array, output: float, line_speed: float) -> Array:
        rate, forces = np.zeros(state.size), np.zeros((3, N))
        derivative(m, state, forward, output, line_speed, False, web, rate, forces)
        return rate

    return rates


def weights(state: Array, tolerance: float) -> Array:
    """Return a tolerance for each state in its own size; angles [rad] start at 0."""
    return tolerance * np.where(state == 0.0, 1.0, np.abs(state))


def scan_by_scan(arguments: Arguments) -> Callable[[str, float], Array]:
    """Return run(method, tolerance): the readings of a minute with scipy's solver [N].

    It starts anew where the delayed output changes and where a scan begins, the only places at
    which the right-hand side is not smooth; the controller is called between.
    """
    m, s, k, start, _, start_memory, noise, events, pieces = arguments[:9]
    output_scans, reading_scans, _, start_speed, start_output = arguments[9:14]
    rates = right_hand_side(m)
    N = m.line.shape[1]
    half_play = 0.5 * m.hysteresis

    @njit
    def on_ramp(t: float, state: Array, output: float, v: float, slope: float) -> Array:
        return rates(state, output, v + slope * t)

    def run(method: str, tolerance: float) -> Array:
        state, memory = start.copy(), start_memory.copy()
        atol = weights(state, tolerance)
        sent = [start_output] * (output_scans + 1)
        taken = [float(state[2 * N + 1])] * (reading_scans + 1)
        played, event = start_output, 0
        v0, v1, begins, lasts = start_speed, start_speed, 0.0, 0.0
        readings = np.empty(noise.size)
        for scan in range(noise.size):
            t = scan * k.scan_time
            while event < len(events) and events[event, 0] <= scan:
                _, kind, value, over = events[event]
                if kind == run_kernel.SET_SETPOINT:
                    memory[control_kernel.SETPOINT] = value
                elif kind == run_kernel.TO_AUTOMATIC:
                    memory[control_kernel.MODE] = control_kernel.AUTOMATIC
                elif kind == run_kernel.SET_LINE_SPEED:
                    v0, v1, begins, lasts = v1, value, t, over
                event += 1
            ramping = lasts > 0.0 and t < begins + lasts - 1e-9
            slope = (v1 - v0) / lasts if ramping else 0.0
            v = v0 + slope * (t - begins) if ramping else v1
            readings[scan] = reading = control_kernel.read(s, taken[scan], s.zero, False)
            output = control_kernel.control(k, memory, reading, state[2 * N + 2], 0.0)
            played = min(max(played, output - half_play), output + half_play)
            sent.append(played)
            for length, _, newer, is_reading in pieces:
                command = sent[scan + 1] if newer else sent[scan]
                solution = solve_ivp(
                    on_ramp, (0.0, length), state, method=method, rtol=tolerance, atol=atol,
                    args=(command, v, slope),
                )  # fmt: skip
                state = solution.y[:, -1]
                v += slope * length
                if is_reading:
                    taken.append(float(state[2 * N + 1]))
        return readings

    return run


def in_one_piece(scenario: Scenario, arguments: Arguments) -> Callable[[str, float], Array]:
    """Return run(method, tolerance): filtered tension of a minute with python-control [N].

    The continuous equivalent: the machine, a PI controller with its limits and back-calculation,
    and the dead time as a Padé approximation, as one nonlinear system. The play of the supply is
    left out, which would need events; the controller does not sample.
    """
    m, _, k, start, _, memory, noise = arguments[:7]
    rates = right_hand_side(m)
    n, cell = start.size, 2 * m.line.shape[1] + 1
    start_output = float(arguments[13])
    delay = control.tf2ss(*control.pade(scenario.torque_device.dead_time, PADE_ORDER))
    A, B, C, D = delay.A.copy(), delay.B[:, 0].copy(), delay.C[0].copy(), float(delay.D[0, 0])
    setpoint = float(memory[control_kernel.SETPOINT])
    Kc, Ti, b, low, high = k.Kc, k.Ti, k.setpoint_weight, k.output_low, k.output_high
    per_newton = 100.0 / k.tension_range

    @njit(error_model="numpy")
    def closed_loop(x: Array, r_newton: float, line_speed: float, automatic: float) -> Array:
        r, y = per_newton * r_newton, per_newton * x[cell]
        wanted = Kc * (b * r - y) + x[n]
        limited = min(max(wanted, low), high)
        # The inputs run straight from one scan to the next: so does the switch.
        u = automatic * limited + (1.0 - automatic) * start_output
        dx = np.zeros(x.size)
        under_way = x[n + 1 :]
        dx[:n] = rates(x[:n], (C * under_way).sum() + D * u, line_speed)
        dx[n] = automatic * (Kc * (r - y) + limited - wanted) / Ti
        for i in range(PADE_ORDER):
            dx[n + 1 + i] = (A[i] * under_way).sum() + B[i] * u
        return dx

    def update(t: float, x: Array, u: Array, parameters: dict[str, Any]) -> Array:
        return closed_loop(x, u[0], u[1], u[2])

    system = control.nlsys(
        update, lambda t, x, u, parameters: x[cell : cell + 1],
        inputs=["setpoint", "line_speed", "automatic"], outputs=["tension"],
        states=n + 1 + PADE_ORDER,
    )  # fmt: skip
    time = np.arange(noise.size + 1) * k.scan_time
    assert time[-1] == MINUTE
    step, ramp = PLAN[1], PLAN[2]
    inputs = np.vstack(
        [
            np.where(time < step.at, setpoint, step.value),
            np.interp(time, [ramp.at, ramp.at + ramp.over], [arguments[12], ramp.value]),
            np.where(time < AUTOMATIC_AT, 0.0, 1.0),
        ]
    )
    y = per_newton * start[cell]
    integral = start_output - Kc * (b * per_newton * setpoint - y)
    at_rest = np.linalg.solve(-A, B * start_output)
    x0 = np.concatenate([start, [integral], at_rest])

    def run(method: str, tolerance: float) -> Array:
        response = control.input_output_response(
            system, time, inputs, x0, solve_ivp_method=method,
            solve_ivp_kwargs={"rtol": tolerance, "atol": weights(x0, tolerance)},
        )  # fmt: skip
        return np.ravel(response.outputs)[:-1]

    return run
