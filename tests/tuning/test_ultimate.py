"""The ultimate cycle against closed forms, python-control and a stepped relay test."""

import math

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from simulator.linear_plant import LinearPlant
from tuning.process_model import ProcessModel
from tuning.ultimate import Ultimate, relay_estimate, ultimate_cycle


def plant_of(system: control.TransferFunction, dead_time: float = 0.0) -> LinearPlant:
    form = control.ss(system)
    return LinearPlant(form.A, form.B[:, 0], form.C[0], dead_time)


def cycle(plant: LinearPlant, scan_time: float | None = None) -> Ultimate:
    found = ultimate_cycle(plant, scan_time)
    assert found is not None
    return found


S = control.tf("s")


@pytest.mark.parametrize("n", [3, 4, 5, 8])
def test_equal_lags(n: int) -> None:
    """1/(s + 1)^n: omega = tan(pi/n), Ku = sec^n(pi/n) (exact)."""
    got = cycle(plant_of(1 / (S + 1) ** n))
    assert got.gain == pytest.approx(math.cos(math.pi / n) ** -n, rel=1e-9)
    assert got.period == pytest.approx(2.0 * math.pi / math.tan(math.pi / n), rel=1e-9)


@pytest.mark.parametrize(
    ("T", "L", "gain", "period"),
    [(1.0, 0.5, 3.806883, 1.710551), (1.0, 1.0, 2.261826, 3.097060)],
)
def test_first_order_with_dead_time(T: float, L: float, gain: float, period: float) -> None:
    """Numbers from omega L + atan(omega T) = pi, solved outside this code."""
    got = cycle(ProcessModel("first order", 1.0, T, L).linear_plant())
    assert got.gain == pytest.approx(gain, abs=6e-7)
    assert got.period == pytest.approx(period, abs=6e-7)


def test_integrator_with_dead_time() -> None:
    """Ku = pi/(2 k' L), Pu = 4 L (exact)."""
    got = cycle(ProcessModel("integrating", 0.3, 0.0, 0.7).linear_plant())
    assert got.gain == pytest.approx(math.pi / (2.0 * 0.3 * 0.7), rel=1e-12)
    assert got.period == pytest.approx(2.8, rel=1e-12)


def test_sampled_integrator() -> None:
    """2/(k' h), a swing of two scans (exact): half a sample of dead time would say pi/(k' h)."""
    got = cycle(ProcessModel("integrating", 0.3, 0.0, 0.0).linear_plant(), 0.1)
    assert got.gain == pytest.approx(2.0 / (0.3 * 0.1), rel=1e-9)
    assert got.period == pytest.approx(0.2, rel=1e-9)


def test_sampled_integrator_with_one_scan_of_delay() -> None:
    """z^2 - z + K k' h has its roots on the unit circle at K k' h = 1, omega h = pi/3 (exact)."""
    got = cycle(ProcessModel("integrating", 0.3, 0.0, 0.1).linear_plant(), 0.1)
    assert got.gain == pytest.approx(1.0 / (0.3 * 0.1), rel=1e-9)
    assert got.period == pytest.approx(0.6, rel=1e-9)


@pytest.mark.parametrize("order", [1, 2])
def test_lags_without_dead_time_have_none(order: int) -> None:
    assert ultimate_cycle(plant_of(1 / (S + 1) ** order)) is None


def test_integrator_without_dead_time_has_none() -> None:
    assert ultimate_cycle(ProcessModel("integrating", 1.0, 0.0, 0.0).linear_plant()) is None


@pytest.mark.parametrize(
    "system",
    [
        1 / (S + 1) ** 4,
        (2 * S + 1) / ((S + 1) * (0.2 * S + 1) * (0.05 * S + 1) ** 2),
        1 / ((S**2 + 0.02 * S + 1) * (0.5 * S + 1)),
        4 / ((S**2 + 0.01 * S + 1) * (S**2 + 0.02 * S + 4) * (0.1 * S + 1)),
        (S**2 + 0.001 * S + 1.2) / ((S**2 + 0.05 * S + 1) * (0.3 * S + 1) ** 2),
    ],
)
def test_agrees_with_python_control(system: control.TransferFunction) -> None:
    """The smallest gain margin python-control finds from its exact polynomials."""
    margins, *_, frequencies, _, _ = control.stability_margins(system, returnall=True)
    smallest = int(np.argmin(margins))
    got = cycle(plant_of(system))
    assert got.gain == pytest.approx(margins[smallest], rel=1e-6)
    assert got.period == pytest.approx(2.0 * math.pi / frequencies[smallest], rel=1e-6)


@pytest.mark.parametrize(("zeta", "L"), [(0.1, 0.03), (0.02, 0.2), (0.005, 3.0), (0.001, 10.0)])
def test_resonance_with_dead_time_agrees_with_fine_frequency_data(zeta: float, L: float) -> None:
    """python-control's margins of the response on a grid fine enough to see the peak."""
    T = 0.1
    omega = np.unique(np.concatenate([np.geomspace(0.1, 200, 1500), np.linspace(9, 11, 3001)]))
    s = 1j * omega
    response = np.exp(-s * L) / (T * T * s * s + 2.0 * zeta * T * s + 1.0)
    data = control.frd(response, omega)
    margins = control.stability_margins(data, returnall=True)[0]
    got = cycle(ProcessModel("second order", 1.0, T, L, damping=zeta).linear_plant())
    assert got.gain == pytest.approx(np.min(margins), rel=2e-3)


