"""What the screens ask for, kept so that a screen drawn again does not compute again.

Results that hold functions (a rule's formula) are kept as they are, all others as copies; both are
frozen, so nothing that a screen does can change them.
"""

from __future__ import annotations

import hashlib

import streamlit as st

from simulator import Scenario, Trend, linearise
from simulator.machine import named_diameters
from simulator.ripple import Ripple, largest_ripple
from simulator.roll_run import run_roll
from simulator.units import UnitSystem
from simulator.zero_drift import DriftRun, drifting_run
from tuning.cell_errors import GainErrorEffect, gain_error_effect
from tuning.design import DEFAULT_MS, RollDesign, design_for_roll
from tuning.detuning import Detuned, calm_enough, detuning
from tuning.fit_machine import fit_machine
from tuning.gain_plane import MS_LEVELS, GainPlane, gain_plane
from tuning.gains import Gains
from tuning.gains_as_set import GainsAsSet, judge_as_set
from tuning.handover import Handover, switch
from tuning.handover_conditions import (
    ConditionStudy,
    handover_conditions,
    moved_at,
    same_switch,
)
from tuning.handover_judged import OUTPUT_CHANGED, STEADY, Condition, Moves
from tuning.handover_place import switch_place
from tuning.handover_settings import SettingsStudy, what_settings_do
from tuning.judged_rules import JudgedRule, rules_at_point
from tuning.machine_fit import MachineFit
from tuning.most_integral import KINDS, Kind
from tuning.process_model import ProcessModel
from tuning.recorded_step import RecordedStep, recorded_step
from tuning.relay_test import RelayTest, relay_test
from tuning.roll_grid import SensitivityMap, sensitivity_map
from tuning.roll_responses import RollResponse, roll_responses
from tuning.roll_verdict import RollVerdict, roll_verdict
from tuning.step_test import StepTest, step_test
from tuning.tolerance_results import Share
from tuning.ultimate import Ultimate, ultimate_cycle

MS_LIMIT = "answers.ms_limit"
CONTROL_KINDS = "answers.kinds"


def chosen_ms_limit() -> float:
    """Return the limit of Ms [-] that the reader chose for the recommended gains."""
    return float(st.session_state.get(MS_LIMIT, DEFAULT_MS))


def chosen_kinds() -> tuple[Kind, ...]:
    """Return the kinds of controller that the reader allows for the recommended gains."""
    kinds: tuple[Kind, ...] = st.session_state.get(CONTROL_KINDS, KINDS)
    return kinds


@st.cache_data(max_entries=30, show_spinner="Stepping the output in manual …")
def simulated_step(
    scenario: Scenario, *, diameter: float, line_speed: float, step: float | None, seed: int
) -> StepTest:
    """Return a step test on the machine."""
    return step_test(scenario, diameter=diameter, line_speed=line_speed, step=step, seed=seed)


def opened_step(data: bytes, *, name: str, tension_range: float, play: float = 0.0) -> RecordedStep:
    """Return a recorded step test."""
    digest = hashlib.sha256(data).hexdigest()
    return _opened(digest, name, tension_range, play, data)


@st.cache_data(max_entries=10, show_spinner="Fitting models to the recorded step …")
def _opened(
    digest: str, name: str, tension_range: float, play: float, _data: bytes
) -> RecordedStep:
    return recorded_step(_data, name=name, tension_range=tension_range, play=play)


@st.cache_data(max_entries=10, show_spinner="Learning the machine from its step tests …")
def learned(
    scenario: Scenario,
    digests: tuple[str, ...],
    free: tuple[str, ...],
    diameters: tuple[float, ...],
    line_speeds: tuple[float, ...],
    _tests: tuple[Trend, ...],
) -> MachineFit:
    """Return the machine that step tests tell of; `digests` stand for the tests."""
    return fit_machine(_tests, scenario, free=free, diameters=diameters, line_speeds=line_speeds)


@st.cache_data(max_entries=60, show_spinner=False)
def true_cycle(scenario: Scenario, *, diameter: float, line_speed: float) -> Ultimate | None:
    """Return the ultimate cycle of the machine's linear plant."""
    plant = linearise(scenario, diameter=diameter, line_speed=line_speed)
    return ultimate_cycle(plant, scan_time=scenario.controller.scan_time)


@st.cache_resource(max_entries=30, show_spinner="Judging every rule over the roll …")
def judged_rules(
    scenario: Scenario,
    models: tuple[ProcessModel, ...],
    *,
    diameter: float,
    line_speed: float,
    ultimate: Ultimate | None,
) -> tuple[JudgedRule, ...]:
    """Return every rule for a step test, judged on the machine."""
    return rules_at_point(
        scenario, models, diameter=diameter, line_speed=line_speed, ultimate=ultimate
    )


@st.cache_data(max_entries=30, show_spinner="Switching a relay …")
def relay(
    scenario: Scenario, *, diameter: float, line_speed: float, swing: float | None
) -> RelayTest:
    """Return a relay test on the machine."""
    return relay_test(scenario, diameter=diameter, line_speed=line_speed, swing=swing)


@st.cache_data(max_entries=20, show_spinner="Looking for gains that hold over the whole roll …")
def design(scenario: Scenario, *, ms_limit: float, kinds: tuple[Kind, ...] = KINDS) -> RollDesign:
    """Return the recommended gains for the whole roll."""
    return design_for_roll(scenario, ms_limit=ms_limit, kinds=kinds)


