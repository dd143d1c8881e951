"""A brake that sticks and slips.

A body on a spring, pulled slowly against friction that falls with speed: steady sliding is
unstable where the fall outweighs the damping, and grows into stick and slip; at higher speed it
is smooth (Armstrong-Hélouvry, Dupont & Canudas de Wit, Automatica 30, 1994; from memory).
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from simulator import Action, linearise, operating_point, simulate
from simulator.machine import kernel_machine, named_diameters, roll_inertia, web_stiffness
from simulator.operating_point import sliding_ratio, steady_state
from tests.simulator.cycles import (
    braked,
    run,
)

CREEPING = 2.0 / 60.0  # a crawl of 2 m/min [m/s]
FALLS_AT = 0.12  # [rad/s]: the full roll creeps at 0.083 rad/s


def falling(film, breakaway):
    scenario = braked(film, breakaway_ratio=breakaway, stribeck_speed=FALLS_AT)
    return replace(scenario, controller=replace(film.controller, scan_time=0.005))


def nudged(scenario, *, line_speed, duration=120.0):
    """The machine in manual, its output up by 2 % of itself at 1 s: the last third of the run."""
    u = operating_point(scenario, diameter=0.8, line_speed=line_speed).output
    trend = run(
        scenario, [Action(1.0, "output", 1.02 * u)], duration=duration, diameter=0.8,
        line_speed=line_speed,
    )  # fmt: skip
    assert not trend.web_lost
    return trend.between(duration * 2 / 3, duration)


def friction_threshold(film):
    """Breakaway ratio at which the linear plant just swings for ever at the crawl."""

    def growth(breakaway):
        plant = linearise(falling(film, breakaway), diameter=0.8, line_speed=CREEPING)
        return float(plant.poles.real.max())

    assert growth(1.0) < 0.0 < growth(1.5)
    return brentq(growth, 1.0, 1.5)


def test_friction_that_falls_with_speed_sticks_and_slips_at_crawl_only(film):
    crawl = nudged(falling(film, 1.3), line_speed=CREEPING)
    stuck = crawl.roll_speed == 0.0
    starts = crawl.time[1:][stuck[1:] & ~stuck[:-1]]
    assert starts.size > 10 and np.diff(starts).std() < 0.01 * np.diff(starts).mean()
    # In the slip it overtakes the web, at about twice its speed.
    assert crawl.roll_speed.max() > 1.8 * CREEPING / 0.4
    assert crawl.roll_speed.min() >= 0.0
    for scenario, v in ((falling(film, 1.3), 2.5), (falling(film, 1.0), CREEPING)):
        smooth = nudged(scenario, line_speed=v)
        assert smooth.roll_speed.min() > 0.99 * v / 0.4
        assert np.ptp(smooth.web_tension) < 1e-3 * film.run.tension


def test_a_stuck_roll_lets_the_web_stretch_and_starts_at_the_breakaway_torque(film):
    """Exact: dT/dt = A E v (1 + e)/L, as nothing comes in; start at R T = breakaway + bearing."""
    scenario = falling(film, 1.3)
    trend = nudged(scenario, line_speed=CREEPING)
    stuck = np.flatnonzero(trend.roll_speed == 0.0)
    whole = np.split(stuck, np.flatnonzero(np.diff(stuck) > 1) + 1)[1:-1]
    assert len(whole) > 5
    length = sum(span.length for span in scenario.span)
    slope = web_stiffness(scenario) * CREEPING / length
    device = scenario.torque_device
    sliding = device.residual_torque
    sliding += 0.01 * trend.output[-1] * (device.full_torque - device.residual_torque)
    release = (1.3 * sliding + scenario.roll.bearing_drag) / 0.4
    for part in whole:
        T, t = trend.span_tension[part, 0], trend.time[part]
        # The load cell's roller swings a little: a straight line through the stuck time.
        assert np.polyfit(t, T, 1)[0] == pytest.approx(slope, rel=0.05)
        assert T[-1] == pytest.approx(release, abs=slope * 2 * scenario.controller.scan_time)


def test_steady_sliding_is_lost_where_the_fall_of_friction_outweighs_the_damping(film):
    """One span, light roller: J w'' damps with J v/L + K R² tau + viscous drag (closed form of
    DESIGN's plant with the web's own damping); the fall of friction has to make up for that.
    """
    threshold = friction_threshold(film)
    scenario = falling(film, threshold)
    m = kernel_machine(scenario, runout=False)
    steady = steady_state(m, diameter=0.8, line_speed=CREEPING, tension=film.run.tension)
    ratio = steady.roll_speed / FALLS_AT
    sliding = steady.roll_torque / sliding_ratio(m, steady.roll_speed)
    fall = sliding * (threshold - 1) * 2 * ratio * math.exp(-(ratio**2)) / FALLS_AT
    length = sum(span.length for span in film.span)
    spring = web_stiffness(film) / length * 0.4**2
    damping = roll_inertia(film, 0.8) * CREEPING / length + spring * film.web.retardation_time
    assert fall == pytest.approx(damping + film.roll.viscous_drag, rel=0.01)

    # A little less and a nudge dies away; a little more and it grows.
    for share, grows in ((0.85, False), (1.15, True)):
        near = falling(film, 1 + share * (threshold - 1))
        u = operating_point(near, diameter=0.8, line_speed=CREEPING).output
        plan = [Action(1.0, "output", 1.005 * u)]
        trend = run(near, plan, duration=90.0, diameter=0.8, line_speed=CREEPING)
        early, late = (np.ptp(trend.between(*part).web_tension) for part in ((5, 10), (85, 90)))
        assert (late > 2 * early) if grows else (late < 0.5 * early)


HOLDING = ["film", "nonwoven", "paper_rewind"]


@pytest.mark.parametrize("name", HOLDING)
def test_a_standing_roll_under_light_tension_stands_for_an_hour(request, name):
    """Friction at rest holds exactly: no creep, no chatter (common practice)."""
    scenario = request.getfixturevalue(name)
    light = 0.2 * scenario.run.tension
    trend = simulate(scenario, duration=3600.0, line_speed=0.0, tension=light, record_every=250)
    assert np.all(trend.roll_speed == 0.0)
    assert np.all(trend.web_tension == trend.web_tension[0])
    assert trend.web_tension[0] == pytest.approx(light, rel=1e-9)


@pytest.mark.parametrize("name", HOLDING)
def test_a_stopped_roll_stays_where_it_stopped(request, name):
    scenario = request.getfixturevalue(name)
    v, D = scenario.run.crawl_speed, min(named_diameters(scenario).values())
    trend = run(scenario, [Action(1.0, "stop")], duration=120.0, diameter=D, line_speed=v)
    rest = trend.between(60.0, 120.0)
    assert np.all(rest.roll_speed == 0.0)
    assert np.ptp(rest.web_tension) == 0.0
    assert rest.web_tension[0] > 0.0


def test_a_resting_roll_starts_where_the_web_pulls_harder_than_the_brake_can_hold(film):
    """Exact: at rest R T is held up to breakaway times the brake's torque, and the bearings'."""
    scenario = braked(film, breakaway_ratio=1.2, stribeck_speed=0.05)
    device, D = scenario.torque_device, 0.4
    pull = 0.5 * D * film.run.tension
    enough = (pull - film.roll.bearing_drag) / 1.2
    for share, stays in ((1.02, True), (0.98, False)):
        u = 100 * (share * enough - device.residual_torque)
        u /= device.full_torque - device.residual_torque
        trend = run(scenario, [Action(0.0, "output", u)], duration=20.0, diameter=D, line_speed=0.0)
        assert (trend.roll_speed.max() == 0.0) == stays
