"""Gains for the whole roll where a loop rings: the same machine before and after."""

import math

import numpy as np
import pytest

from simulator import simulate
from simulator.machine import diameter_range, reading_of, running_tension
from tuning import explain_oscillation
from tuning.gains import Gains
from tuning.margins import RINGS_ABOVE
from tuning.oscillation.causes import LOOP
from tuning.oscillation.remedy import QUIET, loop_remedy


@pytest.fixture(scope="module")
def remedied(request):
    from simulator import load_scenario
    from tests.conftest import ROOT

    film = load_scenario(ROOT / "scenarios" / "film_unwind.toml")
    loud = Gains(2.0, 0.25).set_in(film)
    trend = simulate(loud, duration=60.0, diameter=0.45, automatic=True, seed=2)
    found = explain_oscillation(trend, loud)
    assert found.verdict == LOOP
    return loud, loop_remedy(found)


def test_the_gains_at_work_ring_and_those_for_the_whole_roll_do_not(remedied):
    machine, remedy = remedied
    assert remedy.before.Kc == machine.controller.Kc
    assert not remedy.margins_before.stable or remedy.margins_before.Ms > RINGS_ABOVE
    assert remedy.margins_after.stable and remedy.margins_after.Ms <= 1.6
    assert remedy.swing_after < 0.2 * remedy.swing_before
    assert math.isclose(remedy.diameter, 0.45)


def test_both_runs_start_alike_and_nothing_differs_but_the_gains(remedied):
    _, remedy = remedied
    before, after = remedy.trend_before, remedy.trend_after
    quiet = before.time < QUIET
    assert np.array_equal(before.tension[quiet], after.tension[quiet])
    assert not np.array_equal(before.output, after.output)
    assert before.setpoint[-1] == after.setpoint[-1] == pytest.approx(1.02 * before.setpoint[0])


def test_a_tapered_setpoint_is_what_the_reading_is(paper_rewind):
    """The run starts at the running tension, whatever the taper."""
    from dataclasses import replace

    tapered = replace(paper_rewind, controller=replace(paper_rewind.controller, taper=30.0))
    D = diameter_range(tapered)[1]
    loud = Gains(3.0, 0.4).set_in(tapered)
    trend = simulate(loud, duration=80.0, diameter=D, automatic=True, seed=2)
    remedy = loop_remedy(explain_oscillation(trend, loud))
    aim = reading_of(tapered, running_tension(tapered, D))
    assert remedy.trend_after.setpoint[0] == pytest.approx(aim)
    assert remedy.trend_after.tension[-1] == pytest.approx(1.02 * aim, rel=0.03)


def test_without_a_machine_there_is_no_remedy(film):
    trend = simulate(film, duration=40.0, diameter=0.45, automatic=True)
    assert loop_remedy(explain_oscillation(trend)) is None
