"""Trend files: written, read back, refused with a reason."""

import numpy as np
import pytest

from simulator import Action, read_trend, simulate


def test_round_trip_is_exact(film):
    trend = simulate(film, [Action(1.0, "automatic")], duration=3.0)
    read = read_trend(trend.to_csv())
    for name in ("time", "tension", "output", "setpoint", "line_speed", "diameter", "automatic"):
        assert np.array_equal(getattr(read, name), getattr(trend, name))


def test_unknown_columns_are_left_out_and_come_back_unknown():
    text = "time_s,tension_N,output_percent,note\n0,10,5,x\n1,11,5,y\n"
    trend = read_trend(text)
    assert np.all(np.isnan(trend.setpoint))
    assert trend.to_csv().splitlines()[0] == "time_s,tension_N,output_percent"


@pytest.mark.parametrize(
    "text, says",
    [
        ("", "is empty"),
        ("time_s,tension_N\n0,1\n", "output_percent is missing"),
        ("time_s,tension_N,output_percent\n0,1\n", "line 2: 2 cells"),
        ("time_s,tension_N,output_percent\n0,x,1\n1,1,1\n", "line 2, tension_N = 'x'"),
        ("time_s,tension_N,output_percent\n0,nan,1\n1,1,1\n", "must be a finite number"),
        ("time_s,tension_N,output_percent\n0,,1\n1,1,1\n", "must be a finite number"),
        ("time_s,tension_N,output_percent\n0,1,1\n0,1,1\n", "must increase"),
        ("time_s,tension_N,output_percent\n0,1,1\n", "must increase"),
    ],
)
def test_says_what_is_wrong(text, says):
    with pytest.raises(ValueError, match=says):
        read_trend(text, name="t.csv")


def test_a_part_of_a_trend(film):
    trend = simulate(film, [Action(1.0, "output", 50.0)], duration=3.0)
    part = trend.between(0.5, 2.0)
    assert part.time[0] == pytest.approx(0.5) and part.time[-1] == pytest.approx(2.0)
    assert part.events == trend.events and part.span_tension.shape[0] == part.time.size
