"""Invented records: one trouble put into a machine, simulated, and logged as a recorder would.

All of it is our own invention and no record of any machine. The machine runs with gains that suit
it at that place, at about half of its roll; apart from the one trouble it is as good as new. The
gains that ring are those gains, raised until little of the gain margin is left.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simulator import Action, Scenario, Trend
from simulator.machine import diameter_range
from simulator.ripple import ripple
from simulator.torque_devices import FrictionBrake
from tuning.gains import Gains
from tuning.margins import loop_margins
from tuning.oscillation.causes import LOOP, MOVES, NONE, PICKUP, RINGING, ROLL, ROLLER, STICKING
from tuning.oscillation.invented_run import (
    LONGEST,
    SAMPLES_A_SWING,
    SETTLING,
    SHORTEST,
    SWINGS,
    InventedRun,
    as_recorded,
    logged,
    long_enough,
    sound_run,
)
from tuning.oscillation.machine_frequencies import fold

# The swing that is wanted, of the tension [-].
SWING = 0.03
# Runout of a roller or nip at most [m]: more would be heard.
MOST_RUNOUT = 5e-4
# A recorder with a clock of its own, and mains a little off what they are called [s, Hz].
LOGGER, MAINS = 0.1, 50.02
# Of the gain at which the loop swings for ever, what the loop too tight has [-].
TOO_TIGHT = 0.92
# Gains of the loop that hunts are turned down by this [-].
SLOWER = 3.0
# A roll better damped than this does not ring on its web [-].
RINGS_BELOW = 0.08


def invented_troubles(scenario: Scenario) -> tuple[str, ...]:
    """Return the troubles that this machine can have, as the causes are called, "none" last.

    Args:
        scenario: the machine.
    """
    run = sound_run(scenario)
    return tuple(trouble for trouble, (possible, _) in _MAKERS.items() if possible(run))


def invented_gains(scenario: Scenario, trouble: str) -> Gains:
    """Return the gains with which the record of a trouble is made.

    Args:
        scenario: the machine.
        trouble: one of the invented troubles.
    """
    run = sound_run(scenario)
    if trouble == LOOP:
        return _tight_gains(run)
    return _slow_gains(run) if trouble == STICKING else run.gains


def invented_record(scenario: Scenario, trouble: str, *, seed: int = 0) -> Trend:
    """Return an invented record of a trouble, with the columns that a recorder may have.

    Args:
        scenario: the machine.
        trouble: one of `invented_troubles`.
        seed: of the noise [-].

    Raises:
        ValueError: no trouble that this machine can have.
    """
    run = sound_run(scenario)
    possible, make = _MAKERS.get(trouble, (lambda run: False, _quiet))
    if not possible(run):
        raise ValueError(
            f"trouble {trouble!r}: this machine may have {', '.join(invented_troubles(scenario))}"
        )
    return as_recorded(make(run, seed), seed)


def _always(run: InventedRun) -> bool:
    return True


# --- what turns -------------------------------------------------------------------------------


def _slower(run: InventedRun, duration: float) -> list[Action]:
    """Let the line go slowly to a tenth less: what turns with it goes along."""
    start = SETTLING + 0.2 * duration
    return [Action(start, "line speed", 0.9 * run.line_speed, 0.5 * duration)]


def _roll(run: InventedRun, seed: int) -> Trend:
    seen = ripple(run.scenario, diameter=run.diameter, line_speed=run.line_speed)[0]
    runout = SWING * run.tension / seen.tension_per_runout
    runout = min(runout, 0.2 * diameter_range(run.scenario)[0], 1e-3)
    worn = replace(run.scenario, roll=replace(run.scenario.roll, runout=runout))
    duration = long_enough(seen.frequency)
    return logged(
        run, seed, frequency=seen.frequency, scenario=worn, plan=_slower(run, duration),
        duration=duration,
    )  # fmt: skip


def _worst_roller(run: InventedRun) -> tuple[str, float, float, float]:
    """Return (name, line speed [m/s], turns [Hz], reading over runout [N/m]) at its largest."""
    top = run.scenario.run.line_speed
    found = []
    for v in np.geomspace(max(run.scenario.run.crawl_speed, 0.15 * top), top, 15):
        for one in ripple(run.scenario, diameter=run.diameter, line_speed=float(v))[1:]:
            late = math.hypot(1.0, 2.0 * math.pi * one.frequency * _filter_time(run))
            if one.frequency * run.scan < 0.2:
                found.append((one.name, float(v), one.frequency, one.tension_per_runout / late))
    return max(found, key=lambda one: one[3], default=("", top, math.nan, 0.0))


def _filter_time(run: InventedRun) -> float:
    return run.scenario.load_cell.filter_time


def _has_roller(run: InventedRun) -> bool:
    seen = _worst_roller(run)[3] * MOST_RUNOUT
    return seen > max(0.002 * run.tension, 0.5 * run.scenario.load_cell.noise)


def _roller(run: InventedRun, seed: int) -> Trend:
    name, v, frequency, per_runout = _worst_roller(run)
    runout = min(SWING * run.tension / per_runout, MOST_RUNOUT)
    run = sound_run(run.scenario, v)
    s = run.scenario
    if name == "nip":
        assert s.nip is not None
        worn = replace(s, nip=replace(s.nip, runout=runout))
    else:
        rollers = list(s.roller)
        at = int(name.split()[-1]) - 1
        rollers[at] = replace(rollers[at], runout=runout)
        worn = replace(s, roller=tuple(rollers))
    duration = long_enough(frequency)
    return logged(
        run, seed, frequency=frequency, scenario=worn, plan=_slower(run, duration),
        duration=duration,
    )  # fmt: skip


# --- the loop ---------------------------------------------------------------------------------


def _tight_gains(run: InventedRun) -> Gains:
    margins = loop_margins(run.plant, run.gains, scan_time=run.scan)
    return replace(run.gains, Kc=TOO_TIGHT * margins.gain_margin * run.gains.Kc)


def _tight(run: InventedRun, seed: int) -> Trend:
    gains = _tight_gains(run)
    margins = loop_margins(run.plant, gains, scan_time=run.scan)
    frequency = margins.peak_frequency / (2.0 * math.pi)
    duration = long_enough(frequency)
    # An operator tries other setpoints.
    plan = [
        Action(SETTLING + share * duration, "setpoint", (1.0 + step) * run.tension)
        for share, step in ((0.02, 0.03), (0.35, 0.0), (0.7, 0.02))
    ]
    return logged(run, seed, frequency=frequency, scenario=gains.set_in(run.scenario), plan=plan,
                   duration=duration)  # fmt: skip


def _can_stick(run: InventedRun) -> bool:
    return isinstance(run.scenario.torque_device, FrictionBrake)


def _slow_gains(run: InventedRun) -> Gains:
    """Gains turned down, as one does where a loop hunts: it then hunts slower, in clear jumps."""
    return replace(run.gains, Kc=run.gains.Kc / SLOWER)


def _sticking(run: InventedRun, seed: int) -> Trend:
    """The supply jumps once the output has moved by its sticking, and the loop brings it back.

    It hunts for ever only where the wanted output lies between two levels at which it sticks, so
    some setpoints are tried, and the one at which it hunts most is kept.
    """
    device = run.scenario.torque_device
    assert isinstance(device, FrictionBrake)
    per_percent = run.plant.static_gain * 0.01 * run.scenario.controller.tension_range
    stuck = min(max(SWING * run.tension / per_percent, 0.5), 6.0)
    worn = replace(
        run.scenario, torque_device=replace(device, sticking=stuck, hysteresis=0.15 * stuck)
    )
    gains = _slow_gains(run)
    # From half of a jump off, integral action takes its time to move the output by the sticking.
    slow = 2.0 * (device.lag + _filter_time(run))
    waits = max(4.0 / run.plant.static_gain - 2.0 * gains.Kc, 0.0) / gains.Ki
    found = []
    for share in np.linspace(0.3, 0.7, 5):
        nudge = Action(1.0, "setpoint", run.tension + float(share) * stuck * per_percent)
        trend = logged(run, seed, frequency=1.0 / (waits + slow), scenario=gains.set_in(worn),
                       plan=[nudge])  # fmt: skip
        above = trend.torque > trend.torque.mean()
        found.append((int(np.count_nonzero(np.diff(above))), trend))
    return max(found, key=lambda one: one[0])[1]


def _can_ring(run: InventedRun) -> bool:
    return run.plant.damping_ratio < RINGS_BELOW


def _ringing(run: InventedRun, seed: int) -> Trend:
    """In manual the nip jerks now and then, and the roll rings on the web each time."""
    frequency = run.plant.natural_frequency / (2.0 * math.pi)
    dies = 1.0 / (run.plant.natural_frequency * run.plant.damping_ratio)
    duration = max(long_enough(frequency, 1.5 * SWINGS), min(12.0 * dies, LONGEST))
    rng = np.random.default_rng([seed, 2])
    at, times = 1.0, []
    while at < SETTLING + duration:
        times.append(at)
        at += float(rng.uniform(0.7, 3.0)) * dies
    lasts = max(0.2 / frequency, run.scan)

    def knocked(size: float, noise: bool) -> Trend:
        v = run.line_speed
        plan = [
            Action(time + late, "line speed", v * (1.0 + more))
            for time in times
            for late, more in ((0.0, size), (lasts, 0.0))
        ]
        return logged(run, seed, frequency=frequency, plan=plan, automatic=False,
                       duration=duration, noise=noise)  # fmt: skip

    trial = 1e-4
    swing = math.sqrt(2.0) * float(knocked(trial, False).tension.std()) / run.tension
    return knocked(min(trial * SWING / swing, 0.02), True)


# --- from outside -----------------------------------------------------------------------------


def _moving(run: InventedRun, seed: int) -> Trend:
    # Slower than the roll turns, and no part of its turn.
    wanted = 0.29 * run.line_speed / (math.pi * run.diameter)
    # A sine of so many straight lines that their corners shake nothing.
    knots = min(max(int(0.5 / (wanted * run.scan)), 8), 40)
    gap = max(round(1.0 / (wanted * knots * run.scan)), 2)
    frequency = 1.0 / (gap * knots * run.scan)
    s = 2j * math.pi * frequency
    A, C, B = run.plant.A, run.plant.C, run.plant.B_speed
    per_speed = abs(complex((C @ np.linalg.solve(s * np.eye(len(A)) - A, B)).item()))
    L = run.plant.frequency_response([abs(s)]) * run.gains.frequency_response([abs(s)])
    per_speed *= 0.01 * run.scenario.controller.tension_range / abs(complex(1.0 + L[0]))
    size = min(max(SWING * run.tension / per_speed, 1e-3 * run.line_speed), 0.03 * run.line_speed)
    duration = long_enough(frequency)
    count = int((SETTLING + duration) / (gap * run.scan))
    plan = [
        Action(
            k * gap * run.scan,
            "line speed",
            run.line_speed + size * math.sin(2.0 * math.pi * (k + 1) / knots),
            0.999 * gap * run.scan,
        )
        for k in range(count)
    ]
    return logged(run, seed, frequency=frequency, plan=plan, duration=duration)


def _pickup(run: InventedRun, seed: int) -> Trend:
    """Mains in the recorder's wire: the loop does not see it."""
    turns = run.line_speed / (math.pi * run.diameter)
    swing = run.plant.natural_frequency / (2.0 * math.pi)

    def apart(interval: float) -> float:
        seen = fold(MAINS, interval)
        return min(abs(math.log(seen / other)) for other in (turns, 2.0 * turns, swing))

    rests = np.array([0.13, 0.17, 0.22, 0.28, 0.34])
    interval = max((np.round(MAINS * LOGGER) + rests) / MAINS, key=apart)
    fine = logged(run, seed, frequency=1.0 / (SAMPLES_A_SWING * run.scan), duration=SHORTEST * 1.5)
    time = np.arange(fine.time[0], fine.time[-1], interval)
    columns = {
        name: np.interp(time, fine.time, getattr(fine, name))
        for name in ("tension", "output", "setpoint", "line_speed", "diameter", "automatic")
    }
    columns["tension"] = columns["tension"] + 0.5 * SWING * run.tension * np.sin(
        2.0 * math.pi * MAINS * time
    )
    return Trend(time=time, **columns)


def _quiet(run: InventedRun, seed: int) -> Trend:
    return logged(run, seed, frequency=1.0 / (5.0 * run.scan * SAMPLES_A_SWING), duration=90.0)


_MAKERS: dict[str, tuple[Callable[[InventedRun], bool], Callable[[InventedRun, int], Trend]]] = {
    ROLL: (_always, _roll),
    ROLLER: (_has_roller, _roller),
    LOOP: (_always, _tight),
    RINGING: (_can_ring, _ringing),
    STICKING: (_can_stick, _sticking),
    MOVES: (_always, _moving),
    PICKUP: (_always, _pickup),
    NONE: (_always, _quiet),
}
