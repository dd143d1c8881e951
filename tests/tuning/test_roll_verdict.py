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
    assert "these gains hold everywhere" in verdict.headline


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
    assert "stick" in verdict.problems[0] and "stick" in verdict.headline


def test_a_web_that_runout_breaks_is_told(film, designed):
    """Runout makes some 20 N near the core, where the roll turns at its own swing."""
    weak = replace(film, web=replace(film.web, breaking_tension=165.0))
    verdict = verdict_on(weak, designed(film))
    assert any("slack or broken web" in text for text in verdict.problems)
    # At 155 N noise and runout are enough at the core, too.
    weaker = replace(film, web=replace(film.web, breaking_tension=155.0))
    verdict = verdict_on(weaker, designed(film))
    assert any("noise and runout end in a web break" in text for text in verdict.problems)


def test_much_overshoot_is_in_the_headline(paper_rewind, designed):
    verdict = verdict_on(paper_rewind, designed(paper_rewind))
    responses = roll_responses(paper_rewind, designed(paper_rewind).gains)
    most = max(r.metrics.overshoot for r in responses)
    assert most > 25.0
    assert f"overshoots by {most:.0f} %" in verdict.headline and "Ramp" in verdict.headline
