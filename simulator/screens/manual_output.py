"""Screen Manual output: which output holds the tension, over the whole roll."""

from __future__ import annotations

import streamlit as st

from simulator import OperatingPoint, Scenario, operating_point
from simulator.figures import draw_manual_output
from simulator.machine import reading_of, taper_at
from simulator.manual_output import manual_output_curve, startup_points
from simulator.screens import bench, speed_changes
from simulator.units import UnitSystem, sensible


def page() -> None:
    """Show the screen."""
    bench.heading("Manual output", "Which output holds the tension, from full roll to core?")
    scenario, units = bench.current_scenario(), bench.unit_system()
    tension = _pick_tension(scenario)
    diameter, speed = bench.pick_point(scenario, key="manual_output")
    picture, readings = st.container(), st.container()
    try:
        at = tension * taper_at(scenario, diameter)
        point = operating_point(scenario, diameter=diameter, line_speed=speed, tension=at)
        curve = manual_output_curve(scenario, tension=tension)
        startup = startup_points(scenario, tension=tension)
    except ValueError as error:
        bench.show_error(error)
        return
    with readings:
        _show_readings(scenario, point, units)
    with picture:
        bench.show_figure(
            draw_manual_output(curve, units=units, chosen=point),
            alt="Output that holds the tension, tension within reach and power of the torque "
            f"device, against {curve.against}",
        )
    st.subheader("For startup")
    st.table(
        [_row(scenario, name, at, p, units) for name, at, p in startup],
        hide_index=True,
        alt="Manual output at the diameters and speeds of a startup",
    )
    _show_remarks(startup)
    st.markdown(_next_step(scenario, startup[0][2], units))
    speed_changes.section(scenario, diameter=diameter, tension=tension)
    bench.caution()


def _pick_tension(scenario: Scenario) -> float:
    run, most = scenario.run, scenario.controller.tension_range
    if scenario.web.breaking_tension is not None:
        most = min(most, scenario.web.breaking_tension)
    return bench.pick_value(
        "Tension", "tension", low=min(0.02 * most, run.tension), high=most, start=run.tension,
        key="manual_output.tension",
    )  # fmt: skip


def _show_readings(scenario: Scenario, point: OperatingPoint, units: UnitSystem) -> None:
    motor = scenario.torque_device.kind == "torque motor"
    output, display, torque, power, worth = st.columns(5)
    output.metric("Output", f"{point.output:.1f} %")
    display.metric(
        "Display shows", units.text(reading_of(scenario, point.tension), "tension"),
        help="In manual at this tension, with the zero and gain errors of the load cells.",
    )  # fmt: skip
    torque.metric(
        "Torque of the device", units.text(point.torque, "torque"),
        help=f"At the roll, behind the gear: {units.text(point.roll_torque, 'torque')}",
    )  # fmt: skip
    power.metric("Mechanical power" if motor else "Heat", units.text(point.slip_power, "power"))
    worth.metric("One per cent is worth", units.text(point.tension_per_percent, "tension"))
    if point.reason:
        (st.warning if point.reachable else st.error)(bench.told(point.reason))
    for warning in point.warnings:
        st.warning(bench.told(warning))


def _row(
    scenario: Scenario, name: str, at: str, point: OperatingPoint, units: UnitSystem
) -> dict[str, str]:
    remark = "out of reach" if not point.reachable else "little room" if point.reason else ""
    if point.warnings:
        remark = f"{remark}, see below" if remark else "see below"
    return {
        "Roll": name,
        f"Diameter [{units.label('diameter')}]": sensible(units.show(point.diameter, "diameter")),
        "Line at": at,
        "Output [%]": f"{point.output:.1f}",
        f"Display shows [{units.label('tension')}]": sensible(
            units.show(reading_of(scenario, point.tension), "tension")
        ),
        f"Torque [{units.label('torque')}]": sensible(units.show(point.torque, "torque")),
        f"Power [{units.label('power')}]": sensible(units.show(point.slip_power, "power")),
        f"1 % is worth [{units.label('tension')}]": sensible(
            units.show(point.tension_per_percent, "tension")
        ),
        "Remark": remark,
    }


def _show_remarks(startup: tuple[tuple[str, str, OperatingPoint], ...]) -> None:
    lines = [
        f"- **{name}, {at}:** {bench.told(text)}"
        for name, at, point in startup
        for text in (point.reason, *point.warnings)
        if text
    ]
    if lines:
        st.warning("\n".join(lines))


def _next_step(scenario: Scenario, first: OperatingPoint, units: UnitSystem) -> str:
    shown = units.text(reading_of(scenario, first.tension), "tension")
    if not first.reachable:
        return (
            "**Next:** this tension can't be held at crawl speed: change the tension, the torque "
            "device or its gear on *Line* before you go on."
        )
    return (
        f"**Next:** at the machine, in manual, at crawl speed, start with {first.output:.1f} % and "
        f"compare the display with {bench.plain(shown)}. A reading that is far off means a wrong "
        "number on *Line*, or a load cell to zero and calibrate. Then go to *Step test and gains*."
    )
