"""The gains in a scenario, schedule and all, judged over the roll."""

from dataclasses import replace

import pytest

from simulator import linearise
from simulator.machine import diameter_range
from simulator.sensing_and_control import ScheduledGains
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set, judge_as_set
from tuning.margins import loop_margins


def scheduled(film):
    low, high = diameter_range(film)
    points = (
        ScheduledGains(diameter=high, Kc=0.09, Ti=0.3),
        ScheduledGains(diameter=low, Kc=0.03, Ti=0.1),
    )
    return replace(film, controller=replace(film.controller, schedule=points))


def test_half_way_between_two_points_is_their_mean(film):
    low, high = diameter_range(film)
    found = gains_as_set(scheduled(film), 0.5 * (low + high))
    assert (found.Kc, found.Ti) == pytest.approx((0.06, 0.2))


def test_one_set_is_the_same_everywhere(film):
    assert gains_as_set(film, 0.3) == Gains.from_controller(film.controller)


@pytest.mark.parametrize("following", [False, True])
def test_worst_is_the_margin_there(film, following):
    machine = scheduled(film) if following else film
    found = judge_as_set(machine)
    assert found.scheduled is following
    worst = found.worst
    plant = linearise(machine, diameter=worst.diameter, line_speed=worst.line_speed)
    gains = gains_as_set(machine, worst.diameter)
    m = loop_margins(plant, gains, scan_time=machine.controller.scan_time)
    assert worst.Ms == pytest.approx(m.Ms, rel=1e-4)


def test_a_scenario_without_gains_has_none_to_judge(laminate):
    assert judge_as_set(laminate) is None
    with pytest.raises(ValueError, match=r"controller\.Kc"):
        gains_as_set(laminate, 0.3)
