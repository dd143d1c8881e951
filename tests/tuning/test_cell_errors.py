"""Gain errors of the load cell: held against machines that have them, and against other tools."""

import math
from dataclasses import replace

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Action, linearise, load_scenario, operating_point, simulate
from simulator.machine import diameter_range, named_diameters, taper_at
from simulator.sensing_and_control import ScheduledGains
from tests.conftest import ROOT
from tuning.cell_errors import USUAL_ERRORS, gain_error_effect
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.margins import closed_loop_modes, loop_margins
from tuning.roll_grid import roll_grid

FEW = (-40.0, -20.0, 20.0, 60.0)


def with_cell(machine, **values):
    return replace(machine, load_cell=replace(machine.load_cell, **values))


def with_run(machine, **values):
    return replace(machine, run=replace(machine.run, **values))


def off(machine, error):
    """The machine with a load cell that has the error, linearised anew wherever it is judged."""
    return with_cell(machine, gain_error=error)


def margins_at(machine, gains, diameter, speed):
    plant = linearise(machine, diameter=diameter, line_speed=speed)
    return loop_margins(plant, gains, scan_time=machine.controller.scan_time)


def test_severity_is_that_of_machines_with_the_error(scenario, designed):
    """One loop after the other on the machine linearised with its error: another route to Ms."""
    gains = designed(scenario).gains
    effect = gain_error_effect(scenario, gains, errors=[-40.0, 30.0])
    grid = roll_grid(scenario, diameters=2, speeds=2)
    for error, Ms, worst in zip(effect.errors, effect.Ms, effect.worst, strict=True):
        machine = off(scenario, error)
        there = margins_at(machine, gains, worst.diameter, worst.line_speed)
        assert there.stable
        assert pytest.approx(there.Ms, rel=1e-4) == Ms
        for D, v in (*grid[:2], *grid[-2:]):
            assert margins_at(machine, gains, D, v).Ms <= 1.002 * Ms


def test_severity_by_python_control(laminate, designed):
    """Sensitivity of the same loop put together and evaluated by python-control."""
    gains = designed(laminate).gains
    effect = gain_error_effect(laminate, gains, errors=[30.0])
    worst, h = effect.worst[-1], laminate.controller.scan_time
    plant = linearise(off(laminate, 30.0), diameter=worst.diameter, line_speed=worst.line_speed)
    A, B, C = plant.sampled(h).with_delay_states()
    process = control.ss(A, B[:, None], C[None, :], 0.0, h)
    Ac, Bc, Cc, direct = gains.sampled_state_space(h)  # its minus sign is the feedback's
    controller = control.ss(Ac, -Bc[:, None], Cc[None, :], -direct, h)
    closed = control.feedback(control.ss([], [], [], 1.0, h), process * controller)
    omega = np.linspace(0.2, 1.8, 4001) * worst.peak_frequency
    omega = omega[omega < math.pi / h]
    magnitude = np.abs(closed.frequency_response(omega).frdata).ravel()
    assert magnitude.max() == pytest.approx(effect.Ms[-1], rel=1e-4)


def test_it_becomes_unstable_where_the_gain_margin_ends(scenario, designed):
    """Two other routes: the smallest gain margin of the loops one by one, and closed-loop
    eigenvalues of machines with an error on either side."""
    gains = designed(scenario).gains
    effect = gain_error_effect(scenario, gains, errors=[10.0])
    points = roll_grid(scenario, diameters=5, speeds=3)[:15]
    least = min(margins_at(scenario, gains, D, v).gain_margin for D, v in points)
    assert effect.unstable_above <= 100.0 * (least - 1.0) + 0.1
    assert 1.0 + 0.01 * effect.unstable_above == pytest.approx(least, rel=0.03)
    h = scenario.controller.scan_time

    def largest(error):
        # Gain errors beyond what a scenario may have are made by the gains: that is the claim.
        scaled = replace(gains, Kc=gains.Kc * (1.0 + 0.01 * error))
        plants = (linearise(scenario, diameter=D, line_speed=v) for D, v in points)
        return max(np.abs(closed_loop_modes(p.sampled(h), scaled)).max() for p in plants)

    assert largest(0.999 * effect.unstable_above) < 1.0 < largest(1.04 * effect.unstable_above)


