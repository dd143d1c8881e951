"""Models from step tests: hand methods, known plants under noise, simulators of others, doubts."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from tuning.fit_search import Record
from tuning.identify import Candidate, StepFit, fit_model
from tuning.process_model import ProcessModel
from tuning.reaction_curve import area_method, two_point_smith, two_point_sundaresan_krishnaswamy

TIME = 0.02 * np.arange(600)
UP, DOWN = 2.0, 7.0
MODELS = [
    ProcessModel("first order", 1.3, 0.5, 0.15),
    ProcessModel("first order", -0.6, 0.1, 0.8),
    ProcessModel("second order", 1.3, 0.25, 0.1, damping=1.6),
    ProcessModel("second order", 0.8, 0.2, 0.33, damping=0.7),
    ProcessModel("second order", -1.2, 0.12, 0.05, damping=0.1),
    ProcessModel("second order", 1.2, 0.05, 0.07, damping=0.02),
    ProcessModel("integrating", 0.4, 0.0, 0.25),
]


def output_up_and_down(time: np.ndarray, size: float = 5.0) -> np.ndarray:
    return np.where((time >= UP) & (time < DOWN), 40.0 + size, 40.0)


def measured(
    model: ProcessModel,
    time: np.ndarray = TIME,
    *,
    size: float = 5.0,
    baseline: float = 30.0,
    noise: float = 0.0,
    seed: int = 0,
) -> np.ndarray:
    """Measurement of an up-and-down test, changes at the first sample from UP and from DOWN on."""
    up, down = (time[np.searchsorted(time, at)] for at in (UP, DOWN))
    response = model.step_response(time - up) - model.step_response(time - down)
    rng = np.random.default_rng(seed)
    return baseline + size * response + noise * rng.standard_normal(time.size)


def fit_of(fit: StepFit, kind: str) -> Candidate:
    return next(candidate for candidate in fit.candidates if candidate.model.kind == kind)


def parameters(model: ProcessModel) -> dict[str, float]:
    values = {"gain": model.gain, "dead_time": model.dead_time}
    if model.kind != "integrating":
        values["time_constant"] = model.time_constant
    if model.damping is not None:
        values["damping"] = model.damping
    return values


# ---- the superposed response against another simulator


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_superposed_response_agrees_with_scipy_for_a_held_delayed_output(
    model: ProcessModel,
) -> None:
    """scipy.signal.lsim with a zero-order hold, on a grid that holds changes and dead time."""
    time = 0.01 * np.arange(1200)
    changes = {1.0: 3.0, 2.5: -5.0, 6.0: 1.5}
    K, T, z = model.gain, model.time_constant, model.damping
    if model.kind == "integrating":
        system = ([K], [1.0, 0.0])
    elif z is None:
        system = ([K], [T, 1.0])
    else:
        system = ([K], [T * T, 2.0 * z * T, 1.0])
    delayed = sum(d * (time >= at + model.dead_time - 1e-9) for at, d in changes.items())
    expected = signal.lsim(system, delayed, time, interp=False)[1]
    record = Record(time, np.zeros_like(time), np.array([*changes]), np.array([*changes.values()]))
    np.testing.assert_allclose(record.response(model), expected, atol=1e-9)


# ---- known plants come back


@pytest.mark.parametrize("model", MODELS, ids=str)
@pytest.mark.parametrize("size", [5.0, -3.0])
def test_a_clean_record_gives_its_own_model(model: ProcessModel, size: float) -> None:
    fit = fit_model(
        TIME, 40.0 + size / 5.0 * (output_up_and_down(TIME) - 40.0), measured(model, size=size)
    )
    assert fit.best.kind == model.kind
    for name, value in parameters(model).items():
        assert getattr(fit.best, name) == pytest.approx(value, rel=1e-4, abs=1e-5)
    assert fit.candidates[0].baseline == pytest.approx(30.0, abs=1e-4)
    assert fit.fit_percent > 99.99


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_under_noise_the_truth_is_within_three_standard_errors(model: ProcessModel) -> None:
    """Of normal errors 99.7 % are; 6 seeds allow for the linearisation and a bad draw."""
    inside = []
    for seed in range(6):
        y = measured(model, noise=0.2, seed=seed)
        found = fit_of(fit_model(TIME, output_up_and_down(TIME), y), model.kind)
        for name, value in parameters(model).items():
            error = getattr(found.errors, name)
            inside.append(abs(getattr(found.model, name) - value) < 3.0 * error)
    assert np.mean(inside) >= 0.9


def test_standard_error_of_a_static_gain_is_that_of_a_mean() -> None:
    """A pure step from many samples to many: sigma sqrt(1/n1 + 1/n2) over the step (exact)."""
    sigma, errors = 0.2, []
    later = np.arange(TIME.size) >= 300
    y0, u = np.where(np.roll(later, 1) & later, 4.0, 0.0), np.where(later, 41.0, 40.0)
    for seed in range(5):
        y = y0 + sigma * np.random.default_rng(seed).standard_normal(TIME.size)
        errors.append(fit_of(fit_model(TIME, u, y), "first order").errors.gain)
    expected = sigma * math.sqrt(2.0 / 300)
    assert np.median(errors) == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize("model", MODELS, ids=str)
def test_irregular_time_stamps_from_a_clock_that_does_not_start_at_zero(
    model: ProcessModel,
) -> None:
    rng = np.random.default_rng(3)
    time = np.cumsum(rng.uniform(0.008, 0.032, 600))
    fit = fit_model(time + 5000.0, output_up_and_down(time), measured(model, time))
    assert fit.best.kind == model.kind
    for name, value in parameters(model).items():
        assert getattr(fit.best, name) == pytest.approx(value, rel=1e-3, abs=1e-3)


def test_overshoot_of_a_fitted_model_is_the_textbook_one() -> None:
    """Quarter decay is zeta 0.215454: overshoot exp(-pi z/sqrt(1 - z^2)) = 1/2 (exact)."""
    model = ProcessModel("second order", 2.0, 0.2, 0.1, damping=0.215454)
    y = measured(model)
    assert y[(TIME > UP) & (TIME < DOWN)].max() == pytest.approx(30.0 + 10.0 * 1.5, abs=0.02)
    fit = fit_model(TIME, output_up_and_down(TIME), y)
    assert fit.best.damping == pytest.approx(0.215454, rel=1e-5)


def test_many_cycles_at_a_damping_of_two_per_cent_are_counted_right() -> None:
    """13 cycles between steps: one cycle miscounted would move the frequency by 8 %."""
    model = ProcessModel("second order", 1.0, 0.06, 0.21, damping=0.02)
    fit = fit_model(TIME, output_up_and_down(TIME), measured(model, noise=1.0))
    assert fit.best.time_constant == pytest.approx(0.06, rel=0.005)
    assert fit.rings
    assert fit.ringing_frequency == pytest.approx(1.0 / (2.0 * math.pi * 0.06), rel=0.005)


def test_a_pure_delay_is_placed_within_a_sample() -> None:
    fit = fit_model(
        TIME, output_up_and_down(TIME), measured(ProcessModel("first order", 1.0, 0.0, 0.73))
    )
    model = fit_of(fit, "first order").model
    assert model.dead_time == pytest.approx(0.73, abs=0.02)
    assert model.time_constant < 0.02
    assert any("time between samples" in note for note in fit.warnings)


@given(
    st.sampled_from(MODELS),
    st.floats(0.01, 100.0),
    st.floats(-500.0, 500.0),
    st.floats(0.1, 20.0),
    st.sampled_from([1e-3, 0.5, 1.0, 60.0]),
)
@settings(max_examples=8, deadline=None, derandomize=True)
def test_scales_and_offsets_change_gain_and_times_and_nothing_else(
    model: ProcessModel, scale: float, offset: float, size: float, clock: float
) -> None:
    y, u = measured(model, noise=0.1), output_up_and_down(TIME)
    plain = fit_of(fit_model(TIME, u, y), model.kind).model
    other = fit_of(
        fit_model(clock * TIME, size * (u - 40.0) - offset, scale * y + offset), model.kind
    ).model
    per_time = clock if model.kind == "integrating" else 1.0
    assert other.gain == pytest.approx(plain.gain * scale / size / per_time, rel=1e-4)
    assert other.dead_time == pytest.approx(clock * plain.dead_time, rel=1e-3, abs=1e-4 * clock)
    assert other.time_constant == pytest.approx(clock * plain.time_constant, rel=1e-3)
    if model.damping is not None:
        assert other.damping == pytest.approx(plain.damping, rel=1e-3)


# ---- the choice among kinds


def test_without_noise_the_simpler_of_two_equal_models_wins() -> None:
    model = ProcessModel("first order", 1.0, 0.5, 0.2)
    fit = fit_model(TIME, output_up_and_down(TIME), measured(model))
    assert fit.best.kind == "first order"
    # A second lag of a tenth of the first is a dead time for every purpose of tuning.
    hardly = ProcessModel("second order", 1.0, 0.5 * math.sqrt(0.1), 0.2, damping=1.739)
    assert fit_model(TIME, output_up_and_down(TIME), measured(hardly)).best.kind == "first order"


def test_criterion_is_schwarz_for_white_residuals() -> None:
    """n ln(variance) + k ln n (Schwarz, Annals of Statistics 6, 1978), k the baseline too."""
    y = measured(MODELS[0], noise=0.3, seed=4)
    fit = fit_model(TIME, output_up_and_down(TIME), y)
    first, second = fit_of(fit, "first order"), fit_of(fit, "second order")
    n = TIME.size
    wanted = n * math.log(first.residual**2) + 4 * math.log(n)
    # n is corrected for the chance autocorrelation of this draw, the variance for the floor.
    assert first.criterion == pytest.approx(wanted, rel=0.2)
    assert second.criterion > first.criterion


def test_coarse_resolution_lets_the_simpler_model_win() -> None:
    y = measured(ProcessModel("second order", 1.0, 0.25, 0.1, damping=1.6))
    u = output_up_and_down(TIME)
    assert fit_model(TIME, u, y).best.kind == "second order"
    assert fit_model(TIME, u, y, resolution=1.0).best.kind == "first order"


def test_models_are_one_of_each_kind_and_leave_out_what_explains_nothing() -> None:
    for model in MODELS:
        fit = fit_model(TIME, output_up_and_down(TIME), measured(model, noise=0.1))
        kinds = [m.kind for m in fit.models]
        assert len(set(kinds)) == len(kinds)
        assert "first order" in kinds
        assert fit.models[0] == fit.best
        assert ("integrating" in kinds) == (model.kind == "integrating")


def test_fit_percent_is_one_less_the_share_of_the_spread_left() -> None:
    y = measured(MODELS[0], noise=0.5)
    best = fit_model(TIME, output_up_and_down(TIME), y).candidates[0]
    assert best.fit_percent == pytest.approx(100.0 * (1.0 - best.residual / y.std()), abs=1e-9)
    assert best.residual == pytest.approx(0.5, rel=0.1)


# ---- ringing, swings and other doubts


def test_ringing_is_said_in_plain_words() -> None:
    """Roll on a web spring: 1.65 Hz at a damping of 0.080 (exact, linearised mass balance)."""
    T = 1.0 / (2.0 * math.pi * 1.65)
    time = 0.02 * np.arange(1500)
    model = ProcessModel("second order", 1.0, T, 0.1, damping=0.08)
    fit = fit_model(time, output_up_and_down(time), measured(model, time, noise=0.1))
    assert fit.rings
    assert fit.ringing is not None
    assert fit.ringing.damping == pytest.approx(0.08, abs=0.005)
    assert fit.ringing_frequency == pytest.approx(1.65 * math.sqrt(1 - 0.08**2), rel=0.005)
    assert any(
        re.match(r"the response rings \(damping 0\.0[78]\d?, 1\.6\d? Hz\)", note)
        for note in fit.warnings
    )


def test_ringing_behind_a_slow_lag_is_seen_in_what_the_models_leave() -> None:
    """A brake lag before the roll's resonance: third order, simulated by scipy."""
    wn, z, lag = 2.0 * math.pi * 1.6, 0.06, 0.25
    system = ([wn * wn], np.polymul([lag, 1.0], [1.0, 2.0 * z * wn, wn * wn]))
    time = 0.02 * np.arange(1200)
    u = np.where((time >= 3.0) & (time < 13.0), 45.0, 40.0)
    y = signal.lsim(system, u - 40.0, time, interp=False)[1]
    y = 30.0 + y + 0.1 * np.random.default_rng(0).standard_normal(time.size)
    fit = fit_model(time, u, y)
    assert fit.rings
    assert fit.ringing_frequency == pytest.approx(1.6, rel=0.02)
    assert fit.ringing is not None
    assert fit.ringing.damping == pytest.approx(z, abs=0.01)
    assert any("damps it more" in note for note in fit.warnings)


