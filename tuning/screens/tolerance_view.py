"""A closer look at the recommended gains: do they bear what is not known of the machine?"""

from __future__ import annotations

from typing import Any

import streamlit as st

from simulator import Scenario
from simulator.scenario_checks import hunting
from simulator.screens import bench
from simulator.units import UnitSystem
from tuning.design import RollDesign
from tuning.tolerance_figures import draw_tolerance
from tuning.tolerance_results import ToleranceStudy
from tuning.tolerance_study import tolerance_study
from tuning.tolerance_words import sentences
from tuning.tolerances import MOST_PERCENT, UNCERTAIN, Tolerance, tolerances_from

COUNTS = (200, 1000, 5000)
KEPT = "tolerance.kept"
TABLE, START, EDITED = "tolerance.table", "tolerance.start", "tolerance.edited"


def view(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    """Judge the gains on many machines within tolerances."""
    st.markdown(
        "Half of a machine's numbers are guesses. Here many machines are drawn within the "
        "tolerances below, and each is judged with the gains, everywhere on its roll."
    )
    left, middle, right = st.columns(3, vertical_alignment="bottom")
    count = left.selectbox(
        "Machines", COUNTS, index=0, key="tolerance.count", persist_state="session"
    )
    choices = ["the one set of gains", "gains that follow the diameter"]
    chosen = middle.radio("With", choices, key="tolerance.with", persist_state="session")
    seed = right.number_input(
        "Seed of the draw", 0, 1_000_000, 0, 1, key="tolerance.seed", persist_state="session"
    )
    tolerances = _pick_tolerances()
    tuned = design.set_in(scenario, scheduled=chosen == choices[1])
    study = _study(tuned, tolerances, count=count, seed=int(seed), ms_limit=design.ms_limit)
    bench.show_figure(
        draw_tolerance(study, units),
        alt="Worst Ms of each machine, what matters most for it, and the manual outputs.",
    )
    first, *others = sentences(study, units)
    st.markdown(f"**{bench.plain(first)}**")
    st.markdown("\n".join(f"- {bench.plain(text)}" for text in others))
    sticks = hunting(scenario)
    bench.show_warnings(([sticks] if sticks else []) + list(study.warnings))
    st.markdown(
        "**What to do with it:** measure what matters most, or learn it from a step test (*Learn "
        "the machine*). Until then take a calmer limit on Ms: *What calm costs* shows the price."
    )


def _pick_tolerances() -> tuple[Tolerance, ...]:
    """Let the reader say how well each number is known."""
    with st.expander("How well the machine is known"):
        rows: list[dict[str, Any]] = [
            {"name": name, "what": one.words, "± %": one.percent} for name, one in UNCERTAIN.items()
        ]
        if TABLE not in st.session_state:
            # The table forgets its edits once its view is left; they are kept beside it.
            st.session_state[START] = st.session_state.get(EDITED, rows)
        edited = st.data_editor(
            st.session_state[START],
            hide_index=True,
            column_order=("what", "± %"),
            disabled=("what",),
            column_config={
                "± %": st.column_config.NumberColumn(min_value=0.0, max_value=MOST_PERCENT)
            },
            key=TABLE,
        )
        st.session_state[EDITED] = edited
        st.caption(
            "Within ± the value lie 95 % of machines. What stands here first is common practice, "
            "without a source: put in what you know. 0 takes a number as it is described."
        )
    return tolerances_from({str(row["name"]): float(row["± %"] or 0.0) for row in edited})


def _study(
    scenario: Scenario,
    tolerances: tuple[Tolerance, ...],
    *,
    count: int,
    seed: int,
    ms_limit: float,
) -> ToleranceStudy:
    """Return the study; the last one is kept, so that a screen drawn again does not run it."""
    wanted = (scenario, tolerances, count, seed, ms_limit)
    kept: tuple[object, ToleranceStudy] | None = st.session_state.get(KEPT)
    if kept is not None and kept[0] == wanted:
        return kept[1]
    bar = st.progress(0.0, "Judging machines …")

    def judged(done: int, total: int) -> None:
        bar.progress(done / total, f"Judging machines: {done} of {total}")

    study = tolerance_study(
        scenario,
        tolerances=tolerances,
        samples=count,
        seed=seed,
        ms_limit=ms_limit,
        progress=judged,
    )
    bar.empty()
    st.session_state[KEPT] = (wanted, study)
    return study
