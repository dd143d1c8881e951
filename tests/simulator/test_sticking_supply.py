"""A sticking supply.

The supply stays where it is until the output has moved on by d, then follows in one go: the
one-parameter model of Stenman, Gustafsson & Forsman (Int. J. Adaptive Control and Signal
Processing 17, 2003; from memory). Shapes and the quarter-period shift: Horch (Control Engineering
Practice 7, 1999; from memory).
"""

import math

import numpy as np
import pytest

from simulator import Action, linearise
from tests.simulator.cycles import (
    SINE,
    SQUARE,
    TRIANGLE,
    braked,
    correlation,
    form,
    rises,
    run,
    stability_limit,
    whole_cycles,
    with_gains,
)
from tuning.gains import Gains

STICKS = 2.0  # [%]


def residence_time(plant):
    """-G'(0)/G(0): area between a step and its response over its height [s], dead time included."""
    once = np.linalg.solve(plant.A, plant.B)
    return float(-(plant.C @ np.linalg.solve(plant.A, once)) / (plant.C @ once)) + plant.dead_time


def sticking_cycle(scenario, *, diameter, line_speed, loop_gain, slowness, cycles=4):
    """Run PI on a sticking supply; return (trend of whole cycles, period [s], Ti [s], plant).

    `loop_gain` is Kc K; Ti is so long that integral action alone takes `slowness` mean residence
    times, 1/(Ki K). The setpoint starts half a jump away, so that the cycle is even from its start.
    """
    plant = linearise(scenario, diameter=diameter, line_speed=line_speed)
    K, Ti = plant.static_gain, slowness * loop_gain * residence_time(plant)
    half_jump = 0.5 * K * STICKS * 0.01 * scenario.controller.tension_range
    plan = [
        Action(0.0, "automatic"),
        Action(0.0, "setpoint", scenario.run.tension + half_jump),
    ]
    about = 4 * slowness * residence_time(plant)
    trend = run(
        with_gains(scenario, loop_gain / K, Ti),
        plan,
        duration=(cycles + 4) * about,
        diameter=diameter,
        line_speed=line_speed,
    )
    assert not trend.web_lost
    trend = trend.between(3 * about, math.inf)
    return *whole_cycles(trend, trend.tension), Ti, plant


STICKING = [
    ("film", 0.4, 2.5),
    ("film", 0.3, 0.25),
    ("nonwoven", 0.7, 2.0),
    ("nonwoven", 0.3, 0.25),
]


@pytest.mark.parametrize(("name", "diameter", "line_speed"), STICKING)
def test_a_sticking_supply_makes_a_square_measurement_and_a_triangular_output(
    request, name, diameter, line_speed
):
    scenario = braked(request.getfixturevalue(name), sticking=STICKS)
    trend, period, _, _ = sticking_cycle(
        scenario, diameter=diameter, line_speed=line_speed, loop_gain=0.02, slowness=40
    )
    y, u = trend.tension, trend.output
    # The roll rings on its web after each jump, a little above and below the square.
    assert form(y) == pytest.approx(SQUARE, abs=0.06)
    assert form(u) == pytest.approx(TRIANGLE, abs=0.03)
    # The output goes as far as the supply sticks; the measurement as far as that moves it.
    assert np.ptp(u) == pytest.approx(STICKS, rel=0.05)
    quarter = round(period / 4 / scenario.controller.scan_time)
    assert abs(correlation(y, u, 0)) < 0.06
    # <|triangle|> over the rms of a triangle: (1/2)/(1/sqrt 3), the most there can be.
    assert correlation(y, u, quarter) == pytest.approx(-0.5 / TRIANGLE, abs=0.05)
    assert correlation(y, u, -quarter) == pytest.approx(0.5 / TRIANGLE, abs=0.05)


@pytest.mark.parametrize(("name", "diameter", "line_speed"), STICKING)
@pytest.mark.parametrize("loop_gain", [1e-3, 0.1, 0.3])
def test_the_period_of_a_sticking_cycle_is_that_of_the_closed_form(
    request, name, diameter, line_speed, loop_gain
):
    """P = 4 Ti (1 - Kc K)/(Kc K) + 4 Tr + 2 h.

    The measurement stands half a jump, K d/2, on either side of the setpoint. At each jump the
    proportional part gives back Kc K d, and the integral, at the slope Kc/Ti K d/2, has to go on
    until the output has moved by d: (1 - Kc K) d in half a period. While the plant answers with its
    mean residence time Tr, the integral still goes the old way, by Kc/Ti K d Tr; making up for it
    takes 2 Tr. Every move waits for a scan on top, which is h in half a period. Slow against the
    plant, integral only: P = 4 Ti/(Kc K). Derived here.
    """
    scenario = braked(request.getfixturevalue(name), sticking=STICKS)
    _, period, Ti, plant = sticking_cycle(
        scenario, diameter=diameter, line_speed=line_speed, loop_gain=loop_gain, slowness=30
    )
    slow = 4 * Ti * (1 - loop_gain) / loop_gain
    exact = slow + 4 * residence_time(plant) + 2 * scenario.controller.scan_time
    assert period == pytest.approx(exact, rel=1e-3)
    assert period == pytest.approx(slow, rel=0.06)


