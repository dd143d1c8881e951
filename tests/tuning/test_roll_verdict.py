"""The verdict: margins first, unless the machine itself can't do as they say."""

from dataclasses import replace

from simulator.units import US_CUSTOMARY
from tuning.design import design_for_roll
from tuning.roll_responses import roll_responses
from tuning.roll_verdict import binding_in_words, roll_verdict


def verdict_on(scenario, design):
    return roll_verdict(scenario, design, roll_responses(scenario, design.gains))


def test_sound_machines_hold(scenario, designed):
    verdict = verdict_on(scenario, designed(scenario))
    assert not verdict.problems
    assert verdict.headline.startswith("These gains hold everywhere")


def test_what_binds_is_named(film, foil, designed):
    said = binding_in_words(film, designed(film))
    assert "the full roll at 15.0 m/min holds the proportional action back" in said.lower()
    assert "the core at 150 m/min holds the integral action back" in said
    said = binding_in_words(foil, designed(foil), US_CUSTOMARY)
    assert "proportional" not in said and "ft/min" in said


def test_a_tension_out_of_reach_comes_first(film):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=55.0))
    verdict = verdict_on(weak, design_for_roll(weak))
    assert "out of reach" in verdict.problems[0]
    assert "can't do as the paper says" in verdict.headline


def test_a_web_that_breaks_is_told(film, designed):
    weak = replace(film, web=replace(film.web, breaking_tension=156.0))
    verdict = verdict_on(weak, designed(film))
    assert any("web break" in problem for problem in verdict.problems)


def test_a_supply_that_sticks_is_told(worn, designed):
    verdict = verdict_on(worn, designed(worn))
    assert any("stick" in problem for problem in verdict.problems)
