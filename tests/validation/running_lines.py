"""A drawn machine at work: where it runs, how that changes, and what the log keeps of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from simulator import LinearPlant, Scenario, Trend, linearise, simulate
from simulator.machine import diameter_range, kernel_machine, reading_of, signal_limits
from simulator.plan import Action
from simulator.ripple import runout_column
from simulator.running import fastest_rate
from simulator.scenario import PullRoll
from tests.validation.disturbances import pieces_of, random_walk, superposed
from tests.validation.random_machines import (
    NotThis,
    as_built,
    gains_of,
    held,
    log_uniform,
    random_integral_time,
    random_machine,
    random_spot,
    severity,
)
from tuning.gains import Gains
from tuning.margins import PlantResponse, plant_response

Array = np.ndarray
STEP_SHARE = 1.2
# Share of scenarios without gains, with gains of before; of drives that give way to the tension.
NO_GAINS, STALE_GAINS, GIVES_WAY = 0.13, 0.13, 0.3
LONGEST, SHORTEST, MOST_SAMPLES = 1200.0, 20.0, 20_000
MOST_STEPS = 1_500_000


@dataclass(eq=False)
class Line:
    """A machine that runs: from one spot to another, in one mode or from manual to automatic.

    Attributes:
        described, true: what is written down about it, and what stands there; runouts in `true`.
        gains: at work in automatic.
        plant, seen: at the start.
        D, D_end: diameter at the start and about the end [m].
        v, v_end: line speed there [m/s].
        automatic_from: share of the record at which it goes to automatic; 0 always, inf never.
        linear: whether disturbances may be superposed on it.
        slow_walk: what the reading drifts by, about [N].
    """

    described: Scenario
    true: Scenario
    gains: Gains
    plant: LinearPlant
    seen: PlantResponse
    D: float
    v: float
    D_end: float
    v_end: float
    automatic_from: float
    linear: bool = True
    slow_walk: float = 0.0
    plan: list[Action] = field(default_factory=list)

    @property
    def h(self) -> float:
        return self.true.controller.scan_time

    @property
    def T(self) -> float:
        return self.true.run.tension

    @property
    def spots(self) -> list[tuple[float, float]]:
        return [(self.D, self.v), (0.5 * (self.D + self.D_end), 0.5 * (self.v + self.v_end)),
                (self.D_end, self.v_end)]  # fmt: skip

    @property
    def bodies(self) -> dict[str, tuple[int, float]]:
        """Name, station along the web and radius [m], nan for the roll."""
        N, first = len(self.true.span), self.true.zone == "unwind"
        found = {"roll": (0 if first else N, math.nan)}
        for i, roller in enumerate(self.true.roller, 1):
            found[f"roller {i}"] = (i if first else N - i, 0.5 * roller.diameter)
        if self.true.nip is not None:
            found["nip"] = (N if first else 0, 0.5 * self.true.nip.diameter)
        return found

    def turns(self, name: str, spot: tuple[float, float]) -> float:
        """Return how often a body turns at a spot [Hz]."""
        radius = self.bodies[name][1]
        return spot[1] / (2.0 * math.pi * (0.5 * spot[0] if math.isnan(radius) else radius))


@dataclass(frozen=True)
class Clock:
    """How a run is logged: every so many scans, after a lead-in that is thrown away."""

    every: int
    samples: int
    lead: int  # samples

    @property
    def scans(self) -> int:
        return (self.lead + self.samples) * self.every


def random_line(
    rng: np.random.Generator,
    *,
    device: str = "",
    least_lag: float = 0.0,
    changes: float = 0.5,
    automatic: bool | None = None,
    least_Ms: float = 1.2,
) -> Line:
    """Return a machine with sound gains, its spot and its path; `NotThis` where it can't run so."""
    described = random_machine(rng, device=device, least_lag=least_lag)
    true = as_built(rng, described)
    D, v = random_spot(rng, true)
    D_end, v_end = _end(rng, true, D, v) if rng.random() < changes else (D, v)
    plant = held(true, D, v)
    if (D_end, v_end) != (D, v):
        held(true, D_end, v_end)
    seen = plant_response(plant, scan_time=true.controller.scan_time)
    gains = gains_of(seen, random_integral_time(rng, true, plant), rng.uniform(least_Ms, 1.75))
    chance = rng.random()
    automatic_from = 0.0 if chance < 0.52 else rng.uniform(0.1, 0.5) if chance < 0.6 else math.inf
    if automatic is not None:
        automatic_from = 0.0 if automatic else math.inf
    line = Line(described, true, gains, plant, seen, D, v, D_end, v_end, automatic_from)
    line.slow_walk = line.T * log_uniform(rng, 1e-4, 1e-2)
    if automatic_from < 1.0 and (D_end, v_end) != (D, v) and Ms_at(line, line.spots[2]) > 2.0:
        raise NotThis("not sound at its end")
    return line


