"""What the name of a column says: which quantity, how surely, in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

from simulator.trend_units import QUANTITIES, is_unit, spelled_unit

# A running number of the rows: no quantity, but a time where the interval is known.
COUNT = "count"


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


# Words in common use, English and German; a name is cut up into words before.
_TIME = _set("""
    time timestamp datetime date clock elapsed seconds sec zeit uhrzeit datum zeitstempel
""")
_TENSION = _set("tension ten tens pull force loadcell zug zugkraft bahnzug bahnzugkraft kraft")
_VALUE = _set("pv processvalue actual act measured measurement feedback fbk istwert ist value")
_SETPOINT = _set("""
    sp setpoint set target desired wanted setting sollwert soll
""")
# What these ask for is said by the words beside them; alone they may be anything.
_COMMAND, _DRIVE = _set("reference ref command cmd"), _set("torque drive motor moment")
_DEVICE = _set("brake clutch valve")
_OUTPUT = _DEVICE | _set("output out op co mv cv manipulated stellgrösse stellgroesse")
_SPEED = _set("speed velocity linespeed spd geschwindigkeit bahngeschwindigkeit")
_TURNING = _set("roll motor spindle shaft drum rpm reel roller idler")
_DIAMETER = _set("diameter dia diam durchmesser")
_RADIUS = _set("radius")
_AUTOMATIC = _set("auto automatic mode automatik am betriebsart")
_MANUAL = _set("manual man hand")
_COUNT = _set("sample samples index scan row record number nr no count")
# Words of signals that go with a tension and are none.
_ASIDE = _set("""
    error deviation dev alarm limit gain kp ki kd ti td quality status max hi lo high low taper
    temperature temp pressure std abweichung grenzwert
""")
_AS_WHOLE = {
    "t": "time", "v": "line speed", "d": "diameter", "f": "tension", "y": "tension",
    "u": "output", "w": "setpoint", "a/m": "automatic", "auto/man": "automatic",
    "man/auto": "automatic", "#": COUNT,
}  # fmt: skip


@dataclass(frozen=True)
class NamedColumn:
    """What the name of a column says.

    Attributes:
        quantity: one of QUANTITIES, "count", or empty.
        sure: from 0 for not at all to 4.
        unit: as written, empty if none is.
        aside: whether it is the name of a signal that is none of the quantities.
        says_radius: whether a radius is meant.
        says_manual: whether manual is meant and automatic not.
        says_seconds: whether the name itself is the unit.
    """

    quantity: str = ""
    sure: int = 0
    unit: str = ""
    aside: bool = False
    says_radius: bool = False
    says_manual: bool = False
    says_seconds: bool = False


def read_name(name: str) -> NamedColumn:
    """Return what the name of a column says.

    Args:
        name: of the column as the file has it.
    """
    words, unit = _words(name)
    quantity, sure = _quantity(words, unit)
    have = set(words)
    return NamedColumn(
        quantity,
        sure,
        unit,
        aside=bool(have & _ASIDE),
        says_radius=bool(have & _RADIUS),
        says_manual=bool(have & _MANUAL) and not have & _AUTOMATIC,
        says_seconds=bool(have & {"seconds", "sec"}),
    )


def _words(name: str) -> tuple[list[str], str]:
    """Return the words of a column's name in small letters, and the unit written with it."""
    text = re.sub(r"[ _]per[ _]", "/", name.strip())
    unit = ""
    for found in re.finditer(r"[\[({]([^\[\](){}]{0,24})[\])}]", text):
        if found.group(0)[0] == "[" or is_unit(found.group(1)):
            unit = found.group(1).strip()
            text = text.replace(found.group(0), " ")
    if not unit and (behind := re.fullmatch(r"(.+?)(?:\s+in\s+|\s*/\s+|\s*,\s+)(\S+)", text)):
        text, unit = behind.groups() if is_unit(behind.group(2)) else (text, "")
    parts = [part for part in re.split(r"[^\w%/°²#µ]+|_", text) if part]
    if not unit and len(parts) > 1 and is_unit(parts[-1]):
        unit = parts.pop()
    elif not unit and len(parts) == 1 and parts[0].endswith("%"):
        unit, parts = "%", [parts[0].rstrip("%")]
    if not unit and len(parts) == 1 and len(parts[0]) > 1 and spelled_unit(parts[0], "time"):
        unit = parts[0]
    words = re.sub(r"(?<=[a-zäöü0-9])(?=[A-ZÄÖÜ])", " ", " ".join(parts)).split()
    return [re.sub(r"\d+$", "", word.casefold()) or word for word in words], unit


def _quantity(words: list[str], unit: str) -> tuple[str, int]:
    """Return the quantity that words mean, and how surely from 0 to 4."""
    whole = "".join(words)
    have = set(words) | {a + b for a, b in pairwise(words)}
    if whole in _AS_WHOLE:
        return _AS_WHOLE[whole], 1
    if len(words) == 1 and spelled_unit(words[0], "time") and whole != "d":
        return "time", 2
    if have & _ASIDE:
        return "", 0
    signal = have & (_TENSION | _SPEED | _DIAMETER | _RADIUS | _OUTPUT)
    if have & _TIME and not signal:
        return "time", 3
    if have & (_AUTOMATIC | _MANUAL) and not have & (_SETPOINT | _OUTPUT | _TENSION | _SPEED):
        return "automatic", 3 if have & _AUTOMATIC else 2
    if have & _SPEED:
        usable = not have & _TURNING and "line speed" in _quantities(unit)
        return ("line speed", 2 if have & (_SETPOINT | _COMMAND) else 3) if usable else ("", 0)
    if have & (_DIAMETER | _RADIUS):
        return ("", 0) if have & (_SETPOINT | _COMMAND) else ("diameter", 3)
    if have & _OUTPUT and not (have & _DEVICE and have & _TENSION):
        return "output", 2 if have & _TENSION else 3
    if have & _COMMAND and not have & _SETPOINT:
        if have & _TENSION:
            return "setpoint", 3
        drives = have & _DRIVE and "output" in _quantities(unit)
        return ("output", 2) if drives else ("", 0)
    if have & _SETPOINT:
        return "setpoint", 4 if have & _TENSION else 2
    if have & _TENSION:
        return "tension", 4 if have & _VALUE else 3
    if have & _VALUE:
        return "tension", 2
    return (COUNT, 1) if have & _COUNT else ("", 0)


def _quantities(unit: str) -> set[str]:
    """Return the quantities that a unit may belong to; all for none."""
    if not unit:
        return set(QUANTITIES)
    return {quantity for quantity in QUANTITIES if spelled_unit(unit, quantity)}
