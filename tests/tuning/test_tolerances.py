"""Machines within stated tolerances: spread as stated, written in the right place, never absurd."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from simulator import load_scenario
from simulator.machine import reading_of, torque_per_percent, web_stiffness
from tuning import tolerances
from tuning.tolerances import (
    DEFAULT_TOLERANCES,
    MOST_PERCENT,
    UNCERTAIN,
    Tolerance,
    drawn_machine,
    machine_with,
    tolerances_from,
    varied,
)


def off(scenario, name, deviation):
    """The machine with one number off by a share."""
    return machine_with(scenario, (Tolerance(name, 1.0),), np.array([deviation]))


@pytest.mark.parametrize("level", [1e-6, 0.02275, 0.3, 0.5, 0.9, 0.97725, 1 - 1e-6])
def test_normal_is_two_sigmas_and_ends_at_three(level):
    """Against scipy's truncated normal distribution, sigma 10 % where ± is 20 %."""
    expected = stats.truncnorm(-3.0, 3.0, scale=0.1).ppf(level)
    assert Tolerance("modulus", 20.0).deviation(level) == pytest.approx(expected, abs=1e-9)
    assert abs(Tolerance("modulus", 20.0).deviation(level)) <= 0.3


@pytest.mark.parametrize("level", [1e-9, 0.25, 0.5, 1.0 - 1e-9])
def test_uniform_ends_at_the_tolerance(level):
    expected = stats.uniform(-0.5, 1.0).ppf(level)
    assert Tolerance("roll_drag", 50.0, "uniform").deviation(level) == pytest.approx(expected)


def test_draws_follow_their_distributions_and_not_each_other(film):
    """Kolmogorov–Smirnov against scipy's distributions; the sample is fixed by its seed."""
    chosen = (Tolerance("modulus", 20.0), Tolerance("roll_drag", 50.0, "uniform"))
    rows = [drawn_machine(film, chosen, seed=5, index=i)[1] for i in range(1500)]
    modulus, drag = np.array(rows).T
    assert stats.kstest(modulus, stats.truncnorm(-3.0, 3.0, scale=0.1).cdf).pvalue > 0.01
    assert stats.kstest(drag, stats.uniform(-0.5, 1.0).cdf).pvalue > 0.01
    assert abs(stats.pearsonr(modulus, drag).statistic) < 3.0 / math.sqrt(1500)
    # One machine and the next have nothing to do with each other either.
    assert abs(stats.pearsonr(modulus[1:], modulus[:-1]).statistic) < 3.0 / math.sqrt(1500)


def test_a_machine_is_fixed_by_seed_and_index(film):
    chosen = varied(film, DEFAULT_TOLERANCES)
    one, deviations, _ = drawn_machine(film, chosen, seed=3, index=17)
    again, same, _ = drawn_machine(film, chosen, seed=3, index=17)
    assert one == again
    assert deviations.tobytes() == same.tobytes()
    others = [drawn_machine(film, chosen, seed=s, index=i)[0] for s, i in ((3, 18), (4, 17))]
    assert one not in others


def test_no_deviation_is_the_machine_itself(scenario):
    chosen = tuple(t for t in varied(scenario, DEFAULT_TOLERANCES) if t.name != "sensor_gain")
    assert machine_with(scenario, chosen, np.zeros(len(chosen))) == scenario


def test_web_stiffness_goes_with_modulus_and_thickness(scenario):
    for name in ("modulus", "thickness"):
        changed = off(scenario, name, 0.25)
        assert web_stiffness(changed) == pytest.approx(1.25 * web_stiffness(scenario))


def test_all_spans_and_rollers_are_off_together(foil):
    longer = off(foil, "span_length", 0.1)
    assert [s.length for s in longer.span] == pytest.approx([1.1 * s.length for s in foil.span])
    stiffer = off(foil, "roller_drag", -0.4)
    assert [r.drag for r in stiffer.roller] == pytest.approx([0.6 * r.drag for r in foil.roller])
    assert stiffer.span == foil.span and stiffer.web == foil.web


def test_friction_of_the_roll_is_dry_and_viscous(film):
    changed = off(film, "roll_drag", 0.5).roll
    assert changed.bearing_drag == pytest.approx(1.5 * film.roll.bearing_drag)
    assert changed.viscous_drag == pytest.approx(1.5 * film.roll.viscous_drag)


def test_a_gain_error_multiplies_the_reading(film):
    """2 % too high on a cell that already reads 5 % too high: 1.02 times 1.05."""
    cell = replace(film.load_cell, gain_error=5.0)
    changed = off(replace(film, load_cell=cell), "sensor_gain", 0.02)
    assert reading_of(changed, 100.0) == pytest.approx(107.1)


def test_one_torque_constant_moves_both_ends_of_a_motors_output(laminate, film):
    motor = off(laminate, "full_torque", 0.1)
    assert torque_per_percent(motor) == pytest.approx(1.1 * torque_per_percent(laminate))
    assert motor.torque_device.residual_torque == pytest.approx(-4.4)
    # The residual torque of a brake has nothing to do with its full torque.
    brake = off(film, "full_torque", 0.1)
    assert brake.torque_device.residual_torque == film.torque_device.residual_torque


