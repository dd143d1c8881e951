"""View of the screen Load cell: what the cells must bear, and which rating does."""

from __future__ import annotations

import math
from dataclasses import dataclass

import streamlit as st

from simulator import Scenario
from simulator.cell_duty import RatingChoice
from simulator.cell_sizing import (
    KNOCK_HEIGHT,
    SHOCK_FACTOR,
    WARMER_BY,
    Sizing,
    read_ratings,
    size_cells,
    usual_ratings,
)
from simulator.cell_sizing_figure import draw_sizing
from simulator.data_sheet import data_sheet
from simulator.screens import bench
from simulator.units import UNIT_SYSTEMS, UnitSystem, sensible

_SETTINGS, _RATINGS = "cell.size.settings", "cell.size.ratings"


@dataclass(frozen=True)
class _Settings:
    """What the reader chose, kept while another view is open."""

    ratings: str = ""
    shock_factor: float = SHOCK_FACTOR
    web_off_middle: float = 0.0
    knock_height: float = KNOCK_HEIGHT
    warmer_by: float = WARMER_BY
    least_tension: float | None = None
    highest_tension: float | None = None
    # The running tension and measured scale for which these two were given.
    given_for: tuple[float, float] = (0.0, 0.0)


def sized(scenario: Scenario, units: UnitSystem) -> Sizing:
    """Return the sizing of a machine's cells with what the reader chose.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    chosen: _Settings = st.session_state.get(_SETTINGS, _Settings())
    try:
        return _sizing(scenario, units, chosen)
    except ValueError:
        # What fits one machine may not fit the next; the view says so where it is open.
        return _sizing(scenario, units, _Settings())


def _sizing(scenario: Scenario, units: UnitSystem, chosen: _Settings) -> Sizing:
    ratings = read_ratings(chosen.ratings) if chosen.ratings else _usual(units)
    same = chosen.given_for == _given_for(scenario)
    return size_cells(
        scenario,
        ratings=ratings,
        least_tension=chosen.least_tension if same else None,
        highest_tension=chosen.highest_tension if same else None,
        shock_factor=chosen.shock_factor,
        web_off_middle=chosen.web_off_middle,
        knock_height=chosen.knock_height,
        warmer_by=chosen.warmer_by,
    )


def _given_for(scenario: Scenario) -> tuple[float, float]:
    return scenario.run.tension, scenario.controller.tension_range


def _usual(units: UnitSystem) -> tuple[float, ...]:
    return usual_ratings(1.0 / units.factor("tension"))


def _in_words(units: UnitSystem) -> str:
    return ", ".join(units.plain(rating, "tension", digits=6) for rating in _usual(units))


def view(scenario: Scenario, units: UnitSystem) -> None:
    """Show the view.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    picture = st.container()
    chosen = _pick(scenario, units)
    try:
        sizing = _sizing(scenario, units, chosen)
    except ValueError as error:
        bench.show_error(error, lead="The answers above are those of before:")
        return
    st.session_state[_SETTINGS] = chosen
    sheet = data_sheet(scenario)
    with picture:
        bench.show_figure(
            draw_sizing(sizing, overload=sheet.overload, units=units),
            alt=_alt(sizing, units),
        )
        if sizing.chosen.needs_stops:
            st.caption(
                "A jam that pulls the web to its breaking tension is more than the cells bear: "
                "stops that take the load are the answer, not a larger cell that measures less."
            )
    st.table(
        [_row(choice, sizing, units) for choice in sizing.choices],
        hide_index=True,
        alt="What load cells of each rating bear and tell",
    )
    st.caption(
        "Shares are of the rating of the cell with most load. The smallest change is the step of "
        "the reading or 6.6 times its noise, whichever is larger. Blank: the data sheet is silent."
    )


def _pick(scenario: Scenario, units: UnitSystem) -> _Settings:
    usual = _in_words(units)
    # A list of the reader's own keeps its units, the usual one has the reader's.
    entry = st.session_state.get(_RATINGS, "")
    if not entry.strip() or entry in map(_in_words, UNIT_SYSTEMS):
        st.session_state[_RATINGS] = usual
    text = st.text_area(
        "Ratings that can be had, of each cell", height=68, key=_RATINGS, persist_state="session",
        help="Generic sizes in steps of 1, 2, 5. Write what your supplier has, with units.",
    )  # fmt: skip
    running, scale = _given_for(scenario)
    first, second = st.columns(3), st.columns(3)
    with first[0]:
        least = bench.enter_value(
            "Lowest tension", "tension", start=running * (1.0 - 0.01 * scenario.controller.taper),
            low=1e-3, high=1e6, key="cell.size.least",
            help="That is to be measured here; at first the running tension, tapered.",
        )  # fmt: skip
    with first[1]:
        highest = bench.enter_value(
            "Highest tension", "tension", start=scale, low=1e-3, high=1e6, key="cell.size.highest",
            help="That ever runs here; at first the end of the measured scale.",
        )  # fmt: skip
    with first[2]:
        shock = st.number_input(
            "Shock factor", 1.0, 10.0, SHOCK_FACTOR, 0.1, key="cell.size.shock",
            persist_state="session",
            help="On the load in work. 1.5 is usual for a smooth line, 2 is a load put on at once.",
        )  # fmt: skip
    with second[0]:
        off = st.number_input(
            "Web off the middle [%]", 0.0, 50.0, 0.0, 5.0, key="cell.size.off",
            persist_state="session",
            help="Of the distance between the cells: a narrow web on one side loads one cell more.",
        )  # fmt: skip
    with second[1]:
        knock = bench.enter_value(
            "Roller let down from", "diameter", start=KNOCK_HEIGHT, low=0.0, high=1.0,
            key="cell.size.knock", help="A knock as hard as a fall from this height.",
        )  # fmt: skip
    with second[2]:
        warmer = bench.enter_value(
            "Warmer or colder by", "temperature rise", start=WARMER_BY, low=0.0, high=300.0,
            key="cell.size.warmer", help="From when the zero was set to when the line runs.",
        )  # fmt: skip
    given = "" if text == usual else text
    return _Settings(given, shock, 0.01 * off, knock, warmer, least, highest, _given_for(scenario))


def _row(choice: RatingChoice, sizing: Sizing, units: UnitSystem) -> dict[str, str]:
    unit = units.label("tension")

    def force(value: float) -> str:
        return "" if math.isnan(value) else sensible(units.show(value, "tension"), 2)

    verdict = "bears it" if choice.bears_work else "too small"
    if choice.rated_load == sizing.recommended:
        verdict = "smallest that does"
    return {
        f"Rating [{unit}]": f"{units.show(choice.rated_load, 'tension'):.6g}",
        "Verdict": verdict,
        "Web at lowest tension [%]": sensible(choice.web_share_least, 2),
        "Web at running tension [%]": sensible(choice.web_share, 2),
        "Load at highest tension [%]": sensible(choice.load_share, 2),
        "Signal of running tension [mV]": sensible(1e3 * choice.signal, 2),
        f"Smallest change seen [{unit}]": force(choice.smallest_change),
        f"Zero moved by heat [{unit}]": force(choice.zero_by_heat),
        f"Combined error [{unit}]": force(choice.error),
    }


def _alt(sizing: Sizing, units: UnitSystem) -> str:
    loads = "; ".join(
        f"{case.name}: {units.text(abs(case.load), 'tension')}" for case in sizing.cases
    )
    return (
        f"Load on one cell of {units.text(sizing.chosen.rated_load, 'tension')} rating. {loads}. "
        "Beside it what ratings tell of the tension."
    )
