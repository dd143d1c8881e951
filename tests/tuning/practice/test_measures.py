"""The measures and the score of a run, against what can be worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.tuning.practice.operators import idle
from tuning.practice.drills import DRILLS
from tuning.practice.goal import Held, averaged, held
from tuning.practice.hands import performed
from tuning.practice.measures import measured
from tuning.practice.score import scored
from tuning.practice.session import trend
from tuning.practice.setup import Setup, set_up


@pytest.fixture(scope="module")
def made(film_machine):
    """A run whose trend is then replaced by one made by hand."""
    setup = Setup("setpoint off", film_machine)
    run = performed(setup, idle)
    return run, trend(run)


def by_hand(whole, tension, *, automatic=None, setpoint=None, output=None):
    n = whole.time.size
    return replace(
        whole,
        tension=tension.copy(),
        web_tension=tension,
        span_tension=np.column_stack([tension, tension]),
        automatic=np.zeros(n) if automatic is None else automatic,
        setpoint=np.full(n, 150.0) if setpoint is None else setpoint,
        output=np.full(n, 40.0) if output is None else output,
    )


def test_areas_and_times_of_a_known_shape(made):
    """A ramp from 60 % to the wanted tension in 20 s: IAE = ½ · 60 N · 20 s; 15 s outside 10 %."""
    run, whole = made
    t, wanted = whole.time, run.start.wanted
    tension = wanted - np.maximum(0.4 * wanted * (1.0 - t / 20.0), 0.0)
    m = measured(run, by_hand(whole, tension))
    assert m.iae == pytest.approx(0.5 * 0.4 * wanted * 20.0, rel=1e-2)
    assert m.outside == pytest.approx(15.0, abs=0.05)
    # Within 5 % from 17.5 s on, the mean of a second half a second later.
    assert m.reached == pytest.approx(18.0, abs=0.1)
    assert m.overshoot == 0.0
    assert not m.done  # never in automatic
    assert m.error == pytest.approx(100.0 * m.iae / wanted / t[-1], rel=1e-3)


def test_the_iae_of_a_dying_swing(made):
    run, whole = made
    wanted = run.start.wanted
    tension = wanted * (1.0 + 0.3 * np.exp(-whole.time / 5.0) * np.cos(whole.time))
    m = measured(run, by_hand(whole, tension))
    # Exact integral of |cos| e^-t/5 by the trapezoid on a much finer grid.
    fine = np.linspace(0.0, whole.time[-1], 2_000_001)
    exact = np.trapezoid(np.abs(0.3 * wanted * np.exp(-fine / 5.0) * np.cos(fine)), fine)
    assert m.iae == pytest.approx(exact, rel=1e-2)
    # It begins above; the next peak of e^(-t/5) cos t lies where tan t = -1/5.
    peak = 2.0 * math.pi - math.atan(0.2)
    assert m.overshoot == pytest.approx(30.0 * math.exp(-peak / 5.0) * math.cos(peak), rel=1e-2)


def test_a_tension_found_too_high_is_no_overshoot(made):
    run, whole = made
    t, wanted = whole.time, run.start.wanted
    falling = wanted * (1.4 - 0.04 * t)
    swing = np.where(t < 12.0, falling, wanted * (1.0 + 0.06 * np.sin(t)))
    assert measured(run, by_hand(whole, swing)).overshoot == pytest.approx(6.0, rel=1e-2)
    assert measured(run, by_hand(whole, np.full(t.size, 1.3 * wanted))).overshoot == 0.0


def test_a_switch_is_measured_from_what_was_before(made):
    run, whole = made
    t, wanted = whole.time, run.start.wanted
    at = 30.0
    automatic = (t >= at).astype(float)
    bump = np.where(t >= at, 0.12 * wanted * (t - at) * np.exp(1.0 - (t - at)), 0.0)
    output = np.where(t >= at, 47.0, 40.0)
    setpoint = np.full(t.size, 1.2 * wanted)
    m = measured(
        run, by_hand(whole, wanted + bump, automatic=automatic, output=output, setpoint=setpoint)
    )
    (switch,) = m.switches
    assert switch.at == pytest.approx(at, abs=0.03)
    assert switch.gap == pytest.approx(20.0, rel=1e-3)
    assert switch.jump == pytest.approx(7.0)
    # x e^(1-x) has its largest value, 1, at x = 1.
    assert switch.bump_percent == pytest.approx(12.0, rel=1e-2)
    assert switch.bump == pytest.approx(0.12 * wanted, rel=1e-2)


def test_idle_time_after_the_goal_changes_nothing(made):
    run, whole = made
    t, wanted = whole.time, run.start.wanted
    automatic = (t >= 5.0).astype(float)
    tension = np.where(t < 40.0, wanted, 1.04 * wanted)
    m = measured(run, by_hand(whole, tension, automatic=automatic))
    assert m.done
    assert m.goal_time == pytest.approx(5.0, abs=0.03)
    assert m.iae == pytest.approx(0.0, abs=1e-6)


def test_a_mean_does_not_hide_a_swing(made):
    """Ringing about the right tension is no goal reached: 15 % at 2 Hz averages out in a second."""
    run, whole = made
    wanted = run.start.wanted
    tension = wanted * (1.0 + 0.15 * np.sin(4.0 * np.pi * whole.time))
    assert np.abs(averaged(whole.time, tension)[100:] - wanted).max() < 0.01 * wanted
    m = measured(run, by_hand(whole, tension, automatic=np.ones(whole.time.size)))
    assert not m.done


def test_slack_is_counted_and_a_planned_break_is_not(film_machine):
    setup = Setup("web break and restart", film_machine)
    run = performed(setup, DRILLS[setup.drill].ideal)
    m = measured(run)
    assert m.breaks == 0
    whole = trend(run)
    assert (whole.web_tension <= 0.0).sum() * film_machine.controller.scan_time > 5.0
    assert m.slack < 0.5


def test_a_goal_counts_only_after_the_call(film_machine):
    start = set_up(Setup("fast stop", film_machine))
    t = np.arange(0.0, 30.0, 0.02)
    goal = DRILLS["fast stop"].goal
    at_rest = held(
        goal, start, time=t, tension=np.full(t.size, start.wanted),
        line_speed=np.zeros(t.size), automatic=np.zeros(t.size),
    )  # fmt: skip
    assert at_rest.time == pytest.approx(t[-1] - start.judged_from, abs=0.03)
    running = held(
        goal, start, time=t, tension=np.full(t.size, start.wanted),
        line_speed=np.ones(t.size), automatic=np.zeros(t.size),
    )  # fmt: skip
    assert (running.time, running.line, running.mode) == (0.0, False, True)
    assert running.share == pytest.approx(2.0 / 3.0)


def test_moves_of_the_output_are_counted_and_added_up(film_machine):
    def three_moves(hands):
        for output in (50.0, 45.0, 60.0):
            hands.do("output", output)
            yield 2.0

    run = performed(Setup("output at full roll", film_machine, 1), three_moves)
    first = trend(run).output[0]
    m = measured(run)
    assert m.moves == 3
    assert m.travel == pytest.approx(abs(50.0 - first) + 5.0 + 15.0, abs=1e-6)


def test_the_score_falls_on_straight_lines(film_machine):
    """Half-way between full marks and none it gives half, and nothing counts twice."""
    key = "setpoint off"
    setup = Setup(key, film_machine)
    ideal = measured(performed(setup, DRILLS[key].ideal))
    start = set_up(setup)
    assert scored(key, start, ideal, ideal).total == pytest.approx(100.0)
    switch = replace(ideal.switches[0], bump_percent=ideal.bump + 7.0)  # from 2 to 12 %
    half = scored(key, start, replace(ideal, switches=(switch,)), ideal)
    assert half.total == pytest.approx(100.0 - 0.5 * DRILLS[key].points["bump"])
    broke = scored(key, start, replace(ideal, breaks=1), ideal)
    assert broke.total <= 30.0
    nothing = replace(
        ideal, done=False, held=Held(0.0, False, False, False), goal_time=math.nan, switches=()
    )
    low = scored(key, start, nothing, ideal)
    left = sum(DRILLS[key].points[part] for part in ("outside", "web", "moves"))
    assert low.total == pytest.approx(0.3 * left)
    assert low.word == "again"


@pytest.mark.parametrize("key", DRILLS)
def test_marks_add_up(film_machine, key):
    run = performed(Setup(key, film_machine, 2), idle)
    ideal = measured(performed(run.setup, DRILLS[key].ideal))
    score = scored(key, run.start, measured(run), ideal)
    assert sum(mark.most for mark in score.marks) == sum(DRILLS[key].points.values())
    assert all(0.0 <= mark.points <= mark.most for mark in score.marks)
    assert score.total <= sum(mark.points for mark in score.marks) + 1e-9
