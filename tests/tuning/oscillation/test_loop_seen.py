"""What comes from outside a loop, against its linear sensitivity; gains read off a record."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, linearise, simulate
from tuning.gains import Gains
from tuning.margins import loop_margins, plant_response
from tuning.oscillation.cross import phase_between
from tuning.oscillation.loop_seen import gains_seen, loop_seen, speed_share
from tuning.oscillation.machine_frequencies import Place
from tuning.oscillation.record import as_record

D, V = 0.5, 2.5
GAINS = Gains(0.15, 0.5)


def shaken(film, runout=3e-4, **options):
    """A run in automatic with the roll out of round and nothing else."""
    machine = GAINS.set_in(replace(film, roll=replace(film.roll, runout=runout)))
    brake = replace(machine.torque_device, hysteresis=0.0)
    machine = replace(machine, torque_device=brake)
    run = simulate(machine, duration=60.0, diameter=D, line_speed=V, automatic=True,
                   noise=False, **options)  # fmt: skip
    return machine, run.between(20.0, 60.0)


def test_what_comes_from_outside_is_one_over_the_sensitivity(film):
    machine, run = shaken(film)
    record = as_record(run)
    f = V / (math.pi * D)
    ratio = phase_between(record.tension, record.output, record.interval, f).ratio
    plant = linearise(machine, diameter=D, line_speed=V)
    seen = loop_seen(machine, (Place(D, V),), (plant,), frequency=f, ratio=ratio, control=-ratio)
    # S from the exact sampled loop.
    at = np.array([2.0 * math.pi * f])
    scan = machine.controller.scan_time
    response = plant_response(plant, scan_time=scan)
    L = response.at(at) * GAINS.sampled_frequency_response(at, scan)
    assert seen.outside[0] == pytest.approx(float(np.abs(1.0 + L)[0]), rel=0.02)
    assert seen.Ms[0] == pytest.approx(loop_margins(response, GAINS).Ms)
    assert seen.source == "scenario"
    assert seen.outside_least[0] <= seen.outside[0]


def test_an_unstable_loop_feeds_itself(film):
    loud = Gains(GAINS.Kc * 12.0, 0.3)
    machine = loud.set_in(film)
    run = simulate(machine, duration=60.0, diameter=D, line_speed=V, automatic=True, runout=False)
    record = as_record(run.between(20.0, 60.0))
    plant = linearise(machine, diameter=D, line_speed=V)
    margins = loop_margins(plant, loud, scan_time=machine.controller.scan_time)
    assert not margins.stable
    f = margins.peak_frequency / (2.0 * math.pi)
    ratio = phase_between(record.tension, record.output, record.interval, f).ratio
    seen = loop_seen(machine, (Place(D, V),), (plant,), frequency=f, ratio=ratio, control=-ratio)
    assert seen.Ms[0] == 20.0
    assert seen.damping[0] < 0.0
    assert seen.outside_least[0] < 0.35


@pytest.mark.parametrize("gains", [GAINS, Gains.integral_only(0.4)])
def test_gains_are_read_off_an_oscillation(film, gains):
    machine = gains.set_in(replace(film, roll=replace(film.roll, runout=3e-4)))
    run = simulate(machine, duration=60.0, diameter=D, line_speed=V, automatic=True)
    record = as_record(run.between(20.0, 60.0))
    f = V / (math.pi * D)
    ratio = phase_between(record.tension, record.output, record.interval, f).ratio
    c = film.controller
    found = gains_seen(-0.01 * c.tension_range * ratio, frequency=f, scan_time=c.scan_time)
    assert found.Ki == pytest.approx(gains.Ki, rel=0.02)
    assert found.Kc == pytest.approx(gains.Kc, abs=0.02 * abs(0.01 * c.tension_range * ratio))


def test_gains_come_back_exactly_from_their_own_response():
    for gains in (Gains(0.3, 0.8), Gains(2.0, 5.0), Gains(0.05, 0.05)):
        for f in (0.05, 1.0, 7.0):
            C = gains.sampled_frequency_response(2.0 * math.pi * f, 0.02)[0]
            found = gains_seen(complex(C), frequency=f, scan_time=0.02)
            assert (found.Kc, found.Ti) == pytest.approx((gains.Kc, gains.Ti))


def test_no_gains_are_read_off_what_no_controller_does():
    assert gains_seen(complex(math.nan), frequency=1.0, scan_time=0.02) is None
    # Ahead of the error instead of behind it.
    assert gains_seen(0.3 + 0.2j, frequency=1.0, scan_time=0.02) is None
    assert gains_seen(0.3 - 0.2j, frequency=40.0, scan_time=0.02) is None


def test_a_speed_that_swings_makes_all_of_it(film):
    f, size = 0.4, 0.02
    plan = [
        Action(0.1 * k, "line speed", V * (1.0 + size * math.sin(2 * math.pi * f * 0.1 * k)), 0.1)
        for k in range(600)
    ]
    run = simulate(film, plan, duration=60.0, diameter=D, line_speed=V, noise=False, runout=False)
    record = as_record(run.between(20.0, 60.0))
    plant = linearise(film, diameter=D, line_speed=V)
    wave = np.exp(-2j * math.pi * f * run.between(20.0, 60.0).time)
    y, v = (2.0 * abs(np.mean((x - x.mean()) * wave)) for x in (record.tension, record.line_speed))
    share = speed_share(film, (plant,), frequency=f, outside=1.0, speed=v, reading=y)
    assert share == pytest.approx(1.0, rel=0.05)
    # A loop that makes the same disturbance half as large was shaken twice as much.
    less = speed_share(film, (plant,), frequency=f, outside=2.0, speed=v, reading=y)
    assert less == pytest.approx(0.5 * share)
