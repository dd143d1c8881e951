"""The picture of an oscillation among the machine's frequencies: on the line where it belongs."""

import math

import numpy as np
import pytest

from simulator import Trend, simulate
from simulator.machine import diameter_range
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.machine_figure import draw_among_machine, draw_among_machine_alt

STEP, N = 0.05, 1200


def explained(scenario, frequency, **known):
    time = STEP * np.arange(N)
    tension = 0.3 * scenario.controller.tension_range + np.sin(2.0 * math.pi * frequency * time)
    tension += 0.1 * np.random.default_rng(1).normal(size=N)
    columns = {name: np.full(N, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    return explain_oscillation(Trend(time=time, tension=tension, **(columns | known)), scenario)


def marks(axes):
    return [line.get_xydata()[0] for line in axes.lines if line.get_marker() == "D"]


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_readable_for_every_machine(scenario, units):
    low, high = diameter_range(scenario)
    trend = simulate(scenario, duration=40.0, diameter=math.sqrt(low * high), seed=2)
    figure = draw_among_machine(explain_oscillation(trend, scenario), units)
    said = check_readable(figure)
    assert len(figure.axes) == (1 if low == high else 2)
    assert f"line speed [{units.label('speed')}]" in said
    assert "roll" in said.split(" | ") and "swing" in said.split(" | ")


def test_an_oscillation_at_the_turn_of_the_roll_lies_on_its_line(film):
    v, D = 2.0, 0.4
    f = v / (math.pi * D)
    explanation = explained(film, f, line_speed=np.full(N, v), diameter=np.full(N, D))
    figure = draw_among_machine(explanation)
    for axes, place in zip(figure.axes, (1e3 * D, 60.0 * v), strict=True):
        (mark,) = marks(axes)
        assert mark[0] == pytest.approx(place)
        assert mark[1] == pytest.approx(f, rel=0.01)
        roll = axes.lines[0]
        on_line = np.exp(
            np.interp(math.log(place), np.log(roll.get_xdata()), np.log(roll.get_ydata()))
        )
        assert on_line == pytest.approx(f, rel=1e-3)
    words = draw_among_machine_alt(explanation)
    assert words.endswith("lies on or near: roll.")


def test_higher_multiples_show_where_the_oscillation_is_on_one(film):
    v, D = 1.0, 0.4
    known = {"line_speed": np.full(N, v), "diameter": np.full(N, D)}
    said = check_readable(draw_among_machine(explained(film, 4.0 * v / (math.pi * D), **known)))
    assert "4× roll" in said
    assert "4× roll" not in check_readable(draw_among_machine(explained(film, 0.3, **known)))


def test_an_unknown_place_is_a_bar_across(film):
    explanation = explained(film, 1.3)
    figure = draw_among_machine(explanation)
    said = check_readable(figure)
    assert said.count("not in the record") == 2
    for axes, span in zip(figure.axes, (1e3 * np.array(diameter_range(film)),
                                        60.0 * np.array([film.run.crawl_speed, 2.5])),
                          strict=True):  # fmt: skip
        assert not marks(axes)
        np.testing.assert_allclose(axes.lines[-1].get_xdata(), span)
    assert "as a bar across" in draw_among_machine_alt(explanation)


def test_half_the_sample_rate_and_what_it_folds(film):
    # a roller at 11.9 Hz, 20 samples a second: seen at 8.06 Hz
    v, d = 4.5, film.roller[0].diameter
    explanation = explained(film, 20.0 - v / (math.pi * d), line_speed=np.full(N, v),
                            diameter=np.full(N, 0.7))  # fmt: skip
    figure = draw_among_machine(explanation)
    said = check_readable(figure)
    assert "½ sample rate" in said and "folded down" in said
    assert "roller 1 folded" in draw_among_machine_alt(explanation)


def test_nothing_measured_is_no_mark(film):
    columns = {name: np.full(N, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    flat = Trend(time=STEP * np.arange(N), tension=np.full(N, 100.0), **columns)
    explanation = explain_oscillation(flat, film)
    assert "measured" not in check_readable(draw_among_machine(explanation))
    assert "nothing was measured" in draw_among_machine_alt(explanation)


def test_without_a_scenario_there_is_no_machine(film):
    with pytest.raises(ValueError, match="need a scenario"):
        draw_among_machine(explained_without())


def explained_without():
    columns = {name: np.full(N, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    tension = 100.0 + np.random.default_rng(1).normal(size=N)
    return explain_oscillation(Trend(time=STEP * np.arange(N), tension=tension, **columns))
