"""Is it the loop that oscillates: what the record and the linear plant say together.

In automatic y = G u + d with d the disturbance that would be there without the loop. Both y and u
are recorded, so at the oscillation's frequency

    d/y = 1 - G U/Y         (= 1/S, since u = -C y)

A loop that sustains its own oscillation needs no disturbance: d/y is near zero. A body out of round
leaves d/y near 1 or above. It needs no gains: what the controller does is in the record.

The gains themselves say at which frequency the loop would ring, and how much: the least damped mode
of the exact sampled loop. They come from the scenario, or are read off the record: a PI controller
obeys  du = Kc [de + (h/Ti) e]  from scan to scan, which is a straight-line fit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import LinearPlant, Scenario
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.margins import closed_loop_modes, loop_margins, plant_response
from tuning.oscillation.machine_frequencies import Place
from tuning.oscillation.record import Record

Array = NDArray[np.float64]

# A mode of the loop may be off by so much, one standard deviation [-].
LOOP_SPREAD = 0.15
# d/y below this is more than a model of a machine can tell [-].
LEAST_SHARE = 0.05
# Near a light resonance a small error of its frequency changes G much [-].
MODEL_OFF = 0.12
# Gains read off a record explain at least so much of the output's moves [-].
GOOD_FIT = 0.8
# An unstable loop counts as this Ms [-].
UNSTABLE_MS = 20.0


@dataclass(frozen=True, eq=False)
class LoopSeen:
    """What the loop has to do with an oscillation; arrays have one value for each place, (m,).

    Attributes:
        gains: that were at work, at the first place; None where not known.
        source: where they come from, "scenario", "record" or "".
        frequency: of the least damped mode of the loop, nan where it has none [Hz].
        damping: of that mode, negative where the loop is unstable [-].
        open_damping: of the same swing without the loop [-].
        Ms: largest sensitivity, `UNSTABLE_MS` where unstable [-].
        outside: |d/y|, share of the oscillation that comes from outside the loop [-]; nan where it
            can't be told.
        outside_least: the least that it may be if the model's swing is off by `MODEL_OFF` [-].
    """

    gains: Gains | None
    source: str
    frequency: Array
    damping: Array
    open_damping: Array
    Ms: Array
    outside: Array
    outside_least: Array


def loop_seen(
    record: Record,
    scenario: Scenario,
    where: tuple[Place, ...],
    plants: tuple[LinearPlant, ...],
    *,
    frequency: float,
    ratio: complex,
) -> LoopSeen:
    """Return what the loop has to do with an oscillation.

    Args:
        record: the recording.
        scenario: the machine.
        where: it may have been.
        plants: the linear plant at each place.
        frequency: of the oscillation [Hz].
        ratio: U/Y there, output over reading, in automatic [% per N]; nan where not known.
    """
    c = scenario.controller
    fitted = gains_in_record(record, c.tension_range)
    rows: list[tuple[float, float, float, float, float, float]] = []
    near = 2.0 * math.pi * frequency * (1.0 + np.linspace(-MODEL_OFF, MODEL_OFF, 9))
    first: Gains | None = None
    source = ""
    for place, plant in zip(where, plants, strict=True):
        seen = plant_response(plant, scan_time=c.scan_time)
        assert seen.sampled is not None
        gains: Gains | None
        if c.Kc is not None or c.schedule:
            gains, source = gains_as_set(scenario, place.diameter), "scenario"
        else:
            gains, source = fitted, "record" if fitted else ""
        outside = least = math.nan
        if np.isfinite(ratio) and near[-1] < math.pi / c.scan_time:
            # G is in % of range per %.
            shares = np.abs(1.0 - seen.at(near) * 0.01 * c.tension_range * ratio)
            outside = max(float(shares[near.size // 2]), LEAST_SHARE)
            least = max(float(shares.min()), LEAST_SHARE)
        if gains is None:
            rows.append((math.nan, math.nan, plant.damping_ratio, math.nan, outside, least))
            continue
        first = first or gains
        mode, damping = least_damped(closed_loop_modes(seen.sampled, gains), c.scan_time)
        margins = loop_margins(seen, gains)
        Ms = min(margins.severity, UNSTABLE_MS)
        rows.append((mode, damping, plant.damping_ratio, Ms, outside, least))
    columns = np.array(rows).T
    return LoopSeen(first, source, *columns)


def speed_share(
    scenario: Scenario,
    plants: tuple[LinearPlant, ...],
    *,
    frequency: float,
    outside: float,
    speed: float,
    reading: float,
) -> float:
    """Return how much of an oscillation the swing of the line speed makes by the model [-].

    In manual y = G_v v; in automatic the loop makes 1/|1 - G U/Y| of that.

    Args:
        scenario: the machine.
        plants: the linear plant at each place.
        frequency: of the oscillation [Hz].
        outside: |d/y| in automatic, 1 in manual [-].
        speed: amplitude of the line speed [m/s].
        reading: amplitude of the reading [N].
    """
    omega = np.array([2.0 * math.pi * frequency])
    gains = []
    for plant in plants:
        from_speed = replace(plant, B=plant.B_speed, dead_time=0.0)
        gains.append(abs(complex(from_speed.frequency_response(omega)[0])))
    tension = 0.01 * scenario.controller.tension_range * float(np.median(gains))
    return tension * speed / (outside * reading)


def gains_in_record(record: Record, tension_range: float) -> Gains | None:
    """Return PI gains that explain the output's moves in automatic; None where none do.

    Args:
        record: the recording.
        tension_range: 100 % of the measured scale [N].
    """
    if not (record.moves("output") and record.knows("automatic")):
        return None
    auto = record.automatic > 0.5
    both = auto[1:] & auto[:-1]
    if both.sum() < 40:
        return None
    level = record.setpoint if record.knows("setpoint") else np.full(auto.size, np.nan)
    if not np.isfinite(level).all():
        level = np.full(auto.size, float(record.tension[auto].mean()))
    error = 100.0 * (level - record.tension) / tension_range
    moves = np.diff(record.output)[both]
    change = np.diff(error)[both]
    mean = 0.5 * (error[1:] + error[:-1])[both] * record.interval
    A = np.column_stack([change, mean])
    scale = np.abs(A).max(axis=0)
    if not np.all(scale > 0.0) or not np.any(moves):
        return None
    (Kc, Ki), *_ = np.linalg.lstsq(A / scale, moves, rcond=None)
    Kc, Ki = float(Kc / scale[0]), float(Ki / scale[1])
    left = moves - A @ np.array([Kc, Ki])
    if float(np.mean(left**2)) > (1.0 - GOOD_FIT) * float(np.mean(moves**2)):
        return None
    if Ki <= 0.0 or Kc < -0.1 * Ki:
        return None
    return Gains(Kc, Kc / Ki) if Kc > 1e-3 * Ki else Gains.integral_only(Ki)


def least_damped(modes: NDArray[np.complex128], scan: float) -> tuple[float, float]:
    """Return frequency [Hz] and damping ratio [-] of the least damped swing of a sampled loop.

    Args:
        modes: eigenvalues of the closed loop per scan, shape (n,) [-].
        scan: time between two of them [s].
    """
    swings = modes[(modes.imag > 1e-9) & (np.abs(modes) > 1e-9)]
    if not swings.size:
        return math.nan, math.nan
    s = np.log(swings) / scan
    damping = -s.real / np.abs(s)
    at = int(np.argmin(damping))
    return float(abs(s[at]) / (2.0 * math.pi)), float(damping[at])
