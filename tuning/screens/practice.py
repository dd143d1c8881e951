"""Screen: practise the start, the hand-over and trouble, on a machine that can't be hurt."""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from simulator.screens import bench
from simulator.units import sensible
from tuning.gains import Gains
from tuning.practice.drill import Drill, PracticeError
from tuning.practice.drills import DRILLS
from tuning.practice.session import begin_practice
from tuning.practice.setup import Setup, practice_machine
from tuning.screens import (
    answers,
    live_view,
    practice_bench,
    practice_debrief,
    practice_instructor,
    practice_run,
)

CAUTION = (
    "**This is a simulation.** On the real floor the machine's own procedures, its guarding and "
    "its stop devices rule, and so do local codes and whoever is trained and licensed to run it. "
    "Rolls and nips draw in, a full roll runs on for a long time, and no drill here has taught you "
    "your machine: never try there what only went well here."
)


def page() -> None:
    """Show the screen: the choice of a drill, the live bench, or the debrief."""
    stage = practice_run.stage()
    if stage == "live":
        practice_bench.show()
    elif stage == "debrief":
        practice_debrief.show()
    else:
        _choose()


def _choose() -> None:
    bench.heading("Practice", "Can I do it?")
    st.warning(CAUTION)
    scenario = bench.current_scenario()
    try:
        with st.spinner("Setting the gains for automatic …"):
            machine = machine_of(scenario)
    except ValueError as error:
        bench.show_error(error, lead="There is no automatic to practise on this machine:")
        return
    setup = _drill(machine)
    practice_instructor.show(setup)
    bench.caution()


def machine_of(scenario: Scenario) -> Scenario:
    """Return the machine to practise on: with the gains recommended for it, else those as found.

    Args:
        scenario: the machine at hand.

    Raises:
        ValueError: there are neither.
    """
    try:
        limit, kinds = answers.chosen_ms_limit(), answers.chosen_kinds()
        gains = answers.design(scenario, ms_limit=limit, kinds=kinds).gains
    except ValueError:
        if scenario.controller.Kc is None:
            raise
        gains = Gains.from_controller(scenario.controller)
    return practice_machine(scenario, gains)


def _drill(machine: Scenario) -> Setup:
    """Let the trainee choose a drill, read what it is about, and start it."""
    left, right = st.columns([2, 3], gap="medium")
    with left:
        key = st.radio(
            "Drill", list(DRILLS), key="practice.drill", persist_state="session",
            format_func=lambda key: _named(key, machine),
        )  # fmt: skip
    drill = DRILLS[key]
    reason = drill.refused(machine)
    with right:
        st.subheader(drill.title)
        st.markdown(drill.story)
        st.markdown(f"**Goal.** {drill.goal.words}")
        st.markdown(f"**Job card.** {_job(drill, machine)}")
        button = st.container()
        if reason:
            st.info(
                f"This drill does not suit the machine at hand: {bench.plain(reason)}. Choose "
                "another machine at the left, or another drill."
            )
        else:
            start = drill.set_up(machine, 0)
            live_view.show_machine(
                machine, bench.unit_system(), diameter=start.diameter, line_speed=start.line_speed
            )
        with st.expander("A hint"):
            st.markdown(drill.hint)
        seed, traps = practice_instructor.chosen(drill, machine)
    setup = Setup(drill.key, machine, seed, traps)
    with button:
        _start_button(setup, disabled=bool(reason))
    return setup


def _start_button(setup: Setup, *, disabled: bool) -> None:
    if st.button("Start this drill", type="primary", disabled=disabled, key="practice.start"):
        try:
            practice_run.start(begin_practice(setup))
        except PracticeError as error:
            bench.show_error(error)
            return
        st.rerun()


def _named(key: str, machine: Scenario) -> str:
    drill = DRILLS[key]
    return f"{drill.title} (not on this machine)" if drill.refused(machine) else drill.title


def _job(drill: Drill, machine: Scenario) -> str:
    units = bench.unit_system()
    wanted = units.text(machine.run.tension, "tension", digits=3)
    speed = units.text(machine.run.line_speed, "speed", digits=3)
    job = f"{wanted} at {speed}"
    if not drill.refused(machine):
        start = drill.set_up(machine, 0)
        job += f"; {sensible(start.time_limit, 2)} s at most, less if you finish before"
        for new in (action.value for action in start.plan if action.what == "new roll"):
            now, then = (units.text(d, "diameter", digits=3) for d in (start.diameter, new))
            job += f"; roll {now}, the next one {then}"
    return bench.plain(job + ".")
