"""The live bench: a machine that runs in real time, with an operator's controls.

The run is a value in the session. A fragment of the page, drawn again some three times a second,
advances it by the time gone by; pushes and entries are callbacks that act on it. What stops or
ends the run stands outside the fragment, so that it answers however busy the fragment is.
"""

from __future__ import annotations

import html
import time
from collections.abc import Callable
from typing import Literal

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from simulator.errors import SimulationError
from simulator.figure_style import round_size
from simulator.plan import What
from simulator.screens import bench
from tuning.practice import controls
from tuning.practice.drill import PracticeError
from tuning.practice.drills import DRILLS
from tuning.practice.panel import Panel
from tuning.practice.session import Practice, acted, advanced, zeroed
from tuning.practice.view import held_now, panel_of
from tuning.screens import live_view

Stage = Literal["choose", "live", "debrief"]
# Drawn again so often [s]: three times a second and a little.
TICK = 0.3
PACES = {"Pause": 0.0, "1×": 1.0, "2×": 2.0, "5×": 5.0, "10×": 10.0}
# A single step of a paused run [s].
STEP = 0.5
NUDGES = (-5.0, -1.0, -0.1, 0.1, 1.0, 5.0)
# A push on the setpoint is about this share of the tension range [-].
SETPOINT_STEP = 0.01

# All of the bench on one laptop screen: less air than the other screens have.
_STYLE = (
    "<style>"
    ".stMainBlockContainer{padding:3.4rem 1.5rem 1rem}"
    ".stMainBlockContainer .stVerticalBlock{gap:.4rem}"
    ".stMainBlockContainer .stHorizontalBlock{gap:.35rem}"
    ".stMainBlockContainer .stButton button,.stMainBlockContainer .stPopover button"
    "{min-height:2.1rem;padding:0 .6rem}"
    # A markdown's box ends a rem above its text.
    ".stMainBlockContainer h4{padding:0 0 1rem}"
    ".practice-status{display:flex;gap:0 1.2rem;flex-wrap:wrap;padding-bottom:1rem}"
    ".practice-call{min-height:2rem;font-size:1.35rem;font-weight:700;color:#d55e00}"
    "</style>"
)

_RUN, _STAGE, _LAST, _OWED, _PACE = (
    "practice.run", "practice.stage", "practice.last", "practice.owed", "practice.pace",
)  # fmt: skip


def stage() -> Stage:
    """Return where the trainee is."""
    if _RUN not in st.session_state:
        return "choose"
    found: Stage = st.session_state.get(_STAGE, "choose")
    return found


def run() -> Practice:
    """Return the run at hand."""
    found: Practice = st.session_state[_RUN]
    return found


def start(practice: Practice, *, over: bool = False) -> None:
    """Take a run up: live, or, where it is over, in its debrief.

    Args:
        practice: the run.
        over: whether it is over [-].
    """
    st.session_state[_RUN] = practice
    st.session_state[_STAGE] = "debrief" if over else "live"
    st.session_state[_PACE] = "1×"
    st.session_state[_LAST], st.session_state[_OWED] = time.monotonic(), 0.0


def leave() -> None:
    """Go back to the choice of drills."""
    st.session_state.pop(_RUN, None)
    st.session_state[_STAGE] = "choose"


def show() -> None:
    """Show the live bench."""
    practice = run()
    drill = DRILLS[practice.setup.drill]
    st.html(_STYLE)
    st.markdown(f"#### {drill.title}")
    with st.container(horizontal=True, vertical_alignment="center"):
        # A pace that is clicked away stays: no run without a pace.
        st.session_state[_PACE] = st.session_state.get(_PACE) or "Pause"
        st.segmented_control(
            "Pace", list(PACES), key=_PACE, on_change=_catch_up, label_visibility="collapsed",
        )  # fmt: skip
        paused = _pace() == 0.0
        st.button(f"Step {STEP:g} s", on_click=_step, disabled=not paused, key="practice.step")
        st.button("Finish", type="primary", on_click=_finish, key="practice.finish")
        st.button("Leave", on_click=leave, key="practice.leave", help="Without a debrief.")
    st.fragment(_live, run_every=None if paused else TICK)()
    with st.expander("Story, goal and hint"):
        st.markdown(f"{drill.story}\n\n**Goal.** {drill.goal.words}\n\n**Hint.** {drill.hint}")


