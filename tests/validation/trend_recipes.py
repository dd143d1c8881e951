"""How a trend of each cause is made: one function a cause, which makes one draft or refuses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simulator import Trend, operating_point
from simulator.plan import Action, splice
from tests.validation.disturbances import turn_phase
from tests.validation.line_strength import folded, line_and_floor, peak_frequency
from tests.validation.random_machines import NotThis, log_uniform
from tests.validation.running_lines import (
    Clock,
    Line,
    body_amplitude,
    most_runout,
    plus,
    random_clock,
    random_line,
    response,
    run,
    with_drift,
    with_runout,
)
from tuning.oscillation import causes

Array = np.ndarray
Rng = np.random.Generator
ROLL, IDLER, TIGHT, RINGING = causes.ROLL, causes.ROLLER, causes.LOOP, causes.RINGING
STICKING, MOVES, ALIAS = causes.STICKING, causes.MOVES, causes.PICKUP
UNKNOWN, NONE = causes.CANNOT_TELL, causes.NONE
CAUSES = (ROLL, IDLER, TIGHT, RINGING, STICKING, MOVES, ALIAS, UNKNOWN, NONE)
# Half of the machines have no body that could be one.
SECOND_SHARE = 0.17


@dataclass(eq=False)
class Draft:
    """A run with its cause at work, before the log.

    Attributes:
        line, clock, base: the machine, the log, and the run with all that shakes it.
        phase: of the main oscillation at each sample of the log [rad]; None: look for it at `f`.
        f: its frequency as recorded [Hz].
        story: what was done.
        needs, hides: columns that the log has, and has not.
        speed_noise: most noise of the recorded speed [m/s].
        second: name and phase of a second cause.
        cycles: over which it is coherent [-].
        seen_from: share of the record from which it is at work [-].
        stands_out: by how much it must stand out of its neighbourhood [-].
    """

    line: Line
    clock: Clock
    base: Trend
    phase: Array | None
    f: float
    story: str
    needs: tuple[str, ...] = ()
    hides: tuple[str, ...] = ()
    speed_noise: float = math.inf
    second: tuple[str, Array] | None = None
    cycles: float = 8.0
    seen_from: float = 0.0
    stands_out: float = 3.0


def amplitude_wanted(rng: Rng, line: Line) -> float:
    """Return how far the reading shall swing [N]: 0.5 to 20 % of the tension."""
    return line.T * log_uniform(rng, 0.005, 0.2)


def roundish(rng: Rng, line: Line, wanted: float, without: str) -> None:
    """Make the other bodies a little out of round, far below the main cause [N]."""
    for name in line.bodies:
        if name != without and rng.random() < 0.6:
            with_runout(line, name, wanted * rng.uniform(0.0, 0.12))


def second_cause(rng: Rng, line: Line, wanted: float, *, main: str, body: str = "") -> str:
    """Make a body weaker out of round than the main cause shakes [N], now and then; its name."""
    if rng.random() > SECOND_SHARE:
        return ""
    size = wanted * rng.uniform(0.33, 0.65)
    others = [
        name
        for name in line.bodies
        if name != body
        and (name == "roll" or main != IDLER)
        and (name != "roll" or main != ROLL)
        and size < most_runout(line, name) * body_amplitude(line, name)
        and line.turns(name, line.spots[0]) * line.h < 0.3
    ]
    if not others:
        return ""
    name = str(rng.choice(others))
    with_runout(line, name, size)
    return name


def body_phase(line: Line, base: Trend, name: str, clock: Clock) -> Array:
    """Return the phase [rad] of a body at each sample of the log, as sampled."""
    radius = line.bodies[name][1]
    phase = turn_phase(base, line.h, None if math.isnan(radius) else radius)
    return phase[:: clock.every][clock.lead :]


def finish_second(draft: Draft, name: str) -> Draft:
    """Keep the phase of the second cause."""
    if name:
        kind = ROLL if name == "roll" else IDLER
        draft.second = (kind, body_phase(draft.line, draft.base, name, draft.clock))
    return draft


def mean_frequency(phase: Array, dt: float) -> float:
    """Return the mean frequency of a phase [rad] sampled every dt [s], folded [Hz]."""
    f = abs(phase[-1] - phase[0]) / (2.0 * math.pi * dt * (phase.size - 1))
    return folded(f, 1.0 / dt)


def scaled(
    line: Line, clock: Clock, base: Trend, channel: str | int, wave: Array, wanted: float
) -> tuple[Trend, float]:
    """Add a wave's response, as large as wanted [N, amplitude of a sine of its rms]."""
    y, u = response(line, base, channel, wave)
    seen = y[:: clock.every][clock.lead :]
    size = math.sqrt(2.0) * float(np.std(seen))
    if not 0.0 < size < math.inf:
        raise NotThis("no response")
    factor = wanted / size
    return plus(line, base, clock, factor * y, factor * u), factor


