"""Three layouts of our own, from the drawing and a data sheet to the four answers, worked by hand.

Every cell gives 2 mV/V on 10 V; standard gravity 9.80665 m/s², exact.
"""

import math
from dataclasses import replace

import pytest

from simulator.calibration import NOTHING, WEIGHT
from simulator.load_cell_study import load_cell_study
from simulator.load_cell_words import answers
from simulator.sensing_and_control import DataSheet
from simulator.units import METRIC, US_CUSTOMARY
from simulator.web_wrap import RollerPlace, wrap_from_rollers

CW, CCW = "clockwise", "counterclockwise"
SHEET = DataSheet(sensitivity=2.0, excitation=10.0, overload=200.0)


def bench(laminate, rollers, *, tension, scale, mass, rated, sensing=None):
    """The pull roll with load cells as a drawing and a data sheet have them."""
    wrap = wrap_from_rollers(*(RollerPlace(*place) for place in rollers))
    facing = wrap.bisector_angle if sensing is None else math.radians(sensing)
    cell = replace(
        laminate.load_cell, wrap_angle=wrap.wrap_angle, bisector_angle=wrap.bisector_angle,
        sensing_angle=facing, roller_mass=mass, rated_load=rated, cells=2, noise=0.0,
    )  # fmt: skip
    return replace(
        laminate,
        run=replace(laminate.run, tension=tension),
        controller=replace(laminate.controller, tension_range=scale),
        load_cell=cell,
        data_sheet=SHEET,
    )


@pytest.fixture
def corner(laminate):
    """Over the top to the right, then down: 90°, pulling down and to the left at 45°."""
    rollers = ((-1.0, 0.0, 0.1, CW), (0.0, 0.0, 0.1, CW), (0.0, -1.0, 0.1, CW))
    return bench(laminate, rollers, tension=200.0, scale=400.0, mass=10.0, rated=500.0)


@pytest.fixture
def loop(laminate):
    """Down, under the roller, up again: 180°, pulling straight up against the weight."""
    rollers = ((-0.2, 1.0, 0.2, CW), (0.0, 0.0, 0.2, CCW), (0.2, 1.0, 0.2, CW))
    return bench(laminate, rollers, tension=50.0, scale=100.0, mass=3.0, rated=200.0)


@pytest.fixture
def slight(laminate):
    """Up, then away at 30° from level: 60°, with cells that sense level, 30° off the pull."""
    after = (math.cos(math.radians(30.0)), math.sin(math.radians(30.0)))
    rollers = ((0.0, -1.0, 0.1, CW), (0.0, 0.0, 0.1, CW), (*after, 0.1, CW))
    return bench(laminate, rollers, tension=300.0, scale=500.0, mass=20.0, rated=500.0, sensing=0.0)


def answered(scenario, units=METRIC):
    return {a.question: a for a in answers(load_cell_study(scenario), scenario, units)}


def test_corner(corner):
    study, said = load_cell_study(corner), answered(corner)
    assert "down and to the left (45° from level)" in said["Which way?"].short
    # √2 · 200 N.
    assert "283 N" in said["Which way?"].why and "The cells face that way" in said["Which way?"].why
    # 1.5 (√2 · 400 N + 98.0665 N cos 45°)/2.
    needed = 0.75 * (math.sqrt(2.0) * 400.0 + 98.0665 * math.sqrt(0.5))
    assert study.sizing.needed == pytest.approx(needed)
    assert said["Which size?"].short == "500 N each"
    # A quarter of 400 N over g: 10.197 kg, in steps of a kilogram 11 kg, which pull with 107.9 N.
    assert study.calibration.least_mass == pytest.approx(100.0 / 9.80665)
    assert said["Which weight?"].short == "11 kg"
    assert said["What reading?"].short == "108 N on the display"
    signal = {name: study.calibration.state(name).signal for name in (NOTHING, WEIGHT)}
    weighs, rope = 98.0665 * math.sqrt(0.5), math.sqrt(2.0) * 11.0 * 9.80665
    assert signal[NOTHING] == pytest.approx(20.0 * 0.5 * weighs / 500.0)
    assert signal[WEIGHT] == pytest.approx(20.0 * 0.5 * (weighs + rope) / 500.0)
    assert study.warnings == ()


def test_loop(loop):
    study, said = load_cell_study(loop), answered(loop)
    assert said["Which way?"].short == "straight up"
    assert "other way round is as good" in said["Which way?"].why
    # A shock of the web alone: (1.5 · 2 · 100 N - 29.42 N)/2 = 135.3 N.
    assert study.sizing.needed == pytest.approx(0.5 * (300.0 - 29.41995))
    assert said["Which size?"].short == "200 N each"
    # 25 N over g: 2.549 kg, in half kilograms 3 kg: as heavy as the roller.
    assert said["Which weight?"].short == "3 kg"
    assert said["What reading?"].short == "29.4 N on the display"
    assert study.calibration.state(NOTHING).signal == pytest.approx(-20.0 * 0.5 * 29.41995 / 200.0)
    assert study.calibration.state(WEIGHT).signal == pytest.approx(20.0 * 0.5 * 29.41995 / 200.0)
    # The web lifts the roller at half of its weight.
    assert study.placement.balanced_tension == pytest.approx(0.5 * 29.41995)
    assert any("up to 14.7 N" in text for text in study.warnings)


def test_slight(slight):
    study, said = load_cell_study(slight), answered(slight)
    assert "down and to the right (30° from level)" in said["Which way?"].short
    # 1 - cos 30°.
    assert "30° off it and lose 13 %" in said["Which way?"].why
    assert study.placement.lost == pytest.approx(13.397, abs=1e-3)
    # Level cells feel nothing of the weight: 1.5 · 500 N cos 30°/2 = 324.8 N.
    assert study.sizing.needed == pytest.approx(0.75 * 500.0 * math.cos(math.radians(30.0)))
    assert said["Which size?"].short == "500 N each"
    assert said["Which weight?"].short == "13 kg"
    assert said["What reading?"].short == "127 N on the display"
    assert study.calibration.state(NOTHING).signal == 0.0
    assert any("turn them to the bisector" in text for text in study.warnings)


def test_answers_in_pounds(corner):
    said = answered(corner, US_CUSTOMARY)
    for answer in said.values():
        assert " N" not in answer.why and "kg" not in answer.why
    # 200 N are 44.96 lbf.
    assert "at 45.0 lbf" in said["Which way?"].why


@pytest.mark.parametrize(
    "rated, words",
    [(200.0, "are too small"), (500.0, "500 N bear it;"), (2000.0, "tell less than a smaller")],
)
def test_the_machines_own_size_is_judged(corner, rated, words):
    other = replace(corner, load_cell=replace(corner.load_cell, rated_load=rated))
    assert words in answered(other)["Which size?"].why


def test_where_no_size_and_no_weight_will_do(corner):
    heavy = replace(corner, load_cell=replace(corner.load_cell, roller_mass=1e5))
    said = answered(heavy)
    assert said["Which size?"].short.startswith("above ")
    assert said["Which weight?"].short == "none"


def test_every_scenario_has_its_answers(scenario):
    said = answered(scenario)
    assert len(said) == 4 and all(answer.short and answer.why for answer in said.values())
    study = load_cell_study(scenario)
    assert len(set(study.warnings)) == len(study.warnings)


def test_the_worn_machine_is_told_that_its_cells_are_too_small(worn):
    assert any("is too small" in text for text in load_cell_study(worn).warnings)
