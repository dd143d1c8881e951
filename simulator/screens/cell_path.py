"""View of the screen Load cell: where the web wraps the roller, and which way the cells face."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import streamlit as st

from simulator import Scenario, ScenarioError, with_values
from simulator.cell_forces import off_axis
from simulator.cell_geometry_figure import draw_cell_geometry
from simulator.cell_geometry_words import geometry_in_words
from simulator.cell_placement import place_cells
from simulator.machine import diameter_range
from simulator.roll_wrap import wrap_over_roll
from simulator.roll_wrap_figure import draw_roll_wrap
from simulator.screens import bench
from simulator.sensing_and_control import is_square
from simulator.units import UnitSystem
from simulator.web_wrap import (
    RollerPlace,
    Rollers,
    Turning,
    Wrap,
    drawn_rollers,
    wrap_from_directions,
    wrap_from_rollers,
)

FILE, ROLLERS, DIRECTIONS = "the machine's file", "three rollers", "two directions of the web"
_SENSES: dict[str, Turning] = {"↺ ccw": "counterclockwise", "↻ cw": "clockwise"}
_NAMES = ("Before it", "Load-cell roller", "After it")
_FAULTS = "cell.path.faults"


def view(scenario: Scenario, units: UnitSystem) -> None:
    """Show the view.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    source = st.radio(
        "Where the web goes is taken from", [FILE, ROLLERS, DIRECTIONS], horizontal=True,
        key="cell.path.source", persist_state="session",
    )  # fmt: skip
    picture = st.container()
    wrap: Wrap | None = None
    rollers: Rollers | None = None
    try:
        if source == ROLLERS:
            rollers = _enter_rollers(scenario)
            wrap = wrap_from_rollers(*rollers)
        elif source == DIRECTIONS:
            wrap = _enter_directions(scenario)
        trial = scenario if wrap is None else _with_wrap(scenario, wrap)
    except ValueError as error:
        bench.show_error(error, lead="This path can't be used; the machine is as before:")
        return
    cell = trial.load_cell
    words = geometry_in_words(cell, scenario.run.tension, units)
    with picture:
        bench.show_figure(
            draw_cell_geometry(
                cell, tension=scenario.run.tension, units=units,
                diameter=scenario.cell_roller.diameter,
                wrap=wrap, rollers=rollers,
            ),
            alt=words,
        )  # fmt: skip
        st.markdown(bench.plain(words))
    if wrap is not None:
        same = _same_path(scenario, trial)
        known = place_cells(scenario).warnings
        new = [text for text in place_cells(trial).warnings if text not in known]
        bench.show_warnings(
            (*wrap.warnings, *([] if same else [f"with this path, {text}" for text in new]))
        )
        _offer(scenario, trial, same=same)
    if rollers is not None:
        _show_shrinking_roll(scenario, rollers, cell.sensing_angle)


def _with_wrap(scenario: Scenario, wrap: Wrap) -> Scenario:
    """The machine with another wrap; cells that would feel nothing of it are turned to it."""
    cell, pull = scenario.load_cell, wrap.bisector_angle
    facing = pull if is_square(cell.sensing_angle, pull) else cell.sensing_angle
    changed = replace(cell, wrap_angle=wrap.wrap_angle, bisector_angle=pull, sensing_angle=facing)
    return replace(scenario, load_cell=changed)


def _enter_rollers(scenario: Scenario) -> Rollers:
    st.caption(
        "From the drawing: where the middle of each roller lies, x to the right and y up from any "
        "point, and which way it turns with the web running. At first they are as on *Line*, where "
        "the neighbours are drawn freely."
    )
    places = []
    for i, (name, first) in enumerate(zip(_NAMES, _drawing(scenario), strict=True)):
        columns = st.columns((2, 2, 2, 2, 3), vertical_alignment="bottom")
        columns[0].markdown(f"**{name}**")
        values = []
        for column, label, start, least in (
            (columns[1], "x", first.x, -100.0),
            (columns[2], "y", first.y, -100.0),
            (columns[3], "Diameter", first.diameter, 0.001),
        ):
            with column:
                values.append(
                    bench.enter_value(
                        label, "diameter", start=round(start, 4), low=least, high=100.0,
                        key=f"cell.path.{scenario.title}.{i}.{label}",
                    )
                )  # fmt: skip
        senses = list(_SENSES)
        with columns[4]:
            sense = st.selectbox(
                "Turns (counter- or clockwise)", senses,
                list(_SENSES.values()).index(first.turning),
                key=f"cell.path.{scenario.title}.{i}.turns", persist_state="session",
            )  # fmt: skip
        places.append(RollerPlace(values[0], values[1], values[2], _SENSES[sense]))
    return places[0], places[1], places[2]


def _drawing(scenario: Scenario) -> Rollers:
    """Where the entries begin: the layout of the machine as it was when it was first seen here, so
    that what is typed stays when the path is taken over."""
    kept: dict[str, Rollers] = st.session_state.setdefault("cell.path.drawings", {})
    return kept.setdefault(scenario.title, drawn_rollers(scenario))


