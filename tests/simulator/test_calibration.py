"""Which calibration weight and what to read: cases by hand, vectors and published gravity."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.calibration import (
    DIFFERENCE,
    FULL_SCALE,
    GRAVITY_NOTE,
    NOTHING,
    RUNNING,
    WEIGHT,
    calibration_plan,
    handy_mass,
)
from simulator.cell_forces import STANDARD_GRAVITY, rated_tension
from simulator.data_sheet import cell_signal
from simulator.reader_units import in_reader_units
from simulator.sensing_and_control import DataSheet
from simulator.units import US_CUSTOMARY

DOWN, UP, RIGHT = math.radians(-90), math.radians(90), 0.0
POUND = 0.45359237  # [kg], exact


def machine(
    film, wrap=180.0, bisector=DOWN, sensing=None, mass=0.0, scale=100.0, rated=500.0, tension=50.0
):
    """The film unwind with its scale and its load cells as a case wants them."""
    cell = replace(
        film.load_cell,
        wrap_angle=math.radians(wrap),
        bisector_angle=bisector,
        sensing_angle=bisector if sensing is None else sensing,
        roller_mass=mass,
        rated_load=rated,
    )
    return replace(
        film,
        load_cell=cell,
        controller=replace(film.controller, tension_range=scale),
        run=replace(film.run, tension=tension),
    )


def about(plan, words):
    return any(words in warning for warning in plan.warnings)


# Common practice, no source: 25 % of a scale of 0 to 100, 20 % of a highest tension of 100.
def test_least_weight(film):
    assert calibration_plan(machine(film)).least_force == pytest.approx(25.0)
    bare = calibration_plan(machine(film), display=False, highest_tension=100.0)
    assert bare.least_force == pytest.approx(20.0)
    assert bare.least_mass == pytest.approx(20.0 / 9.80665)
    assert calibration_plan(machine(film), display=False).least_force == pytest.approx(10.0)


def test_largest_weight_ends_at_the_scale_or_at_the_rating(film):
    assert calibration_plan(machine(film)).most_force == pytest.approx(100.0)
    # 2 N of load a newton of tension on two cells of 30 N: 30 N of tension, less off the middle.
    small = machine(film, rated=30.0)
    assert calibration_plan(small).most_force == pytest.approx(30.0)
    assert calibration_plan(small).most_force == pytest.approx(rated_tension(small.load_cell))
    assert calibration_plan(small, rope_off_middle=0.25).most_force == pytest.approx(20.0)


@pytest.mark.parametrize(
    "least, most, unit, handy",
    [
        (7.648, math.inf, 1.0, 8.0),
        (3.82, math.inf, 1.0, 4.0),
        (12.7, math.inf, 1.0, 13.0),
        (25.5, math.inf, 1.0, 30.0),
        (25.5, 28.0, 1.0, 26.0),  # a finer step where the coarse one is too much
        (7.648, math.inf, POUND, 17.0 * POUND),  # 16.86 lb
        (5.0, math.inf, 1.0, 5.0),
        (10.0, 3.17, 1.0, 3.1),  # too little is allowed: as much as may be
        (10.0, 0.0, 1.0, 0.0),
    ],
)
def test_handy_weights(least, most, unit, handy):
    assert handy_mass(least, most=most, unit=unit) == pytest.approx(handy)


@given(
    least=st.floats(1e-3, 1e5),
    room=st.floats(0.1, 100.0),
    unit=st.sampled_from([1.0, POUND]),
)
def test_a_handy_weight_keeps_its_limits(least, room, unit):
    found = handy_mass(least, most=room * least, unit=unit)
    assert found <= room * least * (1.0 + 1e-9)
    if room >= 1.0:
        assert least * (1.0 - 1e-9) <= found <= 1.25 * least


def test_rope_of_the_weight_by_hand(film):
    # 10 kg at 180° of wrap: rope 98.0665 N, resultant twice that, half of it on each of two cells.
    plan = calibration_plan(machine(film, mass=5.0), mass=10.0)
    assert plan.force == pytest.approx(98.0665)
    assert plan.resultant == pytest.approx(196.133)
    assert plan.state(WEIGHT).load == pytest.approx(196.133 + 49.03325)
    assert plan.state(WEIGHT).load_each == pytest.approx(122.583125)
    assert plan.state(DIFFERENCE).load == pytest.approx(196.133)
    # At 60° of wrap the resultant is the tension itself.
    assert calibration_plan(machine(film, wrap=60.0), mass=10.0).resultant == pytest.approx(98.0665)


def test_rope_off_the_middle_by_the_lever_law(film):
    # A tenth of the distance off: 0.6 and 0.4 of 196.133 N, and half of the roller on each.
    plan = calibration_plan(machine(film, mass=5.0), mass=10.0, rope_off_middle=0.1)
    assert plan.nearer_load == pytest.approx(0.6 * 196.133 + 24.516625)
    assert plan.farther_load == pytest.approx(0.4 * 196.133 + 24.516625)
    assert plan.nearer_load + plan.farther_load == pytest.approx(plan.state(WEIGHT).load)
    assert plan.nearer_signal / plan.nearer_load == pytest.approx(2.0 * 10.0 / 500.0)
    one = machine(film)
    one = replace(one, load_cell=replace(one.load_cell, cells=1))
    assert calibration_plan(one, mass=10.0, rope_off_middle=0.3).nearer_load == pytest.approx(
        196.133
    )


def test_signals_by_hand(film):
    # 2 mV/V at 10 V: 20 mV at 500 N of rating, so 0.04 mV a newton on the cell.
    assert cell_signal(DataSheet(), 250.0, 500.0) == pytest.approx(10.0)
    own = replace(film, data_sheet=DataSheet(sensitivity=1.5, excitation=5.0))
    sheet = calibration_plan(machine(own, mass=10.0), mass=2.0)
    # 98.0665 N of roller on two cells: 49.03325 N each, 7.5 mV at 500 N.
    assert sheet.state(NOTHING).signal == pytest.approx(7.5 * 49.03325 / 500.0)
    assert sheet.state(NOTHING).signal_summed == pytest.approx(2.0 * 7.5 * 49.03325 / 500.0)
    assert sheet.state(DIFFERENCE).signal == pytest.approx(7.5 * 19.6133 / 500.0)


def test_states_hang_together(scenario):
    plan = calibration_plan(scenario)
    nothing, weight, more = (plan.state(name) for name in (NOTHING, WEIGHT, DIFFERENCE))
    assert nothing.reading == 0.0
    assert weight.reading == pytest.approx(plan.mass * 9.80665)
    assert weight.signal - nothing.signal == pytest.approx(more.signal)
    assert plan.state(RUNNING).tension == scenario.run.tension
    assert plan.state(FULL_SCALE).reading_share == pytest.approx(100.0)
    slope = more.signal / plan.force
    assert plan.state(FULL_SCALE).signal == pytest.approx(nothing.signal + slope * plan.scale)
    assert plan.least_mass <= plan.mass <= plan.most_mass


@pytest.mark.parametrize("off", [0.0, 15.0, 30.0, -40.0])
def test_axis_off_the_resultant(film, off):
    plan = calibration_plan(machine(film, sensing=DOWN + math.radians(off)))
    assert plan.axis_off == pytest.approx(abs(math.radians(off)), abs=1e-7)
    assert plan.reads_low == pytest.approx(100.0 * (1.0 - math.cos(math.radians(off))))
    assert plan.side_share == pytest.approx(100.0 * abs(math.sin(math.radians(off))), abs=1e-9)


# --- gravity -----------------------------------------------------------------------------------


# Normal gravity on the WGS 84 ellipsoid (Somigliana), constants as in NIMA TR8350.2, 3rd edition,
# 4-1: 9.7803253359 (1 + 0.00193185265241 s²) / sqrt(1 - 0.00669437999013 s²), s = sin(latitude);
# at the poles 9.8321849378 m/s² is printed.
def test_the_note_on_gravity_holds_from_equator_to_pole():
    s2 = np.sin(np.radians(np.linspace(0.0, 90.0, 91))) ** 2
    gravity = 9.7803253359 * (1.0 + 0.00193185265241 * s2) / np.sqrt(1.0 - 0.00669437999013 * s2)
    assert gravity[-1] == pytest.approx(9.8321849378, abs=1e-9)
    off = 100.0 * np.abs(gravity / STANDARD_GRAVITY - 1.0)
    assert 0.25 < off.max() < 0.3
    assert "0.3 %" in GRAVITY_NOTE
    # Free-air: 2 h / R with a mean radius of 6371 km, 0.031 % a kilometre.
    assert 100.0 * 2.0 / 6371.0 == pytest.approx(0.03, abs=0.002)
    assert "0.03 %" in GRAVITY_NOTE


# --- warnings: each with a case that raises it and one that does not ---------------------------

FINE = {"wrap": 180.0, "bisector": DOWN}


def with_sheet(scenario):
    return replace(scenario, data_sheet=DataSheet())


def test_a_plain_case_warns_of_nothing(film):
    assert calibration_plan(with_sheet(machine(film, **FINE))).warnings == ()


@pytest.mark.parametrize(
    "words, changed, arguments",
    [
        ("below the 25.0 N", {}, {"mass": 1.0}),
        ("below the 10.0 N", {}, {"mass": 1.0, "display": False}),
        ("beyond the measured scale", {}, {"mass": 11.0}),
        ("more than the 30.0 N that it is rated for", {"rated": 30.0}, {"mass": 4.0}),
        ("the gain stays uncertain", {"rated": 20.0}, {}),
        ("no weight may be hung", {"rated": 20.0, "mass": 10.0}, {}),
        ("more than one person should lift", {"scale": 1000.0}, {}),
        ("must take signals below 0", {"bisector": UP, "mass": 3.0}, {}),
        ("calibrates that out", {"sensing": math.radians(-70)}, {}),
    ],
)
def test_warnings(film, words, changed, arguments):
    raised = calibration_plan(with_sheet(machine(film, **(FINE | changed))), **arguments)
    assert about(raised, words), raised.warnings
    assert not about(calibration_plan(with_sheet(machine(film, **FINE))), words)


def test_warnings_speak_units_that_turn_into_the_readers(film):
    plan = calibration_plan(machine(film, scale=4e4, rated=100.0), mass=5e3)
    told = [in_reader_units(warning, US_CUSTOMARY) for warning in plan.warnings]
    assert any("lbf" in text for text in told)
    for text in told:
        assert " N" not in text and "kg" not in text and "e+" not in text, text


def test_a_missing_data_sheet_is_told(film):
    without = replace(machine(film), data_sheet=None)
    assert about(calibration_plan(without), "no data sheet")
    assert not about(calibration_plan(with_sheet(machine(film))), "no data sheet")


def test_where_no_weight_may_be_hung_there_is_none(film):
    plan = calibration_plan(machine(film, rated=20.0, mass=10.0))
    assert plan.mass == 0.0 and plan.force == 0.0


@pytest.mark.parametrize(
    "arguments",
    [
        {"mass": 0.0},
        {"mass": math.nan},
        {"highest_tension": -1.0},
        {"rope_off_middle": 0.6},
        {"handy_unit": 0.0},
    ],
)
def test_odd_arguments_are_refused_by_name(film, arguments):
    (name,) = arguments
    with pytest.raises(ValueError, match=name):
        calibration_plan(film, **arguments)