def _pace() -> float:
    return PACES[st.session_state.get(_PACE) or "Pause"]


def _catch_up() -> None:
    """Advance the run by the time gone by since it was last looked at."""
    now = time.monotonic()
    seconds = now - st.session_state.get(_LAST, now)
    practice, owed = controls.elapsed(
        run(), seconds, pace=st.session_state.get("practice.was", 1.0),
        owed=st.session_state.get(_OWED, 0.0),
    )  # fmt: skip
    st.session_state[_RUN], st.session_state[_OWED] = practice, owed
    st.session_state[_LAST] = now
    st.session_state["practice.was"] = _pace()


def _step() -> None:
    scan_time = run().running.controller.scan_time
    st.session_state[_RUN] = advanced(run(), max(round(STEP / scan_time), 1))


def _finish() -> None:
    _catch_up()
    st.session_state[_STAGE] = "debrief"


def _act(change: Callable[[Practice], Practice]) -> None:
    """Do something to the run as it is now."""
    _catch_up()
    try:
        st.session_state[_RUN] = change(run())
    except (PracticeError, SimulationError) as error:
        st.toast(bench.told(str(error)))


def _do(what: What, value: float = 0.0) -> None:
    _act(lambda practice: acted(practice, what, value))


def _live() -> None:
    if stage() != "live":
        return
    _catch_up()
    practice = run()
    if practice.over:
        st.session_state[_STAGE] = "debrief"
        st.rerun(scope="app")
    panel = panel_of(practice)
    _status(practice, panel)
    _loop_controls(practice, panel)
    _line_controls(practice, panel)
    live_view.show(panel, practice.start.scenario, bench.unit_system(), pace=_pace())


def _status(practice: Practice, panel: Panel) -> None:
    """What was called out on the floor; how the goal stands, and how much time is left."""
    goal = DRILLS[practice.setup.drill].goal
    now = held_now(practice, goal)
    signs = {"tension": now.tension, "mode": now.mode, "line": now.line}
    state = " ".join(f"{'✓' if good else '✗'} {name}" for name, good in signs.items())
    left = practice.start.time_limit - practice.time
    parts = (
        f"<b>Goal:</b> {state}",
        f"held {min(now.time, goal.hold):.0f} of {goal.hold:.0f} s",
        f"{left:.0f} s left",
        f"automatic would give <b>{panel.automatic_output:.1f} %</b>",
    )
    call = f'<div class="practice-call">{html.escape(practice.called)}</div>'
    status = "".join(f"<span>{part}</span>" for part in parts)
    st.markdown(
        f'{call * bool(practice.start.call)}<div class="practice-status">{status}</div>',
        unsafe_allow_html=True,
    )


