"""A machine's own frequencies over roll diameter and over line speed.

What turns follows the speed, f = v/(pi d), and only the roll's turn follows its diameter. The
roll's swing on the web follows the diameter and hardly the speed, and so does the loop. An
oscillation is told by which of these it goes with.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simulator import LinearPlant, Scenario, linearise
from simulator.machine import diameter_range
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.margins import MOST_DELAY_STATES, closed_loop_modes
from tuning.oscillation.loop_seen import least_damped

Array = NDArray[np.float64]
Kind = Literal["roll", "roller", "nip", "swing", "loop"]

# The speeds looked at: from this share of crawl to this multiple of the running speed [-].
LEAST_CRAWL, MOST_RUNNING = 0.25, 1.2


@dataclass(frozen=True, eq=False)
class FrequencyLine:
    """One frequency of the machine along a sweep.

    Attributes:
        name: "roll", "2× roll", "roller 1" (the one next to the roll), "nip", "swing" or "loop".
        kind: what it is.
        frequency: at each place, shape (n,) [Hz]; nan where there is none.
        damping: of a swing, shape (n,) [-]; empty for what turns, negative for an unstable loop.
    """

    name: str
    kind: Kind
    frequency: Array
    damping: Array = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, eq=False)
class Sweep:
    """The frequencies of a machine along a row of places.

    Attributes:
        diameter: of the roll at each place, shape (n,) [m].
        line_speed: of the web at each place, shape (n,) [m/s].
        lines: the frequencies.
    """

    diameter: Array
    line_speed: Array
    lines: tuple[FrequencyLine, ...]

    def line(self, name: str) -> FrequencyLine:
        """Return the frequency of a name.

        Args:
            name: such as "nip".

        Raises:
            KeyError: there is none of that name.
        """
        for one in self.lines:
            if one.name == name:
                return one
        raise KeyError(f"{name!r}; known: {', '.join(one.name for one in self.lines)}")


@dataclass(frozen=True, eq=False)
class FrequencyMap:
    """A machine's own frequencies about one place.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        over_diameter: from core to full roll at that speed; None for a pull roll.
        over_speed: from a quarter of crawl to above running speed at that diameter.
    """

    diameter: float
    line_speed: float
    over_diameter: Sweep | None
    over_speed: Sweep


def frequency_map(
    scenario: Scenario,
    *,
    diameter: float,
    line_speed: float,
    gains: Gains | None = None,
    count: int = 40,
) -> FrequencyMap:
    """Return a machine's own frequencies over diameter and over line speed.

    Args:
        scenario: the machine.
        diameter: of the roll for the sweep over speed [m].
        line_speed: of the web for the sweep over diameter [m/s].
        gains: at work everywhere; those of the scenario, schedule and all, if left out. Without
            any there is no line of the loop.
        count: places in each sweep, at least 2 [-].

    Raises:
        ValueError: a count below 2, a diameter that is not on this roll, or a speed not above 0.
    """
    if count < 2:
        raise ValueError(f"count {count}: must be 2 or more")
    if not (math.isfinite(line_speed) and line_speed > 0.0):
        raise ValueError(f"line_speed {line_speed} m/s: must be a finite number above 0")
    core, full = diameter_range(scenario)
    if not core <= diameter <= full:
        raise ValueError(f"diameter {diameter} m: must be from {core} to {full} m on this roll")
    run = scenario.run
    slowest = LEAST_CRAWL * min(run.crawl_speed, run.line_speed, line_speed)
    fastest = MOST_RUNNING * max(run.line_speed, line_speed)
    speeds = np.geomspace(slowest, fastest, count)
    over_diameter = None
    if core < full:
        diameters = np.geomspace(core, full, count)
        diameters[0], diameters[-1] = core, full
        over_diameter = _sweep(scenario, diameters, np.full(count, line_speed), gains)
    return FrequencyMap(
        diameter,
        line_speed,
        over_diameter,
        _sweep(scenario, np.full(count, diameter), speeds, gains),
    )


def _sweep(scenario: Scenario, D: Array, v: Array, gains: Gains | None) -> Sweep:
    turn = v / (math.pi * D)
    lines = [FrequencyLine("roll", "roll", turn), FrequencyLine("2× roll", "roll", 2.0 * turn)]
    for number, roller in enumerate(scenario.roller, start=1):
        turn = v / (math.pi * roller.diameter)
        lines.append(FrequencyLine(f"roller {number}", "roller", turn))
    if scenario.nip is not None:
        lines.append(FrequencyLine("nip", "nip", v / (math.pi * scenario.nip.diameter)))
    plants = [
        linearise(scenario, diameter=float(a), line_speed=float(b))
        for a, b in zip(D, v, strict=True)
    ]
    swing = np.array([plant.natural_frequency for plant in plants]) / (2.0 * math.pi)
    lines.append(
        FrequencyLine("swing", "swing", swing, np.array([plant.damping_ratio for plant in plants]))
    )
    loop = _loop(scenario, plants, D, gains)
    if loop is not None:
        lines.append(loop)
    return Sweep(D, v, tuple(lines))


def _loop(
    scenario: Scenario, plants: Sequence[LinearPlant], D: Array, gains: Gains | None
) -> FrequencyLine | None:
    """The least damped swing of the sampled loop; None without gains."""
    c = scenario.controller
    if gains is None and c.Kc is None and not c.schedule:
        return None
    rows = []
    for plant, diameter in zip(plants, D, strict=True):
        sampled = plant.sampled(c.scan_time)
        if sampled.delay > MOST_DELAY_STATES:
            rows.append((math.nan, math.nan))
            continue
        at_work = gains_as_set(scenario, float(diameter)) if gains is None else gains
        rows.append(least_damped(closed_loop_modes(sampled, at_work), c.scan_time))
    frequency, damping = np.array(rows).T
    return FrequencyLine("loop", "loop", frequency, damping)
