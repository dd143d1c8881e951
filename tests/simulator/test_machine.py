"""Roll build-up, inertia and stiffness against worked examples and plain mechanics."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator.machine import (
    kernel_machine,
    roll_inertia,
    signal_limits,
    web_on_roll,
    web_stiffness,
)


def test_length_on_a_roll_from_a_worked_example(film):
    # 5 in roll on a 2 in core, 0.011 in thick: 1499.4 in (worked example on calculator.academy,
    # "roll length").
    inch = 0.0254
    scenario = replace(
        film,
        web=replace(film.web, thickness=0.011 * inch),
        roll=replace(film.roll, core_diameter=2 * inch, full_diameter=5 * inch),
    )
    assert web_on_roll(scenario, 5 * inch) / inch == pytest.approx(1499.4, abs=0.05)


def test_roll_inertia_is_that_of_a_hollow_cylinder(film):
    # J = m/2 (R² + Rc²), m = rho pi (R² - Rc²) w: the form of mechanics handbooks.
    R, Rc = 0.5 * film.roll.full_diameter, 0.5 * film.roll.core_diameter
    mass = film.web.density * math.pi * (R**2 - Rc**2) * film.web.width
    expected = film.roll.core_inertia + 0.5 * mass * (R**2 + Rc**2)
    assert roll_inertia(film, 2 * R) == pytest.approx(expected, rel=1e-12)


def test_roll_inertia_against_a_sum_over_rings(film):
    radius = np.linspace(0.5 * film.roll.core_diameter, 0.5 * film.roll.full_diameter, 20001)
    ring = film.web.density * film.web.width * 2 * np.pi * radius**3
    expected = film.roll.core_inertia + np.trapezoid(ring, radius)
    assert roll_inertia(film, film.roll.full_diameter) == pytest.approx(expected, rel=1e-7)


def test_draw_and_stress_from_a_published_example(film):
    # 3 lb/in on 0.003 in is 1000 psi, and 0.1 % strain at 10⁶ psi (Converting Quarterly, "Have you
    # noticed your Nu").
    inch, pound = 0.0254, 4.4482216152605
    psi = pound / inch**2
    web = replace(film.web, width=inch, thickness=0.003 * inch, modulus=1e6 * psi)
    strain = 3 * pound / web_stiffness(replace(film, web=web))
    assert strain == pytest.approx(1e-3, rel=1e-12)


def test_rewind_is_laid_out_against_the_file(scenario):
    m = kernel_machine(scenario)
    lengths = [span.length for span in scenario.span]
    assert list(m.length) == (lengths if scenario.zone == "unwind" else lengths[::-1])
    rollers = scenario.roller if scenario.zone == "unwind" else scenario.roller[::-1]
    assert rollers[m.cell - 1].load_cell


def test_reading_ends_at_the_cells_rating(film):
    # 180° wrap straight down on two 100 N cells, weightless roller: 2 T = 200 N, so 100 N at most.
    cell = replace(film.load_cell, wrap_angle=math.pi, roller_mass=0.0, rated_load=100.0, cells=2)
    assert signal_limits(replace(film, load_cell=cell))[1] == pytest.approx(100.0)
    # The roller's weight pulls the same way as the web here and uses part of the rating.
    heavy = replace(cell, roller_mass=10.0)
    assert signal_limits(replace(film, load_cell=heavy))[1] == pytest.approx(100.0 - 98.0665 / 2)


def test_reading_ends_at_the_live_signal(film):
    low, high = signal_limits(film)
    # 3.8 and 20.5 mA of 4…20 mA (NAMUR NE 43, from memory).
    assert low == pytest.approx(-0.0125 * film.controller.tension_range)
    assert high == pytest.approx(1.03125 * film.controller.tension_range)