@pytest.mark.parametrize("seed", range(4))
def test_a_swing_that_was_there_before_the_step_is_not_taken_for_ringing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    frequency = rng.uniform(0.8, 4.0)
    model = MODELS[0]
    y = measured(model, noise=0.2, seed=seed)
    y = y + rng.uniform(0.5, 2.0) * np.sin(2.0 * math.pi * frequency * TIME + rng.uniform(0, 6))
    fit = fit_model(TIME, output_up_and_down(TIME), y)
    assert not fit.rings
    assert math.isnan(fit.ringing_frequency)
    assert fit.swing_frequency == pytest.approx(frequency, rel=0.01)
    assert any("whether or not the output steps" in note for note in fit.warnings)
    assert fit.best.kind == "first order"
    assert fit.best.gain == pytest.approx(model.gain, rel=0.03)
    assert fit.best.dead_time == pytest.approx(model.dead_time, abs=0.05)


@pytest.mark.parametrize("model", MODELS[:4], ids=str)
@pytest.mark.parametrize("seed", range(3))
def test_a_quiet_plant_under_noise_neither_rings_nor_swings(model: ProcessModel, seed: int) -> None:
    fit = fit_model(TIME, output_up_and_down(TIME), measured(model, noise=0.5, seed=seed))
    assert not fit.rings
    assert math.isnan(fit.swing_frequency)


