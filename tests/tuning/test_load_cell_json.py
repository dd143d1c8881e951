"""The study of the load cells as data: keys with units, values as the study has them."""

import json
import math

import pytest

from simulator.load_cell_study import load_cell_study
from tuning.load_cell_json import load_cell_json


def test_film_by_hand(film):
    data = load_cell_json(load_cell_study(film), film)
    here = data["at_running_tension"]
    # 120° and 150 N: √3 · 150 N; 14 kg of roller; both straight down.
    assert here["resultant_N"] == pytest.approx(math.sqrt(3.0) * 150.0)
    assert here["roller_weight_N"] == pytest.approx(14.0 * 9.80665)
    assert here["load_N"] == pytest.approx(math.sqrt(3.0) * 150.0 + 14.0 * 9.80665)
    assert here["side_load_N"] == pytest.approx(0.0, abs=1e-9)
    assert data["best_sensing_angle_rad"] == pytest.approx(-0.5 * math.pi)
    # A quarter of 300 N.
    assert data["calibration"]["least_mass_kg"] == pytest.approx(75.0 / 9.80665)
    events = {case["event"]: case["load_N"] for case in data["sizing"]["loads_on_a_cell"]}
    assert events["running tension"] == pytest.approx(0.5 * here["load_N"])
    # 2 mV/V on 10 V: 20 mV at 500 N; the web's half of 259.8 N.
    assert data["sizing"]["chosen"]["signal_V"] == pytest.approx(0.020 * 129.9038 / 500.0)


def test_every_scenario_is_plain_data(scenario):
    data = load_cell_json(load_cell_study(scenario), scenario)
    assert json.loads(json.dumps(data))["sizing"]["recommended_rating_N"] > 0.0
