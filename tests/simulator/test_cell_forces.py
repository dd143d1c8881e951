"""Statics of the load-cell roller, against strands added up as vectors and cases worked by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.cell_forces import (
    STANDARD_GRAVITY,
    balanced_tension,
    display_reading,
    forces_on,
    load_per_tension,
    rated_tension,
    tension_per_rated_share,
    web_resultant,
    web_tension,
)
from simulator.sensing_and_control import LoadCell

UP, DOWN, SIDEWAYS = 0.5 * math.pi, -0.5 * math.pi, 0.0
ANGLES = st.floats(-math.pi, math.pi)
WRAPS = st.floats(math.radians(5), math.radians(350))


def cell(wrap=120.0, bisector=DOWN, sensing=None, mass=10.0, rated=500.0, cells=2):
    return LoadCell(
        wrap_angle=math.radians(wrap),
        bisector_angle=bisector,
        sensing_angle=bisector if sensing is None else sensing,
        roller_mass=mass,
        rated_load=rated,
        filter_time=0.1,
        cells=cells,
    )


def strands(load_cell):
    """Unit vectors in which the two strands leave the roller, shape (2, 2)."""
    half = 0.5 * math.pi - 0.5 * load_cell.wrap_angle
    away = load_cell.bisector_angle + np.array([half, -half])
    return np.column_stack([np.cos(away), np.sin(away)])


def summed(load_cell, tension):
    """(web, weight) along the axis and to its left, from vectors alone, in the web's sense."""
    axis = np.array([math.cos(load_cell.sensing_angle), math.sin(load_cell.sensing_angle)])
    web = tension * strands(load_cell).sum(axis=0)
    weight = np.array([0.0, -STANDARD_GRAVITY * load_cell.roller_mass])
    if web @ axis < 0.0:
        axis = -axis
    left = np.array([-axis[1], axis[0]])
    return web @ axis, weight @ axis, web @ left, weight @ left


# F = 2 T sin(b/2): wraps of 60°, 120° and 180° make T, 1.732 T and 2 T, exact.
@pytest.mark.parametrize("wrap, times", [(60.0, 1.0), (120.0, math.sqrt(3.0)), (180.0, 2.0)])
def test_resultant(wrap, times):
    assert web_resultant(150.0, math.radians(wrap)) == pytest.approx(150.0 * times)
    assert forces_on(cell(wrap), 150.0).resultant == pytest.approx(150.0 * times)


# Roller of 10 kg weighs 98.0665 N (standard gravity, exact); web of 100 N at 180° pulls with 200 N.
@pytest.mark.parametrize(
    "bisector, sensing, load, across",
    [
        (DOWN, DOWN, 200.0 + 98.0665, 0.0),
        (DOWN, UP, 200.0 + 98.0665, 0.0),  # either way round
        (UP, UP, 200.0 - 98.0665, 0.0),
        (UP, DOWN, 200.0 - 98.0665, 0.0),
        (SIDEWAYS, SIDEWAYS, 200.0, 98.0665),
        (math.pi, SIDEWAYS, 200.0, 98.0665),
        # 60° off: half the web counts, 173.2 N of it pushes sideways; the weight adds in full.
        (math.radians(-30), DOWN, 100.0 + 98.0665, 100.0 * math.sqrt(3.0)),
    ],
)
def test_loads_by_hand(bisector, sensing, load, across):
    forces = forces_on(cell(180.0, bisector, sensing), 100.0)
    assert forces.load == pytest.approx(load)
    assert forces.across == pytest.approx(across, abs=1e-9)


@given(wrap=WRAPS, bisector=ANGLES, off=st.floats(-1.5, 1.5), tension=st.floats(0.0, 1e4))
def test_loads_are_those_of_the_vectors(wrap, bisector, off, tension):
    load_cell = cell(math.degrees(wrap), bisector, bisector + off)
    f = forces_on(load_cell, tension)
    found = (f.web_load, f.weight_load, f.web_across, f.weight_across)
    if tension > 0.0:
        assert found == pytest.approx(summed(load_cell, tension), abs=1e-9 * max(tension, 100.0))
    assert math.hypot(f.web_load, f.web_across) == pytest.approx(f.resultant)
    assert math.hypot(f.weight_load, f.weight_across) == pytest.approx(f.weight)


@given(wrap=WRAPS, bisector=ANGLES, off=st.floats(-1.5, 1.5), turn=ANGLES)
def test_turning_the_whole_picture_moves_the_weights_share_alone(wrap, bisector, off, turn):
    here = cell(math.degrees(wrap), bisector, bisector + off)
    there = replace(
        here,
        bisector_angle=math.remainder(bisector + turn, 2.0 * math.pi),
        sensing_angle=math.remainder(bisector + off + turn, 2.0 * math.pi),
    )
    one, other = forces_on(here, 200.0), forces_on(there, 200.0)
    assert one.web_load == pytest.approx(other.web_load, abs=1e-9)
    assert one.web_across == pytest.approx(other.web_across, abs=1e-9)
    assert other.weight == one.weight


def test_what_is_known_of_the_load_is_known_of_the_tension():
    # 2 x 500 N rated, 98.0665 N of roller with the web, 2 N of load a newton: 450.97 N are left.
    down = cell(180.0, DOWN)
    assert load_per_tension(down) == pytest.approx(2.0)
    assert rated_tension(down) == pytest.approx((1000.0 - 98.0665) / 2.0)
    assert balanced_tension(down) == pytest.approx(-98.0665 / 2.0)
    assert tension_per_rated_share(down) == pytest.approx(500.0)
    up = cell(180.0, UP)
    assert rated_tension(up) == pytest.approx((1000.0 + 98.0665) / 2.0)
    assert forces_on(up, balanced_tension(up)).load == pytest.approx(0.0, abs=1e-9)
    assert rated_tension(cell(180.0, DOWN, mass=200.0)) == 0.0


def test_the_display_and_the_web():
    wrong = replace(cell(), zero_error=5.0, gain_error=-20.0)
    assert display_reading(wrong, 100.0) == pytest.approx(85.0)
    assert web_tension(wrong, 85.0) == pytest.approx(100.0)
