"""What calm costs: the integral action that each limit on Ms leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simulator import Scenario
from tuning.design import RollDesign, best_gains
from tuning.gains import Gains
from tuning.margins import RINGS_ABOVE
from tuning.tolerance_results import Share
from tuning.tolerance_study import Progress, tolerance_study

# What bears tolerances is judged on so many machines.
JUDGED = 100
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


def calm_enough(
    scenario: Scenario,
    detuned: Sequence[Detuned],
    *,
    samples: int = JUDGED,
    seed: int = 0,
    progress: Progress | None = None,
) -> tuple[Share, ...]:
    """Return for each limit the share of machines within usual tolerances that do not ring.

    All limits are judged on the same machines; ringing is Ms above 2 anywhere on the roll.

    Args:
        scenario: the machine as it is thought to be.
        detuned: gains for each limit.
        samples: machines to draw, 20 or more.
        seed: of the random numbers, 0 or more [-].
        progress: called with (done, total) machines after each chunk.
    """
    shares = []
    for number, one in enumerate(detuned):

        def judged(done: int, total: int, before: int = number) -> None:
            if progress is not None:
                progress(before * total + done, len(detuned) * total)

        study = tolerance_study(
            scenario, one.gains, samples=samples, seed=seed, ms_limit=RINGS_ABOVE, progress=judged
        )
        shares.append(study.within)
    return tuple(shares)
