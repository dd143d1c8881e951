"""The last minute on axes that stay: exact places, peaks kept, few points, modes in words."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.practice.panels import panel_for
from tuning.practice.trend_html import trend_html

ACROSS, UP = 1200, 1000


def drawn(panel, scenario, units=METRIC):
    text = trend_html(panel, scenario, units=units)
    assert "\n" not in text
    return ET.fromstring(text)


def curves(root):
    """Points of reading, setpoint and output, each of shape (n, 2), on a page of 1200 by 1000."""
    return [
        np.array([[float(x) for x in pair.split()] for pair in path.get("d")[1:].split("L")])
        for path in root.iter("path")
        if path.get("stroke-opacity") is None
    ]


def fixed(root):
    """All but the curves, the shades and their words: axes, ticks, titles, band."""
    texts = [
        (s.text, s.get("style")) for s in root.iter("span") if s.get("class") != "mode"
    ]  # fmt: skip
    grid = [p.get("d") for p in root.iter("path") if p.get("stroke-opacity")]
    boxes = [(d.get("class"), d.get("style")) for d in root.iter("div")]
    return texts, grid, boxes, [s.get("viewBox") for s in root.iter("svg")]


def with_column(panel, column, values):
    recent = panel.recent.copy()
    recent[:, column] = values
    return replace(panel, recent=recent)


def test_steady_values_lie_where_they_belong(film):
    """150 N of 300 N in the middle of the panel, 40 % of the output 600 from the upper edge."""
    reading, setpoint, output = curves(drawn(panel_for(film), film))
    for curve, height in ((reading, 500.0), (setpoint, 500.0), (output, 600.0)):
        assert set(curve[:, 1]) == {height}
        assert (curve[0, 0], curve[-1, 0]) == (0.0, ACROSS)


def test_time_is_linear_from_a_minute_ago_to_now(film):
    panel = panel_for(film)
    ramp = 100.0 * (panel.recent[:, 0] - panel.time + 60.0) / 60.0
    output = curves(drawn(with_column(panel, 3, ramp), film))[2]
    assert output[:, 1] == pytest.approx(UP * (1.0 - output[:, 0] / ACROSS), abs=1.5)


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda u: u.name)
def test_axes_do_not_move_from_one_picture_to_the_next(scenario, units):
    calm = panel_for(scenario)
    wild = with_column(panel_for(scenario, time=107.3, automatic=False), 1, 3.0 * calm.reading)
    early = replace(panel_for(scenario, time=3.0), recent=panel_for(scenario, time=3.0).recent[:2])
    pictures = [fixed(drawn(panel, scenario, units)) for panel in (calm, wild, early)]
    assert pictures[0] == pictures[1] == pictures[2]


def test_ticks_are_values_of_the_readers_scale(scenario):
    for units in (METRIC, US_CUSTOMARY):
        root = drawn(panel_for(scenario), scenario, units)
        ticks = [
            (float(s.text), float(re.search(r"top:(-?[\d.]+)px", s.get("style")).group(1)))
            for s in root.iter("span")
            if "right:" in s.get("style", "")
        ]
        tension = ticks[:-3]
        top = units.show(scenario.controller.tension_range, "tension")
        assert 3 <= len(tension) <= 8
        assert tension[-1][0] <= top * (1 + 1e-9)
        (low, bottom), (high, above) = tension[0], tension[-1]
        # A pixel is what rounding may take.
        height = next(
            float(re.search(r"height:(\d+)px", d.get("style")).group(1))
            for d in root.iter("div") if d.get("class") == "plot"
        )  # fmt: skip
        assert (bottom - above) / height == pytest.approx((high - low) / top, abs=1.5 / height)


def test_what_is_beyond_the_range_is_drawn_at_its_edge(film):
    panel = panel_for(film)
    values = np.where(np.arange(panel.recent.shape[0]) % 2 == 0, -50.0, 900.0)
    reading = curves(drawn(with_column(panel, 1, values), film))[0]
    assert set(reading[:, 1]) == {0.0, float(UP)}


def test_a_single_peak_keeps_its_height_wherever_it_is(film):
    panel = panel_for(film)
    for row in (3, 250, 251, 252, 599):
        values = np.full(panel.recent.shape[0], 150.0)
        values[row] = 240.0
        reading = curves(drawn(with_column(panel, 1, values), film))[0]
        assert reading[:, 1].min() == pytest.approx(UP * (1.0 - 240.0 / 300.0))
        at = reading[np.argmin(reading[:, 1]), 0]
        assert at == pytest.approx(ACROSS * row / (panel.recent.shape[0] - 1), abs=5.0)


def test_noise_makes_no_more_points_than_a_panel_can_show(film):
    panel = panel_for(film)
    noise = np.random.default_rng(3).normal(150.0, 5.0, panel.recent.shape[0])
    panel = with_column(with_column(panel, 1, noise), 3, noise / 4.0)
    found = curves(drawn(panel, film))
    assert all(curve.shape[0] < 500 for curve in found)
    assert sum(curve.shape[0] for curve in found) < 1000
    assert len(trend_html(panel, film)) < 14_000


def test_modes_are_shaded_and_named(film):
    root = drawn(panel_for(film), film)
    named = [(s.text, s.get("style")) for s in root.iter("span") if s.get("class") == "mode"]
    assert [word for word, _ in named] == ["MANUAL", "AUTO"]
    left = [float(re.search(r"left:([\d.]+)%", style).group(1)) for _, style in named]
    assert left == pytest.approx([0.0, 50.0], abs=0.5)
    shades = [r for r in root.iter("rect") if r.get("y") == "0"]
    # One in each panel, alike.
    assert len(shades) == 2
    assert len({(r.get("x"), r.get("width")) for r in shades}) == 1
    assert float(shades[0].get("x")) == pytest.approx(600.0, abs=3.0)


def test_a_mode_too_short_for_its_word_is_only_shaded(film):
    panel = panel_for(film)
    t = panel.recent[:, 0]
    brief = with_column(panel, 4, (t > 60.0) & (t < 62.0))
    root = drawn(brief, film)
    assert [s.text for s in root.iter("span") if s.get("class") == "mode"] == ["MANUAL", "MANUAL"]
    assert len([r for r in root.iter("rect") if r.get("y") == "0"]) == 2


def test_nothing_recorded_and_an_unknown_setpoint_are_drawn_as_nothing(film):
    empty = replace(panel_for(film), recent=np.zeros((0, 5)))
    assert all(curve.shape[0] == 1 for curve in curves(drawn(empty, film)))
    unknown = with_column(panel_for(film), 2, np.nan)
    assert curves(drawn(unknown, film))[1].shape[0] == 1
