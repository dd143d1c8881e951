"""What calm costs: the integral action that each limit on Ms leaves."""

from __future__ import annotations

from dataclasses import dataclass

from simulator import Scenario
from tuning.design import RollDesign, best_gains
from tuning.gains import Gains

MS_LIMITS = (1.2, 1.3, 1.4, 1.5, 1.6, 1.8, 2.0)


@dataclass(frozen=True)
class Detuned:
    """The best gains for another limit on Ms.

    Attributes:
        ms_limit: that they keep over the whole roll [-].
        gains: with the most integral action within it.
        error_ratio: what a load leaves behind, against the recommended gains [-]: the integral of
            the error goes with 1/Ki.
    """

    ms_limit: float
    gains: Gains
    error_ratio: float


def detuning(scenario: Scenario, design: RollDesign) -> tuple[Detuned, ...]:
    """Return the best gains of the recommended kind for calmer and livelier limits on Ms.

    Args:
        scenario: the machine.
        design: its recommended gains.
    """
    limits = sorted({*MS_LIMITS, design.ms_limit})
    found = best_gains(scenario, design.kind, ms_limits=limits, noise_limit=design.noise_limit)
    return tuple(
        Detuned(limit, gains, design.gains.Ki / gains.Ki)
        for limit, gains in zip(limits, found, strict=True)
    )
