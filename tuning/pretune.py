"""The whole job for one machine: from its description to gains and a checked hand-over.

Scenario → operating points and linear plants over the roll → step test → rules judged on this
machine → gains for the whole roll → simulated hand-over. One frozen result carries it all; the
command prints it, and programs read it as JSON (`pretune_json`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simulator import Scenario
from simulator.load_cell_study import LoadCellStudy, load_cell_study
from simulator.machine import named_diameters
from simulator.speed_change import KINDS, SpeedChange, speed_change
from tuning.cell_errors import GainErrorEffect, gain_error_effect
from tuning.design import DEFAULT_MS, RollDesign, design_for_roll
from tuning.gains_as_set import GainsAsSet, judge_as_set
from tuning.handover import Handover, handover
from tuning.judged_rules import JudgedRule, rules_at_point
from tuning.plant_points import PlantPoint, plant_points, seat_warnings
from tuning.roll_responses import RollResponse, roll_responses
from tuning.roll_verdict import RollVerdict, roll_verdict
from tuning.step_test import StepTest, step_test
from tuning.tolerance_results import ToleranceStudy
from tuning.tolerance_study import tolerance_study
from tuning.ultimate import Ultimate, ultimate_cycle

Progress = Callable[[str], None]

# The hand-over is also shown with the setpoint off the reading by this share of the tension.
SETPOINT_OFF = 0.1


@dataclass(frozen=True)
class Pretune:
    """Everything that the main job yields for one machine.

    Attributes:
        scenario: the machine.
        load_cell: what paper tells about its load cells.
        gain_errors: what a wrong reading does to the loop with the recommended gains.
        points: at full roll, half and core (a pull roll has one), at line and at crawl speed.
        step_test: made at full roll and line speed; None where none can be made.
        no_step_test: why none can be made; empty where one was.
        ultimate: the true ultimate cycle there; None if no proportional gain makes it swing.
        rules: every rule, judged.
        design: gains for the whole roll.
        as_set: what the gains in the scenario do over the roll; None where it gives none.
        responses: to a setpoint step on the machine itself, with the recommended gains.
        verdict: on the recommended gains.
        speed_changes: (name of the diameter, what a start, a stop and a fast stop ask there).
        handover: simulated with them at full roll and line speed, as the scenario is set.
        handover_off: the same with the setpoint 10 % above the reading.
        handover_untracked: the same with the integral term not following the output in manual.
        tolerance: how the recommended gains bear what is not known of the machine; None unless
            asked for.
        warnings: what a reader should know.
    """

    scenario: Scenario
    load_cell: LoadCellStudy
    gain_errors: GainErrorEffect
    points: tuple[PlantPoint, ...]
    step_test: StepTest | None
    no_step_test: str
    ultimate: Ultimate | None
    rules: tuple[JudgedRule, ...]
    design: RollDesign
    as_set: GainsAsSet | None
    responses: tuple[RollResponse, ...]
    verdict: RollVerdict
    speed_changes: tuple[tuple[str, SpeedChange], ...]
    handover: Handover
    handover_off: Handover
    handover_untracked: Handover
    tolerance: ToleranceStudy | None = None
    warnings: tuple[str, ...] = ()


def pretune(
    scenario: Scenario,
    *,
    ms_limit: float = DEFAULT_MS,
    tolerance_samples: int = 0,
    workers: int | None = None,
    seed: int = 0,
    progress: Progress = lambda message: None,
) -> Pretune:
    """Do the whole job for one machine.

    Args:
        scenario: the machine.
        ms_limit: largest sensitivity allowed [-], 1.2 to 2.0.
        tolerance_samples: machines in the tolerance study [-]; 0 leaves it out.
        workers: processes for the tolerance study [-]; this one alone if left out.
        seed: of the noise in the step test and of the tolerance study [-].
        progress: called with a line of text as each part begins.

    Raises:
        ValueError: the machine can't be tuned as it stands; the message says why.
    """
    progress("load cells")
    cells = load_cell_study(scenario)
    progress("operating points over the roll")
    points = plant_points(scenario)
    progress("step test in manual")
    test, why = _step_test(scenario, seed=seed)
    progress("rules, judged on this machine")
    start = points[0]
    ultimate = ultimate_cycle(start.plant, scan_time=scenario.controller.scan_time)
    rules = rules_at_point(
        scenario,
        test.fit.models if test else (),
        diameter=start.point.diameter,
        line_speed=start.point.line_speed,
        ultimate=ultimate,
    )
    progress("gains for the whole roll")
    design = design_for_roll(scenario, ms_limit=ms_limit)
    progress("the recommended gains on the machine itself")
    responses = roll_responses(scenario, design.gains)
    progress("hand-over from manual to automatic")
    switch = handover(scenario, design.gains)
    ramps = tuple(
        (name, speed_change(scenario, kind, diameter=diameter))
        for kind in KINDS
        for name, diameter in named_diameters(scenario).items()
    )
    tolerance = None
    if tolerance_samples:
        tolerance = tolerance_study(
            scenario,
            design.gains,
            samples=tolerance_samples,
            seed=seed,
            ms_limit=ms_limit,
            workers=workers,
            progress=lambda done, total: progress(f"tolerance study, {done} of {total} machines"),
        )
    warnings = (
        *scenario.warnings,
        *cells.warnings,
        *seat_warnings(points),
        *(f"{name}: {ramp.reason}" for name, ramp in ramps if ramp.reason),
        *(test.warnings if test else ()),
        *design.warnings,
        *switch.warnings,
        *(tolerance.warnings if tolerance else ()),
    )
    return Pretune(
        scenario=scenario,
        load_cell=cells,
        gain_errors=gain_error_effect(scenario, design.gains),
        points=points,
        step_test=test,
        no_step_test=why,
        ultimate=ultimate,
        rules=rules,
        design=design,
        as_set=judge_as_set(scenario),
        responses=responses,
        verdict=roll_verdict(scenario, design, responses),
        speed_changes=ramps,
        handover=switch,
        handover_off=handover(scenario, design.gains, setpoint_offset=SETPOINT_OFF),
        handover_untracked=handover(scenario, design.gains, tracking=False),
        tolerance=tolerance,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _step_test(scenario: Scenario, *, seed: int) -> tuple[StepTest | None, str]:
    """Return the step test, or why there is none: the rest of the job does not need it."""
    try:
        return step_test(scenario, seed=seed), ""
    except ValueError as error:
        return None, str(error)
