"""Units live at the edge: text with a unit in, SI floats behind, the reader's units out.

Only the unit is handed to pint; the number is read by Python itself, so that no text, however
odd, is ever evaluated.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import pint

_registry: pint.UnitRegistry[Any] = pint.UnitRegistry()
# Web tension is given in pounds per linear inch.
_registry.define("pound_per_linear_inch = force_pound / inch = PLI")

LONGEST = 60
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(.*)", re.DOTALL)
_UNIT = re.compile(r"[A-Za-zµμ°%][A-Za-zµμ°%0-9^*/·. ()-]*")

# Units that people write for each SI unit used in a scenario: examples for a message.
_EXAMPLES = {
    "m": "mm, m, um, in, ft, mil",
    "m/s": "m/min, m/s, ft/min",
    "N": "N, kN, lbf",
    "N m": "N m, lbf ft, lbf in",
    "N m s": "N m s",
    "Pa": "GPa, MPa, psi",
    "kg": "kg, lb",
    "kg/m^3": "kg/m^3, lb/ft^3",
    "kg m^2": "kg m^2, lb ft^2",
    "s": "s, ms, min",
    "rad": "deg, rad",
    "rad/s": "rad/s, rpm",
    "W": "W, kW, hp",
    "%": "%",
    "%/s": "%/s",
}


def examples(unit: str) -> str:
    """Return units that are accepted where this SI unit is meant."""
    return _EXAMPLES.get(unit, unit)


@lru_cache(maxsize=512)
def _factor(text: str, unit: str) -> float:
    """Return what one of `text` is in `unit`; a ValueError says what is wrong with it."""
    if not _UNIT.fullmatch(text):
        raise ValueError(f"unit {text!r} is not understood; use {examples(unit)}")
    # In this trade a mil is a thousandth of an inch; pint's is an angle.
    spelled = re.sub(r"\bmils?\b", "thou", text.replace("·", " "))
    try:
        given = _registry.parse_units(spelled)
        return float(_registry.Quantity(1.0, given).to(unit).magnitude)
    except pint.DimensionalityError:
        raise ValueError(f"{text!r} is not a unit for this; use {examples(unit)}") from None
    except Exception:  # pint's parser fails in many ways on odd text
        raise ValueError(f"unit {text!r} is not understood; use {examples(unit)}") from None


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
    value = number * _factor(rest, unit)
    if not math.isfinite(value):
        raise ValueError("is too large a number")
    return value


def format_quantity(value: float, unit: str, *, digits: int = 6) -> str:
    """Return a value with its unit as a scenario file has it, such as "0.8 m".

    Args:
        value: in `unit` [any].
        unit: as pint reads it.
        digits: significant digits [-].
    """
    return f"{value:.{digits}g} {unit}"


@dataclass(frozen=True)
class UnitSystem:
    """How one reader wants to see quantities.

    Attributes:
        name: of the system.
        units: kind of quantity → (SI unit, reader's unit, label).
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
        return 1.0 / _factor(unit, si)

    def show(self, value: float, kind: str) -> float:
        """Return an SI value in the reader's unit."""
        return value * self.factor(kind)

    def text(self, value: float, kind: str, *, digits: int = 3) -> str:
        """Return an SI value in the reader's unit with its label and sensible digits."""
        if not math.isfinite(value):
            return "–"
        return f"{sensible(self.show(value, kind), digits)} {self.label(kind)}"


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
    ),
)
UNIT_SYSTEMS = (METRIC, US_CUSTOMARY)
