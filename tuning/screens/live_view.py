"""The live bench as the operator sees it: readings on top, trend and machine below.

All of it is one element of the page, as markdown with HTML in it: unlike `st.html`, that keeps
drawings, and what has not changed stays in the browser's page, so that the roll turns on smoothly.
"""

from __future__ import annotations

import streamlit as st

from simulator import line_svg
from simulator.scenario import Scenario
from simulator.units import UnitSystem
from tuning.practice import readings, trend_html
from tuning.practice.panel import Panel

# Markdown's own box ends 16 px above its text's end, so that what follows would overlap.
_STYLE = (
    ".live-view{display:flex;flex-wrap:wrap;gap:6px 12px;align-items:center;padding-bottom:16px}"
    ".live-view .all{flex:1 1 100%}"
    ".live-view .left{flex:3 1 300px;min-width:0}"
    ".live-view .right{flex:2 1 220px;min-width:0}"
)


def show(panel: Panel, scenario: Scenario, units: UnitSystem, *, pace: float = 1.0) -> None:
    """Draw readings, trend and machine where the screen stands.

    Args:
        panel: what there is to see.
        scenario: the machine.
        units: the reader's units.
        pace: how much faster than life it runs [-]; 0 where it stands.
    """
    st.markdown(page_html(panel, scenario, units, pace=pace), unsafe_allow_html=True)


def show_machine(
    scenario: Scenario, units: UnitSystem, *, diameter: float, line_speed: float
) -> None:
    """Draw the machine alone, as it stands before a run.

    Args:
        scenario: the machine.
        units: the reader's units.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
    """
    machine = line_svg.line_svg(
        scenario, diameter=diameter, roll_angle=0.0, line_speed=line_speed, web="taut",
        units=units, pace=0.0,
    )  # fmt: skip
    style = f"{line_svg.STYLE}.live-machine{{max-width:340px}}"
    st.markdown(
        f'<div class="live-machine"><style>{style}</style>{machine}</div>', unsafe_allow_html=True
    )


def page_html(panel: Panel, scenario: Scenario, units: UnitSystem, *, pace: float = 1.0) -> str:
    """Return all of it as HTML of one line of text, so that markdown leaves it alone.

    Args:
        panel: what there is to see.
        scenario: the machine.
        units: the reader's units.
        pace: how much faster than life it runs [-]; 0 where it stands.
    """
    machine = line_svg.line_svg(
        scenario, diameter=panel.diameter, roll_angle=panel.roll_angle,
        line_speed=panel.line_speed, web=panel.web, units=units, pace=pace,
    )  # fmt: skip
    style = f"{_STYLE}{readings.STYLE}{trend_html.STYLE}{line_svg.STYLE}"
    return (
        f'<div class="live-view"><style>{style}</style>'
        f'<div class="all">{readings.readings_html(panel, scenario, units=units)}</div>'
        f'<div class="left">{trend_html.trend_html(panel, scenario, units=units)}</div>'
        f'<div class="right">{machine}</div></div>'
    )
