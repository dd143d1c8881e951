"""Times as text: against Python's own datetime, and hand-made cases."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.trend_stamps import read_stamps, stamp_kind

START = datetime(2024, 2, 28, 23, 59, 50)
MOMENTS = [START + timedelta(seconds=86_400.25 * k + 3661.5 * k) for k in range(4)]
PAST_MIDNIGHT = START - datetime(2024, 2, 28)


def read(cells):
    return read_stamps(pd.Series(list(cells), dtype="str"), "time")


@pytest.mark.parametrize(
    "form",
    [
        "%Y-%m-%d %H:%M:%S.%f", "%Y-%m-%dT%H:%M:%S.%fZ", "%Y/%m/%d %H:%M:%S.%f",
        "%Y-%m-%dT%H:%M:%S,%f", "%d.%m.%Y %H:%M:%S,%f", "%d/%m/%Y %H:%M:%S.%f",
        "%m/%d/%Y %I:%M:%S.%f %p", "%m-%d-%Y %H:%M:%S.%f", "%d %b %Y %H:%M:%S.%f",
        "%d-%b-%y %H:%M:%S.%f", "%B %d, %Y %H:%M:%S.%f", "%Y%m%dT%H:%M:%S.%f",
        "%a %d.%m.%Y %H:%M:%S.%f", "%y-%m-%d %H:%M:%S.%f", "%d.%m.%y %H:%M:%S.%f",
        "%Y-%m-%d_%H:%M:%S:%f",
    ],
)  # fmt: skip
def test_dates_and_times(form):
    cells = [moment.strftime(form) for moment in MOMENTS]
    assert stamp_kind(pd.Series(cells)) == "date and time"
    expected = [(m - START + PAST_MIDNIGHT).total_seconds() for m in MOMENTS]
    np.testing.assert_allclose(read(cells).seconds, expected, rtol=0, atol=1e-6)


def test_offsets_from_utc_take_a_change_of_the_clock_out():
    cells = ["2024-10-27T02:59:59.5+02:00", "2024-10-27T02:00:00.5+01:00"]
    moments = [datetime.fromisoformat(cell) for cell in cells]
    assert moments[1].astimezone(UTC) - moments[0] == timedelta(seconds=1)
    assert np.diff(read(cells).seconds).tolist() == [1.0]


def test_clock_times():
    stamps = read(["23:59:59.750", "0:00:00.25", "12:05:00 am", "01:02:03 PM", "1:02"])
    assert stamps.seconds.tolist() == [86399.75, 0.25, 300.0, 46923.0, 3720.0]
    assert stamps.kind == "clock time" and stamps.period == 86_400.0


def test_minutes_that_lost_their_hour():
    stamps = read(["59:59.5", "00:00.5"])
    assert stamps.seconds.tolist() == [3599.5, 0.5] and stamps.period == 3600.0


def test_a_time_that_is_counted_on():
    stamps = read(["23:59:59", "24:00:01", "124:00:00"])
    assert stamps.seconds.tolist() == [86399.0, 86401.0, 446400.0] and stamps.period == 0.0
    assert read(["0 days 00:00:01.5", "1 days 00:00:00"]).seconds.tolist() == [1.5, 86400.0]


def test_no_such_day_or_time_is_no_time():
    cells = ["2024-02-29 12:00:00", "2023-02-29 12:00:00", "2024-02-29 12:61:00", "Bad", None]
    assert np.isfinite(read(cells).seconds).tolist() == [True, False, False, False, False]


@pytest.mark.parametrize(
    "cells, steps, says",
    [
        # 13 can be no month.
        (["12/05/2024 00:00:00", "13/05/2024 00:00:00"], [1], ""),
        (["05/12/2024 00:00:00", "05/13/2024 00:00:00"], [1], ""),
        # Over midnight only one order goes on by a day.
        (["04/05/2024 23:00:00", "05/05/2024 23:00:00"], [1], "day first"),
        (["05/04/2024 23:00:00", "05/05/2024 23:00:00"], [1], "month first"),
        # On one day the order makes no difference.
        (["04/05/2024 06:00:00", "04/05/2024 18:00:00"], [0.5], ""),
        # 1 May to 2 June or 5 January to 6 February: both 32 days.
        (["01.05.2024 00:00:00", "02.06.2024 00:00:00"], [32], "can't be told: day first"),
    ],
)
def test_which_of_day_and_month_stands_first(cells, steps, says):
    stamps = read(cells)
    assert (np.diff(stamps.seconds) / 86_400.0).tolist() == steps
    assert says in " ".join(stamps.notes) and bool(stamps.notes) == bool(says)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)), min_size=1, max_size=20
    ),
    st.sampled_from([" ", "T"]),
)  # fmt: skip
def test_iso_times_as_python_reads_them(moments, sep):
    # Python leaves the fraction out where it is zero.
    seconds = read(moment.isoformat(sep) for moment in moments).seconds
    first = min(moments).replace(hour=0, minute=0, second=0, microsecond=0)
    expected = [(moment - first).total_seconds() for moment in moments]
    np.testing.assert_allclose(seconds, expected, rtol=0, atol=2e-6)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text("0123456789:./-T APMé\u202f", max_size=50), max_size=20))
def test_any_text_is_read_or_missing(cells):
    series = pd.Series(cells, dtype="str")
    assert stamp_kind(series) in ("", "clock time", "date", "date and time")
    assert read_stamps(series, "x").seconds.shape == (len(cells),)
