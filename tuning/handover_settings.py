"""What tracking and anti-windup do, shown by two experiments on the machine at hand.

At a limit: the setpoint is asked for a while where the output can't go, then back. Without
anti-windup the integral term grows by Ki e a second all the while and must be paid back, at Ki e'
a second with e' the error after the setpoint is back, before the output leaves its limit:

    late = (what has grown beyond the limit)/(Ki |e'|)

With back-calculation, dI/dt = Ki e + (u - v)/Tt with v the output before its limit and Tt = Ti, the
integral comes to rest where v - u = Kc e: the output leaves its limit as soon as the setpoint is
back. (Åström & Hägglund, Advanced PID Control, 2006, on windup; restated from memory.)

At the switch: the integral term tracks, or stands at 0, or at what held another tension when the
controller last was in automatic. The output jumps by what `tuning.handover` derives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from simulator import Action, Trend, operating_point, simulate
from simulator.cell_forces import web_tension
from simulator.machine import reading_of, taper_at
from tuning.handover import BAND, Handover, measure_switch
from tuning.handover_judged import judge_place
from tuning.handover_movement import QUIET_TIME
from tuning.handover_place import SwitchPlace

# Room up to the limit, and what the setpoint asks beyond it, worth so much tension [share, -].
ROOM, BEYOND = 0.1, 0.2
# How long the setpoint asks for it [s]: four times the slowest mode, within these.
SHORTEST_ASKED, LONGEST_ASKED = 6.0, 30.0
# The tension that the controller last held in automatic [share of running tension, -].
OLD_TENSION = 0.8
# An output this near to its limit is at it [%].
AT_LIMIT = 1e-6


@dataclass(frozen=True)
class AtLimit:
    """One run against a limit of the output.

    Attributes:
        trend: of the run.
        anti_windup: whether the integral term is held back [-].
        at_limit: how long the output stood at its limit [s].
        late: from the setpoint's return until the output leaves its limit [s]; nan if it does not
            within the run.
        overshoot: of the tension past the setpoint after its return [% of running tension].
        settling: from the setpoint's return until the tension stays within 2 % of running tension
            [s]; nan if it does not within the run.
    """

    trend: Trend
    anti_windup: bool
    at_limit: float
    late: float
    overshoot: float
    settling: float


@dataclass(frozen=True)
class LimitStudy:
    """The same demand beyond a limit, with and without anti-windup.

    Attributes:
        limit: of the output [%].
        upper: whether it is the upper limit [-].
        asked_from: time at which the setpoint goes beyond [s].
        asked_until: time at which it comes back [s].
        with_anti_windup: run with back-calculation.
        without: run without.
    """

    limit: float
    upper: bool
    asked_from: float
    asked_until: float
    with_anti_windup: AtLimit
    without: AtLimit


@dataclass(frozen=True)
class IntegralStudy:
    """The same switch with the integral term at three values.

    Attributes:
        tracks: the integral term follows the output.
        at_zero: it stands at 0.
        at_old: it stands where it held `old_tension`.
        old_tension: that the controller last held in automatic [N].
        old_output: that held it [%].
    """

    tracks: Handover
    at_zero: Handover
    at_old: Handover
    old_tension: float
    old_output: float


@dataclass(frozen=True)
class SettingsStudy:
    """What anti-windup and tracking do on a machine.

    Attributes:
        at_limit: anti-windup.
        integral: tracking.
    """

    at_limit: LimitStudy
    integral: IntegralStudy


def what_settings_do(place: SwitchPlace) -> SettingsStudy:
    """Show what tracking and anti-windup do.

    Args:
        place: the machine with its gains at a diameter and a speed.

    Raises:
        ValueError: the tension can't be held here, or the loop is not stable.
    """
    known = judge_place(place)
    if known is not None:
        raise ValueError(f"{known.reason}; {known.instead}")
    return SettingsStudy(_limit_study(place), _integral_study(place))


def _limit_study(place: SwitchPlace) -> LimitStudy:
    c, point = place.scenario.controller, place.point
    per_percent = point.tension_per_percent
    room = ROOM * point.tension / per_percent
    # Where there is no room above, the limit is set below.
    upper = c.output_high - point.output >= min(room, point.output - c.output_low)
    if upper:
        limit = min(point.output + room, c.output_high)
        bounds = {"output_low": c.output_low, "output_high": limit}
    else:
        limit = max(point.output - room, c.output_low)
        bounds = {"output_low": limit, "output_high": c.output_high}
    at_limit = per_percent * (limit - point.output) / point.tension
    asked = place.reading * (1.0 + at_limit + math.copysign(BEYOND, at_limit))
    slowest = place.margins.slowest_time
    lasts = 4.0 * slowest if math.isfinite(slowest) else LONGEST_ASKED
    lasts = min(max(lasts, SHORTEST_ASKED), LONGEST_ASKED)
    until = QUIET_TIME + lasts
    # Paying back takes BEYOND/ROOM times as long as it grew.
    duration = until + (BEYOND / ROOM + 1.0) * lasts + min(place.watched, LONGEST_ASKED)
    plan = [Action(QUIET_TIME, "setpoint", asked), Action(until, "setpoint", place.reading)]
    runs = {}
    for anti_windup in (True, False):
        scenario = place.with_settings(
            tracking=None, setpoint_follows=False, anti_windup=anti_windup
        )
        limited = replace(
            scenario,
            controller=replace(
                scenario.controller,
                output_low=bounds["output_low"],
                output_high=bounds["output_high"],
            ),
        )
        trend = simulate(
            limited, plan, duration=duration, diameter=place.diameter,
            line_speed=place.line_speed, automatic=True, noise=False, runout=False,
        )  # fmt: skip
        runs[anti_windup] = _against(
            place, trend, limit=limit, upper=upper, until=until, anti_windup=anti_windup
        )
    return LimitStudy(limit, upper, QUIET_TIME, until, runs[True], runs[False])


def _against(
    place: SwitchPlace, trend: Trend, *, limit: float, upper: bool, until: float, anti_windup: bool
) -> AtLimit:
    scan = place.scenario.controller.scan_time
    stands = np.abs(trend.output - limit) < AT_LIMIT
    back = trend.time >= until - 0.5 * scan
    leaves = np.flatnonzero(~stands[back])
    time, tension = trend.time[back], trend.web_tension[back]
    off = tension - web_tension(place.scenario.load_cell, float(trend.setpoint[-1]))
    running = place.scenario.run.tension
    outside = np.flatnonzero(np.abs(off) > BAND * running)
    last = 0 if outside.size == 0 else int(outside[-1]) + 1
    return AtLimit(
        trend=trend,
        anti_windup=anti_windup,
        at_limit=scan * float(stands.sum()),
        late=float(time[leaves[0]] - time[0]) if leaves.size else math.nan,
        overshoot=100.0 * max(float((-off if upper else off).max()), 0.0) / running,
        settling=float(time[last] - time[0]) if last < time.size else math.nan,
    )


def _integral_study(place: SwitchPlace) -> IntegralStudy:
    scenario, point = place.scenario, place.point
    old_tension = OLD_TENSION * point.tension
    if point.tension_low > old_tension:
        old_tension = (2.0 - OLD_TENSION) * point.tension
    old = operating_point(
        scenario, diameter=place.diameter, line_speed=place.line_speed, tension=old_tension
    )
    share = taper_at(scenario, place.diameter)
    waits = QUIET_TIME + min(place.watched, LONGEST_ASKED)
    plan = [
        Action(1.0, "manual"),
        Action(1.0, "output", place.output),
        Action(waits, "setpoint", place.reading),
        Action(waits + QUIET_TIME, "automatic"),
    ]
    switched: dict[str, Handover] = {}
    for name, tracking, from_automatic in (
        ("tracks", True, True), ("at zero", False, False), ("at old", False, True)
    ):  # fmt: skip
        changed = place.with_settings(tracking=tracking, setpoint_follows=False, anti_windup=None)
        trend = simulate(
            changed, plan, duration=waits + QUIET_TIME + place.watched, diameter=place.diameter,
            line_speed=place.line_speed, tension=old_tension,
            setpoint=max(reading_of(scenario, old_tension) / share, 0.0),
            automatic=from_automatic, noise=False, runout=False,
        )  # fmt: skip
        switched[name] = measure_switch(
            changed,
            trend.between(waits, math.inf),
            switched_at=waits + QUIET_TIME,
            stable=place.margins.stable,
        )
    return IntegralStudy(
        switched["tracks"], switched["at zero"], switched["at old"], old_tension, old.output
    )
