"""Ways round a drill that a clever trainee finds, and that must not pay."""

import pytest

from tests.tuning.practice.operators import look_and_hand_over, take_over
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.measures import measured
from tuning.practice.score import USABLE, scored
from tuning.practice.setup import Setup

MACHINES = ["film_unwind", "laminate_pull_roll", "paper_rewind"]


def score_of(machine, key, operator, *, seed=1):
    if reason := DRILLS[key].refused(machine):
        pytest.skip(reason)
    setup = Setup(key, machine, seed)
    run = performed(setup, operator)
    m = measured(run)
    return m, scored(key, run.start, m, measured(performed(setup, DRILLS[key].ideal)))


def automatic_does_it(hands):
    yield 1.0
    hands.do("setpoint", hands.wanted)
    hands.do("automatic")
    yield 20.0
    hands.do("start")
    yield hands.practice.start.scenario.run.acceleration_time + 5.0
    hands.do("manual")
    yield hands.goal.hold + 4.0


def sleeping_automatic(hands):
    yield 1.0
    hands.do("Kc", 1e-5)
    yield from take_over(hands)


def automatic_and_an_entry(hands):
    """Of the output, which does nothing there but used to end the look for a bump."""
    yield 2.0
    hands.do("automatic")
    yield 0.05
    hands.do("output", 30.0)
    hands.do("setpoint", hands.wanted)
    yield hands.goal.hold + 20.0


def stopped_before_the_call(hands):
    yield 1.0
    hands.do("manual")
    hands.do("fast stop")
    yield 1000.0


def stopped_at_ease(hands):
    at, _ = hands.practice.start.call[0]
    yield at + 1.0 - hands.time
    hands.do("stop")
    yield 60.0
    hands.do("manual")
    yield 20.0


def output_by_the_tick(hands):
    """It does not zero, and brings what the display shows to the job card."""
    yield 2.0
    run = hands.practice.start.scenario.run
    hands.do("output", 20.0)
    hands.do("line speed", run.crawl_speed, 6.0)
    yield 15.0
    hands.do("start")
    yield run.acceleration_time + 5.0
    hands.do("setpoint", hands.wanted)
    hands.do("automatic")
    yield 60.0


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize(
    ("key", "cheat"),
    [
        ("output at full roll", automatic_does_it),
        ("output near the core", automatic_does_it),
        ("crawl to speed in manual", automatic_does_it),
        ("bumpless hand-over", sleeping_automatic),
        ("setpoint off", sleeping_automatic),
        ("tracking off", automatic_and_an_entry),
        ("fast stop", stopped_before_the_call),
        ("fast stop", stopped_at_ease),
        ("drifted zero", output_by_the_tick),
    ],
)
def test_a_way_round_does_not_pay(machines, name, key, cheat):
    _, score = score_of(machines[name], key, cheat)
    assert score.total < USABLE, score


@pytest.mark.parametrize("name", MACHINES)
def test_sleeping_through_the_splice_is_not_good(machines, name):
    def asleep(hands):
        yield 1000.0

    m, score = score_of(machines[name], "splice to a new roll", asleep)
    assert m.done  # automatic finds the output, after a large error
    assert m.peak > 50.0
    assert score.total < 70.0


def test_a_switch_without_tension_is_no_hand_over(film_machine):
    def from_nothing(hands):
        yield 1.0
        hands.do("automatic")
        yield 1.0
        hands.do("start")
        yield 100.0

    m, score = score_of(film_machine, "from rest to automatic", from_nothing)
    assert [switch.ready for switch in m.switches] == [False]
    assert next(mark.points for mark in score.marks if mark.part == "bump") == 0.0


def test_what_an_honest_trainee_does_is_not_taken_for_a_cheat(film_machine):
    m, score = score_of(film_machine, "setpoint off", look_and_hand_over)
    assert m.done and m.switches[0].ready
    assert score.total == pytest.approx(100.0, abs=2.0)
