"""The linear plant of a machine at an operating point, in closed form.

The equations of `simulator.kernel` are differentiated by hand at the steady state (friction sliding
forward, roll round, diameter held). For one span and no roller between, with K = A E/L, this is

    T(s)/tau(s) = K R / [ (s + v/L)(J s + b) + K R² ]         (strains small against 1)

so the static gain is close to 1/R, the roll swings on the web at w² = (K R² + b v/L)/J, and
2 zeta w = v/L + b/J plus the web's own damping: damping comes mostly from line speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from simulator import kernel
from simulator.linear_plant import LinearPlant
from simulator.machine import kernel_machine, running_tension
from simulator.operating_point import (
    SteadyState,
    operating_point,
    sliding_ratio,
    steady_state,
)
from simulator.scenario import Scenario

Array = NDArray[np.float64]

# A swing belongs to the roll if this share of its motion is the roll's [-].
LEAST_PART = 0.2


def linearise(
    scenario: Scenario,
    *,
    diameter: float,
    line_speed: float | None = None,
    tension: float | None = None,
) -> LinearPlant:
    """Return the linear plant from output [%] to measured tension [% of range].

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        line_speed: of the web at the nip, above 0 [m/s]; the running speed if left out.
        tension: at the load cell [N]; the running tension, tapered, if left out.

    Raises:
        ValueError: the diameter is not on this roll, or speed or tension is not above 0.
    """
    v = scenario.run.line_speed if line_speed is None else line_speed
    T = running_tension(scenario, diameter) if tension is None else tension
    point = operating_point(scenario, diameter=diameter, line_speed=v, tension=T)
    m = kernel_machine(scenario, runout=False)
    A, B, B_speed = jacobian(m, diameter=diameter, line_speed=v, tension=T)
    N = m.length.size
    C = _reading_row(scenario, A.shape[0])
    frequency, damping = roll_on_web(m, A[: 2 * N, : 2 * N], diameter=diameter, line_speed=v)
    warnings = () if point.reachable else (point.reason,)
    return LinearPlant(
        A=A,
        B=B,
        C=C,
        dead_time=scenario.torque_device.dead_time + scenario.load_cell.dead_time,
        B_speed=B_speed,
        natural_frequency=frequency,
        damping_ratio=damping,
        states=(
            *(f"strain of span {i + 1} along the web [-]" for i in range(N)),
            "roll speed [rad/s]",
            *(f"speed of roller {j} along the web [rad/s]" for j in range(1, N)),
            "output behind the lag [%]",
            "filtered tension [N]",
        ),
        warnings=warnings,
    )


def matrices_over(
    scenario: Scenario, points: Sequence[tuple[float, float]]
) -> tuple[Array, Array, Array]:
    """Return (A, B, C) of `linearise` at many operating points, at the running tension, tapered.

    Shapes: A (m, n, n), B (m, n), C (n,), the same for all.

    Args:
        scenario: the machine.
        points: (diameter [m], line speed [m/s]) of each, m of them.
    """
    m = kernel_machine(scenario, runout=False)
    pairs = [
        jacobian(m, diameter=D, line_speed=v, tension=running_tension(scenario, D))
        for D, v in points
    ]
    A, B = np.stack([pair[0] for pair in pairs]), np.stack([pair[1] for pair in pairs])
    return A, B, _reading_row(scenario, A.shape[1])


def _reading_row(scenario: Scenario, states: int) -> Array:
    """C: the last state is the filtered tension [N], the reading is in % of the range.

    A load cell that reads too high makes the loop gain as much higher.
    """
    C = np.zeros(states)
    read = 1.0 + 0.01 * scenario.load_cell.gain_error
    C[-1] = 100.0 * read / scenario.controller.tension_range
    return C


def jacobian(
    m: kernel.Machine, *, diameter: float, line_speed: float, tension: float
) -> tuple[Array, Array, Array]:
    """Return (A, B, B_speed) of the kernel's first 2 N + 2 states at the steady state.

    Shapes: A (2 N + 2, 2 N + 2), B and B_speed (2 N + 2,), N spans; B for the output [%] behind the
    dead time, B_speed for the line speed [m/s].

    Args:
        m: the machine as the kernel wants it.
        diameter: of the roll [m].
        line_speed: of the web at the nip [m/s].
        tension: at the load cell [N].
    """
    N = m.length.size
    n = 2 * N + 2
    omega_at, x_at, y_at = N, 2 * N, 2 * N + 1
    radius = 0.5 * diameter
    state = steady_state(m, diameter=diameter, line_speed=line_speed, tension=tension)
    coming = 1.0 + np.concatenate([[m.arriving_strain], state.strain])
    flow = state.surface_speed[0] / coming[0]

    # Rows of d(rate of strain) over (states, line speed); the last column is the line speed.
    strain = np.zeros((N, n + 1))
    for i in range(N):
        e1 = coming[i + 1]
        strain[i, i] -= flow * e1 / m.length[i]
        if i > 0:
            strain[i, i - 1] += flow * e1**2 / (coming[i] * m.length[i])
        for station, slope in ((i + 1, e1), (i, -(e1**2) / coming[i])):
            column, radius_there = _surface(m, station, n, radius)
            strain[i, column] += slope / m.length[i] * radius_there
    pull = m.stiffness * m.retardation * strain
    pull[:, :N] += m.stiffness * np.eye(N)

    full = np.zeros((n, n + 1))
    full[:N] = strain
    for j in range(1, N):
        lever = m.roller_radius[j - 1] / m.roller_inertia[j - 1]
        full[N + j] = lever * (pull[j] - pull[j - 1])
    inertia = kernel.roll_inertia(m, radius)
    web, side = (pull[0], -1.0) if m.roll_first else (-pull[-1], 1.0)
    full[omega_at] = radius * web / inertia
    per_percent = m.gear * (m.full_torque - m.residual_torque) / 100.0
    slope = sliding_ratio(m, state.roll_speed)
    full[omega_at, x_at] += side * per_percent * slope / inertia
    full[omega_at, omega_at] -= (m.viscous_drag + _friction_slope(m, state)) / inertia
    full[x_at, x_at] = -1.0 / m.lag
    full[y_at] = 0.5 * (pull[m.cell - 1] + pull[m.cell]) / m.filter_time
    full[y_at, y_at] -= 1.0 / m.filter_time

    B = np.zeros(n)
    B[x_at] = 1.0 / m.lag
    return full[:, :n], B, full[:, n]


def _surface(m: kernel.Machine, station: int, n: int, radius: float) -> tuple[int, float]:
    """Which column drives the surface at a station, and by which radius [m] (line speed: 1)."""
    N = m.length.size
    if 0 < station < N:
        return N + station, float(m.roller_radius[station - 1])
    if (station == 0) == m.roll_first:
        return N, radius
    return n, 1.0


def _friction_slope(m: kernel.Machine, state: SteadyState) -> float:
    """d(brake torque)/d(roll speed) from the Stribeck curve [N m s]; falling, so 0 or less."""
    if m.device != kernel.BRAKE or m.breakaway <= 1.0:
        return 0.0
    ratio = m.gear * state.roll_speed / m.stribeck_speed
    high = state.roll_torque / sliding_ratio(m, state.roll_speed)
    fall = -2.0 * ratio * math.exp(-ratio * ratio) * m.gear / m.stribeck_speed
    return float(high * (m.breakaway - 1.0) * fall)


def roll_on_web(
    m: kernel.Machine, mechanics: Array, *, diameter: float, line_speed: float
) -> tuple[float, float]:
    """Return natural frequency [rad/s] and damping ratio [-] of the roll swinging on its web.

    It is the swing in which the roll takes most part: of all pairs of eigenvalues the one whose
    left and right eigenvectors weigh most at the roll's speed. Where no pair swings, it is the
    overdamped swing of the roll on the whole web, rollers without mass:

        w² = (K R² + b v/L)/J,    2 zeta w = v/L + b/J + K R² tau/J,    K = A E/L

    Args:
        m: the machine as the kernel wants it.
        mechanics: state matrix of strains and speeds only, shape (2 N, 2 N) [1/s].
        diameter: of the roll [m].
        line_speed: of the web at the nip [m/s].
    """
    N, radius = m.length.size, 0.5 * diameter
    modes, right = np.linalg.eig(mechanics)
    # The real part is what a pair has of the motion together: near a double eigenvalue the parts of
    # two overdamped modes are huge and opposite, and their sizes say nothing.
    part = np.real(right[N] * np.linalg.inv(right)[:, N])
    part[modes.imag <= 0.0] = 0.0
    at = int(np.argmax(part))
    if part[at] >= LEAST_PART:
        frequency = float(abs(modes[at]))
        return frequency, float(-modes[at].real / frequency)
    inertia = kernel.roll_inertia(m, radius)
    length = float(m.length.sum())
    spring = m.stiffness / length * radius**2
    # What damps the roll alone stands in its own row, the web's part taken off.
    web_side = m.length[0 if m.roll_first else -1]
    web_part = m.stiffness * m.retardation / web_side * radius**2 / inertia
    drag = -float(mechanics[N, N]) - web_part
    transport = line_speed / length
    frequency = math.sqrt((spring + drag * inertia * transport) / inertia)
    twice = transport + drag + spring * m.retardation / inertia
    return frequency, twice / (2.0 * frequency)
