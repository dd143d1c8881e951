"""Run a machine in time: a scenario, a plan of actions, and the trend that comes of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from simulator import control_kernel, kernel, run_kernel
from simulator.errors import SimulationError
from simulator.linear_plant import split_dead_time
from simulator.linearise import jacobian
from simulator.machine import (
    diameter_range,
    kernel_controller,
    kernel_machine,
    kernel_sensor,
    reading_of,
    running_tension,
)
from simulator.operating_point import check_diameter, steady_state, tension_at
from simulator.plan import Action, in_order, kernel_events, stiffest_web
from simulator.run_marks import trend_of
from simulator.scenario import Scenario
from simulator.trend import Trend

Array = NDArray[np.float64]

# A Runge–Kutta step this long in units of the fastest mode's 1/|lambda| [-]: its error in that mode
# is about 0.4^5/120 a step, and the method stays stable to 2.78.
STEP_SHARE = 0.4
LONGEST_SHARE = 2.0
# More steps than this take a minute; the machine or the run is not what was meant.
MOST_STEPS = 40_000_000
# More scans or samples than this take more memory than a laptop likes to give.
MOST_SCANS, MOST_ROWS = 20_000_000, 5_000_000


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
        tension: at the start [N]; running tension, tapered, if left out.
        setpoint: at the start, before any taper [N]; what the reading starts at if left out.
        automatic: whether the controller is in automatic from the start, without a bump [-].
        seed: of the noise [-]; the same seed gives the same trend, bit for bit.
        noise: whether the reading has its noise [-].
        runout: whether roll, rollers and nip are out of round [-].
        time_compression: how much faster than life the roll builds up or down [-]; 0 holds the
            diameter, so that the run shows what happens at this diameter. Above 1 the rim keeps its
            speed over what is in fast motion, so that no torque goes into it.
        record_every: scans from one recorded sample to the next [-].
        step_share: step of the integration in units of the fastest mode's time [-].

    Raises:
        SimulationError: an argument is out of range, or the run would take too many steps.
    """
    run = scenario.run
    D = diameter_range(scenario)[1] if diameter is None else diameter
    v = run.line_speed if line_speed is None else line_speed
    T = running_tension(scenario, D) if tension is None else tension
    _check(duration=duration, line_speed=v, tension=T, record_every=record_every)
    for name, value in {"setpoint": setpoint or 0.0, "time_compression": time_compression}.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise SimulationError(f"{name} {value}: must be 0 or more")
    if not 0.0 < step_share <= LONGEST_SHARE:
        raise SimulationError(f"step_share {step_share}: must be above 0, at most {LONGEST_SHARE}")
    try:
        check_diameter(scenario, D)
    except ValueError as error:
        raise SimulationError(str(error)) from None

    m = kernel_machine(scenario, runout=runout, time_compression=time_compression)
    s, k = kernel_sensor(scenario), kernel_controller(scenario)
    actions = in_order(plan)
    events, speeds = kernel_events(scenario, actions, v)
    scans = max(math.ceil(duration / k.scan_time - 1e-9), 1)
    output_scans, output_part = split_dead_time(scenario.torque_device.dead_time, k.scan_time)
    reading_scans, reading_part = split_dead_time(scenario.load_cell.dead_time, k.scan_time)
    stiff = m._replace(stiffness=stiffest_web(actions) * m.stiffness)
    longest = step_share / fastest_rate(stiff, speeds=tuple(sorted(speeds)), tension=T)
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
    memory = np.zeros(control_kernel.CONTROLLER_MEMORY)
    share = control_kernel.tapered(k, 0.5 * D)
    reading = reading_of(scenario, T)
    y = 100.0 * reading / k.tension_range
    memory[control_kernel.LAST_READING] = y
    memory[control_kernel.LAST_OUTPUT] = memory[control_kernel.MANUAL_OUTPUT] = output
    memory[control_kernel.SETPOINT] = reading / share if setpoint is None else setpoint
    memory[control_kernel.RAMPED] = memory[control_kernel.SETPOINT]
    memory[control_kernel.MODE] = control_kernel.AUTOMATIC if automatic else control_kernel.MANUAL
    memory[control_kernel.LAST_GAIN], _, _ = control_kernel.gains_at(k, 0.5 * D)
    if k.tracking or automatic:
        wanted = 100.0 * memory[control_kernel.SETPOINT] * share / k.tension_range
        _, proportional = control_kernel.errors(k, wanted, y)
        memory[control_kernel.INTEGRAL] = output - memory[control_kernel.LAST_GAIN] * proportional

    draws = np.random.default_rng(seed).standard_normal(scans)
    record = np.empty((rows, run_kernel.COLUMNS + m.length.size))
    happened = np.full(2, math.nan)
    run_kernel.run(
        m,
        s,
        k,
        state,
        direction,
        memory,
        draws * (scenario.load_cell.noise if noise else 0.0),
        events,
        pieces,
        output_scans,
        reading_scans,
        record_every,
        v,
        output,
        record,
        happened,
    )
    return trend_of(
        scenario, record, actions=actions, happened=happened, notes=notes,
        time_compression=time_compression,
    )  # fmt: skip


def _pieces(scan: float, output_part: float, reading_part: float, *, longest: float) -> Array:
    """Cut one scan where the delayed output changes and the delayed reading is taken.

    Returns the rows that `run_kernel.run` wants; no step is longer than `longest` [s].
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
    state = np.zeros(3 * N + 3)
    state[:N] = steady.strain
    state[N] = steady.roll_speed
    state[N + 1 : 2 * N] = steady.surface_speed[1:N] / m.roller_radius
    state[2 * N] = output
    state[2 * N + 1] = T
    state[2 * N + 2] = 0.5 * diameter
    return state, output, T, notes
