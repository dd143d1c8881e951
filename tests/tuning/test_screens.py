"""Each tuning screen for each machine, with every control moved to its limits."""

from dataclasses import replace

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from simulator.screens import bench
from simulator.units import US_CUSTOMARY
from tests.tuning.shown import fine, text_of
from tuning.design import design_for_roll
from tuning.gains import Gains
from tuning.handover import Handover, handover
from tuning.screens import (
    answers,
    full_roll_to_core,
    learn_view,
    step_test_and_gains,
    tolerance_view,
)
from tuning.screens import handover as handover_screen
from tuning.step_test import step_test
from tuning.tables import gains_in_words

SCREENS = ("step_test_and_gains", "full_roll_to_core", "handover")


@pytest.fixture(autouse=True)
def no_paint(monkeypatch, request):
    """The pictures have their own tests."""
    if "painted" not in request.fixturenames:
        monkeypatch.setattr(bench, "show_figure", lambda figure, *, alt: None)


@pytest.fixture
def painted():
    """Asked for by a test that wants its pictures painted."""


def opened(screen, scenario, *, units=""):
    app = AppTest.from_string(
        f"from tuning.screens import {screen}\n{screen}.page()\n", default_timeout=30
    )
    app.session_state["scenario"] = scenario
    if units:
        app.session_state["units"] = units
    return fine(app.run())


@pytest.mark.parametrize("screen", SCREENS)
def test_opens_for_every_machine(screen, scenario):
    app = opened(screen, scenario)
    assert not app.error
    assert app.header and "Next:" in text_of(app)
    assert any("Before you go to the machine" in e.label for e in app.expander)


@pytest.mark.parametrize("screen", SCREENS)
def test_us_units_and_pictures(screen, film, painted):
    app = opened(screen, film, units=US_CUSTOMARY.name)
    assert not app.error
    shown = text_of(app) + " ".join(slider.label for slider in app.slider)
    assert "lbf" in shown or "ft/min" in shown or "[in]" in shown


@pytest.mark.parametrize("name", ["film", "foil"])
@pytest.mark.parametrize("screen", SCREENS)
def test_every_slider_at_both_ends(screen, name, request):
    app = opened(screen, request.getfixturevalue(name))
    for end in ("min", "max"):
        for slider in app.slider:
            slider.set_value(getattr(slider, end))
        fine(app.run())
        assert app.header


def test_step_sizes_at_the_ends_give_a_message_and_no_trace(film):
    app = opened("step_test_and_gains", film)
    app.checkbox(key="step.automatic").set_value(False).run()
    for size in (-100.0, 100.0, 0.0):
        app.number_input(key="step.size").set_value(size)
        fine(app.run())
        assert "must not be 0 and must leave the output" in text_of(app)
    app.number_input(key="step.size").set_value(-4.0)
    app.number_input(key="step.seed").set_value(1_000_000)
    assert not fine(app.run()).error


def test_every_rule_can_be_looked_at(film):
    app = opened("step_test_and_gains", film)
    box = app.selectbox[0]
    assert len(box.options) >= 15
    for name in box.options[::4]:
        fine(app.selectbox[0].set_value(name).run())
        assert "Source:" in text_of(app)


def test_a_rule_that_another_machine_does_not_offer_is_forgotten(film, foil):
    app = opened("step_test_and_gains", film)
    app.selectbox[0].set_value("IMC cancelling PID").run()
    app.session_state["scenario"] = foil
    assert not fine(app.run()).error


def test_relay_test_says_that_it_is_an_estimate(film):
    app = opened("step_test_and_gains", film)
    app.toggle(key="step.relay").set_value(True)
    assert not fine(app.run()).error
    assert "It is an estimate" in text_of(app)


def test_recorded_step_waits_for_a_file(film):
    app = opened("step_test_and_gains", film)
    app.radio(key="step.source").set_value(app.radio(key="step.source").options[1])
    assert "No file yet" in text_of(fine(app.run()))


def look_at(app, view):
    """Choose one of the closer looks."""
    return fine(app.segmented_control(key="roll.view").set_value(view).run())


SLOW = {"Tolerances", "Learn the machine"}


def test_quick_closer_looks_for_every_machine(scenario):
    app = opened("full_roll_to_core", scenario)
    for view in [name for name in full_roll_to_core.VIEWS if name not in SLOW]:
        look_at(app, view)
        assert not app.error, [error.value for error in app.error]
        assert app.success, "no verdict"