def Ms_at(line: Line, spot: tuple[float, float], gains: Gains | None = None) -> float:
    """Return the loop's Ms at a spot [-]; inf where it is unstable."""
    plant = linearise(line.true, diameter=spot[0], line_speed=spot[1])
    return severity(plant_response(plant, scan_time=line.h), gains or line.gains)


def _end(rng: np.random.Generator, s: Scenario, D: float, v: float) -> tuple[float, float]:
    """Return diameter [m] and speed [m/s] at the end of a record in which one or both change."""
    low, high = diameter_range(s)
    which = rng.random() if low < high else 0.0
    D_end, v_end = D, v
    if which > 0.4:
        share = log_uniform(rng, 1.03, 1.35)
        D_end = D / share if s.zone == "unwind" else D * share
        D_end = min(max(D_end, 1.002 * low), 0.998 * high)
    if which < 0.7:
        share = log_uniform(rng, 1.05, 1.4)
        slower = v / share >= s.run.crawl_speed
        up = rng.random() < 0.5 or not slower
        v_end = v * share if up else v / share
    return D_end, v_end


def random_clock(
    rng: np.random.Generator, line: Line, f: float, *, cycles: float = 0.0, dense: float = 0.0
) -> Clock:
    """Return a log that shows an oscillation of `f` [Hz] long and densely enough."""
    h = line.h
    per_period = dense or (4.0 if rng.random() < 0.88 else 2.4)
    most = min(1.0, 1.0 / (per_period * f))
    if h > most:
        raise NotThis("scanned too slowly for this oscillation")
    least = max(h, 0.02)
    every = max(int(log_uniform(rng, least, max(most, least)) / h), 1)
    while every > 1 and every * h > most:
        every -= 1
    cycles = cycles or (8.0 if rng.random() < 0.88 else 4.0)
    speeds = tuple(v for _, v in line.spots)
    rate = fastest_rate(kernel_machine(line.true), speeds=speeds, tension=line.T) / STEP_SHARE
    longest = min(LONGEST, MOST_SAMPLES * every * h, MOST_STEPS / max(rate, 1.5 / h))
    shortest = max(SHORTEST, cycles / f)
    if shortest > longest:
        raise NotThis("too slow or too fast to log")
    duration = log_uniform(rng, shortest, longest)
    lead = min(max(5.0 * line.plant.slowest_time, 3.0), 0.5 * duration + 10.0)
    dt = every * h
    return Clock(every, int(duration / dt), math.ceil(lead / dt))


def body_amplitude(line: Line, name: str, *, harmonic: int = 1) -> float:
    """Return the amplitude of the reading per metre of runout at the start [N/m]."""
    station = line.bodies[name][0]
    m = kernel_machine(line.true, runout=False)
    b, turning = runout_column(m, station, diameter=line.D, line_speed=line.v, tension=line.T)
    w = harmonic * turning
    A = line.plant.A
    amplitude = float(abs(np.linalg.solve(1j * w * np.eye(b.size) - A, b)[-1]))
    if line.automatic_from < 1.0 and w * line.h < math.pi:
        at = np.array([w])
        L = line.seen.at(at) * line.gains.sampled_frequency_response(at, line.h)
        amplitude /= float(abs(1.0 + L[0]))
    return amplitude