def warnings_for(model: ProcessModel, time: np.ndarray = TIME, **how: float) -> str:
    y = measured(model, time, **how)  # type: ignore[arg-type]
    return "\n".join(fit_model(time, output_up_and_down(time), y).warnings)


def test_a_good_test_leaves_no_doubt() -> None:
    assert warnings_for(MODELS[0], noise=0.1) == ""


def test_doubts_are_named() -> None:
    assert "times the noise" in warnings_for(MODELS[0], noise=4.0)
    slow = ProcessModel("first order", 2.0, 5.0, 0.5)
    assert "to settle" in warnings_for(slow, noise=0.01)
    assert "a slow lag begins the same way" in warnings_for(MODELS[6])
    coarse = 0.2 * np.arange(60)
    quick = ProcessModel("second order", 1.0, 0.15, 0.05, damping=0.1)
    assert "record faster" in warnings_for(quick, coarse)
    assert "the dead time (0.05 s) came out below" in warnings_for(quick, coarse)


def test_gain_and_time_constant_of_a_response_cut_short_are_not_told_apart() -> None:
    time = 0.02 * np.arange(200)
    u = np.where(time >= 1.0, 45.0, 40.0)
    y = 5.0 * ProcessModel("first order", 1.0, 4.0, 0.2).step_response(time - 1.0)
    y = y + 0.02 * np.random.default_rng(1).standard_normal(time.size)
    fit = fit_model(time, u, y)
    assert fit_of(fit, "first order").alike == (("gain", "time_constant"),)
    assert any("can't tell gain and time constant apart" in note for note in fit.warnings)


