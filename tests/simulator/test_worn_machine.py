"""The worn machine does what its file says: it hunts in automatic, and ripples in manual."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, simulate

PLAN = [Action(3.0, "automatic"), Action(6.0, "setpoint", 235.0)]


def tuned(scenario, **device):
    return replace(
        scenario,
        controller=replace(scenario.controller, Kc=0.07, Ti=0.2),
        torque_device=replace(scenario.torque_device, **device),
    )


def test_it_hunts_until_the_brake_is_mended(worn):
    for sticking, hunts in ((1.5, True), (0.0, False)):
        trend = simulate(tuned(worn, sticking=sticking), PLAN, duration=90.0, noise=False)
        late = trend.time > 20.0
        # One sticking step is 1.5 % of output, 6.3 N a per cent at full roll.
        swing = np.ptp(trend.output[late])
        assert (swing > 1.4) == hunts
        assert (np.ptp(trend.web_tension[late]) > 9.0) == hunts
    manual = simulate(tuned(worn), duration=60.0, noise=False)
    assert np.ptp(manual.web_tension[manual.time > 10.0]) < 6.0


def test_its_ripple_is_once_a_turn_of_the_roll(worn):
    trend = simulate(worn, duration=80.0, noise=False)
    late = trend.time >= 20.0
    spectrum = np.abs(np.fft.rfft(trend.web_tension[late] - trend.web_tension[late].mean()))
    frequency = np.fft.rfftfreq(int(late.sum()), 0.02)[np.argmax(spectrum)]
    assert frequency == pytest.approx(3.0 / (np.pi * 1.0), abs=1.0 / 60.0)


def test_the_display_is_off_by_its_zero(worn):
    trend = simulate(worn, duration=20.0, noise=False, runout=False)
    assert trend.tension[0] - trend.web_tension[0] == pytest.approx(4.0, abs=0.05)


def test_the_fast_stop_needs_its_compensation(worn):
    least = []
    for share in (90.0, 0.0):
        scenario = replace(worn, controller=replace(worn.controller, inertia_compensation=share))
        trend = simulate(
            scenario, [Action(3.0, "fast stop")], duration=12.5, noise=False, runout=False
        )
        least.append(np.median(trend.web_tension[trend.time > 9.0]))
    assert least[0] > 0.9 * 220.0
    assert least[1] < 0.6 * 220.0
