"""The study of the load cells as data: keys with units, values as the study has them."""

import json
import math

import pytest

from simulator.load_cell_study import load_cell_study
from tuning.cell_errors import gain_error_effect
from tuning.gains import Gains
from tuning.load_cell_json import load_cell_json


def data_of(scenario):
    effect = gain_error_effect(scenario, Gains(0.01, 0.5), errors=[-20.0, 20.0])
    return load_cell_json(load_cell_study(scenario), scenario, effect)


def test_film_by_hand(film):
    data = data_of(film)
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
    data = json.loads(json.dumps(data_of(scenario)))
    assert data["sizing"]["recommended_rating_N"] > 0.0
    # The web gets the setpoint over 0.8, 1 and 1.2.
    webs = [at["web_tension_N"] for at in data["gain_error"]["errors"]]
    wanted = [scenario.run.tension / share for share in (0.8, 1.0, 1.2)]
    assert webs == pytest.approx(wanted)
