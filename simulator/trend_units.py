"""Units in which recorders write their columns, how people spell them, and what they are in SI.

Factors come from `simulator.units`, exact as pint knows them. Signals of 0 to 10 V and 4 to 20 mA
are the usual ones of industrial instruments (common practice; IEC 60381-1 and -2, from memory).
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from simulator.units import parse_quantity

Array = NDArray[np.float64]

_TENSION = ("N", "kN", "daN", "cN", "lbf", "kgf")
_OF_RANGE = ("% of range", "0..10 V of range", "4..20 mA of range")
# Texts of a clock, and rows that are counted instead of timed.
CLOCK, DATE, DATE_AND_TIME, SAMPLES = "clock time", "date", "date and time", "samples"
QUANTITIES = ("time", "tension", "output", "setpoint", "line speed", "diameter", "automatic")
UNITS: dict[str, tuple[str, ...]] = {
    "time": (
        "s", "ms", "us", "ns", "min", "h", "days", CLOCK, DATE_AND_TIME, DATE, SAMPLES,
    ),
    "tension": (*_TENSION, *_OF_RANGE),
    "output": ("%", "0..1", "0..10 V", "4..20 mA"),
    "setpoint": (*_TENSION, *_OF_RANGE),
    "line speed": ("m/s", "m/min", "ft/min"),
    "diameter": ("m", "cm", "mm", "in", "m radius", "cm radius", "mm radius", "in radius"),
    "automatic": ("1 in automatic", "1 in manual"),
}  # fmt: skip
_SI = {"time": "s", "tension": "N", "setpoint": "N", "line speed": "m/s", "diameter": "m"}

# How people spell them, in small letters; for setpoint as for tension.
_SPELLED = {
    "time": {
        "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "sek": "s",
        "ms": "ms", "msec": "ms", "millisecond": "ms", "milliseconds": "ms",
        "us": "us", "µs": "us", "μs": "us", "ns": "ns",
        "min": "min", "mins": "min", "minute": "min", "minutes": "min",
        "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h",
        "d": "days", "day": "days", "days": "days",
    },
    "tension": {
        "n": "N", "newton": "N", "newtons": "N", "kn": "kN", "dan": "daN", "cn": "cN",
        "lb": "lbf", "lbs": "lbf", "lbf": "lbf", "pound": "lbf", "pounds": "lbf",
        "kg": "kgf", "kgf": "kgf", "kp": "kgf",
        "%": "% of range", "percent": "% of range", "pct": "% of range",
        "v": "0..10 V of range", "volt": "0..10 V of range", "ma": "4..20 mA of range",
    },
    "output": {
        "%": "%", "percent": "%", "pct": "%", "v": "0..10 V", "volt": "0..10 V",
        "volts": "0..10 V", "ma": "4..20 mA", "0..1": "0..1", "0-1": "0..1", "pu": "0..1",
        "p.u.": "0..1",
    },
    "line speed": {
        "m/s": "m/s", "m/sec": "m/s", "mps": "m/s", "m/min": "m/min", "mpm": "m/min",
        "ft/min": "ft/min", "fpm": "ft/min", "feet/min": "ft/min", "ft/minute": "ft/min",
    },
    "diameter": {
        "m": "m", "cm": "cm", "mm": "mm", "in": "in", "inch": "in", "inches": "in",
    },
}  # fmt: skip
PER_WIDTH = frozenset(
    ("n/m", "n/cm", "n/mm", "kn/m", "pli", "lb/in", "lbs/in", "lbf/in", "kg/cm", "kgf/cm")
)
_OTHER = frozenset(
    (
        "rpm", "1/min", "u/min", "rad/s", "hz", "khz", "bar", "mbar", "psi", "pa", "kpa", "mpa",
        "°c", "degc", "°f", "degf", "k", "a", "kw", "w", "nm", "n·m", "lbft", "mm/s", "ft/s",
        "km/h", "m/s2", "m/s²", "-", "", "hh:mm:ss", "h:m:s", "text", "bool", "0/1", "mv", "um",
        "µm", "t",
    )
)  # fmt: skip


def _small(text: str) -> str:
    return text.strip().strip("[](){}").strip().casefold().replace(" per ", "/").replace(" ", "")


def is_unit(text: str) -> bool:
    """Return whether a text is the spelling of some unit, of a trend's quantities or another.

    Args:
        text: with or without brackets.
    """
    small = _small(text)
    if small in _OTHER or small in PER_WIDTH:
        return True
    if 4 < len(small) <= 30 and re.fullmatch(r"(?:dd|mm|yy|hh|ss|f|ms|[-/.:t])+", small):
        return True  # dd.mm.yyyy hh:mm:ss
    return any(small in spelled for spelled in _SPELLED.values())


def spelled_unit(text: str, quantity: str) -> str:
    """Return the unit that a text spells for a quantity, empty if it spells none of its units.

    Args:
        text: with or without brackets.
        quantity: one of QUANTITIES.
    """
    kind = "tension" if quantity == "setpoint" else quantity
    return _SPELLED.get(kind, {}).get(_small(text), "")


def needs_range(unit: str) -> bool:
    """Return whether a unit of tension is a share of the tension range.

    Args:
        unit: one of UNITS.
    """
    return unit in _OF_RANGE


def _share(values: Array, unit: str) -> Array:
    """Return a signal as a share of its range, from 0 to 1."""
    if unit.startswith("%"):
        return values / 100.0
    if unit.startswith("0..10 V"):
        return values / 10.0
    if unit.startswith("4..20 mA"):
        return (values - 4.0) / 16.0
    return values


def to_si(values: Array, quantity: str, unit: str, tension_range: float | None = None) -> Array:
    """Return a column in SI units, per cent for the output.

    Args:
        values: of the column, any shape [unit].
        quantity: one of QUANTITIES but "automatic".
        unit: one of the quantity's UNITS that is no text.
        tension_range: what 100 % of tension is [N]; needed where `unit` is a share of it.

    Raises:
        ValueError: the tension range is needed and not given.
    """
    if quantity == "output":
        return 100.0 * _share(values, unit)
    if needs_range(unit):
        if tension_range is None:
            raise ValueError("the tension range is needed for a share of it")
        return tension_range * _share(values, unit)
    bare = unit.removesuffix(" radius")
    factor = parse_quantity(f"1 {'day' if bare == 'days' else bare}", _SI[quantity])
    return values * (factor if bare == unit else 2.0 * factor)
