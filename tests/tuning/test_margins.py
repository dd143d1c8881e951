"""Margins against closed forms, published processes, python-control and their own inequalities."""

import math

import control
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simulator.linear_plant import LinearPlant
from tuning.gains import Gains, SeriesGains
from tuning.margins import closed_loop_modes, loop_margins
from tuning.process_model import ProcessModel

PLANT = ProcessModel("first order", 2.0, 10.0, 2.0).linear_plant()


def chain(*time_constants: float, dead_time: float = 0.0, integrating: bool = False) -> LinearPlant:
    """K = 1 and one lag after another; time constants all different or repeated."""
    system = control.tf([1.0], [1.0])
    for T in time_constants:
        system = system * control.tf([1.0], [T, 1.0])
    if integrating:
        system = system * control.tf([1.0], [1.0, 0.0])
    ss = control.ss(system)
    return LinearPlant(np.array(ss.A), np.array(ss.B)[:, 0], np.array(ss.C)[0], dead_time)


# K 2, T 10, L 2 with exact dead time: margins of each rule's gains, computed outside this project
# from L(jw) by root finding.
@pytest.mark.parametrize(
    "gains, Ms, gain_margin, phase_margin",
    [
        ((1.91305, 6.20127), 2.4272, 1.9216, 36.22),  # Ziegler–Nichols ultimate PI
        ((2.29167, 4.70769), 3.7592, 1.4988, 21.99),  # Cohen–Coon
        ((0.875, 12.0), 1.3551, 4.558, 75.15),  # Chien–Hrones–Reswick, setpoint 0 %
        ((1.5, 10.0), 1.7734, 2.618, 55.62),  # Chien–Hrones–Reswick, setpoint 20 %
        ((1.32850, 16.37135), 1.5909, 3.060, 68.82),  # Tyreus–Luyben
        ((1.25, 10.0), 1.5905, math.pi, 61.352),  # SIMC
        ((0.60278, 7.76522), 1.2638, 6.328, 67.52),  # AMIGO
        ((2.06946, 4.96639), 3.006, 1.686, 27.47),  # ITAE load
    ],
)
def test_one_plant_through_many_rules(gains, Ms, gain_margin, phase_margin):
    m = loop_margins(PLANT, Gains(*gains))
    assert m.stable
    assert m.Ms == pytest.approx(Ms, abs=6e-4)
    assert m.gain_margin == pytest.approx(gain_margin, abs=6e-4)
    assert m.phase_margin == pytest.approx(phase_margin, abs=6e-3)


def test_simc_closed_forms():
    # Ti = T, tau_c = L: L(s) = exp(-Ls)/(2Ls), so gain margin pi, phase margin 90° - 1/2 rad,
    # delay margin (pi - 1) L; Ms 1.590490.
    m = loop_margins(PLANT, Gains(1.25, 10.0))
    assert m.gain_margin == pytest.approx(math.pi, rel=1e-9)
    assert m.phase_margin == pytest.approx(90 - math.degrees(0.5), rel=1e-9)
    assert m.delay_margin == pytest.approx((math.pi - 1) * 2.0, rel=1e-9)
    assert m.Ms == pytest.approx(1.590490, abs=1e-6)


def test_simc_on_an_integrator():
    # k' = 1, L = 1, Kc 0.5, Ti 8: exact values 2.9634, 46.864°, 1.7035.
    m = loop_margins(ProcessModel("integrating", 1.0, 0.0, 1.0).linear_plant(), Gains(0.5, 8.0))
    assert m.gain_margin == pytest.approx(2.9634, abs=5e-5)
    assert m.phase_margin == pytest.approx(46.864, abs=5e-4)
    assert m.Ms == pytest.approx(1.7035, abs=5e-5)


def test_integral_action_on_a_light_resonance():
    # zeta 0.1 at 75 % of the limit: phase margin 88.2° with Ms 4.05: the phase margin misleads.
    plant = ProcessModel("second order", 1.0, 1.0, 0.0, 0.1).linear_plant()
    m = loop_margins(plant, Gains.integral_only(0.75 * 0.2))
    assert m.phase_margin == pytest.approx(88.2, abs=0.05)
    assert m.Ms == pytest.approx(4.05, abs=0.005)
    # Gain margin exactly 2 zeta w/(K Ki); the controller's last trace of gain moves it a little.
    assert m.gain_margin == pytest.approx(1 / 0.75, rel=1e-3)


