"""The manual output and what surrounds it, against plain mechanics and the simulated machine."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simulator import linearise, operating_point, simulate
from simulator.machine import kernel_machine, named_diameters
from simulator.operating_point import tension_at


def frictionless(film, **device):
    return replace(
        film,
        run=replace(film.run, far_tension=0.0),
        roll=replace(film.roll, bearing_drag=0.0, viscous_drag=0.0),
        roller=tuple(replace(r, drag=0.0) for r in film.roller),
        torque_device=replace(film.torque_device, breakaway_ratio=1.0, **device),
    )


def test_torque_over_radius_is_tension(film):
    # 100 N·m at 0.1 m is 1000 N (webhandling.com, "tension 0701").
    point = operating_point(frictionless(film), diameter=0.2, tension=1000.0)
    assert point.torque == pytest.approx(100.0, rel=1e-12)


def test_constant_torque_makes_tension_rise_as_an_unwind_shrinks(film):
    # Same page: at constant torque tension goes with 1/radius.
    m = kernel_machine(frictionless(film), runout=False)
    tensions = [
        tension_at(m, diameter=d, line_speed=2.5, output=20.0) for d in (0.8, 0.4, 0.2, 0.1)
    ]
    np.testing.assert_allclose(tensions, tensions[0] * np.array([1, 2, 4, 8]), rtol=1e-6)


def test_slip_power_is_tension_times_speed(film):
    # P = T v exactly for a web that comes slack from the roll: rim speed is v/(1 + e).
    scenario = frictionless(film)
    point = operating_point(scenario, diameter=0.5, line_speed=3.0, tension=200.0)
    strain = 200.0 / (scenario.web.modulus * scenario.web.width * scenario.web.thickness)
    assert point.slip_power == pytest.approx(200.0 * 3.0 / (1 + strain), rel=1e-12)


def test_a_gear_divides_the_torque_of_the_device(film):
    plain = operating_point(frictionless(film), diameter=0.5)
    geared = operating_point(frictionless(film, gear_ratio=4.0), diameter=0.5)
    assert geared.torque == pytest.approx(plain.torque / 4)
    assert geared.roll_torque == pytest.approx(plain.roll_torque)


def test_rollers_step_the_tension_up_by_drag_over_radius(foil):
    tensions = operating_point(foil, diameter=0.3).span_tensions
    steps = np.diff(tensions)
    expected = [r.drag / (0.5 * r.diameter) for r in foil.roller]
    np.testing.assert_allclose(steps, expected, rtol=1e-9)


def test_the_cell_reads_the_wanted_tension(scenario):
    point = operating_point(scenario, diameter=max(named_diameters(scenario).values()))
    cell = [r.load_cell for r in scenario.roller].index(True)
    assert 0.5 * (point.span_tensions[cell] + point.span_tensions[cell + 1]) == pytest.approx(
        scenario.run.tension
    )


def test_the_machine_stands_still_at_its_operating_point(scenario):
    for d in named_diameters(scenario).values():
        trend = simulate(scenario, duration=5.0, diameter=d, noise=False, runout=False)
        point = operating_point(scenario, diameter=d)
        assert point.reachable
        np.testing.assert_allclose(trend.web_tension, scenario.run.tension, rtol=1e-9)
        np.testing.assert_allclose(trend.output, point.output, rtol=1e-12)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(output=st.floats(1.0, 99.0), share=st.floats(0.0, 1.0), speed=st.floats(0.1, 5.0))
def test_output_and_tension_are_each_others_inverse(film, output, share, speed):
    d = 0.089 + share * (0.8 - 0.089)
    m = kernel_machine(film, runout=False)
    tension = tension_at(m, diameter=d, line_speed=speed, output=output)
    if tension > 1.0:
        point = operating_point(film, diameter=d, line_speed=speed, tension=tension)
        assert point.output == pytest.approx(output, abs=1e-6)


def test_one_per_cent_is_worth_the_plants_gain(film):
    flat = frictionless(film)
    point = operating_point(flat, diameter=0.4)
    gain = linearise(flat, diameter=0.4).static_gain
    per_percent = point.tension_per_percent * 100 / flat.controller.tension_range
    assert per_percent == pytest.approx(gain, rel=1e-3)


def test_says_why_a_tension_is_out_of_reach(film):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=40.0))
    point = operating_point(weak, diameter=0.8)
    assert not point.reachable and "too little torque" in point.reason
    strong = replace(film, torque_device=replace(film.torque_device, residual_torque=30.0))
    point = operating_point(strong, diameter=0.1)
    assert not point.reachable and "too much torque" in point.reason


def test_says_when_it_sits_near_an_end_of_the_output(film):
    core = operating_point(film, diameter=film.roll.core_diameter)
    assert core.reachable and "close to the bottom" in core.reason
    assert operating_point(film, diameter=0.8).reason == ""


def test_a_clutch_that_can_not_slip_is_said_so(paper_rewind):
    device = replace(paper_rewind.torque_device, overdrive=1.0001)
    point = operating_point(
        replace(paper_rewind, torque_device=device), diameter=paper_rewind.roll.core_diameter
    )
    assert not point.reachable and "can't slip" in point.reason
    near = replace(paper_rewind.torque_device, overdrive=1.01)
    point = operating_point(
        replace(paper_rewind, torque_device=near), diameter=paper_rewind.roll.core_diameter
    )
    assert point.reachable and any("hardly slips" in text for text in point.warnings)


@pytest.mark.parametrize("modulus", [2e6, 20e6, 1e8])
def test_soft_webs_have_an_operating_point(film, modulus):
    """At 100 % output this web would stretch far beyond what it is run at."""
    run = replace(film.run, tension=0.05 * modulus * 1e-5, far_tension=0.0)
    soft = replace(
        film, web=replace(film.web, modulus=modulus, width=0.5, thickness=20e-6), run=run
    )
    for d in (0.089, 0.4, 0.8):
        point = operating_point(soft, diameter=d)
        assert math.isfinite(point.output) and point.tension_high > point.tension_low


def test_warns_of_heat(film):
    hot = replace(film, torque_device=replace(film.torque_device, continuous_heat=100.0))
    assert any("overheat" in w for w in operating_point(hot, diameter=0.8).warnings)
    assert not operating_point(film, diameter=0.8).warnings


@pytest.mark.parametrize(
    "wrong",
    [
        {"diameter": 2.0},
        {"diameter": 0.01},
        {"diameter": math.nan},
        {"diameter": 0.5, "line_speed": 0.0},
        {"diameter": 0.5, "line_speed": math.inf},
        {"diameter": 0.5, "tension": -1.0},
    ],
)
def test_refuses_what_makes_no_sense(film, wrong):
    with pytest.raises(ValueError, match="must"):
        operating_point(film, **wrong)
