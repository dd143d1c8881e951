"""Run a machine in time: a scenario, a plan of actions, and the trend that comes of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simulator import kernel
from simulator.errors import SimulationError
from simulator.linear_plant import split_dead_time
from simulator.linearise import jacobian
from simulator.machine import (
    diameter_range,
    kernel_controller,
    kernel_machine,
    web_leaves_roll,
)
from simulator.operating_point import check_diameter, steady_state, tension_at
from simulator.scenario import Scenario
from simulator.trend import SLACK_WEB, WEB_BREAK, Trend

Array = NDArray[np.float64]
What = Literal["output", "setpoint", "automatic", "manual", "line speed", "relay"]

# A Runge–Kutta step this long in units of the fastest mode's 1/|lambda| [-]: its error in that mode
# is about 0.4^5/120 a step, and the method stays stable to 2.78.
STEP_SHARE = 0.4
LONGEST_SHARE = 2.0
# More steps than this take a minute; the machine or the run is not what was meant.
MOST_STEPS = 40_000_000
# More scans or samples than this take more memory than a laptop likes to give.
MOST_SCANS, MOST_ROWS = 20_000_000, 5_000_000

_KINDS: dict[What, int] = {
    "output": kernel.SET_OUTPUT,
    "setpoint": kernel.SET_SETPOINT,
    "automatic": kernel.TO_AUTOMATIC,
    "manual": kernel.TO_MANUAL,
    "line speed": kernel.SET_LINE_SPEED,
    "relay": kernel.TO_RELAY,
}
_UNITS = {"output": "%", "setpoint": "N", "line speed": "m/s", "relay": "%"}


@dataclass(frozen=True)
class Action:
    """One thing that is done to the machine at a time; it takes effect at the next scan.

    Attributes:
        at: time from the start of the run [s].
        what: "output" (in manual), "setpoint", "automatic", "manual", "line speed", or "relay"
            (the output switches up and down about where it stands, for a relay test).
        value: output [%], setpoint [N], line speed [m/s] or swing of the relay [%].
        over: time that a change of line speed takes [s].
    """

    at: float
    what: What
    value: float = 0.0
    over: float = 0.0

    def __post_init__(self) -> None:
        if self.what not in _KINDS:
            raise SimulationError(f"action {self.what!r}: must be one of {', '.join(_KINDS)}")
        if not (math.isfinite(self.at) and math.isfinite(self.value) and self.at >= 0.0):
            raise SimulationError(f"action {self.what} {self.value} at {self.at} s: not finite")
        if not (math.isfinite(self.over) and self.over >= 0.0):
            raise SimulationError(f"action {self.what}, over {self.over} s: must be 0 s or more")
        if self.what == "line speed" and self.value < 0.0:
            raise SimulationError(f"line speed {self.value} m/s: must be 0 m/s or more")

    def __str__(self) -> str:
        unit = _UNITS.get(self.what)
        return f"{self.what} {self.value:.4g} {unit}" if unit else f"to {self.what}"


def simulate(
    scenario: Scenario,
    plan: Sequence[Action] = (),
    *,
    duration: float,
    diameter: float | None = None,
    line_speed: float | None = None,
    tension: float | None = None,
    setpoint: float | None = None,
    automatic: bool = False,
    seed: int = 0,
    noise: bool = True,
    runout: bool = True,
    time_compression: float = 0.0,
    record_every: int = 1,
    step_share: float = STEP_SHARE,
) -> Trend:
    """Run a machine from steady tension through a plan, and return its trend.

    The run starts steady: at the tension asked for if an output within the limits holds it, else at
    the tension of the nearest output. The controller starts in manual at that output unless
    `automatic` is set, with its integral term at that output if it tracks, else at 0 %.

    Args:
        scenario: the machine and its controller.
        plan: what is done to it, in any order.
        duration: of the run [s].
        diameter: of the roll at the start [m]; full roll (or the pull roll's own) if left out.
        line_speed: at the start [m/s]; running speed if left out, 0 for a standing machine.
        tension: at the start [N]; running tension if left out.
        setpoint: at the start [N]; the tension at the start if left out.
        automatic: whether the controller is in automatic from the start, without a bump [-].
        seed: of the noise [-]; the same seed gives the same trend, bit for bit.
        noise: whether the reading has its noise [-].
        runout: whether the roll is out of round [-].
        time_compression: how much faster than life the roll builds up or down [-]; 0 holds the
            diameter, so that the run shows what happens at this diameter. The roll's inertia
            changes as much faster, which shows in the tension where it is far above 1.
        record_every: scans from one recorded sample to the next [-].
        step_share: step of the integration in units of the fastest mode's time [-].

    Raises:
        SimulationError: an argument is out of range, or the run would take too many steps.
    """
    run = scenario.run
    D = diameter_range(scenario)[1] if diameter is None else diameter
    v = run.line_speed if line_speed is None else line_speed
    T = run.tension if tension is None else tension
    r = T if setpoint is None else setpoint
    _check(duration=duration, line_speed=v, tension=T, record_every=record_every)
    for name, value in {"setpoint": r, "time_compression": time_compression}.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise SimulationError(f"{name} {value}: must be 0 or more")
    if not 0.0 < step_share <= LONGEST_SHARE:
        raise SimulationError(f"step_share {step_share}: must be above 0, at most {LONGEST_SHARE}")
    try:
        check_diameter(scenario, D)
    except ValueError as error:
        raise SimulationError(str(error)) from None

    m = kernel_machine(scenario, runout=runout, time_compression=time_compression)
    k = kernel_controller(scenario)
    scans = max(math.ceil(duration / k.scan_time - 1e-9), 1)
    output_scans, output_part = split_dead_time(scenario.torque_device.dead_time, k.scan_time)
    reading_scans, reading_part = split_dead_time(scenario.load_cell.dead_time, k.scan_time)
    speeds = {v, *(action.value for action in plan if action.what == "line speed")}
    longest = step_share / fastest_rate(m, speeds=tuple(sorted(speeds)), tension=T)
    pieces = _pieces(k.scan_time, output_part, reading_part, longest=longest)
    steps, rows = scans * pieces[:, 1].sum(), -(-scans // record_every)
    if steps > MOST_STEPS or scans > MOST_SCANS or rows > MOST_ROWS:
        raise SimulationError(
            f"duration {duration:.4g} s takes {steps:.2g} steps, {scans:.2g} scans and {rows:.2g} "
            f"samples, more than {MOST_STEPS:.0e}, {MOST_SCANS:.0e} or {MOST_ROWS:.0e}: run a "
            f"shorter time, record less often, or look for a number that can't be: the fastest "
            f"motion of this machine asks for steps of {longest:.1g} s"
        )

    state, output, T, notes = _start(scenario, m, diameter=D, line_speed=v, tension=T)
    direction = np.full(m.length.size + 1, 1 if v > 0.0 else 0, dtype=np.int64)
    direction[-1] = 1  # a clutch starts slipping, and locks in its first step if it can't
    memory = np.zeros(kernel.CONTROLLER_MEMORY)
    y = 100.0 * T / k.tension_range
    memory[kernel.LAST_READING] = y
    memory[kernel.LAST_OUTPUT] = memory[kernel.MANUAL_OUTPUT] = output
    memory[kernel.SETPOINT] = T if setpoint is None else r
    memory[kernel.MODE] = kernel.AUTOMATIC if automatic else kernel.MANUAL
    if k.tracking or automatic:
        wanted = 100.0 * memory[kernel.SETPOINT] / k.tension_range
        memory[kernel.INTEGRAL] = output - k.Kc * (k.setpoint_weight * wanted - y)

    draws = np.random.default_rng(seed).standard_normal(scans)
    events = sorted(plan, key=lambda action: action.at)
    record = np.empty((rows, kernel.COLUMNS + m.length.size))
    broken_at = kernel.run(
        m,
        k,
        state,
        direction,
        memory,
        draws * (scenario.load_cell.noise if noise else 0.0),
        np.array(
            [
                (math.ceil(e.at / k.scan_time - 1e-9), _KINDS[e.what], e.value, e.over)
                for e in events
            ],
            dtype=float,
        ).reshape(-1, 4),
        pieces,
        output_scans,
        reading_scans,
        record_every,
        v,
        output,
        record,
    )
    return _trend(scenario, record, events=events, broken_at=broken_at, notes=notes)


def _pieces(scan: float, output_part: float, reading_part: float, *, longest: float) -> Array:
    """Cut one scan where the delayed output changes and the delayed reading is taken.

    Returns the rows that `kernel.run` wants; no step is longer than `longest` [s].
    """
    cuts = np.array(sorted({0.0, output_part, scan - reading_part, scan}))
    lasts = np.diff(cuts)
    return np.column_stack(
        [
            lasts,
            np.maximum(np.ceil(lasts / longest - 1e-9), 1.0),
            cuts[:-1] >= output_part,
            cuts[1:] == scan - reading_part,
        ]
    )


def fastest_rate(m: kernel.Machine, *, speeds: tuple[float, ...], tension: float) -> float:
    """Return the largest |eigenvalue| [1/s] of the machine, empty and full, at the speeds given.

    Args:
        m: the machine as the kernel wants it.
        speeds: line speeds that the run passes [m/s].
        tension: at the load cell [N].
    """
    fastest = 0.0
    for radius in {m.core_radius, m.full_radius}:
        for v in speeds:
            A, _, _ = jacobian(m, diameter=2.0 * radius, line_speed=v, tension=tension)
            fastest = max(fastest, float(np.abs(np.linalg.eigvals(A)).max()))
    return fastest


def _check(*, duration: float, line_speed: float, tension: float, record_every: int) -> None:
    if not (math.isfinite(duration) and duration > 0.0):
        raise SimulationError(f"duration {duration} s: must be above 0 s")
    if not (math.isfinite(line_speed) and line_speed >= 0.0):
        raise SimulationError(f"line_speed {line_speed} m/s: must be 0 m/s or more")
    if not (math.isfinite(tension) and tension > 0.0):
        raise SimulationError(f"tension {tension} N: must be above 0 N")
    if record_every < 1:
        raise SimulationError(f"record_every {record_every}: must be 1 or more")


def _start(
    scenario: Scenario, m: kernel.Machine, *, diameter: float, line_speed: float, tension: float
) -> tuple[Array, float, float, tuple[str, ...]]:
    """Return (state, output [%], tension [N], warnings) of the steady state to start from."""
    c = scenario.controller
    T = tension
    notes: tuple[str, ...] = ()
    steady = steady_state(m, diameter=diameter, line_speed=line_speed, tension=T)
    output = min(max(steady.output, c.output_low), c.output_high)
    if output != steady.output:
        T = tension_at(m, diameter=diameter, line_speed=line_speed, output=output)
        notes = (
            f"the run starts at {max(T, 0.0):.4g} N, the tension of {output:.3g} %: "
            f"the wanted {tension:.4g} N would take {steady.output:.3g} %",
        )
        # A web that the machine can't tension at all is started just taut, and goes slack.
        T = max(T, 1e-3 * c.tension_range)
        steady = steady_state(m, diameter=diameter, line_speed=line_speed, tension=T)
    N = m.length.size
    state = np.zeros(2 * N + 4)
    state[:N] = steady.strain
    state[N] = steady.roll_speed
    state[N + 1 : 2 * N] = steady.surface_speed[1:N] / m.roller_radius
    state[2 * N] = output
    state[2 * N + 1] = T
    state[2 * N + 2] = 0.5 * diameter
    return state, output, T, notes


def _trend(
    scenario: Scenario,
    record: Array,
    *,
    events: Sequence[Action],
    broken_at: float,
    notes: tuple[str, ...],
) -> Trend:
    marks = [(action.at, str(action)) for action in events]
    warnings = list(notes)
    spans = record[:, kernel.COLUMNS :]
    if not web_leaves_roll(scenario):
        spans = spans[:, ::-1]
    if math.isfinite(broken_at):
        marks.append((broken_at, WEB_BREAK))
        warnings.append(f"the web broke at {broken_at:.2f} s: its tension passed the limit")
    slack = record[np.any(spans <= 0.0, axis=1), kernel.TIME]
    if slack.size and not slack[0] >= broken_at:
        first = float(slack[0])
        marks.append((first, SLACK_WEB))
        warnings.append(f"the web went slack at {first:.2f} s")
    return Trend(
        time=record[:, kernel.TIME],
        tension=record[:, kernel.READING],
        output=record[:, kernel.OUTPUT],
        setpoint=record[:, kernel.SETPOINT_N],
        line_speed=record[:, kernel.LINE_SPEED],
        diameter=record[:, kernel.DIAMETER],
        automatic=record[:, kernel.IS_AUTOMATIC],
        web_tension=record[:, kernel.WEB_TENSION],
        torque=record[:, kernel.TORQUE],
        roll_speed=record[:, kernel.ROLL_SPEED],
        span_tension=np.ascontiguousarray(spans),
        events=tuple(sorted(marks)),
        warnings=tuple(warnings),
    )
