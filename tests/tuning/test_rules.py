"""Tuning rules against values worked out from their sources outside this code."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tuning.gains import Gains, SeriesGains, to_series
from tuning.process_model import ProcessModel
from tuning.rules import RULES, Rule, Suggestion, suggest
from tuning.ultimate import Ultimate, ultimate_cycle

LAG = ProcessModel("first order", 2.0, 10.0, 2.0)
INTEGRATING = ProcessModel("integrating", 0.2, 0.0, 2.0)
SWINGING = ProcessModel("second order", 2.0, 0.5, 0.1, damping=0.1)
OVERDAMPED = ProcessModel("second order", 2.0, 5.0, 1.0, damping=1.25)


def suggestion(name: str, *models: ProcessModel, **settings_: object) -> Suggestion:
    return {s.rule.name: s for s in suggest(models, **settings_)}[name]  # type: ignore[arg-type]


def gains_of(name: str, *models: ProcessModel, **settings_: object) -> Gains:
    found = suggestion(name, *models, **settings_)
    assert found.gains is not None, found.warnings
    return found.gains


def numbers(gains: Gains) -> tuple[float, float, float]:
    return gains.Kc, gains.Ti, gains.Td


# One plant through every first-order and ultimate-cycle rule: K 2, T 10 s, L 2 s, exact dead time,
# a = 0.4, r = 0.2. Values to the printed digits, worked out by hand from the formula of each
# source; Ku 4.25121 and Pu 7.44152 from omega L + atan(omega T) = pi.
ONE_PLANT = [
    ("Ziegler-Nichols reaction curve P", 2.5, math.inf, 0.0),
    ("Ziegler-Nichols reaction curve PI", 2.25, 6.66, 0.0),
    ("Ziegler-Nichols reaction curve PID", 3.0, 4.0, 1.0),
    ("Ziegler-Nichols ultimate P", 2.12561, math.inf, 0.0),
    ("Ziegler-Nichols ultimate PI", 1.91305, 6.20127, 0.0),
    ("Ziegler-Nichols ultimate PID", 2.55073, 3.72076, 0.93019),
    ("Tyreus-Luyben PI", 1.32850, 16.37135, 0.0),
    ("Tyreus-Luyben PID", 1.93237, 16.37135, 1.18119),
    ("Cohen-Coon PI", 2.29167, 4.70769, 0.0),
    ("Cohen-Coon PID", 3.45833, 4.54795, 0.70175),
    ("Chien-Hrones-Reswick setpoint 0 % PI", 0.875, 12.0, 0.0),
    ("Chien-Hrones-Reswick setpoint 20 % PI", 1.5, 10.0, 0.0),
    ("Chien-Hrones-Reswick load 0 % PI", 1.5, 8.0, 0.0),
    ("Chien-Hrones-Reswick load 20 % PI", 1.75, 4.6, 0.0),
    # lambda = T = 10: 10/(2 12) and 22/(2 22).
    ("IMC PI", 0.41667, 10.0, 0.0),
    ("IMC PID", 0.5, 11.0, 0.90909),
    ("SIMC PI", 1.25, 10.0, 0.0),
    ("AMIGO PI", 0.60278, 7.76522, 0.0),
    ("AMIGO PID", 1.225, 5.86667, 0.94340),
    ("ITAE load PI", 2.06946, 4.96639, 0.0),
    ("ITAE setpoint PI", 1.27975, 10.03009, 0.0),
]


@pytest.mark.parametrize(("name", "Kc", "Ti", "Td"), ONE_PLANT)
def test_one_plant_through_every_rule(name: str, Kc: float, Ti: float, Td: float) -> None:
    got = gains_of(name, LAG, ultimate=ultimate_cycle(LAG.linear_plant()))
    assert numbers(got) == pytest.approx((Kc, Ti, Td), abs=6e-6)


def test_every_rule_is_checked_in_this_file() -> None:
    elsewhere = {
        "SIMC second order PID",
        "SIMC integrating PI",
        "SIMC pure delay I",
        "AMIGO integrating PI",
        "IMC cancelling PID",
    }
    assert {row[0] for row in ONE_PLANT} | elsewhere == set(RULES)


# Processes of Skogestad, J. Process Control 13, 2003 (models from memory), reduced by his half
# rule by hand; the settings as recomputed from his formulas.


@pytest.mark.parametrize(
    ("T", "L", "Kc", "Ti"),
    [
        (1.1, 0.1, 5.5, 0.8),  # 1/((s + 1)(0.2 s + 1))
        (1.5, 2.5, 0.3, 1.5),  # 1/(s + 1)^4
        (1.5, 1.5, 0.5, 1.5),  # exp(-s)/(s + 1)^2
    ],
)
def test_simc_pi_on_published_processes(T: float, L: float, Kc: float, Ti: float) -> None:
    got = gains_of("SIMC PI", ProcessModel("first order", 1.0, T, L))
    assert numbers(got) == pytest.approx((Kc, Ti, 0.0), rel=1e-12)


def two_lags(K: float, slow: float, fast: float, L: float) -> ProcessModel:
    T = math.sqrt(slow * fast)
    return ProcessModel("second order", K, T, L, damping=(slow + fast) / (2.0 * T))


def test_simc_second_order_on_published_process() -> None:
    """1/(s + 1)^4: half rule gives lags of 1.5 and 1, dead time 1.5; series 0.5, 1.5, 1."""
    got = gains_of("SIMC second order PID", two_lags(1.0, 1.5, 1.0, 1.5))
    expected = SeriesGains(0.5, 1.5, 1.0).standard()
    assert numbers(got) == pytest.approx(numbers(expected), rel=1e-9)
    back = to_series(got)
    assert (back.Kc, back.Ti, back.Td) == pytest.approx((0.5, 1.5, 1.0), rel=1e-6)


def test_simc_second_order_reaches_the_integrating_process() -> None:
    """1/(s (s + 1)^2), half rule: second lag 1.5, dead time 0.5; series 1, 4, 1.5 in the limit."""
    got = to_series(gains_of("SIMC second order PID", two_lags(1e7, 1e7, 1.5, 0.5)))
    assert (got.Kc, got.Ti, got.Td) == pytest.approx((1.0, 4.0, 1.5), rel=1e-5)


def test_simc_integrating() -> None:
    """1/(k' 2 L), 8 L for tau_c = L."""
    assert numbers(gains_of("SIMC integrating PI", INTEGRATING)) == pytest.approx((1.25, 16.0, 0.0))


def test_simc_pure_delay() -> None:
    """Integral gain 1/(K 2 L)."""
    got = gains_of("SIMC pure delay I", ProcessModel("first order", 2.0, 0.0, 3.0))
    assert got.is_integral_only
    assert got.Ki == pytest.approx(1.0 / 12.0, rel=1e-12)


def test_amigo_on_its_published_example() -> None:
    """1/(s + 1)^4 with L 1.42, T 2.90 (Åström & Hägglund 2006)."""
    model = ProcessModel("first order", 1.0, 2.90, 1.42)
    assert numbers(gains_of("AMIGO PI", model)) == pytest.approx((0.41415, 2.655, 0), abs=6e-6)
    expected = (1.11901, 2.39822, 0.61906)
    assert numbers(gains_of("AMIGO PID", model)) == pytest.approx(expected, abs=6e-6)


def test_amigo_integrating() -> None:
    """0.35/(Kv L), 13.4 L."""
    got = gains_of("AMIGO integrating PI", INTEGRATING)
    assert numbers(got) == pytest.approx((0.875, 26.8, 0.0), rel=1e-12)


def test_cancelling_pid() -> None:
    """Kc = 2 zeta tau/(K (tau_c + L)), Ti = 2 zeta tau, Td = tau/(2 zeta), by hand."""
    found = suggestion("IMC cancelling PID", SWINGING)
    assert found.gains is not None
    assert numbers(found.gains) == pytest.approx((0.25, 0.1, 2.5), rel=1e-12)
    assert any("fragile" in text for text in found.warnings)
    assert any("4 Td" in text for text in found.warnings)
    # The derivative filter stays a tenth of tau.
    assert found.gains.Td / found.gains.filter_ratio == pytest.approx(0.05)


def test_cancelling_zeros_sit_on_the_poles() -> None:
    """Ti Td s^2 + Ti s + 1 is the plant's own denominator (exact)."""
    got = gains_of("IMC cancelling PID", SWINGING)
    assert got.Ti * got.Td == pytest.approx(SWINGING.time_constant**2, rel=1e-12)


# Design time


@pytest.mark.parametrize("name", [n for n, rule in RULES.items() if rule.design_time])
def test_design_time_defaults_are_the_documented_ones(name: str) -> None:
    model = {"first order": LAG, "integrating": INTEGRATING}.get(RULES[name].needs)
    if model is None:
        model = SWINGING if name == "IMC cancelling PID" else OVERDAMPED
    is_lambda = RULES[name].design_time.startswith("lambda")
    documented = max(model.time_constant, model.dead_time) if is_lambda else model.dead_time
    assert gains_of(name, model) == gains_of(name, model, design_time=documented)
    slower = gains_of(name, model, design_time=10.0 * documented)
    assert slower.Ki < gains_of(name, model).Ki


def test_design_time_gives_a_gain_where_there_is_no_dead_time() -> None:
    model = ProcessModel("first order", 2.0, 10.0, 0.0)
    refused = suggestion("SIMC PI", model)
    assert refused.gains is None
    assert "design time" in refused.warnings[0]
    got = gains_of("SIMC PI", model, design_time=2.0)
    assert numbers(got) == pytest.approx((2.5, 8.0, 0.0))


@pytest.mark.parametrize("design_time", [-1.0, math.nan, math.inf])
def test_impossible_design_time(design_time: float) -> None:
    with pytest.raises(ValueError, match="design_time"):
        suggest([LAG], design_time=design_time)


# Warnings and refusals


def test_missing_models_are_said() -> None:
    found = suggestion("SIMC integrating PI", LAG)
    assert found.gains is None
    assert found.warnings == ("needs an integrating model, which this test did not give",)
    found = suggestion("Tyreus-Luyben PI", LAG)
    assert found.gains is None
    assert "ultimate cycle" in found.warnings[0]


def test_outside_the_range() -> None:
    model = ProcessModel("first order", 1.0, 1.0, 2.0)
    found = suggestion("Cohen-Coon PI", model)
    assert found.gains is not None
    assert "L/T is 2: the rule is written for 0.1 ≤ L/T ≤ 1" in found.warnings
    inside = suggestion("Cohen-Coon PI", LAG)
    assert not any("L/T" in text for text in inside.warnings)


def test_negative_gain_is_refused() -> None:
    for model in (
        ProcessModel("first order", -2.0, 10.0, 2.0),
        ProcessModel("integrating", -2.0, 0.0, 2.0),
        ProcessModel("second order", -2.0, 1.0, 1.0, damping=0.2),
    ):
        for found in suggest([model]):
            assert found.gains is None
            if found.rule.needs == model.kind:
                assert "negative" in found.warnings[0]


def test_a_swing_in_the_test_is_said_beside_lag_rules() -> None:
    found = suggestion("SIMC PI", LAG, SWINGING)
    assert any("swing" in text for text in found.warnings)
    assert not any("swing" in text for text in suggestion("SIMC PI", LAG, OVERDAMPED).warnings)


def test_second_order_rules_share_the_damping_between_them() -> None:
    for model, good, bad in (
        (SWINGING, "IMC cancelling PID", "SIMC second order PID"),
        (OVERDAMPED, "SIMC second order PID", "IMC cancelling PID"),
    ):
        assert suggestion(good, model).gains is not None
        refused = suggestion(bad, model)
        assert refused.gains is None
        assert "damping" in refused.warnings[0]


def test_itae_setpoint_is_refused_where_its_reset_turns_negative() -> None:
    """1.03 - 0.165 L/T is below 0 from L/T = 6.24."""
    found = suggestion("ITAE setpoint PI", ProcessModel("first order", 1.0, 1.0, 7.0))
    assert found.gains is None
    assert "Ti" in found.warnings[0]


def test_two_models_of_a_kind_are_refused() -> None:
    with pytest.raises(ValueError, match="at most one of each"):
        suggest([LAG, LAG])


# Properties

ALL_KINDS = st.tuples(
    st.builds(
        ProcessModel,
        kind=st.just("first order"),
        gain=st.floats(-5.0, 5.0).filter(bool),
        time_constant=st.one_of(st.just(0.0), st.floats(1e-9, 1e9)),
        dead_time=st.one_of(st.just(0.0), st.floats(1e-9, 1e9)),
    ),
    st.builds(
        ProcessModel,
        kind=st.just("second order"),
        gain=st.floats(0.01, 5.0),
        time_constant=st.floats(1e-9, 1e9),
        dead_time=st.one_of(st.just(0.0), st.floats(1e-9, 1e9)),
        damping=st.floats(1e-6, 1e6),
    ),
    st.builds(
        ProcessModel,
        kind=st.just("integrating"),
        gain=st.floats(0.01, 5.0),
        time_constant=st.just(0.0),
        dead_time=st.one_of(st.just(0.0), st.floats(1e-9, 1e9)),
    ),
)


@settings(max_examples=200, deadline=None)
@given(
    models=ALL_KINDS,
    ultimate=st.one_of(st.none(), st.just(Ultimate(3.0, 2.0))),
    design_time=st.one_of(st.none(), st.floats(0.0, 100.0)),
)
def test_every_rule_is_computed_or_says_why_not(
    models: tuple, ultimate: Ultimate | None, design_time: float | None
) -> None:
    found = suggest(models, ultimate=ultimate, design_time=design_time)
    assert [s.rule.name for s in found] == list(RULES)
    for s in found:
        if s.gains is None:
            assert s.warnings
        else:
            # Gains refuses nan, so a rule can't return one.
            assert s.gains.Kc > 0.0
            assert s.gains.Td == 0.0 or s.rule.form == "PID"
            assert math.isinf(s.gains.Ti) == (s.rule.form == "P")


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.name)
def test_every_rule_names_its_source_and_range(rule: Rule) -> None:
    assert any(year in rule.source for year in ("19", "20"))
    assert rule.applies
    assert RULES[rule.name] is rule


