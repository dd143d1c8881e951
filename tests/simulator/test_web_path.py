"""The drawn web path: exact where the scenario is, and nothing on top of anything else."""

import cmath
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Scenario, load_scenario
from simulator.scenario import Roller, Span
from simulator.web_path import Strand, WebPath, Wheel, lay_out

FILM = Path(__file__).resolve().parents[2] / "scenarios" / "film_unwind.toml"


def distance_to_line(strand: Strand, point: complex) -> float:
    """Signed distance of a point from the strand's line, positive to its left."""
    return ((point - strand.start) * strand.direction.conjugate()).imag


def check_geometry(path: WebPath, scenario: Scenario) -> None:
    wheels = (path.roll, *path.rollers)
    for i, (strand, span) in enumerate(zip(path.spans, scenario.span, strict=True)):
        assert abs(strand.end - strand.start) == pytest.approx(span.length, rel=1e-12)
        touching = [(wheels[i], strand.start)]
        if i + 1 < len(wheels):
            touching.append((wheels[i + 1], strand.end))
        for wheel, point in touching:
            # A tangent: the centre is one radius from the line, the contact at its foot.
            assert distance_to_line(strand, wheel.centre) == pytest.approx(
                wheel.side * wheel.radius, rel=1e-9
            )
            assert abs(point - wheel.centre) == pytest.approx(wheel.radius, rel=1e-9)
    cell = path.load_cell
    assert abs(path.wrap(cell)[1]) == pytest.approx(scenario.load_cell.wrap_angle, abs=1e-9)
    # Both strands pull on the roller; the sum of two unit pulls is 2 sin(b/2) along the bisector.
    pull = path.spans[cell + 1].direction - path.spans[cell].direction
    expected = cmath.rect(
        2.0 * math.sin(0.5 * scenario.load_cell.wrap_angle), scenario.load_cell.bisector_angle
    )
    assert pull == pytest.approx(expected, abs=1e-9)
    # Arc by arc, the web leaves a wheel where the next span begins.
    for i, wheel in enumerate(path.rollers):
        start, sweep = path.wrap(i)
        end = wheel.centre + wheel.radius * cmath.exp(1j * (start + sweep))
        assert end == pytest.approx(path.spans[i + 1].start, abs=1e-9)


def test_geometry_is_the_scenarios(scenario: Scenario) -> None:
    check_geometry(lay_out(scenario), scenario)


def test_diameters_are_the_scenarios(scenario: Scenario) -> None:
    path = lay_out(scenario)
    diameters = [2.0 * wheel.radius for wheel in path.rollers]
    assert diameters == pytest.approx([roller.diameter for roller in scenario.roller])
    full = getattr(scenario.roll, "full_diameter", None) or scenario.roll.diameter  # type: ignore[union-attr]
    assert 2.0 * path.roll.radius == pytest.approx(full)


def test_nip_pinches_the_web(scenario: Scenario) -> None:
    path = lay_out(scenario)
    above, below = path.nip
    assert 0.5 * (above.centre + below.centre) == pytest.approx(path.spans[-1].end)
    assert abs(above.centre - below.centre) == pytest.approx(above.radius + below.radius)
    assert distance_to_line(path.spans[-1], above.centre) == pytest.approx(above.radius)


def test_nothing_overlaps(scenario: Scenario) -> None:
    """Checked by points on every strand, not by the distances that the layout was chosen by."""
    path = lay_out(scenario)
    wheels = [path.roll, *path.rollers]
    assert path.clearance > 0.0
    for i, wheel in enumerate(wheels):
        for other in (*wheels[i + 1 :], *path.nip):
            assert abs(wheel.centre - other.centre) > wheel.radius + other.radius
        for j, strand in enumerate((*path.spans, *path.beyond)):
            points = strand.start + np.linspace(0.0, 1.0, 400) * (strand.end - strand.start)
            least = np.abs(points - wheel.centre).min()
            assert least > wheel.radius * (1.0 - 1e-9), f"strand {j} cuts wheel {i}"
    strands = [*path.spans, *path.beyond]
    for i, one in enumerate(strands):
        for other in strands[i + 2 :]:
            a = one.start + np.linspace(0.0, 1.0, 200) * (one.end - one.start)
            b = other.start + np.linspace(0.0, 1.0, 200) * (other.end - other.start)
            if one is path.spans[-1] and other is path.beyond[0]:
                continue  # one line, through the nip
            assert np.abs(a[:, None] - b).min() > 0.0


def test_pull_roll_alone_has_web_on_its_far_side(scenario: Scenario) -> None:
    path = lay_out(scenario)
    assert len(path.beyond) == (2 if scenario.zone == "pull roll" else 1)
    for far in path.beyond[1:]:
        assert abs(distance_to_line(far, path.roll.centre)) == pytest.approx(path.roll.radius)


def test_same_machine_same_layout(film: Scenario) -> None:
    assert lay_out(film) == lay_out(replace(film))


@settings(max_examples=25, deadline=None)
@given(
    wrap=st.floats(10.0, 300.0),
    bisector=st.floats(-180.0, 180.0),
    lengths=st.lists(st.floats(0.05, 5.0), min_size=2, max_size=4),
    cell=st.integers(0, 2),
)
def test_geometry_holds_for_any_machine(
    wrap: float, bisector: float, lengths: list[float], cell: int
) -> None:
    film = load_scenario(FILM)
    cell = min(cell, len(lengths) - 2)
    scenario = replace(
        film,
        span=tuple(Span(length=length) for length in lengths),
        roller=tuple(
            Roller(diameter=0.1, inertia=0.01, load_cell=i == cell) for i in range(len(lengths) - 1)
        ),
        load_cell=replace(
            film.load_cell,
            wrap_angle=math.radians(wrap),
            bisector_angle=math.radians(bisector),
            sensing_angle=math.radians(bisector),
        ),
        source="",
    )
    check_geometry(lay_out(scenario), scenario)


def test_long_machine_is_laid_out_clear(film: Scenario) -> None:
    lengths = [1.0, 2.5, 0.8, 1.6, 3.0, 1.2, 0.7, 2.2, 1.4, 1.9]
    scenario = replace(
        film,
        span=tuple(Span(length=length) for length in lengths),
        roller=tuple(Roller(diameter=0.12, inertia=0.01, load_cell=i == 3) for i in range(9)),
        source="",
    )
    path = lay_out(scenario)
    check_geometry(path, scenario)
    assert path.clearance > 0.05


def test_wheel_of_the_walk_turns_the_way_it_says() -> None:
    """A quarter turn to the left round a wheel at the origin, worked by hand."""
    wheel = Wheel(0j, 1.0, 1)
    path = WebPath(
        roll=Wheel(-3.0 - 1.5j, 0.5, 1),
        rollers=(wheel,),
        spans=(Strand(-3.0 - 1.0j, -1.0j), Strand(1.0 + 0j, 1.0 + 2.0j)),
        nip=(Wheel(1.1 + 2.0j, 0.1, 1), Wheel(0.9 + 2.0j, 0.1, -1)),
        load_cell=0,
        beyond=(),
        clearance=1.0,
    )
    assert path.wrap(0) == pytest.approx((-0.5 * math.pi, 0.5 * math.pi))
