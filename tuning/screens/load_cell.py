"""Screen Load cell: is the sensor placed, sized, zeroed and calibrated right?"""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from simulator.load_cell_study import load_cell_study
from simulator.load_cell_words import answers
from simulator.screens import bench, cell_calibration, cell_mounting, cell_path, cell_size
from simulator.screens.line_form import show_part
from simulator.units import UnitSystem
from tuning.screens import cell_loop_view

VIEWS = {
    "Which way": cell_path.view,
    "Which size": cell_size.view,
    "Zero and calibration": cell_calibration.view,
    "What errors do to the loop": cell_loop_view.view,
    "Mounting": cell_mounting.view,
}
# Tabs of the form, and what their keys begin with.
_PARTS = {
    "Tension": ("run.tension", "controller.tension_range", "web.breaking_tension"),
    "Load cell": ("load_cell.",),
    "Data sheet": ("data_sheet.",),
}


def page() -> None:
    """Show the screen."""
    bench.heading("Load cell", "Is the sensor placed, sized, zeroed and calibrated right?")
    scenario, units = bench.current_scenario(), bench.unit_system()
    summary = st.container()
    view = st.segmented_control(
        "What to look at", list(VIEWS), default=next(iter(VIEWS)), key="cell.view",
        required=True, label_visibility="collapsed", persist_state="session",
    )  # fmt: skip
    try:
        VIEWS[view](scenario, units)
    except ValueError as error:
        bench.show_error(error)
    with summary:
        _show_answers(scenario, units)
    st.subheader("These load cells")
    show_part(scenario, _PARTS, key="cell.form")
    st.markdown(
        "**Next:** with the cells zeroed and calibrated, open *Manual output*: it says which "
        "output holds the tension, and what the display will show there."
    )
    bench.caution()


def _show_answers(scenario: Scenario, units: UnitSystem) -> None:
    study = load_cell_study(
        scenario,
        sizing=cell_size.sized(scenario, units),
        calibration=cell_calibration.planned(scenario, units),
    )
    for column, answer in zip(st.columns(4), answers(study, scenario, units), strict=True):
        with column.container(border=True, height="stretch"):
            st.caption(answer.question)
            st.markdown(f"#### {bench.plain(answer.short)}")
            st.caption(bench.plain(answer.why))
    bench.show_warnings(study.warnings)
