"""Is the load cell placed right: which way it faces, and what wrap and weight make of that.

The best sensing direction is along the resultant, the bisector of the wrap, one way or the other.
Off it by d the cells lose 1 - cos(d) of the web's pull, which a calibration along the web path
makes good, and sin(d) of it pushes them sideways, which nothing makes good. The reading hangs on
where the web comes from, too: the two strands load the cells with

    T [cos(d + 90° - b/2) + cos(d - 90° + b/2)] = 2 T cos(d) sin(b/2)

so a strand that turns by a radian changes the reading by 1/2 [cot(b/2) ± tan(d)] of itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from simulator.cell_forces import (
    CellForces,
    balanced_tension,
    forces_on,
    off_axis,
)
from simulator.data_sheet import data_sheet
from simulator.scenario import Scenario

# Common practice, no source.
MOST_OFF_AXIS = math.radians(20.0)
LEAST_WRAP = math.radians(30.0)


@dataclass(frozen=True)
class Placement:
    """How a machine's load cells stand to the web's pull.

    Attributes:
        best_angle: direction to sense in, one way or the other [rad].
        off_axis: angle between sensing axis and resultant, 0 to pi/2 [rad].
        lost: of the web's pull because of it [%].
        forces: at running tension.
        balanced_tension: at which the web just carries the roller and the cells feel nothing [N];
            below 0 where both load them the same way.
        gain_per_degree: largest change of the reading for a degree by which one strand turns [%].
        next_to_roll: whether the web comes to the roller straight from the wound roll [-].
        warnings: what a reader should know.
    """

    best_angle: float
    off_axis: float
    lost: float
    forces: CellForces
    balanced_tension: float
    gain_per_degree: float
    next_to_roll: bool
    warnings: tuple[str, ...]


def place_cells(scenario: Scenario) -> Placement:
    """Return how a machine's load cells stand to the web's pull.

    Args:
        scenario: the machine.
    """
    cell = scenario.load_cell
    off = off_axis(cell)
    found = Placement(
        best_angle=math.remainder(cell.bisector_angle, 2.0 * math.pi),
        off_axis=off,
        lost=100.0 * (1.0 - math.cos(off)),
        forces=forces_on(cell, scenario.run.tension),
        balanced_tension=balanced_tension(cell),
        gain_per_degree=100.0 * _gain_per_strand(cell.wrap_angle, off) * math.radians(1.0),
        next_to_roll=scenario.zone != "pull roll" and scenario.roller[0].load_cell,
        warnings=(),
    )
    return replace(found, warnings=tuple(_warnings(found, scenario)))


def _gain_per_strand(wrap_angle: float, off_axis: float) -> float:
    return 0.5 * (1.0 / abs(math.tan(0.5 * wrap_angle)) + math.tan(off_axis))


def _warnings(found: Placement, scenario: Scenario) -> Iterator[str]:
    cell, running = scenario.load_cell, scenario.run.tension
    highest = scenario.controller.tension_range
    if found.off_axis > MOST_OFF_AXIS:
        yield (
            f"the load cells sense {math.degrees(found.off_axis):.0f}° away from the web's pull: "
            f"{found.lost:.2g} % of it is lost and {abs(found.forces.web_across):.3g} N push them "
            "sideways; turn them to the bisector of the wrap"
        )
    lift = found.balanced_tension
    if 0.75 * running < lift < 1.33 * running:
        yield (
            f"weight and web work against each other, and at {lift:.3g} N of tension, close to the "
            "running tension, the cells feel nothing: play in mounts and bearings shows just "
            "there; let the web pull another way, or take a lighter roller"
        )
    elif 0.01 * highest < lift < highest:
        yield (
            f"weight and web work against each other: up to {lift:.3g} N of tension the weight "
            "loads the cells, above it the web loads them the other way; cells, stops and bolts "
            "must take both, and a reading near this tension shows the play between"
        )
    limit = data_sheet(scenario).side_load
    # Web and weight may cancel at one tension and not at another.
    across = max(forces_on(cell, T).across for T in (0.0, running, highest)) / cell.cells
    if limit is not None and across > 0.01 * limit * cell.rated_load:
        yield (
            f"web and weight push each cell sideways with up to {across:.3g} N, more than the "
            f"{0.01 * limit * cell.rated_load:.3g} N that it bears across its axis"
        )
    if not LEAST_WRAP <= cell.wrap_angle <= 2.0 * math.pi - LEAST_WRAP:
        small = "small" if cell.wrap_angle < math.pi else "so large that its strands work apart"
        yield (
            f"a wrap of {math.degrees(cell.wrap_angle):.3g}° is {small}: the cells feel "
            f"{found.forces.web_load / running:.2g} of the tension, and a strand that turns by a "
            f"degree changes the reading by {found.gain_per_degree:.2g} %"
        )
    if found.next_to_roll:
        yield (
            "the load-cell roller stands next to the roll: as the roll shrinks or grows, the web "
            "meets the roller another way and the reading of the same tension changes; put an "
            "idler between them, or have the change worked out from three rollers"
        )
