"""The step response of a sampled closed loop, compiled: hundreds of scans in microseconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simulator.compiled import kept
from simulator.linear_plant import SampledPlant
from tuning.gains import Gains

Array = NDArray[np.float64]


@kept()
def _highest(
    columns: Array,  # of Phi, one a row
    late: Array,
    prompt: Array,
    C: Array,
    watched: Array,
    delay: int,
    Kc: float,
    integral: float,  # Ki h
    kick: float,
    decay: float,
    weight: float,
    state: Array,  # room for the states of two scans, the first of them 0
    sent: Array,  # room for the outputs under way, 0
    scans: int,
) -> float:
    """Return the largest value of what is watched after a step of the setpoint by 1."""
    n, turn = columns.shape[0], sent.shape[0]
    highest, total, derivative, last = 0.0, 0.0, 0.0, 0.0
    now, following = 0, 1
    for k in range(scans):
        y, seen = 0.0, 0.0
        for i in range(n):
            y += C[i] * state[now, i]
            seen += watched[i] * state[now, i]
        highest = max(highest, seen)
        derivative = decay * derivative - kick * (y - last)
        last = y
        sent[k % turn] = Kc * (weight - y) + total + derivative
        total += integral * (1.0 - y)
        # Before the first scan nothing is under way: those places still hold 0.
        newer = sent[(k - delay) % turn]
        older = sent[(k - delay - 1) % turn]
        for i in range(n):
            state[following, i] = late[i] * older + prompt[i] * newer
        for j in range(n):
            part = state[now, j]
            for i in range(n):
                state[following, i] += columns[j, i] * part
        now, following = following, now
    return highest


def highest_after_step(
    plant: SampledPlant, gains: Gains, *, scans: int, watched: Array | None = None
) -> float:
    """Return how high a closed loop goes after a step of its setpoint, over the step [-].

    Exact at the scans: the plant as sampled, the controller's own difference equations, nothing at
    its limit. 1.2 is an overshoot of 20 %.

    Args:
        plant: as the controller sees it.
        gains: ISA standard form in % of range.
        scans: how long to look [scans].
        watched: row of what is looked at, shape (n,) [% of range per state]; the reading if left
            out.
    """
    filter_time = gains.Td / gains.filter_ratio
    span = filter_time + plant.scan_time
    row = plant.C if watched is None else watched
    return float(
        _highest(
            np.ascontiguousarray(plant.Phi.T),
            np.ascontiguousarray(plant.late),
            np.ascontiguousarray(plant.prompt),
            np.ascontiguousarray(plant.C),
            np.ascontiguousarray(row),
            plant.delay,
            gains.Kc,
            gains.Ki * plant.scan_time,
            gains.Kc * gains.Td / span,
            filter_time / span,
            gains.setpoint_weight,
            np.zeros((2, plant.Phi.shape[0])),
            np.zeros(plant.delay + 2),
            scans,
        )
    )
