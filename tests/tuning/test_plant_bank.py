"""Many plants judged at once: the same verdicts as one by one, and noise as it really is."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.signal
from scipy.linalg import matrix_balance, solve_discrete_lyapunov

from simulator import linearise, simulate
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.margins import closed_loop, closed_loop_modes, loop_margins
from tuning.plant_bank import bank_of, plant_bank
from tuning.process_model import ProcessModel

LAG = ProcessModel("first order", 2.0, 10.0, 2.0)


def some_points(scenario):
    low, high = diameter_range(scenario)
    return [
        (float(D), v)
        for D in np.unique(np.linspace(low, high, 5))
        for v in (scenario.run.line_speed, scenario.run.crawl_speed)
    ]


# Calm, lively and unstable, with and without derivative.
@pytest.mark.parametrize(
    "gains",
    [Gains(0.05, 0.3), Gains(0.1, 0.1, 0.02), Gains(0.002, 0.02), Gains(0.8, 0.5), Gains(0.3, 5.0)],
)
def test_verdicts_are_those_of_one_loop_at_a_time(scenario, gains):
    points = some_points(scenario)
    Ms, peak = plant_bank(scenario, points).severity(gains)
    for i, (D, v) in enumerate(points):
        plant = linearise(scenario, diameter=D, line_speed=v)
        one = loop_margins(plant, gains, scan_time=scenario.controller.scan_time)
        assert math.isfinite(Ms[i]) == one.stable
        if one.stable:
            # A narrow peak is found to 1e-4 by either.
            assert Ms[i] == pytest.approx(one.Ms, rel=1e-5 if one.Ms < 10.0 else 1e-3)
            if one.Ms > 1.1:
                assert peak[i] == pytest.approx(one.peak_frequency, rel=1e-2)


def test_each_plant_may_have_its_own_gains(film):
    points = some_points(film)
    sets = [Gains(0.02 + 0.01 * i, 0.3) for i in range(len(points))]
    bank = plant_bank(film, points)
    each, _ = bank.severity(sets)
    for i, gains in enumerate(sets):
        assert each[i] == bank.severity(gains)[0][i]


def test_response_against_scipy():
    """scipy.signal samples the same lag with a zero-order hold; dead time is two whole scans."""
    bank = bank_of([ProcessModel("first order", 2.0, 10.0, 0.4).linear_plant()], scan_time=0.2)
    omega = np.array([[0.01, 0.3, 2.0, 15.0]])
    plant = scipy.signal.cont2discrete(([2.0], [10.0, 1.0]), 0.2)
    _, H = scipy.signal.freqz(plant[0].ravel(), plant[1], worN=omega[0] * 0.2)
    expected = H * np.exp(-1j * omega[0] * 0.4)
    np.testing.assert_allclose(bank.at(omega)[0], expected, rtol=1e-10)


def test_long_dead_times_are_judged_too():
    plant = ProcessModel("first order", 1.0, 1.0, 2.0).linear_plant()
    bank = bank_of([plant], scan_time=0.01)
    gains = Gains(0.2, 1.0)
    expected = loop_margins(plant, gains, scan_time=0.01)
    assert bank.severity(gains)[0][0] == pytest.approx(expected.Ms, rel=1e-6)


def test_noise_gain_is_that_of_the_lyapunov_equation(scenario):
    """Spread of the closed loop under white noise by scipy's solver, at every operating point."""
    gains = Gains(0.06, 0.4, 0.03)
    bank = plant_bank(scenario, some_points(scenario))
    found = bank.noise_gain(gains)
    Ms, _ = bank.severity(gains)
    _, Bc, Cc, direct = gains.sampled_state_space(bank.scan_time)
    for i, plant in enumerate(bank.sampled):
        if not math.isfinite(Ms[i]):
            continue
        _, B, C = plant.with_delay_states()
        # Noise enters where the reading does: u = Cc xc + direct (y + n), xc+ = Ac xc + Bc (y + n).
        push = np.concatenate([direct * B, Bc])
        seen = np.concatenate([direct * C, Cc])
        # Strains and tensions differ by powers of ten: the solver wants them scaled.
        loop, (scale, _) = matrix_balance(closed_loop(plant, gains), permute=False, separate=True)
        push, seen = push / scale, seen * scale
        spread = solve_discrete_lyapunov(loop, np.outer(push, push), method="bilinear")
        expected = math.sqrt(seen @ spread @ seen + direct**2)
        assert found[i] == pytest.approx(expected, rel=5e-3)


def test_noise_moves_the_output_of_the_machine_as_much(film):
    # Without play in the brake's supply, which is no linear plant.
    smooth = replace(film, torque_device=replace(film.torque_device, hysteresis=0.0))
    gains = Gains(0.1, 0.25)
    D = 0.5
    trend = simulate(
        gains.set_in(smooth), duration=400.0, diameter=D, automatic=True, runout=False, seed=3
    )
    reading = 100.0 * film.load_cell.noise / film.controller.tension_range
    expected = reading * plant_bank(smooth, [(D, film.run.line_speed)]).noise_gain(gains)[0]
    assert np.std(trend.output[trend.time > 10.0]) == pytest.approx(expected, rel=0.05)


def test_plants_that_do_not_belong_together_are_refused():
    other = ProcessModel("first order", 2.0, 10.0, 1.0)
    with pytest.raises(ValueError, match="dead time"):
        bank_of([LAG.linear_plant(), other.linear_plant()], scan_time=0.1)


def test_stability_by_turns_is_that_by_eigenvalues(scenario):
    """Random gains, calm to wild, at three scan times: no loop is judged otherwise."""
    draws = np.random.default_rng(7)
    for scan in (0.003, scenario.controller.scan_time, 0.3):
        machine = replace(scenario, controller=replace(scenario.controller, scan_time=scan))
        bank = plant_bank(machine, some_points(machine))
        for _ in range(15):
            Kc, Ti = 10.0 ** draws.uniform(-3.5, 0.5), 10.0 ** draws.uniform(-3.0, 2.0)
            gains = Gains(Kc, Ti, float(draws.choice([0.0, 0.02, 0.2])))
            by_eigenvalues = [
                np.abs(closed_loop_modes(plant, gains)).max() < 1.0 for plant in bank.sampled
            ]
            assert list(np.isfinite(bank.severity(gains)[0])) == by_eigenvalues


def test_noise_of_a_very_slow_loop_counts_below_the_grid_too(nonwoven):
    """Ki G(0) far below the slowest mode: the loop is a lag, and sigma_u/sigma_n = Ki h/sqrt(2 a)
    with a = Ki G(0) h per scan, exact for I alone on a plant that is quick against it."""
    gains = Gains.integral_only(1e-5)
    bank = plant_bank(nonwoven, [(0.4, nonwoven.run.line_speed)])
    per_scan = gains.Ki * bank.scan_time
    expected = per_scan / math.sqrt(2.0 * per_scan * bank.plants[0].static_gain)
    assert bank.noise_gain(gains)[0] == pytest.approx(expected, rel=0.02)
