"""The relay test against the exact ultimate cycle and against what it promises."""

import math

import pytest

from simulator import SimulationError, linearise, operating_point
from simulator.machine import diameter_range, named_diameters
from tuning.relay_test import relay_test
from tuning.ultimate import ultimate_cycle


def test_estimate_is_near_the_true_cycle(scenario):
    """Within 25 %, common practice for a describing function; its play explains a brake's rest."""
    v, scan = scenario.run.line_speed, scenario.controller.scan_time
    play = getattr(scenario.torque_device, "hysteresis", 0.0)
    for D in named_diameters(scenario).values():
        true = ultimate_cycle(linearise(scenario, diameter=D, line_speed=v), scan_time=scan)
        test = relay_test(scenario, diameter=D, line_speed=v)
        assert test.true == true
        # Half the supply's play is lost at each switch: exact for a play between two levels.
        seen = test.estimate.gain * (1.0 - 0.5 * play / test.swing)
        assert seen == pytest.approx(true.gain, rel=0.25)
        assert test.estimate.period == pytest.approx(true.period, rel=0.25)
        assert test.gain_error == pytest.approx(100 * (test.estimate.gain / true.gain - 1))


def test_output_switches_evenly_about_the_manual_output(scenario):
    test = relay_test(
        scenario, diameter=diameter_range(scenario)[1], line_speed=scenario.run.line_speed
    )
    point = operating_point(scenario, diameter=test.diameter, line_speed=scenario.run.line_speed)
    after = test.trend.time >= test.started_at
    output = test.trend.output[after]
    assert output.max() == pytest.approx(point.output + test.swing)
    assert output.min() == pytest.approx(point.output - test.swing)
    last = output[len(output) // 2 :]
    high = float((last > point.output).mean())
    assert high == pytest.approx(0.5, abs=0.1)


def test_play_as_wide_as_the_swing_leaves_no_cycle(film):
    with pytest.raises(ValueError, match="no steady cycle"):
        relay_test(film, diameter=0.8, line_speed=2.5, swing=0.2)


def test_play_is_warned_of(film):
    test = relay_test(film, diameter=0.8, line_speed=2.5)
    assert any("hysteresis" in warning for warning in test.warnings)
    assert test.gain_error > 0.0


def test_a_swing_that_takes_the_tension_away_is_refused(foil):
    point = operating_point(foil, diameter=0.5, line_speed=5.0)
    with pytest.raises(ValueError, match=r"smaller swing"):
        relay_test(foil, diameter=0.5, line_speed=5.0, swing=0.9 * point.output)


@pytest.mark.parametrize("swing", [0.0, -1.0, 90.0, math.nan, math.inf])
def test_swing_out_of_range(film, swing):
    with pytest.raises(ValueError, match="swing"):
        relay_test(film, diameter=0.8, line_speed=2.5, swing=swing)


def test_diameter_out_of_range(film):
    with pytest.raises((ValueError, SimulationError), match="diameter"):
        relay_test(film, diameter=2.0, line_speed=2.5)
