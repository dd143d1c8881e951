"""The panel of a spectrum: its chance level, its heights, and the labels above it."""

import math

import numpy as np
import pytest
from matplotlib.figure import Figure
from scipy import stats

from simulator import Trend
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.spectrum import spectrum
from tuning.oscillation.spectrum_panel import chance_level, draw_spectrum, peak_words

F, SIZE, STEP = 1.7, 6.0, 0.05


def recorded(tension, **known):
    n = tension.size
    columns = {name: np.full(n, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    return Trend(time=STEP * np.arange(n), tension=tension, **(columns | known))


def swinging(n=1200, noise=1.0):
    random = np.random.default_rng(4)
    return (
        200.0
        + SIZE * np.sin(2.0 * math.pi * F * STEP * np.arange(n))
        + noise * random.normal(size=n)
    )


def panel(explanation, units=METRIC):
    figure = Figure(figsize=(10.0, 4.0), layout="constrained")
    axes = figure.subplots()
    return figure, axes, draw_spectrum(axes, explanation, units)


def test_chance_level_is_that_of_fishers_f():
    seen = spectrum(np.random.default_rng(1).normal(size=500), 0.1)
    above = stats.f.sf(chance_level(seen) / seen.background, seen.dof, seen.background_dof)
    np.testing.assert_allclose(above, 0.01 / seen.bins, rtol=1e-6)


def test_noise_goes_above_the_chance_level_once_in_a_hundred_records():
    random, crossed, records = np.random.default_rng(2), 0, 300
    for _ in range(records):
        seen = spectrum(random.normal(size=200), 1.0)
        looked = seen.frequency >= seen.lowest
        crossed += bool(np.any((seen.density > chance_level(seen))[looked]))
    # binomial: three or fewer expected, ten or more once in a thousand
    assert crossed < 10


def test_a_line_stands_as_high_as_its_amplitude():
    _, axes, drawn = panel(explain_oscillation(recorded(swinging())))
    x, y = axes.lines[0].get_data()
    assert drawn
    assert x[np.argmax(y)] == pytest.approx(F, abs=0.05)
    # 2 W is the width of a line but for the shape of its top
    assert y.max() == pytest.approx(SIZE, rel=0.2)


def test_heights_are_in_the_readers_units():
    explanation = explain_oscillation(recorded(swinging()))
    newton = panel(explanation)[1].lines[0].get_ydata()
    pound = panel(explanation, US_CUSTOMARY)[1].lines[0].get_ydata()
    # 1 lbf = 4.4482216152605 N, exact by definition of pound and standard gravity
    np.testing.assert_allclose(newton / pound, 4.4482216152605)


def test_the_turn_of_the_roll_is_a_line_where_it_is(film):
    n, v, D = 1200, 2.0, 0.4
    trend = recorded(swinging(n), line_speed=np.full(n, v), diameter=np.full(n, D))
    figure, axes, _ = panel(explain_oscillation(trend, film))
    said = check_readable(figure)
    assert "roll" in said.split(" | ")
    dotted = [line.get_xdata() for line in axes.lines if line.get_linestyle() == ":"]
    upright = [x[0] for x in dotted if x[0] == x[1]]
    assert min(abs(x / (v / (math.pi * D)) - 1.0) for x in upright) < 0.01


def test_the_axis_is_named_where_it_is_not_time(film):
    n, D = 4000, 0.4
    v = np.linspace(1.5, 3.0, n)
    turns = np.cumsum(v / (math.pi * D)) * STEP
    tension = 200.0 + SIZE * np.sin(2.0 * math.pi * turns)
    tension += 0.5 * np.random.default_rng(6).normal(size=n)
    explanation = explain_oscillation(recorded(tension, line_speed=v, diameter=np.full(n, D)), film)
    assert explanation.findings.oscillation.axis != "time"
    figure, axes, _ = panel(explanation)
    check_readable(figure)
    assert "mean" in axes.get_xlabel()
    x, y = axes.lines[0].get_data()
    assert x[np.argmax(y)] == pytest.approx(2.25 / (math.pi * D), rel=0.01)


def test_words_say_when_chance_makes_it_too():
    noise = 200.0 + np.random.default_rng(8).normal(size=600)
    assert "chance makes too" in peak_words(explain_oscillation(recorded(noise)), METRIC)
    words = peak_words(explain_oscillation(recorded(swinging())), METRIC)
    assert words.startswith("measured: 1.70 Hz, 6.0")


def test_a_tension_that_does_not_move_has_no_spectrum():
    figure, _, drawn = panel(explain_oscillation(recorded(np.full(300, 100.0))))
    assert not drawn
    assert "does not move" in check_readable(figure)