@pytest.mark.parametrize("Kp", [0.0, 0.5, 2.0])
def test_integral_limit_of_a_resonance(Kp):
    # PI is stable exactly for K Ki < 2 zeta w (1 + K Kp).
    K, w, zeta = 1.5, 3.0, 0.07
    plant = ProcessModel("second order", K, 1 / w, 0.0, zeta).linear_plant()
    limit = 2 * zeta * w * (1 + K * Kp) / K
    for share, stable in ((0.999, True), (1.001, False)):
        Ki = share * limit
        gains = Gains(Kp, Kp / Ki) if Kp else Gains.integral_only(Ki)
        assert loop_margins(plant, gains).stable is stable


# Skogestad, J. Process Control 13 (2003), models from memory, settings recomputed; PID in series
# form without derivative filter.
@pytest.mark.parametrize(
    "plant, gains, Ms",
    [
        (chain(1.0, 0.2), Gains(5.5, 0.8), 1.560),
        (chain(1.0, 1.0, 1.0, 1.0), Gains(0.3, 1.5), 1.463),
        (chain(1.0, 1.0, dead_time=1.0), Gains(0.5, 1.5), 1.614),
    ],
)
def test_published_processes_under_simc_pi(plant, gains, Ms):
    assert loop_margins(plant, gains).Ms == pytest.approx(Ms, abs=6e-4)


@pytest.mark.parametrize(
    "plant, series, Ms",
    [
        (chain(1.0, 1.0, 1.0, 1.0), (0.5, 1.5, 1.0), 1.4318),
        (chain(1.0, 1.0, integrating=True), (1.0, 4.0, 1.5), 1.6028),
    ],
)
def test_published_processes_under_simc_pid(plant, series, Ms):
    ideal = SeriesGains(*series).standard()
    # Without derivative filter means a filter far above everything.
    unfiltered = Gains(ideal.Kc, ideal.Ti, ideal.Td, filter_ratio=1e5)
    assert loop_margins(plant, unfiltered).Ms == pytest.approx(Ms, abs=2e-4)


def test_complementary_sensitivity_closed_form():
    # L = w²/(s (s + 2 zeta w)) makes T the standard second order: Mt = 1/(2 zeta sqrt(1 - zeta²)).
    for Kc in (1.0, 4.0, 25.0):
        zeta = 0.5 / math.sqrt(Kc)
        m = loop_margins(chain(1.0, integrating=True), Gains(Kc, math.inf))
        assert m.Mt == pytest.approx(1 / (2 * zeta * math.sqrt(1 - zeta**2)), rel=1e-6)


def test_margins_agree_with_python_control():
    plant, gains = chain(1.0, 0.5, 0.3), Gains(1.2, 1.4)
    loop = control.ss(plant.A, plant.B[:, None], plant.C[None, :], 0) * control.tf(
        [gains.Kc * gains.Ti, gains.Kc], [gains.Ti, 0.0]
    )
    gm, pm, sm, _, _, _ = control.stability_margins(loop)
    m = loop_margins(plant, gains)
    assert m.gain_margin == pytest.approx(gm, rel=1e-4)
    assert m.phase_margin == pytest.approx(pm, rel=1e-4)
    assert 1 / m.Ms == pytest.approx(sm, rel=1e-4)


def test_dead_time_agrees_with_python_control_on_fine_frequency_data():
    omega = np.geomspace(1e-3, 20, 40_000)
    gains = Gains(2.0, 8.0)
    response = PLANT.frequency_response(omega) * gains.frequency_response(omega)
    gm, pm, sm, _, _, _ = control.stability_margins(control.frd(response, omega))
    m = loop_margins(PLANT, gains)
    assert m.gain_margin == pytest.approx(gm, rel=1e-3)
    assert m.phase_margin == pytest.approx(pm, rel=1e-3)
    assert 1 / m.Ms == pytest.approx(sm, rel=1e-3)