def most_runout(line: Line, name: str) -> float:
    """Return the largest runout that a body may have [m]; a roll is soft, a roller is machined."""
    roll = line.true.roll
    if name == "roll" and not isinstance(roll, PullRoll):
        return min(0.02, 0.1 * roll.core_diameter)
    return 0.0009


def with_runout(line: Line, name: str, amplitude: float) -> float:
    """Make a body out of round: the reading then swings by an amplitude [N]. Its runout [m]."""
    runout = min(amplitude / body_amplitude(line, name), most_runout(line, name))
    s = line.true
    if name == "roll":
        line.true = replace(s, roll=replace(s.roll, runout=runout))
    elif name == "nip":
        line.true = replace(s, nip=replace(s.nip, runout=runout))
    else:
        at = int(name.split()[1]) - 1
        rollers = list(s.roller)
        rollers[at] = replace(rollers[at], runout=runout)
        line.true = replace(s, roller=tuple(rollers))
    return runout


def run(rng: np.random.Generator, line: Line, clock: Clock, *, kick: float = 0.0) -> Trend:
    """Run the line through its path and the plan of its record; lead-in and all is returned."""
    dt = clock.every * line.h
    start, duration = clock.lead * dt, clock.samples * dt
    plan = [replace(action, at=start + action.at) for action in line.plan]
    if line.v_end != line.v:
        steps = int(rng.integers(1, 4))
        along = np.sort(rng.uniform(0.02, 0.9, 2 * steps))
        speeds = line.v + (line.v_end - line.v) * np.linspace(0.0, 1.0, steps + 1)[1:]
        for i, speed in enumerate(speeds):
            begins, ends = along[2 * i], along[2 * i + 1]
            over = max((ends - begins) * duration, 2.0)
            plan.append(Action(start + begins * duration, "line speed", float(speed), over))
    if 0.0 < line.automatic_from < 1.0:
        plan.append(Action(start + line.automatic_from * duration, "automatic"))
    if kick:
        plan.append(Action(0.1 * start, "setpoint", reading_of(line.true, line.T) + kick))
    # The roll stands where it shall when the record begins: the lead-in goes on the same web.
    length = (start + duration) * 0.5 * (line.v + line.v_end)
    squares = abs(line.D_end**2 - line.D**2)
    pace = squares * math.pi / (4.0 * line.true.web.thickness * length)
    trend = simulate(
        line.gains.set_in(line.true),
        plan,
        duration=clock.scans * line.h,
        diameter=line.D,
        line_speed=line.v,
        automatic=line.automatic_from == 0.0,
        seed=int(rng.integers(2**31)),
        time_compression=pace,
        record_every=clock.every,
        step_share=STEP_SHARE,
    )
    if trend.web_lost or trend.web_tension.min() < 0.05 * line.T:
        raise NotThis("the web was lost")
    return trend


@dataclass(eq=False)
class Shaken:
    """What is superposed on a run: for each channel a wave [its unit], and one on the reading [N].

    `parts` keeps what each adds to the reading at the log's samples, lead-in left out [N].
    """

    waves: dict[str | int, Array] = field(default_factory=dict)
    reading: list[Array] = field(default_factory=list)


def response(line: Line, base: Trend, channel: str | int, wave: Array) -> tuple[Array, Array]:
    """Return what a wave adds to reading [N] and output [%] at every scan."""
    pieces = pieces_of(line.true, base, line.gains, (channel,))
    on_reading = wave if channel == "reading" else None
    waves = np.zeros((1, wave.size)) if channel == "reading" else wave[None, :]
    return superposed(line.true, pieces, waves, on_reading)


def with_drift(rng: np.random.Generator, line: Line, base: Trend, clock: Clock) -> Trend:
    """Return the run with the slow walk of its reading."""
    if not line.linear:
        return base
    added = response(line, base, "reading", random_walk(rng, clock.scans, line.slow_walk))
    return plus(line, base, clock, *added)


