"""What the simulator can't shake a machine with, added to a run by exact linear superposition.

The sampled closed loop of `tuning.margins.closed_loop`, with a disturbance w on the plant's states
and d on the reading, is

    x[k+1] = Phi x[k] + late u[k-delay-1] + prompt u[k-delay] + G w[k],   y[k] = C x[k] + d[k]

with the controller's own difference equations from y to u (none in manual). G is exact for a w that
is held over a scan. What comes out, in reading and output, is added to a run of the simulator: the
sum is exact for a linear machine, and a run that stays near one operating point is nearly that.
Where speed, diameter or mode change along the run, the matrices change with them, piece by piece.
The load cell's dead time, if any, is taken as the device's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit

from simulator import LinearPlant, Scenario, Trend, linearise
from simulator.machine import kernel_machine
from simulator.ripple import runout_column
from tuning.gains import Gains

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Piece:
    """A stretch of a run over which the machine counts as one linear loop.

    Attributes:
        start, end: scans [-].
        plant: the plant there.
        columns: of the states for one unit of each channel asked for, shape (channels, n).
        gains: of the controller; None in manual.
    """

    start: int
    end: int
    plant: LinearPlant
    columns: Array
    gains: Gains | None


def column(s: Scenario, plant: LinearPlant, channel: str | int, *, D: float, v: float, T: float):
    """Return the column of the plant's states for one unit of a disturbance, shape (n,).

    "torque" [% of output, at the roll], "speed" of the nip [m/s], "reading" [N] (no state at all),
    or the station of a body along the web [-] whose shape is out of round [m].
    """
    spans = len(s.span)
    if channel == "torque":
        at_roll = np.zeros(plant.B.size)
        at_roll[spans] = plant.A[spans, 2 * spans]
        return at_roll
    if channel == "speed":
        return plant.B_speed
    if channel == "reading":
        return np.zeros(plant.B.size)
    m = kernel_machine(s, runout=False)
    return runout_column(m, int(channel), diameter=D, line_speed=v, tension=T)[0]


def pieces_of(
    s: Scenario, base: Trend, gains: Gains, channels: tuple[str | int, ...], *, most: int = 8
) -> list[Piece]:
    """Cut a run into pieces, each linear: fewer where little changes."""
    h, n = s.controller.scan_time, base.time.size
    every = round((base.time[1] - base.time[0]) / h)
    moved = max(float(np.ptp(base.line_speed) / base.line_speed.mean()),
                float(np.ptp(base.diameter) / base.diameter.mean()))  # fmt: skip
    count = 1 if moved < 0.01 else most
    cuts = set(np.linspace(0, n, count + 1).astype(int).tolist())
    cuts |= set((np.flatnonzero(np.diff(base.automatic)) + 1).tolist())
    edges = sorted(cuts)
    pieces = []
    for start, end in pairwise(edges):
        middle = (start + end) // 2
        D, v = float(base.diameter[middle]), float(base.line_speed[start:end].mean())
        T = max(float(base.web_tension[start:end].mean()), 0.05 * s.run.tension)
        plant = linearise(s, diameter=D, line_speed=v, tension=T)
        columns = np.stack([column(s, plant, c, D=D, v=v, T=T) for c in channels])
        at_work = gains if base.automatic[middle] else None
        pieces.append(Piece(start * every, end * every, plant, columns, at_work))
    return pieces


def superposed(
    s: Scenario, pieces: list[Piece], waves: Array, reading: Array | None = None
) -> tuple[Array, Array]:
    """Return what disturbances add to reading [N] and output [%], shape (scans,) each.

    `waves` has a row a channel, shape (channels, scans); `reading` is d [N], shape (scans,).
    """
    h, per_newton = s.controller.scan_time, 100.0 / s.controller.tension_range
    scans = waves.shape[1]
    d = np.zeros(scans) if reading is None else reading * per_newton
    sampled = [piece.plant.sampled(h) for piece in pieces]
    states, count = pieces[0].plant.B.size, len(pieces)
    Phi, late, prompt = (np.stack([getattr(p, key) for p in sampled])
                         for key in ("Phi", "late", "prompt"))  # fmt: skip
    G = np.zeros((count, waves.shape[0], states))
    control = np.zeros((count, 3))
    for i, piece in enumerate(pieces):
        for j, one in enumerate(piece.columns):
            if np.any(one):
                held = LinearPlant(A=piece.plant.A, B=one, C=piece.plant.C, dead_time=0.0)
                G[i, j] = held.sampled(h).prompt
        if piece.gains is not None:
            control[i] = 1.0, piece.gains.Kc, piece.gains.Ki * h
    ends = np.array([piece.end for piece in pieces])
    y, u = np.zeros(scans), np.zeros(scans)
    _march(Phi, late, prompt, G, control, ends, pieces[0].plant.C, sampled[0].delay,
           np.ascontiguousarray(waves.T), d, y, u)  # fmt: skip
    return y / per_newton, u


@njit(cache=True)
def _march(Phi, late, prompt, G, control, ends, C, delay, waves, d, y, u):
    """Run PI loop and plant over all scans; the output is held where the loop goes to manual."""
    n, channels = C.size, waves.shape[1]
    x, new = np.zeros(n), np.zeros(n)
    integral, last, piece = 0.0, 0.0, 0
    for k in range(d.size):
        while piece < ends.size - 1 and k >= ends[piece]:
            piece += 1
        total = d[k]
        for i in range(n):
            total += C[i] * x[i]
        y[k] = total
        automatic, Kc, Kih = control[piece]
        if automatic > 0.0:
            last = integral - Kc * total
            integral -= Kih * total
        else:
            integral = last + control[-1, 1] * total
        u[k] = last
        now = u[k - delay] if k >= delay else 0.0
        before = u[k - delay - 1] if k > delay else 0.0
        for i in range(n):
            total = late[piece, i] * before + prompt[piece, i] * now
            for j in range(n):
                total += Phi[piece, i, j] * x[j]
            for j in range(channels):
                total += G[piece, j, i] * waves[k, j]
            new[i] = total
        for i in range(n):
            x[i] = new[i]


def turn_phase(base: Trend, h: float, radius: float | None = None) -> Array:
    """Return the angle of a turning body [rad] at every scan: of the roll if no radius [m]."""
    every = round((base.time[1] - base.time[0]) / h)
    around = 0.5 * base.diameter if radius is None else radius
    rate = np.repeat(base.line_speed / around, every)
    return np.concatenate([[0.0], np.cumsum(rate)[:-1]]) * h


def wandering_phase(
    rng: np.random.Generator, scans: int, h: float, f: float, width: float
) -> Array:
    """Return the phase [rad] of an oscillation whose frequency [Hz] wanders by a share `width`."""
    knots = max(int(scans * h * f / 6.0), 4)
    along = np.linspace(0.0, 1.0, knots)
    share = np.interp(np.linspace(0.0, 1.0, scans), along, rng.normal(0.0, width, knots))
    start = rng.uniform(0.0, 2.0 * math.pi)
    return start + 2.0 * math.pi * f * h * np.cumsum(1.0 + np.clip(share, -0.5, 0.5))


def random_walk(rng: np.random.Generator, scans: int, size: float) -> Array:
    """Return a slow drift that ends about `size` from where it began [same unit]."""
    steps = rng.standard_normal(scans)
    return np.cumsum(steps) * size / math.sqrt(scans)