def test_sampling_fast_is_continuous_in_the_limit():
    # 1 ms against a dead time of 2 s: half a scan of delay is 1/4000 of it.
    fast = loop_margins(PLANT, Gains(1.25, 10.0), scan_time=1e-3)
    slow = loop_margins(PLANT, Gains(1.25, 10.0))
    assert fast.Ms == pytest.approx(slow.Ms, rel=2e-4)
    assert fast.gain_margin == pytest.approx(slow.gain_margin, rel=5e-4)


@pytest.mark.parametrize("Kc, Ti", [(1.25, 10.0), (3.0, 10.0), (4.4, 50.0), (2.0, 3.0), (1.0, 0.4)])
def test_long_dead_time_is_judged_like_a_short_one(Kc, Ti, monkeypatch):
    """Eigenvalues up to so many scans of dead time, the argument principle beyond: one verdict."""
    by_eigenvalues = loop_margins(PLANT, Gains(Kc, Ti), scan_time=0.02)
    monkeypatch.setattr("tuning.margins.MOST_DELAY_STATES", 10)
    by_argument = loop_margins(PLANT, Gains(Kc, Ti), scan_time=0.02)
    assert by_eigenvalues.stable == by_argument.stable


def test_sampled_proportional_control_of_an_integrator():
    # Ultimate gain exactly 2/(k' h), not the pi/(k' h) that half a scan of delay suggests.
    plant = ProcessModel("integrating", 0.8, 0.0, 0.0).linear_plant()
    ultimate = 2 / (0.8 * 0.1)
    assert loop_margins(plant, Gains(0.999 * ultimate, math.inf), scan_time=0.1).stable
    assert not loop_margins(plant, Gains(1.001 * ultimate, math.inf), scan_time=0.1).stable
    half = loop_margins(plant, Gains(0.5 * ultimate, math.inf), scan_time=0.1)
    assert half.gain_margin == pytest.approx(2.0, rel=1e-9)


def test_sampled_stability_is_seen_in_time():
    """The eigenvalues' verdict against the loop stepped scan by scan."""
    plant = ProcessModel("second order", 1.0, 0.3, 0.13, 0.05).linear_plant()
    for Ki, stable in ((0.05, True), (0.6, False)):
        gains = Gains.integral_only(Ki)
        sampled = plant.sampled(0.05)
        assert bool(np.abs(closed_loop_modes(sampled, gains)).max() < 1) is stable
        A, B, C = sampled.with_delay_states()
        x, integral, tail = np.zeros(A.shape[0]), 0.0, []
        for _ in range(8000):
            y = float(C @ x)
            u = gains.Kc * (1 - y) + integral
            integral += gains.Ki * 0.05 * (1 - y)
            x = A @ x + B * u
            tail.append(y)
        assert bool(abs(tail[-1] - 1) < 1e-3) is stable


@settings(max_examples=60, deadline=None)
@given(
    K=st.floats(0.1, 5.0),
    T=st.floats(0.2, 20.0),
    L=st.floats(0.05, 5.0),
    share=st.floats(0.05, 0.9),
    Ti=st.floats(0.5, 30.0),
)
def test_ms_bounds_the_other_margins(K, T, L, share, Ti):
    # GM >= Ms/(Ms - 1) and PM >= 2 asin(1/(2 Ms)) for every stable loop.
    plant = ProcessModel("first order", K, T, L).linear_plant()
    m = loop_margins(plant, Gains(share * T / (K * L), Ti))
    assume(m.stable)
    assert m.gain_margin >= m.Ms / (m.Ms - 1) * (1 - 1e-6)
    assert math.radians(m.phase_margin) >= 2 * math.asin(1 / (2 * m.Ms)) * (1 - 1e-6)


@settings(max_examples=40, deadline=None)
@given(Kc=st.floats(0.05, 6.0), Ti=st.floats(0.5, 40.0))
def test_both_ways_to_stability_agree(Kc, Ti):
    """The argument principle on the continuous loop, eigenvalues on the same loop sampled fast."""
    continuous = loop_margins(PLANT, Gains(Kc, Ti))
    assume(continuous.Ms < 20)
    assert continuous.stable == loop_margins(PLANT, Gains(Kc, Ti), scan_time=0.02).stable
