"""Response metrics against closed forms, python-control and a loop computed outside the project."""

import math

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from tuning.metrics import load_metrics, step_metrics
from tuning.process_model import ProcessModel

FINE = np.linspace(0.0, 40.0, 40001)


def pi_loop(h: float, *, setpoint: float, load: float, duration: float) -> tuple[np.ndarray, ...]:
    """Time, measurement and output of a PI loop on K 2, T 10 s, L 2 s with exact dead time.

    Kc 1.25, Ti 10 s (SIMC with tau_c = L). The delayed output is taken as straight between steps
    of h, the lag's answer to that is exact, the integral is the trapezium's: second order in h.
    """
    K, T, L, Kc, Ti = 2.0, 10.0, 2.0, 1.25, 10.0
    delay, n = round(L / h), round(duration / h)
    a = math.exp(-h / T)
    late = T / h * (1.0 - a) - a  # weight of the older of two delayed outputs
    y, u, integral = 0.0, np.zeros(n + 1), 0.0
    values = np.zeros(n + 1)
    u[0] = Kc * setpoint
    for k in range(1, n + 1):
        older = u[k - 1 - delay] if k - 1 >= delay else 0.0
        newer = u[k - delay] if k > delay else older
        older = u[0] if k - 1 == delay else older
        y_new = a * y + K * (late * (older + load) + (1.0 - a - late) * (newer + load))
        integral += 0.5 * h * ((setpoint - y) + (setpoint - y_new))
        y = y_new
        values[k] = y
        u[k] = Kc * (setpoint - y + integral / Ti)
    return h * np.arange(n + 1), values, u


def exact_setpoint_response(t: np.ndarray) -> np.ndarray:
    """Here the lag cancels: y' = (1 - y(t - 2))/8 × 2 = (1 - y(t - 2))/4, solved step by step."""
    y = np.zeros_like(t)
    for k in range(1, 40):
        y -= (-0.25) ** k * np.maximum(t - 2.0 * k, 0.0) ** k / math.factorial(k)
    return y


# ---- a published rule on a known plant


def test_the_loop_of_this_test_is_right() -> None:
    time, y, _ = pi_loop(0.01, setpoint=1.0, load=0.0, duration=40.0)
    np.testing.assert_allclose(y, exact_setpoint_response(time), atol=2e-5)


def test_simc_pi_on_its_own_step() -> None:
    """Overshoot 4.05 %, peak 9.48 s, IAE 4.337 (computed outside this project).

    2 % settling is the last root of y = 1.02 in the closed form, 12.1129 s; the first sample after
    it on a coarse grid reads 12.12 s.
    """
    time, y, u = pi_loop(0.005, setpoint=1.0, load=0.0, duration=60.0)
    found = step_metrics(time, y, start=0.0, target=1.0, output=u)
    assert found.overshoot == pytest.approx(4.05, abs=0.005)
    assert found.peak_time == pytest.approx(9.48, abs=0.01)
    root = optimize.brentq(lambda t: exact_setpoint_response(np.array([t]))[0] - 1.02, 10.0, 14.0)
    assert root == pytest.approx(12.1129, abs=1e-4)
    assert found.settling_time == pytest.approx(root, abs=1e-3)
    assert found.iae == pytest.approx(4.337, abs=0.0005)
    assert found.warnings == ()


def test_metrics_converge_as_the_step_of_the_loop_shrinks() -> None:
    def metrics(h: float) -> np.ndarray:
        time, y, _ = pi_loop(h, setpoint=1.0, load=0.0, duration=40.0)
        m = step_metrics(time, y, start=0.0, target=1.0)
        return np.array([m.iae, m.settling_time, m.rise_time, m.overshoot])

    exact = step_metrics(FINE, exact_setpoint_response(FINE), start=0.0, target=1.0)
    wanted = np.array([exact.iae, exact.settling_time, exact.rise_time, exact.overshoot])
    coarse, fine = np.abs(metrics(0.1) - wanted), np.abs(metrics(0.025) - wanted)
    assert np.all(fine < np.maximum(coarse / 8.0, 1e-4))