def test_drift_and_limits_are_named() -> None:
    u = output_up_and_down(TIME)
    y = measured(MODELS[0], noise=0.1)
    drifting = fit_model(TIME, u, y + 0.3 * TIME)
    assert any("drifted" in note for note in drifting.warnings)
    at_limit = fit_model(TIME, u + 55.0, y)
    assert any("stands at 100 %" in note for note in at_limit.warnings)
    clipped = fit_model(TIME, u, np.minimum(y + 65.0, 100.0))
    assert any("measurement stands at 100 %" in note for note in clipped.warnings)


# ---- wrong input


@pytest.mark.parametrize(
    "change, said",
    [
        (lambda t, u, y: (t[:10], u[:10], y[:10]), "has 10 samples"),
        (lambda t, u, y: (t, u[:-1], y), "shapes"),
        (lambda t, u, y: (t, 0.0 * u + 40.0, y), "output stays at 40 %"),
        (lambda t, u, y: (t, u + np.arange(t.size) % 2, y), "changes 599 times"),
        (lambda t, u, y: (t, u, 0.0 * y + 3.0), "measurement stays at 3 %"),
        (lambda t, u, y: (t, u, np.where(t == t[7], np.nan, y)), re.escape("measurement[7]")),
        (lambda t, u, y: (np.where(t == t[7], t[3], t), u, y), re.escape("time[7]")),
    ],
)
def test_a_wrong_record_is_refused_with_what_is_wrong(change, said) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=said):
        fit_model(*change(TIME, output_up_and_down(TIME), measured(MODELS[0])))


