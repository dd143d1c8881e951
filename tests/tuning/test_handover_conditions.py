"""All conditions of a switch side by side, on every machine."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import operating_point
from simulator.machine import named_diameters
from simulator.sensing_and_control import ScheduledGains
from tuning.gains import Gains
from tuning.handover import handover
from tuning.handover_conditions import SETTINGS, handover_conditions, moved_at, same_switch
from tuning.handover_judged import CALM, DO_NOT, OUTPUT_CHANGED, SPEED_CHANGES, STEADY, WAIT
from tuning.handover_place import switch_place


def test_every_condition_once(scenario, designed):
    study = handover_conditions(scenario, designed(scenario).gains)
    rows = 2 * len(named_diameters(scenario))
    assert len(study.rows) == rows and {len(row) for row in study.rows} == {12}
    seen = {(one.diameter, one.line_speed, one.condition) for one in study.switches}
    assert len(seen) == 12 * rows
    assert sum(study.count(verdict) for verdict in (CALM, WAIT, DO_NOT)) == 12 * rows
    for one in study.switches:
        assert one.judged.reason
        assert bool(one.judged.instead) == (one.judged.verdict != CALM)


def test_recommended_gains_are_calm_where_all_is_as_it_should_be(scenario, designed):
    """Bumpless transfer: tracking, the setpoint at the reading, a steady machine: nothing jumps."""
    study = handover_conditions(scenario, designed(scenario).gains)
    best = study.of(moves=STEADY, tracking=True, setpoint_follows=True)
    assert len(best) == len(study.rows)
    for one in best:
        assert one.judged.verdict == CALM
        assert abs(one.output_bump) < 1e-9 and one.tension_bump < 1e-6


def test_without_tracking_the_output_falls_by_what_holds_the_tension(scenario, designed):
    """Closed form: u1 - u = Kc (r - y) - u, with u from the statics of the machine."""
    gains = designed(scenario).gains
    gap = 0.08
    study = handover_conditions(scenario, gains, setpoint_gap=gap)
    c, run = scenario.controller, scenario.run
    for follows in (True, False):
        for one in study.of(moves=STEADY, tracking=False, setpoint_follows=follows):
            point = operating_point(scenario, diameter=one.diameter, line_speed=one.line_speed)
            error = 0.0 if follows else 100.0 * gap * run.tension / c.tension_range
            expected = gains.Kc * gains.setpoint_weight * error - point.output
            assert one.output_bump == pytest.approx(expected, abs=1e-6)
    # At full roll it is most of the output: nobody should do that.
    full = study.of(moves=STEADY, tracking=False, setpoint_follows=True)[0]
    assert full.judged.verdict == DO_NOT and "track" in full.judged.instead


def test_the_settings_that_are_worse_are_never_judged_better(scenario, designed):
    order = (CALM, WAIT, DO_NOT)
    study = handover_conditions(scenario, designed(scenario).gains)
    for row in study.rows:
        verdicts = {one.condition: order.index(one.judged.verdict) for one in row}
        steady = [v for c, v in verdicts.items() if c.moves == STEADY and c.setpoint_follows]
        assert steady == sorted(steady)  # tracking comes first


def test_a_movement_is_what_it_says(film):
    place = switch_place(film, Gains(0.06, 0.2), diameter=0.4)
    assert moved_at(place, STEADY) is None
    changed = moved_at(place, OUTPUT_CHANGED)
    # The step takes the tension a tenth up: read off the run that stays in manual.
    end = changed.trend.web_tension[-1]
    assert end == pytest.approx(1.1 * film.run.tension, rel=0.02)
    slows = moved_at(place, SPEED_CHANGES)
    rate = np.diff(slows.trend.line_speed) / np.diff(slows.trend.time)
    assert rate.min() == pytest.approx(-film.run.line_speed / film.run.acceleration_time, rel=1e-6)
    crawl = switch_place(film, Gains(0.06, 0.2), diameter=0.4, line_speed=film.run.crawl_speed)
    assert moved_at(crawl, SPEED_CHANGES).movement.line_speed == film.run.line_speed


def test_no_room_above_makes_the_step_go_down(film):
    point = operating_point(film, diameter=film.roll.full_diameter)
    tight = replace(film, controller=replace(film.controller, output_high=point.output + 1.0))
    moved = moved_at(switch_place(tight, Gains(0.06, 0.2)), OUTPUT_CHANGED)
    assert moved.movement.output_step < 0.0


def test_same_switch_is_the_single_switch(film):
    gains = Gains(0.06, 0.2)
    place = switch_place(film, gains)
    for condition, h in same_switch(place, STEADY, setpoint_gap=0.1):
        alone = handover(
            film, gains, setpoint_offset=0.1, tracking=condition.tracking,
            setpoint_follows=condition.setpoint_follows,
        )  # fmt: skip
        assert h.trend.output.tolist() == alone.trend.output.tolist()
    assert [(c.tracking, c.setpoint_follows) for c, _ in same_switch(place, STEADY)] == list(
        SETTINGS
    )


def test_unstable_gains_are_told_without_a_run(film):
    study = handover_conditions(film, Gains(100.0, 0.001))
    assert study.count(DO_NOT) == len(study.switches)
    assert all(np.isnan(one.output_bump) for one in study.switches)


def test_a_machine_out_of_reach(film):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=55.0))
    study = handover_conditions(weak, Gains(0.01, 1.0))
    full = [one for one in study.switches if one.name == "full roll"]
    assert all("can't be held" in one.judged.reason for one in full)
    assert any(not np.isnan(one.output_bump) for one in study.switches if one.name == "core")


def test_a_machine_with_one_speed_has_no_change_of_speed(film):
    one_speed = replace(film, run=replace(film.run, crawl_speed=film.run.line_speed))
    study = handover_conditions(one_speed, Gains(0.06, 0.2))
    assert study.moves == (STEADY, OUTPUT_CHANGED) and len(study.rows) == 3


def test_gains_as_found_follow_the_roll(film):
    points = tuple(
        ScheduledGains(diameter=D, Kc=Kc, Ti=0.2) for D, Kc in ((0.8, 0.3), (0.0890, 0.03))
    )
    c = replace(film.controller, schedule=points, Kc=None, Ti=None)
    study = handover_conditions(replace(film, controller=c), None, setpoint_gap=0.1)
    untracked = study.of(moves=STEADY, tracking=False, setpoint_follows=False)
    error = 100.0 * 0.1 * film.run.tension / film.controller.tension_range
    for one in untracked:
        point = operating_point(film, diameter=one.diameter, line_speed=one.line_speed)
        Kc = np.interp(one.diameter, [0.089, 0.8], [0.03, 0.3])
        assert one.output_bump == pytest.approx(Kc * error - point.output, abs=1e-6)


def test_refuses_no_gains_and_a_gap_that_makes_no_sense(film, foil):
    with pytest.raises(ValueError, match="Kc"):
        handover_conditions(foil, None)
    with pytest.raises(ValueError, match="setpoint_offset"):
        handover_conditions(film, Gains(0.06, 0.2), setpoint_gap=5.0)
