"""Machines to practise on. Their gains are near those recommended for the whole roll."""

from pathlib import Path

import pytest

from simulator import load_scenario
from tuning.gains import Gains
from tuning.practice.setup import practice_machine

SCENARIOS = Path(__file__).resolve().parents[3] / "scenarios"
GAINS = {
    "film_unwind": Gains(Kc=0.095, Ti=0.21),
    "foil_unwind": Gains.integral_only(1.4),
    "laminate_pull_roll": Gains.integral_only(3.0),
    "nonwoven_unwind": Gains(Kc=0.1, Ti=0.14),
    "paper_rewind": Gains(Kc=0.37, Ti=0.25, Td=0.06),
    "paper_unwind_worn": Gains(Kc=0.13, Ti=0.2, Td=0.05),
}


def machine(name):
    return practice_machine(load_scenario(SCENARIOS / f"{name}.toml"), GAINS[name])


@pytest.fixture(scope="session")
def machines():
    return {name: machine(name) for name in GAINS}


@pytest.fixture(scope="session")
def film_machine():
    return machine("film_unwind")
