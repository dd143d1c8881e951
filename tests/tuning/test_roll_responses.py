"""Setpoint steps over the roll against python-control's closed loop."""

import math
from pathlib import Path

import control
import numpy as np
import pytest

from simulator import linearise, load_scenario
from simulator.machine import named_diameters
from tuning.gains import Gains
from tuning.roll_responses import LEAD, roll_responses


@pytest.fixture
def laminate():
    root = Path(__file__).resolve().parents[2]
    return load_scenario(root / "scenarios" / "laminate_pull_roll.toml")


def closed_loop_reading(scenario, gains, response, steps):
    """Reading [% of range] after a setpoint step of 1 %, by python-control, scan by scan.

    The plant's exact sampled form with its outputs under way, and a PI controller written here as
    its difference equations: u[k] = Kc e[k] + I[k], I[k+1] = I[k] + Kc h/Ti e[k].
    """
    h = scenario.controller.scan_time
    plant = linearise(scenario, diameter=response.diameter, line_speed=response.line_speed)
    A, B, C = plant.sampled(h).with_delay_states()
    process = control.ss(A, B[:, None], C[None, :], [[0.0]], dt=h)
    controller = control.ss([[1.0]], [[gains.Kc * h / gains.Ti]], [[1.0]], [[gains.Kc]], dt=h)
    loop = control.feedback(control.series(controller, process), 1)
    time = h * np.arange(steps)
    return np.asarray(control.forced_response(loop, time, np.ones(steps)).outputs)


@pytest.mark.parametrize(("name", "gains"), [
    ("foil", Gains(Kc=0.0067, Ti=0.01)), ("laminate", Gains(Kc=0.05, Ti=0.02)),
])  # fmt: skip
def test_small_steps_follow_the_linear_loop(request, name, gains):
    """Torque motors are the linear machines; the film's brake has its play."""
    scenario = request.getfixturevalue(name)
    share = 0.01
    step = 100.0 * share * scenario.run.tension / scenario.controller.tension_range
    for response in roll_responses(scenario, gains, step_share=share):
        first = int(np.searchsorted(response.trend.time, response.stepped_at - 1e-9))
        reading = response.trend.tension[first:] * 100.0 / scenario.controller.tension_range
        expected = step * closed_loop_reading(scenario, gains, response, reading.size)
        start = 100.0 * scenario.run.tension / scenario.controller.tension_range
        assert reading - start == pytest.approx(expected, abs=0.03 * step)


def test_one_response_for_each_named_point(scenario):
    responses = roll_responses(scenario, Gains(Kc=0.02, Ti=0.1))
    names = named_diameters(scenario)
    speeds = (scenario.run.line_speed, scenario.run.crawl_speed)
    assert [(r.diameter, r.line_speed) for r in responses] == [
        (d, v) for v in speeds for d in names.values()
    ]
    for r in responses:
        assert r.margins.stable and r.metrics is not None
        assert r.stepped_at == LEAD
        # Steady before the step, and at the new setpoint in the end: that is integral action.
        target = 1.05 * scenario.run.tension
        assert r.trend.web_tension[0] == pytest.approx(scenario.run.tension, rel=1e-3)
        if not math.isnan(r.metrics.settling_time):
            assert r.trend.web_tension[-1] == pytest.approx(target, rel=3e-3)


def test_unstable_gains_are_called_so(foil):
    for response in roll_responses(foil, Gains(Kc=1.0, Ti=0.1)):
        assert not response.margins.stable
        assert "these gains make the loop unstable here" in response.warnings
        assert response.metrics is None or math.isnan(response.metrics.settling_time)


@pytest.mark.parametrize("share", [0.0, 0.6, -0.6, math.nan, math.inf])
def test_step_out_of_range(film, share):
    with pytest.raises(ValueError, match="step_share"):
        roll_responses(film, Gains(Kc=0.02, Ti=0.1), step_share=share)


def test_gain_without_integral_action_runs(film):
    responses = roll_responses(film, Gains(Kc=0.02, Ti=math.inf))
    assert all(math.isnan(r.metrics.settling_time) for r in responses)
