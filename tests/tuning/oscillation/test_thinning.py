"""A long record averaged down where nothing fast is lost."""

from dataclasses import replace
from time import process_time

import numpy as np
import pytest

from simulator import Trend
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.machine_frequencies import machine_frequencies, places
from tuning.oscillation.record import as_record
from tuning.oscillation.thinning import MOST_SAMPLES, thinned

N, H = 450_000, 0.01
TIME = H * np.arange(N)


def record(frequency, size=3.0):
    tension = 100.0 + size * np.sin(2 * np.pi * frequency * TIME)
    tension = tension + np.random.default_rng(0).standard_normal(N)
    unknown = np.full(N, np.nan)
    return Trend(TIME, tension, unknown, unknown, np.full(N, 2.0), unknown, unknown)


def test_a_slow_oscillation_stays_as_it_is():
    full = as_record(record(0.7))
    few = thinned(full)
    assert few.tension.size <= MOST_SAMPLES
    assert few.interval == pytest.approx(3 * H)
    assert few.duration == pytest.approx(full.duration, rel=1e-4)
    assert few.mean_tension == pytest.approx(full.mean_tension, rel=1e-4)
    found = explain_oscillation(record(0.7))
    assert found.findings.frequency == pytest.approx(0.7, rel=1e-4)
    assert found.findings.oscillation.amplitude == pytest.approx(3.0, rel=0.03)
    assert any("450 000 samples are looked at in means of 3" in note for note in found.warnings)


def test_a_fast_oscillation_is_not_thinned():
    full = as_record(record(20.0))
    assert thinned(full) is full


def test_what_the_samples_folded_stays_where_they_folded_it():
    few = thinned(as_record(record(0.7)))
    found = machine_frequencies(few, None, places(few, None), ())
    hum = next(one for one in found if one.name == "mains 60 Hz")
    # 60 Hz at 100 samples a second.
    assert hum.frequency[0] == pytest.approx(40.0)


def test_a_short_record_is_left_alone():
    full = as_record(record(0.7))
    short = replace(full, tension=full.tension[:1000])
    assert thinned(short) is short


def test_a_million_samples_of_a_rounded_output_are_explained_in_seconds():
    n = 1_000_000
    time = 0.02 * np.arange(n)
    rng = np.random.default_rng(0)
    y = 150.0 + 3.0 * np.sin(2 * np.pi * 1.37 * time) + rng.standard_normal(n)
    u = np.round(40.0 + 0.5 * np.sin(2 * np.pi * 1.37 * time) + 0.1 * rng.standard_normal(n), 1)
    unknown = np.full(n, np.nan)
    trend = Trend(time, np.round(y, 2), u, unknown, unknown, unknown, unknown)
    start = process_time()
    found = explain_oscillation(trend)
    # About a second of processor time on a quiet core; a loaded one must not fail the test.
    assert process_time() - start < 5.0
    assert found.findings.frequency == pytest.approx(1.37, rel=1e-4)
