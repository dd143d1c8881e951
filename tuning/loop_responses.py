"""What a loop does after a step of its setpoint or of a load: exact for small steps, scan by scan.

The linear plant and the digital controller are advanced together; dead time is exact. A load is
what adds to the output on its way into the machine: torque that a brake loses as it warms, say. Of
a load step the integral of the error is exactly d/Ki, and so is IAE while the error keeps its sign.

The whole machine, with its friction and its limits, is in `tuning.roll_responses`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuning.gains import Gains
from tuning.margins import closed_loop
from tuning.plant_bank import PlantBank

Array = NDArray[np.float64]

# A response is followed for this many time constants of the slowest loop, and as many scans.
SETTLING_TIMES, MOST_SCANS = 9.0, 8000


@dataclass(frozen=True, eq=False)
class LoopResponses:
    """Responses of m loops to unit steps at time 0.

    Attributes:
        time: at each scan, shape (k,) [s].
        setpoint: reading after a step of the setpoint by 1 %, shape (m, k) [% of range].
        load: reading after a step of the load by 1 % of output, shape (m, k) [% of range].
        rest: what the integral of each load response lacks at the end, shape (m,) [% of range, s
            per %]; it is known, since the whole is 1/Ki.
    """

    time: Array
    setpoint: Array
    load: Array
    rest: Array

    @property
    def overshoot(self) -> Array:
        """Largest excursion past the new setpoint, shape (m,) [% of the step]."""
        return np.asarray(np.maximum(100.0 * (self.setpoint.max(axis=1) - 1.0), 0.0))

    @property
    def load_iae(self) -> Array:
        """Integral of |error| after the step of the load, shape (m,) [% of range, s per %].

        After the end the error is taken to keep its sign.
        """
        scan = float(self.time[1] - self.time[0])
        return np.asarray(np.abs(self.load).sum(axis=1) * scan + np.abs(self.rest))


def loop_responses(bank: PlantBank, gains: Gains | Sequence[Gains]) -> LoopResponses:
    """Return the step responses of loops that are stable.

    Args:
        bank: the plants, m of them.
        gains: the same for all plants, or a set for each.

    Raises:
        ValueError: a loop is unstable.
    """
    each = [gains] * len(bank) if isinstance(gains, Gains) else list(gains)
    scan = bank.scan_time
    loops = np.stack([closed_loop(one, g) for one, g in zip(bank.sampled, each, strict=True)])
    size = float(np.abs(np.linalg.eigvals(loops)).max())
    if not size < 1.0:
        raise ValueError("gains: the loop is unstable, so its responses grow without end")
    wanted = SETTLING_TIMES / -math.log(max(size, 1e-12))
    scans = int(min(max(wanted, 20.0), MOST_SCANS))

    m, n = loops.shape[:2]
    # Columns: one step of the setpoint, one of the load.
    push = np.zeros((m, n, 2))
    reading = np.zeros((m, n))
    for i, (one, g) in enumerate(zip(bank.sampled, each, strict=True)):
        _, B, C = one.with_delay_states()
        push[i, : B.size, 0] = B * g.Kc * g.setpoint_weight
        push[i, : B.size, 1] = B
        if g.Ki > 0.0:
            push[i, B.size, 0] = g.Ki * scan
        reading[i, : C.size] = C
    state = np.zeros_like(push)
    seen = np.empty((scans, m, 2))
    for k in range(scans):
        seen[k] = np.matmul(reading[:, None, :], state)[:, 0]
        state = np.matmul(loops, state) + push
    load = np.ascontiguousarray(seen[:, :, 1].T)
    whole = np.array([1.0 / g.Ki if g.Ki > 0.0 else math.nan for g in each])
    rest = np.where(np.isfinite(whole), whole - load.sum(axis=1) * scan, 0.0)
    return LoopResponses(
        time=scan * np.arange(scans, dtype=float),
        setpoint=np.ascontiguousarray(seen[:, :, 0].T),
        load=load,
        rest=rest,
    )