def _round(rng: Rng, main: str) -> Draft:
    line = random_line(rng)
    names = ["roll"] if main == ROLL else [name for name in line.bodies if name != "roll"]
    name = str(rng.choice(names))
    fastest = max(line.turns(name, spot) for spot in line.spots)
    oval = int(rng.choice([2, 2, 3])) if rng.random() < 0.25 and main == ROLL else 1
    clock = random_clock(rng, line, fastest * oval)
    if line.turns(name, line.spots[0]) * oval * line.h > 0.45:
        raise NotThis("turns too fast for its scan")
    per_metre = body_amplitude(line, name, harmonic=oval)
    most = min(0.2 * line.T, 0.99 * most_runout(line, name) * per_metre)
    if most < 0.006 * line.T:
        raise NotThis("a body that hardly shows")
    wanted = log_uniform(rng, 0.005 * line.T, most)
    roundish(rng, line, wanted, name)
    extra = second_cause(rng, line, wanted, main=main, body=name)
    once = wanted if oval == 1 else wanted * rng.uniform(0.1, 0.5)
    runout = with_runout(line, name, once)
    base = with_drift(rng, line, run(rng, line, clock), clock)
    story = f"{name} out of round by {1e3 * runout:.2g} mm"
    whole = turn_phase(base, line.h, None if name == "roll" else line.bodies[name][1])
    shapes = {oval: wanted} if oval > 1 else {}
    if oval == 1 and rng.random() < 0.4:
        shapes = {2: wanted * rng.uniform(0.05, 0.5), 3: wanted * rng.uniform(0.0, 0.2)}
    for n, size in shapes.items():
        if n * fastest * line.h < 0.45:
            wave = np.cos(n * whole + rng.uniform(0.0, 2.0 * math.pi))
            a = size / body_amplitude(line, name, harmonic=n)
            added = response(line, base, line.bodies[name][0], a * wave)
            base = plus(line, base, clock, *added)
            story += f", {n} times a turn by {1e3 * a:.2g} mm"
    phase = oval * body_phase(line, base, name, clock)
    f = mean_frequency(phase, clock.every * line.h)
    return finish_second(Draft(line, clock, base, phase, f, story), extra)


def roll_out_of_round(rng: Rng) -> Draft:
    """The roll is out of round, eccentric, oval or with three bumps."""
    return _round(rng, ROLL)


def idler_out_of_round(rng: Rng) -> Draft:
    """A roller or the nip is."""
    return _round(rng, IDLER)