def test_unstable_by_eigenvalues_of_the_machine_itself(nonwoven, designed):
    """Without scaling any gain: the scenario's own load cell has the error."""
    gains = designed(nonwoven).gains
    lively = replace(gains, Kc=2.0 * gains.Kc)
    effect = gain_error_effect(nonwoven, lively, errors=[20.0])
    assert 0.0 < effect.unstable_above < 190.0
    h, points = nonwoven.controller.scan_time, roll_grid(nonwoven, diameters=5, speeds=3)

    def largest(error):
        machine = off(nonwoven, error)
        plants = (linearise(machine, diameter=D, line_speed=v) for D, v in points)
        return max(np.abs(closed_loop_modes(p.sampled(h), lively)).max() for p in plants)

    assert largest(effect.unstable_above - 0.5) < 1.0 < largest(effect.unstable_above + 0.5)


def test_limits_are_where_severity_is_the_limit(film, designed):
    gains = designed(film).gains
    high = gain_error_effect(film, gains, errors=[5.0], ms_limit=1.8).kept_high
    again = gain_error_effect(film, gains, errors=[high - 0.5, high, high + 0.5], ms_limit=1.8)
    below, at, above = again.Ms[1:]
    assert below < 1.8 < above
    assert at == pytest.approx(1.8, rel=1e-4)


def test_recommended_gains_use_up_their_own_limit(scenario, designed):
    design = designed(scenario)
    effect = gain_error_effect(scenario, design.gains, errors=[5.0], ms_limit=design.ms_limit)
    assert 0.0 <= effect.kept_high < 2.0
    assert effect.kept_low == -math.inf
    assert effect.kept_high < effect.unstable_above


LAMINATE = load_scenario(ROOT / "scenarios" / "laminate_pull_roll.toml")
GAINS = Gains(0.025, 0.01)


@settings(max_examples=5, deadline=None)
@given(st.floats(0.7, 1.4))
def test_more_gain_leaves_as_much_less_room(factor):
    """Property: Kc times f bears errors with (1 + e) as many times smaller."""
    one = gain_error_effect(LAMINATE, GAINS, errors=[10.0])
    other = gain_error_effect(LAMINATE, replace(GAINS, Kc=factor * GAINS.Kc), errors=[10.0])
    for name in ("kept_high", "unstable_above"):
        before, after = (1.0 + 0.01 * getattr(effect, name) for effect in (one, other))
        assert factor * after == pytest.approx(before, rel=2e-3)
    assert np.all(np.diff(one.Ms) > 0.0)  # a machine that is stable in manual


@pytest.mark.parametrize("error", [-20.0, 20.0])
def test_web_tension_is_what_the_simulator_settles_at(film, designed, error):
    gains = designed(film).gains
    machine = gains.set_in(with_cell(film, gain_error=error, zero_error=6.0))
    trend = simulate(
        machine, [Action(1.0, "automatic")], duration=60.0, setpoint=150.0, noise=False,
        runout=False,
    )  # fmt: skip
    effect = gain_error_effect(with_cell(film, zero_error=6.0), gains, errors=[error])
    at = list(effect.errors).index(error)
    assert effect.web_tension[at] == pytest.approx(trend.web_tension[-500:].mean(), rel=2e-3)
    assert effect.web_tension[at] == pytest.approx(144.0 / (1.0 + 0.01 * error))
    assert trend.tension[-500:].mean() == pytest.approx(150.0, rel=2e-3)


def test_how_much_slower(film, designed):
    """The integral of the web's error after a step of load is the limit of |T/load|/w at w = 0, of
    the loop with the error."""
    gains = designed(film).gains
    effect = gain_error_effect(film, gains, errors=FEW)
    w = np.array([1e-5])
    place = {"diameter": film.roll.full_diameter, "line_speed": film.run.line_speed}
    true = linearise(film, **place).frequency_response(w)

    def left(error):
        L = linearise(off(film, error), **place).frequency_response(w) * gains.frequency_response(w)
        return float(np.abs(true / (1.0 + L) / w)[0])

    expected = [left(error) / left(0.0) for error in effect.errors]
    assert effect.slower == pytest.approx(expected, rel=1e-4)


