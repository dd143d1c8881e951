"""Times of rows: put in order, judged, made even or refused; hand-made records."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.trend_time import held, interpolated, sample, seconds_text, unrolled


def judge(times, known=None):
    times = np.asarray(times, dtype=float)
    return sample(times, np.ones(times.size, dtype=bool) if known is None else known)


def notes(sampling):
    return "; ".join(sampling.notes)


def test_even_times_stay_as_they_are():
    sampling = judge(5.0 + np.arange(100) * 0.1)
    assert sampling.interval == 0.1 and not sampling.resampled and sampling.missing == 0.0
    assert np.array_equal(sampling.grid, np.arange(100) * 0.1)
    assert sampling.notes == ("sampled every 0.1 s, no sample missing",)


def test_jitter_is_measured_and_resampled():
    noise = np.random.default_rng(3).normal(0.0, 0.004, 2000)
    true = np.arange(2000) * 0.1
    sampling = judge(true + noise)
    assert sampling.interval == 0.1 and sampling.resampled
    # A step is the difference of two stamps: sqrt(2) times their scatter.
    assert sampling.scatter == pytest.approx(0.004 * np.sqrt(2.0), rel=0.05)
    ramp = interpolated(sampling, 3.0 * (true + noise))
    np.testing.assert_allclose(np.diff(ramp), 0.3, atol=1e-9)
    assert "stamps scattered by 5." in notes(sampling)


def test_a_clock_of_whole_seconds():
    true = 0.35 + np.arange(200) * 0.1
    sampling = judge(np.floor(true + 1e-9))
    assert sampling.interval == 0.1 and sampling.grid.size == 200
    assert "share a time stamp" in notes(sampling) and "1 s apart" in notes(sampling)


def test_a_clock_that_ticks_every_16_ms():
    true = np.arange(3000) * 0.01
    sampling = judge(np.floor(true / 0.015625 + 1e-9) * 0.015625)
    assert sampling.interval == 0.01 and sampling.grid.size == 3000


def test_seconds_with_a_row_lost_now_and_then_are_filled_evenly():
    true = np.arange(400) * 0.1
    kept = np.delete(true, np.arange(37, 400, 60))
    sampling = judge(np.floor(kept + 1e-9))
    assert sampling.interval == pytest.approx(0.1, rel=0.02)
    assert sampling.grid[-1] == pytest.approx(true[-1], abs=0.2)
    assert "evenly" in notes(sampling)


def test_stamps_rounded_to_milliseconds():
    sampling = judge(np.round(np.arange(500) / 30.0, 3))
    assert sampling.interval == pytest.approx(1.0 / 30.0, rel=1e-12) and not sampling.resampled
    assert "rounded to 1 ms" in notes(sampling)


def test_unsteady_numbers_of_rows_a_second_are_refused():
    counts = np.random.default_rng(5).integers(1, 12, 60)
    with pytest.raises(ValueError, match=r"from 1 to 11 rows a stamp: .*fractions of a second"):
        judge(np.repeat(np.arange(60.0), counts))


def test_a_clock_that_stands_still_is_refused():
    with pytest.raises(ValueError, match="stands still"):
        judge(np.repeat([0.0, 1.0], 20))


def test_doubled_rows_are_left_out():
    times = np.insert(np.arange(300) * 0.1, 40, 4.0)
    sampling = judge(times)
    assert sampling.grid.size == 300
    assert "1 row with the same time as the row before left out" in sampling.notes


def test_newest_first_is_turned_round():
    sampling = judge(np.arange(50)[::-1] * 0.1)
    assert sampling.rows.tolist() == list(range(49, -1, -1)) and sampling.interval == 0.1


def test_swapped_rows_are_sorted():
    times = np.arange(50) * 0.1
    times[[10, 11]] = times[[11, 10]]
    sampling = judge(times)
    assert sampling.rows[10:12].tolist() == [11, 10] and "rows sorted" in notes(sampling)


def test_two_recordings_are_not_mixed():
    sampling = judge(np.concatenate([np.arange(40), np.arange(60)]) * 0.1)
    assert sampling.rows.tolist() == list(range(40, 100))
    assert "the longest recording is used, 60 % of the rows" in notes(sampling)


def test_short_holes_are_filled_and_long_ones_cut():
    times = np.arange(200) * 0.1
    keep = np.ones(200, dtype=bool)
    keep[[20, 21, 22]] = False  # three missing: filled
    keep[100:104] = False  # four missing: a gap
    sampling = judge(times[keep])
    assert sampling.grid.size == 100 and sampling.missing == pytest.approx(0.03)
    assert np.interp(2.1, sampling.grid, interpolated(sampling, times[keep])) == pytest.approx(2.1)
    assert "1 gap, the longest of 0.5 s" in notes(sampling)
    assert "3 missing samples filled by straight lines" in notes(sampling)
    assert "3 % of the samples missing" in notes(sampling)
    # The same holes in the tension instead of in the times.
    same = judge(times, keep)
    assert same.grid.size == 100 and "7 rows without tension left out" in same.notes


def test_tension_in_every_tenth_row_only():
    known = np.arange(1000) % 10 == 0
    sampling = judge(np.arange(1000) * 0.01, known)
    assert sampling.interval == 0.1 and sampling.grid.size == 100


@pytest.mark.parametrize("seed", range(5))
def test_a_logger_that_writes_on_change_is_refused(seed):
    steps = np.random.default_rng(seed).exponential(0.5, 400)
    for times in (np.cumsum(steps), np.cumsum(np.ceil(steps / 0.1) * 0.1)):
        with pytest.raises(ValueError, match="log at a fixed interval"):
            judge(times)


def test_every_other_row_missing_at_random_is_refused():
    keep = np.random.default_rng(1).random(600) < 0.5
    with pytest.raises(ValueError, match="log at a fixed interval"):
        judge(np.arange(600)[keep] * 0.1)


def test_too_few_rows_are_refused():
    with pytest.raises(ValueError, match="has 3 rows with a time; at least 8"):
        judge([0.0, 0.1, 0.2])


def test_clocks_go_on_past_midnight_in_both_directions():
    seconds = np.array([86399.0, np.nan, 0.0, 1.0])
    said = []
    assert unrolled(seconds, 86400.0, said)[[0, 2, 3]].tolist() == [86399.0, 86400.0, 86401.0]
    assert said == ["the clock passes midnight 1 time: counted on"]
    back = unrolled(np.array([2.0, 1.0, 0.0, 86399.0, 86398.0]), 86400.0, [])
    assert np.diff(back).tolist() == [-1.0] * 4


def test_values_are_held_or_joined():
    sampling = judge(np.arange(10) * 1.0)
    values = np.array([np.nan, 1.0, np.nan, np.nan, 4.0, np.nan, np.nan, np.nan, np.nan, 9.0])
    assert held(sampling, values).tolist() == [1, 1, 1, 1, 4, 4, 4, 4, 4, 9]
    assert interpolated(sampling, values).tolist() == [1, 1, 2, 3, 4, 5, 6, 7, 8, 9]
    short = interpolated(sampling, values, 4.5)
    assert np.isnan(short).tolist() == [True, *[False] * 4, *[True] * 4, False]
    assert np.isnan(held(sampling, np.full(10, np.nan))).all()


@pytest.mark.parametrize(
    "value, text", [(0.004, "4 ms"), (2.5e-5, "25 us"), (0.25, "0.25 s"), (0.0, "0 s")]
)
def test_times_in_words(value, text):
    assert seconds_text(value) == text


@settings(max_examples=150, deadline=None)
@given(
    interval=st.sampled_from([0.001, 0.01, 0.02, 0.05, 0.1, 0.25, 1.0, 1 / 60, 1 / 24]),
    count=st.integers(20, 400),
    start=st.sampled_from([0.0, 12.34, 86_000.0, 1.7e9]),
    jitter=st.floats(0.0, 0.1),
    lost=st.floats(0.0, 0.1),
    seed=st.integers(0, 1000),
)
def test_a_record_spoilt_a_little_comes_back(interval, count, start, jitter, lost, seed):
    random = np.random.default_rng(seed)
    true = np.arange(count) * interval
    keep = random.random(count) >= lost
    keep[[0, -1]] = True
    stamps = start + true + jitter * interval * random.uniform(-1.0, 1.0, count)
    stamps = stamps[keep]
    runs = np.diff(np.flatnonzero(keep))
    sampling = judge(stamps[random.permutation(stamps.size)] if seed % 3 == 0 else stamps)
    if runs.max() <= 3:
        assert sampling.interval == pytest.approx(interval, rel=0.02)
        assert sampling.grid[-1] == pytest.approx(true[-1], abs=1.6 * interval)
    assert sampling.grid[0] == 0.0
    np.testing.assert_allclose(np.diff(sampling.grid), sampling.interval, rtol=1e-9)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.floats(-1e18, 1e18) | st.integers(0, 30) | st.just(float("nan")), max_size=40))
def test_any_times_are_used_or_refused(times):
    try:
        sampling = judge(times)
    except ValueError as error:
        assert "\n" not in str(error)
    else:
        assert sampling.grid.size >= 8 and np.isfinite(sampling.grid).all()
