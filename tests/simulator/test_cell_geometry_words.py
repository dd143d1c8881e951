"""The load-cell roller in words, against forces worked by hand."""

import math

import pytest

from simulator.cell_geometry_words import direction_words, geometry_in_words
from simulator.units import METRIC, US_CUSTOMARY
from tests.simulator.cells import cell


@pytest.mark.parametrize(
    "degrees, said",
    [
        (0, "straight to the right"), (90, "straight up"), (-90, "straight down"),
        (270, "straight down"), (180, "straight to the left"), (-180, "straight to the left"),
        (35, "up and to the right (35° from level)"), (145, "up and to the left (35° from level)"),
        (-10, "down and to the right (10° from level)"), (89.7, "straight up"),
        (190, "down and to the left (10° from level)"), (0.4, "straight to the right"),
    ],
)  # fmt: skip
def test_direction_words(degrees, said):
    assert direction_words(math.radians(degrees)) == said


# By hand: 120° and 150 N make √3 · 150 = 259.8 N; 14 kg weigh 137.3 N; in all 397.1 N.
def test_words_of_the_film_machine(film):
    said = geometry_in_words(film.load_cell, 150.0, METRIC)
    assert "wraps the roller by 120°" in said
    assert "at a tension of 150 N, pulls it straight down with 260 N" in said
    assert "weighs 137 N, which adds 137 N to what the cells feel" in said
    assert "In all they feel 397 N; nothing pushes them sideways" in said
    assert "along the bisector, which is best, either way round" in said
    # 150 N are 33.72 lbf (1 lbf is 4.4482216 N), 397.1 N are 89.3 lbf.
    said = geometry_in_words(film.load_cell, 150.0, US_CUSTOMARY)
    assert "33.7 lbf" in said and "feel 89.3 lbf" in said and " N" not in said


def test_words_of_other_placings():
    # Half a turn, 100 N, axis 60° off: half of 200 N is felt, and 173.2 N push sideways.
    said = geometry_in_words(cell(180.0, 0.0, 60.0, mass=0.0), 100.0, METRIC)
    assert "weight is not counted" in said
    assert "feel 100 N; 173 N pushes them sideways" in said
    assert "60° off the bisector and so lose 50 % of the web's pull" in said
    assert "either way round: straight to the right, or straight to the left" in said
    # Up: 10 kg take 98.07 N off 200 N; of 30 kg, 294.2 N, only 94.2 N are left, the other way.
    said = geometry_in_words(cell(180.0, 90.0), 100.0, METRIC)
    assert "takes 98.1 N off what the cells feel" in said and "feel 102 N;" in said
    said = geometry_in_words(cell(180.0, 90.0, mass=30.0), 100.0, METRIC)
    assert "feel 94.2 N, against the web's pull, as the weight wins" in said
    # Sideways the weight is not felt; it all pushes across.
    said = geometry_in_words(cell(180.0, 0.0), 100.0, METRIC)
    assert "of which the cells feel nothing" in said and "98.1 N pushes them sideways" in said