@st.cache_data(max_entries=20, show_spinner=False)
def mapped(scenario: Scenario, gains: Gains) -> SensitivityMap:
    """Return Ms of gains over diameter and speed."""
    return sensitivity_map(scenario, gains)


@st.cache_data(max_entries=20, show_spinner=False)
def planes(scenario: Scenario, around: Gains, *, ms_limit: float) -> tuple[GainPlane, ...]:
    """Return the plane of Kc and Ki at each named diameter."""
    levels = sorted({*MS_LEVELS, ms_limit})
    return tuple(
        gain_plane(scenario, diameter=D, around=around, levels=levels)
        for D in named_diameters(scenario).values()
    )


@st.cache_data(max_entries=20, show_spinner="Trying calmer and livelier limits …")
def detuned(scenario: Scenario, design: RollDesign) -> tuple[Detuned, ...]:
    """Return the best gains for other limits on Ms."""
    return detuning(scenario, design)


@st.cache_data(max_entries=20, show_spinner="Stepping the setpoint over the roll …")
def responses(scenario: Scenario, gains: Gains) -> tuple[RollResponse, ...]:
    """Return setpoint steps over the roll."""
    return roll_responses(scenario, gains)


@st.cache_data(max_entries=20, show_spinner="Judging each limit on many machines …")
def calm_shares(scenario: Scenario, detuned: tuple[Detuned, ...]) -> tuple[Share, ...]:
    """Return for each limit on Ms the share of machines within tolerances that do not ring."""
    return calm_enough(scenario, detuned)


@st.cache_data(max_entries=20, show_spinner=False)
def verdict(scenario: Scenario, design: RollDesign, units: UnitSystem) -> RollVerdict:
    """Return what to think of the recommended gains."""
    return roll_verdict(scenario, design, responses(scenario, design.gains), units)


@st.cache_data(max_entries=20, show_spinner=False)
def as_set(scenario: Scenario) -> GainsAsSet | None:
    """Return what the gains in the scenario do over the roll."""
    return judge_as_set(scenario)


@st.cache_data(max_entries=20, show_spinner="Running while the zero wanders …")
def drifting(
    scenario: Scenario, *, duration: float, zero_drift: float, gain_error: float, automatic: bool
) -> DriftRun:
    """Return a run with a zero that wanders."""
    return drifting_run(
        scenario,
        duration=duration,
        zero_drift=zero_drift,
        gain_error=gain_error,
        automatic=automatic,
    )


@st.cache_data(max_entries=20, show_spinner="Judging the loop with a wrong reading …")
def gain_errors(scenario: Scenario, gains: Gains) -> GainErrorEffect:
    """Return what gain errors of the load cell do over the roll."""
    return gain_error_effect(scenario, gains)


@st.cache_data(max_entries=20, show_spinner="Running the roll through …")
def whole_roll(scenario: Scenario, *, time_compression: float) -> Trend:
    """Return a run of the whole roll in automatic."""
    return run_roll(scenario, time_compression=time_compression)


@st.cache_data(max_entries=20, show_spinner=False)
def most_shaken(scenario: Scenario) -> tuple[Ripple, float, float]:
    """Return the roll's largest ripple over the whole roll, where it is, and the swing there."""
    return largest_ripple(scenario)


@st.cache_data(max_entries=40, show_spinner="Switching to automatic …")
def switched(
    scenario: Scenario,
    gains: Gains,
    *,
    diameter: float,
    line_speed: float,
    setpoint_offset: float,
    tracking: bool,
    setpoint_follows: bool,
    noise: bool,
    moves: Moves = STEADY,
) -> Handover:
    """Return a simulated hand-over."""
    place = switch_place(scenario, gains, diameter=diameter, line_speed=line_speed)
    return switch(
        place,
        setpoint_offset=setpoint_offset,
        tracking=tracking,
        setpoint_follows=setpoint_follows,
        moved=moved_at(place, moves, noise=noise),
        noise=noise,
        runout=noise,
    )


@st.cache_data(max_entries=20, show_spinner="Switching under all conditions …")
def conditions(scenario: Scenario, gains: Gains | None) -> ConditionStudy:
    """Return the switch under all conditions; without gains with those in the scenario."""
    return handover_conditions(scenario, gains)


@st.cache_data(max_entries=20, show_spinner="Switching with each setting …")
def side_by_side(
    scenario: Scenario, gains: Gains, *, diameter: float, line_speed: float
) -> tuple[tuple[tuple[Condition, Handover], ...], tuple[tuple[Condition, Handover], ...]]:
    """Return the switch with each setting, while steady and just after a change of the output."""
    place = switch_place(scenario, gains, diameter=diameter, line_speed=line_speed)
    return same_switch(place, STEADY), same_switch(place, OUTPUT_CHANGED)


@st.cache_data(max_entries=20, show_spinner="Trying tracking and anti-windup …")
def settings(
    scenario: Scenario, gains: Gains, *, diameter: float, line_speed: float
) -> SettingsStudy:
    """Return what tracking and anti-windup do."""
    return what_settings_do(switch_place(scenario, gains, diameter=diameter, line_speed=line_speed))
