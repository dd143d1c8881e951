"""Recorded step tests as a fit wants them, and the same test replayed on a described machine.

Replay. The run starts steady at the recorded tension, and the recorded moves of the output act from
there. What the machine as described would make of the recorded output by itself is another matter:
between the two lies whatever friction, residual torque or zero of the load cell are off by. That
difference is one torque that does not move during the test, so the replay takes it up, and it is
reported as the level of the record (`own_level`).

So that the replay works for any numbers that a search may try, its device reaches further than the
real one: same torque per per cent, other ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from simulator import Action, Scenario, Trend, simulate
from simulator.cell_forces import display_reading, web_tension
from simulator.machine import kernel_machine, reading_of
from simulator.operating_point import check_diameter, steady_state, tension_at
from simulator.scenario import PullRoll
from simulator.sensing_and_control import Controller
from simulator.torque_devices import FrictionBrake, TorqueMotor

Array = NDArray[np.float64]

FEWEST_SAMPLES = 40
MOST_MOVES, MOST_SCANS = 200, 100_000
# Speed and diameter may wander by so much of their middle in one test [-].
MOST_WANDER = 0.03
# What the file says and what is given may differ by so much [-].
SAME = 0.01
# A reading that has no noise still has this share of its movement as its uncertainty [-].
LEAST_NOISE = 1e-4
# A reading this many times above or below the running tension is in another unit [-].
MOST_OFF = 20.0
# A change of the reading this many times its scatter is no chance [-].
CLEARLY = 3.0
# Quiet time kept before the first move and after the last one [s]; more says nothing more.
QUIET_KEPT = 60.0
# Time of a move off the grid of scans that counts as rounding [scans].
ON_GRID = 0.02
# The replay's device reaches so many times the torque that the test takes, its scale any tension.
REACH, WIDE = 2.5, 1e6
# Steps of the integration, in units of the fastest mode's time: far below the noise [-].
REPLAY_STEP = 1.0


@dataclass(frozen=True, eq=False)
class RecordedTest:
    """One step test, checked, its time counted from its first sample.

    Attributes:
        trend: as recorded.
        time: increasing from 0, shape (n,) [s].
        reading: of the tension, shape (n,) [N].
        first_output: before the first move [%].
        move_times: when the output moved, or up to `late` before, shape (m,) [s].
        moves: to where, shape (m,) [%].
        late: how long before a sample a move may have happened [s]; 0 where every scan is recorded.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        start: reading before the first move [N].
        noise: of one reading, rms, from how it jumps from sample to sample [N].
    """

    trend: Trend
    time: Array
    reading: Array
    first_output: float
    move_times: Array
    moves: Array
    late: float
    diameter: float
    line_speed: float
    start: float
    noise: float


def read_tests(
    tests: Trend | Sequence[Trend],
    scenario: Scenario,
    *,
    diameters: Sequence[float] | None = None,
    line_speeds: Sequence[float] | None = None,
) -> tuple[RecordedTest, ...]:
    """Check recorded step tests and return them as a fit wants them.

    Args:
        tests: in manual, one or several.
        scenario: the machine.
        diameters: of the roll in each test, where the trend does not tell [m].
        line_speeds: of the web in each test, where the trend does not tell [m/s].

    Raises:
        ValueError: a trend is no step test in manual, too short, or lacks diameter or speed.
    """
    trends = (tests,) if isinstance(tests, Trend) else tuple(tests)
    if not trends:
        raise ValueError("tests is empty: a fit needs one recorded step test or more")
    for name, given in (("diameters", diameters), ("line_speeds", line_speeds)):
        if given is not None and len(given) != len(trends):
            raise ValueError(
                f"{name} has {len(given)} values for {len(trends)} tests: give one for each"
            )
    records = []
    for i, trend in enumerate(trends):
        try:
            D = None if diameters is None else diameters[i]
            v = None if line_speeds is None else line_speeds[i]
            records.append(_read(trend, scenario, D, v))
        except ValueError as error:
            raise ValueError(f"test {i + 1}: {error}") from None
    return tuple(records)


def _read(
    trend: Trend, scenario: Scenario, diameter: float | None, line_speed: float | None
) -> RecordedTest:
    t, y, u = (np.asarray(a, dtype=float) for a in (trend.time, trend.tension, trend.output))
    _check(trend, t, y, u, scenario)
    moved = t[1:][np.diff(u) != 0.0]
    trend = trend.between(float(moved[0]) - QUIET_KEPT, float(moved[-1]) + QUIET_KEPT)
    t, y, u = (np.asarray(a, dtype=float) for a in (trend.time, trend.tension, trend.output))
    _check_direction(t, y, u)
    if isinstance(scenario.roll, PullRoll):
        diameter = scenario.roll.diameter
    D = _constant(trend.diameter, diameter, "diameter", "m")
    v = _constant(trend.line_speed, line_speed, "line_speed", "m/s")
    check_diameter(scenario, D)
    if not v > 0.0:
        raise ValueError(f"line_speed {v:g} m/s: must be above 0 m/s; a standing web has no draw")
    changed = np.flatnonzero(np.diff(u) != 0.0) + 1
    scan, interval = scenario.controller.scan_time, float(np.median(np.diff(t)))
    at = t[changed] - t[0]
    on_grid = bool(np.all(np.abs(at / scan - np.round(at / scan)) < ON_GRID))
    late = max(interval - scan, 0.0) if interval > 1.5 * scan else 0.0
    if on_grid:
        at = scan * np.round(at / scan)
    else:
        late += scan
    before = y[: changed[0]]
    start = float(before.mean())
    if not web_tension(scenario.load_cell, start) > 0.0:
        raise ValueError(
            f"the tension before the first step reads {start:.4g} N: a test needs a taut web"
        )
    return RecordedTest(
        trend=trend,
        time=t - t[0],
        reading=y,
        first_output=float(u[0]),
        move_times=np.maximum(at - late, 0.0),
        moves=u[changed],
        late=late,
        diameter=D,
        line_speed=v,
        start=start,
        noise=_noise(y, scenario),
    )


def _check(trend: Trend, t: Array, y: Array, u: Array, scenario: Scenario) -> None:
    if t.size < FEWEST_SAMPLES:
        raise ValueError(f"has {t.size} samples: a fit needs {FEWEST_SAMPLES} or more")
    for name, values in (("time", t), ("tension", y), ("output", u)):
        if not np.all(np.isfinite(values)):
            first = int(np.argmin(np.isfinite(values)))
            raise ValueError(f"{name}[{first}] is {values[first]}: every value must be finite")
    if not np.all(np.diff(t) > 0.0):
        raise ValueError("time must increase from sample to sample")
    if np.any(trend.automatic == 1.0):
        raise ValueError(
            "was recorded in automatic at least in part: a step test needs manual throughout, or "
            "the controller's own moves hide the machine"
        )
    if trend.web_lost:
        raise ValueError(f"ends in a {trend.web_lost}: nothing can be learned from it")
    moves = int(np.count_nonzero(np.diff(u)))
    if moves == 0:
        raise ValueError(f"output stays at {u[0]:g} % throughout: a step test needs a step")
    if moves > MOST_MOVES:
        raise ValueError(
            f"output changes {moves} times: a step test has one step or a few (at most "
            f"{MOST_MOVES}); was it recorded in automatic?"
        )
    if np.ptp(y) <= 1e-9 * max(1.0, float(np.abs(y).max())):
        raise ValueError(f"tension stays at {y[0]:g} N throughout: nothing to learn from")
    scans = (t[-1] - t[0]) / scenario.controller.scan_time
    if scans > MOST_SCANS:
        raise ValueError(
            f"lasts {t[-1] - t[0]:.4g} s, more than {MOST_SCANS} scans: cut out the step test, "
            "from shortly before the first step"
        )
    breaking, most = scenario.web.breaking_tension, web_tension(scenario.load_cell, float(y.max()))
    if breaking is not None and most > breaking:
        raise ValueError(
            f"tension reaches {most:.4g} N and the web of this scenario breaks at {breaking:.4g} "
            "N: check web.breaking_tension and the unit of the record"
        )
    before = float(np.median(y[: max(int(np.argmax(np.diff(u) != 0.0)), 1)]))
    expected = reading_of(scenario, scenario.run.tension)
    if 0.0 < before < expected / MOST_OFF or before > expected * MOST_OFF:
        raise ValueError(
            f"tension reads {before:.3g} N before the step, and this machine runs at "
            f"{scenario.run.tension:.3g} N: check the unit, tension_N is in newtons"
        )


def _check_direction(t: Array, y: Array, u: Array) -> None:
    """Refuse a record in which more output makes less tension, or in which output is a share."""
    changed = np.flatnonzero(np.diff(u)) + 1
    largest = int(changed[np.argmax(np.abs(np.diff(u)[changed - 1]))])
    following = changed[changed > largest]
    end = int(following[0]) if following.size else t.size
    before, after = y[:largest], y[largest + (end - largest) // 2 : end]
    if before.size < 2 or after.size < 2:
        return
    rise = float(np.median(after) - np.median(before)) * float(np.sign(u[largest] - u[largest - 1]))
    scatter = float(np.std(np.diff(y))) / math.sqrt(2.0)
    if rise < -CLEARLY * scatter:
        raise ValueError(
            "tension falls where the output rises: check the sign of the output, or whether 100 % "
            "is the lowest torque"
        )
    if rise > CLEARLY * scatter and np.abs(u).max() <= 1.0:
        raise ValueError(
            f"output goes no higher than {np.abs(u).max():.3g} %: is it a share from 0 to 1? "
            "output_percent goes from 0 to 100"
        )


def _constant(recorded: Array, given: float | None, name: str, unit: str) -> float:
    """Return the middle of what is recorded, else what is given [unit]."""
    known = recorded[np.isfinite(recorded)]
    if known.size == 0:
        if given is None:
            raise ValueError(f"{name} is not in the record: give it in {name}s [{unit}]")
        if not math.isfinite(given):
            raise ValueError(f"{name} {given} {unit}: must be a finite number")
        return float(given)
    middle = float(np.median(known))
    if np.ptp(known) > 2.0 * MOST_WANDER * abs(middle):
        raise ValueError(
            f"{name} goes from {known.min():.4g} to {known.max():.4g} {unit} during the test: hold "
            "it still, or cut out a part in which it is still"
        )
    if given is not None and abs(given - middle) > SAME * abs(middle):
        raise ValueError(f"{name} is recorded as {middle:.4g} {unit} and given as {given:.4g}")
    return middle


def _noise(reading: Array, scenario: Scenario) -> float:
    """Return the rms [N] of white noise that makes a reading jump as it does.

    The second difference of a smooth motion is near zero, that of white noise has six times its
    variance; the median keeps the steps out of it (0.6745: half of a normal distribution).
    """
    second = np.diff(reading, 2)
    jumps = float(np.median(np.abs(second))) / 0.6745 / math.sqrt(6.0)
    # A reading in steps may not jump at all for most of the time.
    moved = np.abs(np.diff(reading))
    grain = max(float(moved[moved > 0.0].min()), scenario.load_cell.resolution) / math.sqrt(12.0)
    return max(jumps, grain, LEAST_NOISE * float(np.ptp(reading)))


def replay(
    test: RecordedTest, scenario: Scenario, *, delay: float = 0.0, breaks: bool = False
) -> tuple[Array, Trend]:
    """Replay a test on a machine: its reading at the recorded times, shape (n,) [N], and the run.

    Args:
        test: recorded.
        scenario: the machine.
        delay: how long after `move_times` the output moved, 0 … `late` [s].
        breaks: whether the web may break [-].
    """
    tension = web_tension(scenario.load_cell, test.start)
    m = kernel_machine(scenario, runout=False)
    steady = steady_state(m, diameter=test.diameter, line_speed=test.line_speed, tension=tension)
    device = scenario.torque_device
    per_percent = (device.full_torque - device.residual_torque) / 100.0
    torque = device.residual_torque + per_percent * steady.output
    torques = torque + per_percent * (test.moves - test.first_output)
    most = max(REACH * float(np.abs([torque, *torques]).max()), 100.0 * per_percent)
    # A motor works both ways, a brake or clutch from nothing up.
    least = -most if isinstance(device, TorqueMotor) else 0.0
    outputs = 100.0 * (torques - least) / (most - least)
    stretch = 100.0 * per_percent / (most - least)
    wide = replace(
        device,
        full_torque=most,
        residual_torque=least,
        dead_time=device.dead_time + delay,
    )
    if isinstance(wide, FrictionBrake):
        wide = replace(wide, hysteresis=stretch * wide.hysteresis, sticking=stretch * wide.sticking)
    scale = WIDE * max(tension, scenario.controller.tension_range)
    bench = replace(
        scenario,
        torque_device=wide,
        web=scenario.web if breaks else replace(scenario.web, breaking_tension=None),
        load_cell=replace(scenario.load_cell, rated_load=1e7, resolution=0.0),
        controller=Controller(
            tension_range=min(scale, 1e7), scan_time=scenario.controller.scan_time
        ),
    )
    plan = [
        Action(float(at), "output", float(min(max(value, 0.0), 100.0)))
        for at, value in zip(test.move_times, outputs, strict=True)
    ]
    run = simulate(
        bench,
        plan,
        duration=float(test.time[-1]) + 2.0 * bench.controller.scan_time,
        diameter=test.diameter,
        line_speed=test.line_speed,
        tension=tension,
        noise=False,
        runout=False,
        step_share=REPLAY_STEP,
    )
    n = test.time.size
    if run.time.size >= n and np.abs(run.time[:n] - test.time).max() < 1e-6:
        return run.tension[:n], run
    return np.asarray(CubicSpline(run.time, run.tension)(test.time)), run


def own_level(test: RecordedTest, scenario: Scenario) -> float:
    """Return the reading [N] that a machine by itself makes of the output before the first move.

    Args:
        test: recorded.
        scenario: the machine.
    """
    m = kernel_machine(scenario, runout=False)
    tension = tension_at(
        m, diameter=test.diameter, line_speed=test.line_speed, output=test.first_output
    )
    return display_reading(scenario.load_cell, tension)
