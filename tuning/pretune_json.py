"""The result of `pretune` as plain data for programs: SI units in the key names."""

from __future__ import annotations

import math
from typing import Any

from simulator import OperatingPoint
from simulator.speed_change import SpeedChange
from tuning.gains import Gains
from tuning.pretune import JudgedRule, Pretune


def as_json(result: Pretune) -> dict[str, Any]:
    """Return the result as plain data with SI units in the key names; nan and inf become None."""
    design, fit = result.design, result.step_test.fit
    whole: dict[str, Any] = _plain(
        {
            "title": result.scenario.title,
            "zone": result.scenario.zone,
            "operating_points": [_point_json(p.point) for p in result.points],
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
            "step_test": {
                "diameter_m": result.step_test.diameter,
                "line_speed_m_per_s": result.step_test.line_speed,
                "step_percent": result.step_test.step,
                "model": {
                    "kind": fit.best.kind,
                    "gain": fit.best.gain,
                    "time_constant_s": fit.best.time_constant,
                    "dead_time_s": fit.best.dead_time,
                    "damping": fit.best.damping,
                },
                "fit": fit.fit_percent,
                "rings": fit.rings,
            },
            "rules": [_rule_json(rule) for rule in result.rules],
            "recommended": {
                **_gains_json(design.gains),
                "filter_ratio": design.gains.filter_ratio,
                "worst": {
                    "Ms": design.worst.margins.Ms,
                    "diameter_m": design.worst.diameter,
                    "line_speed_m_per_s": design.worst.line_speed,
                },
                "schedule": [
                    {"diameter_m": entry.diameter, **_gains_json(entry.gains)}
                    for entry in design.schedule.entries
                ],
            },
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


def _point_json(point: OperatingPoint) -> dict[str, Any]:
    return {
        "diameter_m": point.diameter,
        "line_speed_m_per_s": point.line_speed,
        "tension_N": point.tension,
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
