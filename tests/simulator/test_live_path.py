"""The web beside a roll that shrinks: a tangent, on the sides on which it runs; all else stays."""

import math

import pytest

from simulator.live_path import path_at, tangent
from simulator.machine import diameter_range
from simulator.web_path import Wheel, lay_out


def distance_to_line(strand, point):
    """Signed distance of a point from the strand's line, positive to its left."""
    return ((point - strand.start) * strand.direction.conjugate()).imag


def touches(strand, wheel, end):
    """A tangent: the centre lies one radius off the line, the contact at its foot."""
    assert distance_to_line(strand, wheel.centre) == pytest.approx(wheel.side * wheel.radius)
    along = ((wheel.centre - end) * strand.direction.conjugate()).real
    assert along == pytest.approx(0.0, abs=1e-9)


def test_outer_and_crossed_belt_have_the_lengths_of_the_textbook():
    """Open belt: L² = d² - (R - r)²; crossed belt: L² = d² - (R + r)² (plane geometry)."""
    big, small = Wheel(0j, 3.0, 1), Wheel(13 + 0j, 8.0, 1)
    assert abs(tangent(big, small).end - tangent(big, small).start) == pytest.approx(12.0)
    near = Wheel(10 + 0j, 3.0, -1)
    crossed = tangent(big, near)
    assert abs(crossed.end - crossed.start) == pytest.approx(8.0)
    # By symmetry it crosses the line of centres half-way.
    assert 0.5 * (crossed.start + crossed.end) == pytest.approx(5.0 + 0j, abs=1e-12)


def test_equal_wheels_are_joined_by_a_level_line_below_the_walk():
    """Walked round to the left from left to right, the web lies below both wheels."""
    strand = tangent(Wheel(0j, 1.0, 1), Wheel(4 + 0j, 1.0, 1))
    assert strand.start == pytest.approx(-1j)
    assert strand.end == pytest.approx(4 - 1j)


def test_no_web_joins_a_wheel_within_another():
    with pytest.raises(ValueError, match="within"):
        tangent(Wheel(0j, 3.0, 1), Wheel(1 + 0j, 1.0, 1))


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_web_is_tangent_to_roll_and_roller_at_every_diameter(scenario, share):
    low, high = diameter_range(scenario)
    diameter = low + share * (high - low)
    path = path_at(scenario, diameter)
    assert path.roll.radius == pytest.approx(0.5 * diameter)
    touches(path.spans[0], path.roll, path.spans[0].start)
    touches(path.spans[0], path.rollers[0], path.spans[0].end)
    # The arc on the first roller starts where the web now meets it.
    start, _ = path.wrap(0)
    roller = path.rollers[0]
    rim = roller.centre + roller.radius * complex(math.cos(start), math.sin(start))
    assert rim == pytest.approx(path.spans[0].end, abs=1e-9)


def test_full_roll_is_the_layout_and_only_the_first_span_ever_moves(scenario):
    full, core = (path_at(scenario, d) for d in reversed(diameter_range(scenario)))
    laid = lay_out(scenario)
    assert full.spans[0].start == pytest.approx(laid.spans[0].start, abs=1e-9)
    assert full.spans[0].end == pytest.approx(laid.spans[0].end, abs=1e-9)
    for path in (full, core):
        assert path.roll.centre == laid.roll.centre
        assert (path.rollers, path.nip, path.beyond) == (laid.rollers, laid.nip, laid.beyond)
        assert path.spans[1:] == laid.spans[1:]
