"""Sentences written in SI units, shown in the reader's units.

Messages and events name their quantities in SI units, as the results do. A reader who chose other
units sees the same sentence with each quantity turned into theirs.
"""

from __future__ import annotations

import re

from simulator.units import UnitSystem, sensible

# Unit in a sentence → kind of quantity, and what one of it is in the SI unit of the kind.
_UNITS = {
    "N m": ("torque", 1.0),
    "N": ("tension", 1.0),
    "W": ("power", 1.0),
    "m/s": ("speed", 1.0),
    "m/min": ("speed", 1.0 / 60.0),
    "mm": ("diameter", 1e-3),
    "°C": ("temperature rise", 1.0),
}
_QUANTITY = re.compile(
    r"(?<![\w.])([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?) (N m|N|W|m/s|m/min|mm|°C)(?![\w/·%]| m\b)"
)


def in_reader_units(text: str, units: UnitSystem) -> str:
    """Return a sentence with its quantities in the reader's units, to three digits.

    Args:
        text: with quantities such as "150 N" or "2.5 m/s".
        units: the reader's units.
    """

    def turned(found: re.Match[str]) -> str:
        kind, one = _UNITS[found.group(2)]
        if found.group(2) in (units.unit(kind), units.label(kind)):
            return found.group(0)
        value = units.show(float(found.group(1)) * one, kind)
        return f"{float(sensible(value)):.10g} {units.label(kind)}"

    return _QUANTITY.sub(turned, text)
