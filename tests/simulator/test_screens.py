"""Screens of the simulator: they open on every machine, and nothing typed or moved breaks them."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from simulator import Scenario, ScenarioError, load_scenario, scenario_text
from simulator.machine import diameter_range
from simulator.screens import bench
from simulator.units import UNIT_SYSTEMS

ROOT = Path(__file__).resolve().parents[2]


def _line() -> None:
    from simulator.screens import line

    line.page()


def _manual_output() -> None:
    from simulator.screens import manual_output

    manual_output.page()


def _form() -> None:
    """The Line screen's form and text, without the pictures that other tests look at."""
    from simulator.screens import bench, line_form

    line_form.show_form(bench.current_scenario())
    line_form.show_text(bench.current_scenario())


def opened(screen: object, scenario: Scenario, *, units: str = "metric") -> AppTest:
    app = AppTest.from_function(screen, default_timeout=30)  # type: ignore[arg-type]
    app.session_state["scenario"] = scenario
    app.session_state["units"] = units
    return app.run()


def field(app: AppTest, label: str):  # type: ignore[no-untyped-def]
    return next(entry for entry in app.text_input if entry.label == label)


def press(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label == label).click().run()


def test_app_opens() -> None:
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert not app.exception
    assert not app.error
    assert app.header[0].value == "Line"


@pytest.mark.parametrize("units", [units.name for units in UNIT_SYSTEMS])
def test_line_opens(scenario: Scenario, units: str) -> None:
    app = opened(_line, scenario, units=units)
    assert not app.exception
    assert not app.error
    assert len(app.table) == 3
    # Every entry is the file's own text, whatever the reader's units are.
    assert field(app, "tension").value in scenario_text(scenario)


def test_manual_output_opens_at_every_limit(scenario: Scenario) -> None:
    # In US customary units no limit is a round number.
    app = opened(_manual_output, scenario, units="US customary")
    assert not app.exception
    assert len(app.slider) == (2 if scenario.zone == "pull roll" else 3)
    for ends in (("min", "min", "min"), ("max", "min", "max"), ("min", "max", "max")):
        for slider, end in zip(app.slider, ends, strict=False):
            slider.set_value(getattr(slider, end))
        app.run()
        assert not app.exception
        assert len(app.metric) == 5


def test_manual_output_shows_the_output(film: Scenario) -> None:
    """Without friction 150 N at 0.4 m take 60 N m: 49.15 % of 2…120 N m; drag takes 0.9 N m off."""
    app = opened(_manual_output, film)
    shown = {metric.label: metric.value for metric in app.metric}
    assert float(shown["Output"].removesuffix(" %")) == pytest.approx(49.15, abs=1.0)
    assert shown["Torque of the device"].endswith("N·m")
    assert shown["Display shows"] == "150 N"


def test_manual_output_says_what_a_display_with_an_error_shows(worn: Scenario) -> None:
    # 220 N, and a zero that is 4 N off.
    shown = {metric.label: metric.value for metric in opened(_manual_output, worn).metric}
    assert shown["Display shows"] == "224 N"


def test_manual_output_says_what_cannot_be_reached(film: Scenario) -> None:
    app = opened(_manual_output, film)
    tension, diameter = app.slider[0], app.slider[1]
    diameter.set_value(diameter.min).run()
    tension.set_value(tension.min).run()
    assert any("too much torque" in error.value.lower() for error in app.error)


def test_form_takes_a_change_in_any_unit(film: Scenario) -> None:
    app = opened(_form, film)
    field(app, "full diameter").set_value("31.5 in")
    press(app, "Use this machine")
    assert not app.exception
    assert not app.error
    changed = app.session_state["scenario"]
    assert changed.roll.full_diameter == pytest.approx(0.8001)
    # The comments of the file are still there, and the form shows what was typed.
    assert changed.source.startswith("# A wide gain range")
    assert field(app, "full diameter").value == "31.5 in"


@pytest.mark.parametrize(
    ("label", "entry", "says"),
    [
        ("full diameter", "31.5", "needs a unit"),
        ("full diameter", "80 mm", "must be smaller than"),
        ("core diameter", "", "is missing"),
        ("line speed", "fast", "must start with a number"),
        ("line speed", "2 kg", "is not a unit for this"),
        ("Kc", "lots", "must be a number"),
        ("cells", "2.5", "must be a whole number"),
        ("Ti", "nan s", "must start with a number"),
        ("modulus", "1e400 GPa", "too large"),
        ("gear ratio", "9" * 400, "must lie between"),
        ("span 1: length", "0 m", "must lie between"),
        ("material", 'a "quoted" \\ word' + "x" * 600, "at most 500 characters"),
    ],
)
def test_broken_entry_is_listed_and_nothing_is_lost(
    film: Scenario, label: str, entry: str, says: str
) -> None:
    app = opened(_form, film)
    field(app, "tension").set_value("160 N")
    field(app, label).set_value(entry)
    press(app, "Use this machine")
    assert not app.exception
    assert says in app.error[0].value.replace("\\", "")
    assert app.session_state["scenario"] == film
    assert field(app, label).value == entry
    assert field(app, "tension").value == "160 N"