@settings(max_examples=30, deadline=None)
@given(
    zeta=st.floats(0.01, 2.0),
    T=st.floats(0.05, 5.0),
    L=st.floats(0.0, 2.0),
    scan_time=st.floats(0.01, 0.5),
)
def test_sampled_cycle_is_the_limit_of_stability(
    zeta: float, T: float, L: float, scan_time: float
) -> None:
    """Eigenvalues of the closed loop lie inside the unit circle just below Ku, outside above."""
    plant = ProcessModel("second order", 1.0, T, L, damping=zeta).linear_plant()
    got = cycle(plant, scan_time)
    A, B, C = plant.sampled(scan_time).with_delay_states()

    def radius(K: float) -> float:
        return float(np.max(np.abs(np.linalg.eigvals(A - K * np.outer(B, C)))))

    for share in (0.05, 0.5, 0.9, 0.9999):
        assert radius(share * got.gain) < 1.0
    assert radius(1.0001 * got.gain) > 1.0


@settings(max_examples=40, deadline=None)
@given(T=st.floats(0.01, 100.0), L=st.floats(0.01, 100.0), K=st.floats(0.01, 100.0))
def test_first_order_agrees_with_its_own_equation(T: float, L: float, K: float) -> None:
    w = brentq(lambda w: w * L + math.atan(w * T) - math.pi, 1e-9 / L, math.pi / L, xtol=1e-14 / L)
    got = cycle(ProcessModel("first order", K, T, L).linear_plant())
    assert got.gain == pytest.approx(math.hypot(1.0, w * T) / K, rel=1e-6)
    assert got.period == pytest.approx(2.0 * math.pi / w, rel=1e-6)


def test_fast_sampling_approaches_the_continuous_cycle() -> None:
    """A zero-order hold is worth half a scan of dead time in the limit (textbook)."""
    h = 1e-3
    got = cycle(ProcessModel("first order", 1.0, 1.0, 1.0).linear_plant(), h)
    late = cycle(ProcessModel("first order", 1.0, 1.0, 1.0 + 0.5 * h).linear_plant())
    assert got.gain == pytest.approx(late.gain, rel=1e-5)


@pytest.mark.parametrize("scan_time", [None, 0.1])
@pytest.mark.parametrize(
    ("plant", "message"),
    [
        (plant_of(1 / (S - 1)), "unstable"),
        (plant_of(1 / (S**2 + 1)), "undamped"),
        (ProcessModel("first order", -1.0, 1.0, 1.0).linear_plant(), "negative"),
        (ProcessModel("integrating", -1.0, 0.0, 1.0).linear_plant(), "negative"),
    ],
)
def test_refuses(plant: LinearPlant, message: str, scan_time: float | None) -> None:
    with pytest.raises(ValueError, match=message):
        ultimate_cycle(plant, scan_time)


@pytest.mark.parametrize(("gain", "period"), [(0.0, 1.0), (1.0, 0.0), (math.nan, 1.0)])
def test_ultimate_refuses_nonsense(gain: float, period: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        Ultimate(gain, period)


def relay_record(plant: LinearPlant, scan_time: float, duration: float) -> tuple[np.ndarray, ...]:
    """Step a relay of +-1 on the plant; the measurement is read before each output."""
    A, B, C = plant.sampled(scan_time).with_delay_states()
    x = np.zeros(A.shape[0])
    steps = round(duration / scan_time)
    u, y = np.zeros(steps), np.zeros(steps)
    for k in range(steps):
        y[k] = C @ x
        u[k] = 1.0 if y[k] <= 0.0 else -1.0
        x = A @ x + B * u[k]
    return scan_time * np.arange(steps), u, y


def test_relay_on_first_order() -> None:
    """K = T = L = 1: a = 1 - 1/e, period 2 (1 + ln(2 - 1/e)), 4 d/(pi a) = 2.014235 (exact)."""
    plant = ProcessModel("first order", 1.0, 1.0, 1.0).linear_plant()
    time, u, y = relay_record(plant, 0.01, 30.0)
    got = relay_estimate(time, u, y, amplitude=1.0)
    # Each switch may come up to one scan late.
    assert got.period == pytest.approx(2.979760, abs=0.05)
    assert got.gain == pytest.approx(2.014235, rel=0.01)
    true = cycle(plant)
    assert true.gain == pytest.approx(2.261826, abs=1e-6)
    assert got.gain < 0.9 * true.gain


def test_relay_reads_a_sine_exactly() -> None:
    """For a pure sine the describing function is no estimate: 4 d/(pi a)."""
    time = np.linspace(0.0, 10.0, 100_001)
    y = 3.0 + 0.5 * np.sin(2.0 * np.pi * time / 1.25)
    u = 40.0 - 2.0 * np.sign(np.sin(2.0 * np.pi * (time + 0.01) / 1.25))
    got = relay_estimate(time, u, y, amplitude=2.0)
    assert got.gain == pytest.approx(8.0 / (math.pi * 0.5), rel=1e-6)
    assert got.period == pytest.approx(1.25, rel=1e-6)


@pytest.mark.parametrize(
    ("u", "y", "amplitude", "message"),
    [
        ([0, 1, 0, 1, 0], [0, 1, 0, 1, 0], 0.5, "cycles"),
        ([0, 1] * 10, [2.0] * 20, 0.5, "does not move"),
        ([0, 1] * 10, [0, 1] * 10, 0.0, "amplitude"),
        ([0, 1] * 10, [0, math.nan] * 10, 0.5, "finite"),
        ([0, 1] * 10, [0, 1] * 9, 0.5, "alike"),
        ([], [], 0.5, "cycles"),
    ],
)
def test_relay_refuses(u: list, y: list, amplitude: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        relay_estimate(np.arange(len(u)), u, y, amplitude=amplitude)
