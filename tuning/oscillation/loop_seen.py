"""Is it the loop that oscillates: what the record and the linear plant say together.

In automatic y = G u + d with d the disturbance that would be there without the loop. Both y and u
are recorded, so at the oscillation's frequency

    d/y = 1 - G U/Y         (= 1/S, since u = -C y)

A loop that sustains its own oscillation needs no disturbance: d/y is near zero. A body out of round
leaves d/y near 1 or above. It needs no gains: what the controller does is in the record.

The gains themselves say at which frequency the loop would ring, and how much: the least damped mode
of the exact sampled loop. They come from the scenario, or are read off the record: U/E, E = R - Y,
is what the controller does at this frequency, and two gains make its two parts.
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

Array = NDArray[np.float64]

# A mode of the loop may be off by so much, one standard deviation [-].
LOOP_SPREAD = 0.15
# d/y below this is more than a model of a machine can tell [-].
LEAST_SHARE = 0.05
# Near a light resonance a small error of its frequency changes G much [-].
MODEL_OFF = 0.12
# What the controller did, over what the scenario's gains would do: beyond this they are others [-].
OTHER_GAINS = 1.5
# A proportional gain read off as negative is an error of measurement up to this share of |C| [-].
ODD_GAIN = 0.2
# An unstable loop counts as this Ms [-].
UNSTABLE_MS = 20.0


@dataclass(frozen=True, eq=False)
class LoopSeen:
    """What the loop has to do with an oscillation; arrays have one value for each place, (m,).

    Attributes:
        gains: that were at work, at the first place; None where not known.
        source: where they come from, "scenario", "record", "record, not those of the scenario"
            where what the controller did is far from what these would do, or "".
        frequency: of the least damped mode of the loop, nan where it has none [Hz].
        damping: of that mode, negative where the loop is unstable [-].
        Ms: largest sensitivity, `UNSTABLE_MS` where unstable [-].
        outside: |d/y|, share of the oscillation that comes from outside the loop [-]; nan where it
            can't be told.
        outside_least: the least that it may be if the model's swing is off by `MODEL_OFF` [-].
    """

    gains: Gains | None
    source: str
    frequency: Array
    damping: Array
    Ms: Array
    outside: Array
    outside_least: Array


def loop_seen(
    scenario: Scenario,
    where: tuple[Place, ...],
    plants: tuple[LinearPlant, ...],
    *,
    frequency: float,
    ratio: complex,
    control: complex,
) -> LoopSeen:
    """Return what the loop has to do with an oscillation.

    Args:
        scenario: the machine.
        where: it may have been.
        plants: the linear plant at each place.
        frequency: of the oscillation [Hz].
        ratio: U/Y there, output over reading, in automatic [% per N]; nan where not known.
        control: U/E there, output over setpoint less reading [% per N]; -U/Y if the setpoint rests.
    """
    c = scenario.controller
    answer = -0.01 * c.tension_range * ratio
    C = 0.01 * c.tension_range * control
    read = gains_seen(C, frequency=frequency, scan_time=c.scan_time)
    rows: list[tuple[float, float, float, float, float]] = []
    near = 2.0 * math.pi * frequency * (1.0 + np.linspace(-MODEL_OFF, MODEL_OFF, 9))
    first: Gains | None = None
    source = ""
    for place, plant in zip(where, plants, strict=True):
        seen = plant_response(plant, scan_time=c.scan_time)
        assert seen.sampled is not None
        gains: Gains | None
        if c.Kc is None and not c.schedule:
            gains, source = read, "record" if read else ""
        else:
            gains, source = gains_as_set(scenario, place.diameter), "scenario"
            if read is not None and _differ(gains, C, frequency, c.scan_time):
                gains, source = read, "record, not those of the scenario"
        outside = least = math.nan
        if np.isfinite(ratio) and near[-1] < math.pi / c.scan_time:
            shares = np.abs(1.0 + seen.at(near) * answer)
            outside = max(float(shares[near.size // 2]), LEAST_SHARE)
            least = max(float(shares.min()), LEAST_SHARE)
        if gains is None:
            rows.append((math.nan, math.nan, math.nan, outside, least))
            continue
        first = first or gains
        mode, damping = least_damped(closed_loop_modes(seen.sampled, gains), c.scan_time)
        margins = loop_margins(seen, gains)
        Ms = min(margins.severity, UNSTABLE_MS)
        rows.append((mode, damping, Ms, outside, least))
    columns = np.array(rows).T
    return LoopSeen(first, source, *columns)


def _differ(gains: Gains, C: complex, frequency: float, scan_time: float) -> bool:
    """Whether a controller with these gains would have done something else."""
    omega = np.array([2.0 * math.pi * frequency])
    by_file = abs(complex(gains.sampled_frequency_response(omega, scan_time)[0]))
    return not 1.0 / OTHER_GAINS < abs(C) / max(by_file, 1e-12) < OTHER_GAINS


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


def gains_seen(C: complex, *, frequency: float, scan_time: float) -> Gains | None:
    """Return the PI gains that answer an oscillation as the controller did; None where none do.

    C = Kc + Ki h/(z - 1), z = exp(j w h), the law of the scan: two parts for two gains.

    Args:
        C: of the controller, -U/Y [% of output per % of range].
        frequency: of the oscillation [Hz].
        scan_time: of the controller [s].
    """
    if not np.isfinite(C) or not frequency < 0.5 / scan_time:
        return None
    summed = 1.0 / (complex(np.exp(2j * math.pi * frequency * scan_time)) - 1.0)
    Ki = C.imag / (summed.imag * scan_time)
    Kc = C.real - Ki * scan_time * summed.real
    if not Ki > 0.0:
        return None
    # A little below 0 is integral action alone, read off with some error.
    if Kc < -ODD_GAIN * abs(C):
        return None
    return Gains(Kc, Kc / Ki) if Kc > 1e-3 * abs(C) else Gains.integral_only(Ki)


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
