"""An explanation as one JSON object; SI units are in the key names."""

from __future__ import annotations

import math
from typing import Any

from tuning.oscillation.causes import CAUSES
from tuning.oscillation.explain import Explanation


def explanation_as_json(explanation: Explanation, *, notes: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return an explanation as plain data; what is not known is null.

    Args:
        explanation: of a trend.
        notes: what the import did to the file.
    """
    s, health = explanation.findings, explanation.health
    record = explanation.record
    regularity = math.nan if s.regularity is None else s.regularity.regularity
    return {
        "verdict": explanation.verdict,
        "oscillation": {
            "present": explanation.present,
            "frequency_Hz": _known(s.frequency),
            "amplitude_N": _known(s.oscillation.amplitude if s.oscillation else math.nan),
            "regularity": _known(regularity),
            "drift": s.ridge.course if s.ridge else "unknown",
            "strength": s.ridge.strength if s.ridge else "unknown",
            "steady_over": s.oscillation.axis if s.oscillation else None,
        },
        "causes": [
            {
                "cause": one.cause,
                "score": round(one.score, 4),
                "evidence": list(one.evidence),
                "against": list(one.against),
                "next_check": one.next_check,
                "remedy": CAUSES[one.cause].remedy,
            }
            for one in explanation.causes
        ],
        "others": [
            {
                "frequency_Hz": _known(one.oscillation.frequency),
                "amplitude_N": _known(one.oscillation.amplitude),
                "cause": one.cause,
                "score": round(one.score, 4),
            }
            for one in explanation.others
        ],
        "machine_frequencies": [
            {
                "name": one.name,
                "kind": one.kind,
                "lowest_Hz": _known(float(one.frequency.min())),
                "highest_Hz": _known(float(one.frequency.max())),
            }
            for one in s.machine
        ],
        "not_checked": list(explanation.not_checked),
        "next_recording": explanation.next_recording,
        "health": {
            "harris_ratio": _known(health.harris_ratio),
            "mean_tension_N": _known(health.mean),
            "standard_deviation_N": _known(health.standard_deviation),
            "variability_percent": _known(health.variability),
            "share_in_automatic": _known(health.automatic),
            "share_at_output_limit": _known(health.at_limit),
            "output_reversals_per_min": _known(health.reversals),
        },
        "record": {
            "duration_s": record.duration,
            "interval_s": record.interval,
            "samples": int(record.tension.size),
            "notes": list(notes),
        },
        "warnings": list(explanation.warnings),
    }


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
