"""Step tests on the simulated machine: sized from the noise, honest about ringing."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, linearise, operating_point, read_trend, simulate
from simulator.machine import named_diameters
from tuning.step_test import SIGNAL_TO_NOISE, behind_play, fit_trend, step_test


def test_finds_the_machines_own_gain(scenario):
    for d in named_diameters(scenario).values():
        test = step_test(scenario, diameter=d, noise=False, runout=False)
        gain = linearise(scenario, diameter=d).static_gain
        assert test.fit.best.gain == pytest.approx(gain, rel=0.02)


def test_play_of_the_supply_is_taken_up_first(film):
    """The film's brake has 0.5 % of play: without that care it swallows part of the step."""
    test = step_test(film, diameter=0.2, noise=False, runout=False)
    assert any("play" in warning for warning in test.warnings)
    gain = linearise(film, diameter=0.2).static_gain
    careless = fit_trend(test.trend, tension_range=film.controller.tension_range).best.gain
    assert test.fit.best.gain == pytest.approx(gain, rel=0.02)
    assert careless < 0.9 * gain


def test_behind_play():
    # A play operator worked by hand: band 1 %, up by 2, down by 0.8 (within the band), down by 2.
    output = np.array([10.0, 10.0, 12.0, 11.2, 9.2, 9.2])
    np.testing.assert_allclose(behind_play(output, 1.0), [10.0, 10.0, 11.5, 11.5, 9.7, 9.7])
    assert np.array_equal(behind_play(output, 0.0), output)


def test_names_the_swing_of_the_roll_on_the_web(foil):
    test = step_test(foil)
    plant = linearise(foil, diameter=foil.roll.full_diameter)
    assert test.fit.rings
    assert test.fit.ringing_frequency == pytest.approx(
        plant.natural_frequency / (2 * math.pi), rel=0.05
    )
    assert any("rings" in warning for warning in test.warnings)


def test_a_well_damped_machine_is_not_said_to_ring(nonwoven):
    assert not step_test(nonwoven).fit.rings


def test_step_grows_with_the_noise(film):
    quiet = step_test(film)
    loud = step_test(replace(film, load_cell=replace(film.load_cell, noise=2.0)))
    assert loud.step > quiet.step
    per_percent = operating_point(film, diameter=0.8).tension_per_percent
    assert loud.step * per_percent == pytest.approx(SIGNAL_TO_NOISE * 2.0, rel=1e-6)


def test_steps_down_where_there_is_no_room_up(film):
    tight = replace(film, controller=replace(film.controller, output_high=49.0))
    assert step_test(tight).step < 0.0


def test_own_step_must_fit(film):
    assert step_test(film, step=-4.0).step == -4.0
    for wrong in (0.0, 60.0, -50.0, math.nan):
        with pytest.raises(ValueError, match="step"):
            step_test(film, step=wrong)


def test_goes_up_and_comes_back(film):
    test = step_test(film)
    moves = np.diff(test.trend.output)
    play = film.torque_device.hysteresis
    np.testing.assert_allclose(moves[moves != 0.0], [play, test.step, -test.step - play])
    assert test.trend.output[0] == test.trend.output[-1]


def test_a_recorded_trend_does_just_as_well(film):
    test = step_test(film)
    read = read_trend(test.trend.to_csv())
    again = fit_trend(
        read, tension_range=film.controller.tension_range, play=film.torque_device.hysteresis
    )
    assert again.best == test.fit.best


def test_a_record_in_automatic_is_refused(film):
    trend = simulate(film, [Action(1.0, "setpoint", 160.0)], duration=5.0, automatic=True)
    with pytest.raises(ValueError, match="recorded in automatic"):
        fit_trend(trend, tension_range=300.0)
