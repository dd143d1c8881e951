"""A rope off the web's path, against the travel of the rope as vectors and cases by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from simulator import load_scenario
from simulator.cell_forces import load_per_tension
from simulator.rope_path import off_path_error, off_path_ratio, rope_advice, strand_directions
from tests.conftest import ROOT

DOWN, UP, RIGHT = math.radians(-90), math.radians(90), 0.0


def cell(film, wrap, bisector):
    """The film unwind's load cells, facing along the resultant of a wrap."""
    return replace(
        film.load_cell,
        wrap_angle=math.radians(wrap),
        bisector_angle=bisector,
        sensing_angle=bisector,
    )


def unit(angle):
    return np.array([math.cos(angle), math.sin(angle)])


@given(
    wrap=st.floats(10.0, 300.0),
    bisector=st.floats(-3.0, 3.0),
    off=st.floats(-1.2, 1.2),
    direction=st.floats(-3.0, 3.0),
    strand=st.sampled_from(["left", "right"]),
)
def test_off_path_ratio_is_that_of_the_travel_of_the_rope(
    wrap, bisector, off, direction, strand, load_cell_of_film
):
    """By momentum, the force on a roller is T (d_out - d_in), d along the rope's travel."""
    cell = replace(
        load_cell_of_film,
        wrap_angle=math.radians(wrap),
        bisector_angle=bisector,
        sensing_angle=bisector + off,
    )
    found = off_path_ratio(cell, strand, direction=direction)
    assume(not math.isnan(found))
    left, right = strand_directions(cell)
    axis = unit(cell.sensing_angle)
    d_in = -unit(right if strand == "left" else left)
    web = (unit(left if strand == "left" else right) - d_in) @ axis
    rope = (unit(direction) - d_in) @ axis
    assert found == pytest.approx(rope / web, abs=1e-6)


@pytest.fixture(scope="module")
def load_cell_of_film():
    return load_scenario(ROOT / "scenarios" / "film_unwind.toml").load_cell


def test_off_path_is_the_statics_of_a_changed_wrap(film):
    # Strands at -60° and -120°. The one at -120° hung at -150°: 90° of wrap, bisector at -105°.
    cell = replace(film.load_cell, wrap_angle=math.radians(120), bisector_angle=DOWN)
    changed = replace(
        cell, wrap_angle=math.radians(90), bisector_angle=math.radians(-105), sensing_angle=DOWN
    )
    ratio = load_per_tension(changed) / load_per_tension(cell)
    found = off_path_ratio(cell, "right", direction=math.radians(-150))
    assert found == pytest.approx(ratio)
    assert off_path_error(cell, "right", direction=math.radians(-150)) == pytest.approx(
        100.0 * (1.0 / ratio - 1.0)
    )


def test_off_path_by_hand(film):
    # 120° of wrap pulling down: (cos 30° + 1) / (2 cos 30°) = 1.07735, so all reads 7.18 % low.
    wrapped = cell(film, 120.0, DOWN)
    for strand in ("left", "right"):
        assert off_path_ratio(wrapped, strand) == pytest.approx(1.0773503)
        assert off_path_error(wrapped, strand) == pytest.approx(-7.1796770)
    # 180° to the right: one strand of two is gone from the axis, so all reads twice as high.
    side = cell(film, 180.0, RIGHT)
    assert off_path_error(side, "left") == pytest.approx(100.0)
    # 180° down is a rope that hangs straight anyway.
    assert off_path_error(cell(film, 180.0, DOWN), "left") == pytest.approx(0.0, abs=1e-9)
    # A web that leaves upward: a rope straight down does not reach round the roller.
    upward = cell(film, 150.0, UP)
    assert math.isnan(off_path_ratio(upward, "left"))
    assert math.isnan(off_path_error(upward, "right"))


@given(wrap=st.floats(20.0, 340.0), bisector=st.floats(-3.0, 3.0), off=st.floats(-1.2, 1.2))
def test_on_the_path_there_is_no_error(wrap, bisector, off, load_cell_of_film):
    cell = replace(
        load_cell_of_film,
        wrap_angle=math.radians(wrap),
        bisector_angle=bisector,
        sensing_angle=bisector + off,
    )
    left, right = strand_directions(cell)
    assert off_path_error(cell, "left", direction=left) == pytest.approx(0.0, abs=1e-7)
    assert off_path_error(cell, "right", direction=right) == pytest.approx(0.0, abs=1e-7)


def test_one_strand_that_hangs_straight_needs_no_words(film):
    # 90° of wrap, bisector at -45°: strands to the right and straight down. Both straight down make
    # 2 cos 30° along an axis at -60°, where the web makes cos 60° + cos 30°.
    here = replace(cell(film, 90.0, math.radians(-45)), sensing_angle=math.radians(-60))
    assert off_path_error(here, "left") == pytest.approx(
        100.0 * ((0.5 + math.sqrt(0.75)) / math.sqrt(3) - 1)
    )
    assert off_path_error(here, "right") == pytest.approx(0.0, abs=1e-9)
    assert "at 0°" in rope_advice(here) and "at -90°" not in rope_advice(here)


@pytest.mark.parametrize(
    "wrap, bisector, words",
    [
        (120.0, DOWN, "7.18 % too low"),
        (180.0, RIGHT, "100 % too high"),
        (150.0, UP, "would not load the cells"),
    ],
)
def test_advice_says_what_straight_down_would_do(film, wrap, bisector, words):
    assert words in rope_advice(cell(film, wrap, bisector))
    assert "straight down" not in rope_advice(cell(film, 180.0, DOWN))
