"""What the web and the roller's weight do to the load cells: the statics of the load-cell roller.

A web of tension T leaves its roller in two strands and pulls it with both, that is along the
bisector of the wrap b with

    F = 2 T sin(b/2)                                                    (vector sum of the strands)

The roller weighs m g, straight down. Cells feel what of both lies along their sensing axis,

    load = F cos(d) + w,      d between resultant and axis, w the weight's part along the axis

and are pushed sideways by the rest. An axis has no head: cells that are turned half a turn feel the
same with the other sign, so loads are counted in the sense in which the web pulls, and w is below 0
where weight and web work against each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.sensing_and_control import LoadCell

STANDARD_GRAVITY = 9.80665  # [m/s²], exact by definition


@dataclass(frozen=True)
class CellForces:
    """Forces on a load-cell roller at one tension; loads are over all its cells together.

    Attributes:
        tension: of the web [N].
        resultant: of the web on the roller [N].
        weight: of the roller [N].
        web_load: what of the resultant the cells feel [N]; never below 0.
        weight_load: what of the weight they feel [N]; below 0 where it works against the web.
        web_across: what of the resultant pushes the cells sideways, positive to the left of the
            sensed direction [N].
        weight_across: the same of the weight [N].
    """

    tension: float
    resultant: float
    weight: float
    web_load: float
    weight_load: float
    web_across: float
    weight_across: float

    @property
    def load(self) -> float:
        """What the cells feel of web and weight together [N]."""
        return self.web_load + self.weight_load

    @property
    def together(self) -> float:
        """Size of web and weight as one force [N]."""
        return math.hypot(self.load, self.across)

    @property
    def largest(self) -> float:
        """The largest force about the roller [N]."""
        return max(self.tension, self.resultant, self.weight, self.together)

    @property
    def across(self) -> float:
        """What pushes the cells sideways [N], without its sense."""
        return abs(self.web_across + self.weight_across)


def web_resultant(tension: float, wrap_angle: float) -> float:
    """Return the force 2 T sin(b/2) of a web on its roller [N].

    Args:
        tension: of the web, the same on both sides [N].
        wrap_angle: of the web on the roller [rad].
    """
    return 2.0 * tension * math.sin(0.5 * wrap_angle)


def sensed_angle(cell: LoadCell) -> float:
    """Return the direction along the sensing axis in which the web pulls [rad].

    Args:
        cell: the load cells.
    """
    along = math.cos(cell.sensing_angle - cell.bisector_angle) >= 0.0
    return cell.sensing_angle if along else cell.sensing_angle + math.pi


def off_axis(cell: LoadCell) -> float:
    """Return the angle between the sensing axis and the web's resultant, 0 to pi/2 [rad].

    Args:
        cell: the load cells.
    """
    return math.acos(min(abs(math.cos(cell.sensing_angle - cell.bisector_angle)), 1.0))


def forces_on(cell: LoadCell, tension: float) -> CellForces:
    """Return the forces on the load-cell roller at a tension.

    Args:
        cell: the load cells with their roller.
        tension: of the web [N].
    """
    axis = sensed_angle(cell)
    pull, weight = web_resultant(tension, cell.wrap_angle), STANDARD_GRAVITY * cell.roller_mass
    return CellForces(
        tension=tension,
        resultant=pull,
        weight=weight,
        web_load=pull * _cos(cell.bisector_angle - axis),
        weight_load=-weight * _sin(axis),
        web_across=pull * _sin(cell.bisector_angle - axis),
        weight_across=-weight * _cos(axis),
    )


# Square is square: pi is no float, and 1e-16 of a weight is no load.
def _cos(angle: float) -> float:
    return round(math.cos(angle), 15)


def _sin(angle: float) -> float:
    return round(math.sin(angle), 15)


def load_per_tension(cell: LoadCell) -> float:
    """Return what the cells feel of each newton of tension, over all cells [-]; above 0.

    Args:
        cell: the load cells.
    """
    return forces_on(cell, 1.0).web_load


def balanced_tension(cell: LoadCell) -> float:
    """Return the tension at which the web just carries the roller and the cells feel nothing [N].

    It is below 0 where weight and web load the cells the same way.

    Args:
        cell: the load cells with their roller.
    """
    return -forces_on(cell, 0.0).weight_load / load_per_tension(cell)


def rated_tension(cell: LoadCell) -> float:
    """Return the tension at which all cells together reach their rated load [N].

    It is 0 where the roller alone loads them to their rating.

    Args:
        cell: the load cells with their roller.
    """
    left = cell.rated_load * cell.cells - forces_on(cell, 0.0).weight_load
    return max(left, 0.0) / load_per_tension(cell)


def tension_per_rated_share(cell: LoadCell) -> float:
    """Return the tension that loads the cells by their whole rating [N]; a data sheet's shares of
    the rating turn into tension with it.

    Args:
        cell: the load cells.
    """
    return cell.rated_load * cell.cells / load_per_tension(cell)


def display_reading(cell: LoadCell, tension: float) -> float:
    """Return what the display shows of a tension, with the cells' errors of zero and gain [N].

    Args:
        cell: the load cells.
        tension: of the web [N].
    """
    return tension * (1.0 + 0.01 * cell.gain_error) + cell.zero_error


def web_tension(cell: LoadCell, reading: float) -> float:
    """Return the tension of the web behind what the display shows [N]: the inverse of
    `display_reading`.

    Args:
        cell: the load cells.
        reading: of the display [N].
    """
    return (reading - cell.zero_error) / (1.0 + 0.01 * cell.gain_error)