@settings(max_examples=50, deadline=None)
@given(
    ratio=st.floats(0.05, 3.0),
    T=st.floats(0.1, 10.0),
    K=st.floats(0.1, 10.0),
    damping=st.sampled_from([0.05, 0.3, 1.5]),
    c=st.floats(0.1, 10.0),
    g=st.floats(0.1, 10.0),
)
def test_rules_scale_with_time_and_gain(
    ratio: float, T: float, K: float, damping: float, c: float, g: float
) -> None:
    """Time slowed by c: Ti and Td grow by c, Kc stays. Plant gain times g: Kc falls by g.

    An integrating model's rate of rise falls by c when time is slowed by c.
    """

    def run(time: float, gain: float) -> tuple[Suggestion, ...]:
        times = (time * T, time * ratio * T)
        models = (
            ProcessModel("first order", gain * K, *times),
            ProcessModel("second order", gain * K, *times, damping=damping),
            ProcessModel("integrating", gain * K / time, 0.0, times[1]),
        )
        return suggest(models, ultimate=Ultimate(4.0 / (gain * K), 3.0 * times[0]))

    for before, after in zip(run(1.0, 1.0), run(c, g), strict=True):
        assert (before.gains is None) == (after.gains is None)
        if before.gains is None or after.gains is None:
            continue
        if before.gains.is_integral_only:
            assert after.gains.Ki == pytest.approx(before.gains.Ki / (c * g), rel=1e-9)
            continue
        assert after.gains.Kc == pytest.approx(before.gains.Kc / g, rel=1e-9)
        assert after.gains.Ti == pytest.approx(before.gains.Ti * c, rel=1e-9)
        assert after.gains.Td == pytest.approx(before.gains.Td * c, rel=1e-9)
