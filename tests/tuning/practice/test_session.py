"""A practice run is a value: the same hands at the same scans give the same bits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Action, run_kernel, simulate
from tests.tuning.practice.conftest import GAINS, machine
from tests.tuning.practice.operators import TRAINEES, look_and_hand_over
from tuning.practice.drill import PracticeError
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.session import (
    MOST_ACTIONS,
    TRAINEE,
    acted,
    advanced,
    begin_practice,
    mean_reading,
    repeated,
    trend,
    zeroed,
)
from tuning.practice.setup import Setup, practice_machine


def same_bits(one, other):
    a, b = one.running, other.running
    names = ("state", "direction", "memory", "between", "kinds", "sent", "taken", "happened")
    return (
        all(np.array_equal(getattr(a, n), getattr(b, n), equal_nan=True) for n in names)
        and a.scan == b.scan
        and a.random == b.random
    )


@pytest.mark.parametrize("key", DRILLS)
def test_a_run_is_repeated_bit_for_bit_from_what_was_done(film_machine, key):
    good, _ = TRAINEES.get(key, (look_and_hand_over, None))
    run = performed(Setup(key, film_machine, 5, ("noisy reading",)), good)
    again = repeated(run.setup, run.done, run.running.scan)
    assert same_bits(run, again)
    # … and so does its trend, which is run in one piece.
    window, whole = run.window, trend(run)
    at = np.searchsorted(whole.time, window[:, run_kernel.TIME] - 1e-9)
    assert np.array_equal(whole.web_tension[at], window[:, run_kernel.WEB_TENSION])
    assert np.array_equal(whole.tension[at], window[:, run_kernel.READING])


@pytest.mark.parametrize("name", GAINS)
@settings(max_examples=6, deadline=None)
@given(steps=st.lists(st.integers(1, 300), min_size=1, max_size=12))
def test_it_does_not_matter_how_often_one_looks(name, steps):
    setup = Setup("hand-over at crawl", machine(name), 2)
    looked = begin_practice(setup)
    for i, scans in enumerate(steps):
        looked = acted(advanced(looked, scans), "output", 30.0 + i)
        if i == 1:
            looked = acted(looked, "start")
        if i == 2:
            looked = acted(looked, "automatic")
    looked = advanced(looked, 50)
    assert same_bits(looked, repeated(setup, looked.done, looked.running.scan))


def test_a_practice_run_is_the_simulators_own(film_machine):
    """The same machine, plan, seed and start through `simulate`: the same trend."""
    key = "bumpless hand-over"
    run = performed(Setup(key, film_machine, 4), DRILLS[key].ideal)
    start = run.start
    alone = simulate(
        start.scenario, run.done, duration=run.time, diameter=start.diameter,
        line_speed=start.line_speed, tension=start.tension, setpoint=start.setpoint, seed=4,
    )  # fmt: skip
    # The bench allows for a stiffer web and so takes shorter steps: equal to the method's error.
    assert trend(run).web_tension == pytest.approx(alone.web_tension, rel=1e-6)


def test_what_a_trainee_does_comes_at_the_next_scan_and_leaves_the_run_as_it_was(film_machine):
    before = advanced(begin_practice(Setup("output at full roll", film_machine)), 100)
    after = acted(before, "output", 12.0)
    assert before.done == ()
    assert after.done == (Action(before.time, "output", 12.0),)
    moved = advanced(after, 1)
    scan = film_machine.controller.scan_time
    found = trend(moved)
    assert found.output[-1] == 12.0
    assert found.time[-1] == pytest.approx(before.time, abs=0.5 * scan)
    assert found.output[-2] != 12.0


def test_only_what_a_trainee_has_a_control_for(film_machine):
    run = begin_practice(Setup("output at full roll", film_machine))
    for what in ("web break", "new roll", "dropout", "relay", "web thickness"):
        assert what not in TRAINEE
        with pytest.raises(PracticeError, match="a trainee can do output"):
            acted(run, what, 1.0)


def test_what_no_log_could_keep_is_not_done(film_machine):
    run = begin_practice(Setup("output at full roll", film_machine))
    with pytest.raises(PracticeError, match=r"line speed 99 m/s: at most 2\.5 m/s"):
        acted(run, "line speed", 99.0, 1.0)
    full = replace(run, done=(Action(1.0, "output", 5.0),) * MOST_ACTIONS)
    with pytest.raises(PracticeError, match="finish this one"):
        acted(full, "output", 6.0)


def test_a_machine_that_a_drill_makes_impossible_is_refused_in_words(film_machine):
    wild = replace(film_machine, controller=replace(film_machine.controller, Kc=1e6))
    with pytest.raises(PracticeError, match="can't be set up here"):
        begin_practice(Setup("hand-over at crawl", wild))


def test_time_ends_with_the_drill(film_machine):
    run = advanced(begin_practice(Setup("output at full roll", film_machine)), 10**6)
    assert run.over
    assert run.time == pytest.approx(run.start.time_limit)
    assert advanced(run, 5) is run
    # What the screen keeps of an hour is a minute, below a thousand samples.
    assert len(run.window) < 1000


@pytest.mark.parametrize("seed", range(4))
def test_zeroing_slack_load_cells_makes_the_reading_true(film_machine, seed):
    """Of either sign, also where the live signal ends below zero."""
    run = advanced(begin_practice(Setup("drifted zero", film_machine, seed)), 60)
    error = run.start.scenario.load_cell.zero_error
    assert abs(error) == pytest.approx(0.08 * film_machine.controller.tension_range, rel=1e-9)
    run = advanced(zeroed(run), 100)
    true = run.window[-20:, run_kernel.WEB_TENSION].mean()
    assert mean_reading(run) == pytest.approx(true, abs=1.0)


def test_zeroing_with_tension_in_the_web_zeroes_the_tension_away(film_machine):
    run = advanced(begin_practice(Setup("setpoint off", film_machine)), 100)
    run = advanced(zeroed(run), 100)
    assert mean_reading(run) == pytest.approx(0.0, abs=0.03 * run.start.wanted)
    assert run.window[-1, run_kernel.WEB_TENSION] == pytest.approx(run.start.wanted, rel=0.05)


@pytest.mark.parametrize("name", GAINS)
def test_a_practice_machine_reads_back_as_itself(name, machines):
    """Else a log would not repeat: gains and all go through the text of the scenario file."""
    found = machines[name]
    assert practice_machine(found, GAINS[name]) == found
    assert found.controller.Kc == pytest.approx(GAINS[name].Kc, rel=1e-9)
    assert found.controller.tracking and not found.controller.setpoint_follows
    assert found.controller.taper == 0.0
