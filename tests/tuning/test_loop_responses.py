"""Step responses of small loops: an identity, python-control, and the machine itself."""

from dataclasses import replace

import control
import numpy as np
import pytest

from simulator import Action, simulate
from simulator.machine import named_diameters
from tuning.gains import Gains
from tuning.loop_responses import loop_responses
from tuning.plant_bank import bank_of, plant_bank
from tuning.process_model import ProcessModel


def named_bank(scenario):
    return plant_bank(
        scenario, [(D, scenario.run.line_speed) for D in named_diameters(scenario).values()]
    )


def test_integral_of_the_error_after_a_load_is_one_over_Ki(scenario, designed):
    """The integral term must end at -1 %, and it is Ki times the integral of the error: exact."""
    gains = designed(scenario).gains
    found = loop_responses(named_bank(scenario), gains)
    assert np.all(np.abs(found.rest) < 2e-3 / gains.Ki)
    scan = scenario.controller.scan_time
    np.testing.assert_allclose(found.load.sum(axis=1) * scan, 1.0 / gains.Ki, rtol=2e-3)
    assert np.all(found.load_iae >= (1.0 - 2e-3) / gains.Ki)
    np.testing.assert_allclose(found.setpoint[:, -1], 1.0, atol=2e-3)


def test_setpoint_step_against_python_control():
    """A lag without dead time under PI, sampled by python-control and closed there."""
    scan, gains = 0.1, Gains(1.5, 0.8)
    ours = loop_responses(
        bank_of([ProcessModel("first order", 2.0, 1.0, 0.0).linear_plant()], scan_time=scan), gains
    )
    plant = control.sample_system(control.tf([2.0], [1.0, 1.0]), scan, "zoh")
    # I[k+1] = I[k] + Kc h/Ti e[k], u = Kc e + I.
    pi = control.tf([gains.Kc, gains.Ki * scan - gains.Kc], [1.0, -1.0], scan)
    _, y = control.step_response(control.feedback(plant * pi), ours.time)
    np.testing.assert_allclose(ours.setpoint[0], np.squeeze(y), atol=1e-9)
    _, load = control.step_response(control.feedback(plant, pi), ours.time)
    np.testing.assert_allclose(ours.load[0], np.squeeze(load), atol=1e-9)


@pytest.mark.parametrize("weight", [1.0, 0.3])
def test_a_small_step_of_the_machine_looks_the_same(nonwoven, weight):
    gains = Gains(0.1, 0.15, setpoint_weight=weight)
    D = 0.4
    ours = loop_responses(plant_bank(nonwoven, [(D, nonwoven.run.line_speed)]), gains)
    T = nonwoven.run.tension
    trend = simulate(
        gains.set_in(nonwoven),
        [Action(1.0, "setpoint", 1.01 * T)],
        duration=3.0,
        diameter=D,
        automatic=True,
        noise=False,
        runout=False,
    )
    moved = (trend.tension[trend.time >= 1.0 - 1e-9] - T) / (0.01 * T)
    n = min(moved.size, ours.time.size)
    np.testing.assert_allclose(moved[:n], ours.setpoint[0, :n], atol=0.01)


def test_a_response_cut_short_keeps_its_area(film):
    """A slow loop at a fast scan is not followed to its end; its IAE is 1/Ki all the same."""
    fast = replace(film, controller=replace(film.controller, scan_time=0.0005))
    gains = Gains(0.005, 0.25)
    found = loop_responses(plant_bank(fast, [(0.8, film.run.line_speed)]), gains)
    assert found.rest[0] > 0.5 / gains.Ki
    assert found.load_iae[0] == pytest.approx(1.0 / gains.Ki, rel=0.01)


def test_an_unstable_loop_is_refused(film):
    with pytest.raises(ValueError, match="unstable"):
        loop_responses(named_bank(film), Gains(2.0, 0.05))
