"""Labelled trends explained, many at once: what fitting and reporting share."""

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from threadpoolctl import threadpool_limits

from tests.validation.labelled_trends import LabelledTrend, labelled_trend
from tuning.oscillation.causes import CAUSES
from tuning.oscillation.evidence import evidence, values_of
from tuning.oscillation.findings import findings
from tuning.oscillation.record import as_record

# Building and reporting never share a seed.
BUILDING, REPORTING = range(0, 4000), range(1_000_000, 1_002_000)
SETTINGS = ("read off", "with", "without")


@dataclass(frozen=True)
class Case:
    """One labelled trend: its label and the evidence in each setting."""

    seed: int
    causes: tuple[str, ...]
    story: str
    values: dict[str, dict[str, dict[str, float]]]


def case_of(seed: int) -> Case:
    """Explain one labelled trend."""
    with threadpool_limits(1, "blas"):
        labelled = labelled_trend(seed)
        values = {setting: _values(labelled, setting) for setting in SETTINGS}
    return Case(seed, labelled.causes, labelled.story, values)


def _values(labelled: LabelledTrend, setting: str) -> dict[str, dict[str, float]]:
    """Return the evidence that one labelled trend gives.

    "with": with the scenario; "read off": and with diameter and line speed as read off the machine
    where the trend lacks them, as the screen asks for; "without": from the trend alone.
    """
    scenario = None if setting == "without" else labelled.described
    given = {}
    if setting == "read off":
        given = {"diameter": labelled.diameter, "line_speed": labelled.line_speed}
    seen = findings(as_record(labelled.trend, scenario, **given), scenario)
    return values_of(evidence(seen))


def cases(seeds) -> list[Case]:
    """Explain many, in as many processes as there are processors."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(case_of, seeds, chunksize=10))


NAMES = list(CAUSES)
