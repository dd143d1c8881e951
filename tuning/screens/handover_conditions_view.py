"""When to switch, where that is safe, the same switch side by side, and what settings do."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from simulator import Scenario
from simulator.reader_units import in_reader_units
from simulator.screens import bench
from simulator.units import UnitSystem
from tuning.gains import Gains
from tuning.handover_conditions import OUTPUT_STEP, ConditionStudy
from tuning.handover_figures import draw_conditions, draw_same_switch
from tuning.handover_judged import DO_NOT, ROUGH_BUMP, VERDICTS
from tuning.handover_settings_figure import draw_settings
from tuning.handover_words import operator_words, settings_in_words
from tuning.screens import answers

SAFE, SAME, SETTINGS = (
    "Where is it safe?",
    "Side by side",
    "Tracking and anti-windup",
)
VIEWS = (SAFE, SAME, SETTINGS)


def view(
    scenario: Scenario,
    units: UnitSystem,
    *,
    gains: Gains | None,
    here: Gains,
    diameter: float,
    line_speed: float,
) -> None:
    """Show one of the closer looks.

    Args:
        scenario: the machine.
        units: that the reader wants.
        gains: that the reader chose; None for those in the scenario, which may follow the roll.
        here: the gains at this diameter.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
    """
    st.subheader("A closer look")
    chosen = st.segmented_control(
        "What to look at", VIEWS, default=SAFE, key="handover.view", required=True,
        label_visibility="collapsed", persist_state="session",
    )  # fmt: skip
    try:
        if chosen == SAFE:
            _safe(scenario, units, gains)
        elif chosen == SAME:
            _same(scenario, units, here, diameter=diameter, line_speed=line_speed)
        else:
            _settings(scenario, units, here, diameter=diameter, line_speed=line_speed)
    except ValueError as error:
        bench.show_error(error)


def when_to_switch(scenario: Scenario, gains: Gains | None) -> None:
    """Show the operator's list: when to switch, when not, when to wait.

    Args:
        scenario: the machine.
        gains: that the reader chose; None for those in the scenario, which may follow the roll.
    """
    try:
        words = operator_words(answers.conditions(scenario, gains), scenario)
    except ValueError as error:
        bench.show_error(error)
        return
    left, right = st.columns(2)
    with left:
        if words.switch_when:
            _listed("Switch when all of this is so", words.switch_when)
        else:
            st.markdown("**Switch when:** at no diameter and speed is it calm with these gains.")
        _listed("If it goes wrong", words.if_wrong)
    with right:
        if words.not_when:
            _listed("Do not switch when", words.not_when)
        if words.wait_when:
            _listed("Wait when", words.wait_when)


def _safe(scenario: Scenario, units: UnitSystem, gains: Gains | None) -> None:
    st.markdown("**Where is it safe to switch?** Each field is one switch, simulated and judged.")
    study = answers.conditions(scenario, gains)
    counts = ", ".join(f"{study.count(verdict)} {verdict}" for verdict in VERDICTS)
    bench.show_picture(
        _painted(study, units), alt=f"The map of conditions: {counts} of {len(study.switches)}."
    )
    st.caption(
        bench.plain(
            f"Where the setpoint does not follow, it stands {100.0 * study.setpoint_gap:.0f} % "
            "above the steady reading. The output was changed by what takes the tension "
            f"{100.0 * OUTPUT_STEP:.0f} % up, or the line changes between running and crawl speed "
            "at its usual rate; the switch comes where the reading moves fastest. "
            "Without tracking the integral term stands at 0. Simulated without noise and runout. "
            f"“{DO_NOT.capitalize()}” begins where the web is lost, the tension is thrown off by "
            f"more than {ROUGH_BUMP:.0f} % or goes on swinging: a choice of ours, not a standard."
        )
    )
    with st.expander("Why, for each field of the map"):
        st.dataframe(
            _rows(study, units), hide_index=True, height=320,
            alt="Each condition with its verdict, the reason, and what to do instead",
        )  # fmt: skip


def _listed(title: str, sentences: Sequence[str]) -> None:
    lines = "\n".join(f"- {bench.told(text)}." for text in sentences)
    st.markdown(f"**{title}**\n\n{lines}")


@st.cache_data(max_entries=20, show_spinner=False)
def _painted(study: ConditionStudy, units: UnitSystem) -> bytes:
    return bench.painted(draw_conditions(study, units))


def _rows(study: ConditionStudy, units: UnitSystem) -> list[dict[str, str]]:
    return [
        {
            "diameter": f"{one.name} {units.text(one.diameter, 'diameter')}",
            "speed": f"{one.at_speed} {units.text(one.line_speed, 'speed')}",
            "tension": one.condition.moves,
            "tracking": "on" if one.condition.tracking else "off",
            "setpoint follows": "yes" if one.condition.setpoint_follows else "no",
            "verdict": one.judged.verdict,
            "why": in_reader_units(one.judged.reason, units),
            "instead": one.judged.instead,
        }
        for one in study.switches
    ]


def _same(
    scenario: Scenario, units: UnitSystem, gains: Gains, *, diameter: float, line_speed: float
) -> None:
    steady, moving = answers.side_by_side(scenario, gains, diameter=diameter, line_speed=line_speed)
    st.markdown(
        "**The same switch side by side** "
        + bench.plain(
            f"at {units.text(diameter, 'diameter')} and "
            f"{units.text(line_speed, 'speed')}, with each setting of the controller, all on "
            "the same axes. Where the setpoint does not follow, it stands a tenth above the steady "
            "reading."
        )
    )
    bench.show_figure(
        draw_same_switch(steady, moving, scenario, units),
        alt="Tension and output around the switch in four columns: tracking on or off, setpoint "
        "following or not; solid while steady, dashed just after a change of the output.",
    )
    st.markdown(
        "**Read it so:** with tracking the output goes on from where it stood, whatever the "
        "setpoint; without, it falls at once to where the integral term was left. A setpoint that "
        "follows keeps the tension of that moment, also a wrong one caught on its way; one that "
        "does not takes the tension to where it stands."
    )


def _settings(
    scenario: Scenario, units: UnitSystem, gains: Gains, *, diameter: float, line_speed: float
) -> None:
    st.markdown("**What do tracking and anti-windup do?** Tried on this machine:")
    study = answers.settings(scenario, gains, diameter=diameter, line_speed=line_speed)
    bench.show_figure(
        draw_settings(study, units),
        alt="Left, tension and output against a limit with anti-windup on and off; right, the "
        "switch with tracking on, and with the integral term left at 0 or at an old value.",
    )
    for sentence in settings_in_words(study):
        st.markdown(bench.told(sentence))
    st.caption("The limit of the output is set near for this picture, so that no web is in danger.")
