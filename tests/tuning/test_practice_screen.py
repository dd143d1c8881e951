"""Screen Practice: its stages for every machine, its controls, and files that are not logs."""

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from simulator.screens import bench
from simulator.units import US_CUSTOMARY
from tests.tuning.practice.conftest import machine
from tests.tuning.practice.operators import TRAINEES
from tests.tuning.shown import fine, text_of
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.session import begin_practice, repeated
from tuning.practice.setup import Setup


@pytest.fixture(autouse=True)
def no_paint(monkeypatch):
    """The pictures have their own tests."""
    monkeypatch.setattr(bench, "painted", lambda figure: b"")
    monkeypatch.setattr(bench, "show_picture", lambda png, *, alt: None)


def opened(scenario, *, run=None, stage="choose", units=""):
    app = AppTest.from_string(
        "from tuning.screens import practice\npractice.page()\n", default_timeout=30
    )
    app.session_state["scenario"] = scenario
    if run is not None:
        app.session_state["practice.run"] = run
        app.session_state["practice.stage"] = stage
        # Paused: a test has no clock.
        app.session_state["practice.pace"] = "Pause"
    if units:
        app.session_state["units"] = units
    return fine(app.run())


def live(drill="bumpless hand-over", *, units="", seed=0, name="film_unwind"):
    found = machine(name)
    return opened(found, run=begin_practice(Setup(drill, found, seed)), stage="live", units=units)


def push(app, key):
    return fine(app.button(key=key).click().run())


def run_of(app):
    return app.session_state["practice.run"]


def test_opens_for_every_machine_with_the_cautions_first(scenario):
    app = opened(scenario)
    assert not app.error
    assert "This is a simulation" in app.warning[0].value
    assert "stop devices rule" in app.warning[0].value
    assert len(app.radio(key="practice.drill").options) == len(DRILLS)


@pytest.mark.parametrize("units", ["", US_CUSTOMARY.name])
@pytest.mark.parametrize("key", DRILLS)
def test_every_drill_is_told_and_started(film, key, units):
    app = opened(film, units=units)
    app = fine(app.radio(key="practice.drill").set_value(key).run())
    assert DRILLS[key].title in [h.value for h in app.subheader]
    assert ("lbf" in text_of(app)) == bool(units)
    app = push(app, "practice.start")
    assert app.session_state["practice.stage"] == "live"
    assert run_of(app).setup.drill == key


def test_a_machine_without_any_gains_says_so(film, monkeypatch):
    from tuning.screens import answers

    def none(*args, **kwargs):
        raise ValueError("no gains hold from full roll to core")

    monkeypatch.setattr(answers, "design", none)
    bare = replace(film, controller=replace(film.controller, Kc=None, Ti=None))
    app = opened(bare)
    assert "No gains hold" in app.error[0].value
    # With gains of its own it is practised on with those.
    assert not opened(film).error


def test_every_control_acts(film):
    app = live()
    before = run_of(app)
    for key, what in (
        ("practice.output+1", "output"),
        ("practice.setpoint+5", "setpoint"),
        ("practice.take", "setpoint"),
        ("practice.automatic", "automatic"),
        ("practice.manual", "manual"),
        ("practice.line.stop", "stop"),
        ("practice.line.crawl", "line speed"),
        ("practice.line.fast", "fast stop"),
        ("practice.line.start", "start"),
        ("practice.zero", "zero error"),
    ):
        app = push(app, key)
        assert run_of(app).done[-1].what == what, key
    assert before.done == ()
    app = push(app, "practice.step")
    assert run_of(app).time == pytest.approx(before.time + 0.5, abs=0.021)
    # What was typed is done, and the entry is empty again.
    app = fine(app.text_input(key="practice.output").set_value("44,4").run())
    assert (run_of(app).done[-1].what, run_of(app).done[-1].value) == ("output", 44.4)
    assert app.text_input(key="practice.output").value == ""
    app = fine(push(app, "practice.finish"))
    assert any("of 100" in text.value for text in app.markdown)


def test_in_automatic_the_output_is_not_for_hands(film):
    app = live("fast stop")
    assert app.button(key="practice.output+1").disabled
    assert app.button(key="practice.automatic").disabled
    app = push(app, "practice.manual")
    assert not app.button(key="practice.output+1").disabled
    assert app.button(key="practice.thread").disabled


