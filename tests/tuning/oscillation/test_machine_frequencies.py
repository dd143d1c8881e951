"""Frequencies of the machine: v/(pi d), the swing, and what folds down."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from simulator import linearise
from simulator.machine import diameter_range
from tuning.oscillation.machine_frequencies import (
    MachineFrequency,
    Place,
    fold,
    machine_frequencies,
    places,
)
from tuning.oscillation.record import Record


def record(n=200, interval=0.05, speed=math.nan, diameter=math.nan):
    row = np.full(n, np.nan)
    return Record(interval, np.zeros(n), row, row, np.full(n, speed), np.full(n, diameter), row)


def test_a_folded_frequency_is_where_the_samples_of_a_sine_show_it():
    for true, h in ((60.0, 0.02), (50.02, 0.02), (7.3, 0.5), (120.0, 0.007)):
        k = np.arange(4000)
        samples = np.cos(2.0 * math.pi * true * h * k)
        seen = np.cos(2.0 * math.pi * fold(true, h) * h * k)
        assert np.allclose(samples, seen, atol=1e-6)
        assert 0.0 <= fold(true, h) <= 0.5 / h


def test_sixty_hertz_at_fifty_samples_a_second_shows_at_ten():
    assert fold(60.0, 0.02) == pytest.approx(10.0)
    assert fold(50.0, 0.02) == pytest.approx(0.0, abs=1e-12)


def test_density_over_ln_f_is_a_probability():
    line = MachineFrequency("roll", "roll", np.array([1.3]), np.array([0.02]), {1: 0.7, 2: 0.3})
    total, _ = quad(lambda x: line.density(math.exp(x), 0.01), -3.0, 3.0, points=[
        math.log(1.3), math.log(2.6)], limit=200)  # fmt: skip
    assert total == pytest.approx(1.0, abs=1e-3)
    assert line.nearest(2.5) == (2, pytest.approx(2.6))


def test_everything_turns_with_its_circumference(scenario):
    D = 0.6 * diameter_range(scenario)[1] + 0.4 * diameter_range(scenario)[0]
    v = 0.7 * scenario.run.line_speed
    seen = record(speed=v, diameter=D)
    where = places(seen, scenario)
    assert where == (Place(pytest.approx(D), pytest.approx(v)),)
    plant = linearise(scenario, diameter=D, line_speed=v)
    found = {one.name: one for one in machine_frequencies(seen, scenario, where, (plant,))}
    assert found["roll"].frequency == pytest.approx(v / (math.pi * D))
    for number, roller in enumerate(scenario.roller, start=1):
        turn = v / (math.pi * roller.diameter)
        assert found[f"roller {number}"].frequency == pytest.approx(turn)
    assert found["swing"].frequency == pytest.approx(plant.natural_frequency / (2.0 * math.pi))
    assert found["mains 60 Hz"].frequency[0] <= 10.0


def test_an_unknown_diameter_may_be_any_of_the_roll(film):
    seen = record(speed=2.0)
    where = places(seen, film)
    low, high = diameter_range(film)
    each = np.array([place.diameter for place in where])
    steps = np.diff(np.log([low, *each, high]))
    # Evenly in ln, each in the middle of its part.
    assert steps[1:-1] == pytest.approx(steps[1])
    assert steps[[0, -1]] == pytest.approx(0.5 * steps[1])
    plants = tuple(linearise(film, diameter=p.diameter, line_speed=p.line_speed) for p in where)
    roll = machine_frequencies(seen, film, where, plants)[0]
    assert roll.frequency == pytest.approx(2.0 / (math.pi * each))
    # One line for any turn between: nowhere a hole, nowhere a spike.
    between = np.geomspace(2.0 / (math.pi * 0.95 * high), 2.0 / (math.pi * 1.05 * low), 200)
    dense = [roll.density(float(f), 1e-6) for f in between]
    first_order = 0.6 / math.log(high / low)
    assert min(dense) > 0.5 * first_order
    assert max(dense) < 2.5 * first_order


def test_without_a_scenario_and_speed_only_mains_is_known():
    seen = record()
    found = machine_frequencies(seen, None, places(seen, None), ())
    assert {one.kind for one in found} == {"mains"}


def test_a_fast_roller_folds_down(film):
    v = 5.0
    seen = record(interval=0.2, speed=v, diameter=0.5)
    where = places(seen, film)
    plants = (linearise(film, diameter=0.5, line_speed=v),)
    found = {one.name: one for one in machine_frequencies(seen, film, where, plants)}
    turn = v / (math.pi * film.roller[0].diameter)
    assert turn > 2.5
    assert found["roller 1 folded"].frequency[0] == pytest.approx(
        fold(fold(turn, film.controller.scan_time), 0.2)
    )


def test_hum_and_its_double_are_known_and_folded_turns_are_as_unsure_as_their_multiple(film):
    seen = record(interval=0.2, speed=5.0, diameter=0.5)
    where = places(seen, film)
    plants = (linearise(film, diameter=0.5, line_speed=5.0),)
    found = {one.name: one for one in machine_frequencies(seen, film, where, plants)}
    assert {"mains 50 Hz", "mains 60 Hz", "mains 100 Hz", "mains 120 Hz"} <= set(found)
    twice, once = found["2× roller 1 folded"], found["roller 1 folded"]
    assert twice.spread == pytest.approx(2.0 * once.spread)


def test_hum_may_enter_before_the_controller_or_at_the_recorder(film):
    # 50 Hz at 50 samples a second is nothing; a recorder at 8 a second of its own sees 2 Hz.
    seen = record(interval=0.125, speed=2.0, diameter=0.5)
    where = places(seen, film)
    plants = (linearise(film, diameter=0.5, line_speed=2.0),)
    found = [
        float(one.frequency[0])
        for one in machine_frequencies(seen, film, where, plants)
        if one.name == "mains 50 Hz"
    ]
    assert found == [pytest.approx(0.0, abs=1e-9), pytest.approx(2.0)]
