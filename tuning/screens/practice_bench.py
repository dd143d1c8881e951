"""The live bench: a machine that runs in real time, with an operator's controls.

A fragment of the page, drawn again some three times a second, advances the run and shows it. What
stops or ends the run stands outside the fragment, so that it answers however busy the fragment is.
"""

from __future__ import annotations

import html
import math

import streamlit as st

from simulator.screens import bench
from tuning.practice.drills import DRILLS
from tuning.practice.session import Practice
from tuning.practice.view import held_now, panel_of
from tuning.screens import live_view, practice_controls
from tuning.screens.practice_run import (
    PACE,
    PACES,
    STEP,
    catch_up,
    finish,
    keep_pace,
    leave,
    pace,
    run,
    stage,
    step,
)

# Drawn again so often [s]: three times a second and a little.
TICK = 0.3

# All of the bench on one laptop screen: less air than the other screens have.
_STYLE = (
    "<style>"
    ".stMainBlockContainer{padding:3.7rem 1.5rem 1rem}"
    ".stMainBlockContainer .stVerticalBlock{gap:.4rem}"
    ".stMainBlockContainer .stHorizontalBlock{gap:.35rem}"
    ".stMainBlockContainer .stButton button,.stMainBlockContainer .stPopover button"
    "{min-height:2.1rem;padding:0 .6rem}"
    # A markdown's box ends a rem above its text.
    ".stMainBlockContainer h4{padding:0 0 1rem}"
    ".practice-status{display:flex;gap:0 1.2rem;flex-wrap:wrap;padding-bottom:1rem;"
    "font-size:1.2rem;line-height:1.5rem;font-variant-numeric:tabular-nums}"
    ".practice-call{height:1.6rem;font-size:1.3rem;line-height:1.6rem;font-weight:700;"
    "color:#d55e00}"
    "</style>"
)


def show() -> None:
    """Show the live bench."""
    practice = run()
    drill = DRILLS[practice.setup.drill]
    st.html(_STYLE)
    machine = bench.plain(practice.start.scenario.title)
    st.markdown(f"#### {drill.title} :gray[on {machine}]")
    keep_pace()
    with st.container(horizontal=True, vertical_alignment="center"):
        st.segmented_control(
            "Pace", list(PACES), key=PACE, on_change=catch_up, label_visibility="collapsed",
        )  # fmt: skip
        paused = pace() == 0.0
        st.button(f"Step {STEP:g} s", on_click=step, disabled=not paused, key="practice.step")
        st.button("Finish", type="primary", on_click=finish, key="practice.finish")
        st.button("Leave", on_click=leave, key="practice.leave", help="Without a debrief.")
    st.fragment(_live, run_every=None if paused else TICK)()
    begun = bool(practice.done) or practice.time > 1.0
    with st.expander("Story, goal and hint", expanded=paused and not begun):
        st.markdown(f"{drill.story}\n\n**Goal.** {drill.goal.words}\n\n**Hint.** {drill.hint}")
        for new in (a.value for a in practice.start.plan if a.what == "new roll"):
            size = bench.unit_system().text(new, "diameter", digits=3)
            st.markdown(f"**The next roll** is {bench.plain(size)}.")


def _live() -> None:
    if stage() != "live":
        return
    catch_up()
    practice = run()
    if practice.over:
        finish()
        st.rerun(scope="app")
    panel = panel_of(practice)
    _status(practice)
    practice_controls.show(practice, panel)
    live_view.show(panel, practice.start.scenario, bench.unit_system(), pace=pace())


def _status(practice: Practice) -> None:
    """What was called out on the floor; how the goal stands, and how much time is left."""
    goal = DRILLS[practice.setup.drill].goal
    now = held_now(practice, goal)
    left = f"{max(practice.start.time_limit - practice.time, 0.0):.0f} s left"
    if practice.time < practice.start.judged_from:
        parts = ["<b>Goal:</b> wait for the call", left]
    else:
        signs = {"tension": now.tension, "mode": now.mode, "line": now.line}
        state = " ".join(f"{'✓' if good else '✗'} {name}" for name, good in signs.items())
        held = f"held {min(math.floor(now.time), goal.hold):.0f} of {goal.hold:.0f} s"
        # A second more, as the web's own tension, which counts, may come late.
        if now.time >= goal.hold + 1.0:
            held = f"<b>✓ held {goal.hold:.0f} of {goal.hold:.0f} s: finish</b>"
        parts = [f"<b>Goal:</b> {state}", held, left]
    call = f'<div class="practice-call">{html.escape(practice.called)}</div>'
    status = "".join(f"<span>{part}</span>" for part in parts)
    st.markdown(
        f'{call * bool(practice.start.call)}<div class="practice-status">{status}</div>',
        unsafe_allow_html=True,
    )
