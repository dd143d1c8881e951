"""Section of the screen Manual output: what a start, a stop and a fast stop do to the tension."""

from __future__ import annotations

import math

import streamlit as st

from simulator import Scenario
from simulator.machine import named_diameters, taper_at
from simulator.screens import bench
from simulator.speed_advice import round_up
from simulator.speed_change import (
    KINDS,
    Kind,
    RampTension,
    SpeedChange,
    rate_of,
    speed_change,
    with_rounding,
    with_time,
)
from simulator.speed_change_curve import speed_change_curve
from simulator.speed_change_run import SpeedChangeRun, outcome, simulate_speed_change
from simulator.speed_figures import draw_speed_change_run, draw_speed_changes
from simulator.trend import SLACK_WEB, WEB_BREAK
from simulator.units import UnitSystem, sensible

_INTRO = (
    "While the line changes speed, the torque device must also speed the roll up or slow it down; "
    "what it does not do, the web has to, and its tension changes. **Inertia compensation** is the "
    "controller adding to its output what the roll's inertia takes, for as long as the speed "
    "changes."
)
_CHANGES: dict[Kind, str] = {
    "start": "start, to line speed",
    "stop": "usual stop",
    "fast stop": "fast stop",
}
# Times offered, per power of ten [s].
_ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
_WIDEST = 8.0  # the times offered reach from the machine's own divided by this to times this [-]
_ROUNDINGS = (0.0, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0)
_SHARES = tuple(range(0, 151, 10))


@st.fragment
def section(scenario: Scenario, *, diameter: float, tension: float) -> None:
    """Show the section.

    Args:
        scenario: the machine.
        diameter: of the roll that the screen has chosen [m].
        tension: that the screen has chosen, before any taper [N].
    """
    st.subheader("Speeding up and stopping")
    st.markdown(_INTRO)
    units = bench.unit_system()
    kind, scenario, share = _controls(scenario)
    try:
        at = tension * taper_at(scenario, diameter)
        change = speed_change(scenario, kind, diameter=diameter, tension=at, compensation=share)
        rows = {
            name: speed_change(
                scenario, kind, diameter=d, tension=tension * taper_at(scenario, d),
                compensation=share,
            )
            for name, d in named_diameters(scenario).items()
        }  # fmt: skip
        curve = speed_change_curve(scenario, tension=tension)
        runs = simulate_speed_change(
            scenario, kind, diameter=diameter, tension=at, compensation=share
        )
    except ValueError as error:
        bench.show_error(error)
        return
    bench.show_figure(
        draw_speed_changes(curve, units=units, chosen=change),
        alt="Output that holds the tension at constant speed and while the line starts, stops and "
        f"stops fast, against {curve.against}, with the reach of the torque device",
    )
    bench.show_figure(
        draw_speed_change_run(scenario, change, runs, units=units),
        alt=f"Line speed, tension and output in a simulated {kind}, without and with inertia "
        "compensation",
    )
    st.table(
        [_row(name, row, units) for name, row in rows.items()],
        hide_index=True,
        alt=f"What a {kind} takes from full roll to core",
    )
    _show_answer(change, runs, units)


def _controls(scenario: Scenario) -> tuple[Kind, Scenario, float]:
    """Return what is chosen: the change, the machine with the time for it, and the share [%]."""
    what, how_long, corners, how_much = st.columns(4)
    with what:
        kind = st.radio(
            "Change of speed", KINDS, index=KINDS.index("fast stop"), format_func=_CHANGES.get,
            key="speed_changes.kind", persist_state="session",
        )  # fmt: skip
    _, own = rate_of(scenario, kind)
    with how_long:
        time = st.select_slider(
            "Time it takes, between standstill and line speed [s]", _times(own), own,
            format_func=lambda t: f"{t:.4g}",
            # Another machine, or another change, starts from its own time.
            key=f"speed_changes.time.{kind}.{own!r}",
            persist_state="session",
        )  # fmt: skip
    with corners:
        own_corners = scenario.run.ramp_rounding
        rounding = st.select_slider(
            "Corners rounded over [s]", sorted({own_corners, *_ROUNDINGS}), own_corners,
            format_func=lambda t: f"{t:.4g}", key=f"speed_changes.rounding.{own_corners!r}",
            help="The line's drive can come into a ramp of speed, and out of it, gently; the ramp "
            "keeps its slope and takes this much longer.",
            persist_state="session",
        )  # fmt: skip
    with how_much:
        share = st.select_slider(
            "Inertia compensation [% of what the roll's inertia takes]", _SHARES, 100,
            key="speed_changes.share", persist_state="session",
        )  # fmt: skip
    return kind, with_rounding(with_time(scenario, kind, time), rounding), float(share)


def _times(own: float) -> list[float]:
    """Round times about a machine's own, with it [s]."""
    low, high = max(own / _WIDEST, 0.01), min(own * _WIDEST, 7200.0)
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    offered = {float(f"{part:g}e{power}") for power in powers for part in _ROUND}
    return sorted({own, *(time for time in offered if low <= time <= high)})


def _row(name: str, change: SpeedChange, units: UnitSystem) -> dict[str, str]:
    force, torque = units.label("tension"), units.label("torque")
    return {
        "Roll": name,
        f"Diameter [{units.label('diameter')}]": sensible(units.show(change.diameter, "diameter")),
        f"Torque needed at the roll [{torque}]": sensible(
            units.show(change.torque_needed, "torque")
        ),
        f"The device makes [{torque}]": " to ".join(
            sensible(units.show(limit, "torque"))
            for limit in (change.torque_low, change.torque_high)
        ),
        "Output before, and needed [%]": (
            f"{change.steady_output:.1f} → {change.output_needed:.1f}"
        ),
        f"Tension if the output stays [{force}]": _shown(change.held, units),
        f"Tension with {change.compensation:.0f} % compensation, settled [{force}]": _shown(
            change.compensated, units
        ),
        "Shortest time for this device [s]": (
            f"{round_up(change.least_time):g}" if math.isfinite(change.least_time) else "none"
        ),
    }


def _shown(tension: RampTension, units: UnitSystem) -> str:
    if tension.lost == SLACK_WEB:
        return "slack"
    shown = sensible(units.show(tension.tension, "tension"))
    return f"{shown}, breaks" if tension.lost == WEB_BREAK else shown


def _show_answer(change: SpeedChange, runs: tuple[SpeedChangeRun, ...], units: UnitSystem) -> None:
    if change.reason:
        st.error(bench.told(change.reason))
    for warning in change.warnings:
        st.warning(bench.told(warning))
    at = bench.plain(units.text(change.diameter, "diameter"))
    st.markdown(f"**Simulated, at {at}:**")
    st.markdown("\n".join(f"- {bench.told(outcome(run))}" for run in runs))
    lost = [run for run in runs if run.lost and run.compensation]
    if lost and not change.reason:
        st.error(
            bench.told(
                f"in the simulated run {_how(lost[0])} the web does not hold: do not count on "
                "compensation as it stands; round the corners as said, and bring the output back "
                "gently where the change ends"
            )
        )
    st.markdown(f"**Next, at {at}:** {_lower(bench.told(change.advice))}.")


def _how(run: SpeedChangeRun) -> str:
    mode = "in automatic" if run.automatic else "in manual"
    return f"{mode} with {run.compensation:.3g} % inertia compensation"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
