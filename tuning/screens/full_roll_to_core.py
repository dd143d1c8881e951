"""Screen: gains that hold from full roll to core, and what a schedule buys."""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from simulator.machine import diameter_range
from simulator.ripple import ripple_in_words
from simulator.roll_run import roll_time
from simulator.scenario import WoundRoll
from simulator.scenario_checks import hunting
from simulator.screens import bench
from simulator.trend_figure import draw_trend
from simulator.units import UnitSystem, sensible
from tuning.design import DEFAULT_MS, RollDesign
from tuning.figures import draw_margins_over_roll, draw_responses, draw_rules
from tuning.margins import CALM_MS, RINGS_ABOVE
from tuning.pretune import plant_points, seat_warnings
from tuning.screens import answers
from tuning.tables import form_rows, gains_in_words, schedule_csv, schedule_rows

LOW, HIGH = CALM_MS, RINGS_ABOVE
# A schedule that allows this much more integral action is worth the trouble [-].
WORTH_IT = 1.5
# Length of the picture of a whole roll [s].
ROLL_RUN_TIME = 120.0


def page() -> None:
    """Show the screen."""
    bench.heading("Full roll to core", "Which gains hold everywhere, and what does a schedule buy?")
    scenario, units = bench.current_scenario(), bench.unit_system()
    # Streamlit forgets a control once its screen is left; the choice is kept beside it.
    st.session_state.setdefault("roll.ms_limit", answers.chosen_ms_limit())
    chosen = st.slider(
        "Largest sensitivity Ms allowed (1.2 calm, 1.6 sound, 2.0 lively)",
        min_value=LOW,
        max_value=HIGH,
        step=0.05,
        key="roll.ms_limit",
    )
    limit = min(max(round(chosen, 2), LOW), HIGH)
    st.session_state[answers.MS_LIMIT] = limit
    try:
        design = answers.design(scenario, ms_limit=limit)
        _show_design(design, scenario, units)
        if len(design.schedule.entries) > 1:
            _show_schedule(design, units)
        _show_responses(design, scenario, units)
        _show_whole_roll(design, scenario, units)
        _show_rules(scenario, units)
    except ValueError as error:
        bench.show_error(error)
    st.markdown(
        "**Next:** open *Handover* to see what happens at the switch from manual to automatic with "
        "these gains."
    )
    bench.caution()


def _show_design(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    worst = design.worst
    place = (
        f"{units.text(worst.diameter, 'diameter')} diameter and "
        f"{units.text(worst.line_speed, 'speed')}"
    )
    bench.show_figure(
        draw_margins_over_roll(design, units),
        alt=f"Ms of the recommended gains over the roll; worst {worst.margins.Ms:.2f} at {place}.",
    )
    st.markdown(
        f"**{bench.plain(gains_in_words(design.gains))}** holds everywhere: Ms is "
        f"{worst.margins.Ms:.2f} at most, at {bench.plain(place)}. Among PI gains within the limit "
        "these have the most integral action, so a slow disturbance leaves least behind."
    )
    if text := hunting(scenario):
        st.error(bench.told(text))
    for warning in (*seat_warnings(plant_points(scenario)), *design.warnings):
        st.warning(bench.told(warning))
    st.dataframe(
        form_rows(design.gains, tension_range=scenario.controller.tension_range),
        hide_index=True,
        height="content",
        alt="The recommended gains in all forms",
    )


def _show_schedule(design: RollDesign, units: UnitSystem) -> None:
    st.subheader("Gains that follow the diameter")
    best = max(design.schedule.entries, key=lambda entry: entry.gains.Ki)
    buys = best.gains.Ki / design.gains.Ki
    where = units.text(best.diameter, "diameter")
    if buys >= WORTH_IT:
        words = (
            f"A schedule would allow up to {sensible(buys, 2)} times the integral action, most at "
            f"{where}; tension would recover about that much faster there."
        )
    else:
        words = f"A schedule buys little here: at most {sensible(buys, 2)} times, at {where}."
    st.markdown(bench.plain(words))
    st.dataframe(
        schedule_rows(design, units),
        hide_index=True,
        height="content",
        alt="Gains for each diameter",
    )
    st.download_button(
        "Save the schedule as CSV", schedule_csv(design), file_name="gain_schedule.csv",
        mime="text/csv", on_click="ignore",
    )  # fmt: skip


def _show_responses(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    st.subheader("The recommended gains on the machine itself")
    responses = answers.responses(scenario, design.gains)
    bench.show_figure(
        draw_responses(responses, scenario, units),
        alt="Setpoint steps of 5 % in automatic at full roll, half and core, at both speeds.",
    )
    notes = [f"{r.name}, {units.text(r.line_speed, 'speed')}: {w}"
             for r in responses for w in r.warnings]  # fmt: skip
    for note in notes:
        st.warning(bench.told(note))


def _show_whole_roll(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    if not isinstance(scenario.roll, WoundRoll):
        return
    st.subheader("A whole roll, run in automatic")
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
        f"A roll lasts {sensible(takes / 60.0)} min at {bench.plain(_speed(scenario, units))}. "
        f"Here {sensible(compression)} layers come off or on for each one in life, while the loop "
        "keeps its own time: the ripple of an out-of-round roll is as large and as fast as there."
    )
    for warning in trend.warnings:
        st.warning(bench.told(warning))


def _speed(scenario: Scenario, units: UnitSystem) -> str:
    return units.text(scenario.run.line_speed, "speed")


def _show_rules(scenario: Scenario, units: UnitSystem) -> None:
    st.subheader("What each rule would do over the roll")
    point = {"diameter": diameter_range(scenario)[1], "line_speed": scenario.run.line_speed}
    test = answers.simulated_step(scenario, **point, step=None, seed=0)
    ultimate = answers.true_cycle(scenario, **point)
    rules = answers.judged_rules(scenario, test.fit.models, **point, ultimate=ultimate)
    bench.show_figure(
        draw_rules(rules, units=units),
        alt="Largest sensitivity Ms of each rule, at the step test and at its worst over the roll.",
    )
    st.caption(
        f"From a step test at {bench.plain(units.text(point['diameter'], 'diameter'))} and "
        f"{bench.plain(units.text(point['line_speed'], 'speed'))}. Most rules were made for a lag "
        f"with a dead time that stays as it is; a limit of {DEFAULT_MS} over the roll is more than "
        "many of them can keep."
    )
