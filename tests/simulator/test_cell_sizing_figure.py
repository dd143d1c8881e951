"""The picture of sizes: readable, and saying what is too much."""

from dataclasses import replace

import pytest

from simulator.cell_sizing import size_cells, usual_ratings
from simulator.cell_sizing_figure import draw_sizing
from simulator.sensing_and_control import DataSheet
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_it_is_readable(scenario, units):
    one = 1.0 / units.factor("tension")
    sizing = size_cells(scenario, ratings=usual_ratings(one))
    words = check_readable(draw_sizing(sizing, overload=scenario.data_sheet.overload, units=units))
    assert "smallest that does" in words
    assert units.label("tension") in words


@pytest.mark.parametrize("overload", [100.0, 110.0, 1000.0])
def test_it_is_readable_with_any_overload(film, overload):
    sheet = replace(film.data_sheet, overload=overload)
    sizing = size_cells(replace(film, data_sheet=sheet))
    words = check_readable(draw_sizing(sizing, overload=overload))
    assert ("too much" in words) == (overload < 325.0)


def test_a_silent_data_sheet_and_a_list_of_one(worn):
    bare = replace(worn, data_sheet=DataSheet())
    sizing = size_cells(bare, ratings=(200.0,))
    words = check_readable(draw_sizing(sizing, overload=150.0))
    assert "combined error" not in words and "zero moved" not in words
    assert "too small" in words
