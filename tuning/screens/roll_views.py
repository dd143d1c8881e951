"""Closer looks at the recommended gains: one function a look, called with the design."""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from simulator.machine import diameter_range
from simulator.ripple import ripple_in_words
from simulator.roll_run import roll_time
from simulator.scenario import WoundRoll
from simulator.screens import bench
from simulator.trend_figure import draw_trend
from simulator.units import UnitSystem, sensible
from tuning.design import DEFAULT_MS, RollDesign
from tuning.design_figures import draw_detuning, draw_schedule
from tuning.detuning import JUDGED
from tuning.figures import draw_responses, draw_rules
from tuning.gain_plane_figure import draw_gain_plane
from tuning.judged_rules import JudgedRule
from tuning.loop_figures import draw_loads, draw_nyquist
from tuning.roll_responses import STEP_SHARE
from tuning.screens import answers
from tuning.tables import detuned_rows, schedule_csv, schedule_in_words, schedule_rows
from tuning.tolerance_results import Share

# Length of the picture of a whole roll [s].
ROLL_RUN_TIME = 120.0


def room(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Show where gains may lie at each diameter, and how near each loop comes to swinging."""
    flat = design.gains if design.gains.Td == 0.0 else None
    shown = flat or next((k.gains for k in design.kinds if k.kind == "PI"), design.gains)
    st.markdown(
        "**Where gains may lie at each diameter, at every speed.** Blue keeps the limit on Ms, "
        "grey is stable, beyond the black line the loop swings by itself. Only what is blue in all "
        "pictures holds over the whole roll, and gains of your own belong there. The star marks "
        "the most Kc/Ti in it."
    )
    bench.show_figure(
        draw_gain_plane(
            answers.planes(scenario, shown, ms_limit=design.ms_limit),
            shown,
            ms_limit=design.ms_limit,
            suggestions=[judged.suggestion for judged in _judged(scenario)],
            scenario=scenario,
            units=units,
        ),
        alt="Regions of Kc and Kc/Ti that are stable and that keep the limit, at each diameter.",
    )
    notes = "A rule drawn as a square has a derivative, which this picture has not: it compares."
    if flat is None:
        notes += " The star is the best PI control; the recommended gains have a derivative, too."
    if design.gains.is_integral_only:
        notes += " The star lies on the left edge: integral action alone."
    st.caption(notes)
    st.markdown(
        "**How near the loop comes to swinging.** Left, the loop's response must stay out of the "
        "grey circle about −1. Right, what the same means for a disturbance: below 1 the loop "
        "makes it smaller, above 1 larger."
    )
    bench.show_figure(
        draw_nyquist(design, scenario, units),
        alt="Nyquist curves at each diameter with the circle of the limit on Ms, and sensitivity "
        "over frequency.",
    )


def steps_and_loads(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Show what the machine does after a step of the setpoint, and what a load leaves behind."""
    responses = answers.responses(scenario, design.gains)
    st.markdown(
        f"**A setpoint step of {100.0 * STEP_SHARE:.0f} % on the machine itself**, with its "
        "friction, play and limits. Where it overshoots too much, ramp the setpoint or take a "
        "calmer Ms:"
    )
    bench.show_figure(
        draw_responses(responses, scenario, units),
        alt="Setpoint steps of 5 % in automatic at full roll, half and core, at both speeds.",
    )
    bench.show_warnings(
        f"{r.name}, {units.text(r.line_speed, 'speed')}: {text}"
        for r in responses
        for text in r.warnings
    )
    st.markdown(
        "**A load**, such as a brake that loses torque worth 1 % of output, at line speed: the "
        "tension leaves its setpoint and the loop brings it back."
    )
    bench.show_figure(
        draw_loads(design, scenario, units),
        alt="Tension after a load step at each diameter, with one set of gains and a schedule.",
    )


def schedule(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Show gains that follow the diameter and what they buy."""
    st.markdown(bench.plain(schedule_in_words(design, units)))
    if not design.schedule.entries:
        return
    if not design.schedule.worth_it and not st.toggle("Show it all the same", key="roll.show_it"):
        return
    bench.show_figure(
        draw_schedule(design, units),
        alt="Kc and Kc/Ti of the schedule over diameter, and how many times less error it leaves.",
    )
    st.dataframe(
        schedule_rows(design, units),
        hide_index=True,
        height="content",
        alt="Gains at each point of the schedule",
    )
    st.caption(
        "Between two points the controller goes on straight lines of Kc and Ti; the limit on Ms is "
        "kept there, too. A controller that jumps from one set to the next needs more points."
    )
    st.download_button(
        "Save the schedule as CSV", schedule_csv(design), file_name="gain_schedule.csv",
        mime="text/csv", on_click="ignore",
    )  # fmt: skip


def whole_roll(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Run a whole roll in automatic."""
    if not isinstance(scenario.roll, WoundRoll):
        st.info("A pull roll keeps its diameter: there is no roll to run through.")
        return
    choices = ["the one set of gains", "gains that follow the diameter"]
    chosen = st.radio(
        "With", choices, key="roll.run_with", horizontal=True, persist_state="session"
    )
    takes = roll_time(scenario)
    compression = max(takes / ROLL_RUN_TIME, 1.0)
    tuned = design.set_in(scenario, scheduled=chosen == choices[1])
    trend = answers.whole_roll(tuned, time_compression=compression)
    bench.show_figure(
        draw_trend(trend, units=units),
        alt="Tension, output and diameter while one roll runs through in automatic.",
    )
    st.markdown(bench.told(ripple_in_words(answers.most_shaken(scenario))))
    st.caption(
        f"A roll lasts {sensible(takes / 60.0)} min at "
        f"{bench.plain(units.text(scenario.run.line_speed, 'speed'))}. "
        f"Here {sensible(compression)} layers come off or on for each one in life, while the loop "
        "keeps its own time: the ripple of an out-of-round roll is as large and as fast as there."
    )
    bench.show_warnings(trend.warnings)


def rules(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Show what each tuning rule would do over the roll."""
    judged = _judged(scenario)
    bench.show_figure(
        draw_rules(judged, units=units),
        alt="Largest sensitivity Ms of each rule, at the step test and at its worst over the roll.",
    )
    place = (
        f"{units.text(diameter_range(scenario)[1], 'diameter')} and "
        f"{units.text(scenario.run.line_speed, 'speed')}"
    )
    st.caption(
        f"From a step test at {bench.plain(place)}. Most rules were made for a lag with a dead "
        f"time that stays as it is; a limit of {DEFAULT_MS} over the roll is more than many of "
        "them can keep. Take a rule's gains only where its diamond is left of the limit, too."
    )


def calm(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Show what calmer and livelier limits on Ms cost and buy."""
    detuned = answers.detuned(scenario, design)
    st.markdown(
        "A calmer loop bears more of what is not known of the machine, and leaves more of a "
        "disturbance behind. Each point is the best that can be done within that limit."
    )
    bench.show_figure(
        draw_detuning(detuned, design),
        alt="Error left after a load against the limit on Ms, relative to the recommended gains.",
    )
    shares: tuple[Share, ...] = ()
    if st.toggle(
        f"Judge each on {JUDGED} machines within the usual tolerances", key="roll.judge_calm"
    ):
        shares = answers.calm_shares(scenario, detuned)
    st.dataframe(
        detuned_rows(detuned, shares), hide_index=True, height="content",
        alt="The best gains for each limit on Ms",
    )  # fmt: skip
    st.markdown("To take one of them, set the slider at the top to its limit.")


def _judged(scenario: Scenario) -> tuple[JudgedRule, ...]:
    point = {"diameter": diameter_range(scenario)[1], "line_speed": scenario.run.line_speed}
    ultimate = answers.true_cycle(scenario, **point)
    try:
        models = answers.simulated_step(scenario, **point, step=None, seed=0).fit.models
    except ValueError as error:
        st.info(bench.told(f"no step test, because {error}; rules that need one give nothing"))
        models = ()
    return answers.judged_rules(scenario, models, **point, ultimate=ultimate)