@pytest.mark.parametrize("view", sorted(SLOW))
def test_slow_closer_looks(laminate, view):
    app = look_at(opened("full_roll_to_core", laminate), view)
    assert not app.error, [error.value for error in app.error]


def test_closer_looks_with_their_pictures_in_us_units(film, painted):
    app = opened("full_roll_to_core", film, units=US_CUSTOMARY.name)
    for view in sorted(SLOW):
        assert not look_at(app, view).error


@pytest.mark.parametrize("control", list(full_roll_to_core.CONTROLLERS))
def test_each_kind_of_controller_can_be_asked_for(paper_rewind, control):
    app = opened("full_roll_to_core", paper_rewind)
    fine(app.selectbox(key="roll.controller").set_value(control).run())
    assert not app.error
    kinds = full_roll_to_core.CONTROLLERS[control]
    said = app.success[0].value.replace("\\", "")
    starts = {"I": "**Integral action alone", "PI": "**PI:", "PID": "**PID:"}
    assert said.startswith(tuple(starts[kind] for kind in kinds))
    later = opened("handover", paper_rewind)
    later.session_state[answers.CONTROL_KINDS] = kinds
    said = gains_in_words(design_for_roll(paper_rewind, kinds=kinds).gains)
    assert said in text_of(fine(later.run()))


def test_a_red_verdict_where_the_tension_is_out_of_reach(film):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=55.0))
    app = opened("full_roll_to_core", weak)
    assert not app.success
    assert "can't do as the paper says" in app.error[0].value.replace("\\", "")


def test_a_machine_that_no_gains_suit_can_still_be_learned(film):
    sticky = replace(
        film, torque_device=replace(film.torque_device, breakaway_ratio=2.0, stribeck_speed=0.5)
    )
    app = opened("full_roll_to_core", sticky)
    assert "not stable in manual" in app.error[0].value
    assert any(radio.label == "Learn from" for radio in app.radio)


def learning_from(monkeypatch, scenario, files):
    monkeypatch.setattr(learn_view.st, "file_uploader", lambda *_, **__: files)
    app = look_at(opened("full_roll_to_core", scenario), "Learn the machine")
    return fine(app.radio(key="learn.source.False").set_value(learn_view.RECORDED).run())


def test_the_machine_as_learned_becomes_the_machine_at_hand(film, monkeypatch):
    true = replace(film, web=replace(film.web, modulus=1.3 * film.web.modulus))
    files = [
        Upload(f"{D}.csv", step_test(true, diameter=D, runout=False).trend.to_csv().encode())
        for D in (0.8, 0.3)
    ]
    app = learning_from(monkeypatch, film, files)
    assert not app.error
    fine(app.button(key="learn.use").click().run())
    now = app.session_state["scenario"]
    assert now.web.modulus == pytest.approx(1.3 * film.web.modulus, rel=0.05)
    assert "learned from step tests" in now.note


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\xff\x00", "not text in UTF-8"),
        (b"", "is empty"),
        (b"time_s,tension_N,output_percent\n0,150,40\n1,150,40\n", "has 2 samples"),
    ],
)
def test_a_record_that_teaches_nothing_is_answered(film, monkeypatch, data, says):
    app = learning_from(monkeypatch, film, [Upload("a *b*.csv", data)])
    assert says in " ".join(error.value.replace("\\", "") for error in app.error)


def test_tolerances_can_be_widened_and_the_study_is_kept(film):
    app = look_at(opened("full_roll_to_core", film), "Tolerances")
    kept = app.session_state[tolerance_view.KEPT]
    fine(app.run())
    assert app.session_state[tolerance_view.KEPT] is kept
    app.number_input(key="tolerance.seed").set_value(5)
    fine(app.run())
    assert app.session_state[tolerance_view.KEPT] is not kept


def test_calmer_limits_are_judged_on_many_machines(nonwoven):
    app = look_at(opened("full_roll_to_core", nonwoven), "What calm costs")
    fine(app.toggle(key="roll.judge_calm").set_value(True).run())
    tables = [table.value for table in app.dataframe]
    assert any("machines within tolerances that do not ring" in table for table in tables)


class Upload:
    """What the uploader hands to the screen: a name and bytes."""

    def __init__(self, name, data):
        self.name, self._data = name, data

    def getvalue(self):
        return self._data


