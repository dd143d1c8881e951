"""Loop health against closed forms, scipy and records counted by hand."""

import itertools
import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from simulator import Trend
from tuning.loop_health import harris_ratio, harris_ratio_of_model, health_in_words, loop_health


def trend(tension, **columns):
    """A trend sampled every 0.1 s unless told otherwise; nan where not given."""
    tension = np.asarray(tension, dtype=float)
    unknown = np.full(tension.size, np.nan)
    values = {
        "time": 0.1 * np.arange(tension.size),
        "output": unknown,
        "setpoint": unknown,
        "line_speed": unknown,
        "diameter": unknown,
        "automatic": unknown,
    }
    values.update({name: np.asarray(value, dtype=float) for name, value in columns.items()})
    return Trend(tension=tension, **values)


def autoregression(coefficients, samples, start):
    """Long past the start-up of e = Σ a_i e(−i) + w."""
    w = np.random.default_rng(start).normal(size=samples + 2000)
    return signal.lfilter([1.0], np.concatenate([[1.0], -np.asarray(coefficients)]), w)[2000:]


@pytest.mark.parametrize(("delay", "ratio"), [(1, 0.36), (3, 0.737856)])
def test_first_order_by_hand(delay, ratio):
    """AR(1): 1 − φ^(2b); 1 − 0.64 = 0.36, 1 − 0.64³ = 0.737856 (exact)."""
    assert harris_ratio_of_model([0.8], delay) == pytest.approx(ratio, rel=1e-12)
    found, order = harris_ratio(autoregression([0.8], 200_000, 1), delay)
    # Standard error of φ is √((1 − φ²)/n) = 0.0013; dη/dφ = 2b φ^(2b−1).
    assert found == pytest.approx(ratio, abs=4.0 * 0.0014 * 2.0 * delay * 0.8 ** (2 * delay - 1))
    assert 1 <= order <= 10


@pytest.mark.parametrize("delay", [1, 2, 5, 20])
@pytest.mark.parametrize("model", [[0.5], [1.5, -0.7], [0.2, 0.3, -0.4], [1.8, -0.95], []])
def test_any_model_against_its_impulse_response(model, delay):
    """Σ of the first b squares over Σ of all, by scipy.signal.lfilter."""
    impulse = np.zeros(5000)
    impulse[0] = 1.0
    psi = signal.lfilter([1.0], np.concatenate([[1.0], -np.asarray(model)]), impulse)
    expected = np.sum(psi[:delay] ** 2) / np.sum(psi**2)
    assert harris_ratio_of_model(model, delay) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("model", [[1.5, -0.7], [0.2, 0.3, -0.4], [1.8, -0.95]])
def test_a_record_of_a_model_finds_its_ratio(model):
    for delay in (1, 4):
        found, _ = harris_ratio(autoregression(model, 50_000, 3), delay)
        assert found == pytest.approx(harris_ratio_of_model(model, delay), rel=0.05)


@settings(max_examples=50, deadline=None)
@given(reflections=st.lists(st.floats(-0.95, 0.95), min_size=0, max_size=5))
def test_a_longer_dead_time_never_lowers_the_ratio(reflections):
    a = np.zeros(0)
    for k in reflections:
        a = np.append(a - k * a[::-1], k)
    ratios = [harris_ratio_of_model(a, b) for b in range(1, 12)]
    assert all(0.0 < r <= 1.0 for r in ratios)
    assert all(x <= y + 1e-12 for x, y in itertools.pairwise(ratios))


def test_wrong_models():
    with pytest.raises(ValueError, match="stable"):
        harris_ratio_of_model([1.0], 1)
    with pytest.raises(ValueError, match="delay_samples"):
        harris_ratio_of_model([0.5], 0)
    with pytest.raises(ValueError, match="delay_samples"):
        harris_ratio(np.zeros(50), 0)


def test_the_ratio_of_a_trend():
    """Dead time 0.2 s at 0.1 s: b = 3."""
    error = autoregression([0.8], 20_000, 4)
    n = error.size
    health = loop_health(
        trend(100.0 - error, setpoint=np.full(n, 100.0), automatic=np.ones(n)), dead_time=0.2
    )
    assert health.delay_samples == 3
    assert health.harris_ratio == pytest.approx(0.737856, abs=0.03)
    assert health.warnings == ()
    # Recorded ten times as often it is thinned, and says the same: φ = 0.8^(1/10), b = 30.
    fine = autoregression([0.8**0.1], 200_000, 5)
    n = fine.size
    health = loop_health(
        trend(
            100.0 - fine, time=0.01 * np.arange(n), setpoint=np.full(n, 100.0), automatic=np.ones(n)
        ),
        dead_time=0.29,
    )
    assert health.delay_samples == 10
    assert health.harris_ratio == pytest.approx(0.737856, abs=0.04)


def test_only_the_stretch_in_automatic_counts():
    error = autoregression([0.8], 6000, 6)
    error[4000:] += 20.0 * np.sin(np.arange(2000) * 0.05)
    automatic = np.where(np.arange(6000) < 4000, 1.0, 0.0)
    health = loop_health(
        trend(100.0 - error, setpoint=np.full(6000, 100.0), automatic=automatic), dead_time=0.0
    )
    assert health.harris_ratio == pytest.approx(0.36, abs=0.05)
    assert health.automatic == pytest.approx(2.0 / 3.0)
    assert health.mean_error == pytest.approx(np.mean(error[:4000]))
    manual = loop_health(trend(100.0 - error, automatic=np.zeros(6000)), dead_time=0.0)
    assert math.isnan(manual.harris_ratio)
    assert "manual" in " ".join(manual.warnings)


