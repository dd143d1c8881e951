"""What step tests say about a machine: the numbers learned, with their errors, and the replays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario, Trend
from tuning.machine_parameters import with_parameters

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Learned:
    """One number of the machine and what the tests say about it.

    Attributes:
        name: dotted key as in the scenario file.
        words: its name for people.
        unit: SI unit.
        before: as described [unit].
        after: as learned; as described where it was not seen [unit].
        standard_error: of what was learned [unit]; nan where there is none.
        low: lower end of the 95 % interval [unit]; nan where there is none.
        high: upper end of the 95 % interval [unit]; nan where there is none.
        seen: whether the tests say anything about it.
        at_limit: whether the search ended at the end of its range, so that it has no interval.
    """

    name: str
    words: str
    unit: str
    before: float
    after: float
    standard_error: float = math.nan
    low: float = math.nan
    high: float = math.nan
    seen: bool = True
    at_limit: bool = False

    @property
    def factor(self) -> float:
        """As learned over as described [-]; nan where nothing was described."""
        return self.after / self.before if self.before != 0.0 else math.nan


@dataclass(frozen=True, eq=False)
class FittedTest:
    """One recorded test and what the machine makes of it, before and after.

    Attributes:
        trend: as recorded.
        time: from the first sample, shape (n,) [s].
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        described: reading of the machine as described, at the test's own level, shape (n,) [N].
        learned: reading of the machine as learned, at the test's own level, shape (n,) [N].
        swing: steady swing and drift of the record beside the replay, shape (n,) [N].
        swing_frequency: of that swing [Hz]; nan if there is none.
        drift: of the reading besides [N/s]; 0 if there is none to see.
        noise: of one reading, from how it jumps from sample to sample [N].
        residual: rms of the reading less machine and swing [N].
        correlation: of each residual with the next [-].
        fit_percent: 100 (1 - residual/rms of the reading about its mean) [%].
        level_offset: how much more the record reads than the learned machine at this output [N].
    """

    trend: Trend
    time: Array
    diameter: float
    line_speed: float
    described: Array
    learned: Array
    swing: Array
    swing_frequency: float
    drift: float
    noise: float
    residual: float
    correlation: float
    fit_percent: float
    level_offset: float


@dataclass(frozen=True, eq=False)
class MachineFit:
    """What step tests say about a machine.

    Attributes:
        scenario: the machine as learned.
        described: the machine as it was described.
        parameters: the free numbers, in the order asked for.
        correlation: between what was learned, in the same order, shape (p, p) [-]; nan where a
            number was not seen or stands at a limit.
        tests: one of each recorded test.
        residual: rms of what the learned machine leaves over all tests [N].
        fit_percent: 100 (1 - residual/rms of the readings about their means) [%].
        degrees_of_freedom: readings that count, less what was fitted [-].
        level_error: how far the levels were trusted [N]; inf where they were free.
        alike: groups of numbers that these tests don't tell apart, by name.
        supposed: what the errors suppose, in a sentence.
        warnings: what a reader should know.
    """

    scenario: Scenario
    described: Scenario
    parameters: tuple[Learned, ...]
    correlation: Array
    tests: tuple[FittedTest, ...]
    residual: float
    fit_percent: float
    degrees_of_freedom: float
    level_error: float = math.inf
    alike: tuple[tuple[str, ...], ...] = ()
    supposed: str = ""
    warnings: tuple[str, ...] = ()

    def as_written(self) -> Scenario:
        """Return the machine as learned, its numbers to the digits that a file deserves."""
        seen = {one.name: float(f"{one.after:.4g}") for one in self.parameters if one.seen}
        return with_parameters(self.described, seen)

    def parameter(self, name: str) -> Learned:
        """Return one of the free numbers by its dotted key.

        Raises:
            KeyError: it was not free; lists those that were.
        """
        for learned in self.parameters:
            if learned.name == name:
                return learned
        raise KeyError(f"{name!r}; free were {', '.join(p.name for p in self.parameters)}")
