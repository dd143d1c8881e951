"""What heat does to a roller whose bearings are both fixed: its shaft grows and pushes the cells.

    growth = a L dT                                        free to float
    F = E A a dT                                           held by ends that do not give (the most)
    F = a L dT / (L/(E A) + 2/k)                           each end gives by 1/k (springs in series)

Cells whose axis is square to the shaft feel nothing of F; tilted against that by a small angle t
each feels F sin(t). The two ends are pushed apart, so what they feel adds up where they tilt
towards each other and cancels where they tilt the same way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.cell_forces import load_per_tension
from simulator.sensing_and_control import LoadCell
from simulator.units import sensible

_TABLES = (
    "Callister & Rethwisch, Fundamentals of Materials Science and Engineering, 3rd ed., appendix B,"
    " tables B.2 and B.6, "
)


@dataclass(frozen=True)
class Material:
    """What a shaft is made of.

    Attributes:
        name: of the material.
        expansion: coefficient of linear expansion at room temperature [1/K].
        modulus: of elasticity at room temperature [Pa].
        source: where both values are printed.
    """

    name: str
    expansion: float
    modulus: float
    source: str


# Carbon fibre is left out: its growth depends on the lay-up and may even have the other sign.
MATERIALS = {
    material.name: material
    for material in (
        Material("steel", 11.7e-6, 207e9, _TABLES + "steel alloy 1020"),
        Material("stainless steel", 17.2e-6, 193e9, _TABLES + "stainless alloy 304"),
        Material("aluminium", 23.6e-6, 69e9, _TABLES + "aluminum alloy 6061"),
        # Printed is 90 to 113 GPa: the upper end, so that the force stays an upper bound.
        Material("cast iron", 11.4e-6, 113e9, _TABLES + "gray iron grade G3000"),
    )
}


@dataclass(frozen=True)
class ShaftGrowth:
    """What a change of temperature makes of a shaft between two bearings.

    Attributes:
        growth: of the shaft if one bearing floats [m]; below 0 it shrinks.
        rigid_force: on each end if none gives [N]; above 0 it pushes outward. An upper bound.
        force: on each end with ends that give [N]; the upper bound where their stiffness is not
            known.
        buckling_force: at which a shaft on hinged ends bows out sideways [N] (Euler).
        warnings: what a reader should know.
    """

    growth: float
    rigid_force: float
    force: float
    buckling_force: float
    warnings: tuple[str, ...]

    @property
    def push(self) -> float:
        """What each end has to bear [N]: the force, or less where the shaft bows out before."""
        return min(self.force, self.buckling_force)


def shaft_growth(
    *,
    length: float,
    warmer_by: float,
    material: str | Material,
    diameter: float,
    bore: float = 0.0,
    side_stiffness: float | None = None,
) -> ShaftGrowth:
    """Return how far a shaft grows, and with what force it pushes where both bearings are fixed.

    Args:
        length: of the shaft between its bearings [m].
        warmer_by: change of temperature against the frame [K]; below 0 it gets colder.
        material: one of `MATERIALS` by name, or any other.
        diameter: of the shaft [m].
        bore: inner diameter of a hollow shaft [m].
        side_stiffness: of each end along the shaft, cell and frame together [N/m].

    Raises:
        ValueError: an argument is out of range; names all that are.
        KeyError: the material is not in the table.
    """
    faults = [
        f"{name} {value:.4g} must be {allowed}"
        for fine, name, value, allowed in (
            (0.0 < length <= 50.0, "length", length, "above 0 and at most 50 m"),
            (-300.0 <= warmer_by <= 300.0, "warmer_by", warmer_by, "-300 to 300 K"),
            (0.0 < diameter <= 5.0, "diameter", diameter, "above 0 and at most 5 m"),
            (0.0 <= bore < diameter, "bore", bore, "0 up to below the diameter"),
            (side_stiffness is None or side_stiffness > 0.0, "side_stiffness",
             side_stiffness or 0.0, "above 0 N/m"),
        )
        if not fine
    ]  # fmt: skip
    if faults:
        raise ValueError("; ".join(faults))
    if isinstance(material, str):
        if material not in MATERIALS:
            raise KeyError(f"{material!r}; known: {', '.join(MATERIALS)}")
        material = MATERIALS[material]
    area = 0.25 * math.pi * (diameter**2 - bore**2)
    inertia = math.pi / 64.0 * (diameter**4 - bore**4)
    growth = material.expansion * length * warmer_by
    bar = length / (material.modulus * area)
    ends = 0.0 if side_stiffness is None else 2.0 / side_stiffness
    force = growth / (bar + ends)
    buckling = math.pi**2 * material.modulus * inertia / length**2
    warnings = []
    if side_stiffness is None and warmer_by != 0.0:
        warnings.append(
            f"the force of {_rough(force)} N is an upper bound for ends that do not give at all; "
            "real frames give, often by much more than the shaft does"
        )
    if force > buckling:
        warnings.append(
            f"a shaft on hinged ends bows out at {_rough(buckling)} N, so it hardly pushes with "
            f"{_rough(force)} N; a bowed roller shakes the reading once a turn instead"
        )
    return ShaftGrowth(growth, growth / bar, force, buckling, tuple(warnings))


def _rough(force: float) -> str:
    """To two digits: bounds are not known better."""
    return sensible(float(f"{force:.2g}"))


def side_force_reading(cell: LoadCell, force: float, *, tilt: float) -> float:
    """Return the change of the reading that a side force along the shaft makes [N of tension], if
    all cells tilt so that what they feel adds up; tilted the same way they would show nothing.

    Args:
        cell: the load cells.
        force: of the shaft on each end [N].
        tilt: of the cells' axes against square to the shaft [rad], within a quarter turn.

    Raises:
        ValueError: the tilt is a quarter turn or more.
    """
    if not abs(tilt) < 0.5 * math.pi:
        raise ValueError(f"tilt {tilt:.4g} must be below a quarter turn, 1.571 rad")
    ends = min(cell.cells, 2)
    return ends * force * math.sin(tilt) / load_per_tension(cell)
