"""View of the screen Load cell: how the cells are mounted, in the order of the work."""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from simulator.mounting import MOUNTING_CAUTIONS, MOUNTING_STEPS
from simulator.screens import bench
from simulator.units import UnitSystem


def view(scenario: Scenario, units: UnitSystem) -> None:
    """Show the view.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    st.warning("\n".join(f"- {bench.plain(line)}" for line in MOUNTING_CAUTIONS))
    done = 0
    for number, step in enumerate(MOUNTING_STEPS, start=1):
        left, right = st.columns((2, 3), vertical_alignment="top")
        done += left.checkbox(
            f"**{number}. {bench.plain(step.title)}**", key=f"cell.mounting.{number}",
            persist_state="session",
        )  # fmt: skip
        left.caption(bench.plain(f"Done when: {step.done_when}"))
        right.markdown(bench.plain(step.what_to_do))
        right.caption(bench.plain(f"Why: {step.why}"))
    st.progress(done / len(MOUNTING_STEPS), f"{done} of {len(MOUNTING_STEPS)} steps done")
