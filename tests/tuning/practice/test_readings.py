"""Readings that can be read and do not move: digits, room, units, the bar and its words."""

import math
import re
import xml.etree.ElementTree as ET

import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.practice.panels import panel_for
from tuning.practice.readings import STYLE, deviation_bar, readings_html, verdict


def shown(panel, scenario, units=METRIC):
    text = readings_html(panel, scenario, units=units)
    assert "\n" not in text
    return ET.fromstring(text)


def by_name(root):
    """For each reading its name: (text of the number, width of its box, unit)."""
    found = {}
    for cell in root.iter("div"):
        parts = list(cell)
        if [part.get("class") for part in parts] == ["name", "value"]:
            name, value = parts
            spans = list(value)
            if spans[0].get("class") == "number":
                found[name.text] = (spans[0].text, spans[0].get("style"), spans[1].text)
            else:
                found[name.text] = ("".join(value.itertext()).strip(), "", "")
    return found


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda u: u.name)
def test_says_all_seven_things_in_the_readers_units(scenario, units):
    panel = panel_for(scenario)
    found = by_name(shown(panel, scenario, units))
    assert list(found) == [
        "Tension", "Setpoint", "Output", "Mode", "Line speed", "In automatic", "Web",
    ]  # fmt: skip
    # Exact factors: 1 lbf = 4.4482216152605 N, 1 in = 25.4 mm, 1 ft = 0.3048 m (definitions).
    us = units is US_CUSTOMARY
    for name, value, unit in (
        ("Tension", panel.reading / (4.4482216152605 if us else 1.0), "lbf" if us else "N"),
        ("Line speed", panel.line_speed * 60.0 / (0.3048 if us else 1.0),
         "ft/min" if us else "m/min"),
        ("In automatic", panel.automatic_output, "%"),
        ("Output", 40.0, "%"),
    ):  # fmt: skip
        text, _, label = found[name]
        decimals = len(text.partition(".")[2])
        assert float(text) == pytest.approx(value, abs=0.5001 * 10.0**-decimals)
        assert label == unit
    assert found["Mode"][0] == "AUTO"
    assert found["Web"][0] == "TAUT"


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda u: u.name)
def test_nothing_moves_when_digits_or_signs_change(scenario, units):
    scale = scenario.controller.tension_range
    extremes = [
        panel_for(
            scenario, reading=reading, setpoint=setpoint, output=output, line_speed=speed,
            diameter=diameter,
        )
        for reading, setpoint, output, speed, diameter in (
            (-0.1 * scale, 0.0, 0.0, 0.0, 0.05),
            (1.19 * scale, scale, 100.0, scenario.run.line_speed, 0.2),
            (0.004 * scale, 0.5 * scale, 9.96, 0.01, 0.1),
        )
    ]  # fmt: skip
    found = [by_name(shown(panel, scenario, units)) for panel in extremes]
    for name in ("Tension", "Setpoint", "Output", "Line speed", "In automatic"):
        assert len({reading[name][1] for reading in found}) == 1
        room = float(re.search(r"min-width:([\d.]+)em", found[0][name][1]).group(1))
        for reading in found:
            # Figures of one width are at most 0.56 em wide in the usual fonts (common practice).
            assert 0.56 * len(reading[name][0]) <= room + 1e-9
    decimals = [{len(r[n][0].partition(".")[2]) for r in found} for n in ("Tension", "Output")]
    assert all(len(counts) == 1 for counts in decimals)


def test_size_of_the_figures_is_for_two_metres():
    assert int(re.search(r"\.tension \.value\{font-size:(\d+)px", STYLE).group(1)) >= 48
    assert int(re.search(r"\.value\{[^}]*font-size:(\d+)px", STYLE).group(1)) >= 30
    assert "tabular-nums" in STYLE


def test_no_number_reads_as_a_dash_and_minus_nothing_as_nothing(film):
    found = by_name(shown(panel_for(film, reading=math.nan, setpoint=-0.2), film))
    assert found["Tension"][0] == "–"
    assert found["Setpoint"][0] == "0"
    assert by_name(shown(panel_for(film, reading=-12.0), film))["Tension"][0] == "−12"


@pytest.mark.parametrize(
    ("reading", "word"),
    [(0.0, "low"), (89.0, "low"), (90.0, "on target"), (110.0, "on target"), (111.0, "high")],
)
def test_word_changes_at_ten_per_cent(reading, word):
    assert verdict(reading, 100.0)[0] == word


def test_words_differ_in_colour_and_sign_too():
    assert len({verdict(r, 100.0)[1] for r in (50.0, 100.0, 150.0)}) == 3
    assert len({verdict(r, 100.0)[2] for r in (50.0, 100.0, 150.0)}) == 3


@pytest.mark.parametrize(
    ("reading", "place"),
    [(100.0, 50.0), (110.0, 70.0), (90.0, 30.0), (125.0, 100.0), (900.0, 100.0), (0.0, 0.0)],
)
def test_needle_and_marks_share_one_scale(reading, place):
    """From -25 to +25 %, so 10 % is two fifths of half the bar; beyond the ends it stays there."""
    bar = deviation_bar(reading, 100.0)
    assert f'class="needle" style="left:{place:.1f}%' in bar
    assert re.findall(r'class="mark" style="left:([\d.]+)%', bar) == ["30", "70"]


def test_a_lost_reading_leaves_the_needle_at_the_low_end():
    assert 'class="needle" style="left:0.0%' in deviation_bar(math.nan, 100.0)


@pytest.mark.parametrize(
    ("web", "automatic", "words"),
    [("slack", False, ("SLACK", "MANUAL")), ("broken", True, ("BROKEN", "AUTO"))],
)
def test_states_are_words(film, web, automatic, words):
    found = by_name(shown(panel_for(film, web=web, automatic=automatic), film))
    assert (found["Web"][0], found["Mode"][0]) == words
