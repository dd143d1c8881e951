"""Which kinds of web lie in the zone, compiled: laid into the spans, and carried on.

A change of the web (a splice: other thickness, other modulus) travels with it. Where two kinds lie
in one span they carry the same tension, so their compliances add up by length, and what leaves over
a roller is stretched by that tension as its own kind is. (Lengths are taken stretched, which is off
by the strain times the difference.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simulator.compiled import inlined
from simulator.kernel import LENGTH, Machine, roll_arm, surface

Array = NDArray[np.float64]


@inlined
def lay_web(m: Machine, kinds: Array, count: int, web: Array) -> None:
    """Fill `web`, shape (3, N), from the kinds of web that lie in the zone.

    A row of `kinds` is (how far its front has come [m], modulus, thickness, both over the
    scenario's), the oldest first, with a front at infinity; `count` rows are in use.
    Rows of `web`: stiffness of each span [N]; strain of what leaves the span over the span's own;
    strain of the web that arrives, and what a turn adds to the roll's radius [m].
    """
    line = m.line
    N = line.shape[1]
    start = 0.0
    for i in range(N):
        end = start + line[LENGTH, i]
        compliance, leaving = 0.0, m.stiffness
        for kind in range(count):
            front = min(kinds[kind, 0], end)
            back = max(kinds[kind + 1, 0], start) if kind + 1 < count else start
            if front > back:
                stiffness = m.stiffness * kinds[kind, 1] * kinds[kind, 2]
                compliance += (front - back) / (line[LENGTH, i] * stiffness)
                if front == end:
                    leaving = stiffness
        web[0, i] = 1.0 / compliance
        web[1, i] = web[0, i] / leaving
        start = end
    newest = count - 1
    web[2, 0] = m.arriving_strain / (kinds[newest, 1] * kinds[newest, 2])
    at_roll = newest if m.roll_first else 0
    web[2, 1] = m.time_compression * m.thickness * kinds[at_roll, 2]


@inlined
def carry_web(
    m: Machine, state: Array, line_speed: float, h: float, kinds: Array, count: int
) -> int:
    """Move the fronts of the newer kinds of web on by a step, in place; return the kinds left."""
    line = m.line
    end = 0.0
    for i in range(line.shape[1]):
        end += line[LENGTH, i]
    for kind in range(1, count):
        station, start = 0, 0.0
        while station < line.shape[1] - 1 and kinds[kind, 0] >= start + line[LENGTH, station]:
            start += line[LENGTH, station]
            station += 1
        kinds[kind, 0] += h * surface(m, state, station, line_speed, roll_arm(m, state))
    while count > 1 and kinds[1, 0] >= end:
        count -= 1
        for kind in range(count):
            for i in range(3):
                kinds[kind, i] = kinds[kind + 1, i]
        kinds[0, 0] = np.inf
    return count


@inlined
def thinnest_of(kinds: Array, count: int) -> float:
    """Return the least thickness in the zone over the scenario's."""
    least = kinds[0, 2]
    for kind in range(1, count):
        least = min(least, kinds[kind, 2])
    return float(least)
