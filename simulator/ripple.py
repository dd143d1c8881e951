"""How strongly a body that is out of round shakes the web, in manual: from the linear plant.

A body out of round by a turns its radius into r + a cos(phi), phi' = w: as speed of its surface and
as lever arm. To first order in a this adds to the equations of `simulator.kernel`, at the station j
along the web where the body stands,

    surface speed      ds = w a cos(phi)
    torque, roll       a cos(phi) T            T of its span; less T behind on a pull roll
    torque, roller     a cos(phi) (T_down - T_up)
    nip                ds = w a cos(phi) alone: its speed is given

and ds stretches the span before the body and relieves the one behind it, e the strain of a span, e1
that of the web coming to the body (so the first is e of the span before it):

    de_before/dt = ... + (1 + e1)/L_before ds
    de_behind/dt = ... - (1 + e_behind)²/((1 + e1) L_behind) ds

The web's own damping passes its share of de/dt into the tension and so into every torque and into
the load cell at once. With b the column of all this for a = 1 m and A, y of the linear plant,

    reading = a |y|,   x = (j w - A)^-1 b,   y = its filtered tension,   web = a |y| |1 + j w Tf|

One span, no roller, strains small against 1, K = A E/L:

    [(s + v/L)(J s + b) + K R²] T = -K a [w (J s + b) + R T0]      roll, s = j w
    [(s + v/L)(J s + b) + K R²] T =  K a w (J s + b)               nip

It is exact for a small a, with the output held, friction sliding forward and no slip. What the
kernel leaves out is left out here: a roller has one radius at a time where the web comes and
leaves, though its wrap lies between the two, and the direction of the web does not change.

Source: the mass balance and the web of the kernel, linearised. Eccentric rollers and out-of-round
rolls with the points where the web comes and leaves: Branca, Pagilla & Reid (J. Dyn. Sys. Meas.
Control 135, 2013; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import kernel
from simulator.linearise import jacobian, linearise
from simulator.machine import (
    diameter_range,
    kernel_machine,
    running_tension,
    web_leaves_roll,
)
from simulator.operating_point import operating_point, steady_state
from simulator.scenario import Scenario

Array = NDArray[np.float64]

# Turning within this share of its own swing a roll is near it [-].
_NEAR = 0.25


@dataclass(frozen=True)
class Ripple:
    """What one turning body does to the tension, once a turn, in manual.

    Attributes:
        name: "roll", "roller 1" (the one next to the roll), …, or "nip".
        frequency: turns in a second, v/(pi D) of the body [Hz].
        runout: radial out-of-round of the body [m].
        tension: amplitude of the web tension at the load cell [N].
        reading: amplitude of the reading, behind the filter [N].
        tension_per_runout: amplitude of the web tension for each metre of runout [N/m].
        warnings: what a reader should know.
    """

    name: str
    frequency: float
    runout: float
    tension: float
    reading: float
    tension_per_runout: float
    warnings: tuple[str, ...] = ()


def ripple(
    scenario: Scenario,
    *,
    diameter: float,
    line_speed: float | None = None,
    tension: float | None = None,
) -> tuple[Ripple, ...]:
    """Return what roll, rollers and nip do to the tension once a turn, with the output held.

    The roll comes first, then the rollers from the roll to the nip, then the nip where the scenario
    has its diameter. A round body has amplitudes of 0 and still its frequency.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        line_speed: of the web at the nip, above 0 [m/s]; the running speed if left out.
        tension: mean at the load cell [N]; the running tension, tapered, if left out.

    Raises:
        ValueError: the diameter is not on this roll, or speed or tension is not above 0.
    """
    v = scenario.run.line_speed if line_speed is None else line_speed
    T = running_tension(scenario, diameter) if tension is None else tension
    point = operating_point(scenario, diameter=diameter, line_speed=v, tension=T)
    m = kernel_machine(scenario, runout=False)
    A, _, _ = jacobian(m, diameter=diameter, line_speed=v, tension=T)
    general: tuple[str, ...] = () if point.reachable else (point.reason,)
    if np.linalg.eigvals(A).real.max() >= 0.0:
        general += (
            "the tension swings by itself here, whatever is round: these are no amplitudes",
        )
    room = min(T, m.breaking_tension - T)
    gain = abs(1.0 + 0.01 * scenario.load_cell.gain_error)
    scan_rate = 1.0 / scenario.controller.scan_time

    found = []
    for name, station, runout in _bodies(scenario):
        b, turning = runout_column(m, station, diameter=diameter, line_speed=v, tension=T)
        seen = np.linalg.solve(1j * turning * np.eye(b.size) - A, b)[-1]
        per_runout = float(abs(seen) * math.hypot(1.0, turning * m.filter_time))
        frequency = turning / (2.0 * math.pi)
        notes = general
        if runout * per_runout >= room:
            notes += (
                f"{name}: {runout * per_runout:.3g} N is as much as there is to a slack or broken "
                f"web at {T:.3g} N; take it as a sign, not as a number",
            )
        if runout > 0.0 and frequency > 0.5 * scan_rate:
            folded = abs(frequency - scan_rate * round(frequency / scan_rate))
            notes += (
                f"{name}: {frequency:.3g} Hz is above half the scan rate; "
                f"the controller sees it at {folded:.3g} Hz",
            )
        found.append(
            Ripple(
                name=name,
                frequency=frequency,
                runout=runout,
                tension=runout * per_runout,
                reading=float(runout * abs(seen)) * gain,
                tension_per_runout=per_runout,
                warnings=notes,
            )
        )
    return tuple(found)


def largest_ripple(scenario: Scenario, *, count: int = 60) -> tuple[Ripple, float, float]:
    """Return the roll's largest ripple over the whole roll at line speed.

    With it the diameter at which it is so large [m] and the roll's own swing on the web there [Hz]:
    where a turn comes near that, a little runout makes much.

    Args:
        scenario: the machine.
        count: diameters looked at [-].
    """
    low, high = diameter_range(scenario)
    diameters = np.geomspace(low, high, count) if low < high else np.array([high])
    found = [(ripple(scenario, diameter=float(d))[0], float(d)) for d in diameters]
    largest, diameter = max(found, key=lambda each: each[0].tension_per_runout)
    swing = linearise(scenario, diameter=diameter).natural_frequency / (2.0 * math.pi)
    return largest, diameter, swing


def ripple_in_words(found: tuple[Ripple, float, float]) -> str:
    """Return what the largest ripple is, where, and what to do about it.

    Args:
        found: by `largest_ripple` [N, m, Hz].
    """
    largest, diameter, swing = found
    near = abs(largest.frequency - swing) < _NEAR * swing
    why = f", close to its own swing on the web of {swing:.3g} Hz" if near else ""
    text = (
        f"the roll shakes the tension most at {1e3 * diameter:.4g} mm, where it turns "
        f"{largest.frequency:.3g} times a second{why}: "
    )
    if largest.runout == 0.0:
        tenth = 1e-4 * largest.tension_per_runout
        return f"{text}there each 0.1 mm of runout is worth {tenth:.3g} N up and down"
    return (
        f"{text}its {1e3 * largest.runout:.3g} mm of runout are worth {largest.tension:.3g} N up "
        "and down there; true core and chucks, or run slower there, if that is too much"
    )


def runout_column(
    m: kernel.Machine, station: int, *, diameter: float, line_speed: float, tension: float
) -> tuple[Array, float]:
    """Return what 1 m of runout adds to the rates of the kernel's first 2 N + 2 states at phi = 0.

    Shape (2 N + 2,) for N spans [state per s per m], and the speed of that body [rad/s].

    Args:
        m: the machine as the kernel wants it.
        station: of the body along the web: 0 and N are roll and nip, between them rollers [-].
        diameter: of the roll [m].
        line_speed: of the web at the nip [m/s].
        tension: at the load cell [N].
    """
    N, radius = m.length.size, 0.5 * diameter
    at = steady_state(m, diameter=diameter, line_speed=line_speed, tension=tension)
    coming = 1.0 + np.concatenate([[m.arriving_strain], at.strain])
    is_roll = station == (0 if m.roll_first else N)
    if is_roll:
        turning = at.roll_speed
    elif 0 < station < N:
        turning = float(at.surface_speed[station] / m.roller_radius[station - 1])
    else:
        turning = line_speed / m.nip_radius

    stretch = np.zeros(N)
    if station > 0:
        stretch[station - 1] = turning * coming[station] / m.length[station - 1]
    if station < N:
        behind = coming[station + 1] ** 2 / coming[station]
        stretch[station] = -turning * behind / m.length[station]
    pull = m.stiffness * m.retardation * stretch

    column = np.zeros(2 * N + 2)
    column[:N] = stretch
    for j in range(1, N):
        torque = m.roller_radius[j - 1] * (pull[j] - pull[j - 1])
        if j == station:
            torque += at.span_tension[j] - at.span_tension[j - 1]
        column[N + j] = torque / m.roller_inertia[j - 1]
    torque = radius * (pull[0] if m.roll_first else -pull[-1])
    if is_roll and m.roll_first:
        torque += at.span_tension[0]
    elif is_roll:
        torque += m.tension_behind_roll - at.span_tension[-1]
    column[N] = torque / kernel.roll_inertia(m, radius)
    column[2 * N + 1] = 0.5 * (pull[m.cell - 1] + pull[m.cell]) / m.filter_time
    return column, turning


def _bodies(scenario: Scenario) -> list[tuple[str, int, float]]:
    """Return (name, station along the web, runout [m]), from the roll to the nip."""
    N = len(scenario.span)
    bodies = [("roll", 0, scenario.roll.runout)]
    bodies += [(f"roller {i}", i, roller.runout) for i, roller in enumerate(scenario.roller, 1)]
    if scenario.nip is not None:
        bodies.append(("nip", N, scenario.nip.runout))
    if web_leaves_roll(scenario):
        return bodies
    return [(name, N - place, runout) for name, place, runout in bodies]
