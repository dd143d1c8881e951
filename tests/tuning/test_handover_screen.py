"""Screen Handover below its single switch: every closer look for every machine."""

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from simulator.screens import bench
from simulator.units import US_CUSTOMARY
from tests.tuning.shown import fine, text_of
from tuning.gains import Gains
from tuning.handover_conditions import handover_conditions
from tuning.screens import handover as handover_screen
from tuning.screens import handover_conditions_view as looks


@pytest.fixture(autouse=True)
def no_paint(monkeypatch):
    """The pictures have their own tests."""
    monkeypatch.setattr(bench, "show_figure", lambda figure, *, alt: None)


def opened(scenario, *, view=looks.SAFE, units=""):
    app = AppTest.from_string(
        "from tuning.screens import handover\nhandover.page()\n", default_timeout=30
    )
    app.session_state["scenario"] = scenario
    app.session_state["handover.view"] = view
    if units:
        app.session_state["units"] = units
    return fine(app.run())


@pytest.mark.parametrize("view", looks.VIEWS)
def test_every_look_at_every_machine(scenario, view):
    app = opened(scenario, view=view)
    assert not app.error, [error.value for error in app.error]
    assert "Next:" in text_of(app)


@pytest.mark.parametrize("view", looks.VIEWS)
def test_every_look_at_a_worn_machine_in_us_units(worn, view):
    app = opened(worn, view=view, units=US_CUSTOMARY.name)
    assert not app.error, [error.value for error in app.error]
    assert " N " not in text_of(app)


def test_the_list_is_that_of_the_study(film):
    app = opened(film)
    app.radio[0].set_value(handover_screen.AS_FOUND)
    said = text_of(fine(app.run()))
    study = handover_conditions(film, None)
    assert "Switch when all of this is so" in said and "If it goes wrong" in said
    # The list is seen before the map and before what else there is about this switch.
    assert said.index("Switch when") < said.index("Where is it safe") < said.index("1. In")
    assert "Better wait" not in said
    table = app.dataframe[0].value
    assert len(table) == len(study.switches)
    assert list(table["verdict"]) == [one.judged.verdict for one in study.switches]
    assert list(table["why"]) == [one.judged.reason for one in study.switches]


def test_nobody_is_told_to_watch_for_less_than_five_seconds(film):
    app = opened(film)
    app.checkbox(key="handover.follows").set_value(True)
    app.slider(key="handover.offset").set_value(0)
    said = text_of(fine(app.run()))
    # A calm switch has settled long before.
    assert "Watch the tension for at least 5 s" in said


@pytest.mark.parametrize("name", list(handover_screen.MOVES))
def test_the_single_switch_while_the_tension_moves(film, name):
    app = opened(film)
    app.radio(key="handover.moves.3").set_value(name)
    said = text_of(fine(app.run()))
    assert not app.error
    moving = handover_screen.MOVES[name] != "steady"
    assert ("wait until the tension stands still" in said) == moving
    assert ("what it would have done in manual" in said) == moving
    app.checkbox(key="handover.noise").set_value(True)
    assert not fine(app.run()).error


@pytest.mark.parametrize("view", looks.VIEWS)
def test_a_machine_without_recommended_gains(film, view):
    """None are stable in manual here; own gains can be tried, and those as found be looked at."""
    sticky = replace(
        film, torque_device=replace(film.torque_device, breakaway_ratio=2.0, stribeck_speed=0.5)
    )
    app = opened(sticky, view=view)
    assert app.error and not app.segmented_control
    for source in (handover_screen.OWN, handover_screen.AS_FOUND):
        app.radio[0].set_value(source)
        fine(app.run())
        assert app.segmented_control


@pytest.mark.parametrize("view", looks.VIEWS)
def test_gains_without_integral_action(film, view):
    app = opened(Gains(Kc=0.06, Ti=float("inf")).set_in(film), view=view)
    app.radio[0].set_value(handover_screen.AS_FOUND)
    assert not fine(app.run()).error


@pytest.mark.parametrize("view", looks.VIEWS)
def test_a_machine_out_of_reach(film, view):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=55.0))
    app = opened(weak, view=view)
    said = text_of(app)
    assert "can't be held here" in said.lower()
    assert app.header and any("Before you go" in e.label for e in app.expander)


def test_a_machine_with_one_speed(film):
    one_speed = replace(film, run=replace(film.run, crawl_speed=film.run.line_speed))
    app = opened(one_speed)
    assert not app.error
    assert len(app.radio(key="handover.moves.2").options) == 2
