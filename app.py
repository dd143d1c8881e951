"""Steadyspan's screens: `streamlit run app.py`."""

import streamlit as st

from simulator.screens import bench, line, manual_output
from tuning.screens import (
    full_roll_to_core,
    handover,
    load_cell,
    oscillation,
    practice,
    step_test_and_gains,
)

st.set_page_config(page_title="Steadyspan", layout="wide")
chosen = st.navigation(
    {
        "The machine": [
            st.Page(line.page, title="Line", url_path="line", default=True),
            st.Page(load_cell.page, title="Load cell", url_path="load-cell"),
        ],
        "Before startup": [
            st.Page(manual_output.page, title="Manual output", url_path="manual-output"),
            st.Page(
                step_test_and_gains.page,
                title="Step test and gains",
                url_path="step-test-and-gains",
            ),
            st.Page(
                full_roll_to_core.page, title="Full roll to core", url_path="full-roll-to-core"
            ),
            st.Page(handover.page, title="Handover", url_path="handover"),
        ],
        "On the machine": [
            st.Page(oscillation.page, title="Oscillation", url_path="oscillation"),
        ],
        "Training": [
            st.Page(practice.page, title="Practice", url_path="practice"),
        ],
    }
)
bench.sidebar()
chosen.run()
