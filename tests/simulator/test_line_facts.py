"""Facts of the line, recomputed by hand for the film unwind."""

import math

import pytest

from simulator import Scenario
from simulator.line_facts import line_facts


def test_spans_of_the_film(film: Scenario) -> None:
    # A E = 1 m x 25 um x 4 GPa = 100 kN; 150 m/min = 2.5 m/s; 15 m/min = 0.25 m/s.
    first, second = line_facts(film).spans
    assert first.stiffness == pytest.approx(1e5 / 1.4)
    assert second.stretch == pytest.approx(150.0 * 1.6 / 1e5)
    assert first.time_constant == pytest.approx(1.4 / 2.5)
    assert first.time_constant_crawl == pytest.approx(1.4 / 0.25)


def test_roll_of_the_film(film: Scenario) -> None:
    full, _, core = line_facts(film).rolls
    assert full.turns == pytest.approx(2.5 / (math.pi * 0.8))
    assert core.turns_crawl == pytest.approx(0.25 / (math.pi * 0.089))
    assert full.web_length == pytest.approx(math.pi * (0.8**2 - 0.089**2) / (4.0 * 25e-6))
    assert full.inertia == pytest.approx(0.05 + 0.5 * math.pi * 1390.0 * (0.4**4 - 0.0445**4))
    assert core.inertia == pytest.approx(0.05)
    # Roll on one web spring over both spans, K = A E/3 m, idler and damping left out: exact
    # K R²/J to first order; the light idler moves it by little.
    assert full.swing == pytest.approx(
        math.sqrt(1e5 / 3.0 * 0.4**2 / full.inertia) / (2.0 * math.pi), rel=0.02
    )


def test_swing_is_damped_less_at_crawl(scenario: Scenario) -> None:
    """Damping comes with line speed; a wide margin, since drag and the web damp as well."""
    for roll in line_facts(scenario).rolls:
        assert roll.damping_crawl < roll.damping
