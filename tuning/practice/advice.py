"""One or two sentences of advice on a practice run, by what was done in it."""

from __future__ import annotations

from simulator import Trend
from tuning.practice.measures import Measures
from tuning.practice.session import Practice


def advice(practice: Practice, run: Trend, m: Measures, ideal: Measures) -> tuple[str, ...]:
    """Return what to do better, most important first; at most two sentences.

    Args:
        practice: the run.
        run: its trend at every scan.
        m: its measures.
        ideal: measures of the ideal run.
    """
    return ()