def test_simc_pi_against_a_load() -> None:
    """IAE 8.000 = Ti/Kc, exact while the error keeps its sign."""
    time, y, _ = pi_loop(0.02, setpoint=0.0, load=1.0, duration=150.0)
    found = load_metrics(time, y, target=0.0, band_absolute=0.05)
    assert found.iae == pytest.approx(8.0, abs=0.001)
    assert found.peak_deviation == pytest.approx(y.max(), rel=1e-12)
    assert found.peak_deviation > 0.0
    assert y[time > found.recovery_time + 0.02].max() <= 0.05
    assert y[time < found.recovery_time].max() > 0.05


# ---- closed forms


@pytest.mark.parametrize("zeta", [0.1, 0.215454, 0.5, 0.7])
def test_overshoot_and_peak_time_are_the_textbook_ones(zeta: float) -> None:
    """exp(-pi zeta/sqrt(1 - zeta^2)) at pi T/sqrt(1 - zeta^2) (exact)."""
    y = ProcessModel("second order", 3.0, 0.5, 0.0, damping=zeta).step_response(FINE)
    found = step_metrics(FINE, 40.0 + y, start=40.0, target=43.0)
    root = math.sqrt(1.0 - zeta**2)
    assert found.overshoot == pytest.approx(100.0 * math.exp(-math.pi * zeta / root), rel=1e-4)
    assert found.peak_time == pytest.approx(0.5 * math.pi / root, abs=2e-3)


def test_a_lag_has_known_times_and_areas() -> None:
    """T ln 9, T ln 50, T, T/2 (exact)."""
    y = ProcessModel("first order", 1.0, 2.0, 0.0).step_response(FINE)
    found = step_metrics(FINE, y, start=0.0, target=1.0)
    assert found.rise_time == pytest.approx(2.0 * math.log(9.0), abs=1e-5)
    assert found.settling_time == pytest.approx(2.0 * math.log(50.0), abs=1e-5)
    assert found.iae == pytest.approx(2.0, rel=1e-5)
    assert found.ise == pytest.approx(1.0, rel=1e-5)
    assert found.overshoot == 0.0
    assert math.isnan(found.peak_time)
    assert math.isnan(found.total_variation)


def test_areas_are_exact_for_straight_lines_that_cross_the_target() -> None:
    """From 0 to 3 about 1: triangles of 1/6 and 2/3; squared, (1 + 8)/9 (exact)."""
    found = load_metrics([0.0, 1.0], [0.0, 3.0], target=1.0, band_absolute=5.0)
    assert found.iae == pytest.approx(1.0 / 6.0 + 2.0 / 3.0)
    assert found.ise == pytest.approx(1.0)
    assert found.recovery_time == 0.0


@pytest.mark.parametrize("zeta", [0.15, 0.4, 0.8])
def test_against_python_control_from_zero(zeta: float) -> None:
    """step_info on a fine grid and a zero baseline, where it reads right; it does not interpolate.

    Its settling time is the first sample inside for good.
    """
    wn = 2.0
    system = control.tf([wn**2], [1.0, 2.0 * zeta * wn, wn**2])
    info = control.step_info(system, T=FINE, SettlingTimeThreshold=0.02)
    y = control.step_response(system, T=FINE).outputs
    found = step_metrics(FINE, y, start=0.0, target=1.0)
    assert found.rise_time == pytest.approx(info["RiseTime"], abs=2.5e-3)
    assert found.settling_time == pytest.approx(info["SettlingTime"], abs=2.5e-3)
    assert found.overshoot == pytest.approx(info["Overshoot"], abs=1e-3)
    assert found.peak_time == pytest.approx(info["PeakTime"], abs=2.5e-3)


# ---- properties


@given(
    st.floats(-1e3, 1e3),
    st.floats(0.01, 100.0),
    st.sampled_from([1.0, -1.0]),
    st.floats(0.05, 2.0),
    st.floats(-100.0, 100.0),
)
@settings(max_examples=60, deadline=None)
def test_baseline_size_sign_and_clock_do_not_matter(
    baseline: float, size: float, sign: float, zeta: float, at: float
) -> None:
    t = np.linspace(0.0, 30.0, 3001)
    share = ProcessModel("second order", 1.0, 0.4, 0.3, damping=zeta).step_response(t)
    plain = step_metrics(t, share, start=0.0, target=1.0, band=0.05)
    step = sign * size
    other = step_metrics(
        at + t, baseline + step * share, start=baseline, target=baseline + step, at=at, band=0.05
    )
    for name in ("rise_time", "settling_time"):
        assert getattr(other, name) == pytest.approx(getattr(plain, name), rel=1e-5, nan_ok=True)
    assert other.overshoot == pytest.approx(plain.overshoot, abs=1e-4)
    assert other.iae == pytest.approx(size * plain.iae, rel=1e-5)
    assert other.ise == pytest.approx(size**2 * plain.ise, rel=1e-5)


