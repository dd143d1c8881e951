"""The machine and its controller in time: physics, devices, sensing, control."""

from simulator.errors import Fault, ScenarioError, SimulationError
from simulator.linear_plant import LinearPlant, SampledPlant
from simulator.linearise import linearise
from simulator.operating_point import OperatingPoint, operating_point
from simulator.plan import Action
from simulator.scenario import Scenario
from simulator.scenario_file import (
    load_scenario,
    read_scenario,
    save_scenario,
    scenario_text,
    with_values,
)
from simulator.simulation import simulate
from simulator.trend import Trend, read_trend

__all__ = [
    "Action",
    "Fault",
    "LinearPlant",
    "OperatingPoint",
    "SampledPlant",
    "Scenario",
    "ScenarioError",
    "SimulationError",
    "Trend",
    "linearise",
    "load_scenario",
    "operating_point",
    "read_scenario",
    "read_trend",
    "save_scenario",
    "scenario_text",
    "simulate",
    "with_values",
]
