"""What anti-windup and tracking do: times and jumps against their closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import operating_point
from tuning.gains import Gains
from tuning.handover_place import switch_place
from tuning.handover_settings import what_settings_do


@pytest.fixture
def laminate_place(laminate):
    return switch_place(laminate, Gains(0.01, 0.0035))


@pytest.fixture
def study(laminate_place):
    return what_settings_do(laminate_place)


def test_without_anti_windup_what_has_grown_must_be_paid_back(study, laminate, laminate_place):
    """late = (what has grown beyond the limit)/(Ki |e'|), at the tension that the limit holds.

    The growth is summed here from the record: Ki e a second from where the output meets its limit.
    """
    limit, run, gains = study.at_limit, study.at_limit.without, laminate_place.gains
    trend, per_newton = run.trend, 100.0 / laminate.controller.tension_range
    error = per_newton * (trend.setpoint - trend.tension)
    meets = int(np.argmax(np.abs(trend.output - limit.limit) < 1e-6))
    back = int(np.searchsorted(trend.time, limit.asked_until - 1e-9))
    grown = gains.Ki * laminate.controller.scan_time * error[meets:back].sum()
    # The proportional part helps on the way out, by Kc times the change of error while waiting.
    leaving = -gains.Ki * error[back + 20]
    kicked = gains.Kc * (error[meets] - error[back + 20])
    assert run.late == pytest.approx((grown - kicked) / leaving, rel=0.02)
    assert run.late > 5.0


def test_with_anti_windup_the_output_leaves_its_limit_as_the_setpoint_comes_back(study, laminate):
    """Back-calculation with Tt = Ti rests where v - u = Kc e (Åström & Hägglund, 2006, memory)."""
    run = study.at_limit.with_anti_windup
    assert run.late <= 3.0 * laminate.controller.scan_time
    assert run.at_limit < study.at_limit.without.at_limit - 5.0
    assert run.settling < study.at_limit.without.settling - 5.0


def test_both_runs_stand_at_the_same_limit(study, laminate):
    limit = study.at_limit
    for run in (limit.with_anti_windup, limit.without):
        output = run.trend.output
        assert output.max() == pytest.approx(limit.limit, abs=1e-9)
        stands = np.sum(output > limit.limit - 1e-9) * laminate.controller.scan_time
        assert run.at_limit == pytest.approx(stands)
        after = run.trend.time >= limit.asked_until
        past = (run.trend.setpoint[-1] - run.trend.web_tension[after]).max()
        assert run.overshoot == pytest.approx(100.0 * past / laminate.run.tension, abs=0.2)


def test_the_jump_from_where_the_integral_was_left(study, laminate, laminate_place):
    """u1 - u = I_left - u where the setpoint is the reading; both from the statics."""
    integral = study.integral
    at = {"diameter": laminate_place.diameter, "line_speed": laminate_place.line_speed}
    now = operating_point(laminate, **at).output
    old = operating_point(laminate, **at, tension=integral.old_tension).output
    assert integral.old_tension == pytest.approx(0.8 * laminate.run.tension)
    assert integral.old_output == pytest.approx(old)
    assert integral.tracks.output_bump == pytest.approx(0.0, abs=1e-6)
    assert integral.at_zero.output_bump == pytest.approx(-now, rel=1e-4)
    assert integral.at_old.output_bump == pytest.approx(old - now, rel=1e-3)
    # The smaller jump throws the tension off by less.
    assert integral.at_old.tension_bump < integral.at_zero.tension_bump


def test_every_machine_shows_it(scenario, designed):
    study = what_settings_do(switch_place(scenario, designed(scenario).gains))
    on, off = study.at_limit.with_anti_windup, study.at_limit.without
    assert on.late < 0.2 and off.late > 3.0
    assert abs(study.integral.tracks.output_bump) < 0.05
    assert study.integral.at_zero.output_bump < study.integral.at_old.output_bump < -0.5


def test_no_room_above_shows_the_limit_below(film):
    point = operating_point(film, diameter=0.8)
    tight = replace(film, controller=replace(film.controller, output_high=point.output + 0.5))
    study = what_settings_do(switch_place(tight, Gains(0.06, 0.2)))
    assert not study.at_limit.upper and study.at_limit.limit < point.output
    assert study.at_limit.without.trend.output.min() == pytest.approx(study.at_limit.limit)
    assert study.at_limit.without.late > 2.0


def test_a_brake_that_sticks_shows_what_it_can(worn):
    study = what_settings_do(switch_place(worn, Gains(0.13, 0.2), diameter=0.1525))
    assert math.isnan(study.at_limit.with_anti_windup.late)


def test_without_integral_action_nothing_winds_up(film):
    study = what_settings_do(switch_place(film, Gains(0.3, math.inf)))
    assert study.at_limit.without.late == study.at_limit.with_anti_windup.late


@pytest.mark.parametrize(
    ("torque", "gains", "says"),
    [(10.0, Gains(0.06, 0.2), "can't be held"), (120.0, Gains(3.0, 0.2), "swings up")],
)
def test_refuses_where_there_is_nothing_to_show(film, torque, gains, says):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=torque))
    with pytest.raises(ValueError, match=says):
        what_settings_do(switch_place(weak, gains))
