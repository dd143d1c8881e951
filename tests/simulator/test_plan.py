"""What is done in a run: actions, and how the line's own ramps are worked out."""

import numpy as np
import pytest

from simulator import Action, SimulationError, simulate
from simulator.plan import splice


def test_an_action_says_what_is_wrong_with_it():
    with pytest.raises(SimulationError, match="must be one of output, setpoint"):
        Action(0.0, "halt")
    with pytest.raises(SimulationError, match="0 s or more"):
        Action(0.0, "line speed", 1.0, over=-1.0)
    with pytest.raises(SimulationError, match="times the scenario's"):
        Action(0.0, "web modulus", 0.0)


@pytest.mark.parametrize(
    "what, from_speed, to_speed, takes",
    [
        ("start", 0.0, 2.5, 20.0),
        ("start", 1.25, 2.5, 10.0),
        ("stop", 2.5, 0.0, 20.0),
        ("fast stop", 2.5, 0.0, 4.0),
        ("fast stop", 0.25, 0.0, 0.4),
    ],
)
def test_the_line_keeps_its_rate_from_whatever_speed_it_starts(
    film, what, from_speed, to_speed, takes
):
    # acceleration_time 20 s and stop_time 4 s hold from standstill to 2.5 m/s and back.
    trend = simulate(film, [Action(1.0, what)], duration=1.5 + takes, line_speed=from_speed)
    done = np.flatnonzero(np.isclose(trend.line_speed, to_speed, atol=1e-12))
    assert trend.time[done[0]] == pytest.approx(1.0 + takes, abs=0.021)
    half = np.interp(1.0 + 0.5 * takes, trend.time, trend.line_speed)
    assert half == pytest.approx(0.5 * (from_speed + to_speed), rel=1e-3)


def test_a_stop_that_breaks_into_a_start_goes_on_from_where_it_is(film):
    plan = [Action(0.0, "start"), Action(10.0, "fast stop")]
    trend = simulate(film, plan, duration=13.0, line_speed=0.0)
    assert trend.line_speed.max() == pytest.approx(1.25, abs=0.01)
    assert trend.line_speed[np.searchsorted(trend.time, 12.05)] == 0.0


def test_usual_stops_have_their_own_time_where_it_is_given(film):
    from dataclasses import replace

    slow = replace(film, run=replace(film.run, deceleration_time=40.0))
    trend = simulate(slow, [Action(0.0, "stop")], duration=20.0)
    assert trend.line_speed[-1] == pytest.approx(1.25, abs=0.01)


def test_every_action_leaves_a_mark(film):
    plan = [Action(1.0, "fast stop"), Action(0.5, "dropout", over=0.2), *splice(0.2, length=0.3,
            line_speed=2.5)]  # fmt: skip
    marks = [text for _, text in simulate(film, plan, duration=1.5).events]
    assert marks[:4] == [
        "web 2 times as thick",
        "web as before",
        "signal lost",
        "fast stop",
    ]


def test_a_zone_holds_only_so_many_kinds_of_web(film):
    plan = [Action(0.1 * i, "web modulus", 1.0 + 0.01 * i) for i in range(20)]
    with pytest.raises(SimulationError, match="changes the web 20 times: at most 15"):
        simulate(film, plan, duration=3.0)
