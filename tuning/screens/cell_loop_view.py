"""View of the screen Load cell: what errors of zero and gain do to the web and to the loop."""

from __future__ import annotations

import math

import streamlit as st

from simulator import Scenario
from simulator.screens import bench, cell_size
from simulator.units import UnitSystem
from tuning.cell_error_figures import draw_drift, draw_gain_error
from tuning.screens import answers
from tuning.tables import gains_in_words

# Minutes of a run [min].
_SHORT, _LONG, _USUAL = 5, 240, 60


def view(scenario: Scenario, units: UnitSystem) -> None:
    """Show the view.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    design = answers.design(
        scenario, ms_limit=answers.chosen_ms_limit(), kinds=answers.chosen_kinds()
    )
    st.markdown(
        "In automatic the loop holds the **display**. What the load cell adds to or takes from the "
        "truth, the web pays for."
    )
    st.caption(bench.plain(f"With the gains of Full roll to core: {gains_in_words(design.gains)}."))
    st.subheader("A zero that wanders")
    left, middle, right = st.columns(3)
    with left:
        drift = bench.enter_value(
            "Zero moves in an hour by", "tension", start=round(0.1 * scenario.run.tension, 1),
            low=-1e5, high=1e5, key="cell.loop.drift",
            help="Up: the display shows more than the web has. Heat and loose bolts do this.",
        )  # fmt: skip
    error = middle.number_input(
        "Reading too high by [%]", -60.0, 100.0, scenario.load_cell.gain_error, 1.0,
        key=f"cell.loop.gain.{scenario.load_cell.gain_error}", persist_state="session",
        help="Gain error of the load cell; below 0 it reads too low.",
    )  # fmt: skip
    minutes = right.slider(
        "Minutes shown", _SHORT, _LONG, _USUAL, 5, key="cell.loop.minutes",
        persist_state="session",
    )  # fmt: skip
    heat = cell_size.sized(scenario, units)
    if math.isfinite(heat.chosen.zero_by_heat):
        st.caption(
            bench.told(
                f"by its data sheet {heat.warmer_by:.3g} °C move the zero by up to "
                f"{heat.chosen.zero_by_heat:.3g} N; loose bolts and forced bearings move it more."
            )
        )
    machine = design.gains.set_in(scenario)
    runs = [
        answers.drifting(
            machine, duration=60.0 * minutes, zero_drift=drift / 3600.0, gain_error=error,
            automatic=automatic,
        )
        for automatic in (True, False)
    ]  # fmt: skip
    words = [" ".join(run.words) for run in runs]
    bench.show_figure(draw_drift(tuple(runs), units), alt=" ".join(words))
    st.markdown("\n".join(f"- {bench.told(line)}" for line in words))
    bench.show_warnings(text for run in runs for text in run.warnings)
    st.subheader("A gain that is wrong")
    effect = answers.gain_errors(scenario, design.gains)
    bench.show_figure(draw_gain_error(effect, units), alt=" ".join(effect.words))
    st.markdown("\n".join(f"- {bench.told(line)}" for line in effect.words))
    bench.show_warnings(effect.warnings)
