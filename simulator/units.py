"""Units live at the edge: text with a unit in, SI floats behind, the reader's units out.

Only unit names are handed to pint, one by one; numbers and exponents are read here, so that no
text, however odd, is ever evaluated. Factors are exact fractions: "25 um" is the float 25e-6.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

import pint

_registry: pint.UnitRegistry[Any] = pint.UnitRegistry(non_int_type=Fraction)

LONGEST = 60
_NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)
# A unit: names with a whole exponent, between them a blank, "·", "*", ".", "-" (lbf-ft) or "/".
_FACTOR = re.compile(r"([A-Za-zµμ_]+|°[CF]|[%°])(?:(?:\^|\*\*)?(-?[1-9]))?")
_BETWEEN = re.compile(r"\s*(/)\s*|\s*[·*.]\s*|-|\s+")
_RAISED = str.maketrans({"²": "^2", "³": "^3", "⋅": "·"})

# What the trade writes and pint reads as something else: its mil is an angle, its Nm no torque.
# PLI is pounds per linear inch of width.
_TRADE = {
    "mil": "thou",
    "mils": "thou",
    "Nm": "N * m",
    "Nms": "N * m * s",
    "PLI": "lbf / in",
    "fpm": "ft / min",
    "rev": "turn",
    "%": "percent",
    # A scenario has temperature rises only, no temperatures.
    "degC": "delta_degC",
    "degF": "delta_degF",
    "°C": "delta_degC",
    "°F": "delta_degF",
    "°": "degree",
}
# To pint angles and per cent are plain numbers, so that 1 Hz would pass as 1 rad/s.
_ANGLES = {"rad", "mrad", "radian", "radians", "deg", "degree", "degrees", "°", "turn", "turns"}
_MARKS = dict.fromkeys(_ANGLES | {"rev", "rpm"}, "rad") | {"%": "%", "percent": "%"}

# Units that people write for each SI unit used in a scenario: examples for a message.
_EXAMPLES = {
    "m": "mm, m, um, in, ft, mil",
    "m/s": "m/min, m/s, ft/min",
    "N": "N, kN, lbf",
    "N/s": "N/s, N/h, lbf/h",
    "N m": "N m, lbf ft, lbf in",
    "N m s": "N m s, lbf ft s",
    "Pa": "GPa, MPa, psi",
    "kg": "kg, lb",
    "kg/m^3": "kg/m^3, lb/ft^3",
    "kg m^2": "kg m^2, lb ft^2",
    "s": "s, ms, min",
    "rad": "deg, rad",
    "rad/s": "rad/s, rpm",
    "W": "W, kW, hp",
    "%": "%",
    "%/s": "%/s, %/min",
    "K": "K, degC, degF",
    "%/K": "%/K, %/degC, %/degF",
    "V": "V, mV, uV",
    "mV/V": "mV/V",
}
# Units to show a limit in, the largest first.
_READABLE = {
    "m": ("m", "mm", "um"),
    "s": ("s", "ms"),
    "Pa": ("GPa", "MPa", "kPa"),
    "N": ("kN", "N"),
    "rad": ("deg",),
    "m/s": ("m/min",),
    "V": ("V", "mV", "uV"),
}


def examples(unit: str) -> str:
    """Return units that are accepted where this SI unit is meant."""
    return _EXAMPLES.get(unit, unit)


def _factors(text: str) -> list[tuple[str, int]]:
    """Return the names in a unit with their exponents; a ValueError if it has another form."""
    text = text.translate(_RAISED)
    names: list[tuple[str, int]] = []
    sign, at = 1, 0
    while True:
        found = _FACTOR.match(text, at)
        if not found:
            raise ValueError(text)
        names.append((found.group(1), sign * int(found.group(2) or 1)))
        at = found.end()
        if at == len(text):
            return names
        between = _BETWEEN.match(text, at)
        if not between:
            raise ValueError(text)
        sign, at = (-1 if between.group(1) else 1), between.end()


def _unit(names: list[tuple[str, int]]) -> Any:
    """Return pint's unit for names with exponents."""
    unit = _registry.Unit("")
    for name, power in names:
        part = _registry.parse_units(_TRADE.get(name, name))
        if part.dimensionless and name not in _MARKS:
            raise ValueError(name)
        unit = unit * part**power
    return unit


@lru_cache(maxsize=512)
def _factor(text: str, unit: str) -> Fraction:
    """Return what one of `text` is in `unit`; a ValueError says what is wrong with it."""
    names, wanted = _factors(unit), _unit(_factors(unit))
    try:
        given = _factors(text)
        value = _registry.Quantity(Fraction(1), _unit(given))
        if _registry.Quantity(Fraction(0), _unit(given)).to_base_units().magnitude != 0:
            raise ValueError(text)  # a scale with a zero of its own has no factor
        if value.is_compatible_with(wanted) and _marks(given) == _marks(names):
            return Fraction(value.to(wanted).magnitude)
    except Exception:  # pint's parser fails in many ways on odd names
        raise ValueError(f"unit {text!r} is not understood; use {examples(unit)}") from None
    raise ValueError(f"{text!r} is not a unit for this; use {examples(unit)}")


def _marks(names: list[tuple[str, int]]) -> list[tuple[str, int]]:
    return sorted((_MARKS[name], power) for name, power in names if name in _MARKS)


