"""Manual output over the whole roll."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Scenario
from simulator.machine import diameter_range
from simulator.manual_output import manual_output_curve, startup_points


def test_lines_run_over_the_whole_range(scenario: Scenario) -> None:
    curve = manual_output_curve(scenario, count=5)
    low, high = diameter_range(scenario)
    run = scenario.run
    if scenario.zone == "pull roll":
        assert curve.against == "speed"
        speeds = [p.line_speed for p in curve.lines[0].points]
        assert speeds == pytest.approx(np.linspace(run.crawl_speed, run.line_speed, 5))
    else:
        assert curve.against == "diameter"
        assert [line.name for line in curve.lines] == ["line speed", "crawl speed"]
        for line in curve.lines:
            diameters = [p.diameter for p in line.points]
            assert diameters == pytest.approx(np.linspace(low, high, 5))


def test_output_of_an_unwind_without_friction_is_torque_over_torque(film: Scenario) -> None:
    """With no drag anywhere, output = 100 (T R - residual)/(full - residual), exact."""
    clean = replace(
        film,
        roll=replace(film.roll, bearing_drag=0.0, viscous_drag=0.0),
        roller=tuple(replace(roller, drag=0.0) for roller in film.roller),
        torque_device=replace(film.torque_device, breakaway_ratio=1.0),
        source="",
    )
    for line in manual_output_curve(clean, tension=120.0, count=6).lines:
        for p in line.points:
            expected = 100.0 * (120.0 * 0.5 * p.diameter - 2.0) / (120.0 - 2.0)
            assert p.output == pytest.approx(expected, rel=1e-9)


def test_startup_goes_from_full_roll_to_core(film: Scenario) -> None:
    points = startup_points(film)
    names = [(name, at) for name, at, _ in points]
    assert names[0] == ("full roll", "crawl speed")
    assert names[-1] == ("core", "line speed")
    # Parts of the build-up between 89 mm and 800 mm, by hand.
    diameters = [p.diameter for _, at, p in points if at == "crawl speed"]
    assert diameters == pytest.approx([0.8, 0.62225, 0.4445, 0.26675, 0.089])


def test_startup_of_every_machine(scenario: Scenario) -> None:
    points = startup_points(scenario)
    assert len(points) == (2 if scenario.zone == "pull roll" else 10)
    assert all(np.isfinite(p.output) for _, _, p in points)


def test_bad_arguments_are_refused(film: Scenario) -> None:
    with pytest.raises(ValueError, match="count 1"):
        manual_output_curve(film, count=1)
    with pytest.raises(ValueError, match="tension"):
        manual_output_curve(film, tension=0.0)