def ringing(rng: Rng) -> Draft:
    """A hardly damped roll on its web, knocked now and then, in manual or under a sound loop."""
    line = random_line(rng)
    if line.plant.damping_ratio > 0.1:
        raise NotThis("well damped")
    f = line.plant.natural_frequency * math.sqrt(1.0 - line.plant.damping_ratio**2) / (2 * math.pi)
    clock = random_clock(rng, line, f)
    wanted = amplitude_wanted(rng, line)
    roundish(rng, line, wanted, "")
    extra = second_cause(rng, line, wanted, main=RINGING)
    dies = 1.0 / (line.plant.natural_frequency * line.plant.damping_ratio)
    knocked = rng.random() < 0.6
    wave = np.zeros(clock.scans)
    if knocked:
        gaps = rng.uniform(1.0, 8.0, 3 + int(clock.scans * line.h / dies)) * dies
        places = (np.cumsum(gaps) / line.h).astype(int)
        places = places[places < clock.scans]
        wave[places] = rng.normal(0.0, 1.0, places.size)
        if rng.random() < 0.5:  # a lasting change of torque each time, not a blow
            wave = np.cumsum(wave) - 0.02 * np.cumsum(np.cumsum(wave)) * line.h / dies
            wave -= wave.mean()
        story = f"knocked {places.size} times, each dying away in {dies:.3g} s"
    else:
        wave = rng.standard_normal(clock.scans)
        story = "random torque on a hardly damped roll"
    base = with_drift(rng, line, run(rng, line, clock), clock)
    base, _ = scaled(line, clock, base, "torque", wave, wanted)
    f = peak_frequency(base.tension[clock.lead :], clock.every * line.h, 0.75 * f, 1.3 * f)
    draft = Draft(line, clock, base, None, f, story, cycles=5.0)
    return finish_second(draft, extra)


def none(rng: Rng) -> Draft:
    """A quiet record: noise, drift, and now and then something that happens once."""
    line = random_line(rng)
    f = 8.0 / log_uniform(rng, 20.0, 1200.0)
    clock = random_clock(rng, line, f)
    duration = clock.samples * clock.every * line.h
    calm = line.plant.damping_ratio > 0.25
    done = []
    if rng.random() < 0.75:
        for _ in range(int(rng.integers(1, 4))):
            at, size = (
                rng.uniform(0.05, 0.95) * duration,
                rng.choice([-1, 1]) * rng.uniform(0.01, 0.1),
            )
            before = at < line.automatic_from * duration
            if calm and before:
                point = line.plant.static_gain * 0.01 * line.true.controller.tension_range
                now = float(rng.uniform(10.0, 60.0))
                done.append((at, "output", now, size * line.T / point))
            elif calm:
                done.append((at, "setpoint", line.T * (1.0 + size), 0.0))
            else:
                over = rng.uniform(0.1, 0.4) * duration
                speed = line.v * (1.0 + size)
                done.append((at, "line speed", speed, max(over, 5.0)))
    words = []
    for at, what, value, extra in done:
        if what == "output":
            value = _output_at(line) + extra
        over = extra if what == "line speed" else 0.0
        line.plan.append(Action(float(at), what, float(value), float(over)))
        words.append(what)
    if calm and rng.random() < 0.2:
        at = rng.uniform(0.1, 0.9) * duration
        line.plan += splice(at, length=rng.uniform(0.1, 1.0), line_speed=line.v)
        words.append("splice")
    line.slow_walk *= rng.uniform(0.5, 3.0)
    base = with_drift(rng, line, run(rng, line, clock), clock)
    if calm and rng.random() < 0.4:
        wave = rng.standard_normal(clock.scans)
        base, _ = scaled(line, clock, base, "torque", wave, line.T * log_uniform(rng, 2e-3, 0.03))
        words.append("random torque")
    _refuse_ringing(line, base, clock)
    return Draft(line, clock, base, None, math.nan, "quiet; " + (", ".join(words) or "nothing"))


def _output_at(line: Line) -> float:
    return operating_point(line.true, diameter=line.D, line_speed=line.v).output


def _refuse_ringing(line: Line, base: Trend, clock: Clock) -> None:
    """Refuse a record in which the roll is seen to swing on its web: it is not quiet."""
    f, dt = line.plant.natural_frequency / (2.0 * math.pi), clock.every * line.h
    if line.plant.damping_ratio > 0.25 or f > 0.45 / dt:
        return
    y = base.tension[clock.lead :]
    phase = 2.0 * math.pi * f * dt * np.arange(y.size)
    # Once is enough: what the roll does in its worst ten swings.
    size = max(int(10.0 / (f * dt)), 16)
    for start in range(0, max(y.size - size, 1), size):
        inside = slice(start, start + size)
        amplitude, floor = line_and_floor(y[inside], phase[inside], cycles=10.0)
        if amplitude > 4.0 * floor and amplitude > 5e-4 * line.T:
            raise NotThis("rings after what was done to it")
