"""Controller forms against hand-computed values, and the digital controller against itself run."""

import dataclasses
import math
from types import SimpleNamespace

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tuning.gains import (
    Gains,
    IndependentGains,
    SeriesGains,
    in_all_forms,
    proportional_band,
    repeats_per_minute,
    to_independent,
    to_series,
)

positive = st.floats(1e-3, 1e3)
some_gains = st.builds(
    Gains,
    Kc=positive,
    Ti=st.one_of(positive, st.just(math.inf)),
    Td=st.one_of(st.just(0.0), positive),
    filter_ratio=st.floats(1.0, 50.0),
)


# Series and standard form, checked by hand: K = Kc (1 + tD/tI), Ti = tI + tD,
# Td = tI tD/(tI + tD).


def test_series_to_standard() -> None:
    got = SeriesGains(2.0, 10.0, 2.0).standard()
    assert (got.Kc, got.Ti, got.Td) == pytest.approx((2.4, 12.0, 5.0 / 3.0), rel=1e-14)


@pytest.mark.parametrize(
    ("standard", "series"),
    [((2.4, 12.0, 5.0 / 3.0), (2.0, 10.0, 2.0)), ((3.0, 12.0, 3.0), (1.5, 6.0, 6.0))],
)
def test_standard_to_series(standard: tuple, series: tuple) -> None:
    got = to_series(Gains(*standard))
    assert (got.Kc, got.Ti, got.Td) == pytest.approx(series, rel=1e-7)


def test_series_refused_below_four_derivative_times() -> None:
    with pytest.raises(ValueError, match=r"Ti 1 s is below 4 Td = 2 s"):
        to_series(Gains(2.0, 1.0, 0.5))


def test_series_of_pi_and_pd_is_the_same() -> None:
    assert to_series(Gains(2.0, 3.0)) == SeriesGains(2.0, 3.0, 0.0)
    assert to_series(Gains(2.0, math.inf, 0.5)) == SeriesGains(2.0, math.inf, 0.5)
    assert SeriesGains(2.0, math.inf, 0.5).standard() == Gains(2.0, math.inf, 0.5)


@given(Kc=positive, Ti=positive, ratio=st.floats(0.0, 0.2499))
def test_series_round_trip_and_transfer_function(Kc: float, Ti: float, ratio: float) -> None:
    gains = Gains(Kc, Ti, ratio * Ti)
    series = to_series(gains)
    back = series.standard()
    assert (back.Kc, back.Ti, back.Td) == pytest.approx((Kc, Ti, ratio * Ti), rel=1e-9)
    s = 1j * np.geomspace(1e-3, 1e3, 7) / Ti
    ideal = Kc * (1.0 + 1.0 / (Ti * s) + gains.Td * s)
    product = series.Kc * (1.0 + 1.0 / (series.Ti * s)) * (1.0 + series.Td * s)
    np.testing.assert_allclose(product, ideal, rtol=1e-9)


# Proportional band and reset: 100/Kc and 60/Ti (common practice).


def test_proportional_band_and_reset() -> None:
    assert proportional_band(Gains(0.5, 30.0)) == 200.0
    assert repeats_per_minute(Gains(0.5, 30.0)) == 2.0
    assert proportional_band(Gains(0.0, 30.0)) == math.inf
    assert repeats_per_minute(Gains(0.5, math.inf)) == 0.0


def test_independent_gains_per_newton() -> None:
    """On a range of 400 N, 4 N is 1 %: gains per N are a quarter of those per %."""
    got = to_independent(Gains(2.0, 4.0, 0.5), 400.0)
    assert got == IndependentGains(0.5, 0.125, 0.25, error_unit="N")
    assert to_independent(Gains(2.0, 4.0, 0.5)) == IndependentGains(2.0, 0.5, 1.0)


@given(gains=some_gains, tension_range=positive)
def test_independent_round_trip(gains: Gains, tension_range: float) -> None:
    for back in (
        to_independent(gains).standard(),
        to_independent(gains, tension_range).standard(tension_range),
    ):
        assert (back.Kc, back.Ti, back.Td) == pytest.approx((gains.Kc, gains.Ti, gains.Td))


def test_independent_gains_refuse() -> None:
    with pytest.raises(ValueError, match="Kp"):
        IndependentGains(0.0, 1.0, 0.0).standard()
    with pytest.raises(ValueError, match="tension_range"):
        IndependentGains(1.0, 1.0, 0.0, error_unit="N").standard()
    with pytest.raises(ValueError, match="tension_range"):
        to_independent(Gains(1.0, 1.0), 0.0)


