"""The whole way from a trend to an answer, on runs whose cause is plain."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, Trend, linearise, simulate
from tuning import explain_oscillation
from tuning.gains import Gains
from tuning.margins import loop_margins
from tuning.oscillation.answer_words import answer_in_words
from tuning.oscillation.causes import (
    CANNOT_TELL,
    CAUSES,
    LOOP,
    MOVES,
    NONE,
    PICKUP,
    RINGING,
    ROLL,
    ROLLER,
    STICKING,
)
from tuning.oscillation.explain import SURE_ENOUGH
from tuning.oscillation.explanation_json import explanation_as_json

D, V = 0.45, 2.2
SOUND = Gains(0.05, 0.4)


def run_of(machine, plan=(), *, duration=120.0, automatic=True, **options):
    return simulate(
        machine, plan, duration=duration, diameter=D, line_speed=V, automatic=automatic,
        seed=3, record_every=2, **options,
    )  # fmt: skip


@pytest.fixture
def machine(film):
    """A film unwind with sound gains, everything round, a supply that follows."""
    brake = replace(film.torque_device, hysteresis=0.0)
    return SOUND.set_in(replace(film, roll=replace(film.roll, runout=0.0), torque_device=brake))


def test_a_roll_out_of_round_is_told_by_its_turn(machine):
    trend = run_of(replace(machine, roll=replace(machine.roll, runout=6e-4)))
    found = explain_oscillation(trend, machine)
    assert found.verdict == ROLL
    assert found.present
    assert found.findings.frequency == pytest.approx(V / (math.pi * D), rel=5e-3)
    assert any("the turn of the roll" in words for words in found.causes[0].evidence)
    # What the web stretches is all that is between v/(pi D) and the turn.
    turns = float(re.search(r"turns ([\d.]+) times a minute", found.causes[0].next_check)[1])
    assert turns == pytest.approx(60.0 * V / (math.pi * D), rel=3e-3)


def test_a_roller_is_told_from_the_roll_by_a_change_of_speed(machine):
    rollers = (replace(machine.roller[0], runout=9e-4), *machine.roller[1:])
    plan = [Action(20.0, "line speed", 1.3 * V, 80.0)]
    trend = run_of(replace(machine, roller=rollers), plan)
    found = explain_oscillation(trend, machine)
    assert found.verdict == ROLLER
    assert "roller 1" in found.causes[0].next_check
    assert found.findings.oscillation.axis == "web length"


def test_gains_too_high_are_told_and_without_a_scenario_they_are_suspected(machine):
    plant = linearise(machine, diameter=D, line_speed=V)
    loud = Gains(SOUND.Kc * 40.0, 0.25)
    assert not loop_margins(plant, loud, scan_time=machine.controller.scan_time).stable
    trend = run_of(loud.set_in(machine), [Action(40.0, "automatic")], automatic=False)
    found = explain_oscillation(trend, loud.set_in(machine))
    assert found.verdict == LOOP
    assert found.score_of(LOOP) > 0.9
    alone = explain_oscillation(trend)
    assert alone.causes[0].cause == LOOP
    assert any("scenario" in words for words in alone.not_checked)


def test_a_roll_that_is_knocked_in_manual_rings(machine):
    slow = 0.3
    rng = np.random.default_rng(1)
    plan = []
    for at in np.cumsum(rng.uniform(6.0, 11.0, 14)):
        plan += [Action(float(at), "line speed", 1.01 * slow, 0.05),
                 Action(float(at) + 0.1, "line speed", slow, 0.05)]  # fmt: skip
    trend = simulate(machine, plan, duration=150.0, diameter=D, line_speed=slow, seed=1)
    plant = linearise(machine, diameter=D, line_speed=slow)
    found = explain_oscillation(trend, machine)
    assert found.findings.frequency == pytest.approx(
        plant.natural_frequency / (2.0 * math.pi), rel=0.05
    )
    assert found.verdict == RINGING


def test_a_sticking_supply_is_told_by_the_wave(machine):
    brake = replace(machine.torque_device, sticking=4.0)
    sticks = Gains(0.05, 0.5).set_in(replace(machine, torque_device=brake))
    plan = [Action(5.0, "setpoint", 1.04 * machine.run.tension)]
    trend = run_of(sticks, plan, duration=400.0)
    found = explain_oscillation(trend, machine)
    assert found.verdict == STICKING


def test_a_line_speed_that_swings_is_told_by_its_record(machine):
    f = 0.21
    plan = [
        Action(0.2 * k, "line speed", V * (1.0 + 0.004 * math.sin(2 * math.pi * f * 0.2 * k)), 0.2)
        for k in range(600)
    ]
    trend = run_of(machine, plan)
    found = explain_oscillation(trend, machine)
    assert found.verdict == MOVES
    assert found.findings.frequency == pytest.approx(f, rel=0.01)
    assert explain_oscillation(trend).verdict == MOVES


def test_mains_folded_down_is_told_by_the_sample_rate(machine):
    trend = run_of(machine)
    # 50 samples in two seconds: 60 Hz shows at 10 Hz at the scan, and at 10 Hz at 25 a second.
    hum = 2.0 * np.cos(2.0 * math.pi * 60.02 * trend.time)
    found = explain_oscillation(replace(trend, tension=trend.tension + hum), machine)
    assert found.verdict == PICKUP
    assert any("60 Hz" in words for words in found.causes[0].evidence)


def test_noise_is_no_oscillation(machine):
    found = explain_oscillation(run_of(machine), machine)
    assert found.verdict == NONE
    assert not found.present


def test_a_tension_that_stands_still_is_none(machine):
    trend = run_of(machine)
    still = replace(trend, tension=np.full(trend.time.size, 150.0))
    found = explain_oscillation(still, machine)
    assert found.verdict == NONE
    assert "does not move at all" in answer_in_words(found)


def test_what_no_part_of_the_machine_makes_is_not_blamed_on_one(machine):
    trend = run_of(machine, automatic=False)
    odd = 2.0 * np.sin(2.0 * math.pi * 0.437 * trend.time)
    found = explain_oscillation(replace(trend, tension=trend.tension + odd), machine)
    assert found.present
    assert found.verdict == CANNOT_TELL
    assert found.causes[0].next_check or found.next_recording


def test_an_oval_roll_turns_half_as_often_as_the_tension_swings(machine):
    trend = run_of(machine, automatic=False)
    turn = V / (math.pi * D)
    oval = 3.0 * np.cos(2.0 * math.pi * 2.0 * turn * trend.time)
    found = explain_oscillation(replace(trend, tension=trend.tension + oval), machine)
    assert found.verdict == ROLL
    turns = float(re.search(r"turns ([\d.]+) times a minute", found.causes[0].next_check)[1])
    assert turns == pytest.approx(60.0 * turn, rel=5e-3)


def test_a_second_oscillation_is_told_beside_the_first(machine):
    trend = run_of(replace(machine, roll=replace(machine.roll, runout=6e-4)), automatic=False)
    hum = 1.5 * np.cos(2.0 * math.pi * 10.0 * trend.time)
    found = explain_oscillation(replace(trend, tension=trend.tension + hum), machine)
    assert found.verdict == ROLL
    assert [other.cause for other in found.others] == [PICKUP]
    assert found.others[0].oscillation.frequency == pytest.approx(10.0, rel=1e-3)


def test_gains_of_before_in_the_scenario_do_not_hide_a_loop_that_rings(machine):
    loud = Gains(SOUND.Kc * 40.0, 0.25)
    trend = run_of(loud.set_in(machine), automatic=True)
    found = explain_oscillation(trend, machine)
    assert found.verdict == LOOP
    assert "not those of the scenario" in found.causes[0].next_check
    # An output that comes to its limits seems to be moved by less gain than it is.
    assert 0.5 * loud.Kc < found.findings.loop.gains.Kc < 1.1 * loud.Kc


def test_scores_are_chances_and_every_cause_is_there(machine):
    found = explain_oscillation(run_of(machine), machine)
    assert {one.cause for one in found.causes} == set(CAUSES)
    assert math.fsum(one.score for one in found.causes) == pytest.approx(1.0)
    each = [one.score for one in found.causes]
    assert each == sorted(each, reverse=True)
    assert found.verdict == CANNOT_TELL or found.score_of(found.verdict) >= SURE_ENOUGH


def test_the_same_trend_gets_the_same_answer(machine):
    trend = run_of(replace(machine, roll=replace(machine.roll, runout=6e-4)))
    one, other = (
        json.dumps(explanation_as_json(explain_oscillation(trend, machine))) for _ in range(2)
    )
    assert one == other


def test_json_has_the_names_that_programs_rely_on(machine):
    trend = run_of(replace(machine, roll=replace(machine.roll, runout=6e-4)))
    data = json.loads(
        json.dumps(explanation_as_json(explain_oscillation(trend, machine)), allow_nan=False)
    )
    assert {"verdict", "oscillation", "causes"} <= set(data)
    assert {"present", "frequency_Hz", "amplitude_N", "regularity", "drift"} <= set(
        data["oscillation"]
    )
    for cause in data["causes"]:
        assert {"cause", "score", "evidence", "against", "next_check"} <= set(cause)
    assert data["oscillation"]["drift"] in ("constant", "drifting", "unknown")


def test_tension_alone_is_enough_to_get_an_answer():
    t = 0.05 * np.arange(2000)
    nothing = np.full(t.size, np.nan)
    tension = 100.0 + 3.0 * np.sin(2 * np.pi * 0.9 * t)
    tension = tension + np.random.default_rng(0).standard_normal(t.size)
    trend = Trend(t, tension, nothing, nothing, nothing, nothing, nothing)
    found = explain_oscillation(trend)
    assert found.present
    assert found.findings.frequency == pytest.approx(0.9, rel=1e-3)
    assert found.next_recording
    assert len(found.not_checked) >= 4
