"""The capstan limit and where a run passes it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, simulate
from simulator.web_slip import capstan_limits, tension_ratios


def gripping(scenario, friction, **roller):
    rollers = (replace(scenario.roller[0], **roller), *scenario.roller[1:])
    return replace(scenario, web=replace(scenario.web, roller_friction=friction), roller=rollers)


@pytest.mark.parametrize(
    "friction, wrap_degrees, ratio",
    # e^(mu beta) as tables for flat belts and band brakes give it (from memory): 1.87 for 0.2 over
    # half a turn, 2.57 for 0.3 over half a turn, 1.60 for 0.3 over a quarter turn.
    [(0.2, 180.0, 1.87), (0.3, 180.0, 2.57), (0.3, 90.0, 1.60)],
)
def test_capstan_limit(film, friction, wrap_degrees, ratio):
    scenario = gripping(film, friction, wrap_angle=math.radians(wrap_degrees))
    assert capstan_limits(scenario)["roller 1"] == pytest.approx(ratio, abs=0.005)


def test_a_roller_on_load_cells_has_their_wrap(film):
    assert capstan_limits(film) == {}
    scenario = gripping(film, 0.25)
    limits = capstan_limits(scenario)
    assert limits == {"roller 1": pytest.approx(math.exp(0.25 * math.radians(120.0)))}


def test_ratio_of_the_tight_side_to_the_slack_side(film):
    scenario = gripping(film, 0.25)
    ratios = tension_ratios(scenario, np.array([[100.0, 150.0], [150.0, 100.0], [0.0, 0.1]]))
    np.testing.assert_allclose(ratios["roller 1"], [1.5, 1.5, 1.0])


def test_a_heavy_roller_slips_when_the_line_starts(film):
    """It takes J a/r² more tension on one side: 0.4 kg m², 0.06 m, 0.5 m/s²: 56 N."""
    scenario = gripping(film, 0.12, inertia=0.4)
    plan = [Action(2.0, "line speed", 2.5, over=4.0)]
    settings = {"line_speed": 0.5, "diameter": 0.2, "noise": False, "runout": False}
    trend = simulate(scenario, plan, duration=7.0, **settings)
    (at,) = [t for t, text in trend.events if text == "web slips on roller 1"]
    assert 2.0 < at < 6.0
    assert any("friction holds 1.286 to 1" in text for text in trend.warnings)
    part = (trend.time > 5.0) & (trend.time < 6.0)
    difference = np.diff(trend.span_tension[part]).mean()
    assert difference == pytest.approx(0.4 * 0.5 / 0.06**2 + 0.02 / 0.06, rel=0.05)
    grips = gripping(film, 0.4, inertia=0.4)
    calm = simulate(grips, plan, duration=7.0, **settings)
    assert not any("slips" in text for _, text in calm.events)


def test_a_pull_roll_slips_where_it_pulls_more_than_its_wrap_holds(laminate):
    # 300 N before it, 180 N behind: 1.67 to 1.
    for wrap, slips in ((60.0, True), (200.0, False)):
        scenario = replace(
            laminate,
            web=replace(laminate.web, roller_friction=0.25),
            roll=replace(laminate.roll, wrap_angle=math.radians(wrap)),
        )
        trend = simulate(scenario, duration=1.0, noise=False)
        assert any("slips on pull roll" in text for _, text in trend.events) == slips