def parse_quantity(text: str, unit: str) -> float:
    """Return the value of a text such as "25 um" in an SI unit.

    Args:
        text: a number and a unit.
        unit: that the result is in, such as "m"; "%" stays per cent.

    Raises:
        ValueError: no number, no unit, or a unit of something else; says what is accepted.
    """
    if len(text) > LONGEST:
        raise ValueError(f"is longer than {LONGEST} characters; write a number and a unit")
    found = _NUMBER.fullmatch(text.strip())
    if not found:
        raise ValueError(f"must start with a number, followed by a unit ({examples(unit)})")
    number, rest = float(found.group(1)), found.group(2).strip()
    if rest.startswith(","):
        raise ValueError("has a comma in its number; write a decimal point")
    if not rest:
        raise ValueError(f"needs a unit: {examples(unit)}")
    factor = _factor(rest, unit)
    if math.isinf(number):
        raise ValueError("is too large a number")
    # As a float it is 0, and as a fraction 1e-999999999 would never end.
    if number == 0.0:
        return 0.0
    try:
        return float(Fraction(found.group(1)) * factor)
    except OverflowError:
        raise ValueError("is too large a number") from None


def format_quantity(value: float, unit: str, *, digits: int | None = 4) -> str:
    """Return a value with its unit as a scenario file has it, such as "0.8 m".

    Args:
        value: in `unit` [any].
        unit: as a scenario file has it.
        digits: significant digits [-]; None for as many as give the same float back.
    """
    text = repr(float(value)).removesuffix(".0") if digits is None else f"{value:.{digits}g}"
    return f"{text} {unit}".rstrip()


def readable(value: float, unit: str) -> str:
    """Return an SI value in the unit of a size that suits it, such as "25 um".

    Args:
        value: in `unit` [any].
        unit: an SI unit, "%" or "" for a plain number.
    """
    choices = _READABLE.get(unit, (unit,))
    for choice in choices:
        shown = value / float(_factor(choice, unit)) if choice != unit else value
        if abs(shown) >= 1.0 or value == 0.0 or choice == choices[-1]:
            return format_quantity(shown, choice, digits=6)
    raise AssertionError("the last choice always fits")


@dataclass(frozen=True)
class UnitSystem:
    """How one reader wants to see quantities.

    Attributes:
        name: of the system.
        units: for each kind of quantity (kind, SI unit, reader's unit, its label for people).
    """

    name: str
    units: tuple[tuple[str, str, str, str], ...]

    def _entry(self, kind: str) -> tuple[str, str, str]:
        for name, si, unit, label in self.units:
            if name == kind:
                return si, unit, label
        raise KeyError(f"{kind!r}; known: {', '.join(entry[0] for entry in self.units)}")

    def label(self, kind: str) -> str:
        """Return the unit's name for people, such as "N·m"."""
        return self._entry(kind)[2]

    def unit(self, kind: str) -> str:
        """Return the unit's name as a scenario file has it, such as "N m"."""
        return self._entry(kind)[1]

    def factor(self, kind: str) -> float:
        """Return what one SI unit is in the reader's unit."""
        si, unit, _ = self._entry(kind)
        return float(1 / _factor(unit, si))

    def show(self, value: float, kind: str) -> float:
        """Return an SI value in the reader's unit.

        Args:
            value: in the kind's SI unit [any].
            kind: of quantity, such as "tension".
        """
        return value * self.factor(kind)

    def text(self, value: float, kind: str, *, digits: int = 3) -> str:
        """Return an SI value in the reader's unit with its label and sensible digits.

        Args:
            value: in the kind's SI unit [any].
            kind: of quantity, such as "tension".
            digits: significant digits [-].
        """
        if not math.isfinite(value):
            return "–"
        return f"{sensible(self.show(value, kind), digits)} {self.label(kind)}"

    def plain(self, value: float, kind: str, *, digits: int = 4) -> str:
        """Return an SI value in the reader's unit as people write it, without trailing zeros.

        Args:
            value: in the kind's SI unit [any].
            kind: of quantity, such as "tension".
            digits: significant digits at most [-].
        """
        return f"{self.show(value, kind):.{digits}g} {self.label(kind)}"


def sensible(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits, never in powers of ten below a million.

    Args:
        value: in whatever unit is shown beside it [any].
        digits: significant digits [-].
    """
    if value == 0.0 or not math.isfinite(value):
        return f"{value:.0f}" if value == 0.0 else str(value)
    if abs(value) >= 1e6 or abs(value) < 1e-4:
        return f"{value:.{digits}g}"
    decimals = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    return f"{value:.{decimals}f}"


METRIC = UnitSystem(
    "metric",
    (
        ("tension", "N", "N", "N"),
        ("speed", "m/s", "m/min", "m/min"),
        ("length", "m", "m", "m"),
        ("diameter", "m", "mm", "mm"),
        ("thickness", "m", "um", "µm"),
        ("torque", "N m", "N m", "N·m"),
        ("power", "W", "W", "W"),
        ("inertia", "kg m^2", "kg m^2", "kg·m²"),
        ("mass", "kg", "kg", "kg"),
        ("time", "s", "s", "s"),
        ("temperature rise", "K", "K", "°C"),
    ),
)
US_CUSTOMARY = UnitSystem(
    "US customary",
    (
        ("tension", "N", "lbf", "lbf"),
        ("speed", "m/s", "ft/min", "ft/min"),
        ("length", "m", "ft", "ft"),
        ("diameter", "m", "in", "in"),
        ("thickness", "m", "mil", "mil"),
        ("torque", "N m", "lbf ft", "lbf·ft"),
        ("power", "W", "hp", "hp"),
        ("inertia", "kg m^2", "lb ft^2", "lb·ft²"),
        ("mass", "kg", "lb", "lb"),
        ("time", "s", "s", "s"),
        ("temperature rise", "K", "degF", "°F"),
    ),
)
UNIT_SYSTEMS = (METRIC, US_CUSTOMARY)
