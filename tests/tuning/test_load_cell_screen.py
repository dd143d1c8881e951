"""Screen Load cell: every view for every machine, and the job done on it from drawing to check."""

import math
from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from simulator.screens import bench, cell_path
from simulator.units import US_CUSTOMARY
from tests.tuning.shown import fine, text_of
from tuning.screens import load_cell


@pytest.fixture(autouse=True)
def no_paint(monkeypatch):
    """The pictures have their own tests."""
    monkeypatch.setattr(bench, "show_figure", lambda figure, *, alt: None)


def opened(scenario, *, view="Which way", units=""):
    app = AppTest.from_string(
        "from tuning.screens import load_cell\nload_cell.page()\n", default_timeout=30
    )
    app.session_state["scenario"] = scenario
    app.session_state["cell.view"] = view
    if units:
        app.session_state["units"] = units
    return fine(app.run())


def entry(app, label, index=0):
    found = [one for one in app.number_input if one.label.startswith(label)]
    assert found, [one.label for one in app.number_input]
    return found[index]


def button(app, label):
    return next(one for one in app.button if one.label.startswith(label))


@pytest.mark.parametrize("view", load_cell.VIEWS)
def test_every_view_of_every_machine(scenario, view):
    app = opened(scenario, view=view)
    assert not app.error
    assert "Which way?" in text_of(app) and "What reading?" in text_of(app)


@pytest.mark.parametrize("view", load_cell.VIEWS)
def test_us_readers_see_no_newtons(film, view):
    app = opened(film, view=view, units=US_CUSTOMARY.name)
    said = text_of(app)
    assert "lbf" in said
    assert " N " not in said and " N." not in said and " kg" not in said


def test_three_rollers_go_into_the_machine(laminate):
    """A quarter turn, down and to the left; the machine had half a turn to the right."""
    app = opened(laminate)
    fine(app.radio(key="cell.path.source").set_value(cell_path.ROLLERS).run())
    places = [(-1000.0, 0.0, 100.0), (0.0, 0.0, 100.0), (0.0, -1000.0, 100.0)]
    for row, values in enumerate(places):
        for label, value in zip(("x", "y", "Diameter"), values, strict=True):
            fine(entry(app, label, row).set_value(value).run())
    for row in range(3):
        box = [one for one in app.selectbox if one.label.startswith("Turns")][row]
        fine(box.set_value("↻ cw").run())
    assert "wraps the roller by 90°" in text_of(app)
    assert "Not used yet" in text_of(app)
    fine(button(app, "Use this path, cells turned").click().run())
    cell = app.session_state["scenario"].load_cell
    assert cell.wrap_angle == pytest.approx(0.5 * math.pi, abs=1e-5)
    assert cell.bisector_angle == pytest.approx(math.radians(-135.0), abs=1e-5)
    assert cell.sensing_angle == cell.bisector_angle
    assert "down and to the left (45° from level)" in text_of(app)


def test_two_directions_go_into_the_machine(laminate):
    app = opened(laminate)
    fine(app.radio(key="cell.path.source").set_value(cell_path.DIRECTIONS).run())
    fine(entry(app, "Towards").set_value(90.0).run())
    fine(entry(app, "Away").set_value(30.0).run())
    fine(button(app, "Use this path, cells as they face").click().run())
    cell = app.session_state["scenario"].load_cell
    assert cell.wrap_angle == pytest.approx(math.radians(60.0), abs=1e-5)
    assert cell.sensing_angle == laminate.load_cell.sensing_angle
    # cos 30° is felt.
    assert "30° off it and lose 13 %" in text_of(app)


def test_cells_that_would_feel_nothing_can_only_be_turned(laminate):
    app = opened(laminate)
    fine(app.radio(key="cell.path.source").set_value(cell_path.DIRECTIONS).run())
    # Down to the right, then up to the right: the web pulls straight up, the cells face level.
    fine(entry(app, "Towards").set_value(-45.0).run())
    fine(entry(app, "Away").set_value(45.0).run())
    assert not app.error and "would feel nothing" in text_of(app)
    assert button(app, "Use this path, cells as they face").disabled
    fine(button(app, "Use this path, cells turned").click().run())
    cell = app.session_state["scenario"].load_cell
    assert cell.sensing_angle == pytest.approx(0.5 * math.pi, abs=1e-5)


def test_a_roller_that_is_too_heavy_leaves_no_weight_to_hang(laminate):
    down = {"bisector_angle": -0.5 * math.pi, "sensing_angle": -0.5 * math.pi}
    heavy = replace(laminate, load_cell=replace(laminate.load_cell, **down, roller_mass=1e4))
    app = opened(heavy, view="Zero and calibration")
    assert "No weight may be hung" in text_of(app) and not app.number_input


def test_rollers_that_overlap_are_refused_and_nothing_is_lost(laminate):
    app = opened(laminate)
    fine(app.radio(key="cell.path.source").set_value(cell_path.ROLLERS).run())
    fine(entry(app, "Diameter", 1).set_value(9000.0).run())
    assert any("touch or overlap" in error.value for error in app.error)
    assert app.session_state["scenario"] == laminate
    assert entry(app, "Diameter", 1).value == 9000.0


def test_entries_outlive_a_change_of_units_without_rounding(laminate):
    app = opened(laminate)
    fine(app.radio(key="cell.path.source").set_value(cell_path.ROLLERS).run())
    fine(entry(app, "x", 0).set_value(-1234.5).run())
    app.session_state["units"] = US_CUSTOMARY.name
    fine(app.run())
    # 1234.5 mm are 48.602 in (25.4 mm an inch, exact).
    assert entry(app, "x", 0).value == pytest.approx(-48.602)
    app.session_state["units"] = "metric"
    assert entry(fine(app.run()), "x", 0).value == -1234.5


