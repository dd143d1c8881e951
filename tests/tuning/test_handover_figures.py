"""The pictures of the switch: readable, and what they show is what was found."""

import numpy as np
import pytest

from simulator.machine import named_diameters
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.gains import Gains
from tuning.handover_conditions import handover_conditions, same_switch
from tuning.handover_figures import draw_conditions, draw_same_switch
from tuning.handover_judged import CALM, DO_NOT, OUTPUT_CHANGED, STEADY, WAIT
from tuning.handover_place import switch_place
from tuning.handover_settings import what_settings_do
from tuning.handover_settings_figure import draw_settings


@pytest.fixture(params=[METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def units(request):
    return request.param


def test_map_of_conditions(scenario, units, designed):
    study = handover_conditions(scenario, designed(scenario).gains)
    said = check_readable(draw_conditions(study, units)).split(" | ")
    # A word in each field, and its mark.
    for verdict, word in ((CALM, "calm"), (WAIT, "wait"), (DO_NOT, "do not")):
        assert said.count(word) == study.count(verdict)
        assert f"{verdict}: {study.count(verdict)}" in said
    for diameter in named_diameters(scenario).values():
        assert any(units.text(diameter, "diameter") in text for text in said)
    marks = [line.get_marker() for line in draw_conditions(study, units).axes[0].lines]
    assert [marks.count(mark) for mark in "o^X"] == [study.count(v) for v in (CALM, WAIT, DO_NOT)]


def test_map_where_nothing_can_be_tried(film, units):
    check_readable(draw_conditions(handover_conditions(film, Gains(100.0, 0.001)), units))


def test_same_switch_on_the_same_axes(scenario, units, designed):
    place = switch_place(scenario, designed(scenario).gains)
    steady, moving = same_switch(place, STEADY), same_switch(place, OUTPUT_CHANGED)
    figure = draw_same_switch(steady, moving, scenario, units)
    said = check_readable(figure)
    assert said.count("tracking on") == 2 and said.count("setpoint follows") == 2
    assert len(figure.axes) == 8
    for row in (figure.axes[:4], figure.axes[4:]):
        assert len({axes.get_ylim() for axes in row}) == 1
        assert len({axes.get_xlim() for axes in row}) == 1
        # Two runs in each, told apart by their dash as well.
        for axes in row:
            assert len({line.get_linestyle() for line in axes.lines[:2]}) == 2
    # The first column is the calm one: its solid line stands where the tension was.
    line = figure.axes[0].lines[0].get_ydata()
    assert np.ptp(line) < 0.01 * units.factor("tension") * scenario.run.tension


def test_settings(scenario, units, designed):
    study = what_settings_do(switch_place(scenario, designed(scenario).gains))
    figure = draw_settings(study, units)
    said = check_readable(figure)
    for words in ("anti-windup on", "anti-windup off", "limit of the output", "tracking on"):
        assert words in said
    assert units.text(study.integral.old_tension, "tension", digits=3) in said
    dashes = [line.get_linestyle() for line in figure.axes[0].lines[:2]]
    assert len(set(dashes)) == 2


def test_settings_of_a_worn_machine(worn, units):
    study = what_settings_do(switch_place(worn, Gains(0.13, 0.2), diameter=0.1525))
    check_readable(draw_settings(study, units))