def test_numbers_counted_by_hand():
    output = [0.0, 0.0, 50.0, 60.0, 55.0, 58.0, 58.0, 57.0, 100.0, 100.0]
    tension = [98.0, 102.0] * 5
    health = loop_health(
        trend(tension, output=output, setpoint=np.full(10, 101.0), automatic=[0, 0] + 8 * [1])
    )
    assert health.mean == pytest.approx(100.0)
    assert health.standard_deviation == pytest.approx(2.0)
    assert health.variability == pytest.approx(2.0)
    assert health.two_sigma == pytest.approx(4.0)
    assert health.mean_error == pytest.approx(1.0)
    assert health.automatic == pytest.approx(0.8)
    assert health.at_limit == pytest.approx(0.4)
    # Up, down, up, down, up: four changes in 0.8 s of automatic.
    assert health.reversals == pytest.approx(4.0 / 0.8 * 60.0)
    assert health.stuck == 0.0
    assert health.duration == pytest.approx(0.9)
    assert "dead time" in " ".join(health.warnings)
    other = loop_health(trend(tension, output=output), output_low=55.0, output_high=60.0)
    assert other.at_limit == pytest.approx(0.7)


def test_an_output_that_stands_still():
    output = 50.0 + np.random.default_rng(1).normal(size=1000)
    output[300:500] = output[300]
    health = loop_health(trend(np.full(1000, 100.0), output=output, automatic=np.ones(1000)))
    assert health.stuck == pytest.approx(0.2, abs=0.002)
    # A controller of a tenth of the recorder's pace only looks as if it stood.
    slow = np.repeat(output[:100], 10)
    assert loop_health(trend(np.zeros(1000), output=slow, automatic=np.ones(1000))).stuck == 0.0
    still = loop_health(trend(np.zeros(1000), output=np.full(1000, 40.0), automatic=np.ones(1000)))
    assert still.stuck == 1.0
    assert still.reversals == 0.0


def test_warnings_of_a_record():
    drifting = 100.0 - autoregression([0.5], 3000, 1) - np.linspace(0.0, 10.0, 3000)
    sound = trend(drifting, setpoint=np.full(3000, 100.0), automatic=np.ones(3000))
    assert "not steady" in " ".join(loop_health(sound, dead_time=0.1).warnings)
    short = trend(drifting[:40], setpoint=np.full(40, 100.0), automatic=np.ones(40))
    assert "short" in " ".join(loop_health(short, dead_time=0.1).warnings)
    unknown = loop_health(trend(drifting), dead_time=0.1)
    assert "setpoint is not known" in " ".join(unknown.warnings)
    assert "automatic is not known" in " ".join(unknown.warnings)
    assert math.isnan(unknown.automatic)
    assert math.isnan(unknown.reversals)
    assert "flatters" in " ".join(loop_health(sound, dead_time=0.04).warnings)


@pytest.mark.parametrize("samples", [2, 3, 30, 200])
@pytest.mark.parametrize("value", [0.0, 120.0, math.nan])
def test_constant_and_missing_columns(samples, value):
    column = np.full(samples, value)
    health = loop_health(
        trend(column, output=column, setpoint=column, automatic=np.ones(samples)), dead_time=0.3
    )
    assert math.isnan(health.harris_ratio)
    assert health.warnings
    assert all("nan" not in sentence for sentence in health_in_words(health))


def test_gaps_and_uneven_times():
    rng = np.random.default_rng(2)
    error = autoregression([0.8], 5000, 2)
    at = 0.1 * np.arange(5000) + 0.01 * rng.uniform(size=5000)
    error[2500] = np.nan
    health = loop_health(
        trend(100.0 - error, time=at, setpoint=np.full(5000, 100.0), automatic=np.ones(5000)),
        dead_time=0.0,
    )
    assert health.harris_ratio == pytest.approx(0.36, abs=0.08)
    assert health.standard_deviation == pytest.approx(1.0 / 0.6, rel=0.05)


def test_in_words():
    error = autoregression([0.8], 4000, 4) + 1.0
    health = loop_health(
        trend(
            150.0 - error,
            output=np.clip(error * 60.0, 0.0, 100.0),
            setpoint=np.full(4000, 150.0),
            automatic=np.ones(4000),
        ),
        dead_time=0.0,
    )
    said = " ".join(health_in_words(health))
    for words in (
        "N (two standard deviations)",
        "below the setpoint",
        "100 % of the time",
        "at a limit",
        "Harris ratio",
    ):
        assert words in said
    # σ_mv/σ = √0.36.
    assert "60 %" in said or "59 %" in said or "61 %" in said


def test_wrong_arguments():
    record = trend(np.zeros(10))
    with pytest.raises(ValueError, match="limits"):
        loop_health(record, output_low=50.0, output_high=50.0)
    with pytest.raises(ValueError, match="dead_time"):
        loop_health(record, dead_time=-1.0)


def test_a_million_samples():
    error = autoregression([0.8], 1_000_000, 9)
    n = error.size
    record = trend(error + 100.0, output=error + 50.0, automatic=np.ones(n))
    start = time.process_time()
    loop_health(record, dead_time=0.3)
    assert time.process_time() - start < 4.0
