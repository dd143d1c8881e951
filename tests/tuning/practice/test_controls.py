"""The controls on the panel, and the clock that never breaks the physics."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import control_kernel, run_kernel
from tests.tuning.practice.conftest import machine
from tuning.practice import controls
from tuning.practice.drills import DRILLS
from tuning.practice.session import acted, advanced, begin_practice
from tuning.practice.setup import Setup
from tuning.practice.view import automatic_output, held_now, panel_of, roll_rests


@pytest.fixture
def run(film_machine):
    return advanced(begin_practice(Setup("bumpless hand-over", film_machine)), 100)


@settings(max_examples=30, deadline=None)
@given(
    ticks=st.lists(st.floats(0.0, 0.9), min_size=1, max_size=20),
    pace=st.sampled_from([1.0, 2.0, 5.0, 10.0]),
)
def test_the_wall_clock_is_kept_to_a_scan(ticks, pace):
    run = begin_practice(Setup("bumpless hand-over", machine("film_unwind")))
    begun, owed = run.time, 0.0
    for seconds in ticks:
        run, owed = controls.elapsed(run, seconds, pace=pace, owed=owed)
    gone = min(pace * sum(ticks), run.start.time_limit - begun)
    assert run.time - begun == pytest.approx(gone, abs=0.021)


@pytest.mark.parametrize("away", [5.0, 3600.0, 1e9])
def test_a_hidden_tab_costs_time_and_nothing_else(run, away):
    back, _ = controls.elapsed(run, away, pace=1.0, owed=0.0)
    assert back.time - run.time == pytest.approx(controls.LONGEST_LAPSE, abs=0.021)
    assert np.all(np.isfinite(back.running.state))


@pytest.mark.parametrize("seconds", [0.0, -5.0])
def test_a_clock_that_stands_or_goes_back_does_nothing(run, seconds):
    same, owed = controls.elapsed(run, seconds, pace=10.0, owed=0.0)
    assert same is run and owed == 0.0


def test_quick_pushes_add_up_before_the_next_scan(run):
    """Three pushes between two pictures are three steps, not one."""
    was = controls.output_now(run)
    for _ in range(3):
        run = controls.output_nudged(run, 0.1)
    assert controls.output_now(run) == pytest.approx(was + 0.3, abs=1e-3)
    # … and the panel shows at once what was done, also while the run is paused.
    shown = panel_of(acted(controls.setpoint_set(run, 99.0), "automatic"))
    assert (shown.setpoint, shown.automatic) == (99.0, True)
    assert shown.output == controls.output_now(run)
    run = advanced(run, 5)
    assert run.running.memory[control_kernel.LAST_OUTPUT] == pytest.approx(was + 0.3, abs=1e-3)


def test_entries_stay_within_what_the_controller_takes(run):
    c = run.start.scenario.controller
    assert controls.output_now(controls.output_set(run, 250.0)) == c.output_high
    assert controls.output_now(controls.output_set(run, -3.0)) == c.output_low
    assert controls.setpoint_now(controls.setpoint_set(run, 1e9)) == c.tension_range
    assert controls.setpoint_now(controls.setpoint_set(run, -1.0)) == 0.0


def test_the_setpoint_takes_the_reading(run):
    taken = controls.setpoint_to_reading(run)
    recent = run.window[run.window[:, run_kernel.TIME] >= run.time - 1.0]
    assert controls.setpoint_now(taken) == pytest.approx(recent[:, run_kernel.READING].mean())


def test_the_line_goes_to_a_speed_at_its_own_rate(run):
    s = run.start.scenario.run
    slow = controls.line_speed_set(run, s.crawl_speed)
    action = slow.done[-1]
    assert (action.what, action.value) == ("line speed", s.crawl_speed)
    expected = s.acceleration_time * (s.line_speed - s.crawl_speed) / s.line_speed
    assert action.over == pytest.approx(expected)
    later = advanced(slow, round(0.5 * expected / run.running.controller.scan_time))
    assert later.running.line_speed == pytest.approx(0.5 * (s.line_speed + s.crawl_speed), rel=0.01)
    assert panel_of(later).line == "slowing down"
    assert controls.line_speed_set(run, 99.0).done[-1].value == s.line_speed


def test_the_panel_says_what_automatic_would_give(film_machine):
    """And automatic then gives it: the needle is the controller's own equation."""
    run = advanced(begin_practice(Setup("tracking off", film_machine)), 200)
    told = automatic_output(run)
    assert abs(told - controls.output_now(run)) > 10.0
    after = advanced(acted(run, "automatic"), 1)
    assert after.running.memory[control_kernel.LAST_OUTPUT] == pytest.approx(told, abs=0.3)
    steady = advanced(begin_practice(Setup("bumpless hand-over", film_machine)), 200)
    steady = advanced(controls.setpoint_to_reading(steady), 2)
    assert automatic_output(steady) == pytest.approx(controls.output_now(steady), abs=0.3)


def test_the_panel_tells_what_the_web_and_the_line_do(film_machine):
    run = begin_practice(Setup("web break and restart", film_machine))
    panel = panel_of(run)
    assert (panel.web, panel.line, panel.automatic) == ("taut", "running", True)
    assert panel.diameter == pytest.approx(run.start.diameter)
    at = run.start.judged_from
    run = advanced(run, round((at + 1.0 - run.time) / 0.02))
    assert panel_of(run).web == "broken"
    assert run.called == "Web break!"
    run = controls.output_set(acted(acted(run, "manual"), "fast stop"), 0.0)
    run = advanced(run, 500)
    assert panel_of(run).line == "standing"
    # At idle a full roll runs on for long, and nobody threads a roll that turns.
    assert not roll_rests(run)
    run = advanced(acted(run, "thread"), 10)
    assert panel_of(run).web == "broken"
    run = advanced(controls.output_set(run, 60.0), 1000)
    assert roll_rests(run)
    run = advanced(acted(run, "thread"), 10)
    assert panel_of(run).web == "slack"


def test_the_goal_on_the_panel_is_the_goal_of_the_score(film_machine):
    run = advanced(begin_practice(Setup("setpoint off", film_machine)), 500)
    goal = DRILLS["setpoint off"].goal
    now = held_now(run, goal)
    assert (now.tension, now.mode, now.line) == (True, False, True)
    assert now.time == 0.0
    run = advanced(acted(controls.setpoint_to_reading(run), "automatic"), 300)
    assert held_now(run, goal).time == pytest.approx(6.0, abs=0.2)
