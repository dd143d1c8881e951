"""Section Speeding up and stopping of the screen Manual output."""

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from simulator import Scenario


def _section() -> None:
    import streamlit as st

    from simulator.machine import diameter_range
    from simulator.screens import bench, speed_changes

    scenario = bench.current_scenario()
    diameter = st.session_state.get("diameter") or diameter_range(scenario)[1]
    tension = st.session_state.get("tension") or scenario.run.tension
    speed_changes.section(scenario, diameter=diameter, tension=tension)


def _manual_output() -> None:
    from simulator.screens import manual_output

    manual_output.page()


def opened(screen: object, scenario: Scenario, **state: object) -> AppTest:
    app = AppTest.from_function(screen, default_timeout=30)  # type: ignore[arg-type]
    app.session_state["scenario"] = scenario
    for name, value in state.items():
        app.session_state[name] = value
    return app.run()


def words(app: AppTest) -> str:
    return "\n".join(part.value for part in (*app.markdown, *app.error, *app.warning))


def test_section_opens_on_every_machine(scenario: Scenario) -> None:
    app = opened(_section, scenario)
    assert not app.exception
    assert app.subheader[0].value == "Speeding up and stopping"
    assert len(app.table) == 1
    rows = app.table[0].value
    assert len(rows) == (1 if scenario.zone == "pull roll" else 3)
    assert "**Next, at" in words(app)


@pytest.mark.parametrize(("kind", "end"), [("start", -1), ("stop", 0)])
def test_every_choice_at_its_ends(laminate: Scenario, kind: str, end: int) -> None:
    app = opened(_section, laminate)
    app.radio[0].set_value(kind).run()
    time, rounding, share = app.select_slider
    time.set_value(float(time.options[end]))
    rounding.set_value(float(rounding.options[end]))
    share.set_value(int(share.options[end]))
    app.run()
    assert not app.exception
    assert len(app.table) == 1


def test_film_fast_stop_is_answered(film: Scenario) -> None:
    """About 147 N m of 120 N m, see test_speed_change for the sum by hand."""
    app = opened(_section, film)
    assert "147 N m" in app.error[0].value
    assert "allow 6\\.7 s or more" in words(app)
    table = app.table[0].value
    assert table["Torque needed at the roll [N·m]"].iloc[0] == "147"
    assert table["Tension if the output stays [N]"].iloc[0] == "slack"
    assert table["Shortest time for this device [s]"].iloc[0] == "5.8"


def test_more_time_clears_the_fault(film: Scenario) -> None:
    app = opened(_section, film)
    app.select_slider[0].set_value(8.0).run()
    assert not app.exception
    assert not app.error
    # Half the compensation, more of the error.
    app.select_slider[2].set_value(50).run()
    assert "Tension with 50 % compensation, settled [N]" in app.table[0].value.columns


def test_each_change_starts_from_the_machines_own_time(film: Scenario) -> None:
    app = opened(_section, film)
    assert app.select_slider[0].value == film.run.stop_time
    app.radio[0].set_value("start").run()
    assert app.select_slider[0].value == film.run.acceleration_time
    # A time that is no round number is among those offered, too.
    odd = replace(film, run=replace(film.run, stop_time=4.37), source="")
    assert opened(_section, odd).select_slider[0].value == 4.37


def test_sentences_come_in_the_readers_units(film: Scenario) -> None:
    app = opened(_section, film, units="US customary")
    # The sentence's 147 N m / 1.35582 N m per lbf ft = 108.4 lbf ft.
    assert "lbf·ft" in app.error[0].value
    assert "108" in app.error[0].value
    assert " N m" not in words(app)


def test_a_tension_that_cannot_be_held_is_said(film: Scenario) -> None:
    app = opened(_section, film, tension=400.0)
    assert not app.exception
    assert "even at a constant" in app.error[0].value.lower()
    assert app.table[0].value["Shortest time for this device [s]"].iloc[0] == "none"


def test_shortest_and_longest_times_of_a_scenario(film: Scenario) -> None:
    no_gains = replace(film, controller=replace(film.controller, Kc=None, Ti=None), source="")
    for time in (0.01, 7200.0):
        odd = replace(no_gains, run=replace(film.run, stop_time=time))
        app = opened(_section, odd)
        assert not app.exception
        assert app.select_slider[0].value == time


def test_section_stands_on_the_screen_before_the_cautions(film: Scenario) -> None:
    app = opened(_manual_output, film)
    assert not app.exception
    assert [part.value for part in app.subheader] == ["For startup", "Speeding up and stopping"]
    assert any("Before you go to the machine" in box.label for box in app.expander)
    # The diameter is the screen's own.
    diameter = app.slider[1]
    diameter.set_value(diameter.min).run()
    assert "Next, at 89" in words(app)