@given(st.floats(-100.0, 100.0), st.sampled_from([1.0, -1.0]))
@settings(max_examples=30, deadline=None)
def test_a_load_keeps_its_sign_and_forgets_the_target(target: float, sign: float) -> None:
    t = np.linspace(0.0, 20.0, 2001)
    bump = t * np.exp(-t)
    plain = load_metrics(t, bump, target=0.0, band_absolute=0.02)
    other = load_metrics(t, target + sign * bump, target=target, band_absolute=0.02)
    assert other.peak_deviation == pytest.approx(sign * math.exp(-1.0), rel=1e-6)
    assert other.peak_time == pytest.approx(1.0, abs=0.011)
    assert other.recovery_time == pytest.approx(plain.recovery_time, rel=1e-6)
    assert other.iae == pytest.approx(1.0, rel=1e-3)


# ---- odd records


def test_a_response_back_to_zero_is_read_right() -> None:
    """From 50 to 0, where a share of the final value means nothing."""
    y = 50.0 - ProcessModel("first order", 50.0, 2.0, 0.0).step_response(FINE)
    found = step_metrics(FINE, y, start=50.0, target=0.0)
    assert found.settling_time == pytest.approx(2.0 * math.log(50.0), abs=1e-5)


def test_what_came_before_the_step_does_not_count() -> None:
    t = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    y = np.array([9.0, 0.0, 0.0, 1.0, 1.0, 1.0])
    u = np.array([7.0, 1.0, 5.0, 4.0, 4.0, 4.0])
    found = step_metrics(t, y, start=0.0, target=1.0, at=2.0, output=u)
    assert found.iae == pytest.approx(0.5)
    assert found.rise_time == pytest.approx(0.8)
    assert found.total_variation == pytest.approx(5.0)  # 4 at the step, 1 after it
    between = step_metrics(t, y, start=0.0, target=1.0, at=1.5, output=u)
    assert between.iae == pytest.approx(1.0)
    assert between.total_variation == pytest.approx(5.0)


def test_a_response_that_is_not_over_says_so() -> None:
    t = np.linspace(0.0, 1.0, 101)
    found = step_metrics(t, 0.5 * t, start=0.0, target=1.0)
    assert math.isnan(found.rise_time)
    assert math.isnan(found.settling_time)
    assert len(found.warnings) == 2
    load = load_metrics(t, t, target=0.0, band_absolute=0.1)
    assert math.isnan(load.recovery_time)
    assert "not back within 0.1" in load.warnings[0]


@pytest.mark.parametrize(
    "change, said",
    [
        ({"time": [0.0, 1.0]}, "shapes"),
        ({"time": [0.0, 2.0, 1.0]}, "time"),
        ({"measurement": [0.0, math.nan, 1.0]}, "finite"),
        ({"target": 0.0}, "differ"),
        ({"at": 5.0}, "outside the record"),
        ({"band": 0.0}, "band"),
        ({"output": [1.0]}, "output"),
    ],
)
def test_wrong_input_is_refused(change: dict[str, object], said: str) -> None:
    given_: dict[str, object] = {
        "time": [0.0, 1.0, 2.0],
        "measurement": [0.0, 1.0, 1.0],
        "start": 0.0,
        "target": 1.0,
    } | change
    time, measurement = given_.pop("time"), given_.pop("measurement")
    with pytest.raises(ValueError, match=said):
        step_metrics(time, measurement, **given_)  # type: ignore[arg-type]


def test_wrong_load_input_is_refused() -> None:
    with pytest.raises(ValueError, match="band_absolute"):
        load_metrics([0.0, 1.0], [0.0, 1.0], target=0.0, band_absolute=0.0)
    with pytest.raises(ValueError, match="target"):
        load_metrics([0.0, 1.0], [0.0, 1.0], target=math.inf, band_absolute=1.0)
