"""The rope of a calibration weight off the web's path: by how much it sets the gain wrong.

The rope must leave the roller as the web does. Where u are unit vectors along the strands, away
from the roller, and a is the sensing axis, a rope with one strand elsewhere makes

    ratio = (u_kept + u_hung) . a / (u_kept + u_web) . a

of what the web would make; a span that is set with it is wrong by 1/ratio for every tension.
"""

from __future__ import annotations

import math
from typing import Literal

from simulator.cell_forces import load_per_tension, sensed_angle
from simulator.sensing_and_control import LoadCell

Strand = Literal["left", "right"]

DOWN = -0.5 * math.pi
# An error of all readings that is worth a word [%]; common practice, no source.
WARNED_ERROR = 1.0


def strand_directions(cell: LoadCell) -> tuple[float, float]:
    """Return the directions in which the web's strands leave the roller [rad]: the one to the left
    of the resultant, looking along it, and the one to the right.

    Args:
        cell: the load cells with their roller.
    """
    half = 0.5 * math.pi - 0.5 * cell.wrap_angle
    return cell.bisector_angle + half, cell.bisector_angle - half


def off_path_ratio(cell: LoadCell, strand: Strand, *, direction: float = DOWN) -> float:
    """Return what a rope loads the cells with, over what the web would at the same tension [-].

    It is nan where the rope would not touch the roller.

    Args:
        cell: the load cells with their roller.
        strand: which of the web's strands, left or right of its resultant, the hanging end of the
            rope stands for.
        direction: in which that end leaves the roller instead [rad]; straight down if left out.
    """
    left, right = strand_directions(cell)
    kept, web = (right, left) if strand == "left" else (left, right)
    turn = math.remainder(direction - web, 2.0 * math.pi)
    wrap = cell.wrap_angle - turn if strand == "left" else cell.wrap_angle + turn
    if not 0.0 < wrap < 2.0 * math.pi:
        return math.nan
    axis = sensed_angle(cell)
    return (math.cos(kept - axis) + math.cos(direction - axis)) / load_per_tension(cell)


def off_path_error(cell: LoadCell, strand: Strand, *, direction: float = DOWN) -> float:
    """Return how much too high all tensions read after a calibration with a rope off the web's
    path [%]; below 0 they read too low.

    It is nan where such a rope would not pull the cells as the web does.

    Args:
        cell: the load cells with their roller.
        strand: which of the web's strands the hanging end of the rope stands for.
        direction: in which that end leaves the roller instead [rad]; straight down if left out.
    """
    ratio = off_path_ratio(cell, strand, direction=direction)
    return 100.0 * (1.0 / ratio - 1.0) if ratio > 1e-6 else math.nan


def rope_advice(cell: LoadCell) -> str:
    """Return how to lead the rope of a calibration weight, and what straight down would do.

    Args:
        cell: the load cells with their roller.
    """
    told: dict[str, list[str]] = {}
    sides: tuple[Strand, Strand] = ("left", "right")
    for side, direction in zip(sides, strand_directions(cell), strict=True):
        error = off_path_error(cell, side)
        where = f"{math.degrees(math.remainder(direction, 2.0 * math.pi)):.3g}°"
        if math.isnan(error):
            told.setdefault("it would not load the cells as the web does", []).append(where)
        elif abs(error) > WARNED_ERROR:
            what = f"{abs(error):.3g} % too {'high' if error > 0.0 else 'low'}"
            told.setdefault(f"all tensions would then read {what}", []).append(where)
    told = {what: list(dict.fromkeys(at)) for what, at in told.items()}
    lead = "lead the rope along the web's own path, over the rollers next to the load-cell roller"
    if not told:
        return lead
    wrong = "; ".join(f"instead of at {' or '.join(at)}, {what}" for what, at in told.items())
    return f"{lead}; if it hung straight down from that roller {wrong}"
