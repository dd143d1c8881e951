"""The linear plant's exact forms against closed forms, scipy and python-control."""

import control
import numpy as np
import pytest
from scipy.signal import cont2discrete

from simulator.linear_plant import LinearPlant, split_dead_time


def lag(K: float, T: float, L: float) -> LinearPlant:
    return LinearPlant(np.array([[-1 / T]]), np.array([1 / T]), np.array([K]), L)


def swing(dead_time: float = 0.0) -> LinearPlant:
    A = np.array([[0.0, 1.0], [-9.0, -0.4]])
    return LinearPlant(A, np.array([0.0, 9.0]), np.array([2.0, 0.1]), dead_time)


def test_frequency_response_is_python_controls_times_the_exact_delay():
    omega = np.geomspace(0.01, 100, 200)
    reference = control.frequency_response(
        control.ss(swing().A, swing().B[:, None], swing().C[None, :], 0), omega
    )
    np.testing.assert_allclose(
        swing(0.37).frequency_response(omega),
        reference.complex * np.exp(-1j * omega * 0.37),
        rtol=1e-10,
    )


@pytest.mark.parametrize("dead_time", [0.0, 0.03, 0.1, 0.17, 0.4])
def test_sampled_lag_with_dead_time_is_the_closed_form(dead_time):
    # y[k+1] = a y[k] + K (1 - exp(-(h - p)/T)) u[k-m] + K (exp(-(h - p)/T) - a) u[k-m-1]
    # for L = m h + p: a first-order lag driven by a held input that changes at p within the scan.
    K, T, h = 2.0, 0.7, 0.1
    m, p = divmod(round(dead_time * 1000), 100)
    p /= 1000
    a, late_edge = np.exp(-h / T), np.exp(-(h - p) / T)
    omega = np.linspace(0.1, np.pi / h, 50)
    z = np.exp(1j * omega * h)
    expected = K * ((1 - late_edge) + (late_edge - a) / z) * z**-m / (z - a)
    sampled = lag(K, T, dead_time).sampled(h)
    np.testing.assert_allclose(sampled.frequency_response(omega), expected, rtol=1e-10)


@pytest.mark.parametrize("dead_time", [0.0, 0.03, 0.1, 0.17, 0.4])
def test_delay_states_carry_the_same_plant(dead_time):
    sampled = swing(dead_time).sampled(0.1)
    A, B, C = sampled.with_delay_states()
    omega = np.linspace(0.1, np.pi / 0.1, 40)
    reference = control.frequency_response(control.ss(A, B[:, None], C[None, :], 0, 0.1), omega)
    np.testing.assert_allclose(sampled.frequency_response(omega), reference.complex, rtol=1e-8)


def test_sampling_without_delay_agrees_with_scipy():
    plant = swing()
    Ad, Bd, *_ = cont2discrete((plant.A, plant.B[:, None], plant.C[None, :], 0), 0.05)
    sampled = plant.sampled(0.05)
    np.testing.assert_allclose(sampled.Phi, Ad, rtol=1e-12)
    np.testing.assert_allclose(sampled.prompt, Bd[:, 0], rtol=1e-12)
    assert not sampled.late.any()


def test_static_gain_is_the_response_at_rest():
    assert lag(2.5, 3.0, 1.0).static_gain == pytest.approx(2.5)
    assert swing().static_gain == pytest.approx(float(swing(0.2).frequency_response(1e-9)[0].real))


def test_an_integrating_plant_has_no_static_gain():
    plant = LinearPlant(np.zeros((1, 1)), np.array([1.0]), np.array([1.0]), 0.0)
    assert plant.static_gain == float("inf")


@pytest.mark.parametrize("scan", [0.0, -1.0, float("nan")])
def test_a_scan_time_must_be_positive(scan):
    with pytest.raises(ValueError, match="scan_time"):
        swing().sampled(scan)


def test_dead_time_splits_into_scans_and_a_part():
    assert split_dead_time(0.0, 0.02) == (0, 0.0)
    assert split_dead_time(0.06, 0.02) == (3, 0.0)  # 0.06/0.02 is 2.9999999999999996 in floats
    whole, part = split_dead_time(0.05, 0.02)
    assert whole == 2 and part == pytest.approx(0.01)
