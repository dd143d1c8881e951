"""The picture of a remedy: both runs on the same axes, marked where something was done."""

import math

import numpy as np
import pytest

from simulator import Action, linearise, simulate
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.gains import Gains
from tuning.margins import loop_margins
from tuning.oscillation.remedy import LoopRemedy
from tuning.oscillation.remedy_figure import draw_remedy, draw_remedy_alt

D, V = 0.3, 2.5


@pytest.fixture(scope="module")
def remedied():
    made = {}

    def remedy(scenario):
        if scenario not in made:
            gains = Gains(3.0, 0.1), Gains(0.03, 0.3)
            plant = linearise(scenario, diameter=D, line_speed=V)
            margins = [loop_margins(plant, one, scan_time=scenario.controller.scan_time)
                       for one in gains]  # fmt: skip
            plan = [Action(2.0, "automatic"), Action(4.0, "setpoint", 153.0)]
            runs = [
                simulate(
                    one.set_in(scenario), plan, duration=14.0, diameter=D, line_speed=V, seed=1
                )
                for one in gains
            ]
            swings = [float(run.web_tension[run.time > 7.0].std()) for run in runs]
            made[scenario] = LoopRemedy(D, V, *gains, *margins, *runs, *swings, design=None)
        return made[scenario]

    return remedy


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_readable_with_marks_and_gains(film, remedied, units):
    figure = draw_remedy(remedied(film), units)
    said = check_readable(figure)
    assert said.count("to automatic") == 2
    setpoint = "setpoint 153 N" if units is METRIC else "setpoint 34.4 lbf"
    assert said.count(setpoint) == 2
    assert "Before: unstable" in said and "Kc 3.00" in said and "Kc 0.0300" in said


def test_both_runs_share_their_axes(film, remedied):
    figure = draw_remedy(remedied(film))
    for row in (figure.axes[:2], figure.axes[2:]):
        assert row[0].get_ylim() == row[1].get_ylim()
        assert row[0].get_xlim() == row[1].get_xlim()


def test_lines_are_those_of_the_runs(film, remedied):
    remedy = remedied(film)
    figure = draw_remedy(remedy)
    for axes, run in zip(figure.axes[:2], (remedy.trend_before, remedy.trend_after), strict=True):
        drawn = axes.lines[0].get_ydata()
        assert drawn.max() == run.web_tension.max() and drawn.min() == run.web_tension.min()
    assert not math.isclose(np.ptp(remedy.trend_before.web_tension), 0.0)


def test_words_say_both_swings(film, remedied):
    remedy = remedied(film)
    words = draw_remedy_alt(remedy)
    assert METRIC.text(remedy.swing_before, "tension", digits=2) in words
    assert METRIC.text(remedy.swing_after, "tension", digits=2) in words
    assert "300 mm" in words and "150 m/min" in words and "unstable" in words
