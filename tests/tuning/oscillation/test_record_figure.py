"""The picture of a record: drawn true, thin, and readable for any record."""

import math
import time

import numpy as np
import pytest

from simulator import Action, Trend, simulate
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.record_figure import draw_record, draw_record_alt


def bare(tension, step=0.1, **known):
    n = tension.size
    columns = {name: np.full(n, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    return Trend(time=step * np.arange(n), tension=tension, **(columns | known))


def swing(n, frequency=0.6, step=0.1):
    random = np.random.default_rng(3)
    return (
        80.0 + 4.0 * np.sin(2.0 * math.pi * frequency * step * np.arange(n)) + random.normal(size=n)
    )


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_readable_for_every_machine(scenario, units):
    trend = simulate(scenario, [Action(20.0, "line speed", 0.99 * scenario.run.line_speed)],
                     duration=40.0, seed=2)  # fmt: skip
    explanation = explain_oscillation(trend, scenario)
    said = check_readable(draw_record(explanation, units))
    assert f"tension [{units.label('tension')}]" in said
    assert f"line speed\n[{units.label('speed')}]" in said
    assert "output [%]" in said and "manual" in said and "frequency" in said


@pytest.mark.parametrize("n", [25, 300, 5000])
def test_readable_with_nothing_but_tension(n):
    figure = draw_record(explain_oscillation(bare(swing(n))))
    said = check_readable(figure)
    assert "output" not in said and "line speed" not in said
    assert ("measured" if n > 100 else "chance makes too") in said


def test_a_quiet_record_has_no_envelope():
    noise = bare(80.0 + np.random.default_rng(5).normal(size=500))
    assert "envelope" not in check_readable(draw_record(explain_oscillation(noise)))
    assert "chance" in draw_record_alt(explain_oscillation(noise))
    assert "envelope" in check_readable(draw_record(explain_oscillation(bare(swing(500)))))


def test_the_envelope_is_as_wide_as_the_swing():
    figure = draw_record(explain_oscillation(bare(swing(1000))))
    upper, lower = (line.get_ydata() for line in figure.subfigs[0].axes[0].lines[-2:])
    # of a sine of 4 N, away from the ends
    assert np.median(upper - lower) == pytest.approx(2.0 * 4.0, rel=0.15)


def test_many_swings_are_shown_from_near_where_they_are_largest():
    # 0.6 Hz over 400 s are 240 swings, the largest about 150 s.
    n = 4000
    t = 0.1 * np.arange(n)
    size = 2.0 + 6.0 * np.exp(-(((t - 150.0) / 40.0) ** 2))
    noise = np.random.default_rng(7).normal(0.0, 0.5, n)
    explanation = explain_oscillation(bare(80.0 + size * np.sin(1.2 * math.pi * t) + noise))
    figure = draw_record(explanation)
    assert "from near" in check_readable(figure) and len(figure.subfigs) == 3
    left, right = figure.subfigs[1].axes[0].get_xlim()
    assert left < 150.0 < right or abs(0.5 * (left + right) - 150.0) < 15.0
    assert (right - left) * 0.6 == pytest.approx(10.0, abs=1.0)
    assert "from near" in draw_record_alt(explanation)
    # Thirty swings can be seen as they are.
    assert len(draw_record(explain_oscillation(bare(swing(500)))).subfigs) == 2


def test_a_constant_tension_is_drawn_without_a_spectrum():
    explanation = explain_oscillation(bare(np.full(200, 50.0)))
    assert "does not move" in check_readable(draw_record(explanation))
    assert "does not move" in draw_record_alt(explanation)


def test_words_for_those_who_cannot_see_it():
    words = draw_record_alt(explain_oscillation(bare(swing(1000))))
    assert "0.600 Hz" in words and "4.0 N" in words and "about 80.0 N" in words


def test_a_million_samples_take_no_longer_than_a_reader_waits():
    explanation = explain_oscillation(bare(swing(1_000_000, step=0.02), step=0.02))
    start = time.process_time()
    figure = draw_record(explanation)
    taken = time.process_time() - start
    assert sum(line.get_xdata().size for line in figure.subfigs[0].axes[0].lines) < 4 * 2400
    # under a second on its own; the limit leaves room for a busy machine
    assert taken < 3.0
