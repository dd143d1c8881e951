"""The machine's frequencies by name: where they are, as wide as the record leaves them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Trend
from tuning.oscillation.findings import findings
from tuning.oscillation.named_frequencies import named_frequencies
from tuning.oscillation.record import as_record

STEP, N = 0.05, 1200


def found(scenario, frequency, **known):
    time = STEP * np.arange(N)
    tension = 100.0 + np.sin(2.0 * math.pi * frequency * time)
    tension += 0.1 * np.random.default_rng(1).normal(size=N)
    columns = {name: np.full(N, np.nan) for name in
               ("output", "setpoint", "line_speed", "diameter", "automatic")}  # fmt: skip
    trend = Trend(time=time, tension=tension, **(columns | known))
    return {one.words: one for one in
            named_frequencies(findings(as_record(trend, scenario), scenario))}  # fmt: skip


def test_known_speed_and_diameter_make_lines(film):
    v, D = 2.0, 0.4
    named = found(film, 1.0, line_speed=np.full(N, v), diameter=np.full(N, D))
    assert named["roll"].is_line
    assert named["roll"].middle == pytest.approx(v / (math.pi * D))
    assert named["3× roll"].middle == pytest.approx(3.0 * v / (math.pi * D))


def test_an_unknown_diameter_makes_a_band_from_full_roll_to_core(film):
    named = found(film, 1.0, line_speed=np.full(N, 2.0))
    roll = named["roll"]
    assert not roll.is_line
    # the band is made of a few diameters, each for a stretch of them
    assert roll.low == pytest.approx(2.0 / (math.pi * film.roll.full_diameter), rel=0.05)
    assert roll.high == pytest.approx(2.0 / (math.pi * film.roll.core_diameter), rel=0.05)


def test_a_speed_that_moves_makes_a_band_as_wide(film):
    v = np.linspace(1.0, 2.0, N)
    named = found(film, 3.1, line_speed=v, diameter=np.full(N, 0.4))
    # without the outer 2 % at each end
    assert named["roller 1"].high / named["roller 1"].low == pytest.approx(1.98 / 1.02, rel=1e-3)


def test_rollers_of_one_size_have_one_label(foil):
    assert foil.roller[0].diameter == foil.roller[1].diameter
    assert "roller 1, roller 2" in found(foil, 1.0, line_speed=np.full(N, 2.0))


def test_the_multiple_on_the_oscillation_comes_first(film):
    v, D = 2.0, 0.4
    named = found(film, 3.0 * v / (math.pi * D), line_speed=np.full(N, v), diameter=np.full(N, D))
    assert next(iter(named)) == "3× roll"


def test_what_turns_faster_than_half_the_sample_rate_is_named_folded(film):
    slow = replace(film.controller, scan_time=0.05)
    v, d = 4.5, film.roller[0].diameter
    named = found(replace(film, controller=slow), 1.0, line_speed=np.full(N, v),
                  diameter=np.full(N, 0.8))  # fmt: skip
    # 11.9 Hz at 20 samples a second shows at |11.9 - 20| Hz
    folded = next(one for words, one in named.items() if words.startswith("roller 1 folded"))
    assert folded.middle == pytest.approx(20.0 - v / (math.pi * d), rel=1e-6)


def test_without_a_scenario_usual_sizes_are_a_band():
    named = found(None, 1.0, line_speed=np.full(N, 2.0))
    assert named["any usual roller"].high / named["any usual roller"].low == pytest.approx(
        8.0, rel=0.3
    )
