"""What the screen "Oscillation" asks for, kept so that a screen drawn again does not compute again.

A file is known by the digest of its bytes, a record by where it came from: long arrays are neither
hashed nor copied, so what comes from here is not to be changed.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import streamlit as st

from simulator import Scenario, Trend
from simulator.screens import bench
from simulator.trend_columns import ColumnUse, guess_uses
from simulator.trend_import import ImportedTrend, import_trend
from simulator.trend_text import TrendTable, read_table
from simulator.units import UnitSystem
from tuning.design import RollDesign
from tuning.gains import Gains
from tuning.most_integral import Kind
from tuning.oscillation.explain import Explanation, explain_oscillation
from tuning.oscillation.invented import invented_gains, invented_record, invented_troubles
from tuning.oscillation.machine_figure import draw_among_machine, draw_among_machine_alt
from tuning.oscillation.record_figure import draw_record, draw_record_alt
from tuning.oscillation.remedy import LoopRemedy, loop_remedy
from tuning.oscillation.wave_figure import draw_wave, draw_wave_alt
from tuning.screens import answers

RECORD, MACHINE, WAVE = "record", "machine", "wave"
_PICTURES = {
    RECORD: (draw_record, draw_record_alt),
    MACHINE: (draw_among_machine, draw_among_machine_alt),
    WAVE: (draw_wave, draw_wave_alt),
}


@dataclass(frozen=True)
class Mapping:
    """What the reader says about the columns of a file; None is left to be found out."""

    uses: tuple[ColumnUse, ...] | None = None
    tension_range: float | None = None
    interval: float | None = None


@st.cache_data(max_entries=30, show_spinner=False)
def troubles(scenario: Scenario) -> tuple[str, ...]:
    """Return the troubles that can be invented for a machine."""
    return invented_troubles(scenario)


@st.cache_data(max_entries=30, show_spinner="Simulating an invented record …")
def invented(scenario: Scenario, trouble: str, seed: int) -> tuple[Trend, Gains]:
    """Return an invented record and the gains that were at work in it."""
    return invented_record(scenario, trouble, seed=seed), invented_gains(scenario, trouble)


@st.cache_resource(max_entries=4, show_spinner="Reading the file …")
def imported(digest: str, name: str, mapping: Mapping, _data: bytes) -> ImportedTrend | str:
    """Return the trend of a file, or what is wrong; `digest` stands for the bytes."""
    try:
        return import_trend(
            _data, name=name, uses=mapping.uses, tension_range=mapping.tension_range,
            interval=mapping.interval,
        )  # fmt: skip
    except ValueError as error:
        return str(error)


@st.cache_resource(max_entries=4, show_spinner="Reading the file …")
def table(digest: str, name: str, _data: bytes) -> tuple[TrendTable, tuple[ColumnUse, ...]] | str:
    """Return what a file holds and what its columns may be, or what is wrong."""
    try:
        found = read_table(_data, name=name)
    except ValueError as error:
        return str(error)
    return found, guess_uses(found)


@st.cache_resource(max_entries=6, show_spinner="Looking for what swings …")
def explained(
    record: Hashable,
    scenario: Scenario | None,
    diameter: float | None,
    line_speed: float | None,
    _trend: Trend,
) -> Explanation:
    """Return why the tension of a record swings; `record` stands for the trend."""
    return explain_oscillation(_trend, scenario, diameter=diameter, line_speed=line_speed)


@st.cache_data(max_entries=24, show_spinner="Drawing …")
def picture(
    which: str, key: Hashable, units: UnitSystem, _explanation: Explanation
) -> tuple[bytes, str]:
    """Return a picture of an explanation as PNG, and what it shows in words.

    `key` stands for the explanation: what `explained` was asked for.
    """
    draw, words = _PICTURES[which]
    return bench.painted(draw(_explanation, units)), words(_explanation, units)


@st.cache_resource(max_entries=20, show_spinner="Looking for gains that hold over the whole roll …")
def designed(scenario: Scenario, ms_limit: float, kinds: tuple[Kind, ...]) -> RollDesign | str:
    """Return gains for the whole roll of a machine, or why there are none."""
    try:
        return answers.design(scenario, ms_limit=ms_limit, kinds=kinds)
    except ValueError as error:
        return str(error)


@st.cache_resource(max_entries=6, show_spinner="Simulating before and after …")
def remedied(key: Hashable, design: RollDesign, _explanation: Explanation) -> LoopRemedy | None:
    """Return what gains for the whole roll do where the loop rings.

    `key` stands for the explanation: what `explained` was asked for.
    """
    return loop_remedy(_explanation, design=design)
