"""Advice where the goal does not count though the tension was right, or was held too short."""

import pytest

from tests.tuning.practice.test_advice import debrief_of, put_right
from tuning.practice import moves


@pytest.fixture
def machine(film_machine):
    return film_machine


def first_advice(machine, drill, operator):
    d = debrief_of(machine, drill, operator)
    assert not d.measures.done
    return " ".join(d.advice)


def test_a_manual_drill_left_to_automatic(machine):
    def operator(hands):
        hands.do("setpoint", hands.wanted)
        hands.do("automatic")
        yield 20.0
        hands.do("manual")
        yield 15.0

    text = first_advice(machine, "output at full roll", operator)
    assert "in automatic for 20 s on the way" in text and "done by hand" in text


def test_automatic_that_is_asleep(machine):
    def operator(hands):
        yield from put_right(hands)
        hands.do("Ti", 20.0 * machine.controller.Ti)
        yield from moves.hand_over(hands)
        yield 15.0

    # Kc/Ti with twenty times the Ti.
    text = first_advice(machine, "bumpless hand-over", operator)
    assert "Kc/Ti stood at 5 % of what suits this machine" in text


@pytest.mark.parametrize(
    ("drill", "words"),
    [("fast stop", "stopped before the bell"), ("web break and restart", "before it was called")],
)
def test_a_line_stopped_before_the_call(machine, drill, words):
    def operator(hands):
        yield 1.0
        hands.do("manual")
        hands.do("fast stop")
        yield hands.practice.start.call[0][0] + 1.0
        hands.do("fast stop")
        hands.do("thread")
        yield 20.0

    assert words in first_advice(machine, drill, operator)


def test_a_line_taken_down_slowly(machine):
    def operator(hands):
        yield hands.practice.start.call[0][0] + 1.0
        hands.do("manual")
        hands.do("stop")
        yield 60.0

    assert "took the line down slowly" in first_advice(machine, "fast stop", operator)


def test_a_time_just_too_short_is_never_rounded_up_to_what_was_asked_for(machine):
    def operator(hands):
        yield from put_right(hands)
        yield from moves.hand_over(hands)
        while hands.held < 9.6:
            yield 0.02

    d = debrief_of(machine, "bumpless hand-over", operator)
    assert not d.measures.done and 9.5 < d.measures.held.time < 10.0
    assert "for 9." in d.advice[0] and "for 10 s only" not in d.advice[0]