def test_faults_of_a_form_are_listed_together(film: Scenario) -> None:
    app = opened(_form, film)
    field(app, "full diameter").set_value("big")
    field(app, "scan time").set_value("20")
    press(app, "Use this machine")
    assert app.error[0].value.count("\n- ") == 2


def test_all_entries_emptied_give_faults(scenario: Scenario) -> None:
    app = opened(_form, scenario)
    for entry in app.text_input:
        entry.set_value("")
    press(app, "Use this machine")
    assert not app.exception
    assert "is missing" in app.error[0].value
    assert app.session_state["scenario"] == scenario


def test_optional_entry_emptied_is_taken_out(film: Scenario) -> None:
    app = opened(_form, film)
    field(app, "Kc").set_value("")
    press(app, "Use this machine")
    assert app.session_state["scenario"].controller.Kc is None


def test_another_device_brings_its_own_entries(film: Scenario) -> None:
    app = opened(_form, film)
    app.selectbox[1].set_value("particle brake").run()
    assert not any(entry.label == "breakaway ratio" for entry in app.text_input)
    press(app, "Use this machine")
    assert not app.error
    assert app.session_state["scenario"].torque_device.kind == "particle brake"


def test_device_that_does_not_fit_is_refused(film: Scenario) -> None:
    app = opened(_form, film)
    app.selectbox[1].set_value("clutch").run()
    press(app, "Use this machine")
    assert "must be friction brake or particle brake" in app.error[0].value
    assert app.session_state["scenario"] == film


def test_load_cell_moves_to_another_roller(foil: Scenario) -> None:
    app = opened(_form, foil)
    boxes = {box.label: box for box in app.checkbox}
    boxes["roller 1: load cell"].uncheck()
    boxes["roller 2: load cell"].check()
    press(app, "Use this machine")
    assert not app.error
    rollers = app.session_state["scenario"].roller
    assert [roller.load_cell for roller in rollers] == [False, True]


def test_text_takes_a_new_span(film: Scenario) -> None:
    app = opened(_form, film)
    text = app.text_area[0].value.replace(
        'length = "1.6 m"',
        'length = "1.6 m"\n[[span]]\nlength = "0.7 m"\n'
        '[[roller]]\ndiameter = "80 mm"\ninertia = "0.004 kg m^2"',
    )
    app.text_area[0].set_value(text)
    press(app, "Use this text")
    assert not app.exception
    assert not app.error
    assert [span.length for span in app.session_state["scenario"].span] == [1.4, 1.6, 0.7]
    assert any(entry.label == "span 3: length" for entry in app.text_input)


def test_broken_text_is_kept(film: Scenario) -> None:
    app = opened(_form, film)
    app.text_area[0].set_value("zone = unwind")
    press(app, "Use this text")
    assert not app.exception
    assert "is not TOML" in app.error[0].value
    assert app.text_area[0].value == "zone = unwind"
    assert app.session_state["scenario"] == film


def test_machine_is_chosen_and_stays_with_the_reader() -> None:
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    titles = list(bench.SCENARIOS)
    machine = next(box for box in app.selectbox if box.label == "Machine")
    machine.set_value(titles[-1]).run()
    assert not app.exception
    assert app.session_state["scenario"] == load_scenario(bench.SCENARIOS[titles[-1]])
    field(app, "tension").set_value("201 N")
    press(app, "Use this machine")
    machine = next(box for box in app.selectbox if box.label == "Machine")
    assert machine.value == "as edited or opened here"


def test_point_at_a_limit_is_on_the_machine(film: Scenario) -> None:
    """In inches the limits are no round numbers; the choice must still be within them."""

    def screen() -> None:
        import streamlit as st

        from simulator.screens import bench

        st.session_state["point"] = bench.pick_point(bench.current_scenario(), key="test")

    app = opened(screen, film, units="US customary")
    low, high = diameter_range(film)
    assert app.session_state["point"] == (high, film.run.line_speed)
    for i in (0, 1):
        app.slider[i].set_value(app.slider[i].min).run()
    assert app.session_state["point"] == (low, film.run.crawl_speed)


def test_one_speed_only_needs_no_slider(film: Scenario) -> None:
    import dataclasses

    run = dataclasses.replace(film.run, crawl_speed=film.run.line_speed)
    app = opened(_manual_output, dataclasses.replace(film, run=run, source=""))
    assert not app.exception
    assert len(app.slider) == 2


def test_markdown_of_a_file_stays_text() -> None:
    assert bench.plain("*a* [b](c) $d$ <e> :red[f]\ng") == (
        r"\*a\* \[b\]\(c\) \$d\$ \<e\> \:red\[f\]" + "  \ng"
    )


def test_every_scenario_of_the_list_is_sound() -> None:
    assert len(bench.SCENARIOS) >= 5
    for title, path in bench.SCENARIOS.items():
        try:
            assert load_scenario(path).title == title
        except ScenarioError as error:  # pragma: no cover
            pytest.fail(str(error))
