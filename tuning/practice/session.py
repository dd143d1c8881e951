"""A practice run under someone's hands: begun, acted on, advanced, and repeated from its log.

The state is a value: whoever advances it, in steps of whatever length, gets the same bits. So the
screen may be slow or hidden, and the run is played again from what was done and at which scan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import Action, Trend, run_kernel
from simulator.plan import What, in_order, scan_of
from simulator.run_marks import trend_of
from simulator.running import STEP_SHARE, Running, advance, begin
from tuning.practice.drill import PracticeError, Start
from tuning.practice.panel import WINDOW
from tuning.practice.setup import Setup, set_up

Array = NDArray[np.float64]

# What a trainee can do; all else that happens comes from the drill and its traps.
TRAINEE: tuple[What, ...] = (
    "output", "setpoint", "automatic", "manual", "line speed", "start", "stop", "fast stop",
    "thread", "preset", "zero error", "Kc", "Ti", "tracking", "setpoint follows",
)  # fmt: skip
# More than an hour of pushes in every scan.
MOST_ACTIONS = 20_000
# A trend on the screen has a sample at least this often [s], and no more than the panel shows.
SAMPLE = 0.08
# The stiffest web that a practice run sees over the scenario's own: a lap of two plies [-].
STIFFEST = 2.0
# Whoever takes the reading over as setpoint or zero takes the mean of so long [s].
READING_TIME = 1.0


@dataclass(frozen=True, eq=False)
class Practice:
    """A practice run so far.

    Attributes:
        setup: drill, machine, seed and traps.
        start: where that makes it start.
        running: the machine now.
        done: what the trainee did, in order; each at the time of its scan.
        window: the last rows of the record, as the kernel records them, shape (n, columns) [SI].
    """

    setup: Setup
    start: Start
    running: Running
    done: tuple[Action, ...]
    window: Array

    @property
    def time(self) -> float:
        """Since the start of the run [s]."""
        return self.running.time

    @property
    def over(self) -> bool:
        """Whether the time of the drill is up."""
        return self.running.scan >= last_scan(self.start)

    @property
    def called(self) -> str:
        """What was called out last on the floor; empty if nothing yet."""
        return next((words for at, words in reversed(self.start.call) if at <= self.time), "")


def last_scan(start: Start) -> int:
    """Return the scan at which a drill's time is up.

    Args:
        start: of the drill.
    """
    return math.ceil(start.time_limit / start.scenario.controller.scan_time - 1e-9)


def begin_practice(setup: Setup) -> Practice:
    """Return a practice run at its start, its first scan done, so that there is a reading.

    Args:
        setup: drill, machine, seed and traps.

    Raises:
        PracticeError: the machine does not suit the drill or a trap, or one is not known.
    """
    start = set_up(setup)
    running = _at_rest(setup, start)
    width = run_kernel.COLUMNS + running.machine.length.size
    return advanced(Practice(setup, start, running, (), np.empty((0, width))), 1)


def _at_rest(setup: Setup, start: Start) -> Running:
    run = start.scenario.run
    return begin(
        start.scenario,
        diameter=start.diameter,
        line_speed=start.line_speed,
        tension=start.tension,
        setpoint=start.setpoint,
        automatic=start.automatic,
        seed=setup.seed,
        noise=True,
        runout=True,
        time_compression=0.0,
        step_share=STEP_SHARE,
        speeds=(0.0, run.crawl_speed, run.line_speed),
        stiffest=STIFFEST,
    )


def advanced(practice: Practice, scans: int) -> Practice:
    """Return a practice run so many scans later, or at the end of its time.

    Args:
        practice: the run so far.
        scans: to run [-].
    """
    now = practice.running
    scans = min(scans, last_scan(practice.start) - now.scan)
    if scans <= 0:
        return practice
    scan_time = now.controller.scan_time
    every = max(round(SAMPLE / scan_time), 1)
    plan = in_order([*practice.start.plan, *practice.done])
    due = [action for action in plan if scan_of(now.scenario, action) >= now.scan]
    after, record = advance(now, scans, due, record_every=every)
    rows = int(WINDOW / (every * scan_time))
    window = np.concatenate([practice.window, record])[-rows:]
    return replace(practice, running=after, window=window)


def acted(practice: Practice, what: What, value: float = 0.0, over: float = 0.0) -> Practice:
    """Return a practice run in which the trainee has done one thing, at the next scan.

    Args:
        practice: the run so far.
        what: is done; see `Action`.
        value: of it, in the unit that `Action` says [any].
        over: time that a change of line speed takes [s].

    Raises:
        PracticeError: a trainee can't do that.
        SimulationError: the value is impossible.
    """
    if what not in TRAINEE:
        raise PracticeError(f"{what}: a trainee can do {', '.join(TRAINEE)}")
    fastest = practice.start.scenario.run.line_speed
    if what == "line speed" and value > fastest:
        raise PracticeError(f"line speed {value:.4g} m/s: at most {fastest:.4g} m/s")
    if len(practice.done) >= MOST_ACTIONS:
        raise PracticeError(f"no run has more than {MOST_ACTIONS} actions: finish this one")
    return replace(practice, done=(*practice.done, Action(practice.time, what, value, over)))


def zeroed(practice: Practice) -> Practice:
    """Return a practice run in which the trainee zeroed the load cells on what they carry now.

    With the web slack that is right; with tension in the web the reading is off by it from then on.
    It is done on the cells' own signal, so that a reading at the end of its scale is no limit.

    Args:
        practice: the run so far.
    """
    running = practice.running
    filtered = float(running.state[2 * running.machine.length.size + 1])
    return acted(practice, "zero error", -running.sensor.gain * filtered)


def mean_reading(practice: Practice) -> float:
    """Return the mean of what the load cells have read over the last second [N].

    Args:
        practice: the run so far.
    """
    recent = practice.window[:, run_kernel.TIME] >= practice.time - READING_TIME
    # A controller whose scans are longer than that has one reading.
    recent[-1] = True
    return float(practice.window[recent, run_kernel.READING].mean())


def trend(practice: Practice, *, record_every: int = 1) -> Trend:
    """Return the whole run as a trend: it is run again, from what was done.

    Args:
        practice: the run so far.
        record_every: scans from one sample to the next [-].
    """
    fresh = _at_rest(practice.setup, practice.start)
    plan = in_order([*practice.start.plan, *practice.done])
    scans = practice.running.scan
    end, record = advance(fresh, scans, plan, record_every=record_every)
    return trend_of(
        practice.start.scenario,
        record,
        actions=[action for action in plan if scan_of(fresh.scenario, action) < scans],
        happened=end.happened,
        notes=fresh.warnings,
        time_compression=0.0,
    )


def repeated(setup: Setup, done: Sequence[Action], scans: int) -> Practice:
    """Return the run that a log describes.

    Args:
        setup: drill, machine, seed and traps.
        done: by the trainee.
        scans: that it lasted [-].

    Raises:
        PracticeError: as `begin_practice`.
    """
    start = begin_practice(setup)
    return advanced(replace(start, done=tuple(done)), scans - start.running.scan)
