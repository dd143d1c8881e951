"""Screen: gains that hold from full roll to core, and what holds them back."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

import streamlit as st

from simulator import Scenario
from simulator.screens import bench
from simulator.units import UnitSystem
from tuning.design import RollDesign
from tuning.design_figures import draw_sensitivity_map
from tuning.margins import CALM_MS, RINGS_ABOVE
from tuning.most_integral import KINDS, Kind
from tuning.plant_points import plant_points, seat_warnings
from tuning.screens import answers, learn_view, roll_views, tolerance_view
from tuning.tables import form_rows, gains_in_words, kind_rows

Design = TypeVar("Design", RollDesign, RollDesign | None)

LOW, HIGH = CALM_MS, RINGS_ABOVE
CONTROLLERS: dict[str, tuple[Kind, ...]] = {
    "whichever earns its place": KINDS,
    "PI": ("PI",),
    "integral action alone": ("I",),
    "PID": ("PID",),
}
VIEWS = {
    "Room around the gains": roll_views.room,
    "Steps and loads": roll_views.steps_and_loads,
    "Gains that follow the diameter": roll_views.schedule,
    "A whole roll": roll_views.whole_roll,
    "Tuning rules": roll_views.rules,
    "What calm costs": roll_views.calm,
    "Tolerances": tolerance_view.view,
    "Learn the machine": learn_view.view,
}


def page() -> None:
    """Show the screen."""
    bench.heading("Full roll to core", "Which gains hold everywhere, and what does a schedule buy?")
    scenario, units = bench.current_scenario(), bench.unit_system()
    limit, kinds = _pick()
    try:
        design = answers.design(scenario, ms_limit=limit, kinds=kinds)
        _show_design(design, scenario, units)
    except ValueError as error:
        bench.show_error(error)
        st.markdown(
            "**Next:** mend the description on *Line*. A recorded step test may show where it is "
            "wrong:"
        )
        _shown(learn_view.view, None, scenario, units)
    else:
        st.subheader("A closer look")
        view = st.segmented_control(
            "What to look at", list(VIEWS), default=next(iter(VIEWS)), key="roll.view",
            required=True, label_visibility="collapsed", persist_state="session",
        )  # fmt: skip
        _shown(VIEWS[view], design, scenario, units)
        st.markdown(
            "**Next:** see under *Tolerances* whether these gains bear what is not known of the "
            "machine, then open *Handover* for the switch from manual to automatic."
        )
    bench.caution()


def _pick() -> tuple[float, tuple[Kind, ...]]:
    """Let the reader choose the limit on Ms and the kind of controller."""
    left, right = st.columns((2, 1))
    # Streamlit forgets a control once its screen is left; the choice is kept beside it.
    st.session_state.setdefault("roll.ms_limit", answers.chosen_ms_limit())
    chosen = left.slider(
        "Largest sensitivity Ms allowed (1.2 calm, 1.6 sound, 2.0 lively)",
        min_value=LOW,
        max_value=HIGH,
        step=0.05,
        key="roll.ms_limit",
        help="Ms is how many times a disturbance is made larger at the frequency where the loop "
        "is worst. The nearer the loop is to swinging by itself, the larger Ms.",
    )
    named = {kinds: name for name, kinds in CONTROLLERS.items()}
    st.session_state.setdefault("roll.controller", named[answers.chosen_kinds()])
    control = right.selectbox("Controller", list(CONTROLLERS), key="roll.controller")
    limit = min(max(round(chosen, 2), LOW), HIGH)
    st.session_state[answers.MS_LIMIT] = limit
    st.session_state[answers.CONTROL_KINDS] = CONTROLLERS[control]
    return limit, CONTROLLERS[control]


def _show_design(design: RollDesign, scenario: Scenario, units: UnitSystem) -> None:
    verdict = answers.verdict(scenario, design, units)
    words = gains_in_words(design.gains)
    kind = "" if design.gains.is_integral_only else f"{design.kind}: "
    gains = f"**{bench.told(f'{kind}{words}')}.** "
    if verdict.problems:
        st.error(gains + bench.told(verdict.headline))
    else:
        st.success(gains + bench.told(verdict.headline))
    worst = design.worst
    bench.show_figure(
        draw_sensitivity_map(answers.mapped(scenario, design.gains), design, units),
        alt=f"Ms over roll diameter and line speed; worst {worst.margins.Ms:.2f} at "
        f"{units.text(worst.diameter, 'diameter')}, {units.text(worst.line_speed, 'speed')}.",
    )
    st.markdown(bench.plain(verdict.binding) + " " + _as_set(scenario, units))
    seats = [
        text for text in seat_warnings(plant_points(scenario)) if text not in design.out_of_reach
    ]
    bench.show_warnings((*verdict.problems[1:], *scenario.warnings, *seats, *design.warnings))
    st.markdown("**Integral, PI and PID control on this roll**")
    st.dataframe(
        kind_rows(design), hide_index=True, height="content",
        alt="The best gains of each kind of control",
    )  # fmt: skip
    st.caption(
        "Among gains within the limits those with the most integral action, Kc/Ti, leave least "
        "behind of a slow disturbance."
    )
    with st.expander("The recommended gains in each controller's terms"):
        st.dataframe(
            form_rows(design.gains, tension_range=scenario.controller.tension_range),
            hide_index=True,
            height="content",
            alt="The recommended gains in all forms",
        )


def _as_set(scenario: Scenario, units: UnitSystem) -> str:
    """Say what the gains in the scenario would do."""
    found = answers.as_set(scenario)
    if found is None:
        return ""
    worst = found.worst
    does = "are unstable" if math.isinf(worst.Ms) else f"have Ms {worst.Ms:.2f}"
    name = "The gain schedule as found" if found.scheduled else "The gains as found"
    place = f"{units.text(worst.diameter, 'diameter')}, {units.text(worst.line_speed, 'speed')}"
    return bench.plain(f"{name} {does} at worst ({place}).")


def _shown(
    view: Callable[[Design, Scenario, UnitSystem], None],
    design: Design,
    scenario: Scenario,
    units: UnitSystem,
) -> None:
    try:
        view(design, scenario, units)
    except ValueError as error:
        bench.show_error(error)
