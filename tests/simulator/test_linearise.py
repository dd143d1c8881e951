"""The linear plant against the kernel's own right-hand side, closed forms and published numbers."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import kernel, linearise, load_scenario, web_kernel
from simulator.linearise import jacobian
from simulator.machine import (
    diameter_range,
    kernel_machine,
    named_diameters,
    roll_inertia,
    web_stiffness,
)
from simulator.operating_point import steady_state
from simulator.scenario import Roller, Span
from tests.conftest import SCENARIOS


def right_hand_side(m, state, command, speed):
    N = m.length.size
    rate, forces, web = np.zeros(3 * N + 3), np.zeros((3, N)), np.zeros((3, N))
    web_kernel.lay_web(m, np.array([[np.inf, 1.0, 1.0]]), 1, web)
    forward = np.ones(N + 1, dtype=np.int64)
    kernel.derivative(m, state, forward, command, speed, False, web, rate, forces)
    return rate


def full_state(m, steady, *, diameter, tension):
    N = m.length.size
    state = np.zeros(3 * N + 3)
    state[:N] = steady.strain
    state[N] = steady.roll_speed
    state[N + 1 : 2 * N] = steady.surface_speed[1:N] / m.roller_radius
    state[2 * N] = steady.output
    state[2 * N + 1] = tension
    state[2 * N + 2] = 0.5 * diameter
    return state


def points(scenario):
    return [
        (d, v)
        for d in named_diameters(scenario).values()
        for v in (scenario.run.line_speed, scenario.run.crawl_speed)
    ]


def test_nothing_changes_at_the_steady_state(scenario):
    m = kernel_machine(scenario, runout=False)
    T = scenario.run.tension
    for d, v in points(scenario):
        steady = steady_state(m, diameter=d, line_speed=v, tension=T)
        state = full_state(m, steady, diameter=d, tension=T)
        rate = right_hand_side(m, state, steady.output, v)
        N = m.length.size
        assert np.abs(rate[:N]).max() < 1e-12
        assert np.abs(rate[N : 2 * N + 2]).max() < 1e-7


def test_matrices_are_the_numerical_jacobian_of_the_kernel(scenario):
    m = kernel_machine(scenario, runout=False)
    T = scenario.run.tension
    n = 2 * m.length.size + 2
    for d, v in points(scenario):
        steady = steady_state(m, diameter=d, line_speed=v, tension=T)
        state = full_state(m, steady, diameter=d, tension=T)
        A, B, B_speed = jacobian(m, diameter=d, line_speed=v, tension=T)
        numeric = np.zeros((n, n))
        for i in range(n):
            h = 1e-5 * max(abs(state[i]), 1e-3)
            up, down = state.copy(), state.copy()
            up[i] += h
            down[i] -= h
            slope = right_hand_side(m, up, steady.output, v) - right_hand_side(
                m, down, steady.output, v
            )
            numeric[:, i] = slope[:n] / (2 * h)
        scale = np.abs(A).max(axis=1, keepdims=True)
        np.testing.assert_allclose(numeric / scale, A / scale, atol=1e-6)
        h = 1e-5 * v
        by_speed = right_hand_side(m, state, steady.output, v + h) - right_hand_side(
            m, state, steady.output, v - h
        )
        np.testing.assert_allclose(by_speed[:n] / (2 * h), B_speed, atol=1e-6 * scale.max())
        by_output = right_hand_side(m, state, steady.output + 1, v) - right_hand_side(
            m, state, steady.output, v
        )
        np.testing.assert_allclose(by_output[:n], B, atol=1e-9)


def test_a_span_alone_answers_with_the_time_constant_length_over_speed(film):
    # Exactly L/v2 (Shelton, American Control Conference 1986; Brandenburg 1973).
    m = kernel_machine(film, runout=False)
    A, _, _ = jacobian(m, diameter=0.5, line_speed=2.5, tension=150.0)
    steady = steady_state(m, diameter=0.5, line_speed=2.5, tension=150.0)
    for i, length in enumerate(m.length):
        assert -1 / A[i, i] == pytest.approx(length / steady.surface_speed[i + 1], rel=1e-12)


def test_draw_law(scenario):
    # (1 + e)/(1 + e1) = v2/v1 in the steady state, from the conservation of mass.
    m = kernel_machine(scenario, runout=False)
    for d, v in points(scenario):
        s = steady_state(m, diameter=d, line_speed=v, tension=scenario.run.tension)
        before = np.concatenate([[m.arriving_strain], s.strain[:-1]])
        np.testing.assert_allclose(
            (1 + s.strain) / (1 + before), s.surface_speed[1:] / s.surface_speed[:-1], rtol=1e-13
        )


def bare_roll(film, **web):
    """A roll on one spring: a roller without mass or drag, no core, no friction."""
    run = replace(film.run, line_speed=5.0, far_tension=0.0)
    return replace(
        film,
        web=replace(film.web, modulus=4.5e9, retardation_time=0.0, **web),
        run=run,
        roll=replace(
            film.roll, core_inertia=1e-6, core_diameter=0.02, bearing_drag=0.0, viscous_drag=0.0
        ),
        span=(Span(length=1.5), Span(length=1.5)),
        roller=(Roller(diameter=0.1, inertia=1e-6, load_cell=True),),
        torque_device=replace(film.torque_device, breakaway_ratio=1.0),
    )


def test_roll_on_the_web_spring_worked_by_hand(film):
    # E 4.5 GPa, 25 um x 1 m, L 3 m, 5 m/s, 1390 kg/m³, R 0.4 m, core left out: 1.65 Hz, damping
    # 0.080. From the published mass balance (Koç, Knittel, de Mathelin & Abba, IEEE Trans. Control
    # Systems Technology 10(2), 2002), linearised by hand: w² = K R²/J, 2 zeta w = v/L.
    plant = linearise(bare_roll(film), diameter=0.8)
    assert plant.natural_frequency / (2 * math.pi) == pytest.approx(1.65, abs=0.005)
    assert plant.damping_ratio == pytest.approx(0.080, abs=0.0005)


def test_swing_follows_the_closed_form_with_bearing_damping(film):
    # w² = (K R² + b v/L)/J and 2 zeta w = v/L + b/J for one span.
    scenario = bare_roll(film)
    b = 3.0
    scenario = replace(scenario, roll=replace(scenario.roll, viscous_drag=b))
    plant = linearise(scenario, diameter=0.8)
    J, K, L, v = roll_inertia(scenario, 0.8), web_stiffness(scenario) / 3.0, 3.0, 5.0
    w = math.sqrt((K * 0.4**2 + b * v / L) / J)
    assert plant.natural_frequency == pytest.approx(w, rel=2e-3)
    assert 2 * plant.damping_ratio * w == pytest.approx(v / L + b / J, rel=1e-2)


def test_the_webs_own_damping_adds_w_squared_times_its_retardation(film):
    # Kelvin–Voigt spring K (1 + tau s): 2 zeta w grows by w² tau.
    stiff, lossy = bare_roll(film), bare_roll(film)
    lossy = replace(lossy, web=replace(lossy.web, retardation_time=3e-3))
    a, b = linearise(stiff, diameter=0.8), linearise(lossy, diameter=0.8)
    extra = 2 * b.natural_frequency * b.damping_ratio - 2 * a.natural_frequency * a.damping_ratio
    assert extra == pytest.approx(a.natural_frequency**2 * 3e-3, rel=0.02)


def test_gain_goes_with_one_over_radius(film):
    bare = replace(film, torque_device=replace(film.torque_device, breakaway_ratio=1.0))
    full = linearise(bare, diameter=0.8).static_gain
    core = linearise(bare, diameter=0.1).static_gain
    # 8 : 1 for a 0.8 m roll on a 0.1 m core, nearly: viscous drag takes a little.
    assert core / full == pytest.approx(8.0, rel=5e-3)
    per_percent = bare.torque_device.full_torque - bare.torque_device.residual_torque
    expected = per_percent / 100 / 0.4 * 100 / bare.controller.tension_range
    assert full == pytest.approx(expected, rel=2e-3)


def test_damping_collapses_at_crawl(film):
    bare = bare_roll(film)
    fast = linearise(bare, diameter=0.8).damping_ratio
    slow = linearise(bare, diameter=0.8, line_speed=0.5).damping_ratio
    assert fast / slow == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize("retardation", [8e-3, 20e-3, 40e-3, 120e-3])
def test_swing_is_the_rolls_also_on_a_lossy_web(paper_rewind, retardation):
    """However lossy the web, frequency and damping stay near those of the roll on the whole web."""
    lossy = replace(paper_rewind, web=replace(paper_rewind.web, retardation_time=retardation))
    d = lossy.roll.core_diameter
    plant = linearise(lossy, diameter=d)
    J, L = roll_inertia(lossy, d), sum(span.length for span in lossy.span)
    w = math.sqrt(web_stiffness(lossy) / L * (0.5 * d) ** 2 / J)
    # The rollers swing along and make it a tenth slower here.
    assert plant.natural_frequency == pytest.approx(w, rel=0.12)
    v, b = lossy.run.line_speed, lossy.roll.viscous_drag
    twice = v / L + b / J + w**2 * retardation
    assert 2 * plant.damping_ratio * plant.natural_frequency == pytest.approx(twice, rel=0.2)


def test_falling_friction_takes_damping_away(film):
    steep = replace(
        film,
        torque_device=replace(film.torque_device, breakaway_ratio=1.3, stribeck_speed=1.0),
    )
    flat = replace(film, torque_device=replace(film.torque_device, breakaway_ratio=1.0))
    crawl = {"diameter": 0.8, "line_speed": film.run.crawl_speed}
    assert linearise(steep, **crawl).damping_ratio < linearise(flat, **crawl).damping_ratio


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_the_swing_goes_smoothly_over_roll_and_speed(path):
    """Near a double eigenvalue an overdamped pair must not pass for the roll's swing."""
    scenario = load_scenario(path)
    low, high = diameter_range(scenario)
    run = scenario.run
    for v in np.geomspace(run.crawl_speed / 4.0, 1.2 * run.line_speed, 12)[-5:]:
        diameters = np.geomspace(low, high, 120)
        swing = [linearise(scenario, diameter=D, line_speed=v).natural_frequency for D in diameters]
        # w² is close to K R²/J: no faster than R, no slower than 1/R.
        steps = np.abs(np.diff(np.log(swing)))
        assert steps.max() < 2.0 * max(float(np.diff(np.log(diameters)).max()), 1e-9)
