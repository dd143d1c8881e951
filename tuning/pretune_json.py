"""The result of `pretune` as plain data for programs: SI units in the key names."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator import OperatingPoint, Scenario
from simulator.machine import reading_of
from simulator.speed_change import SpeedChange
from tuning.design import RollCase
from tuning.gains import Gains
from tuning.gains_as_set import GainsAsSet
from tuning.judged_rules import JudgedRule
from tuning.load_cell_json import load_cell_json
from tuning.pretune import Pretune
from tuning.roll_grid import WorstPoint
from tuning.tolerance_results import Share, ToleranceStudy, quantile

Array = NDArray[np.float64]


def as_json(result: Pretune) -> dict[str, Any]:
    """Return the result as plain data with SI units in the key names; nan and inf become None."""
    design = result.design
    whole: dict[str, Any] = _plain(
        {
            "title": result.scenario.title,
            "zone": result.scenario.zone,
            "operating_points": [_point_json(p.point, result.scenario) for p in result.points],
            "plant": [
                {
                    "diameter_m": p.point.diameter,
                    "line_speed_m_per_s": p.point.line_speed,
                    "static_gain": p.plant.static_gain,
                    "natural_frequency_Hz": p.plant.natural_frequency / (2.0 * math.pi),
                    "damping_ratio": p.plant.damping_ratio,
                    "roll_frequency_Hz": p.roll_frequency,
                }
                for p in result.points
            ],
            "step_test": _step_json(result),
            "rules": [_rule_json(rule) for rule in result.rules],
            "recommended": {
                **_gains_json(design.gains),
                "filter_ratio": design.gains.filter_ratio,
                "kind": design.kind,
                "ms_limit": design.ms_limit,
                "noise_limit_percent": design.noise_limit,
                "worst": {"Ms": design.worst.margins.Ms, **_where_json(design.worst)},
                "binds_integral": _place_json(design.binds_integral),
                "binds_proportional": _place_json(design.binds_proportional),
                "kinds": [
                    {
                        "kind": one.kind,
                        **_gains_json(one.gains),
                        "noise_output_percent": one.noise_output,
                        "limited_by_noise": one.limited_by_noise,
                        "verdict": one.verdict,
                    }
                    for one in design.kinds
                ],
                "problems": list(result.verdict.problems),
                "schedule": [
                    {"diameter_m": entry.diameter, **_gains_json(entry.gains)}
                    for entry in design.schedule.entries
                ],
                "schedule_worst_Ms": design.schedule.worst_Ms,
                "schedule_worth_it": design.schedule.worth_it,
                "schedule_gained": [
                    {"diameter_m": at.diameter, "iae_ratio": at.ratio}
                    for at in design.schedule.gained
                ],
            },
            "load_cell": load_cell_json(result.load_cell, result.scenario, result.gain_errors),
            "as_found": _as_set_json(result.as_set),
            "tolerance": _tolerance_json(result.tolerance),
            "speed_changes": [_ramp_json(change) for _, change in result.speed_changes],
            "handover": {
                "tension_bump_percent": result.handover.tension_bump,
                "output_bump_percent": result.handover.output_bump,
                "settling_s": result.handover.settling,
            },
            "warnings": list(result.warnings),
        }
    )
    return whole


def _step_json(result: Pretune) -> dict[str, Any]:
    test, start = result.step_test, result.points[0].point
    where = {"diameter_m": start.diameter, "line_speed_m_per_s": start.line_speed}
    if test is None:
        none = dict.fromkeys(["step_percent", "model", "fit", "rings"])
        return {**where, **none, "reason": result.no_step_test}
    model = test.fit.best
    return {
        **where,
        "step_percent": test.step,
        "model": {
            "kind": model.kind,
            "gain": model.gain,
            "time_constant_s": model.time_constant,
            "dead_time_s": model.dead_time,
            "damping": model.damping,
        },
        "fit": test.fit.fit_percent,
        "rings": test.fit.rings,
        "reason": "",
    }


def _place_json(case: RollCase | None) -> dict[str, Any] | None:
    return None if case is None else _where_json(case)


def _where_json(case: RollCase | WorstPoint) -> dict[str, float]:
    return {"diameter_m": case.diameter, "line_speed_m_per_s": case.line_speed}


def _as_set_json(found: GainsAsSet | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        **_gains_json(found.gains),
        "scheduled": found.scheduled,
        "worst": {"Ms": found.worst.Ms, **_where_json(found.worst)},
    }


def _tolerance_json(study: ToleranceStudy | None) -> dict[str, Any] | None:
    if study is None:
        return None
    return {
        "samples": study.samples,
        "seed": study.seed,
        "ms_limit": study.ms_limit,
        "stable": _share_json(study.stable),
        "within_limit": _share_json(study.within),
        "worst_Ms_quantiles": _quantiles_json(study.worst_Ms),
        "worst_overshoot_percent_quantiles": _quantiles_json(study.worst_overshoot),
        "tolerances": [
            {"name": one.name, "plus_minus_percent": one.percent, "distribution": one.distribution}
            for one in study.tolerances
        ],
        "influences": [
            {"name": one.name, "rank_correlation": one.rank_correlation, "sure": one.sure}
            for one in study.influences
        ],
    }


def _share_json(share: Share) -> dict[str, float]:
    return {"share": share.value, "low": share.low, "high": share.high}


def _quantiles_json(values: Array) -> dict[str, float]:
    return {f"{level:g}": quantile(values, level) for level in (0.05, 0.5, 0.95)}


def _point_json(point: OperatingPoint, scenario: Scenario) -> dict[str, Any]:
    return {
        "diameter_m": point.diameter,
        "line_speed_m_per_s": point.line_speed,
        "tension_N": point.tension,
        "reading_N": reading_of(scenario, point.tension),
        "output_percent": point.output,
        "torque_N_m": point.torque,
        "slip_power_W": point.slip_power,
        "reachable": point.reachable,
        "reason": point.reason,
        "warnings": list(point.warnings),
    }


def _ramp_json(change: SpeedChange) -> dict[str, Any]:
    return {
        "kind": change.kind,
        "diameter_m": change.diameter,
        "time_s": change.time,
        "acceleration_m_per_s2": change.acceleration,
        "inertia_kg_m2": change.inertia,
        "inertia_torque_N_m": change.inertia_torque,
        "inertia_error_N": change.inertia_error,
        "steady_output_percent": change.steady_output,
        "output_needed_percent": change.output_needed,
        "torque_needed_N_m": change.torque_needed,
        "torque_low_N_m": change.torque_low,
        "torque_high_N_m": change.torque_high,
        "has_torque": change.has_torque,
        "held_tension_N": change.held.tension,
        "held_lost": change.held.lost,
        "compensated_tension_N": change.compensated.tension,
        "compensated_lost": change.compensated.lost,
        "first_swing_N": change.first_swing,
        "swing_lost": change.swing_lost,
        "shortest_time_s": change.shortest_time,
        "follow_time_s": change.follow_time,
        "reason": change.reason,
        "advice": change.advice,
        "warnings": list(change.warnings),
    }


def _rule_json(judged: JudgedRule) -> dict[str, Any]:
    gains, here = judged.suggestion.gains, judged.here
    return {
        "rule": judged.suggestion.rule.name,
        "source": judged.suggestion.rule.source,
        **(_gains_json(gains) if gains else {"Kc": None, "Ti_s": None, "Td_s": None}),
        "stable": here.stable if here else None,
        "Ms": here.Ms if here and here.stable else None,
        "gain_margin": here.gain_margin if here else None,
        "phase_margin_deg": here.phase_margin if here else None,
        "note": judged.note,
    }


def _gains_json(gains: Gains) -> dict[str, Any]:
    return {"Kc": gains.Kc, "Ti_s": gains.Ti, "Td_s": gains.Td}


def _plain(value: Any) -> Any:
    """JSON knows no nan and no infinity: both become None."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
