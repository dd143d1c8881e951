"""What several tests share: the project's own scenarios, and one of them by name."""

from pathlib import Path

import pytest
from threadpoolctl import threadpool_limits

from simulator import Scenario, load_scenario

# The loops are small and many: more threads for linear algebra only get in each other's way.
threadpool_limits(1, "blas")

ROOT = Path(__file__).resolve().parents[1]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))


# Machines in good order, as the linear plant and the tuning rules suppose; others are worn.
SOUND = [path for path in SCENARIOS if not path.stem.endswith("_worn")]


@pytest.fixture(params=SOUND, ids=lambda path: path.stem)
def scenario(request: pytest.FixtureRequest) -> Scenario:
    """Each machine in good order in turn."""
    return load_scenario(request.param)


@pytest.fixture
def worn() -> Scenario:
    """The paper unwind with a sticking brake, runout everywhere and a zero that is off."""
    return load_scenario(ROOT / "scenarios" / "paper_unwind_worn.toml")


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
