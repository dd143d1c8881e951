"""What an operator is told about the switch."""

from dataclasses import replace

import pytest

from tuning.gains import Gains
from tuning.handover_conditions import handover_conditions
from tuning.handover_place import switch_place
from tuning.handover_settings import what_settings_do
from tuning.handover_words import jump_in_words, operator_words, settings_in_words


def told(scenario, gains):
    return operator_words(handover_conditions(scenario, gains), scenario)


def test_every_machine_has_its_list(scenario, designed):
    words = told(scenario, designed(scenario).gains)
    assert any("every diameter and speed" in text for text in words.switch_when)
    assert any("does not track" in text for text in words.not_when)
    waits = " ".join((*words.not_when, *words.wait_when))
    assert "just changed the output" in waits and "speeds up or slows down" in waits
    assert any(text.startswith("Back to manual") for text in words.if_wrong)
    for text in (*words.switch_when, *words.not_when, *words.wait_when, *words.if_wrong):
        assert text[0].isupper() and not text.endswith(".")
        assert "nan" not in text and "e+" not in text


@pytest.mark.parametrize("follows", [True, False])
@pytest.mark.parametrize("tracks", [True, False])
def test_it_says_how_the_controller_is_set(film, tracks, follows):
    c = replace(film.controller, tracking=tracks, setpoint_follows=follows)
    words = " ".join(told(replace(film, controller=c), Gains(0.06, 0.2)).switch_when)
    assert ("it does here)" in words) == tracks
    assert ("have it set" in words) == (not tracks)
    assert ("by itself here" in words) == follows
    assert ("set it by hand here" in words) == (not follows)


def test_a_worn_machine_is_told_to_be_mended(worn):
    words = told(worn, Gains(0.13, 0.2))
    assert words.switch_when == ()
    assert any("sticks" in text and "mend" in text for text in words.wait_when)


def test_unstable_gains_forbid_it_everywhere_once(film):
    words = told(film, Gains(50.0, 0.01))
    assert words.switch_when == () and words.wait_when == ()
    assert len(words.not_when) == 1 and "Anywhere" in words.not_when[0]


def test_gains_that_fail_at_the_core_are_told_so(film):
    """Ten times the gain at full roll: unstable where the loop gain is nine times as high."""
    words = told(film, Gains(0.6, 0.6))
    assert any(text.startswith("At the core") for text in words.not_when)
    assert any("calm at full roll" in text for text in words.switch_when)


def test_settings_in_words(scenario, designed):
    study = what_settings_do(switch_place(scenario, designed(scenario).gains))
    limit, tracks, left = settings_in_words(study)
    assert "at once with anti-windup and after" in limit
    assert "(0.0 %)" in tracks
    assert f"{study.integral.at_zero.output_bump:+.1f} %".replace("-", "−") in left
    assert f"{study.integral.old_tension:.4g} N" in left


@pytest.mark.parametrize(
    ("value", "words"),
    [(-47.96, "−48.0 %"), (3.0, "+3.0 %"), (0.04, "0.0 %"), (-0.04, "0.0 %"), (-0.06, "−0.1 %")],
)
def test_a_jump_has_a_real_minus_and_nothing_has_no_sign(value, words):
    assert jump_in_words(value) == words


def test_a_tension_that_does_not_answer_is_told(worn):
    study = what_settings_do(switch_place(worn, Gains(0.13, 0.2), diameter=0.1525))
    assert "does not answer" in settings_in_words(study)[0]
