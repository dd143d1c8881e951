"""One piece of evidence: how much likelier what was seen is with a cause than without it.

A value is near the natural logarithm of that ratio: 0 says nothing, 1 is a hint, 3 is strong; -3
speaks strongly against. What was not recorded, or can't be told without a scenario, says nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tuning.oscillation.findings import Findings


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence.

    Attributes:
        value: near a log-likelihood ratio [nats]; 0 says nothing.
        words: what was seen, a clause.
    """

    value: float
    words: str = ""


NOTHING = Evidence(0.0)
Judge = Callable[[Findings], Evidence]


def clipped(value: float, low: float, high: float, words: str) -> Evidence:
    """Return evidence held between two values; nothing where the value is not known.

    Args:
        value: near a log-likelihood ratio [nats].
        low: least [nats].
        high: most [nats].
        words: what was seen, a clause.
    """
    if not math.isfinite(value):
        return NOTHING
    return Evidence(min(max(value, low), high), words)


def opposite(judge: Judge) -> Judge:
    """Return a judge to whom the same observation says the opposite.

    Args:
        judge: of what was measured.
    """

    def turned(findings: Findings) -> Evidence:
        seen = judge(findings)
        return Evidence(-seen.value, seen.words)

    return turned
