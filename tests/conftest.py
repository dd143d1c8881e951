"""What several tests share: the project's own scenarios, and one of them by name."""

from pathlib import Path

import pytest

from simulator import Scenario, load_scenario

ROOT = Path(__file__).resolve().parents[1]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))


@pytest.fixture(params=SCENARIOS, ids=lambda path: path.stem)
def scenario(request: pytest.FixtureRequest) -> Scenario:
    """Each scenario of the project in turn."""
    return load_scenario(request.param)


@pytest.fixture
def film() -> Scenario:
    """The film unwind with a friction brake."""
    return load_scenario(ROOT / "scenarios" / "film_unwind.toml")


@pytest.fixture
def paper_rewind() -> Scenario:
    """The paper rewind with a clutch."""
    return load_scenario(ROOT / "scenarios" / "paper_rewind.toml")


@pytest.fixture
def nonwoven() -> Scenario:
    """The nonwoven unwind with a particle brake: well damped."""
    return load_scenario(ROOT / "scenarios" / "nonwoven_unwind.toml")


@pytest.fixture
def laminate() -> Scenario:
    """The laminate pull roll with a torque motor."""
    return load_scenario(ROOT / "scenarios" / "laminate_pull_roll.toml")


@pytest.fixture
def foil() -> Scenario:
    """The foil unwind with a torque motor: hardly damped."""
    return load_scenario(ROOT / "scenarios" / "foil_unwind.toml")