def test_slow_integral_action_alone_cycles_in_four_integral_times(nonwoven):
    scenario = braked(nonwoven, sticking=STICKS)
    _, period, Ti, _ = sticking_cycle(
        scenario, diameter=0.7, line_speed=2.0, loop_gain=1e-3, slowness=100
    )
    assert period == pytest.approx(4 * Ti / 1e-3, rel=0.015)


def test_an_uneven_sticking_cycle_is_slower(nonwoven):
    """With the shares p and 1 - p of the jump above and below the setpoint the two halves take
    d Ti/(Kc K d p) and the same with 1 - p: together Ti/(Kc K p (1 - p)), least at p = 1/2.
    """
    scenario = braked(nonwoven, sticking=STICKS)
    plant = linearise(scenario, diameter=0.7)
    loop_gain, share = 1e-3, 0.2
    Ti = 100 * loop_gain * residence_time(plant)
    sticky = with_gains(scenario, loop_gain / plant.static_gain, Ti)
    jump = plant.static_gain * STICKS * 0.01 * scenario.controller.tension_range
    plan = [Action(0.0, "automatic"), Action(0.0, "setpoint", scenario.run.tension + share * jump)]
    expected = Ti / (loop_gain * share * (1 - share))
    trend = run(sticky, plan, duration=2.6 * expected, diameter=0.7)
    up = rises(trend.time, trend.tension - trend.setpoint)
    # It drifts towards the even cycle, scan by scan: only the first ones are as uneven as made.
    assert up[1] - up[0] == pytest.approx(expected, rel=0.05)


def test_without_integral_action_a_sticking_supply_does_not_cycle(film):
    scenario = braked(film, sticking=STICKS)
    D, v = 0.4, film.run.line_speed
    plant = linearise(scenario, diameter=D, line_speed=v)
    Kc = 0.3 / plant.static_gain
    plan = [Action(0.0, "automatic"), Action(1.0, "setpoint", 1.2 * film.run.tension)]

    def swing(Ti, extra=()):
        sticky = with_gains(scenario, Kc, Ti)
        trend = run(sticky, [*plan, *extra], duration=200.0, diameter=D)
        return np.ptp(trend.between(160.0, 200.0).tension)

    jump = plant.static_gain * STICKS * 0.01 * film.controller.tension_range
    assert swing(1.0) > 0.9 * jump
    assert swing(None) < 1e-3 * jump
    assert swing(1.0, [Action(100.0, "manual")]) < 1e-3 * jump


def test_proportional_action_blurs_the_quarter_period_shift(film):
    """Exact: the output then is a triangle and a share Kc K of the square. With x = Kc K the
    triangle of height d (1 - x) and the square of height x d, both against the square:

        correlation at 0 = -x/sqrt(x² + (1 - x)²/3)
    """
    scenario, previous = braked(film, sticking=STICKS), 0.0
    for x in (0.02, 0.1, 0.3):
        trend, _, _, _ = sticking_cycle(
            scenario, diameter=0.4, line_speed=2.5, loop_gain=x, slowness=200
        )
        found = correlation(trend.tension, trend.output, 0)
        assert found == pytest.approx(-x / math.hypot(x, (1 - x) * TRIANGLE), abs=0.02)
        assert found < previous
        previous = found


def test_integral_action_alone_shifts_by_a_quarter_whatever_the_cause(nonwoven):
    """Horch's test can't tell here: the output is the integral of the error, sticking or not.

    A loop at its stability limit with nothing that sticks has the quarter-period shift, too; only
    the shape, a sine, tells it from a sticking supply. (Exact: the integral of a sine.)
    """
    D, v, h = 0.3, nonwoven.run.crawl_speed, nonwoven.controller.scan_time
    scenario = braked(nonwoven)
    limit = stability_limit(linearise(scenario, diameter=D, line_speed=v), h)
    gains = Gains.integral_only(limit)
    plan = [Action(0.0, "automatic"), Action(0.5, "setpoint", 1.02 * scenario.run.tension)]
    tight = with_gains(scenario, gains.Kc, gains.Ti)
    trend = run(tight, plan, duration=60.0, diameter=D, line_speed=v).between(40.0, 60.0)
    trend, period = whole_cycles(trend, trend.tension)
    quarter = round(period / 4 / h)
    assert form(trend.tension) == pytest.approx(SINE, abs=0.01)
    assert form(trend.output) == pytest.approx(SINE, abs=0.01)
    assert abs(correlation(trend.tension, trend.output, 0)) < 0.1
    assert abs(correlation(trend.tension, trend.output, quarter)) > 0.99
