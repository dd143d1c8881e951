"""Screen: a step test, the models that it gives, and what every rule makes of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import streamlit as st

from simulator import Scenario, Trend
from simulator.machine import diameter_range
from simulator.screens import bench
from simulator.units import UnitSystem, sensible
from tuning.figures import draw_fit, draw_relay_test, draw_rules
from tuning.identify import StepFit
from tuning.judged_rules import JudgedRule
from tuning.screens import answers
from tuning.step_test import supply_play
from tuning.tables import fit_rows, form_rows, gains_in_words, model_in_words, rule_rows, severity
from tuning.ultimate import Ultimate

SIMULATED, RECORDED = "Step the machine at hand", "Open a recorded step test"
LARGEST_STEP = 100.0  # [%]


@dataclass(frozen=True)
class _Test:
    """A step test, simulated or recorded, as this screen goes on with it."""

    diameter: float
    line_speed: float
    trend: Trend
    fit: StepFit
    ultimate: Ultimate | None
    warnings: tuple[str, ...]


def page() -> None:
    """Show the screen."""
    bench.heading(
        "Step test and gains",
        "What does a step test say, which rules give which gains, and what do they do on this "
        "machine?",
    )
    scenario, units = bench.current_scenario(), bench.unit_system()
    source = st.radio("Step test", [SIMULATED, RECORDED], horizontal=True, key="step.source")
    diameter, line_speed = bench.pick_point(scenario, key="step")
    try:
        test = (
            _simulated(scenario, diameter, line_speed)
            if source == SIMULATED
            else _recorded(scenario, units, diameter, line_speed)
        )
        if test is not None:
            _show_test(test, scenario, units)
            _show_rules(test, scenario, units)
            _show_ultimate(scenario, units, test.diameter, test.line_speed)
    except ValueError as error:
        bench.show_error(error)
    st.markdown(
        "**Next:** a rule knows only the point of its test. Open *Full roll to core* for gains "
        "that hold over the whole roll, then *Handover* for the switch to automatic."
    )
    bench.caution()


def _simulated(scenario: Scenario, diameter: float, line_speed: float) -> _Test:
    left, middle, right = st.columns(3, vertical_alignment="bottom")
    automatic = left.checkbox("Choose the step from the noise", True, key="step.automatic")
    size = middle.number_input(
        "Step of the output [%]", -LARGEST_STEP, LARGEST_STEP, 3.0, 0.5, disabled=automatic,
        key="step.size",
    )  # fmt: skip
    seed = right.number_input("Seed of the noise", 0, 1_000_000, 0, 1, key="step.seed")
    test = answers.simulated_step(
        scenario, diameter=diameter, line_speed=line_speed, step=None if automatic else size,
        seed=int(seed),
    )  # fmt: skip
    st.caption(
        f"The output steps by {test.step:+.2f} % in manual, stays for {sensible(test.wait, 2)} s, "
        "and steps back."
    )
    ultimate = answers.true_cycle(scenario, diameter=diameter, line_speed=line_speed)
    return _Test(diameter, line_speed, test.trend, test.fit, ultimate, test.warnings)


def _recorded(
    scenario: Scenario, units: UnitSystem, diameter: float, line_speed: float
) -> _Test | None:
    file = st.file_uploader(
        "Trend as CSV with the columns time_s, tension_N, output_percent, recorded in manual",
        type=["csv", "txt"],
        key="step.upload",
    )
    if file is None:
        st.info(
            "No file yet. The trend needs quiet tension, one step of the output of a few per cent, "
            "and enough time to settle; a step back afterwards shows drift."
        )
        return None
    opened = answers.opened_step(
        file.getvalue(),
        name=f"file {file.name}",
        tension_range=scenario.controller.tension_range,
        play=supply_play(scenario),
    )
    low, high = diameter_range(scenario)
    # What the file tells goes before the sliders, if this machine can be there.
    told = low <= opened.diameter <= high and opened.line_speed > 0.0
    if told:
        diameter, line_speed = opened.diameter, opened.line_speed
    place = f"{units.text(diameter, 'diameter')} and {units.text(line_speed, 'speed')}"
    source = "as the file tells" if told else "as the sliders say; set them to where it was made"
    st.caption(
        bench.plain(
            f"Recorded at {place}, {source}. The gains are judged on the machine at hand, there "
            "and over the roll."
        )
    )
    return _Test(diameter, line_speed, opened.trend, opened.fit, None, opened.fit.warnings)


def _show_test(test: _Test, scenario: Scenario, units: UnitSystem) -> None:
    figure = draw_fit(
        test.trend,
        test.fit,
        tension_range=scenario.controller.tension_range,
        play=supply_play(scenario),
        units=units,
    )
    said = model_in_words(test.fit.best)
    rings = "it rings" if test.fit.rings else "no ringing to see"
    bench.show_figure(figure, alt=f"Step test: tension and output over time; {said}; {rings}.")
    st.markdown(f"**The model that fits best** is {bench.plain(said)}.")
    for warning in test.warnings:
        st.warning(bench.told(warning))
    st.dataframe(
        fit_rows(test.fit), hide_index=True, height="content", alt="Models fitted to the step test"
    )


def _show_rules(test: _Test, scenario: Scenario, units: UnitSystem) -> None:
    st.subheader("What the rules make of it")
    rules = answers.judged_rules(
        scenario,
        test.fit.models,
        diameter=test.diameter,
        line_speed=test.line_speed,
        ultimate=test.ultimate,
    )
    usable = sorted((r for r in rules if r.suggestion.gains is not None), key=severity)
    if not usable:
        st.info("No rule gives gains for this test; the reasons are in the table.")
        st.dataframe(
            rule_rows(rules, units), hide_index=True, height="content", alt="Rules, none with gains"
        )
        return
    by_name = {r.suggestion.rule.name: r for r in usable}
    # A choice made for one machine is no choice for another.
    key = f"step.rule.{scenario.title}"
    name = st.selectbox("Look closer at one rule", list(by_name), key=key)
    chosen = by_name.get(name, usable[0])
    bench.show_figure(
        draw_rules(rules, chosen=chosen.suggestion.rule.name, units=units),
        alt="Largest sensitivity Ms of each rule, at the step test and at its worst over the roll.",
    )
    st.caption(
        "Ms is the largest factor by which the loop makes a disturbance worse at some frequency: "
        "1.2 is calm, 1.6 a sound default, above 2 the loop rings."
    )
    st.dataframe(
        rule_rows(rules, units),
        hide_index=True,
        height="content",
        alt="Every rule with gains and margins",
    )
    _show_rule(chosen, scenario)


def _show_rule(chosen: JudgedRule, scenario: Scenario) -> None:
    gains = chosen.suggestion.gains
    if gains is None:
        return
    rule = chosen.suggestion.rule
    memory = ", recalled, not read in a text" if rule.from_memory else ""
    st.markdown(f"**{bench.plain(rule.name)}:** {bench.plain(gains_in_words(gains))}")
    st.caption(bench.plain(f"Source: {rule.source}{memory}. Written for: {rule.applies}."))
    for warning in chosen.suggestion.warnings:
        st.warning(bench.told(warning))
    st.dataframe(
        form_rows(gains, tension_range=scenario.controller.tension_range),
        hide_index=True,
        height="content",
        alt=f"The gains of {rule.name} in all forms",
    )


def _show_ultimate(
    scenario: Scenario, units: UnitSystem, diameter: float, line_speed: float
) -> None:
    st.subheader("The ultimate cycle: true, and from a relay test")
    true = answers.true_cycle(scenario, diameter=diameter, line_speed=line_speed)
    if true is None:
        st.markdown("No proportional gain brings this machine to a steady swing here.")
    else:
        st.markdown(
            f"On the machine's own model the loop just keeps swinging at Ku "
            f"**{sensible(true.gain)} %/%** with a period Pu of **{sensible(true.period)} s**."
        )
    if not st.toggle("Compare with a relay test", key="step.relay"):
        return
    test = answers.relay(scenario, diameter=diameter, line_speed=line_speed, swing=None)
    off = f" ({round(test.gain_error):+d} % in gain)" if math.isfinite(test.gain_error) else ""
    bench.show_figure(
        draw_relay_test(test, units),
        alt="Relay test: the reading swings, the output switches between two levels.",
    )
    st.markdown(
        f"A relay of ±{sensible(test.swing, 2)} % reads Ku **{sensible(test.estimate.gain)} %/%**, "
        f"Pu **{sensible(test.estimate.period)} s**{off}. It is an estimate: the describing "
        "function takes the swing for a pure sine. The reading is without noise here; a relay on "
        "a real machine needs a band wider than its noise."
    )
    for warning in test.warnings:
        st.warning(bench.told(warning))
