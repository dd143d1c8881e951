"""Process models against scipy, python-control and textbook overshoot."""

import math

import control
import numpy as np
import pytest
from scipy import signal

from tuning.process_model import ProcessModel

TIME = np.linspace(0.0, 30.0, 601)
MODELS = [
    ProcessModel("first order", 2.0, 3.0, 1.5),
    ProcessModel("first order", -0.4, 0.7, 0.0),
    ProcessModel("integrating", 0.3, 0.0, 0.8),
    ProcessModel("second order", 1.7, 1.3, 0.0, damping=0.1),
    ProcessModel("second order", 1.7, 1.3, 2.0, damping=0.7),
    ProcessModel("second order", 0.5, 2.0, 0.4, damping=1.0),
    ProcessModel("second order", 0.5, 2.0, 0.4, damping=1.0 + 1e-5),
    ProcessModel("second order", 0.5, 2.0, 0.4, damping=1.0 - 1e-5),
    ProcessModel("second order", 3.0, 0.6, 1.0, damping=4.0),
]


def transfer(model: ProcessModel) -> tuple[list[float], list[float]]:
    """Return numerator and denominator without the dead time."""
    K, T = model.gain, model.time_constant
    if model.kind == "integrating":
        return [K], [1.0, 0.0]
    if model.damping is None:
        return [K], [T, 1.0]
    return [K], [T * T, 2.0 * model.damping * T, 1.0]


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_step_response_agrees_with_scipy(model: ProcessModel) -> None:
    time, expected = signal.step(transfer(model), T=TIME)
    np.testing.assert_allclose(
        model.step_response(time + model.dead_time), expected, atol=1e-7, rtol=0
    )


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_step_response_agrees_with_python_control(model: ProcessModel) -> None:
    response = control.step_response(control.tf(*transfer(model)), T=TIME)
    got = model.step_response(TIME + model.dead_time)
    np.testing.assert_allclose(got, response.outputs, atol=1e-7, rtol=0)


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_linear_plant_has_the_transfer_function(model: ProcessModel) -> None:
    omega = np.geomspace(1e-2, 1e2, 60)
    s = 1j * omega
    num, den = transfer(model)
    expected = np.polyval(num, s) / np.polyval(den, s) * np.exp(-s * model.dead_time)
    got = model.linear_plant().frequency_response(omega)
    np.testing.assert_allclose(got, expected, rtol=1e-12)


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_sampled_plant_passes_through_the_step_response(model: ProcessModel) -> None:
    """A held step is the same to the sampled and the continuous plant (zero-order hold)."""
    scan_time = 0.3
    A, B, C = model.linear_plant().sampled(scan_time).with_delay_states()
    x = np.zeros(A.shape[0])
    got = []
    for _ in range(60):
        got.append(C @ x)
        x = A @ x + B
    expected = model.step_response(scan_time * np.arange(60))
    np.testing.assert_allclose(got, expected, atol=1e-11)


def test_overshoot_is_the_textbook_one() -> None:
    """exp(-pi zeta/sqrt(1 - zeta^2)), reached after half a damped period (textbook identity)."""
    zeta, T = 0.3, 0.5
    model = ProcessModel("second order", 1.0, T, 0.0, damping=zeta)
    peak_time = math.pi * T / math.sqrt(1.0 - zeta**2)
    peak = 1.0 + math.exp(-math.pi * zeta / math.sqrt(1.0 - zeta**2))
    assert model.step_response([peak_time])[0] == pytest.approx(peak, rel=1e-12)


def test_quarter_decay() -> None:
    """Successive overshoots shrink to a quarter at zeta = 0.215454 (identity)."""
    model = ProcessModel("second order", 1.0, 1.0, 0.0, damping=0.215454)
    half = math.pi / math.sqrt(1.0 - 0.215454**2)
    first, second = model.step_response([half, 3.0 * half]) - 1.0
    assert second / first == pytest.approx(0.25, rel=1e-5)


def test_nothing_moves_before_the_dead_time() -> None:
    for model in MODELS:
        before = np.array([-5.0, 0.0, 0.999 * model.dead_time])
        np.testing.assert_array_equal(model.step_response(before), 0.0)


def test_pure_delay_steps_at_once_and_has_no_state_space() -> None:
    model = ProcessModel("first order", 2.0, 0.0, 1.0)
    np.testing.assert_array_equal(model.step_response([0.0, 0.999, 1.0, 5.0]), [0, 0, 2, 2])
    with pytest.raises(ValueError, match="pure delay"):
        model.linear_plant()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("third order", 1.0, 1.0, 0.0), "kind"),
        (("first order", 0.0, 1.0, 0.0), "gain"),
        (("first order", math.nan, 1.0, 0.0), "gain"),
        (("first order", 1.0, -1.0, 0.0), "time_constant"),
        (("first order", 1.0, math.inf, 0.0), "time_constant"),
        (("first order", 1.0, 1.0, -0.1), "dead_time"),
        (("first order", 1.0, 1.0, 0.0, 0.5), "damping"),
        (("second order", 1.0, 1.0, 0.0), "damping"),
        (("second order", 1.0, 1.0, 0.0, 0.0), "damping"),
        (("second order", 1.0, 0.0, 0.0, 0.5), "time_constant"),
    ],
)
def test_refuses_impossible_models(arguments: tuple, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        ProcessModel(*arguments)
