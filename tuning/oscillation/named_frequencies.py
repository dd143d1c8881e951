"""The machine's own frequencies by name, those that an oscillation may be first.

Where diameter or speed moved, or was not recorded, a frequency is a band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tuning.oscillation.findings import Findings
from tuning.oscillation.machine_frequencies import MachineFrequency

# A frequency known to better than this ratio is a line [-].
_LINE = 1.04
# An order higher, or a fold, counts as so much farther away [nats].
_UNLIKELY = 0.1
# One within this of the oscillation is on it [nats].
_ON = 0.02
# Half a stretch that a place stands for, of its spread [-].
_HALF_STRETCH = 1.25
# Without a scenario the usual sizes of a body spread wider than this [-].
_USUAL = 4.0
_TURNS = ("roll", "roller", "nip")


@dataclass(frozen=True)
class NamedFrequency:
    """One of the machine's own frequencies, as far as it is known.

    Attributes:
        words: such as "2× roll".
        low: lowest that it may have [Hz].
        high: highest [Hz].
        far: from the oscillation, the less likely the farther [nats].
    """

    words: str
    low: float
    high: float
    far: float

    @property
    def is_line(self) -> bool:
        """Whether it is known so well that it is drawn as a line."""
        return self.high <= _LINE * self.low

    @property
    def middle(self) -> float:
        """Between the two [Hz]."""
        return math.sqrt(self.low * self.high)


def named_frequencies(findings: Findings) -> tuple[NamedFrequency, ...]:
    """Return the machine's frequencies about an oscillation, the likeliest to be it first.

    Args:
        findings: what was measured.
    """
    named = [
        NamedFrequency(words, low, high, _far(findings, low, high, doubts))
        for one in findings.machine
        for words, low, high, doubts in _orders(findings, one)
    ]
    if findings.loop is not None and np.isfinite(findings.loop.frequency).any():
        low = float(np.nanmin(findings.loop.frequency))
        high = float(np.nanmax(findings.loop.frequency))
        named.append(NamedFrequency("loop", low, high, _far(findings, low, high, 0.0)))
    return tuple(_merged(named))


def _orders(findings: Findings, one: MachineFrequency) -> list[tuple[str, float, float, float]]:
    """Words, lowest and highest frequency and doubts of each multiple of one frequency."""
    low, high = float(one.frequency.min()), float(one.frequency.max())
    name, doubts = one.name, 0.0
    oscillation = findings.oscillation
    axis = "time" if oscillation is None else oscillation.axis
    if one.kind in _TURNS:
        if one.frequency.size > 1:
            # Each place stands for a stretch of them, half of it to either side.
            low = float(np.min(one.frequency - _HALF_STRETCH * one.spread))
            high = float(np.max(one.frequency + _HALF_STRETCH * one.spread))
        slow, fast = _swept(findings, roll=one.kind == "roll")
        if axis == "time":
            low, high = low * slow, high * fast
        if findings.scenario is None and high > _USUAL * low:
            name = f"any usual {one.kind}"
    elif axis != "time" and one.kind != "swing":
        return []  # neither hum nor what is folded stands still over another axis than time
    elif one.kind == "mains":
        doubts = 1.0
        true = float(name.split()[1])
        if abs(low - true) > 1e-6 * true:
            name, doubts = f"{name.removesuffix(' folded')} folded", 2.0
    elif one.kind == "folded":
        doubts = 1.0
    rows = []
    for order in one.orders:
        words = name if order == 1 else f"{order}× {name}"
        rows.append((words, order * low, order * high, doubts + order - 1.0))
        if name.startswith("any"):
            break
    return rows


def _swept(findings: Findings, *, roll: bool) -> tuple[float, float]:
    """How far the speed of a roller, or the turn of the roll, went below and above its mean."""
    record = findings.record
    if not record.knows("line_speed"):
        return 1.0, 1.0
    rate = record.line_speed
    if roll and record.knows("diameter"):
        rate = rate / record.diameter
    mean = float(np.average(rate, weights=np.maximum(findings.amplitude**2, 1e-300)))
    slow, fast = np.quantile(rate, [0.02, 0.98]) / mean
    return min(float(slow), 1.0), max(float(fast), 1.0)


def _far(findings: Findings, low: float, high: float, doubts: float) -> float:
    """How far an oscillation is from a band of frequencies [nats]; a wide band says little."""
    width = 0.25 * math.log(high / low) if low > 0.0 else math.inf
    f = findings.frequency
    if not (f > 0.0 and low > 0.0):
        return math.inf
    off = max(math.log(low / f), math.log(f / high), 0.0)
    # On the oscillation itself a doubtful one is still worth more than a sure one elsewhere.
    return off + width + (_UNLIKELY if off > _ON else 0.1 * _UNLIKELY) * doubts


def _merged(named: list[NamedFrequency]) -> list[NamedFrequency]:
    """Lines that fall together get one label, such as "roller 1, roller 2"."""
    merged: list[NamedFrequency] = []
    for one in sorted(named, key=lambda one: one.far):
        if not (one.low > 0.0 and math.isfinite(one.high)):
            continue
        for i, other in enumerate(merged):
            low, high = min(one.low, other.low), max(one.high, other.high)
            same = abs(math.log(one.low / other.low)) + abs(math.log(one.high / other.high)) < 2e-4
            if same or high <= _LINE * low:
                words = f"{other.words}, {one.words}"
                merged[i] = NamedFrequency(words, low, high, other.far)
                break
        else:
            merged.append(one)
    return merged
