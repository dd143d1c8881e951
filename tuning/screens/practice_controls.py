"""The operator's controls on the live bench: rows of buttons and entries, each a callback."""

from __future__ import annotations

import math

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from simulator.figure_style import round_size
from simulator.plan import What
from simulator.screens import bench
from tuning.practice import controls
from tuning.practice.panel import Panel
from tuning.practice.session import Practice, zeroed
from tuning.practice.view import roll_rests
from tuning.screens.practice_run import act, do

NUDGES = (-5.0, -1.0, -0.1, 0.1, 1.0, 5.0)
# A push on the setpoint is about this share of the tension range [-].
SETPOINT_STEP = 0.01


def _row() -> DeltaGenerator:
    return st.container(horizontal=True, vertical_alignment="center", gap="small")


def _name(text: str) -> None:
    st.markdown(f"**{text}**", width="content")


def show(practice: Practice, panel: Panel) -> None:
    """Show all rows.

    Args:
        practice: the run.
        panel: what it shows now.
    """
    _output_row(panel)
    _setpoint_row(practice)
    _line_row(practice, panel)


def _output_row(panel: Panel) -> None:
    manual = not panel.automatic
    with _row():
        st.button("Manual", key="practice.manual", on_click=do, args=("manual",), disabled=manual)
        st.button(
            "Automatic", key="practice.automatic", on_click=do, args=("automatic",),
            disabled=not manual,
        )  # fmt: skip
        _name("Output [%]")
        for step in NUDGES:
            st.button(
                f"{step:+g}".replace("-", "−"), key=f"practice.output{step:+g}",
                disabled=not manual, on_click=act,
                args=(lambda p, step=step: controls.output_nudged(p, step),),
                help="Output up or down [%]",
            )  # fmt: skip
        # As text: a field for numbers drops a decimal comma, and 4,5 becomes 45.
        st.text_input(
            "Output [%]", key="practice.output", width=80, on_change=_entered,
            args=("practice.output", "output"), disabled=not manual, placeholder="type",
            label_visibility="collapsed", autocomplete="off",
        )  # fmt: skip


def _entered(key: str, what: What) -> None:
    """Take an entry of per cent, with point or comma, and empty the field."""
    text = str(st.session_state[key] or "").strip()
    st.session_state[key] = ""
    if not text:
        return
    try:
        value = float(text.replace(",", ".").replace("−", "-").removesuffix("%"))
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 100.0:
        st.toast(f"{bench.plain(text[:20])}: must be a number from 0 to 100 %.")
    elif what == "output":
        act(lambda practice: controls.output_set(practice, value))
    else:
        do(what, value)


def _setpoint_row(practice: Practice) -> None:
    units = bench.unit_system()
    full = units.show(practice.start.scenario.controller.tension_range, "tension")
    step = round_size(SETPOINT_STEP * full)
    newtons = step / units.factor("tension")
    with _row():
        _name(f"Setpoint [{units.label('tension')}]")
        for sign in (-5, -1, 1, 5):
            st.button(
                f"{'+' if sign > 0 else '−'}{abs(sign) * step:g}",
                key=f"practice.setpoint{sign:+d}", on_click=act, help="Setpoint up or down",
                args=(lambda p, by=sign * newtons: controls.setpoint_set(
                    p, controls.setpoint_now(p) + by),),
            )  # fmt: skip
        st.button(
            "Setpoint = reading", key="practice.take", on_click=act,
            args=(controls.setpoint_to_reading,),
        )  # fmt: skip
        if any(action.what == "new roll" for action in practice.start.plan):
            _preset(practice)


def _preset(practice: Practice) -> None:
    chosen = [a.value for a in practice.done if a.what == "preset"]
    _name(f"Next roll's preset: {f'{chosen[-1]:.1f} %' if chosen else 'none'}")
    st.text_input(
        "Preset [%]", key="practice.preset", width=80, on_change=_entered,
        args=("practice.preset", "preset"), placeholder="type", label_visibility="collapsed",
        autocomplete="off", help="Output at which the next roll's own device stands ready.",
    )  # fmt: skip


def _line_row(practice: Practice, panel: Panel) -> None:
    crawl = practice.start.scenario.run.crawl_speed
    standing = panel.web == "broken" and panel.line == "standing"
    rests = roll_rests(practice)
    with _row():
        _name("Line")
        st.button("Start", key="practice.line.start", on_click=do, args=("start",))
        st.button(
            "Crawl", key="practice.line.crawl", on_click=act,
            args=(lambda p: controls.line_speed_set(p, crawl),),
        )  # fmt: skip
        st.button("Stop", key="practice.line.stop", on_click=do, args=("stop",))
        st.button("**Fast stop**", key="practice.line.fast", on_click=do, args=("fast stop",))
        st.button(
            "Roll turns" if standing and not rests else "Thread web", key="practice.thread",
            on_click=do, args=("thread",), disabled=not (standing and rests), width=110,
            help="A broken web, once line and roll stand.",
        )  # fmt: skip
        st.button("Zero load cells", key="practice.zero", on_click=act, args=(zeroed,))
        _settings(practice)


def _settings(practice: Practice) -> None:
    k = practice.running.controller
    with st.popover("Settings"):
        _gain("Kc", "Gain Kc", k.Kc, 1e-5, 100.0, "How strongly the output answers an error.")
        _gain("Ti", "Reset time Ti [s]", k.Ti, 0.001, 1000.0,
              "How slowly a lasting error is worked off: the longer, the calmer.")  # fmt: skip
        st.checkbox(
            "Integral tracks in manual", k.tracking, key=f"practice.tracking.{k.tracking}",
            on_change=_set, args=("tracking", f"practice.tracking.{k.tracking}"),
            help="In manual, automatic gets ready to start from the output as it is.",
        )  # fmt: skip
        st.checkbox(
            "Setpoint follows in manual", k.setpoint_follows,
            key=f"practice.follows.{k.setpoint_follows}", on_change=_set,
            args=("setpoint follows", f"practice.follows.{k.setpoint_follows}"),
            help="In manual the setpoint is always the reading.",
        )  # fmt: skip


def _gain(what: What, label: str, value: float, low: float, high: float, about: str) -> None:
    """An entry whose push is about a tenth of what stands there."""
    step = 10.0 ** math.floor(math.log10(max(value, low)) - 0.5)
    digits = max(-math.floor(math.log10(step)) + 1, 0)
    key = f"practice.{what}.{value!r}"
    st.number_input(
        label, low, high, min(max(float(value), low), high), step, f"%.{digits}f", key=key,
        on_change=_set, args=(what, key), help=about,
    )  # fmt: skip
    with st.container(horizontal=True, gap="small"):
        for name, times in (("÷ 2", 0.5), ("× 1.25", 1.25)):
            st.button(
                f"{what} {name}", key=f"practice.{what}.{name}", on_click=do,
                args=(what, min(max(value * times, low), high)),
            )  # fmt: skip


def _set(what: What, key: str) -> None:
    value = st.session_state[key]
    if value is not None:
        do(what, float(value))