@pytest.mark.parametrize(("drop", "told"), [((), True), (("diameter", "line_speed"), False)])
def test_recorded_step_is_judged_where_it_was_made(film, monkeypatch, drop, told):
    """Streamlit's test bench has no uploader, so this one hands the file over itself."""
    trend = step_test(film, diameter=0.3, line_speed=1.0).trend
    for name in drop:
        trend = replace(trend, **{name: np.full(trend.time.size, np.nan)})
    file = Upload("a *b*.csv", trend.to_csv().encode())
    monkeypatch.setattr(step_test_and_gains.st, "file_uploader", lambda *_, **__: file)
    app = opened("step_test_and_gains", film)
    app.radio(key="step.source").set_value(step_test_and_gains.RECORDED)
    assert not fine(app.run()).error
    place = "300 mm and 60.0 m/min, as the file tells" if told else "800 mm and 150 m/min, as the"
    assert f"Recorded at {place}" in text_of(app)


def test_a_hostile_file_is_answered_on_the_screen(film, monkeypatch):
    file = Upload("a *b*.csv", b"\xff\x00")
    monkeypatch.setattr(step_test_and_gains.st, "file_uploader", lambda *_, **__: file)
    app = opened("step_test_and_gains", film)
    app.radio(key="step.source").set_value(step_test_and_gains.RECORDED)
    assert "a *b*.csv: is not text in UTF-8" in fine(app.run()).error[0].value.replace("\\", "")


def test_what_the_screen_calls_for_an_opened_file_keeps_to_plain_errors(film):
    for data in (b"", b"\x00\xff\x00", b"time_s\n", b"a,b\n" * 10):
        with pytest.raises(ValueError, match=r"bad\.csv"):
            answers.opened_step(data, name="bad.csv", tension_range=film.controller.tension_range)


def test_limit_of_ms_is_kept_for_the_hand_over(film):
    app = opened("full_roll_to_core", film)
    app.slider(key="roll.ms_limit").set_value(1.3)
    fine(app.run())
    said = gains_in_words(design_for_roll(film, ms_limit=1.3).gains)
    assert said in text_of(app)
    assert app.session_state[answers.MS_LIMIT] == 1.3
    later = AppTest.from_string(
        "from tuning.screens import handover\nhandover.page()\n", default_timeout=30
    )
    for key in ("scenario", answers.MS_LIMIT):
        later.session_state[key] = app.session_state[key]
    assert said in text_of(fine(later.run()))


def test_a_machine_without_gains_as_found_does_not_offer_them(film, foil):
    source = opened("handover", film).radio[0]
    assert "as found" in source.options
    bare = replace(film, controller=replace(film.controller, Kc=None, Ti=None))
    assert "as found" not in opened("handover", bare).radio[0].options


@pytest.mark.parametrize("name", ["film", "foil"])
@pytest.mark.parametrize("which", ["min", "max"])
def test_own_gains_at_the_ends_of_the_form(which, name, request):
    app = opened("handover", request.getfixturevalue(name))
    app.radio[0].set_value("own")
    fine(app.run())
    for field in app.number_input:
        field.set_value(getattr(field, which))
    fine(app.button[0].click().run())
    assert app.header
    if which == "max":
        assert "do not switch to automatic" in text_of(app)
        assert "stay in manual" in text_of(app)


def test_without_tracking_the_advice_is_tracking(film):
    app = opened("handover", film)
    app.checkbox(key="handover.tracking").set_value(False)
    fine(app.run())
    assert "let the integral term track" in text_of(app)
    for box in app.checkbox:
        box.set_value(not box.value)
    fine(app.run())


def test_numbers_shown_are_those_of_the_simulation(film):
    app = opened("handover", film)
    h: Handover = handover(
        film, design_for_roll(film).gains, setpoint_offset=0.05, tracking=True,
        setpoint_follows=False,
    )  # fmt: skip
    shown = {metric.label: metric.value for metric in app.metric}
    assert shown["Bump in tension"] == f"{h.tension_bump:.1f} %"
    assert shown["Settled"].startswith(f"{h.settling:.1f}")


def test_a_machine_that_cannot_hold_its_tension_gets_words(film):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=10.0))
    for screen in SCREENS:
        fine(opened(screen, weak))


def test_gains_without_integral_action_can_be_switched(film):
    p_only = Gains(Kc=0.06, Ti=float("inf")).set_in(film)
    app = opened("handover", p_only)
    app.radio[0].set_value(handover_screen.AS_FOUND)
    assert "no integral action" in text_of(fine(app.run()))


def test_the_bench_has_its_machines():
    assert len(bench.SCENARIOS) >= 5