def test_the_scenarios_own_gain_error_is_set_aside(laminate, designed):
    gains = designed(laminate).gains
    one = gain_error_effect(laminate, gains, errors=[20.0])
    other = gain_error_effect(off(laminate, 35.0), gains, errors=[20.0])
    assert np.array_equal(one.Ms, other.Ms) and one.kept_high == other.kept_high


def test_gains_that_follow_the_diameter(film):
    low, high = diameter_range(film)
    points = (
        ScheduledGains(diameter=high, Kc=0.09, Ti=0.3),
        ScheduledGains(diameter=low, Kc=0.03, Ti=0.15),
    )
    machine = replace(film, controller=replace(film.controller, schedule=points))
    effect = gain_error_effect(machine, lambda D: gains_as_set(machine, D), errors=[25.0])
    worst = effect.worst[-1]
    there = margins_at(
        off(machine, 25.0), gains_as_set(machine, worst.diameter), worst.diameter, worst.line_speed
    )
    assert effect.Ms[-1] == pytest.approx(there.Ms, rel=1e-4)
    # The same at every diameter is the same as one set.
    fixed = Gains(0.05, 0.2)
    one, other = (gain_error_effect(film, g, errors=[25.0]) for g in (fixed, lambda _: fixed))
    assert one.Ms == pytest.approx(other.Ms, rel=1e-12)


def test_a_machine_that_needs_its_gain_must_not_read_too_low_either(film):
    """Friction that falls with speed makes it unstable in manual; only derivative action calms
    it, so that a reading too low loses the loop, too."""
    rough = replace(
        with_run(film, line_speed=film.run.crawl_speed),
        torque_device=replace(
            film.torque_device, breakaway_ratio=1.5, stribeck_speed=2.0, lag=0.01, dead_time=0.0
        ),
        load_cell=replace(film.load_cell, filter_time=0.005),
        controller=replace(film.controller, scan_time=0.005),
    )
    gains = Gains(0.0406, 5.83, 0.0778)
    effect = gain_error_effect(rough, gains, errors=[-80.0, -40.0], ms_limit=14.0)
    assert math.isinf(effect.Ms[0])
    assert -60.0 < effect.kept_low < -40.0 < 0.0 < effect.kept_high
    across = [D for D, _ in roll_grid(rough, diameters=9, speeds=1)]

    def worst(error):
        machine = off(rough, error)
        return max(margins_at(machine, gains, D, rough.run.crawl_speed).severity for D in across)

    assert worst(effect.kept_low + 3.0) < 14.5 < worst(effect.kept_low - 4.0)
    assert "too low takes Ms above 14" in " ".join(effect.words)


def test_words(film, designed):
    effect = gain_error_effect(film, designed(film).gains)
    assert tuple(effect.errors) == USUAL_ERRORS
    high, low, slower, kept, swings = effect.words
    Ms = dict(zip(effect.errors, effect.Ms, strict=True))
    assert high == (
        f"A reading 20 % too high takes Ms from {Ms[0.0]:.2f} to {Ms[20.0]:.2f}; the web gets "
        "125 N where the display shows 150 N."
    )
    assert low.startswith("A reading 20 % too low") and "the web gets 188 N" in low
    assert "25 % more error" in slower
    assert kept.startswith("Ms stays within 2 up to") and "swings by itself" in swings
    assert not effect.warnings
    with pytest.raises(ValueError, match="was not looked at"):
        effect.said_of(33.0)


def test_gains_that_no_true_reading_bears(film, designed):
    gains = designed(film).gains
    lively = replace(gains, Kc=2.0 * gains.Kc)
    effect = gain_error_effect(film, lively)
    assert -60.0 < effect.kept_high < 0.0 < effect.unstable_above
    assert any("even with a true reading, above the limit of 2" in w for w in effect.warnings)
    assert "Only a reading more than" in " ".join(effect.words)
    # With the reading as much too low the loop has the gain at which the limit is met.
    machine = off(film, effect.kept_high)
    points = roll_grid(film, diameters=5, speeds=3)
    there = max(margins_at(machine, lively, D, v).severity for D, v in points)
    assert there == pytest.approx(2.0, rel=0.01)
    lost = gain_error_effect(film, replace(gains, Kc=8.0 * gains.Kc))
    assert lost.unstable_above < 0.0
    assert any("unstable even with a true reading" in w for w in lost.warnings)
    assert "leaves the loop unstable" in lost.said_of(20.0)
    assert "makes an unstable loop stable" in lost.said_of(-60.0)
    hopeless = gain_error_effect(film, replace(gains, Kc=100.0 * gains.Kc), errors=[5.0])
    assert math.isnan(hopeless.unstable_above) and math.isnan(hopeless.kept_high)
    assert math.isnan(hopeless.kept_low)