def test_a_negative_resolution_is_refused() -> None:
    with pytest.raises(ValueError, match="resolution"):
        fit_model(TIME, output_up_and_down(TIME), measured(MODELS[0]), resolution=-1.0)


# ---- by hand

CURVE_TIME = np.linspace(0.0, 120.0, 24001)


def test_smith_returns_the_lag_up_to_its_rounded_points() -> None:
    """5 s and 2 s come out as 5.0024 s and 1.9959 s: what 28.3 % and 63.2 % leave (exact)."""
    curve = ProcessModel("first order", 0.8, 5.0, 2.0).step_response(CURVE_TIME)
    model = two_point_smith(CURVE_TIME, 20.0 + 3.0 * curve, step=3.0)
    assert model.time_constant == pytest.approx(5.0024, abs=1e-4)
    assert model.dead_time == pytest.approx(1.9959, abs=1e-4)
    assert model.gain == pytest.approx(0.8, rel=1e-6)


def test_sundaresan_and_krishnaswamy_return_the_lag_up_to_rounded_constants() -> None:
    """5 s and 2 s come out as 4.9644 s and 2.0700 s (their constants, exact)."""
    curve = ProcessModel("first order", -0.8, 5.0, 2.0).step_response(CURVE_TIME)
    model = two_point_sundaresan_krishnaswamy(CURVE_TIME, 20.0 + 3.0 * curve, step=3.0)
    assert model.time_constant == pytest.approx(4.9644, abs=1e-4)
    assert model.dead_time == pytest.approx(2.0700, abs=1e-4)
    assert model.gain == pytest.approx(-0.8, rel=1e-6)


def test_area_method_on_three_equal_lags() -> None:
    """1/(s+1)^3: T 1.82703 s, L 1.17297 s; y = 1 - (1 + t + t^2/2) exp(-t) (exact)."""
    t = np.linspace(0.0, 60.0, 60001)
    model = area_method(t, 1.0 - (1.0 + t + t * t / 2.0) * np.exp(-t))
    assert model.time_constant == pytest.approx(1.82703, abs=2e-5)
    assert model.dead_time == pytest.approx(1.17297, abs=2e-5)


def test_area_method_is_exact_for_a_lag_and_dead_time() -> None:
    curve = ProcessModel("first order", 0.8, 5.0, 2.0).step_response(CURVE_TIME)
    model = area_method(CURVE_TIME, curve)
    assert model.time_constant == pytest.approx(5.0, rel=1e-5)
    assert model.dead_time == pytest.approx(2.0, rel=1e-5)


@pytest.mark.parametrize("method", [two_point_smith, area_method])
def test_hand_methods_refuse_what_is_no_step_response(method) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match="ends where it began"):
        method(CURVE_TIME, 0.0 * CURVE_TIME)
    with pytest.raises(ValueError, match="shapes"):
        method(CURVE_TIME, [1.0])
    with pytest.raises(ValueError, match="step"):
        method(CURVE_TIME, CURVE_TIME, step=0.0)
