"""A relay test on the simulated machine, beside the true ultimate cycle.

The output switches up by a swing while the reading is below its setpoint and down while it is
above. The loop settles in a cycle whose size and period estimate the ultimate gain and period
(Åström & Hägglund, Automatica 20, 1984). The reading is taken without noise and the roll as true:
this relay has no band of its own, and either would make it chatter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simulator import (
    Action,
    LinearPlant,
    OperatingPoint,
    Scenario,
    Trend,
    linearise,
    operating_point,
    simulate,
)
from tuning.step_test import supply_play
from tuning.ultimate import Ultimate, relay_estimate, ultimate_cycle

Array = NDArray[np.float64]

# The relay starts at this time [s]; before it the trend shows the quiet machine.
LEAD = 2.0
# A swing in tension of this share of the running tension is easy to read and does no harm.
WANTED_SHARE = 0.1
LEAST_SWING = 0.05  # [%] of output
CYCLES, LONGEST_TEST = 40.0, 180.0
# A cycle is steady when the last few differ by less than this [-].
LAST_CYCLES = 4
STEADY_PERIOD, STEADY_SWING = 0.1, 0.15
# A cycle of fewer scans is the scan's own, not the machine's.
FEWEST_SCANS = 4.0


@dataclass(frozen=True)
class RelayTest:
    """A relay test and what it says.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        swing: of the output about its centre, d [%].
        started_at: time at which the relay starts [s].
        trend: of the test.
        estimate: ultimate cycle read from the trend.
        true: ultimate cycle of the linear plant with its scan and dead time exact; None if no
            proportional gain brings it to its limit.
        warnings: what a reader should know.
    """

    diameter: float
    line_speed: float
    swing: float
    started_at: float
    trend: Trend
    estimate: Ultimate
    true: Ultimate | None
    warnings: tuple[str, ...] = ()

    @property
    def gain_error(self) -> float:
        """How far the estimated gain is off the true one [%]; nan without a true one."""
        return math.nan if self.true is None else 100.0 * (self.estimate.gain / self.true.gain - 1)


def relay_test(
    scenario: Scenario, *, diameter: float, line_speed: float, swing: float | None = None
) -> RelayTest:
    """Run a relay test about the manual output and read the ultimate cycle from it.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        swing: of the output up and down [%]; if left out, one that swings the tension by about a
            tenth.

    Raises:
        ValueError: an argument is out of range, the output leaves no room, or the relay makes no
            steady cycle.
    """
    point = operating_point(scenario, diameter=diameter, line_speed=line_speed)
    plant = linearise(scenario, diameter=diameter, line_speed=line_speed)
    true = ultimate_cycle(plant, scan_time=scenario.controller.scan_time)
    size = _swing(scenario, point, true, wanted=swing)
    trend = simulate(
        scenario,
        [Action(LEAD, "relay", size)],
        duration=LEAD + _time(plant, true),
        diameter=diameter,
        line_speed=line_speed,
        noise=False,
        runout=False,
    )
    if trend.web_lost:
        raise ValueError(f"{trend.warnings[-1]} during the relay test: use a smaller swing")
    after = trend.time >= LEAD
    time, output = trend.time[after], trend.output[after]
    measurement = 100.0 * trend.tension[after] / scenario.controller.tension_range
    cycles = _steady_cycles(time, output, measurement, scan_time=scenario.controller.scan_time)
    estimate = relay_estimate(time[cycles], output[cycles], measurement[cycles], amplitude=size)
    return RelayTest(
        diameter=diameter,
        line_speed=line_speed,
        swing=size,
        started_at=LEAD,
        trend=trend,
        estimate=estimate,
        true=true,
        warnings=(*trend.warnings, *_warnings(scenario, size, estimate)),
    )


def _swing(
    scenario: Scenario, point: OperatingPoint, true: Ultimate | None, *, wanted: float | None
) -> float:
    """Return the swing of the output [%]."""
    c = scenario.controller
    room = min(c.output_high - point.output, point.output - c.output_low)
    if wanted is not None:
        if not (math.isfinite(wanted) and 0.0 < wanted <= room):
            raise ValueError(
                f"swing {wanted:.4g} %: must be above 0 and leave the output ({point.output:.3g} %)"
                f" within {c.output_low:.3g} … {c.output_high:.3g} %"
            )
        return wanted
    share = 100.0 * WANTED_SHARE * point.tension / c.tension_range
    # 4 d/(pi a) = Ku turned about; without a Ku, the static change of tension.
    size = (
        0.25 * math.pi * true.gain * share
        if true is not None
        else WANTED_SHARE * point.tension / point.tension_per_percent
    )
    size = min(size, 0.8 * room)
    if size < LEAST_SWING:
        raise ValueError(
            f"the output stands at {point.output:.3g} % and leaves no room for a relay test between"
            f" {c.output_low:.3g} and {c.output_high:.3g} %"
        )
    return size


def _time(plant: LinearPlant, true: Ultimate | None) -> float:
    """Return how long the relay must run for the start to be forgotten [s]."""
    slowest = plant.slowest_time
    period = true.period if true is not None else 4.0 * (plant.dead_time + slowest)
    return min(max(CYCLES * period, 4.0 * slowest + 10.0 * period), LONGEST_TEST)


def _steady_cycles(
    time: Array, output: Array, measurement: Array, *, scan_time: float
) -> NDArray[np.intp]:
    """Return the samples of the last cycles, the first of them before an upward switch.

    Raises:
        ValueError: they are too few, unlike each other, or as short as the scan.
    """
    high = output > 0.5 * (output.min() + output.max())
    rises = np.flatnonzero(high[1:] & ~high[:-1]) + 1
    if rises.size <= LAST_CYCLES:
        raise ValueError(
            f"the relay makes no steady cycle here: {max(rises.size - 1, 0)} whole cycles in "
            f"{time[-1] - time[0]:.3g} s; try a larger swing"
        )
    rises = rises[-LAST_CYCLES - 1 :]
    periods = np.diff(time[rises])
    if periods.mean() < FEWEST_SCANS * scan_time:
        raise ValueError(
            f"the relay switches at almost every scan ({periods.mean():.3g} s a cycle): that is the"
            " scan's cycle, and says little of the machine"
        )
    swings = np.array([np.ptp(measurement[i:j]) for i, j in pairwise(rises)])
    uneven = np.ptp(periods) / periods.mean()
    # One scan more or less is no unsteadiness.
    allowed = max(STEADY_PERIOD, 2.5 * scan_time / periods.mean())
    if uneven > allowed or np.ptp(swings) > STEADY_SWING * swings.mean():
        raise ValueError(
            f"the relay makes no steady cycle here: the last {LAST_CYCLES} differ by "
            f"{100.0 * uneven:.0f} % in period and "
            f"{100.0 * np.ptp(swings) / swings.mean():.0f} % in size; try another swing"
        )
    return np.arange(rises[0] - 1, time.size)


def _warnings(scenario: Scenario, swing: float, estimate: Ultimate) -> tuple[str, ...]:
    found = []
    play = supply_play(scenario)
    if play > 0.1 * swing:
        # Each switch first crosses the band, so the machine sees a swing smaller by half of it.
        high = (
            f"{100.0 * (1.0 / (1.0 - 0.5 * play / swing) - 1.0):.0f} %" if play < swing else "far"
        )
        found.append(
            f"the supply's hysteresis ({play:.2g} %) swallows a part of a swing of {swing:.2g} %: "
            f"the estimated gain reads {high} too high from this alone"
        )
    scans = estimate.period / scenario.controller.scan_time
    if scans < 10.0:
        found.append(f"a cycle is only {scans:.0f} scans long: its period is coarse")
    return tuple(found)