def test_all_forms_say_the_same() -> None:
    rows = in_all_forms(Gains(2.4, 12.0, 5.0 / 3.0), 300.0)
    value = {(row.form, row.symbol, row.unit): row.value for row in rows}
    assert len(value) == len(rows)
    expected = {
        ("ISA standard", "Kc", "%/%"): 2.4,
        ("ISA standard", "Ti", "s"): 12.0,
        ("ISA standard", "Ti", "min"): 0.2,
        ("ISA standard", "Td", "s"): 5.0 / 3.0,
        ("proportional band and reset", "PB", "%"): 100.0 / 2.4,
        ("proportional band and reset", "reset rate", "repeats/min"): 5.0,
        ("independent gains, error in %", "Ki", "%/(% s)"): 0.2,
        ("independent gains, error in %", "Kd", "% s/%"): 4.0,
        ("independent gains, error in N", "Kp", "%/N"): 0.8,
        ("independent gains, error in N", "Ki", "%/(N s)"): 0.2 / 3.0,
        ("series (interacting)", "Kc'", "%/%"): 2.0,
        ("series (interacting)", "Ti'", "s"): 10.0,
        ("series (interacting)", "Td'", "s"): 2.0,
    }
    for key, number in expected.items():
        assert value[key] == pytest.approx(number, rel=1e-7), key
    assert all(row.formula for row in rows)


def test_forms_without_derivative_action_leave_its_rows_out() -> None:
    rows = in_all_forms(Gains(2.4, 12.0), 300.0)
    assert {row.symbol for row in rows} == {"Kc", "Ti", "PB", "reset rate", "Kp", "Ki"}


def test_all_forms_say_where_series_is_out_of_reach() -> None:
    rows = in_all_forms(Gains(2.0, 1.0, 0.5), 300.0)
    series = [row for row in rows if row.value is None]
    assert {row.form for row in series} == {"series (interacting)"}
    assert all("4 Td" in row.formula for row in series)