def test_a_dead_time_that_is_not_given_is_a_part_of_a_scan(film):
    prompt = replace(film, torque_device=replace(film.torque_device, dead_time=0.0))
    for deviation in (-0.3, 0.0, 0.3):
        found = off(prompt, "dead_time", deviation).torque_device.dead_time
        assert found == pytest.approx(abs(deviation) * film.controller.scan_time)
    assert off(film, "dead_time", 0.3).torque_device.dead_time == pytest.approx(1.3 * 0.05)


def test_friction_that_falls_with_speed_never_rises(film):
    assert off(film, "breakaway", -0.9).torque_device.breakaway_ratio == pytest.approx(1.01)


def test_what_a_machine_does_not_have_is_not_varied(foil, laminate, film):
    names = {t.name for t in varied(foil, DEFAULT_TOLERANCES)}
    assert names.isdisjoint({"residual_torque", "breakaway"})  # its device is a motor
    assert "density" not in {t.name for t in varied(laminate, DEFAULT_TOLERANCES)}
    smooth = replace(film, web=replace(film.web, retardation_time=0.0))
    assert "web_damping" not in {t.name for t in varied(smooth, DEFAULT_TOLERANCES)}
    assert varied(film, (Tolerance("modulus", 0.0),)) == ()


def test_a_machine_that_a_scenario_refuses_is_drawn_anew(film):
    """Crawl at 99 % of line speed and ± 10 %: many draws would crawl faster than they run."""
    run = replace(film.run, crawl_speed=0.99 * film.run.line_speed)
    fast, chosen = replace(film, run=run), (Tolerance("crawl_speed", 10.0, "uniform"),)
    draws = [drawn_machine(fast, chosen, seed=1, index=i) for i in range(400)]
    speeds = np.array([machine.run.crawl_speed for machine, _, _ in draws])
    assert speeds.max() <= film.run.line_speed
    # Allowed are deviations from -10 % to 1/99, so 10 + 100/99 of 20: each draw made anew fails
    # with the rest as its chance.
    allowed = (10.0 + 100.0 / 99.0) / 20.0
    made = 400 + sum(redrawn for _, _, redrawn in draws)
    assert stats.binomtest(400, made, allowed).pvalue > 0.01
    low, high = 0.9 * run.crawl_speed, film.run.line_speed
    assert stats.kstest(speeds, stats.uniform(low, high - low).cdf).pvalue > 0.01


def test_tolerances_without_a_machine_are_refused(film, monkeypatch):
    monkeypatch.setattr(tolerances, "MOST_DRAWS", 1)
    fast = replace(film, run=replace(film.run, crawl_speed=film.run.line_speed))
    chosen = (Tolerance("crawl_speed", 10.0),)
    with pytest.raises(
        ValueError, match=r"no machine that a scenario allows.*: run.crawl_speed must not be above"
    ):
        for index in range(20):
            drawn_machine(fast, chosen, seed=0, index=index)


def test_given_tolerances_replace_the_usual_ones():
    found = {t.name: t for t in tolerances_from({"lag": 10, "modulus": "15 %", "density": 0})}
    assert found["lag"].percent == 10.0
    assert found["modulus"].percent == 15.0
    assert "density" not in found
    assert found["thickness"] in DEFAULT_TOLERANCES
    assert tolerances_from({}) == DEFAULT_TOLERANCES
    assert tolerances_from({"crawl_speed": 5.0})[-1] == Tolerance("crawl_speed", 5.0)


def test_all_faults_are_told_at_once_with_what_is_allowed():
    given_ = {"modulos": 3, "lag": 80.0, "density": "five", "thickness": math.nan, "modulus": None}
    with pytest.raises(ValueError) as caught:
        tolerances_from(given_)
    lines = str(caught.value).splitlines()
    assert len(lines) == 5
    assert "modulos = 3" in lines[0] and all(name in lines[0] for name in UNCERTAIN)
    assert "lag = 80.0" in lines[1] and "between 0 % and 60 %" in lines[1]
    assert "density = five" in lines[2] and "number" in lines[2]
    assert "thickness = nan" in lines[3] and "between 0 % and 60 %" in lines[3]
    assert "modulus = None" in lines[4]


@pytest.mark.parametrize(
    "arguments",
    [("weight", 5.0), ("modulus", -1.0), ("modulus", 60.1), ("modulus", 5.0, "triangular")],
)
def test_a_tolerance_refuses_nonsense(arguments):
    with pytest.raises(ValueError, match="must"):
        Tolerance(*arguments)


FILES = sorted((Path(__file__).resolve().parents[2] / "scenarios").glob("*.toml"))


@settings(max_examples=60, deadline=None)
@given(path=st.sampled_from(FILES), seed=st.integers(0, 2**40), index=st.integers(0, 2**20))
def test_the_widest_tolerances_leave_real_machines(path, seed, index):
    """Whatever is drawn is a machine that a scenario allows, with all of its parts in place."""
    scenario = load_scenario(path)
    widest = tuple(Tolerance(name, MOST_PERCENT, it.distribution) for name, it in UNCERTAIN.items())
    machine, deviations, _ = drawn_machine(
        scenario, varied(scenario, widest), seed=seed, index=index
    )
    assert np.abs(deviations).max() <= 0.9
    assert web_stiffness(machine) > 0.0
    assert torque_per_percent(machine) > 0.0
    assert machine.run.crawl_speed <= machine.run.line_speed
    assert (machine.title, machine.zone) == (scenario.title, scenario.zone)
    assert len(machine.span) == len(scenario.span)
