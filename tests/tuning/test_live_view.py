"""What the live bench puts on the page: one element, whole, small, and left alone by markdown."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.practice.panels import panel_for
from tuning.screens.live_view import page_html


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda u: u.name)
def test_page_is_one_block_of_html(scenario, units):
    text = page_html(panel_for(scenario), scenario, units)
    # A blank or an indented line would end the block, and markdown would read what follows.
    assert "\n" not in text
    root = ET.fromstring(text)
    found = {part.get("class") for part in root.iter() if part.get("class")}
    assert {"panel-live", "trend-live", "line-live"} <= found
    assert len(text.encode()) < 20_000


def test_parts_stay_the_same_kind_from_one_picture_to_the_next(scenario):
    """What keeps its place and kind in the tree stays in the browser, so that the roll glides."""

    def kinds(panel):
        root = ET.fromstring(page_html(panel, scenario, METRIC))
        left = next(part for part in root.iter() if part.get("class") == "right")
        return [[part.tag for part in list(top)] for top in left.iter("{*}svg")]

    first = panel_for(scenario)
    later = replace(first, time=103.0, roll_angle=9.0, diameter=0.9 * first.diameter, output=41.0)
    assert kinds(first) == kinds(later)


def test_drawn_by_streamlit_without_a_fault(film):
    app = AppTest.from_string(
        "from pathlib import Path\n"
        "from simulator.screens import bench\n"
        "from simulator.units import METRIC\n"
        "from tests.tuning.practice.panels import panel_for\n"
        "from tuning.screens import live_view\n"
        "scenario = bench.current_scenario()\n"
        "live_view.show(panel_for(scenario), scenario, METRIC, pace=1.0)\n",
        default_timeout=30,
    )
    app.session_state["scenario"] = film
    app.run()
    assert not app.exception
    assert "trend-live" in app.markdown[0].value
