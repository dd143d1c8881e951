"""Rules for a step test anywhere on the roll, judged there and all over it."""

import math
from dataclasses import replace

import pytest

from simulator import linearise
from simulator.machine import diameter_range, named_diameters
from simulator.units import METRIC, US_CUSTOMARY
from tuning.judged_rules import rules_at_point
from tuning.margins import loop_margins
from tuning.process_model import ProcessModel
from tuning.rules import RULES
from tuning.ultimate import Ultimate

MODELS = (ProcessModel("first order", 0.8, 0.4, 0.25),)
CYCLE = Ultimate(gain=0.5, period=0.7)


def test_worst_over_the_roll_is_at_least_that_of_every_named_point(scenario):
    D, v = diameter_range(scenario)[1], scenario.run.line_speed
    scan = scenario.controller.scan_time
    judged = rules_at_point(scenario, MODELS, diameter=D, line_speed=v, ultimate=CYCLE)
    for rule in judged[::5]:
        gains = rule.suggestion.gains
        if gains is None:
            continue
        for named in named_diameters(scenario).values():
            for speed in (scenario.run.line_speed, scenario.run.crawl_speed):
                plant = linearise(scenario, diameter=named, line_speed=speed)
                there = loop_margins(plant, gains, scan_time=scan).severity
                assert rule.worst.severity >= there * (1.0 - 1e-4)


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
        assert worst >= (rule.here.Ms if rule.here.stable else math.inf) * (1.0 - 1e-4)


def test_a_place_without_a_name_is_told_by_its_diameter(film):
    judged = rules_at_point(film, MODELS, diameter=0.3, line_speed=1.0, ultimate=CYCLE)
    calm = next(rule for rule in judged if rule.here is not None and rule.here.stable)
    odd = replace(calm, worst_point=("", 0.3, 1.0))
    assert "300 mm, 60.0 m/min" in odd.verdict(METRIC)
    assert "11.8 in" in odd.verdict(US_CUSTOMARY)


def test_without_an_ultimate_cycle_its_rules_say_so(film):
    judged = rules_at_point(film, MODELS, diameter=0.3, line_speed=1.0)
    for rule in judged:
        if rule.suggestion.rule.needs == "ultimate cycle":
            assert "ultimate cycle" in rule.note


def test_a_dead_time_shorter_than_half_a_scan_counts_as_half_a_scan(film):
    """A held output is half a scan late on average: no rule may be told of less."""
    half = 0.5 * film.controller.scan_time
    told, floored = (
        rules_at_point(
            film, (replace(MODELS[0], dead_time=L),), diameter=0.8, line_speed=film.run.line_speed
        )
        for L in (half, 1e-7)
    )
    assert [r.suggestion.gains for r in told] == [r.suggestion.gains for r in floored]


def test_diameter_out_of_range(film):
    with pytest.raises(ValueError, match="diameter"):
        rules_at_point(film, MODELS, diameter=2.0, line_speed=1.0)