def test_the_sizes_that_can_be_had_are_the_readers(film):
    app = opened(film, view="Which size")
    assert "500 N each" in text_of(app)
    fine(app.text_area[0].set_value("600 N, 900 N").run())
    assert "600 N each" in text_of(app)
    fine(app.text_area[0].set_value("600 kg, x").run())
    assert any("'600 kg'" in error.value and "'x'" in error.value for error in app.error)
    app.session_state["units"] = US_CUSTOMARY.name
    assert app.text_area[0].value == "600 kg, x"
    app.session_state["units"] = "metric"
    # What was chosen holds where another view is open.
    fine(app.text_area[0].set_value("600 N, 900 N").run())
    fine(entry(app, "Shock factor").set_value(2.0).run())
    app.session_state["cell.view"] = "Mounting"
    fine(app.run())
    assert "900 N each" in text_of(app) and "shock factor of 2" in text_of(app)


def test_the_usual_sizes_follow_the_readers_units(film):
    app = opened(film, view="Which size")
    assert app.text_area[0].value.startswith("10 N, 20 N")
    app.session_state["units"] = US_CUSTOMARY.name
    assert fine(app.run()).text_area[0].value.startswith("10 lbf, 20 lbf")


def test_the_known_weight_is_one_in_any_unit_and_for_both_kinds_of_reading(film):
    app = opened(film, view="Zero and calibration")
    fine(entry(app, "Known weight").set_value(20.0).run())
    app.session_state["units"] = US_CUSTOMARY.name
    # 1 lb is 0.45359237 kg, exact.
    assert entry(fine(app.run()), "Known weight").value == pytest.approx(44.09)
    fine(app.radio(key="cell.calibration.kind").set_value("the cells' own signal").run())
    app.session_state["units"] = "metric"
    assert entry(fine(app.run()), "Known weight").value == 20.0
    assert "20 kg" in text_of(app)


def test_a_path_that_was_taken_over_stays_as_it_was_typed(laminate, film):
    app = opened(laminate)
    fine(app.radio(key="cell.path.source").set_value(cell_path.ROLLERS).run())
    fine(entry(app, "y", 0).set_value(1000.0).run())
    typed = [one.value for one in app.number_input]
    fine(button(app, "Use this path, cells turned").click().run())
    assert [one.value for one in app.number_input] == typed
    assert "The machine has this path" in text_of(app)
    # Another machine has its own drawing, all of it.
    app.session_state["scenario"] = film
    fine(app.run())
    assert "The machine has this path" in text_of(app)


def test_a_good_calibration_passes(film):
    app = opened(film, view="Zero and calibration")
    # 8 kg on a display that is right: 78.45 N.
    for label, value in (("Nothing on", 0.0), ("With the", 78.45), ("Weight off", 0.0)):
        fine(entry(app, label).set_value(value).run())
    assert app.success and not app.error


def test_a_zero_that_does_not_return_is_followed_to_its_cause(film):
    app = opened(film, view="Zero and calibration")
    for label, value in (("Nothing on", 0.0), ("With the", 78.45), ("Weight off", 12.0)):
        fine(entry(app, label).set_value(value).run())
    assert app.error
    assert "friction that holds a load" in text_of(app)
    heat = app.radio(key="cell.causes.wanders_when_warm")
    fine(heat.set_value("yes").run())
    ranked = [one.value for one in app.markdown if one.value.startswith("1\\. **")]
    assert ranked and "both bearings fixed" in ranked[0]


def test_bare_signals_and_cells_read_apart(film):
    app = opened(film, view="Zero and calibration")
    fine(app.radio(key="cell.calibration.kind").set_value("the cells' own signal").run())
    # 20 mV at 500 N a cell: 68.65 N of roller, and 0.866 N a newton of rope.
    mass = entry(app, "Known weight").value
    rope = 9.80665 * mass * math.sqrt(0.75) / 500.0 * 20.0
    for label, value in (("Nothing on", 2.746), ("With the", 2.746 + rope), ("Weight off", 2.746)):
        fine(entry(app, label).set_value(value).run())
    assert app.success and not app.error
    for label, value in (("Left, n", 0.0), ("Left, w", 2.0), ("Right, n", 0.0), ("Right, w", 0.0)):
        fine(entry(app, label).set_value(value).run())
    assert "the right cell does not answer" in text_of(app).lower()


def test_the_form_changes_the_load_cell_and_keeps_the_rest(film):
    app = opened(film)
    field = next(one for one in app.text_input if one.label == "roller mass")
    field.set_value("5 kg")
    button(app, "Use this machine").click()
    fine(app.run())
    changed = app.session_state["scenario"]
    assert changed == replace(film, load_cell=replace(film.load_cell, roller_mass=5.0))


def test_errors_of_the_form_are_told_beside_their_field(film):
    app = opened(film)
    next(one for one in app.text_input if one.label == "bits").set_value("many")
    next(one for one in app.text_input if one.label == "overload").set_value("50 %")
    button(app, "Use this machine").click()
    fine(app.run())
    said = " ".join(error.value for error in app.error).replace("\\", "")
    assert "data_sheet.bits" in said and "data_sheet.overload" in said
    assert app.session_state["scenario"] == film


def test_the_shaft_that_grows(film):
    app = opened(film, view="Zero and calibration")
    grows = next(one for one in app.metric if one.label.startswith("The shaft grows"))
    # Steel, 11.7e-6/K, 1.2 m, 20 K: 0.281 mm.
    assert grows.value == "0.281 mm"
