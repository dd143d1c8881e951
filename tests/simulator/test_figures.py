"""Pictures: axes say their units, texts are readable and stand clear of each other."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from simulator import Action, Scenario, Trend, operating_point, simulate
from simulator.figures import draw_line, draw_manual_output, draw_trend
from simulator.manual_output import manual_output_curve
from simulator.units import UNIT_SYSTEMS, US_CUSTOMARY, UnitSystem

SMALLEST = 9.0  # [points], common practice for print


@pytest.fixture(params=UNIT_SYSTEMS, ids=lambda units: units.name)
def units(request: pytest.FixtureRequest) -> UnitSystem:
    """Each unit system in turn."""
    return request.param


def texts(figure: Figure) -> list[Text]:
    """Every text in a figure but empty ones and the numbers along the axes."""
    found = [*figure.texts, *(t for legend in figure.legends for t in legend.get_texts())]
    if figure._suptitle is not None:
        found.append(figure._suptitle)
    for axes in figure.axes:
        found += [*axes.texts, axes.xaxis.label, axes.yaxis.label]
    return [text for text in found if text.get_text().strip()]


def check_texts(figure: Figure) -> None:
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    page = figure.bbox
    boxes = {}
    for text in texts(figure):
        assert text.get_fontsize() >= SMALLEST
        # The box of the words, without the line that leads from them.
        box = Text.get_window_extent(text, canvas.get_renderer())
        boxes[text] = box
        name = text.get_text()
        assert page.x0 <= box.x0 and box.x1 <= page.x1, f"{name!r} runs off the page"
        assert page.y0 <= box.y0 and box.y1 <= page.y1, f"{name!r} runs off the page"
    for one, other in combinations(boxes, 2):
        a, b = boxes[one], boxes[other]
        apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 or b.y1 <= a.y0
        assert apart, f"{one.get_text()!r} lies on {other.get_text()!r}"


def all_words(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in texts(figure))


def run(scenario: Scenario) -> Trend:
    T = scenario.run.tension
    plan = [
        Action(1.0, "output", 40.0),
        Action(1.5, "automatic"),
        Action(2.0, "setpoint", 1.1 * T),
        Action(2.0, "line speed", scenario.run.crawl_speed, over=1.0),
        Action(4.9, "manual"),
    ]
    return simulate(scenario, plan, duration=5.0)


def test_line_drawing(scenario: Scenario, units: UnitSystem) -> None:
    figure = draw_line(scenario, units=units)
    check_texts(figure)
    words = all_words(figure)
    assert f"{units.show(scenario.span[0].length, 'length'):.4g} {units.label('length')}" in words
    assert "load cells" in words
    assert "resultant" in words
    assert "drawn freely" in words


def test_line_drawing_is_to_scale(film: Scenario) -> None:
    """The scale bar measures the roll: 800 mm on the film unwind."""
    figure = draw_line(film)
    axes = figure.axes[0]
    circle = max(axes.patches, key=lambda patch: patch.get_window_extent().width)
    bar = next(line for line in axes.lines if len(line.get_xdata()) == 6)
    length = np.ptp(np.asarray(bar.get_xdata(), dtype=float))
    assert "0.5 m" in all_words(figure)
    roll = 2.0 * circle.get_radius()  # type: ignore[attr-defined]
    assert roll / length == pytest.approx(0.8 / 0.5)
    assert axes.get_aspect() == 1.0


def test_line_drawing_of_a_long_machine_stays_readable(film: Scenario) -> None:
    spans = tuple(replace(film.span[0], length=0.8 + 0.2 * (i % 4)) for i in range(7))
    rollers = tuple(replace(film.roller[0], load_cell=i == 2) for i in range(6))
    check_texts(draw_line(replace(film, span=spans, roller=rollers, source="")))


def test_manual_output(scenario: Scenario, units: UnitSystem) -> None:
    curve = manual_output_curve(scenario, count=12)
    point = operating_point(scenario, diameter=curve.lines[0].points[3].diameter)
    figure = draw_manual_output(curve, units=units, chosen=point)
    check_texts(figure)
    output, tension, power = figure.axes
    assert output.get_ylabel() == "output [%]"
    assert tension.get_ylabel() == f"tension [{units.label('tension')}]"
    assert power.get_ylabel().endswith(f"[{units.label('power')}]")
    along = "speed" if scenario.zone == "pull roll" else "diameter"
    assert power.get_xlabel().endswith(f"[{units.label(along)}]")


def test_manual_output_says_what_is_out_of_reach(film: Scenario) -> None:
    # 250 N at 0.4 m take 100 N m; this brake has 60 N m.
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=60.0), source="")
    figure = draw_manual_output(manual_output_curve(weak, tension=250.0, count=12))
    check_texts(figure)
    assert "out of reach" in all_words(figure)


def test_trend(scenario: Scenario, units: UnitSystem) -> None:
    figure = draw_trend(run(scenario), units=units, title="A run at full roll")
    check_texts(figure)
    tension, output, speed = figure.axes
    assert tension.get_ylabel() == f"tension [{units.label('tension')}]"
    assert output.get_ylabel() == "output [%]"
    assert units.label("speed") in speed.get_ylabel()
    assert speed.get_xlabel() == "time [s]"
    assert "true tension of the web" in all_words(figure)
    assert "to automatic" in all_words(figure)


def test_trend_shows_values_in_the_readers_units(film: Scenario) -> None:
    trend = simulate(film, duration=1.0, noise=False, runout=False)
    figure = draw_trend(trend, units=US_CUSTOMARY)
    drawn = np.asarray(figure.axes[0].lines[0].get_ydata(), dtype=float)
    # 1 lbf = 4.4482216152605 N, exact by definition.
    np.testing.assert_allclose(drawn, trend.tension / 4.4482216152605, rtol=1e-12)


def test_events_in_the_readers_units(film: Scenario) -> None:
    trend = simulate(film, [Action(0.5, "setpoint", 160.0)], duration=1.0)
    # 160 N / 4.4482216152605 = 35.97 lbf.
    assert "setpoint 36 lbf" in all_words(draw_trend(trend, units=US_CUSTOMARY))
    assert "setpoint 160 N" in all_words(draw_trend(trend))


def test_many_events_keep_apart(film: Scenario) -> None:
    plan = [Action(0.2 + 0.23 * i, "output", 40.0 + i) for i in range(12)]
    figure = draw_trend(simulate(film, plan, duration=4.0))
    check_texts(figure)
    marks = [t for t in figure.axes[0].texts if isinstance(t, Annotation)]
    assert len(marks) == 12


def test_thinning_keeps_every_peak(film: Scenario) -> None:
    trend = simulate(film, duration=120.0)
    tension = trend.tension.copy()
    tension[3001] = 290.0
    figure = draw_trend(replace(trend, tension=tension))
    drawn = np.asarray(figure.axes[0].lines[0].get_ydata(), dtype=float)
    assert drawn.size < tension.size
    assert drawn.max() == 290.0
    assert drawn.min() == tension.min()


def test_recorded_trend_with_little_known(film: Scenario) -> None:
    n = 50
    unknown = np.full(n, np.nan)
    trend = Trend(
        time=np.linspace(0.0, 5.0, n),
        tension=np.full(n, 100.0),
        output=np.full(n, 30.0),
        setpoint=unknown,
        line_speed=unknown,
        diameter=unknown,
        automatic=unknown,
        events=((1.0, "a $name$ with $ signs"),),
    )
    figure = draw_trend(trend, title="$title")
    check_texts(figure)
    assert len(figure.axes) == 2
    words = all_words(figure)
    assert "setpoint" not in words
    assert "automatic" not in words
    assert "a $name$ with $ signs" in words
