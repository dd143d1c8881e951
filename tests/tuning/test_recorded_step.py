"""A recorded step test, good and hostile."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tuning.recorded_step import MOST_SAMPLES, recorded_step
from tuning.step_test import step_test

HEADER = "time_s,tension_N,output_percent\n"


def first_order_record(*, gain, time_constant, dead_time, tension_range=300.0):
    """Closed form of a lag with a dead time, 40 % of range at rest, 5 % of output at 2 s."""
    time = np.arange(0.0, 20.0, 0.02)
    late = np.maximum(time - 2.0 - dead_time, 0.0)
    y = 40.0 + 5.0 * gain * -np.expm1(-late / time_constant)
    u = np.where(time >= 2.0 - 1e-9, 35.0, 30.0)
    rows = zip(time, 0.01 * tension_range * y, u, strict=True)
    return HEADER + "\n".join(",".join(repr(float(v)) for v in row) for row in rows)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_a_known_machine_is_found_again(encoding):
    text = first_order_record(gain=0.8, time_constant=0.5, dead_time=0.3)
    found = recorded_step(text.encode(encoding), name="step.csv", tension_range=300.0).fit.best
    assert found.kind == "first order"
    assert found.gain == pytest.approx(0.8, rel=1e-3)
    assert found.time_constant == pytest.approx(0.5, rel=2e-2)
    assert found.dead_time == pytest.approx(0.3, abs=0.02)


def test_a_saved_trend_gives_the_same_models_as_the_test_itself(film):
    test = step_test(film)
    play = film.torque_device.hysteresis
    opened = recorded_step(test.trend.to_csv().encode(), name="a", tension_range=300.0, play=play)
    assert opened.fit.best == test.fit.best


GOOD_ROWS = "".join(f"{0.1 * i:.1f},150,{40 + 5 * (i > 20)}\n" for i in range(60))


@pytest.mark.parametrize(("data", "said"), [
    (b"", "is empty"),
    (b"\xff\xfe\x00t\x00i", "UTF-8"),
    (b"PK\x03\x04\x14\x00\x06\x00\x08\x00\xb8", "UTF-8"),
    (b"time_s,tension_N\n1,2\n", "output_percent is missing"),
    (b"hello", "missing"),
    (HEADER.encode(), "two lines at least"),
    ((HEADER + "0,150,40\n").encode(), "two lines at least"),
    ((HEADER + "0,150,40\n0,150,45\n").encode(), "must increase"),
    ((HEADER + "0,150,40\n1,nan,45\n").encode(), "finite"),
    ((HEADER + "0,150,40\n1,inf,45\n").encode(), "finite"),
    ((HEADER + "0,150,40\n1,,45\n").encode(), "finite"),
    ((HEADER + "0,150,40\n1,abc,45\n").encode(), "must be a number"),
    ((HEADER + "0,150,40\n1,150\n").encode(), "2 cells"),
    ((HEADER + "0,150,40\n1,150,45\n").encode(), "samples"),
    ((HEADER + GOOD_ROWS).encode(), "measurement stays"),
    ((HEADER + GOOD_ROWS.replace(",45", ",40")).encode(), "output stays"),
    ((HEADER + GOOD_ROWS.replace("3.0,150", "3.0,1e300")).encode(), "check its unit"),
    ((HEADER + '0,"' + "1" * 200_000 + '",40\n').encode(), "field larger"),
    ((HEADER + "0;150;40\n1;150;45\n").encode(), "1 cells"),
    (b"time_s,tension_N,output_percent,automatic\n"
     + b"".join(b"%d,%d,%d,1\n" % (i, 150 + i % 3, i % 2) for i in range(40)), "automatic"),
])  # fmt: skip
def test_hostile_files_get_one_plain_message(data, said):
    with pytest.raises(ValueError, match=r"step\.csv") as caught:
        recorded_step(data, name="step.csv", tension_range=300.0)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 400


def test_a_production_record_is_refused_before_the_fit():
    rows = "".join(f"{i},150,40\n" for i in range(MOST_SAMPLES + 1))
    with pytest.raises(ValueError, match="cut out the step"):
        recorded_step((HEADER + rows).encode(), name="day.csv", tension_range=300.0)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda t: (HEADER + t).encode()))
def test_no_bytes_reach_further_than_a_plain_message(data):
    with pytest.raises(ValueError, match=r"^x"):
        recorded_step(data, name="x", tension_range=300.0)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(-1e9, 1e9), min_size=25, max_size=40), st.integers(1, 24))
def test_any_numbers_give_a_fit_or_a_plain_message(values, at):
    rows = "".join(f"{0.1 * i},{v!r},{40 + 5 * (i >= at)}\n" for i, v in enumerate(values))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            fit = recorded_step((HEADER + rows).encode(), name="x", tension_range=300.0).fit
        except ValueError as error:
            assert str(error).startswith("x: ")
        else:
            assert math.isfinite(fit.best.gain)
