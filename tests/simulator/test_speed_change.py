"""A start, a stop and a fast stop: by hand, by the linear plant, by a free roll."""

import math
from dataclasses import replace

import control
import numpy as np
import pytest

from simulator import Scenario, linearise
from simulator.machine import kernel_machine, named_diameters, roll_inertia
from simulator.operating_point import steady_state
from simulator.speed_change import (
    KINDS,
    Kind,
    ramp_state,
    rate_of,
    speed_change,
    tension_in_ramp,
    with_time,
)
from simulator.speed_change_curve import speed_change_curve
from simulator.speed_change_run import simulate_speed_change
from simulator.torque_devices import FrictionBrake, ParticleBrake


def without_drag(scenario: Scenario) -> Scenario:
    """The machine with no friction but its device's, and rollers that weigh next to nothing."""
    rollers = tuple(replace(r, inertia=1e-7, drag=0.0) for r in scenario.roller)
    roll = replace(scenario.roll, bearing_drag=0.0, viscous_drag=0.0)
    device = scenario.torque_device
    if isinstance(device, FrictionBrake):
        device = replace(device, breakaway_ratio=1.0)
    return replace(scenario, roll=roll, roller=rollers, torque_device=device, source="")


def test_film_fast_stop_by_hand(film: Scenario) -> None:
    """150 N at 0.4 m, from 2.5 m/s to 0 in 4 s: about 147 N m of the 120 N m that there are."""
    a = -2.5 / 4.0
    J = 0.05 + 0.5 * math.pi * 1390.0 * 1.0 * (0.4**4 - 0.0445**4)
    assert pytest.approx(55.94, abs=0.01) == J
    # Hardest at crawl, 0.25 m/s, where the drag helps least.
    drag = 0.5 + 0.05 * 0.25 / 0.4
    # The roller hands on what its own inertia takes; the cell sees the mean of its two sides.
    rise = (0.02 + 0.012 * a / 0.06) / 0.06
    torque = 0.4 * (150.0 - 0.5 * rise) - drag - J * a / 0.4
    assert torque == pytest.approx(147.2, abs=0.1)
    still = 0.4 * (150.0 - 0.5 * 0.02 / 0.06) - drag

    change = speed_change(film, "fast stop", diameter=0.8)
    assert change.acceleration == pytest.approx(a)
    assert change.inertia == pytest.approx(J)
    assert change.inertia_torque == pytest.approx(J * a / 0.4)
    assert change.inertia_error == pytest.approx(J * a / 0.16)
    assert change.torque_needed == pytest.approx(torque, rel=1e-3)
    assert change.output_needed == pytest.approx(100.0 * (torque - 2.0) / 118.0, rel=1e-3)
    assert change.torque_high == pytest.approx(120.0)
    assert not change.has_torque
    # With all the torque there is, 27.2 N m are missing: 68 N at 0.4 m.
    assert change.compensated.output == 100.0
    assert change.compensated.tension == pytest.approx(150.0 + (120.0 - torque) / 0.4, abs=0.2)
    assert change.held.lost == "slack web"
    assert change.shortest_time == pytest.approx(4.0 * (torque - still) / (120.0 - still), rel=1e-3)
    # 95 % of a step takes 3.00 time constants.
    assert change.follow_time == pytest.approx(0.05 + 2.9957 * 0.25, rel=1e-4)
    assert "147 N m" in change.reason
    assert "120 N m" in change.reason
    assert "allow 6.7 s" in change.advice


def test_paper_rewind_by_hand(paper_rewind: Scenario) -> None:
    """A roll that runs on pulls: in a stop the clutch must let go of J a/R."""
    a = -(200.0 / 60.0) / 6.0
    J = 0.12 + 0.5 * math.pi * 850.0 * 1.2 * (0.45**4 - 0.076**4)
    drag = 1.0 + 0.1 * (20.0 / 60.0) / 0.45
    # The web runs nip, cell, the other roller, roll.
    cell = (0.05 + 0.035 * a / 0.075) / 0.075
    other = (0.05 + 0.03 * a / 0.075) / 0.075
    torque = 0.45 * (240.0 + 0.5 * cell + other) + drag + J * a / 0.45
    change = speed_change(paper_rewind, "fast stop", diameter=0.9)
    assert change.torque_needed == pytest.approx(torque, rel=2e-3)
    assert change.inertia_error == pytest.approx(-J * a / 0.45**2)
    assert change.held.error > 0.0
    assert change.has_torque


