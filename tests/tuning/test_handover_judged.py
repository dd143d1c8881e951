"""The rule of judging a switch, at its edges."""

import math
from dataclasses import replace

import pytest

from tuning.gains import Gains
from tuning.handover import switch
from tuning.handover_judged import (
    CALM,
    DO_NOT,
    OUTPUT_CHANGED,
    SPEED_CHANGES,
    STEADY,
    WAIT,
    Condition,
    judge,
    judge_place,
)
from tuning.handover_place import switch_place

GAINS = Gains(0.06, 0.2)
BEST = Condition(tracking=True, setpoint_follows=True)


@pytest.fixture
def place(film):
    return switch_place(film, GAINS)


@pytest.fixture
def calm(place):
    h = switch(place, setpoint_follows=True)
    assert judge(h, place, BEST).verdict == CALM
    return h


# The limits as the module states them, just within and just beyond.
@pytest.mark.parametrize(
    ("seen", "verdict"),
    [
        ({"tension_bump": 1.99}, CALM), ({"tension_bump": 2.01}, WAIT),
        ({"tension_bump": 9.99}, WAIT), ({"tension_bump": 10.01}, DO_NOT),
        ({"output_bump": -0.99}, CALM), ({"output_bump": -1.01}, WAIT),
        ({"output_bump": 99.0}, WAIT),
        ({"walk": 1.99}, CALM), ({"walk": 2.01}, WAIT), ({"walk": 20.01}, DO_NOT),
        ({"settling": math.nan, "swing": 4.99}, WAIT),
        ({"settling": math.nan, "swing": 5.01}, DO_NOT),
        ({"settling": 3.0, "swing": 5.01}, CALM),
        ({"taken_back": True}, DO_NOT),
        ({"caught": 50.0}, CALM),
    ],
    ids=str,
)  # fmt: skip
def test_each_limit(calm, place, seen, verdict):
    assert judge(replace(calm, **seen), place, BEST).verdict == verdict


@pytest.mark.parametrize("lost", ["web break", "slack web"])
def test_a_lost_web_is_worse_than_all_else(calm, place, lost):
    trend = replace(calm.trend, events=((5.0, lost),))
    judged = judge(replace(calm, trend=trend, output_bump=-30.0), place, BEST)
    assert judged.verdict == DO_NOT
    assert ("breaks" in judged.reason) == (lost == "web break")
    assert "−30 %" in judged.reason


@pytest.mark.parametrize("moves", [OUTPUT_CHANGED, SPEED_CHANGES])
def test_a_setpoint_caught_on_its_way_waits(calm, place, moves):
    caught = replace(calm, caught=2.01)
    assert judge(caught, place, Condition(True, True, moves)).verdict == WAIT
    assert judge(replace(calm, caught=1.99), place, Condition(True, True, moves)).verdict == CALM
    # One that does not follow is not caught.
    assert judge(caught, place, Condition(True, False, moves)).verdict == CALM


@pytest.mark.parametrize(
    ("condition", "seen", "advice"),
    [
        (Condition(False, True), {"output_bump": -20.0, "tension_bump": 50.0}, "track"),
        (Condition(False, True, SPEED_CHANGES), {"output_bump": -20.0}, "track"),
        (Condition(True, True, OUTPUT_CHANGED), {"tension_bump": 3.0}, "wait until the tension"),
        (Condition(True, True, SPEED_CHANGES), {"tension_bump": 3.0}, "keeps its speed"),
        (Condition(True, False, STEADY), {"walk": 5.0}, "setpoint to the reading"),
        (Condition(True, True, STEADY), {"tension_bump": 3.0}, "calmer gains"),
        (Condition(False, True, STEADY), {"tension_bump": 3.0}, "calmer gains"),
    ],
)
def test_what_to_do_instead_fits_the_cause(calm, place, condition, seen, advice):
    judged = judge(replace(calm, **seen), place, condition)
    assert advice in judged.instead
    assert not judged.reason.endswith(".") and judged.reason[0].islower()


def test_where_no_switch_need_be_tried(film, place):
    assert judge_place(place) is None
    unstable = judge_place(switch_place(film, Gains(3.0, 0.2)))
    assert unstable.verdict == DO_NOT and "swings up by itself" in unstable.reason
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=10.0))
    out_of_reach = judge_place(switch_place(weak, GAINS))
    assert out_of_reach.verdict == DO_NOT and "too little torque" in out_of_reach.reason


def test_a_supply_that_sticks_is_never_called_calm(worn):
    place = switch_place(worn, Gains(0.13, 0.2))
    judged = judge(switch(place, setpoint_follows=True), place, BEST)
    assert judged.verdict == WAIT and "sticks" in judged.reason
