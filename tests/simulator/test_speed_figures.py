"""Pictures of changing speed: texts readable and apart, lines where the numbers are."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from simulator import Scenario
from simulator.machine import diameter_range
from simulator.speed_change import KINDS, Kind, speed_change, with_time
from simulator.speed_change_curve import speed_change_curve
from simulator.speed_change_run import simulate_speed_change
from simulator.speed_figures import draw_speed_change_run, draw_speed_changes
from simulator.units import METRIC, UNIT_SYSTEMS, US_CUSTOMARY, UnitSystem

SMALLEST = 9.0  # [points], common practice for print


@pytest.fixture(params=UNIT_SYSTEMS, ids=lambda units: units.name)
def units(request: pytest.FixtureRequest) -> UnitSystem:
    """Each unit system in turn."""
    return request.param


def texts(figure: Figure) -> list[Text]:
    """Every text in a figure but empty ones and the numbers along the axes."""
    found = [t for legend in figure.legends for t in legend.get_texts()]
    for axes in figure.axes:
        found += [*axes.texts, axes.xaxis.label, axes.yaxis.label, axes.title]
    return [text for text in found if text.get_text().strip()]


def check_texts(figure: Figure) -> None:
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    page, boxes = figure.bbox, {}
    for text in texts(figure):
        assert text.get_fontsize() >= SMALLEST
        box = boxes[text] = text.get_window_extent(canvas.get_renderer())
        name = text.get_text()
        assert page.x0 <= box.x0 and box.x1 <= page.x1, f"{name!r} runs off the page"
        assert page.y0 <= box.y0 and box.y1 <= page.y1, f"{name!r} runs off the page"
    for one, other in combinations(boxes, 2):
        a, b = boxes[one], boxes[other]
        apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 or b.y1 <= a.y0
        assert apart, f"{one.get_text()!r} lies on {other.get_text()!r}"
    for axes in figure.axes:
        for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
            assert label.get_fontsize() >= SMALLEST


def all_words(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in texts(figure))


def run_figure(scenario: Scenario, kind: Kind, units: UnitSystem = METRIC) -> Figure:
    diameter = diameter_range(scenario)[1]
    return draw_speed_change_run(
        scenario,
        speed_change(scenario, kind, diameter=diameter),
        simulate_speed_change(scenario, kind, diameter=diameter),
        units=units,
    )


def test_output_needed(scenario: Scenario, units: UnitSystem) -> None:
    curve = speed_change_curve(scenario, count=8)
    change = speed_change(scenario, "start", diameter=diameter_range(scenario)[1])
    figure = draw_speed_changes(curve, units=units, chosen=change)
    check_texts(figure)
    panel = figure.axes[0]
    along = "speed" if scenario.zone == "pull roll" else "diameter"
    assert panel.get_xlabel().endswith(f"[{units.label(along)}]")
    assert panel.get_ylabel().endswith("[%]")
    for line, drawn in zip(curve.lines, panel.lines, strict=False):
        np.testing.assert_allclose(np.asarray(drawn.get_ydata(), dtype=float), line.outputs)
        x = np.asarray(drawn.get_xdata(), dtype=float)
        np.testing.assert_allclose(x, curve.places * units.factor(along))
    assert f"fast stop in {scenario.run.stop_time:.3g} s" in all_words(figure)


def test_output_out_of_reach_is_marked(film: Scenario) -> None:
    curve = speed_change_curve(film, count=8)
    assert "out of reach" in all_words(draw_speed_changes(curve))
    gentle = speed_change_curve(with_time(film, "fast stop", 10.0), count=8)
    assert "out of reach" not in all_words(draw_speed_changes(gentle))
    # Two hundred times too fast: the picture still shows the part that matters.
    hard = speed_change_curve(with_time(film, "fast stop", 0.02), count=8)
    hard_change = speed_change(with_time(film, "fast stop", 0.02), diameter=0.8)
    figure = draw_speed_changes(hard, chosen=hard_change)
    check_texts(figure)
    assert figure.axes[0].get_ylim()[1] < 150.0


@pytest.mark.parametrize("kind", KINDS)
def test_simulated_run(scenario: Scenario, units: UnitSystem, kind: Kind) -> None:
    figure = run_figure(scenario, kind, units)
    check_texts(figure)
    has_gains = scenario.controller.Kc is not None
    assert len(figure.axes) == (4 if has_gains else 3)
    speed, tension = figure.axes[:2]
    assert units.label("speed") in speed.get_ylabel()
    assert tension.get_ylabel() == f"tension in manual [{units.label('tension')}]"
    assert figure.axes[-1].get_xlabel() == "time [s]"
    words = all_words(figure)
    assert "without inertia compensation" in words
    assert "by formula" in words
    assert "slack web" in words


def test_lines_carry_the_numbers_in_the_readers_units(foil: Scenario) -> None:
    diameter = 0.5
    runs = simulate_speed_change(foil, "stop", diameter=diameter)
    change = speed_change(foil, "stop", diameter=diameter)
    panel = draw_speed_change_run(foil, change, runs, units=US_CUSTOMARY).axes[1]
    pound = 4.4482216152605  # N, exact by definition
    drawn = [np.asarray(line.get_ydata(), dtype=float) for line in panel.lines[:4]]
    np.testing.assert_allclose(drawn[0], runs[0].trend.web_tension / pound)
    np.testing.assert_allclose(drawn[1], runs[0].closed_form / pound)
    np.testing.assert_allclose(drawn[2], runs[1].trend.web_tension / pound)
    np.testing.assert_allclose(drawn[3], runs[1].closed_form / pound)


def test_breaking_tension_is_drawn_where_it_is_near(film: Scenario) -> None:
    for limit in (230.0, 160.0):
        weak = replace(film, web=replace(film.web, breaking_tension=limit), source="")
        figure = run_figure(weak, "start")
        check_texts(figure)
        words = all_words(figure)
        assert f"breaks {limit:.3g}" in words
        assert "web breaks" in words
    assert "above the picture" in all_words(run_figure(film, "start"))
    tough = replace(film, web=replace(film.web, breaking_tension=None), source="")
    assert "break" not in all_words(run_figure(tough, "start"))


def test_slack_web_is_marked(film: Scenario) -> None:
    assert "web goes slack" in all_words(run_figure(film, "fast stop"))
    assert "web goes slack" not in all_words(run_figure(film, "stop"))


def test_without_compensation_there_is_one_line(foil: Scenario) -> None:
    change = speed_change(foil, "stop", diameter=0.3, compensation=0.0)
    runs = simulate_speed_change(foil, "stop", diameter=0.3, compensation=0.0)
    figure = draw_speed_change_run(foil, change, runs)
    check_texts(figure)
    assert "with " not in all_words(figure)