def _loop_controls(practice: Practice, panel: Panel) -> None:
    units = bench.unit_system()
    manual = not panel.automatic
    with _row():
        st.button("Manual", key="practice.manual", on_click=_do, args=("manual",), disabled=manual)
        st.button(
            "Automatic", key="practice.automatic", on_click=_do, args=("automatic",),
            disabled=not manual,
        )  # fmt: skip
        _name("Output [%]")
        for step in NUDGES:
            st.button(
                f"{step:+g}".replace("-", "−"), key=f"practice.output{step:+g}",
                disabled=not manual, on_click=_act,
                args=(lambda p, step=step: controls.output_nudged(p, step),),
                help="Output up or down [%]",
            )  # fmt: skip
        st.number_input(
            "Output [%]", 0.0, 100.0, None, 1.0, "%.1f", key="practice.output", width=90,
            on_change=_entered_output, disabled=not manual, placeholder="type",
            label_visibility="collapsed",
        )  # fmt: skip
    step = round_size(SETPOINT_STEP * practice.start.scenario.controller.tension_range)
    with _row():
        _name(f"Setpoint [{units.label('tension')}]")
        for sign in (-5, -1, 1, 5):
            by = f"{units.show(abs(sign) * step, 'tension'):.2g}"
            st.button(
                f"{'+' if sign > 0 else '−'}{by}", key=f"practice.setpoint{sign:+d}",
                on_click=_act, help="Setpoint up or down",
                args=(lambda p, by=sign * step: controls.setpoint_set(
                    p, controls.setpoint_now(p) + by),),
            )  # fmt: skip
        st.button(
            "Setpoint = reading", key="practice.take", on_click=_act,
            args=(controls.setpoint_to_reading,),
        )  # fmt: skip


def _row() -> DeltaGenerator:
    return st.container(horizontal=True, vertical_alignment="center", gap="small")


def _name(text: str) -> None:
    st.markdown(f"**{text}**", width="content")


def _entered_output() -> None:
    value = st.session_state["practice.output"]
    st.session_state["practice.output"] = None
    if value is not None:
        _act(lambda practice: controls.output_set(practice, value))


def _line_controls(practice: Practice, panel: Panel) -> None:
    crawl = practice.start.scenario.run.crawl_speed
    broken = panel.web == "broken"
    with _row():
        _name("Line")
        st.button("Start", key="practice.line.start", on_click=_do, args=("start",))
        st.button(
            "Crawl", key="practice.line.crawl", on_click=_act,
            args=(lambda p: controls.line_speed_set(p, crawl),),
        )  # fmt: skip
        st.button("Stop", key="practice.line.stop", on_click=_do, args=("stop",))
        st.button("Fast stop", key="practice.line.fast", on_click=_do, args=("fast stop",))
        st.button(
            "Thread web", key="practice.thread", on_click=_do, args=("thread",),
            disabled=not (broken and panel.line == "standing"),
        )  # fmt: skip
        st.button("Zero load cells", key="practice.zero", on_click=_act, args=(zeroed,))
        _settings(practice)


def _settings(practice: Practice) -> None:
    k = practice.running.controller
    with st.popover("Settings"):
        st.number_input(
            "Gain Kc", 0.00001, 100.0, float(k.Kc), format="%.5f", key=f"practice.Kc.{k.Kc!r}",
            on_change=_set, args=("Kc", f"practice.Kc.{k.Kc!r}"),
        )  # fmt: skip
        st.number_input(
            "Reset time Ti [s]", 0.001, 1000.0, float(k.Ti), format="%.3f",
            key=f"practice.Ti.{k.Ti!r}", on_change=_set, args=("Ti", f"practice.Ti.{k.Ti!r}"),
        )  # fmt: skip
        st.checkbox(
            "Integral tracks in manual", k.tracking, key=f"practice.tracking.{k.tracking}",
            on_change=_set, args=("tracking", f"practice.tracking.{k.tracking}"),
        )  # fmt: skip
        st.checkbox(
            "Setpoint follows in manual", k.setpoint_follows,
            key=f"practice.follows.{k.setpoint_follows}", on_change=_set,
            args=("setpoint follows", f"practice.follows.{k.setpoint_follows}"),
        )  # fmt: skip
        if practice.setup.drill == "splice to a new roll":
            st.number_input(
                "Preset output of the new roll [%]", 0.0, 100.0, None, 1.0, "%.1f",
                key="practice.preset", on_change=_set, args=("preset", "practice.preset"),
            )  # fmt: skip


def _set(what: What, key: str) -> None:
    value = st.session_state[key]
    if value is not None:
        _do(what, float(value))
