"""Why a gain is wrong, read off its ratio to the ideal one, and what left and right cells say."""

from __future__ import annotations

import math
from collections.abc import Iterator

from simulator.rope_path import Strand, off_path_ratio, strand_directions
from simulator.sensing_and_control import LoadCell
from simulator.units import sensible

# Ratios this close to each other are taken for the same, or for nothing [-].
CLOSE, NEAR_NOTHING = 0.01, 0.05
MOST_BY_WRAP = 0.4  # beyond this change of gain nobody would have misread the wrap [-]
SMALL_TURN = 0.7  # below this ratio a cell would be turned so far that the eye sees it [-]
POUND = 1.0 / 0.45359237  # [lb/kg], exact
NO_ANSWER = "plug off, bearing carried by the frame, or a bolt on the bottom of its hole"
# How far the rope may seem off the middle by the lever law [-]; common practice.
OFF_MIDDLE = 0.05


def judge_sides(left: float, right: float) -> tuple[float, str, bool]:
    """Return where the rope hangs by what both cells answered, of the distance between them [-],
    the same in words, and whether all is well.

    Args:
        left: answer of the left cell to the weight [any].
        right: answer of the right cell to the weight [any].
    """
    most = max(abs(left), abs(right))
    if min(abs(left), abs(right)) <= 0.03 * most:
        side = "left" if abs(left) < abs(right) else "right"
        who = f"the {side} cell does not answer" if most > 0.0 else "neither cell answers"
        return math.nan, f"{who} to the weight: {NO_ANSWER}", False
    if left * right < 0.0:
        return math.nan, "left and right answer with opposite sign: one cell is turned", False
    off = 0.5 * (left - right) / (left + right)
    if abs(off) <= OFF_MIDDLE:
        return off, "left and right share the weight, as a rope in the middle makes them", True
    return off, (
        f"by the lever law the rope hangs {100.0 * abs(off):.2g} % of the distance between the "
        f"cells off the middle, to the {'left' if off > 0.0 else 'right'}; if it does hang in the "
        "middle, one cell answers too much or too little"
    ), False  # fmt: skip


def gain_reasons(
    cell: LoadCell, ratio: float, *, uncertain: float, display: bool
) -> tuple[list[str], list[str]]:
    """Return what makes just this ratio of gains, the closest first, and what may bend any ratio.

    Args:
        cell: the load cells with their roller.
        ratio: gain as found over ideal gain [-].
        uncertain: how far the true ratio may be from that, either way [-].
        display: whether a display of tension was read, else the cells' own signal [-].
    """
    if ratio < -uncertain - CLOSE:
        return ["the cells face the other way, or their signal wires are swapped"], []
    if ratio <= uncertain + NEAR_NOTHING:
        turned = ", or one cell is turned and cancels the other" if cell.cells > 1 else ""
        return [
            f"the weight may not be on the cells ({NO_ANSWER}, or a rope that lies on something "
            f"else){turned}"
        ], []
    along = abs(math.cos(cell.sensing_angle - cell.bisector_angle))
    exact = [
        (1.0 / POUND, "a mass in lb was taken for kg"),
        (POUND, "a mass in kg was taken for lb"),
        (0.5, "two weights were counted, one on each end of the rope: only one of them counts"),
    ]
    n = cell.cells
    if n > 1:
        exact.append(((n - 1) / n, f"one of {n} cells does not answer: {NO_ANSWER}"))
    if display:
        exact.append((along, "the span was set as if the cells sensed along the resultant"))
    if n > 1 and display:
        exact += [
            (1.0 / n, f"the amplifier is set for {n} cells that add up, and they are in parallel"),
            (float(n), f"{n} cells add up, and the amplifier is set for their mean"),
        ]
    sides: tuple[Strand, Strand] = ("left", "right")
    for side, direction in zip(sides, strand_directions(cell), strict=True):
        away = math.degrees(math.remainder(direction, 2.0 * math.pi))
        text = f"the rope hung straight down instead of at {away:.3g}° along the web"
        exact.append((off_path_ratio(cell, side), text))
    near = sorted((abs(ratio - made), text) for made, text in exact if abs(made - 1.0) > CLOSE)
    fitting = list(dict.fromkeys(text for apart, text in near if apart <= uncertain + CLOSE))
    return fitting, list(_bends(cell, ratio, along=along, display=display))


def _bends(cell: LoadCell, ratio: float, *, along: float, display: bool) -> Iterator[str]:
    """What may bend a ratio by any amount."""
    half = ratio * math.sin(0.5 * cell.wrap_angle)
    if abs(ratio - 1.0) < MOST_BY_WRAP and half <= 1.0:
        angle = math.degrees(2.0 * math.asin(half))
        angle = angle if cell.wrap_angle <= math.pi else 360.0 - angle
        described = math.degrees(cell.wrap_angle)
        yield f"a wrap of {angle:.3g}° would do it; described are {described:.3g}°"
    if display:
        other, rated = sensible(ratio * cell.rated_load), sensible(cell.rated_load)
        yield f"so would an amplifier set for cells of {other} N; these have {rated} N"
    else:
        other = sensible(cell.rated_load / ratio)
        yield f"so would cells rated for {other} N, or {ratio:.3g} times the sensitivity"
    if SMALL_TURN < ratio < 1.0:
        off = math.degrees(math.acos(ratio * along))
        yield f"so would cells that sense {off:.3g}° away from the resultant"
    if ratio < 1.0:
        yield "a rope that rubs, or rollers that do not turn freely, keep load off the cells"
