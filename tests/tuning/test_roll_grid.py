"""Where on the roll a loop is worst: never better than a fine grid finds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.plant_bank import plant_bank
from tuning.roll_grid import (
    diameters_over,
    roll_grid,
    sensitivity_map,
    speeds_over,
    worst_over_roll,
)

GAINS = Gains(0.06, 0.25)


def test_worst_is_no_better_than_a_fine_grid(scenario):
    judged = plant_bank(scenario, roll_grid(scenario))
    worst = worst_over_roll(scenario, GAINS, judged=judged)
    low, high = diameter_range(scenario)
    slow, fast = scenario.run.crawl_speed, scenario.run.line_speed
    points = [
        (float(D), float(v))
        for D in np.unique(np.linspace(low, high, 83))
        for v in np.linspace(slow, fast, 13)
    ]
    fine = plant_bank(scenario, points).severity(GAINS)[0].max()
    if math.isinf(worst.Ms):
        assert math.isinf(fine)
    else:
        assert worst.Ms >= fine * (1.0 - 2e-3)


def test_enough_is_enough(film):
    judged = plant_bank(film, roll_grid(film))
    quick = worst_over_roll(film, GAINS, judged=judged, enough=1.01)
    assert (quick.diameter, quick.line_speed) in judged.points


def test_ends_are_exact(film, laminate):
    assert diameters_over(film, 7)[0] == film.roll.full_diameter
    assert diameters_over(film, 7)[-1] == film.roll.core_diameter
    assert diameters_over(laminate, 7) == (laminate.roll.diameter,)
    assert speeds_over(film, 3)[::2] == (film.run.line_speed, film.run.crawl_speed)
    slow = replace(film, run=replace(film.run, crawl_speed=film.run.line_speed))
    assert speeds_over(slow, 5) == (film.run.line_speed,)


def test_map_holds_the_margins_of_each_point(film):
    over = sensitivity_map(film, GAINS, diameters=5, speeds=3)
    assert over.Ms.shape == (5, 3)
    bank = plant_bank(film, [(over.diameters[1], over.speeds[2])])
    assert over.Ms[1, 2] == pytest.approx(bank.severity(GAINS)[0][0])
