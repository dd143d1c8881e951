"""Where the web wraps the load-cell roller, from a drawing: three rollers, or two directions.

The web travels along the unit vectors d_in and d_out (x + j y) before and behind the roller. It
turns by the wrap b, and pulls the roller with its two strands,

    F = T (d_out − d_in),      of size 2 T sin(b/2), along the bisector of the strands

A body on the left of the travelling web (side s = +1, the web goes round it counterclockwise) has
its centre at c = tangent point + j s r d, on the right (s = −1) likewise. Two bodies A, B on one
straight strand of length L and direction d are therefore apart by

    c_B − c_A = d (L + j q),   q = s_B r_B − s_A r_A,   L = sqrt(|c_B − c_A|² − q²)

which is the common tangent of two circles, outer where the sides are the same and inner where not.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from typing import Literal

from simulator.quantity import quantities
from simulator.scenario import Scenario
from simulator.sensing_and_control import LoadCell
from simulator.web_path import Strand, lay_out

Turning = Literal["clockwise", "counterclockwise"]

_WRONG = "the drawing can't be right, check places and turning senses"
_NAMES = ("the roller before", "the load-cell roller", "the roller after")
# With more of a turn than this the drawing was probably read wrong [rad].
LARGE_WRAP = math.radians(270.0)
_STRAIGHT = 1e-6  # turn that is none [rad]
_SAME = 1e-9  # share by which equal distances on a drawing may differ [-]


@dataclass(frozen=True)
class RollerPlace:
    """A roller or roll on a drawing.

    Attributes:
        x: of its centre, to the right [m].
        y: of its centre, upward [m].
        diameter: [m].
        turning: which way round it turns as drawn, with the web running from the roller before to
            the roller after.
    """

    x: float
    y: float
    diameter: float
    turning: Turning

    @property
    def centre(self) -> complex:
        """Its centre as x + j y [m]."""
        return complex(self.x, self.y)

    @property
    def side(self) -> int:
        """+1 where it lies on the left of the travelling web, -1 on the right [-]."""
        return 1 if self.turning == "counterclockwise" else -1


# Before, on the load cells, and after.
Rollers = tuple[RollerPlace, RollerPlace, RollerPlace]


@dataclass(frozen=True)
class Wrap:
    """How the web runs round the load-cell roller.

    Attributes:
        wrap_angle: by which the web turns [rad].
        bisector_angle: direction in which the web pulls the roller: 0 to the right, π/2 up, above
            −π and at most π [rad].
        entering_angle: direction in which the web travels before the roller [rad].
        leaving_angle: direction in which it travels behind the roller [rad].
        turning: which way round the load-cell roller turns.
        span_before: free length of web before the roller [m]; nan where it is not known.
        span_after: free length behind it [m]; nan where it is not known.
        strand_before: the free web before the roller, or None where only its direction is known.
        strand_after: the same behind the roller.
        warnings: in plain words.
    """

    wrap_angle: float
    bisector_angle: float
    entering_angle: float
    leaving_angle: float
    turning: Turning
    span_before: float = math.nan
    span_after: float = math.nan
    strand_before: Strand | None = None
    strand_after: Strand | None = None
    warnings: tuple[str, ...] = ()


def wrap_from_directions(entering: float, leaving: float, turning: Turning | None = None) -> Wrap:
    """Return the wrap of a web whose directions of travel are known.

    Args:
        entering: direction of travel before the roller [rad].
        leaving: direction of travel behind it [rad].
        turning: which way round the roller turns; None for the smaller of both turns, at most
            half a turn.

    Raises:
        ValueError: directions that are no numbers, or a wrap outside a load cell's limits; says
            what to change.
    """
    if not (math.isfinite(entering) and math.isfinite(leaving)):
        raise ValueError("the directions before and behind the load-cell roller must be numbers")
    turn = cmath.phase(cmath.rect(1.0, leaving - entering))
    if turning is None:
        # At half a turn either sense will do: d_out - d_in is the same.
        turning = "counterclockwise" if turn >= 0.0 else "clockwise"
    side = 1 if turning == "counterclockwise" else -1
    wrap = side * turn % (2.0 * math.pi)
    _check_wrap(wrap)
    return Wrap(
        wrap_angle=wrap,
        bisector_angle=_principal(entering + side * 0.5 * (wrap + math.pi)),
        entering_angle=_principal(entering),
        leaving_angle=_principal(leaving),
        turning=turning,
        warnings=_wrap_warnings(wrap),
    )


def wrap_from_rollers(before: RollerPlace, cell: RollerPlace, after: RollerPlace) -> Wrap:
    """Return the wrap of the load-cell roller between two neighbours on a drawing.

    Args:
        before: the body from which the web comes.
        cell: the load-cell roller.
        after: the body to which the web goes.

    Raises:
        ValueError: sizes that are no drawing, bodies that overlap (any two that don't have a
            tangent), or a wrap outside a load cell's limits; says all that is wrong, a line each.
    """
    _check_places(before, cell, after)
    first, second = _strand(before, cell), _strand(cell, after)
    entering, leaving = cmath.phase(first.direction), cmath.phase(second.direction)
    wrap = wrap_from_directions(entering, leaving, cell.turning)
    return replace(
        wrap,
        span_before=abs(first.end - first.start),
        span_after=abs(second.end - second.start),
        strand_before=first,
        strand_after=second,
        warnings=wrap.warnings + _drawing_warnings(first, second, before, after),
    )


def drawn_rollers(scenario: Scenario) -> Rollers:
    """Return the load-cell roller of a machine's drawn layout between its neighbours, as the web
    meets them, with the load-cell roller at (0, 0).

    The layout keeps wrap, resultant and span lengths of the scenario; where the neighbours stand
    beyond that is drawn freely.

    Args:
        scenario: the machine.
    """
    path = lay_out(scenario)
    # Of the nip's two rollers either would do: the web goes straight between them.
    wheels = [path.roll, *path.rollers, path.nip[0]][path.load_cell : path.load_cell + 3]
    centre = wheels[1].centre
    # A layout is walked from the roll to the nip; only an unwind's web runs that way.
    along = 1 if scenario.zone == "unwind" else -1
    before, cell, after = (
        RollerPlace(
            (wheel.centre - centre).real,
            (wheel.centre - centre).imag,
            2.0 * wheel.radius,
            "counterclockwise" if along * wheel.side > 0 else "clockwise",
        )
        for wheel in wheels[::along]
    )
    return before, cell, after


def _principal(angle: float) -> float:
    """The same direction above −π and at most π."""
    turned = math.remainder(angle, 2.0 * math.pi)
    return math.pi if turned == -math.pi else turned


def _strand(one: RollerPlace, other: RollerPlace) -> Strand:
    radius, next_radius = 0.5 * one.diameter, 0.5 * other.diameter
    apart = other.centre - one.centre
    offset = other.side * next_radius - one.side * radius
    length = math.sqrt(abs(apart) ** 2 - offset**2)
    along = apart / complex(length, offset)
    return Strand(
        one.centre - 1j * one.side * radius * along,
        other.centre - 1j * other.side * next_radius * along,
    )


def _check_places(*places: RollerPlace) -> None:
    faults = []
    for name, place in zip(_NAMES, places, strict=True):
        if not (math.isfinite(place.x) and math.isfinite(place.y)):
            faults.append(f"{name}: its place (x, y) must be two numbers")
        if not (math.isfinite(place.diameter) and place.diameter > 0.0):
            faults.append(f"{name}: its diameter must be above 0 mm")
        if place.turning not in ("clockwise", "counterclockwise"):
            faults.append(f"{name}: it turns clockwise or counterclockwise, not {place.turning!r}")
    if not faults:
        for i, j in ((0, 1), (1, 2), (0, 2)):
            apart = abs(places[i].centre - places[j].centre)
            least = 0.5 * (places[i].diameter + places[j].diameter)
            # The neighbours may be a pair that pinches; at the load-cell roller web must be free.
            free = apart > least * (1.0 + _SAME) or ((i, j) == (0, 2) and apart > 0.999 * least)
            if not free:
                faults.append(
                    f"{_NAMES[i]} and {_NAMES[j]} touch or overlap: their centres are "
                    f"{1e3 * apart:.4g} mm apart and must be more than {1e3 * least:.4g} mm apart"
                )
    if faults:
        raise ValueError("\n".join(faults))


def _check_wrap(wrap: float) -> None:
    limits = quantities(LoadCell)["wrap_angle"]
    if min(wrap, 2.0 * math.pi - wrap) < _STRAIGHT:
        raise ValueError(
            "the web runs straight past the load-cell roller and does not touch it: move a "
            "roller so that the web turns there"
        )
    degrees, other = math.degrees(wrap), math.degrees(2.0 * math.pi - wrap)
    if wrap > limits.high:
        raise ValueError(
            f"the web would wrap the load-cell roller by {degrees:.4g}°, more than "
            f"{math.degrees(limits.high):.0f}°: usually the turning sense of a roller is wrong; "
            f"turned the other way between the same strands it would be {other:.3g}°"
        )
    if wrap < limits.low:
        raise ValueError(
            f"the web wraps the load-cell roller by {degrees:.3g}° only: move a roller so that it "
            f"is {math.degrees(limits.low):.0f}° at least, better 30° or more"
        )


def _wrap_warnings(wrap: float) -> tuple[str, ...]:
    degrees = math.degrees(wrap)
    if wrap > LARGE_WRAP:
        return (
            f"a wrap of {degrees:.4g}° is unusual: check which way round the load-cell roller "
            "turns",
        )
    return ()


def _drawing_warnings(
    first: Strand, second: Strand, before: RollerPlace, after: RollerPlace
) -> tuple[str, ...]:
    """What shows that a drawing can't be right."""
    warnings = []
    for strand, place, at, name in (
        (first, after, "before", _NAMES[2]),
        (second, before, "behind", _NAMES[0]),
    ):
        along = strand.end - strand.start
        ahead = ((place.centre - strand.start) * along.conjugate()).real / abs(along) ** 2
        nearest = strand.start + min(max(ahead, 0.0), 1.0) * along
        if abs(place.centre - nearest) < 0.5 * place.diameter * (1.0 - _SAME):
            warnings.append(f"the web {at} the load-cell roller runs through {name}: {_WRONG}")
    # first.start + t one = second.start + u other, solved by taking either direction across.
    one, other = first.end - first.start, second.end - second.start
    gap, across = second.start - first.start, (one.conjugate() * other).imag
    t, u = (gap.conjugate() * other).imag, (gap.conjugate() * one).imag
    if across != 0.0 and 0.0 < t / across < 1.0 and 0.0 < u / across < 1.0:
        warnings.append(
            f"the web before and the web behind the load-cell roller cross each other: {_WRONG}"
        )
    return tuple(warnings)
