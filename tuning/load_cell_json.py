"""The study of a machine's load cells as plain data for programs: SI units in the key names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from simulator.cell_duty import RatingChoice
from simulator.load_cell_study import LoadCellStudy
from simulator.scenario import Scenario
from tuning.cell_errors import GainErrorEffect


def load_cell_json(
    study: LoadCellStudy, scenario: Scenario, effect: GainErrorEffect
) -> dict[str, Any]:
    """Return the study as plain data; what is not known is nan, what is without end inf.

    Args:
        study: of the machine.
        scenario: the machine.
        effect: of gain errors on its loop.
    """
    cell, place, forces = scenario.load_cell, study.placement, study.placement.forces
    sizing, plan = study.sizing, study.calibration
    return {
        "wrap_angle_rad": cell.wrap_angle,
        "resultant_angle_rad": cell.bisector_angle,
        "sensing_angle_rad": cell.sensing_angle,
        "best_sensing_angle_rad": place.best_angle,
        "off_axis_rad": place.off_axis,
        "lost_percent": place.lost,
        "reading_change_percent_per_degree_of_wrap": place.gain_per_degree,
        "at_running_tension": {
            "tension_N": forces.tension,
            "resultant_N": forces.resultant,
            "roller_weight_N": forces.weight,
            "web_load_N": forces.web_load,
            "weight_load_N": forces.weight_load,
            "load_N": forces.load,
            "side_load_N": forces.across,
        },
        "balanced_tension_N": place.balanced_tension,
        "next_to_roll": place.next_to_roll,
        "sizing": {
            "needed_rating_N": sizing.needed,
            "recommended_rating_N": sizing.recommended,
            "highest_tension_N": sizing.highest_tension,
            "least_tension_N": sizing.least_tension,
            "shock_factor": sizing.shock_factor,
            "loads_on_a_cell": [
                {
                    "event": case.name,
                    "tension_N": case.tension,
                    "load_N": case.load,
                    "allowed_of_rating": case.allowed,
                }
                for case in sizing.cases
            ],
            "chosen": _rating_json(sizing.chosen),
            "choices": [_rating_json(choice) for choice in sizing.choices],
        },
        "calibration": {
            "least_mass_kg": plan.least_mass,
            "mass_kg": plan.mass,
            "rope_tension_N": plan.force,
            "resultant_N": plan.resultant,
            "rope_advice": plan.rope_advice,
            "expected": [
                {
                    "state": state.name,
                    "tension_N": state.tension,
                    "load_on_a_cell_N": state.load_each,
                    "signal_mV": state.signal,
                    "reading_N": state.reading,
                    "reading_percent": state.reading_share,
                }
                for state in plan.expected
            ],
        },
        "gain_error": {
            "setpoint_N": effect.setpoint,
            "ms_limit": effect.ms_limit,
            "within_limit_from_percent": effect.kept_low,
            "within_limit_to_percent": effect.kept_high,
            "unstable_above_percent": effect.unstable_above,
            "errors": [
                {"gain_error_percent": float(error), "Ms": float(Ms), "web_tension_N": float(web)}
                for error, Ms, web in zip(effect.errors, effect.Ms, effect.web_tension, strict=True)
            ],
        },
        "warnings": list(study.warnings),
    }


def _rating_json(choice: RatingChoice) -> dict[str, Any]:
    given = asdict(choice)
    units = {
        "rated_load": "N", "web_share_least": "percent", "web_share": "percent",
        "load_share": "percent", "signal": "V", "step": "N", "noise": "N", "smallest_change": "N",
        "zero_by_heat": "N", "error": "N", "own_frequency": "Hz",
    }  # fmt: skip
    return {
        **{f"{name}_{unit}": given[name] for name, unit in units.items()},
        "bears_work": choice.bears_work,
        "too_much": list(choice.too_much),
    }
