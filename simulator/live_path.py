"""The drawn web path while a roll is unwound or wound: only the web beside the roll moves.

The web leaves the roll on the common tangent of roll and first roller. With centres c, radii r and
sides s (+1 where the walk from the roll to the nip goes round to the left), its direction u and
length L follow from

    c2 - c1 = (L + j k) u,  k = s2 r2 - s1 r1,  L² = |c2 - c1|² - k²
"""

from __future__ import annotations

import math
from dataclasses import replace

from simulator.machine import diameter_range
from simulator.scenario import Scenario
from simulator.web_path import Strand, WebPath, Wheel, lay_out


def tangent(first: Wheel, second: Wheel) -> Strand:
    """Return the free web between two wheels, on the sides on which it is walked round them.

    Args:
        first: the wheel nearer the roll, or the roll.
        second: the next wheel.

    Raises:
        ValueError: one wheel lies within the other, so that no web joins them.
    """
    across = second.side * second.radius - first.side * first.radius
    apart = second.centre - first.centre
    square = abs(apart) ** 2 - across**2
    if square <= 0.0:
        raise ValueError("no web joins two wheels of which one lies within the other")
    along = apart / complex(math.sqrt(square), across)
    along /= abs(along)
    return Strand(
        first.centre - 1j * first.side * first.radius * along,
        second.centre - 1j * second.side * second.radius * along,
    )


def path_at(scenario: Scenario, diameter: float) -> WebPath:
    """Return the layout of a machine with its roll at a diameter; only the web beside it moves.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    path = lay_out(scenario)
    low, high = diameter_range(scenario)
    if low == high:
        return path
    # A little of the last turn may lie beyond what the scenario calls full or core.
    radius = 0.5 * min(max(diameter, 0.5 * low), 1.05 * high)
    roll = replace(path.roll, radius=radius)
    return replace(path, roll=roll, spans=(tangent(roll, path.rollers[0]), *path.spans[1:]))
