"""The debrief on the screen: score, picture, marked moments, and what to do better."""

from __future__ import annotations

import math
from collections.abc import Callable

import streamlit as st

from simulator.screens import bench
from simulator.units import UnitSystem, sensible
from tuning.practice.advice import told
from tuning.practice.debrief import Debrief, debriefed
from tuning.practice.debrief_figure import draw_debrief
from tuning.practice.drill import Part, PracticeError
from tuning.practice.measures import Measures
from tuning.practice.session import Practice, begin_practice
from tuning.practice.session_log import log_text
from tuning.screens import practice_run

# What each part of the score is called.
PARTS: dict[Part, str] = {
    "goal": "goal reached",
    "time": "time to the goal",
    "bump": "bump at the switch",
    "peak": "largest error of the tension",
    "overshoot": "overshoot",
    "error": "mean error",
    "outside": "time outside ± 10 %",
    "web": "web kept taut and whole",
    "moves": "few moves of the output",
}
_WORDS = {
    "good": "well done",
    "usable": "it works, and can be better",
    "again": "do it again",
}


def show() -> None:
    """Show the debrief of the run at hand."""
    units = bench.unit_system()
    debrief, picture = _kept(practice_run.run(), units)
    score = debrief.score
    st.header(f"Debrief: {debrief.drill.title}")
    if score.marks:
        goal = "Goal reached" if debrief.measures.done else "Goal not reached"
        st.markdown(f"### {score.total:.0f} of 100: {_WORDS[score.word]}. {goal}.")
        for text in debrief.advice:
            st.info(bench.told(text))
    bench.show_picture(picture, alt=_alt(debrief))
    left, right = st.columns(2, gap="medium")
    with left:
        _show_moments(debrief)
        _show_traps(debrief)
    with right:
        _show_marks(debrief)
    st.subheader("In numbers")
    _show_numbers(debrief, units)
    _show_buttons(debrief)
    bench.caution()


def _kept(practice: Practice, units: UnitSystem) -> tuple[Debrief, bytes]:
    """The debrief and its picture, made once for a run."""
    kept = st.session_state.get("practice.debrief")
    if kept is None or kept[0] is not practice or kept[1] != units.name:
        debrief = debriefed(practice)
        kept = (practice, units.name, debrief, bench.painted(draw_debrief(debrief, units)))
        st.session_state["practice.debrief"] = kept
    return kept[2], kept[3]


def _alt(debrief: Debrief) -> str:
    score = f"; score {debrief.score.total:.0f} of 100" if debrief.score.marks else ""
    return (
        f"Trend of the run beside the ideal one, with {len(debrief.moments)} marked moments{score}."
    )


def _show_moments(debrief: Debrief) -> None:
    st.subheader("What happened")
    lines = [
        f"{number}. {bench.told(moment.words)} ({moment.at:.0f} s)"
        for number, moment in enumerate(debrief.moments, start=1)
    ]
    st.markdown("\n".join(lines) or "Nothing worth a mark.")


def _show_traps(debrief: Debrief) -> None:
    if traps := told(debrief.practice):
        st.subheader("What the instructor had set")
        st.markdown("\n".join(f"- {bench.told(text)}" for text in traps))


def _show_marks(debrief: Debrief) -> None:
    if not debrief.score.marks:
        return
    st.subheader("Where the points are")
    rows = [
        {"Part": PARTS[mark.part], "Points": f"{mark.points:.0f} of {mark.most:.0f}"}
        for mark in debrief.score.marks
    ]
    st.table(rows, hide_index=True, alt="Points for each part of the score")
    if not debrief.measures.done:
        st.caption("Without the goal, the other parts count for less.")
    if debrief.measures.breaks:
        st.caption("A web that broke under your hands ends the score at 30.")


def _show_numbers(debrief: Debrief, units: UnitSystem) -> None:
    wanted = debrief.practice.start.wanted

    def percent(value: float) -> str:
        return "none" if math.isnan(value) else f"{sensible(value, 2)} %"

    def bump(value: float) -> str:
        if math.isnan(value):
            return "no hand-over"
        force = units.text(0.01 * value * wanted, "tension", digits=2)
        return f"{sensible(value, 2)} %, {force}"

    def seconds(value: float) -> str:
        return "not reached" if math.isnan(value) else f"{sensible(value, 2)} s"

    force = units.label("tension")
    lines: dict[str, Callable[[Measures], str]] = {
        "Time to the goal": lambda m: seconds(m.goal_time),
        "Time to tension, first time within 5 %": lambda m: seconds(m.reached),
        "Bump at the switch, the largest": lambda m: bump(m.bump),
        "Largest error of the tension": lambda m: percent(m.peak),
        "Overshoot": lambda m: percent(m.overshoot),
        "Error added up over time (IAE)": lambda m: (
            f"{sensible(units.show(m.iae, 'tension'), 3)} {force} s"
        ),
        "Mean error": lambda m: percent(m.error),
        "Time outside ± 10 %": lambda m: seconds(m.outside),
        "Web slack": lambda m: seconds(m.slack),
        "Moves of the output": lambda m: f"{m.moves}, {sensible(m.travel, 2)} % in all",
    }
    rows = [
        {"": name, "You": of(debrief.measures), "Ideal operator": of(debrief.ideal)}
        for name, of in lines.items()
    ]
    st.table(rows, hide_index=True, alt="Measures of the run and of the ideal run")
    st.caption(
        "The ideal operator knows the machine's own equations: the output that holds the tension, "
        "and the torque that a change of speed takes. It is a yardstick; full marks need less. "
        "Tension is the web's own, judged from the start, or the call, until the goal had held."
    )


def _show_buttons(debrief: Debrief) -> None:
    practice = debrief.practice
    with st.container(horizontal=True):
        st.button("The same again", type="primary", on_click=_again, key="practice.again")
        st.button("Another drill", on_click=practice_run.leave, key="practice.another")
        st.download_button(
            "Save the log", log_text(practice), on_click="ignore", key="practice.log",
            file_name=f"practice_{practice.setup.drill.replace(' ', '_')}.json",
            mime="application/json",
            help="For your instructor: what was set and done, so that the run can be repeated. "
            "No name is in it.",
        )  # fmt: skip
        st.download_button(
            "Save the trend", debrief.run.to_csv, on_click="ignore",
            key="practice.trend", file_name="practice_trend.csv", mime="text/csv",
        )  # fmt: skip


def _again() -> None:
    try:
        practice_run.start(begin_practice(practice_run.run().setup))
    except PracticeError as error:
        st.toast(bench.told(str(error)))
