"""The average period: drawn in step, and named for what it is."""

import math

import numpy as np
import pytest
from scipy import signal

from simulator import Trend
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.wave_figure import draw_wave, draw_wave_alt

STEP, N, PERIOD = 0.05, 4000, 4.0
TURN = 2.0 * math.pi * STEP * np.arange(N) / PERIOD


def explained(tension, output=None):
    random = np.random.default_rng(1)
    columns = {name: np.full(N, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    if output is not None:
        columns["output"] = 40.0 + output + 0.05 * random.normal(size=N)
    tension = 100.0 + tension + 0.2 * random.normal(size=N)
    return explain_oscillation(Trend(time=STEP * np.arange(N), tension=tension, **columns))


@pytest.mark.parametrize("late", [0.0, 0.25, 0.6])
def test_the_output_is_drawn_as_late_as_it_is(late):
    explanation = explained(5.0 * np.cos(TURN), 3.0 * np.cos(TURN - 2.0 * math.pi * late))
    figure = draw_wave(explanation)
    check_readable(figure)
    for axes, top in zip(figure.axes, (0.0, late * PERIOD), strict=True):
        x, y = axes.lines[-1].get_data()
        seen = float(np.angle(np.mean(y * np.exp(2j * math.pi * x / PERIOD)))) * PERIOD / math.tau
        apart = (seen - top + 0.5 * PERIOD) % PERIOD - 0.5 * PERIOD
        assert abs(apart) < 0.03 * PERIOD


def test_heights_are_those_of_the_wave_in_the_readers_units():
    explanation = explained(5.0 * np.cos(TURN), 3.0 * np.cos(TURN))
    for units, size in ((METRIC, 5.0), (US_CUSTOMARY, 5.0 / 4.4482216152605)):
        figure = draw_wave(explanation, units)
        assert f"[{units.label('tension')}]" in check_readable(figure)
        assert figure.axes[0].lines[-1].get_ydata().max() == pytest.approx(size, rel=0.03)
        assert figure.axes[1].lines[-1].get_ydata().max() == pytest.approx(3.0, rel=0.03)


@pytest.mark.parametrize(
    ("wave", "says"),
    [
        (np.cos(TURN), "as good as a sine"),
        (signal.square(TURN), "nearer to a square"),
        (signal.sawtooth(TURN, 0.5), "nearer to a triangle"),
        (signal.sawtooth(TURN), "nearer to a sawtooth"),
    ],
    ids=["sine", "square", "triangle", "sawtooth"],
)
def test_words_name_the_shape(wave, says):
    words = draw_wave_alt(explained(5.0 * wave))
    assert says in words
    assert "4.00 s long" in words


def test_few_samples_a_period_are_points():
    slow = explained(5.0 * np.cos(9.0 * TURN))  # 8.9 samples a period
    figure = draw_wave(slow)
    check_readable(figure)
    assert figure.axes[0].containers
    assert not draw_wave(explained(5.0 * np.cos(TURN))).axes[0].containers


def test_an_output_that_does_not_swing_is_left_out():
    # noise alone
    figure = draw_wave(explained(5.0 * np.cos(TURN), np.zeros(N)))
    assert "does not swing in step" in check_readable(figure)
    assert len(figure.axes) == 1


def test_a_still_tension_has_no_period():
    columns = {name: np.full(N, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    still = explain_oscillation(
        Trend(time=STEP * np.arange(N), tension=np.full(N, 100.0), **columns)
    )
    assert "no average period" in check_readable(draw_wave(still))
    assert "no average period" in draw_wave_alt(still)
