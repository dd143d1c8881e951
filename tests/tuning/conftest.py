"""What several tests of tuning share: designs, which take a second each, made once."""

from collections.abc import Callable
from functools import lru_cache

import pytest

from simulator import Scenario
from tuning.design import RollDesign, design_for_roll


@lru_cache
def _designed(scenario: Scenario) -> RollDesign:
    return design_for_roll(scenario)


@pytest.fixture
def designed() -> Callable[[Scenario], RollDesign]:
    """The recommended gains for a machine at the default limits."""
    return _designed