def test_laminate_pull_roll_by_hand(laminate: Scenario) -> None:
    """A start at line speed, where the drag adds most; 180 N pull from the far side."""
    v = 100.0 / 60.0
    a = v / 15.0
    drag = 0.8 + 0.1 * v / 0.15
    rise = (0.03 + 0.025 * a / 0.07) / 0.07
    torque = 0.15 * (300.0 + 0.5 * rise - 180.0) + drag + 1.8 * a / 0.15
    change = speed_change(laminate, "start", diameter=0.3)
    assert change.line_speed == pytest.approx(v)
    assert change.torque_needed == pytest.approx(torque, rel=1e-3)
    # The motor makes -4 to 8 N m behind a gear of 6.
    assert (change.torque_low, change.torque_high) == pytest.approx((-24.0, 48.0))
    assert change.held.error < 0.0


def test_a_free_roll_is_pulled_by_what_its_inertia_takes(film: Scenario) -> None:
    """Newton: a force F on the rim of a roll that nothing holds gives a = F R²/J."""
    device = ParticleBrake(full_torque=120.0, lag=0.25, residual_torque=0.0)
    free = replace(without_drag(film), torque_device=device)
    m = kernel_machine(free, runout=False)
    F, D = 80.0, 0.6
    a = F * 0.3**2 / roll_inertia(free, D)
    state = ramp_state(m, diameter=D, line_speed=1.0, tension=F, acceleration=a)
    assert state.roll_torque == pytest.approx(0.0, abs=1e-4)
    other = ramp_state(m, diameter=D, line_speed=1.0, tension=150.0, acceleration=a)
    none = tension_in_ramp(m, other, diameter=D, tension=150.0, output=0.0)
    assert none == pytest.approx(F, rel=1e-5)


@pytest.mark.parametrize("kind", KINDS)
def test_without_friction_the_error_is_the_rolls_inertia(scenario: Scenario, kind: Kind) -> None:
    """dT = J a/R²: up on an unwind that speeds up, the other way on a rewind; shares add up."""
    clean = without_drag(scenario)
    for diameter in named_diameters(clean).values():
        change = speed_change(clean, kind, diameter=diameter)
        a, R = change.acceleration, 0.5 * diameter
        sign = 1.0 if scenario.zone == "unwind" else -1.0
        assert change.inertia_error == pytest.approx(sign * change.inertia * a / R**2)
        if 0.0 < change.steady_output < 100.0:
            assert change.held.error == pytest.approx(change.inertia_error, rel=1e-3)
        if change.has_torque:
            # What 100 % leaves: strain changes the rolls' speeds by a thousandth or so.
            assert abs(change.compensated.error) < 0.01 * abs(change.inertia_error) + 1e-3
            half = speed_change(clean, kind, diameter=diameter, compensation=50.0)
            assert half.compensated.error == pytest.approx(0.5 * change.inertia_error, rel=1e-2)


def settled(scenario: Scenario, diameter: float, *, change: float, acceleration: float) -> float:
    """Closed-form change of tension [N] at line speed and a change, its manual output held."""
    v, T = scenario.run.line_speed, scenario.run.tension
    m = kernel_machine(scenario, runout=False)
    output = steady_state(m, diameter=diameter, line_speed=v, tension=T).output
    state = ramp_state(
        m, diameter=diameter, line_speed=v + change, tension=T, acceleration=acceleration
    )
    return tension_in_ramp(m, state, diameter=diameter, tension=T, output=output) - T


def test_ramp_response_of_the_linear_plant(scenario: Scenario) -> None:
    """python-control's response to a ramp of line speed, the output held."""
    a = -0.01 * scenario.run.line_speed
    time = np.linspace(0.0, 20.0, 8001)
    late = time > 15.0
    for diameter in named_diameters(scenario).values():
        plant = linearise(scenario, diameter=diameter).state_space()
        inputs = np.vstack([np.zeros_like(time), a * time])
        y = np.squeeze(control.forced_response(plant, time, inputs).outputs)
        got = 0.01 * scenario.controller.tension_range * np.mean(y[late])
        change = float(np.mean(a * time[late]))
        expected = settled(scenario, diameter, change=change, acceleration=a)
        assert got == pytest.approx(expected, rel=0.01, abs=1e-3)


def test_static_ramp_error_of_the_linear_plant(scenario: Scenario) -> None:
    """G(s) a/s² settles at a G'(0), and G'(0) = -C A^-2 B_speed (series of G about s = 0).

    Without drag: else G(0) v(t) comes on top, and lags behind.
    """
    clean = without_drag(scenario)
    a = -0.01 * scenario.run.line_speed
    for diameter in named_diameters(clean).values():
        plant = linearise(clean, diameter=diameter)
        slope = -plant.C @ np.linalg.solve(plant.A, np.linalg.solve(plant.A, plant.B_speed))
        got = 0.01 * scenario.controller.tension_range * slope * a
        expected = settled(clean, diameter, change=0.0, acceleration=a)
        assert got == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_shortest_time_just_reaches_the_end_of_the_output(scenario: Scenario, kind: Kind) -> None:
    for diameter in named_diameters(scenario).values():
        shortest = speed_change(scenario, kind, diameter=diameter).shortest_time
        if not 0.011 < shortest < 7000.0:
            continue
        just, short = (
            speed_change(with_time(scenario, kind, part * shortest), kind, diameter=diameter)
            for part in (1.001, 0.999)
        )
        assert just.has_torque
        assert not short.has_torque
        ends = min(abs(just.output_needed), abs(just.output_needed - 100.0))
        assert ends < 0.2
        assert short.reason