def plus(line: Line, base: Trend, clock: Clock, reading: Array, output: Array) -> Trend:
    """Return a run with something added to reading [N] and output [%], given at every scan."""
    c = line.true.controller
    low, high = signal_limits(line.true)
    if base.tension.max() > 0.99 * high:
        raise NotThis("off the measured scale")
    return replace(
        base,
        tension=np.clip(base.tension + reading[:: clock.every], low, high),
        output=np.clip(base.output + output[:: clock.every], c.output_low, c.output_high),
    )


def recorded(
    rng: np.random.Generator,
    line: Line,
    base: Trend,
    clock: Clock,
    *,
    needs: tuple[str, ...] = (),
    hides: tuple[str, ...] = (),
    speed_noise: float = math.inf,
    gives_way: bool = True,
) -> Trend:
    """Return what the log keeps of a run: steps, noise and bias of its columns, some unknown."""
    keep = slice(clock.lead, clock.lead + clock.samples)
    n = clock.samples
    full_scale = line.true.controller.tension_range
    step = 0.0 if rng.random() < 0.35 else full_scale * log_uniform(rng, 1e-4, 1e-2)
    shares = {"line_speed": 0.85, "diameter": 0.75, "setpoint": 0.9, "automatic": 0.85,
              "output": 0.95}  # fmt: skip
    top = line.true.run.line_speed
    noise = min(line.v * log_uniform(rng, 1e-5, 2e-3), speed_noise)
    speed_step = min(float(rng.choice([0.0, 1e-4, 1e-3])) * top, 2.0 * noise + 1e-6 * top)
    speed = base.line_speed[keep] * (1.0 + rng.uniform(-2e-3, 2e-3))
    if rng.random() < GIVES_WAY and gives_way:
        # The drive that sets the line speed gives way a little to the tension of the web.
        pull = base.tension[keep] / base.tension[keep].mean() - 1.0
        speed = speed * (1.0 + log_uniform(rng, 2e-4, 5e-3) * rng.choice([-1.0, 1.0]) * pull)
    columns = {
        "line_speed": _rounded(speed + noise * rng.standard_normal(n), speed_step),
        "diameter": _rounded(
            base.diameter[keep] * (1.0 + rng.uniform(-5e-3, 5e-3))
            + float(rng.choice([0.0, 2e-4])) * rng.standard_normal(n),
            float(rng.choice([1e-5, 1e-4, 1e-3])),
        ),
        "setpoint": base.setpoint[keep].copy(),
        "automatic": base.automatic[keep].copy(),
        "output": _rounded(base.output[keep], float(rng.choice([0.001, 0.01, 0.1]))),
    }
    for name, share in shares.items():
        unknown = rng.random() > share
        if (unknown and name not in needs) or name in hides:
            columns[name] = np.full(n, math.nan)
    time = np.arange(n) * (clock.every * line.h)
    return Trend(time=time, tension=_rounded(base.tension[keep], step), **columns)


def _rounded(values: Array, step: float) -> Array:
    return np.round(values / step) * step if step > 0.0 else values


def as_described(rng: np.random.Generator, line: Line) -> Scenario:
    """Return what is written down: the gains at work mostly, runouts that mean nothing, or none."""
    s = replace(line.described, controller=replace(
        line.described.controller, output_low=line.true.controller.output_low,
        output_high=line.true.controller.output_high))  # fmt: skip
    if rng.random() < 0.5:
        s = replace(s, roll=replace(s.roll, runout=log_uniform(rng, 1e-5, 5e-4)))
    written = rng.random()
    if written < NO_GAINS:
        return s
    gains = line.gains
    if written < NO_GAINS + STALE_GAINS:
        # Somebody has turned the knobs since.
        gains = Gains(gains.Kc * log_uniform(rng, 0.25, 4.0), gains.Ti * log_uniform(rng, 0.5, 2.0))
    return gains.set_in(s)
