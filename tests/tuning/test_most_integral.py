"""The most integral action within limits: published optima, closed forms, brute force."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import LinearPlant
from tuning.gains import Gains
from tuning.margins import loop_margins, plant_response
from tuning.most_integral import Limits, largest_gain, most_integral
from tuning.plant_bank import bank_of
from tuning.process_model import ProcessModel

SCAN = 0.1
MODELS = [
    ProcessModel("first order", 2.0, 10.0, 2.0),
    ProcessModel("first order", 1.0, 1.0, 1.0),
    ProcessModel("second order", 1.0, 0.5, 0.2, 0.05),
    ProcessModel("second order", 1.0, 0.5, 0.2, 1.5),
    # Hardly damped and scanned slowly: gain alone would break the limit sooner than PI does.
    ProcessModel("second order", 1.0, 0.05, 0.02, 0.01),
]


def equal_lags(n, dead_time=0.0):
    """1/(s + 1)^n as a chain of lags."""
    A = -np.eye(n) + np.diag(np.ones(n - 1), -1)
    B, C = np.zeros(n), np.zeros(n)
    B[0] = C[-1] = 1.0
    return LinearPlant(A, B, C, dead_time)


def continuous_Ms(G, omega, Kc, Ki):
    """Largest sensitivity of a continuous PI loop, written out here and nowhere else."""
    return np.abs(1.0 / (1.0 + G * (Kc + Ki / (1j * omega)))).max()


# Åström, Panagopoulos & Hägglund, Automatica 34(5), 1998, give K 0.633, Ti 1.95 for 1/(s + 1)^3 at
# Ms 1.4 (from memory). The paper's other processes of this family are found by brute force here.
@pytest.mark.parametrize(("lags", "dead_time"), [(3, 0.0), (4, 0.0), (1, 1.0), (2, 1.0)])
@pytest.mark.parametrize("limit", [1.4, 2.0])
def test_constrained_optimum_of_published_processes(lags, dead_time, limit):
    found = most_integral(
        bank_of([equal_lags(lags, dead_time)], scan_time=0.002), "PI", Limits(limit)
    )
    omega = np.geomspace(0.01, 30.0, 3000)
    G = np.exp(-1j * omega * dead_time) / (1j * omega + 1.0) ** lags
    best = 0.0
    for Kc in np.linspace(0.5, 1.5, 51) * found.Kc:
        for Ki in np.linspace(0.97, 1.03, 31) * found.Ki:
            if Ki > best and continuous_Ms(G, omega, Kc, Ki) <= limit:
                best = Ki
    assert found.Ki == pytest.approx(best, rel=0.01)
    if lags == 3 and limit == 1.4:
        assert found.Kc == pytest.approx(0.633, abs=0.003)
        assert found.Ti == pytest.approx(1.95, abs=0.01)


@pytest.mark.parametrize("model", MODELS)
def test_pi_against_brute_force(model):
    """No point of a fine grid of (Kc, Ki) that keeps the limit has much more integral action."""
    seen = plant_response(model.linear_plant(), scan_time=SCAN)
    best = most_integral(bank_of([model.linear_plant()], scan_time=SCAN), "PI", Limits(1.6))
    assert loop_margins(seen, best).Ms <= 1.6 * 1.001
    found = 0.0
    near = np.concatenate([np.geomspace(0.02, 20.0, 40), np.linspace(0.9, 1.2, 13)])
    for Kc in near * best.Kc:
        for Ki in np.linspace(0.9, 1.3, 41) * best.Ki:
            gains = Gains(float(Kc), float(Kc / Ki))
            if gains.Ti >= SCAN and Ki > found:
                m = loop_margins(seen, gains)
                if m.stable and m.Ms <= 1.6:
                    found = float(Ki)
    assert found <= best.Ki * 1.002
    assert found >= best.Ki * 0.95


@pytest.mark.parametrize("model", MODELS[:4])
def test_pid_against_brute_force(model):
    bank = bank_of([model.linear_plant()], scan_time=SCAN)
    best = most_integral(bank, "PID", Limits(1.6))
    assert best.Ti >= 4.0 * best.Td * (1.0 - 1e-9)
    assert best.Ki >= most_integral(bank, "PI", Limits(1.6)).Ki * 0.999
    # A grid of Kc and Td at 2 % more integral action: nothing on it keeps the limit.
    for Kc in np.geomspace(0.2, 5.0, 41) * best.Kc:
        Ti = Kc / (1.02 * best.Ki)
        if Ti < SCAN:
            continue
        for share in np.linspace(0.0, 0.25, 11):
            assert bank.severity(Gains(Kc, Ti, share * Ti))[0][0] > 1.6


def test_integral_action_on_a_light_resonance_stays_below_its_closed_form():
    # I-only on K w²/(s² + 2 zeta w s + w²) is stable exactly for K Ki < 2 zeta w; with |S| <= Ms at
    # the resonance, where L = -K Ki/(2 zeta w), it is K Ki <= 2 zeta w (1 - 1/Ms), nearly.
    w, zeta, limit = 2.0, 0.02, 1.6
    plant = ProcessModel("second order", 1.0, 1 / w, 0.0, zeta).linear_plant()
    gains = most_integral(bank_of([plant], scan_time=0.001), "I", Limits(limit))
    assert gains.Ki == pytest.approx(2 * zeta * w * (1 - 1 / limit), rel=0.03)


def test_largest_gain_is_where_the_limit_is_met():
    seen = plant_response(MODELS[0].linear_plant(), scan_time=SCAN)
    H = seen.values * (1 + SCAN / np.expm1(1j * seen.omega * SCAN) / 8.0)
    Kc = float(largest_gain(H[None, :], ms_limit=1.6)[0])
    assert loop_margins(seen, Gains(Kc, 8.0)).Ms == pytest.approx(1.6, abs=1e-3)
    assert loop_margins(seen, Gains(1.05 * Kc, 8.0)).Ms > 1.6
    assert loop_margins(seen, Gains(0.95 * Kc, 8.0)).Ms < 1.6


@pytest.mark.parametrize("kind", ["I", "PI", "PID"])
def test_noise_limit_is_kept_and_used(kind):
    bank = bank_of([MODELS[3].linear_plant()], scan_time=SCAN)
    loud = most_integral(bank, kind, Limits(1.6))
    most = 0.5 * float(bank.noise_gain(loud)[0])
    quiet = most_integral(bank, kind, Limits(1.6, noise_gain=most))
    assert bank.noise_gain(quiet)[0] <= most * (1.0 + 1e-6)
    assert bank.noise_gain(quiet)[0] == pytest.approx(most, rel=1e-2)
    assert quiet.Ki < loud.Ki
    # A limit that does not bind changes nothing.
    free = most_integral(bank, kind, Limits(1.6, noise_gain=10.0 * most))
    assert free.Ki == pytest.approx(loud.Ki, rel=1e-6)


def test_best_within_a_noise_limit_against_brute_force():
    bank = bank_of([MODELS[0].linear_plant()], scan_time=SCAN)
    most = 0.7 * float(bank.noise_gain(most_integral(bank, "PI", Limits(1.6)))[0])
    best = most_integral(bank, "PI", Limits(1.6, noise_gain=most))
    for Kc in np.geomspace(0.1, 5.0, 61) * best.Kc:
        gains = Gains(Kc, Kc / (1.02 * best.Ki))
        assert bank.severity(gains)[0][0] > 1.6 or bank.noise_gain(gains)[0] > most


def test_two_plants_are_held_by_the_worse():
    lively, slow = MODELS[0], replace(MODELS[0], gain=4.0)
    both = bank_of([lively.linear_plant(), slow.linear_plant()], scan_time=SCAN)
    alone = bank_of([slow.linear_plant()], scan_time=SCAN)
    assert most_integral(both, "PI", Limits(1.6)).Ki == pytest.approx(
        most_integral(alone, "PI", Limits(1.6)).Ki, rel=1e-4
    )


def test_a_plant_that_does_not_settle_is_refused():
    bank = bank_of([ProcessModel("integrating", 1.0, 0.0, 0.5).linear_plant()], scan_time=SCAN)
    assert math.isinf(bank.slowest_time)
    with pytest.raises(ValueError, match="not stable in manual"):
        most_integral(bank, "PI", Limits(1.6))