# Validation


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"Kc": -1.0, "Ti": 1.0}, "Kc"),
        ({"Kc": math.nan, "Ti": 1.0}, "Kc"),
        ({"Kc": math.inf, "Ti": 1.0}, "Kc"),
        ({"Kc": 1.0, "Ti": 0.0}, "Ti"),
        ({"Kc": 1.0, "Ti": math.nan}, "Ti"),
        ({"Kc": 1.0, "Ti": 1.0, "Td": -0.1}, "Td"),
        ({"Kc": 1.0, "Ti": 1.0, "Td": math.inf}, "Td"),
        ({"Kc": 1.0, "Ti": 1.0, "filter_ratio": 0.0}, "filter_ratio"),
        ({"Kc": 1.0, "Ti": 1.0, "setpoint_weight": math.nan}, "setpoint_weight"),
    ],
)
def test_refuses(arguments: dict, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Gains(**arguments)


def test_integral_only() -> None:
    gains = Gains.integral_only(0.4)
    assert gains.Ki == pytest.approx(0.4, rel=1e-14)
    assert gains.is_integral_only
    assert "Ki 0.4 per s" in gains.note
    # Up to 10 rad/s the response is that of Ki/s to 1 %.
    omega = np.array([0.1, 1.0, 10.0])
    np.testing.assert_allclose(gains.frequency_response(omega), 0.4 / (1j * omega), rtol=0.0101)


def test_ordinary_gains_are_not_integral_only() -> None:
    for gains in (Gains(1.0, 0.3), Gains(1.0, math.inf), Gains(0.0, 1e-3), Gains(1.0, 1e-3, 0.1)):
        assert not gains.is_integral_only
        assert gains.note == ""


# Frequency responses and the digital controller


def test_frequency_response_agrees_with_python_control() -> None:
    gains = Gains(1.7, 2.5, 0.4, filter_ratio=8.0)
    s = control.tf("s")
    law = 1.7 * (1 + 1 / (2.5 * s) + 0.4 * s / (1 + s * 0.4 / 8.0))
    omega = np.geomspace(1e-2, 1e3, 50)
    np.testing.assert_allclose(gains.frequency_response(omega), law(1j * omega), rtol=1e-12)


def run_scans(gains: Gains, y: np.ndarray, h: float) -> np.ndarray:
    """The controller's scan written out: r = 0, integral summed forward, derivative backward."""
    Tf = gains.Td / gains.filter_ratio
    integral = derivative = last = 0.0
    u = []
    for value in y:
        derivative = Tf / (Tf + h) * derivative - gains.Kc * gains.Td / (Tf + h) * (value - last)
        u.append(-gains.Kc * value + integral + derivative)
        integral += gains.Kc * h / gains.Ti * -value
        last = value
    return np.array(u)


CASES = [
    Gains(1.3, 0.8),
    Gains(1.3, math.inf),
    Gains(0.7, 0.8, 0.15, filter_ratio=7.0),
    Gains(0.7, math.inf, 0.15),
    Gains(0.0, 1.0, 1.0),
    Gains.integral_only(0.6),
]


@pytest.mark.parametrize("gains", CASES, ids=str)
def test_state_space_does_what_the_scan_does(gains: Gains) -> None:
    h = 0.05
    y = np.random.default_rng(1).normal(size=200)
    A, B, C, D = gains.sampled_state_space(h)
    x = np.zeros(len(B))
    u = []
    for value in y:
        u.append(C @ x + D * value)
        x = A @ x + B * value
    np.testing.assert_allclose(u, run_scans(gains, y, h), atol=1e-12)


@given(gains=some_gains, scan_time=st.floats(1e-3, 1.0))
def test_state_space_and_frequency_response_agree(gains: Gains, scan_time: float) -> None:
    A, B, C, D = gains.sampled_state_space(scan_time)
    omega = np.geomspace(1e-3, 1.0, 9) * np.pi / scan_time
    z = np.exp(1j * omega * scan_time)
    from_states = [C @ np.linalg.solve(p * np.eye(len(B)) - A, B) + D for p in z]
    from_formula = gains.sampled_frequency_response(omega, scan_time)
    scale = np.abs(from_formula).max()
    np.testing.assert_allclose(-np.array(from_states), from_formula, rtol=1e-12, atol=1e-12 * scale)


@pytest.mark.parametrize("gains", CASES[:4], ids=str)
def test_fast_scan_approaches_the_continuous_controller(gains: Gains) -> None:
    omega = np.geomspace(0.1, 10.0, 20)
    far = gains.sampled_frequency_response(omega, 1e-3) - gains.frequency_response(omega)
    near = gains.sampled_frequency_response(omega, 5e-4) - gains.frequency_response(omega)
    # Both differences are of first order in the scan time.
    assert np.abs(near).max() <= 0.51 * np.abs(far).max()


def test_no_integral_action_adds_no_eigenvalue_at_one() -> None:
    assert Gains(1.0, math.inf).sampled_state_space(0.1)[0].shape == (0, 0)
    assert Gains(1.0, 2.0).sampled_state_space(0.1)[0].tolist() == [[1.0]]


def test_scan_time_must_be_positive() -> None:
    with pytest.raises(ValueError, match="scan_time"):
        Gains(1.0, 1.0).sampled_state_space(0.0)


# To and from a scenario's controller: only attribute names matter here.


@dataclasses.dataclass(frozen=True)
class StandInController:
    tension_range: float = 300.0
    Kc: float | None = None
    Ti: float | None = None
    Td: float = 0.0
    filter_ratio: float = 10.0
    setpoint_weight: float = 1.0
    schedule: tuple[object, ...] = ("gains at one diameter", "gains at another")


@dataclasses.dataclass(frozen=True)
class StandInScenario:
    title: str
    controller: StandInController


@settings(max_examples=20)
@given(gains=some_gains)
def test_scenario_round_trip(gains: Gains) -> None:
    scenario = StandInScenario("bench", StandInController(tension_range=123.0))
    changed = gains.set_in(scenario)  # type: ignore[arg-type]
    assert (changed.title, changed.controller.tension_range) == ("bench", 123.0)
    assert Gains.from_controller(changed.controller) == gains
    assert changed.controller.schedule == ()
    assert scenario.controller.Kc is None


def test_no_integral_action_is_none_in_a_scenario() -> None:
    scenario = StandInScenario("bench", StandInController())
    assert Gains(1.0, math.inf).set_in(scenario).controller.Ti is None  # type: ignore[arg-type]


def test_controller_without_gains_is_refused() -> None:
    with pytest.raises(ValueError, match="Kc"):
        Gains.from_controller(SimpleNamespace(Kc=None))  # type: ignore[arg-type]