def test_a_tension_out_of_reach_at_constant_speed_has_no_shortest_time(film: Scenario) -> None:
    # 400 N at 0.4 m take 160 N m.
    change = speed_change(film, "start", diameter=0.8, tension=400.0)
    assert math.isinf(change.shortest_time)
    assert "even at a constant" in change.reason
    assert "too little torque" in change.reason
    assert "first find" in change.advice


def test_another_time_changes_only_what_was_meant(film: Scenario) -> None:
    faster = with_time(film, "start", 5.0)
    assert rate_of(faster, "start") == pytest.approx((0.5, 5.0))
    # The usual stop has no time of its own in this scenario: it keeps the 20 s of the start.
    assert rate_of(faster, "stop") == pytest.approx((-0.125, 20.0))
    assert rate_of(faster, "fast stop") == pytest.approx((-0.625, 4.0))
    assert rate_of(with_time(film, "stop", 10.0), "stop") == pytest.approx((-0.25, 10.0))
    assert rate_of(with_time(film, "fast stop", 8.0), "fast stop") == pytest.approx((-0.3125, 8.0))


def test_curve_is_made_of_single_changes(scenario: Scenario) -> None:
    curve = speed_change_curve(scenario, count=5)
    assert [line.name for line in curve.lines] == ["constant speed", *KINDS]
    if curve.against == "speed":
        assert scenario.zone == "pull roll"
        assert curve.places[[0, -1]] == pytest.approx(
            [scenario.run.crawl_speed, scenario.run.line_speed]
        )
        return
    for line in curve.lines[1:]:
        for diameter, output in zip(curve.places, line.outputs, strict=True):
            change = speed_change(scenario, line.name, diameter=float(diameter))  # type: ignore[arg-type]
            assert output == pytest.approx(change.output_needed)
            assert line.time == change.time


def test_more_output_to_stop_an_unwind_less_to_stop_a_rewind(scenario: Scenario) -> None:
    still, start, stop, fast = (line.outputs for line in speed_change_curve(scenario).lines)
    if scenario.zone == "unwind":
        assert np.all(start < still)
        assert np.all(still < fast)
        assert np.all(stop <= fast)
    else:
        assert np.all(start > still)
        assert np.all(still > fast)
        assert np.all(stop >= fast)


def test_crawl_as_fast_as_the_line(film: Scenario) -> None:
    run = replace(film.run, crawl_speed=film.run.line_speed)
    one_speed = replace(film, run=run, source="")
    for kind in KINDS:
        assert speed_change(one_speed, kind, diameter=0.8).line_speed == film.run.line_speed
        assert simulate_speed_change(one_speed, kind, diameter=0.4)[0].ends > 1.0


def test_advice_follows_what_the_tension_does(film: Scenario, laminate: Scenario) -> None:
    assert "leave the output" in speed_change(laminate, "stop", diameter=0.3).advice
    assert "inertia compensation does it" in speed_change(film, "stop", diameter=0.4445).advice
    # At the core friction that changes with the speed counts more than the light roll.
    assert "automatic does the rest" in speed_change(film, "stop", diameter=0.089).advice
    half = speed_change(film, "fast stop", diameter=0.4445, compensation=30.0)
    assert "30 % inertia compensation is not enough" in half.advice


def test_warnings_name_what_keeps_the_compensation_from_working(film: Scenario) -> None:
    late = speed_change(film, "fast stop", diameter=0.4445).warnings
    assert any("0.3 s late" in text and "Round the corners" in text for text in late)
    # At the core 100 % compensation are 0.12 % of output; the supply has a play of 0.25 %.
    assert any("play" in text for text in speed_change(film, "stop", diameter=0.089).warnings)


@pytest.mark.parametrize("wrong", [{"diameter": 2.0}, {"tension": 0.0}, {"compensation": 300.0}])
def test_bad_arguments_are_refused(film: Scenario, wrong: dict[str, float]) -> None:
    arguments = {"diameter": 0.8, **wrong}
    for function in (speed_change, simulate_speed_change):
        with pytest.raises(ValueError, match=f"{next(iter(wrong))} .*must"):
            function(film, "stop", **arguments)
        with pytest.raises(ValueError, match="kind 'halt'"):
            function(film, "halt", diameter=0.8)  # type: ignore[arg-type]


def test_bad_times_and_counts_are_refused(film: Scenario) -> None:
    for time in (0.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="time"):
            with_time(film, "stop", time)
    with pytest.raises(ValueError, match="count 1"):
        speed_change_curve(film, count=1)
