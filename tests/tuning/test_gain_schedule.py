"""Gain schedules: monotone, safe between their points, and worth what they say."""

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from simulator import simulate
from simulator.machine import diameter_range
from tuning.gain_schedule import (
    MOST_POINTS,
    _largest_below,
    _monotone,
    schedule_over_roll,
)
from tuning.gains import Gains
from tuning.most_integral import Limits, most_integral
from tuning.plant_bank import plant_bank


@pytest.fixture
def wound(scenario):
    if diameter_range(scenario)[0] == diameter_range(scenario)[1]:
        pytest.skip("a pull roll has one diameter")
    return scenario


def test_limit_is_kept_between_the_points_on_an_independent_grid(wound, designed):
    design = designed(wound)
    low, high = diameter_range(wound)
    points = [
        (float(D), float(v))
        for D in np.linspace(low, high, 61)
        for v in np.linspace(wound.run.crawl_speed, wound.run.line_speed, 4)
    ]
    each = [design.schedule.gains_at(D) for D, _ in points]
    Ms, _ = plant_bank(wound, points).severity(each)
    assert Ms.max() <= design.ms_limit * 1.001
    assert design.schedule.worst_Ms == pytest.approx(Ms.max(), abs=0.02)


def test_few_points_and_monotone(wound, designed):
    entries = designed(wound).schedule.entries
    assert 2 <= len(entries) <= MOST_POINTS
    assert [e.diameter for e in entries] == sorted((e.diameter for e in entries), reverse=True)
    low, high = diameter_range(wound)
    assert (entries[0].diameter, entries[-1].diameter) == (high, low)
    for name in ("Kc", "Ti", "Td"):
        steps = np.diff([getattr(e.gains, name) for e in entries])
        assert np.all(steps >= -1e-9) or np.all(steps <= 1e-9)


def test_never_much_worse_than_fixed_gains_and_never_better_than_the_best(wound, designed):
    design = designed(wound)
    assert min(at.ratio for at in design.schedule.gained) > 0.95
    limits = Limits(design.ms_limit)
    for entry in design.schedule.entries:
        here = plant_bank(
            wound,
            [(entry.diameter, v) for v in (wound.run.line_speed, wound.run.crawl_speed)],
        )
        best = most_integral(here, design.kind, limits)
        assert entry.gains.Ki <= best.Ki * 1.01


def test_gains_between_two_points_are_those_of_the_controller(film, designed):
    """The kernel's controller goes between the points as the schedule says: same run, same bits
    but for rounding."""
    design = designed(film)
    D = 0.37
    runs = [
        simulate(machine, duration=3.0, diameter=D, automatic=True, seed=5)
        for machine in (
            design.set_in(film, scheduled=True),
            design.schedule.gains_at(D).set_in(film),
        )
    ]
    np.testing.assert_allclose(runs[0].web_tension, runs[1].web_tension, rtol=1e-9)


def test_a_pull_roll_needs_none(laminate):
    schedule = schedule_over_roll(laminate, "PI", Gains(0.05, 0.1), limits=Limits(1.6))
    assert schedule.entries == () and schedule.best is None and not schedule.worth_it


def test_linear_program_against_brute_force():
    """Two points, three diameters: the best pair on a fine grid."""
    weights = np.array([[1.0, 0.0], [0.5, 0.5], [0.0, 1.0]])
    most, least = np.array([3.0, 1.6, 1.0]), np.array([0.2, 0.2, 0.2])
    worth = np.array([1.0, 2.0])
    found = _largest_below(weights, most, least, worth)
    best = max(
        a + 2.0 * b
        for a in np.linspace(0.0, 3.0, 301)
        for b in np.linspace(0.0, 1.0, 101)
        if np.all(weights @ [a, b] <= most + 1e-12)
    )
    assert found @ worth == pytest.approx(best, abs=0.02)
    assert _largest_below(weights, most, most + 1.0, worth) is None


def test_monotone_row_is_the_nearer_of_the_two():
    row = np.array([1.0, 2.0, 1.8, 4.0])
    expected = np.exp(isotonic_regression(np.log(row)).x)
    np.testing.assert_allclose(_monotone(row), expected)
    np.testing.assert_allclose(_monotone(row[::-1]), expected[::-1])
