"""What a roll that is wound or unwound beside the load-cell roller does to its wrap and reading.

As the roll shrinks or grows the web meets the load-cell roller another way, so wrap and bisector
change, and with them the load that a tension makes along the sensing axis: the reading's gain. An
idler of constant place between the two keeps it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simulator.cell_forces import load_per_tension
from simulator.sensing_and_control import LoadCell
from simulator.web_wrap import RollerPlace, Wrap, wrap_from_rollers

Array = NDArray[np.float64]

# A reading whose gain changes by more than this from full roll to core is worth a warning [-].
_GAIN_CHANGE = 0.02
_DIAMETERS = 33  # at which a roll is looked at [-]


@dataclass(frozen=True, eq=False)
class RollWrap:
    """What a roll that is wound or unwound beside the load-cell roller does to its wrap.

    Attributes:
        full: the wrap at the full roll, with warnings of its own.
        core: the wrap at the core, with warnings of its own.
        diameters: of the roll, from full to core, shape (n,) [m].
        wraps: at each of them, shape (n,) [rad].
        gains: load along the sensing axis for each newton of tension there, over that at the full
            roll, shape (n,) [-].
        gain_at_core: load along the sensing axis for each newton of tension at the core, over that
            at the full roll [-].
        largest_change: by which this gain differs most from the full roll's, anywhere between full
            roll and core, with its sign [-].
        warnings: in plain words.
    """

    full: Wrap
    core: Wrap
    diameters: Array
    wraps: Array
    gains: Array
    gain_at_core: float
    largest_change: float
    warnings: tuple[str, ...] = ()


def wrap_over_roll(
    before: RollerPlace,
    cell: RollerPlace,
    after: RollerPlace,
    *,
    core_diameter: float,
    sensing_angle: float,
    roll: Literal["before", "after"] = "before",
) -> RollWrap:
    """Return how wrap and reading change where the load-cell roller's neighbour is the roll itself.

    Args:
        before: the body from which the web comes.
        cell: the load-cell roller.
        after: the body to which the web goes.
        core_diameter: of the roll, whose place has its full diameter [m].
        sensing_angle: direction that the cells measure [rad].
        roll: which of the neighbours is the roll.

    Raises:
        ValueError: a core that is not smaller than the roll, cells that feel nothing of the web
            somewhere between full roll and core, or what `wrap_from_rollers` refuses.
    """
    ends = {"before": before, "after": after}
    full_diameter = ends[roll].diameter
    wraps, gains = [wrap_from_rollers(before, cell, after)], []
    if not 0.0 < core_diameter < full_diameter:
        raise ValueError(
            f"the core must be above 0 mm and smaller than the full roll of "
            f"{1e3 * full_diameter:.4g} mm, not {1e3 * core_diameter:.4g} mm"
        )
    diameters = np.linspace(full_diameter, core_diameter, _DIAMETERS)
    for diameter in map(float, diameters[1:]):
        now: dict[str, RollerPlace] = {**ends, roll: replace(ends[roll], diameter=diameter)}
        try:
            wraps.append(wrap_from_rollers(now["before"], cell, now["after"]))
        except ValueError as error:
            raise ValueError(f"with a roll of {1e3 * diameter:.4g} mm: {error}") from None
    towards = [math.cos(sensing_angle - wrap.bisector_angle) for wrap in wraps]
    for diameter, wrap, share in zip(diameters, wraps, towards, strict=True):
        if abs(share) < 0.05 or share * towards[0] < 0.0:
            raise ValueError(
                f"with a roll of {1e3 * diameter:.4g} mm the sensing axis is square, or nearly, to "
                "the web's pull, and the cells feel nothing: turn the cells towards "
                f"{math.degrees(wraps[0].bisector_angle):.0f}°, the bisector at full roll"
            )
        directions = (
            wrap.wrap_angle,
            wrap.bisector_angle,
            math.remainder(sensing_angle, 2.0 * math.pi),
        )
        # A weightless roller: only the directions matter.
        bare = LoadCell(*directions, roller_mass=0.0, rated_load=1.0, filter_time=1.0)
        gains.append(load_per_tension(bare))
    largest = max((gain / gains[0] - 1.0 for gain in gains), key=abs)
    warnings = _roll_warnings(wraps, largest)
    return RollWrap(
        full=wraps[0],
        core=wraps[-1],
        diameters=diameters,
        wraps=np.array([wrap.wrap_angle for wrap in wraps]),
        gains=np.array(gains) / gains[0],
        gain_at_core=gains[-1] / gains[0],
        largest_change=largest,
        warnings=warnings,
    )


def _roll_warnings(wraps: list[Wrap], largest: float) -> tuple[str, ...]:
    if abs(largest) <= _GAIN_CHANGE:
        return ()
    full, core = (math.degrees(wrap.wrap_angle) for wrap in (wraps[0], wraps[-1]))
    tension = 1.0 / (1.0 + largest) - 1.0
    return (
        f"the wrap goes from {full:.4g}° at full roll to {core:.4g}° at the core, and the reading "
        f"of the same tension changes by up to {100.0 * largest:+.2g} %: a loop that holds the "
        f"reading lets the tension go {100.0 * tension:+.2g} % off. Put an idler of constant place "
        "between the roll and the load-cell roller",
    )
