"""Gains that hold where a loop rings, and the same machine with them: before and after.

The run starts steady in manual at the place of the record and is switched to automatic, with the
gains at work and with those designed for the whole roll; nothing else differs, not even the noise.
Everything is round in it, so that it shows the loop alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator import Action, Scenario, Trend, linearise, simulate
from simulator.machine import reading_of, running_tension, taper_at
from tuning.design import DEFAULT_MS, RollDesign, design_for_roll
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.margins import Margins, loop_margins
from tuning.oscillation.explain import Explanation
from tuning.oscillation.spectrum import without_drift

QUIET = 4.0  # in manual before the switch [s]
SWINGS = 25.0  # of the oscillation that the run shows after it [-]
SHORTEST, LONGEST = 20.0, 600.0
# A nudge of the setpoint, so that a loop without noise has something to ring at [-].
NUDGE = 0.02


@dataclass(frozen=True, eq=False)
class LoopRemedy:
    """A loop before and after new gains, at the place of a record.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        before: gains at work.
        after: gains that hold over the whole roll.
        margins_before: of the loop there.
        margins_after: of the loop there.
        trend_before: a switch to automatic and a nudge of the setpoint.
        trend_after: the same with the new gains.
        swing_before: rms of the web's tension about its mean in the second half of the run [N].
        swing_after: the same [N].
        design: of the new gains, for the whole roll.
    """

    diameter: float
    line_speed: float
    before: Gains
    after: Gains
    margins_before: Margins
    margins_after: Margins
    trend_before: Trend
    trend_after: Trend
    swing_before: float
    swing_after: float
    design: RollDesign


def loop_remedy(
    explanation: Explanation,
    *,
    ms_limit: float = DEFAULT_MS,
    seed: int = 0,
    design: RollDesign | None = None,
) -> LoopRemedy | None:
    """Return what gains for the whole roll do at the place of a record.

    None without a scenario, where the gains at work or the place are not known, and where no gains
    hold.

    Args:
        explanation: of the record.
        ms_limit: largest sensitivity allowed [-].
        seed: of the noise [-].
        design: gains for the whole roll of this machine, where they are worked out already; the
            limit is theirs then.
    """
    s = explanation.findings
    if s.scenario is None or s.loop is None or s.loop.gains is None or not s.where:
        return None
    # Of the places where the machine may have been, the one at which the loop is worst.
    at = int(np.nanargmax(s.loop.Ms))
    place, before, scenario = s.where[at], s.loop.gains, s.scenario
    if scenario.controller.schedule and s.loop.source == "scenario":
        # What the schedule has at this diameter, held: the run shows this place alone.
        before = gains_as_set(scenario, place.diameter)
    if design is None:
        try:
            design = design_for_roll(scenario, ms_limit=ms_limit)
        except ValueError:
            return None
    duration = min(max(SWINGS / s.frequency, SHORTEST), LONGEST)
    plant = linearise(scenario, diameter=place.diameter, line_speed=place.line_speed)
    scan = scenario.controller.scan_time
    runs, swings = [], []
    for gains in (before, design.gains):
        trend = _switched(scenario, gains, place.diameter, place.line_speed, duration, seed)
        late = trend.web_tension[trend.time > QUIET + 0.5 * duration]
        # The slow approach to the new setpoint is no swing.
        swing = without_drift(late, scan, slowest=0.3 * s.frequency)
        runs.append(trend)
        swings.append(float(swing.std()))
    return LoopRemedy(
        diameter=place.diameter,
        line_speed=place.line_speed,
        before=before,
        after=design.gains,
        margins_before=loop_margins(plant, before, scan_time=scan),
        margins_after=loop_margins(plant, design.gains, scan_time=scan),
        trend_before=runs[0],
        trend_after=runs[1],
        swing_before=swings[0],
        swing_after=swings[1],
        design=design,
    )


def _switched(
    scenario: Scenario,
    gains: Gains,
    diameter: float,
    line_speed: float,
    duration: float,
    seed: int,
) -> Trend:
    # As the operator reads it, before any taper.
    reading = reading_of(scenario, running_tension(scenario, diameter))
    setpoint = reading / taper_at(scenario, diameter)
    return simulate(
        gains.set_in(scenario),
        [
            Action(QUIET, "automatic"),
            Action(QUIET + 0.1 * duration, "setpoint", (1.0 + NUDGE) * setpoint),
        ],
        duration=QUIET + duration,
        diameter=diameter,
        line_speed=line_speed,
        setpoint=setpoint,
        seed=seed,
        # A roll out of round would hide what the loop does.
        runout=False,
    )
