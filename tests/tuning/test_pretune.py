"""The whole job: every key of the JSON, every scenario, and numbers that agree with each other."""

import json
import math
from dataclasses import replace

import pytest

from simulator import load_scenario, operating_point
from simulator.machine import named_diameters
from tuning import RULES, loop_margins
from tuning.gains import Gains
from tuning.pretune import pretune
from tuning.pretune_json import as_json

# The object that programs rely on: key → keys of what it holds (a list holds such objects).
SHAPE = {
    "title": None,
    "zone": None,
    "operating_points": {
        "diameter_m", "line_speed_m_per_s", "tension_N", "output_percent", "torque_N_m",
        "slip_power_W", "reachable", "reason",
    },
    "plant": {
        "diameter_m", "line_speed_m_per_s", "static_gain", "natural_frequency_Hz",
        "damping_ratio", "roll_frequency_Hz",
    },
    "step_test": {"diameter_m", "line_speed_m_per_s", "model", "fit"},
    "rules": {
        "rule", "source", "Kc", "Ti_s", "Td_s", "stable", "Ms", "gain_margin",
        "phase_margin_deg", "note",
    },
    "recommended": {"Kc", "Ti_s", "Td_s", "filter_ratio", "worst", "schedule"},
    "handover": {"tension_bump_percent", "output_bump_percent", "settling_s"},
}  # fmt: skip


@pytest.fixture(scope="module")
def result(request):
    return pretune(load_scenario(request.config.rootpath / "scenarios" / "film_unwind.toml"))


def check_shape(data):
    for key, keys in SHAPE.items():
        assert key in data, key
        for item in data[key] if isinstance(data[key], list) else [data[key]]:
            if keys:
                assert keys <= set(item), (key, keys - set(item))
    assert {"Ms", "diameter_m", "line_speed_m_per_s"} <= set(data["recommended"]["worst"])
    for entry in data["recommended"]["schedule"]:
        assert {"diameter_m", "Kc", "Ti_s", "Td_s"} <= set(entry)
    assert "kind" in data["step_test"]["model"]


def test_every_scenario_yields_every_key(scenario):
    result = pretune(scenario)
    data = as_json(result)
    check_shape(data)
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert len(data["rules"]) == len(RULES)
    assert len(data["operating_points"]) == 2 * len(named_diameters(scenario))
    assert all(point["reachable"] for point in data["operating_points"])
    assert data["recommended"]["worst"]["Ms"] <= 1.6 * 1.01


def test_a_worn_machine_is_answered_too(worn):
    result = pretune(worn)
    check_shape(as_json(result))
    assert result.step_test.step > worn.torque_device.sticking


def test_numbers_agree_with_the_functions_behind_them(result):
    data = as_json(result)
    first = data["operating_points"][0]
    point = operating_point(result.scenario, diameter=first["diameter_m"])
    assert first["output_percent"] == point.output
    assert data["plant"][0]["roll_frequency_Hz"] == pytest.approx(
        point.line_speed / (math.pi * point.diameter), rel=2e-3
    )
    for rule, judged in zip(data["rules"], result.rules, strict=True):
        assert rule["rule"] == judged.suggestion.rule.name
        if rule["Kc"] is None:
            assert rule["note"]
            continue
        Ti = math.inf if rule["Ti_s"] is None else rule["Ti_s"]
        gains = Gains(rule["Kc"], Ti, rule["Td_s"], judged.suggestion.gains.filter_ratio)
        m = loop_margins(
            result.points[0].plant, gains, scan_time=result.scenario.controller.scan_time
        )
        assert m.stable == rule["stable"]
        if m.stable:
            assert m.Ms == pytest.approx(rule["Ms"], rel=1e-9)


def test_starts_and_stops_are_answered(result):
    """The fast stop at full roll takes 147 N m of 120, see tests/simulator/test_speed_change.py."""
    data = as_json(result)
    assert len(data["speed_changes"]) == 3 * len(named_diameters(result.scenario))
    (stop,) = [
        change
        for change in data["speed_changes"]
        if change["kind"] == "fast stop" and change["diameter_m"] == 0.8
    ]
    assert stop["torque_needed_N_m"] == pytest.approx(147.2, abs=0.1)
    assert not stop["has_torque"]
    assert any("full roll: too little torque" in warning for warning in result.warnings)


def test_lag_and_delay_rules_are_shown_to_mislead_on_a_ringing_machine(foil):
    judged = {r.suggestion.rule.name: r for r in pretune(foil).rules}
    assert "unstable" in judged["Cohen-Coon PI"].verdict()


def test_says_where_the_output_or_the_device_sits_badly(result):
    assert any("core" in w and "close to the bottom" in w for w in result.warnings)
    film = result.scenario
    hot = replace(film, torque_device=replace(film.torque_device, continuous_heat=100.0))
    assert any("overheat" in warning for warning in pretune(hot).warnings)


def test_the_same_seed_gives_the_same_result(result):
    again = pretune(result.scenario)
    assert as_json(again) == as_json(result)


def test_handover_without_tracking_is_worse(result):
    assert result.handover.tension_bump < 0.1
    assert result.handover_untracked.tension_bump > 5.0