def test_gains_so_calm_that_nothing_matters(film):
    effect = gain_error_effect(film, Gains(0.0005, 0.05), errors=[50.0])
    assert effect.kept_high == effect.unstable_above == math.inf
    assert effect.words[0] == "No gain error takes Ms above 2."


def warned(machine, gains, words):
    effect = gain_error_effect(machine, gains, errors=[-60.0, 20.0])
    return any(words in w for w in effect.warnings)


def test_a_factor_of_two_that_makes_it_unstable_is_a_warning(nonwoven, designed):
    gains = designed(nonwoven).gains
    words = "a slip by a factor of two is easily made"
    assert warned(nonwoven, replace(gains, Kc=2.0 * gains.Kc), words)
    assert not warned(nonwoven, gains, words)


def test_little_room_of_the_output_is_a_warning(film, designed):
    gains = designed(film).gains
    low, high = gain_error_effect(film, gains, errors=[5.0]).reach
    ends = [operating_point(film, diameter=D) for D in (0.8, 0.4445, 0.089)]
    assert low == pytest.approx(max(p.tension_low for p in ends))
    assert high == pytest.approx(min(p.tension_high for p in ends))
    assert warned(with_run(film, tension=1.1 * low), gains, "10 % too high asks for a web tension")
    assert warned(with_run(film, tension=0.9 * high), gains, "10 % too low asks for a web tension")
    assert not warned(film, gains, "asks for a web tension")


def test_with_a_taper_the_setpoint_of_the_core_is_what_is_held(paper_rewind):
    """Just within its ends the tapered tension is reached at every diameter, just beyond not."""
    control = replace(paper_rewind.controller, taper=40.0)
    tapered = replace(paper_rewind, controller=control)
    effect = gain_error_effect(tapered, Gains(0.001, 1.0), errors=[5.0])

    def held(setpoint):
        return all(
            operating_point(tapered, diameter=D, tension=setpoint * taper_at(tapered, D)).reachable
            for D in named_diameters(tapered).values()
        )

    assert held(0.999 * effect.reach[1]) and not held(1.001 * effect.reach[1])


def test_a_reading_that_would_break_the_web_is_a_warning(laminate, designed):
    gains = designed(laminate).gains
    weak = replace(laminate, web=replace(laminate.web, breaking_tension=600.0))
    assert warned(weak, gains, "a reading 50 % too low asks for the web's breaking tension")
    assert not warned(laminate, gains, "breaking tension")


def test_a_zero_above_the_setpoint_is_a_warning(laminate, designed):
    gains = designed(laminate).gains
    effect = gain_error_effect(with_cell(laminate, zero_error=310.0), gains)
    assert any("in automatic the web goes slack" in w for w in effect.warnings)
    assert np.all(effect.web_tension == 0.0)
    assert not warned(with_cell(laminate, zero_error=20.0), gains, "goes slack")


@pytest.mark.parametrize(
    ("gains", "how", "says"),
    [
        (Gains(0.1, math.inf), {}, "integral action"),
        (Gains(0.1, 1.0), {"errors": []}, "at least one"),
        (Gains(0.1, 1.0), {"errors": [-90.0]}, "must lie above -90 %"),
        (Gains(0.1, 1.0), {"errors": [math.nan]}, "nan %"),
        (Gains(0.1, 1.0), {"ms_limit": 1.0}, "above 1"),
    ],
)
def test_refusals_say_what_is_wrong(laminate, gains, how, says):
    with pytest.raises(ValueError, match=says):
        gain_error_effect(laminate, gains, **how)
