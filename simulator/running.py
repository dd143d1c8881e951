"""A machine part-way through a run: begun, and advanced by as many scans as one likes.

A run that is advanced in pieces gives the same bits as one that is advanced at once, so a run on a
screen, in real time and under someone's hands, is repeated exactly from the list of what was done.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator import control_kernel, kernel, run_kernel
from simulator.errors import SimulationError
from simulator.linear_plant import split_dead_time
from simulator.linearise import jacobian
from simulator.machine import kernel_controller, kernel_machine, kernel_sensor, reading_of
from simulator.operating_point import steady_state, tension_at
from simulator.plan import SETTINGS, Action, kernel_events, scan_of
from simulator.scenario import Scenario

Array = NDArray[np.float64]

# A Runge–Kutta step this long in units of the fastest mode's 1/|lambda| [-]: its error in that mode
# is about 0.4^5/120 a step.
STEP_SHARE = 0.4


@dataclass(frozen=True, eq=False)
class Running:
    """All that the rest of a run depends on; `advance` makes the next one and leaves this as it is.

    Attributes:
        scenario: the machine.
        machine: as plain numbers.
        sensor: as plain numbers.
        controller: as plain numbers, with what the run has changed of its settings.
        pieces: of one scan, as `run_kernel.run` wants them, shape (n, 4) [any].
        output_scans: whole scans of the dead time before the torque device [-].
        reading_scans: whole scans of the dead time behind the load cell [-].
        noise: of the reading, rms [N].
        scan: number of scans so far [-].
        state: of the machine, see `kernel` [SI].
        direction: in which each body slides [-].
        memory: of the controller, see `control_kernel` [any].
        between: what else a run keeps between scans, see `run_kernel` [any].
        kinds: of web in the zone, see `web_kernel` [any].
        sent: outputs that are still on their way to the device [%].
        taken: readings that are still on their way to the controller [N].
        happened: times of a web break and of the controller's hold on it [s]; nan if none.
        random: state of the source of noise.
        warnings: from the start of the run.
    """

    scenario: Scenario
    machine: kernel.Machine
    sensor: control_kernel.Sensor
    controller: control_kernel.Controller
    pieces: Array
    output_scans: int
    reading_scans: int
    noise: float
    scan: int
    state: Array
    direction: NDArray[np.int64]
    memory: Array
    between: Array
    kinds: Array
    sent: Array
    taken: Array
    happened: Array
    random: dict[str, Any]
    warnings: tuple[str, ...] = ()

    @property
    def time(self) -> float:
        """Since the start of the run [s]."""
        return self.scan * self.controller.scan_time

    @property
    def line_ramp(self) -> tuple[float, float, float, float]:
        """The last change of line speed: from, to [m/s], its start and the time it takes [s]."""
        b = self.between
        return (
            float(b[run_kernel.RAMP_FROM]),
            float(b[run_kernel.RAMP_TO]),
            float(b[run_kernel.RAMP_START]),
            float(b[run_kernel.RAMP_TIME]),
        )

    @property
    def line_speed(self) -> float:
        """At the nip [m/s]."""
        speed, _ = run_kernel.ramp(self.time, *self.line_ramp, self.machine.ramp_rounding)
        return float(speed)


def begin(
    scenario: Scenario,
    *,
    diameter: float,
    line_speed: float,
    tension: float,
    setpoint: float | None,
    automatic: bool,
    seed: int,
    noise: bool,
    runout: bool,
    time_compression: float,
    step_share: float,
    speeds: tuple[float, ...],
    stiffest: float,
) -> Running:
    """Return a machine at the start of a run, steady as `simulation.simulate` says.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        line_speed: [m/s].
        tension: wanted [N].
        setpoint: before any taper [N]; None for what the reading starts at.
        automatic: whether the controller is in automatic [-].
        seed: of the noise [-].
        noise: whether the reading has its noise [-].
        runout: whether roll, rollers and nip are out of round [-].
        time_compression: how much faster than life the roll builds up or down [-].
        step_share: step of the integration in units of the fastest mode's time [-].
        speeds: line speeds that the run may pass, which bound that time [m/s].
        stiffest: web that the run may see over the scenario's own, which bounds it too [-].
    """
    m = kernel_machine(scenario, runout=runout, time_compression=time_compression)
    s, k = kernel_sensor(scenario), kernel_controller(scenario)
    output_scans, output_part = split_dead_time(scenario.torque_device.dead_time, k.scan_time)
    reading_scans, reading_part = split_dead_time(scenario.load_cell.dead_time, k.scan_time)
    stiff = m._replace(stiffness=stiffest * m.stiffness)
    longest = step_share / fastest_rate(stiff, speeds=speeds, tension=tension)
    state, output, T, notes = _start(
        scenario, m, diameter=diameter, line_speed=line_speed, tension=tension
    )
    direction = np.full(m.length.size + 1, 1 if line_speed > 0.0 else 0, dtype=np.int64)
    direction[-1] = 1  # a clutch starts slipping, and locks in its first step if it can't
    between = np.zeros(run_kernel.BETWEEN)
    between[run_kernel.STUCK] = between[run_kernel.PLAYED] = output
    between[run_kernel.ZERO], between[run_kernel.DROPPED_UNTIL] = s.zero, -1.0
    between[run_kernel.RAMP_FROM] = between[run_kernel.RAMP_TO] = line_speed
    between[run_kernel.WEBS] = 1.0
    between[run_kernel.PRESET] = math.nan
    kinds = np.ones((run_kernel.MOST_WEBS, 3))
    kinds[0, 0] = np.inf
    return Running(
        scenario=scenario,
        machine=m,
        sensor=s,
        controller=k,
        pieces=_pieces(k.scan_time, output_part, reading_part, longest=longest),
        output_scans=output_scans,
        reading_scans=reading_scans,
        noise=scenario.load_cell.noise if noise else 0.0,
        scan=0,
        state=state,
        direction=direction,
        memory=_first_memory(
            scenario, k, diameter=diameter, tension=T, output=output, setpoint=setpoint,
            automatic=automatic,
        ),
        between=between,
        kinds=kinds,
        sent=np.full(output_scans + 1, output),
        taken=np.full(reading_scans + 1, T),
        happened=np.full(2, math.nan),
        random=dict(np.random.default_rng(seed).bit_generator.state),
        warnings=notes,
    )  # fmt: skip


def advance(
    running: Running, scans: int, plan: Sequence[Action] = (), *, record_every: int = 1
) -> tuple[Running, Array]:
    """Return a run so many scans later, and what was recorded, shape (rows, columns) [SI].

    The columns are those of `run_kernel`. An action that lies before the present scan takes effect
    at once, one that lies beyond the last is left to the next call.

    Args:
        running: the run so far.
        scans: to run [-].
        plan: what is done, in the order of time.
        record_every: scans from one recorded sample to the next, counted from the start [-].

    Raises:
        SimulationError: an action is not possible on this machine.
    """
    end = running.scan + scans
    at = {i: max(scan_of(running.scenario, action), running.scan) for i, action in enumerate(plan)}
    due = [(at[i], action) for i, action in enumerate(plan) if at[i] < end]
    settings = [(scan, action) for scan, action in due if action.what in SETTINGS]
    others = [(scan, action) for scan, action in due if action.what not in SETTINGS]
    width = run_kernel.COLUMNS + running.machine.length.size
    now, rows = running, [np.empty((0, width))]
    # Another setting makes another controller, from its scan on.
    for cut in sorted({scan for scan, _ in settings} | {end}):
        if cut > now.scan:
            actions = [action for scan, action in others if now.scan <= scan < cut]
            now, record = _stretch(now, cut - now.scan, actions, record_every=record_every)
            rows.append(record)
        for scan, action in settings:
            if scan == cut:
                now = replace(now, controller=_with_setting(now.controller, action))
    return now, np.concatenate(rows)


def _with_setting(k: control_kernel.Controller, action: Action) -> control_kernel.Controller:
    if action.what == "tracking":
        return k._replace(tracking=action.value > 0.0)
    if action.what == "setpoint follows":
        return k._replace(setpoint_follows=action.value > 0.0)
    if k.schedule.size:
        raise SimulationError(f"{action.what}: these gains follow the roll by a schedule")
    return k._replace(Kc=action.value) if action.what == "Kc" else k._replace(Ti=action.value)


def _stretch(
    running: Running, scans: int, actions: Sequence[Action], *, record_every: int
) -> tuple[Running, Array]:
    """Return a run so many scans later, and its record, under one controller."""
    events, _ = kernel_events(running.scenario, actions, running.line_ramp)
    random = np.random.default_rng()
    random.bit_generator.state = running.random
    noise = running.noise * random.standard_normal(scans)
    first, last = running.scan, running.scan + scans
    rows = -(-last // record_every) - -(-first // record_every)
    record = np.empty((rows, run_kernel.COLUMNS + running.machine.length.size))
    sent = np.concatenate([running.sent, np.zeros(scans)])
    taken = np.concatenate([running.taken, np.zeros(scans)])
    after = replace(
        running,
        scan=last,
        state=running.state.copy(),
        direction=running.direction.copy(),
        memory=running.memory.copy(),
        between=running.between.copy(),
        kinds=running.kinds.copy(),
        sent=sent[scans:],
        taken=taken[scans:],
        happened=running.happened.copy(),
        random=dict(random.bit_generator.state),
    )
    run_kernel.run(
        running.machine,
        running.sensor,
        running.controller,
        after.state,
        after.direction,
        after.memory,
        after.between,
        after.kinds,
        sent,
        taken,
        noise,
        events,
        running.pieces,
        running.output_scans,
        running.reading_scans,
        record_every,
        first,
        record,
        after.happened,
    )
    # Views would keep the whole stretch in memory.
    return replace(after, sent=after.sent.copy(), taken=after.taken.copy()), record


def _first_memory(
    scenario: Scenario,
    k: control_kernel.Controller,
    *,
    diameter: float,
    tension: float,
    output: float,
    setpoint: float | None,
    automatic: bool,
) -> Array:
    """Return the controller's memory at steady tension [N], without a bump in automatic."""
    memory = np.zeros(control_kernel.CONTROLLER_MEMORY)
    share = control_kernel.tapered(k, 0.5 * diameter)
    reading = reading_of(scenario, tension)
    y = 100.0 * reading / k.tension_range
    memory[control_kernel.LAST_READING] = y
    memory[control_kernel.LAST_OUTPUT] = memory[control_kernel.MANUAL_OUTPUT] = output
    memory[control_kernel.SETPOINT] = reading / share if setpoint is None else setpoint
    memory[control_kernel.RAMPED] = memory[control_kernel.SETPOINT]
    memory[control_kernel.MODE] = control_kernel.AUTOMATIC if automatic else control_kernel.MANUAL
    memory[control_kernel.LAST_GAIN], _, _ = control_kernel.gains_at(k, 0.5 * diameter)
    if k.tracking or automatic:
        wanted = 100.0 * memory[control_kernel.SETPOINT] * share / k.tension_range
        _, proportional = control_kernel.errors(k, wanted, y)
        memory[control_kernel.INTEGRAL] = output - memory[control_kernel.LAST_GAIN] * proportional
    return memory


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


def _start(
    scenario: Scenario, m: kernel.Machine, *, diameter: float, line_speed: float, tension: float
) -> tuple[Array, float, float, tuple[str, ...]]:
    """Return (state, output [%], tension [N], warnings) of the steady state to start from."""
    c = scenario.controller
    T = tension
    notes: tuple[str, ...] = ()
    steady = steady_state(m, diameter=diameter, line_speed=line_speed, tension=T)
    output = min(max(steady.output, c.output_low), c.output_high)
    # A brake, or a clutch whose driven side stands, holds a standing roll at any lower tension.
    stuck = line_speed == 0.0 and m.device != kernel.MOTOR and output > steady.output
    if output != steady.output and not stuck:
        T = tension_at(m, diameter=diameter, line_speed=line_speed, output=output)
        notes = (
            f"the run starts at {max(T, 0.0):.4g} N, the tension of {output:.3g} %: "
            f"the wanted {tension:.4g} N would take {steady.output:.3g} %",
        )
        # A web that the machine can't tension at all is started just taut, and goes slack.
        T = max(T, run_kernel.JUST_TAUT * c.tension_range)
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