def _enter_directions(scenario: Scenario) -> Wrap:
    st.caption(
        "Directions in which the web travels: 0° to the right, 90° up, 180° to the left, -90° down."
    )
    first = wrap_from_rollers(*_drawing(scenario))
    left, middle, right = st.columns(3)
    angles = []
    for column, label, start in (
        (left, "Towards the roller [°]", first.entering_angle),
        (middle, "Away from the roller [°]", first.leaving_angle),
    ):
        shown = round(math.degrees(start), 2)
        angles.append(
            column.number_input(
                label, -360.0, 360.0, shown, 1.0, key=f"cell.path.{scenario.title}.{label}",
                persist_state="session",
            )
        )  # fmt: skip
    sense = right.selectbox(
        "The roller turns", ["by the smaller turn of the web", *_SENSES], key="cell.path.sense",
        persist_state="session",
    )  # fmt: skip
    entering, leaving = map(math.radians, angles)
    return wrap_from_directions(entering, leaving, _SENSES.get(sense))


def _same_path(scenario: Scenario, trial: Scenario) -> bool:
    now, new = scenario.load_cell, trial.load_cell
    apart = math.remainder(now.bisector_angle - new.bisector_angle, 2.0 * math.pi)
    # As exact as angles are written into a file.
    return abs(now.wrap_angle - new.wrap_angle) < 1e-4 and abs(apart) < 1e-4


def _offer(scenario: Scenario, trial: Scenario, *, same: bool) -> None:
    """Offer to put the path into the machine at hand."""
    now, new = scenario.load_cell, trial.load_cell
    if error := st.session_state.get(_FAULTS):
        bench.show_error(error, lead="The machine is as before:")
    off = math.degrees(off_axis(new))
    if same and off < 0.05:
        st.caption("The machine has this path, and its cells face along it.")
        return
    if not same:
        st.info(
            f"Not used yet: the machine has a wrap of {math.degrees(now.wrap_angle):.4g}° and a "
            f"resultant at {math.degrees(now.bisector_angle):.4g}°, this path "
            f"{math.degrees(new.wrap_angle):.4g}° at {math.degrees(new.bisector_angle):.4g}°. "
            "Diameters and spans on *Line* stay as they are."
        )
    square = is_square(now.sensing_angle, new.bisector_angle)
    if square:
        st.info(
            "As they face now the cells would feel nothing of this web; they are shown turned to "
            "its pull."
        )
    left, right = st.columns(2)
    left.button(
        "Use this path, cells as they face now", disabled=same or square, on_click=_use,
        args=(scenario, trial, False), key="cell.path.use", width="stretch",
    )  # fmt: skip
    right.button(
        "Use this path, cells turned to the resultant", type="primary", on_click=_use,
        args=(scenario, trial, True), key="cell.path.turn", width="stretch",
    )  # fmt: skip


def _use(scenario: Scenario, trial: Scenario, turn: bool) -> None:
    cell = trial.load_cell
    changes = {
        "load_cell.wrap_angle": f"{math.degrees(cell.wrap_angle):.6g} deg",
        "load_cell.bisector_angle": f"{math.degrees(cell.bisector_angle):.6g} deg",
    }
    if turn:
        changes["load_cell.sensing_angle"] = changes["load_cell.bisector_angle"]
    st.session_state[_FAULTS] = None
    try:
        bench.set_scenario(with_values(scenario, changes))
    except ScenarioError as error:
        st.session_state[_FAULTS] = error


def _show_shrinking_roll(scenario: Scenario, rollers: Rollers, sensing_angle: float) -> None:
    if scenario.zone == "pull roll":
        return
    st.subheader("Where a neighbour is the roll itself")
    roll_is_before = scenario.zone == "unwind"
    neighbour = rollers[0 if roll_is_before else 2]
    full = diameter_range(scenario)[1]
    guess = int(scenario.roller[0].load_cell and abs(neighbour.diameter - full) < 0.01 * full)
    options = ["neither", "the one before" if roll_is_before else "the one after"]
    chosen = st.radio(
        "Which neighbour is the unwinding or winding roll?", options, guess, horizontal=True,
        key=f"cell.path.roll.{scenario.zone}.{guess}", persist_state="session",
    )  # fmt: skip
    if chosen == "neither":
        return
    which: Literal["before", "after"] = "before" if roll_is_before else "after"
    try:
        found = wrap_over_roll(
            *rollers, core_diameter=diameter_range(scenario)[0], sensing_angle=sensing_angle,
            roll=which,
        )  # fmt: skip
    except ValueError as error:
        bench.show_error(error)
        return
    at_full, at_core, gain = st.columns(3)
    at_full.metric("Wrap at full roll", f"{math.degrees(found.full.wrap_angle):.1f}°")
    at_core.metric("Wrap at the core", f"{math.degrees(found.core.wrap_angle):.1f}°")
    gain.metric(
        "Reading at the core", f"{100.0 * (found.gain_at_core - 1.0):+.1f} %",
        help="How much more or less the same tension reads at the core than at full roll.",
    )  # fmt: skip
    bench.show_figure(
        draw_roll_wrap(found, tension=scenario.run.tension, units=bench.unit_system()),
        alt="Wrap, and tension of the web where the loop holds the display, over the diameter of "
        "the roll",
    )
    bench.show_warnings(found.warnings)
