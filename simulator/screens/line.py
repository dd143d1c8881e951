"""Screen Line: the machine's picture, what follows from it, and the form that changes it."""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from simulator.figures import draw_line
from simulator.line_facts import LineFacts, line_facts
from simulator.ripple import ripple
from simulator.screens import bench
from simulator.screens.line_form import show_form, show_text
from simulator.units import UnitSystem, sensible


def page() -> None:
    """Show the screen."""
    bench.heading("Line", "What is this machine, and what follows from its numbers?")
    scenario, units = bench.current_scenario(), bench.unit_system()
    with st.spinner("Laying out the web path"):
        picture = draw_line(scenario, units=units)
    bench.show_figure(
        picture,
        alt=f"Web path of {scenario.title}, to scale: {scenario.zone} roll, "
        f"{len(scenario.roller)} rollers, {len(scenario.span)} spans, and the nip at line speed",
    )
    if scenario.note:
        st.caption(bench.plain(scenario.note))
    for warning in scenario.warnings:
        st.warning(bench.told(warning))
    try:
        _show_facts(scenario, line_facts(scenario), units)
    except ValueError as error:
        bench.show_error(error)
    st.subheader("Change the machine")
    show_form(scenario)
    show_text(scenario)
    st.markdown(
        "**Next:** check that every number is your machine's, save the file, and go to *Load cell* "
        "to see whether the sensor is right, then to *Manual output* to see whether the torque "
        "device can hold the tension over the whole roll."
    )
    bench.caution()


def _show_facts(scenario: Scenario, facts: LineFacts, units: UnitSystem) -> None:
    st.subheader("What follows")
    rolls = [
        {
            "Roll": roll.name,
            f"Diameter [{units.label('diameter')}]": _number(roll.diameter, "diameter", units),
            f"Inertia [{units.label('inertia')}]": _number(roll.inertia, "inertia", units),
            f"Web on it [{units.label('length')}]": _number(roll.web_length, "length", units),
            "Turns a second, line speed": sensible(roll.turns),
            "Turns a second, crawl": sensible(roll.turns_crawl),
            "Swings on the web at [Hz]": sensible(roll.swing),
            "Damping ratio, line speed": sensible(roll.damping, 2),
            "Damping ratio, crawl": sensible(roll.damping_crawl, 2),
        }
        for roll in facts.rolls
    ]
    st.table(rolls, hide_index=True, alt="Inertia, web length, turns and swing of the roll")
    _show_ripple(scenario, facts, units)
    force, length = units.label("tension"), units.label("length")
    per = units.factor("tension") / units.factor("length")
    spans = [
        {
            "Span, from the roll": f"{i}",
            f"Length [{length}]": _number(span.length, "length", units),
            f"Stiffness [{force}/{length}]": sensible(span.stiffness * per),
            f"Stretch at the running tension [{units.label('diameter')}]": _number(
                span.stretch, "diameter", units
            ),
            "Time constant, line speed [s]": sensible(span.time_constant),
            "Time constant, crawl [s]": sensible(span.time_constant_crawl),
        }
        for i, span in enumerate(facts.spans, start=1)
    ]
    st.table(spans, hide_index=True, alt="Stiffness and time constants of the spans")


def _show_ripple(scenario: Scenario, facts: LineFacts, units: UnitSystem) -> None:
    """What turns out of round shakes the tension once a turn: how fast, and by how much."""
    bodies: dict[str, dict[str, str]] = {}
    diameter, tension = units.label("diameter"), units.label("tension")
    for roll in facts.rolls:
        for body in ripple(scenario, diameter=roll.diameter):
            if body.runout == 0.0:
                continue
            row = bodies.setdefault(
                body.name,
                {f"Out of round by [{diameter}]": _number(body.runout, "diameter", units)},
            )
            row[f"Turns a second, {roll.name}"] = sensible(body.frequency)
            row[f"Ripple ±, {roll.name} [{tension}]"] = _number(body.tension, "tension", units)
    if not bodies:
        return
    st.markdown("**Out of round**, at line speed in manual: tension swings once a turn by")
    st.table(
        [{"What turns": name, **row} for name, row in bodies.items()],
        hide_index=True,
        alt="Ripple of the tension that out-of-round bodies make, with its frequency",
    )


def _number(value: float, kind: str, units: UnitSystem) -> str:
    return sensible(units.show(value, kind))
