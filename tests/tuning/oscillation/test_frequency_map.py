"""A machine's own frequencies: turns in closed form, swings against poles and margins."""

import math

import numpy as np
import pytest

from simulator import linearise
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.margins import loop_margins
from tuning.oscillation.frequency_map import frequency_map

COUNT = 7


def middle(scenario):
    return math.sqrt(math.prod(diameter_range(scenario)))


def mapped(scenario, **more):
    return frequency_map(
        scenario, diameter=middle(scenario), line_speed=scenario.run.line_speed, count=COUNT, **more
    )


def test_what_turns_turns_with_the_web(scenario):
    # f = v/(pi d), exact
    found = mapped(scenario)
    for sweep in (found.over_diameter, found.over_speed):
        if sweep is None:
            continue
        v = sweep.line_speed
        np.testing.assert_allclose(sweep.line("roll").frequency, v / (math.pi * sweep.diameter))
        twice = 2.0 * v / (math.pi * sweep.diameter)
        np.testing.assert_allclose(sweep.line("2× roll").frequency, twice)
        for number, roller in enumerate(scenario.roller, start=1):
            turn = v / (math.pi * roller.diameter)
            np.testing.assert_allclose(sweep.line(f"roller {number}").frequency, turn)
        if scenario.nip is not None:
            turn = v / (math.pi * scenario.nip.diameter)
            np.testing.assert_allclose(sweep.line("nip").frequency, turn)


def test_sweeps_reach_from_core_to_full_roll_and_from_below_crawl_to_above_running(scenario):
    found = mapped(scenario)
    core, full = diameter_range(scenario)
    if core == full:
        assert found.over_diameter is None
    else:
        assert found.over_diameter.diameter[[0, -1]].tolist() == [core, full]
        assert np.all(found.over_diameter.line_speed == scenario.run.line_speed)
    v = found.over_speed.line_speed
    assert v[0] == pytest.approx(0.25 * scenario.run.crawl_speed)
    assert v[-1] == pytest.approx(1.2 * scenario.run.line_speed)
    assert np.all(np.diff(v) > 0.0)


def test_the_swing_is_a_pair_of_poles_of_the_linear_plant(scenario):
    # of the plant's own eigenvalues, worked out here
    sweep = mapped(scenario).over_speed
    swing = sweep.line("swing")
    for D, v, f, damping in zip(
        sweep.diameter, sweep.line_speed, swing.frequency, swing.damping, strict=True
    ):
        poles = np.linalg.eigvals(linearise(scenario, diameter=D, line_speed=v).A)
        pair = poles[np.argmin(np.abs(np.abs(poles) - 2.0 * math.pi * f) + 1e9 * (poles.imag <= 0))]
        assert abs(pair) == pytest.approx(2.0 * math.pi * f, rel=1e-6)
        assert -pair.real / abs(pair) == pytest.approx(damping, rel=1e-6)


def test_a_loop_that_does_nothing_swings_as_the_roll_does(foil):
    # as the gain goes to 0 the loop's modes go to the plant's
    sweep = mapped(foil, gains=Gains.integral_only(1e-7)).over_diameter
    loop, swing = sweep.line("loop"), sweep.line("swing")
    np.testing.assert_allclose(loop.frequency, swing.frequency, rtol=1e-4)
    np.testing.assert_allclose(loop.damping, swing.damping, rtol=1e-3)


def test_at_its_gain_margin_a_loop_has_no_damping(film):
    # the margin comes from the frequency response, the damping from eigenvalues
    D, v, scan = middle(film), film.run.line_speed, film.controller.scan_time
    calm = Gains(0.02, 0.3)
    margin = loop_margins(
        linearise(film, diameter=D, line_speed=v), calm, scan_time=scan
    ).gain_margin
    gains = Gains(margin * calm.Kc, calm.Ti)
    found = frequency_map(film, diameter=D, line_speed=v, gains=gains, count=2)
    assert np.all(np.isfinite(found.over_diameter.line("loop").damping))
    at_work = frequency_map(film, diameter=D, line_speed=v, gains=gains, count=COUNT).over_speed
    # running speed lies between the last two places of the sweep
    damping = np.interp(v, at_work.line_speed, at_work.line("loop").damping)
    assert abs(damping) < 2e-3


def test_without_gains_there_is_no_loop(foil):
    assert foil.controller.Kc is None
    with pytest.raises(KeyError, match="known: roll"):
        mapped(foil).over_speed.line("loop")


def test_gains_of_the_scenario_are_at_work(film):
    sweep = mapped(film).over_speed
    gains = Gains.from_controller(film.controller)
    given = mapped(film, gains=gains).over_speed
    np.testing.assert_allclose(sweep.line("loop").frequency, given.line("loop").frequency)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"count": 1}, "count 1: must be 2"),
        ({"line_speed": 0.0}, "line_speed 0.0 m/s: must be"),
        ({"diameter": 5.0}, r"diameter 5.0 m: must be from 0.089 to 0.8 m"),
    ],
)
def test_what_is_refused(film, change, says):
    with pytest.raises(ValueError, match=says):
        frequency_map(film, **({"diameter": 0.5, "line_speed": 2.5} | change))
