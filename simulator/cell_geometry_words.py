"""How the web wraps the load-cell roller, what pulls on it and what the cells feel, in words."""

from __future__ import annotations

import math

from simulator.cell_forces import forces_on, off_axis
from simulator.sensing_and_control import LoadCell
from simulator.units import UnitSystem

# Share of the largest force that is nothing to speak of [-].
_NOTHING = 1e-3


def direction_words(angle: float) -> str:
    """Return a direction in plain words, such as "up and to the right (35° from level)".

    Args:
        angle: 0 to the right, π/2 up [rad].
    """
    degrees = round(math.degrees(math.remainder(angle, 2.0 * math.pi)))
    straight = {0: "to the right", 90: "up", 180: "to the left", -180: "to the left", -90: "down"}
    if degrees in straight:
        return f"straight {straight[degrees]}"
    slope = min(abs(degrees), 180 - abs(degrees))
    upward, sideward = "up" if degrees > 0 else "down", "right" if abs(degrees) < 90 else "left"
    return f"{upward} and to the {sideward} ({slope}° from level)"


def geometry_in_words(cell: LoadCell, tension: float, units: UnitSystem) -> str:
    """Return what the picture shows in a few sentences.

    Args:
        cell: the load cells with their roller.
        tension: of the web [N].
        units: the reader's units.
    """
    forces = forces_on(cell, tension)
    least = _NOTHING * forces.largest

    def text(force: float) -> str:
        return units.text(abs(force), "tension") if abs(force) > least else "nothing"

    weight = f"Its roller weighs {text(forces.weight)}"
    if forces.weight == 0.0:
        weight = "The roller's weight is not counted"
    elif text(forces.weight_load) == "nothing":
        weight += ", of which the cells feel nothing"
    elif forces.weight_load > 0.0:
        weight += f", which adds {text(forces.weight_load)} to what the cells feel"
    else:
        weight += f", which takes {text(forces.weight_load)} off what the cells feel"
    lifted = ", against the web's pull, as the weight wins" if forces.load < -least else ""
    off = off_axis(cell)
    facing = "The cells face along the bisector, which is best, either way round"
    if math.degrees(off) >= 0.5:
        best, back = (direction_words(cell.bisector_angle + turn) for turn in (0.0, math.pi))
        facing = (
            f"The cells face {math.degrees(off):.0f}° off the bisector and so lose "
            f"{100.0 * (1.0 - math.cos(off)):.2g} % of the web's pull; best is along the bisector, "
            f"either way round: {best}, or {back}"
        )
    return (
        f"The web wraps the roller by {math.degrees(cell.wrap_angle):.4g}° and, at a tension of "
        f"{text(tension)}, pulls it {direction_words(cell.bisector_angle)} with "
        f"{text(forces.resultant)}. {weight}. In all they feel {text(forces.load)}{lifted}; "
        f"{text(forces.across)} pushes them sideways. {facing}."
    )