def test_settings_of_the_controller_are_changed_and_logged(film):
    app = live("tracking off")
    (tracking,) = [c for c in app.checkbox if "tracks" in c.label]
    assert not tracking.value
    app = fine(tracking.check().run())
    assert (run_of(app).done[-1].what, run_of(app).done[-1].value) == ("tracking", 1.0)
    (gain,) = [n for n in app.number_input if n.label.startswith("Gain")]
    app = fine(gain.set_value(0.05).run())
    assert (run_of(app).done[-1].what, run_of(app).done[-1].value) == ("Kc", 0.05)


def test_the_preset_is_there_where_there_is_a_splice(film):
    assert "preset" not in text_of(live())
    app = live("splice to a new roll")
    assert "Next roll's preset: none" in text_of(app)
    app = fine(app.text_input(key="practice.preset").set_value("48 %").run())
    assert (run_of(app).done[-1].what, run_of(app).done[-1].value) == ("preset", 48.0)
    assert "Next roll's preset: 48.0 %" in text_of(app)


@pytest.mark.parametrize("entry", ["much", "1e9", "-5", "nan", "4;5"])
def test_what_is_no_output_changes_nothing(entry):
    app = live()
    app = fine(app.text_input(key="practice.output").set_value(entry).run())
    assert run_of(app).done == ()
    assert "must be a number from 0 to 100" in app.toast[0].value


def test_gains_are_stepped_by_what_they_are():
    """A Kc of 0.0014 must not jump to 0.0114 at a push."""
    app = live(name="foil_unwind")
    (gain,) = [n for n in app.number_input if n.label.startswith("Gain")]
    assert 0.02 * gain.value < gain.step < 0.5 * gain.value
    half = 0.5 * run_of(app).running.controller.Kc
    app = push(app, "practice.Kc.÷ 2")
    assert run_of(app).done[-1].value == pytest.approx(half)


@pytest.mark.parametrize("late", ["act", "catch_up", "step", "finish"])
def test_a_click_that_comes_after_the_run_was_left_does_nothing(film, late):
    app = AppTest.from_string(
        "from tuning.screens import practice_run\n"
        "practice_run.leave()\n"
        f"practice_run.{late}({'lambda run: run' if late == 'act' else ''})\n",
        default_timeout=30,
    )
    app.session_state["practice.run"] = begin_practice(Setup("fast stop", machine("film_unwind")))
    app.session_state["practice.stage"] = "live"
    fine(app.run())
    assert "practice.run" not in app.session_state


def test_the_goal_counts_whole_seconds_and_says_when_it_is_time(film):
    found = machine("film_unwind")
    run = performed(Setup("setpoint off", found, 0), DRILLS["setpoint off"].ideal)
    begun = next(a.at for a in run.done if a.what == "automatic")
    early = repeated(run.setup, run.done, round((begun + 9.7) / 0.02))
    assert "held 9 of 10 s" in text_of(opened(found, run=early, stage="live"))
    late = repeated(run.setup, run.done, round((begun + 12.0) / 0.02))
    assert "✓ held 10 of 10 s: finish" in text_of(opened(found, run=late, stage="live"))


@pytest.mark.parametrize("units", ["", US_CUSTOMARY.name])
@pytest.mark.parametrize("key", TRAINEES)
def test_the_debrief_of_every_drill_good_and_bad(key, units):
    found = machine("film_unwind")
    for operator in TRAINEES[key]:
        run = performed(Setup(key, found, 0), operator)
        app = opened(found, run=run, stage="debrief", units=units)
        text = text_of(app)
        assert "of 100" in text and app.info
        if units:
            assert " N " not in text and "newton" not in text.lower()
        assert len(app.table) == 2


def test_the_free_run_has_no_score(film):
    found = machine("film_unwind")
    run = performed(Setup("free run", found, 0), DRILLS["free run"].ideal)
    app = opened(found, run=run, stage="debrief")
    assert "of 100" not in text_of(app)
    assert len(app.table) == 1


def test_the_same_again_is_the_same(film):
    found = machine("film_unwind")
    run = performed(Setup("fast stop", found, 7, ("noisy reading",)), TRAINEES["fast stop"][0])
    app = push(opened(found, run=run, stage="debrief"), "practice.again")
    assert run_of(app).setup == run.setup
    assert run_of(app).done == ()
