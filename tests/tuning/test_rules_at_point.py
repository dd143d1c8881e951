"""Rules for a step test anywhere on the roll."""

import math

import pytest

from simulator import linearise
from simulator.machine import diameter_range
from tuning.margins import loop_margins
from tuning.pretune import judge_rules, plant_points
from tuning.process_model import ProcessModel
from tuning.rules import RULES, suggest
from tuning.rules_at_point import rules_at_point
from tuning.ultimate import Ultimate

MODELS = (ProcessModel("first order", 0.8, 0.4, 0.25),)
CYCLE = Ultimate(gain=0.5, period=0.7)


def test_at_full_roll_it_is_the_whole_jobs_judgement(scenario):
    D, v = diameter_range(scenario)[1], scenario.run.line_speed
    here = rules_at_point(scenario, MODELS, diameter=D, line_speed=v, ultimate=CYCLE)
    assert here == judge_rules(scenario, plant_points(scenario), suggest(MODELS, ultimate=CYCLE))


def test_elsewhere_margins_are_those_of_the_point(film):
    place = {"diameter": 0.3, "line_speed": 1.0}
    plant, scan = linearise(film, **place), film.controller.scan_time
    judged = rules_at_point(film, MODELS, **place)
    assert [r.suggestion.rule.name for r in judged] == list(RULES)
    for rule in judged:
        if rule.suggestion.gains is None:
            assert rule.here is None
            continue
        expected = loop_margins(plant, rule.suggestion.gains, scan_time=scan)
        assert rule.here.stable == expected.stable
        assert rule.here.Ms == pytest.approx(expected.Ms, rel=1e-9)
        worst = rule.worst.Ms if rule.worst.stable else math.inf
        assert worst >= (rule.here.Ms if rule.here.stable else math.inf)


def test_without_an_ultimate_cycle_its_rules_say_so(film):
    judged = rules_at_point(film, MODELS, diameter=0.3, line_speed=1.0)
    for rule in judged:
        if rule.suggestion.rule.needs == "ultimate cycle":
            assert "ultimate cycle" in rule.note


def test_diameter_out_of_range(film):
    with pytest.raises(ValueError, match="diameter"):
        rules_at_point(film, MODELS, diameter=2.0, line_speed=1.0)
