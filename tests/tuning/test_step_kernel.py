"""The compiled step response against known overshoots and python-control."""

import math

import control
import numpy as np
import pytest

from simulator import linearise
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.margins import closed_loop_modes
from tuning.process_model import ProcessModel
from tuning.step_kernel import highest_after_step


def closed_loop(plant, gains):
    """The same loop from the setpoint to the reading as python-control puts it together."""
    h = plant.scan_time
    A, B, C = plant.with_delay_states()
    seen = control.ss(A, B[:, None], C[None, :], 0.0, h)
    proportional = control.ss([], [], [], [[gains.Kc * gains.setpoint_weight]], h)
    integral = control.ss([[1.0]], [[1.0]], [[gains.Ki * h]], 0.0, h)
    feedback = control.ss([[1.0]], [[1.0]], [[gains.Ki * h]], gains.Kc, h)
    if gains.Td > 0.0:
        Tf = gains.Td / gains.filter_ratio
        kick, decay = gains.Kc * gains.Td / (Tf + h), Tf / (Tf + h)
        # kick (z - 1)/(z - decay)
        derivative = control.ss([[decay]], [[1.0]], [[kick * (decay - 1.0)]], kick, h)
        feedback = control.parallel(feedback, derivative)
    inner = control.feedback(seen, feedback)
    return control.series(control.parallel(proportional, integral), inner)


def test_second_order_by_its_closed_form():
    """Integral action on a lag gives s² T + s + Ki: overshoot exp(-pi z/sqrt(1 - z²))."""
    T, Ki = 1.0, 1.0
    zeta = 1.0 / (2.0 * math.sqrt(Ki * T))
    scan = 1e-3
    plant = ProcessModel("first order", 1.0, T, 0.0).linear_plant().sampled(scan)
    highest = highest_after_step(plant, Gains(Kc=1e-9, Ti=1e-9), scans=20_000)
    expected = 1.0 + math.exp(-math.pi * zeta / math.sqrt(1.0 - zeta**2))
    assert highest == pytest.approx(expected, abs=2e-3)


def test_simc_on_its_own_model():
    """SIMC PI on K 2, T 10, L 2: overshoot 4.05 % (the loop is e^-sL/(2 L s), solved exactly)."""
    plant = ProcessModel("first order", 2.0, 10.0, 2.0).linear_plant().sampled(0.005)
    highest = highest_after_step(plant, Gains(Kc=1.25, Ti=10.0), scans=20_000)
    assert highest == pytest.approx(1.0405, abs=2e-3)


@pytest.mark.parametrize(
    "gains",
    [Gains(0.05, 0.2), Gains(0.05, 0.2, setpoint_weight=0.3), Gains(0.04, 0.3, 0.1, 5.0)],
    ids=["PI", "weighted", "PID"],
)
def test_machines_against_python_control(scenario, gains):
    """Every machine at full roll, dead time in whole scans and in parts of one."""
    h = scenario.controller.scan_time
    plant = linearise(scenario, diameter=diameter_range(scenario)[1]).sampled(h)
    scans = 400
    assert np.abs(closed_loop_modes(plant, gains)).max() < 1.05
    response = control.step_response(closed_loop(plant, gains), np.arange(scans) * h)
    expected = float(np.max(response.outputs))
    assert expected > 0.0
    found = highest_after_step(plant, gains, scans=scans)
    assert found == pytest.approx(expected, rel=1e-7)


def test_what_is_watched_may_be_another_row(film):
    plant = linearise(film, diameter=0.8).sampled(0.02)
    gains = Gains(0.05, 0.2)
    reading = highest_after_step(plant, gains, scans=400)
    assert highest_after_step(plant, gains, scans=400, watched=3.0 * plant.C) == pytest.approx(
        3.0 * reading
    )
