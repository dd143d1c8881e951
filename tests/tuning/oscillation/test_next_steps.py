"""The recording that would tell: it parts the likeliest causes, and is not one that was made."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Trend
from tuning.oscillation.causes import CAUSES, LOOP, MOVES, PICKUP, RINGING, ROLL, ROLLER
from tuning.oscillation.findings import findings
from tuning.oscillation.next_steps import check_for, not_checked, recording_that_tells
from tuning.oscillation.record import as_record


@pytest.fixture(scope="module")
def automatic():
    """A swing recorded in automatic, at steady speed and diameter."""
    t = 0.05 * np.arange(3000)
    rng = np.random.default_rng(0)
    y = 100.0 + 3.0 * np.sin(2 * np.pi * 0.9 * t) + rng.standard_normal(t.size)
    u = 40.0 + np.sin(2 * np.pi * 0.9 * t + 2.0) + 0.1 * rng.standard_normal(t.size)
    one = np.ones(t.size)
    return findings(as_record(Trend(t, y, u, 100.0 * one, 2.0 * one, 0.5 * one, one)))


def chances(**given):
    names = {"roll": ROLL, "roller": ROLLER, "loop": LOOP, "ringing": RINGING, "pickup": PICKUP,
             "moves": MOVES}  # fmt: skip
    rest = (1.0 - sum(given.values())) / (len(CAUSES) - len(given))
    score = dict.fromkeys(CAUSES, rest)
    return score | {names[name]: value for name, value in given.items()}


@pytest.mark.parametrize(
    ("score", "words"),
    [
        (chances(loop=0.5, ringing=0.45), "manual"),
        (chances(roll=0.5, roller=0.45), "fifth smaller"),
        (chances(roller=0.5, ringing=0.45), "20 % slower"),
        (chances(pickup=0.5, ringing=0.45), "sample rate"),
    ],
)
def test_it_parts_the_two_likeliest(automatic, score, words):
    assert words in recording_that_tells(automatic, score)


def test_what_is_sure_needs_no_other_recording(automatic):
    assert recording_that_tells(automatic, chances(roll=0.98)) == ""


def test_what_was_recorded_is_not_asked_for_again(automatic):
    both = replace(automatic, mode_ratio=0.1)
    assert "manual" not in recording_that_tells(both, chances(loop=0.5, ringing=0.45))


def test_what_can_not_be_checked_is_said(automatic):
    said = " ".join(not_checked(automatic))
    assert "scenario" in said
    assert "all in automatic" in said
    assert "speed hardly changes" in said
    record = replace(automatic.record, output=np.full(3000, np.nan))
    assert "takes the output" in " ".join(not_checked(replace(automatic, record=record)))


def test_every_cause_has_a_check(automatic):
    for cause in CAUSES:
        assert check_for(cause, automatic, chances(roll=0.4, roller=0.35))
