"""How a trend is made whose loop itself swings: gains too high, or a torque device that sticks."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from simulator import linearise, operating_point
from simulator.machine import diameter_range
from tests.validation.line_strength import peak_frequency
from tests.validation.random_machines import (
    NotThis,
    gains_of,
    held,
    log_uniform,
    severity,
)
from tests.validation.running_lines import (
    Line,
    Ms_at,
    random_clock,
    random_line,
    run,
    with_drift,
)
from tests.validation.trend_recipes import (
    STICKING,
    TIGHT,
    Draft,
    amplitude_wanted,
    finish_second,
    roundish,
    scaled,
    second_cause,
)
from tuning.gains import Gains
from tuning.margins import closed_loop_modes, plant_response

Rng = np.random.Generator
# A growing swing gets out of the noise in so many of its own time constants.
GROWS_FOR = 8.0
MOST_MACHINES = 80


def worst_mode(line: Line, spot: tuple[float, float]) -> tuple[float, float]:
    """Return frequency [Hz] and growth [1/s] of the least damped mode of the loop at a spot."""
    plant = linearise(line.true, diameter=spot[0], line_speed=spot[1])
    modes = closed_loop_modes(plant.sampled(line.h), line.gains)
    modes = modes[modes.imag > 1e-9]
    if not modes.size:
        raise NotThis("a loop that does not swing")
    z = modes[np.argmax(np.abs(modes))]
    return float(np.angle(z)) / (2.0 * math.pi * line.h), math.log(abs(z)) / line.h


def tight(rng: Rng) -> Draft:
    """A loop whose gains are too high: it rings at the least touch, or swings by itself."""
    variant = str(rng.choice(["lively", "limit", "switched", "drops"], p=[0.3, 0.2, 0.12, 0.38]))
    if variant == "drops":
        line = _line_that_drops(rng)
    else:
        line = random_line(rng, changes=0.4 if variant == "lively" else 0.0, automatic=True)
    if variant == "switched":
        line.automatic_from = rng.uniform(0.1, 0.5)
    end = line.spots[2]
    seen = line.seen
    if variant == "drops":
        plant = linearise(line.true, diameter=end[0], line_speed=end[1])
        seen = plant_response(plant, scan_time=line.h)
    unstable = variant in ("limit", "switched") or (variant == "drops" and rng.random() < 0.4)
    Ti = line.gains.Ti
    if unstable:
        edge = gains_of(seen, Ti, 60.0)
        line.gains = Gains(edge.Kc * log_uniform(rng, 1.06, 1.6), Ti)
    else:
        line.gains = gains_of(seen, Ti, log_uniform(rng, 4.0, 12.0))
    Ms = Ms_at(line, end)
    if Ms < 3.0 or unstable != math.isinf(Ms):
        raise NotThis("not the loop that was wanted")
    if variant == "drops" and not Ms_at(line, line.spots[0]) < 2.2:
        raise NotThis("not sound before it drops")
    line.linear = not unstable
    f, growth = worst_mode(line, end)
    clock = random_clock(rng, line, f)
    duration = clock.samples * clock.every * line.h
    wanted = amplitude_wanted(rng, line)
    if unstable:
        if growth * duration * (1.0 - min(line.automatic_from, 0.5)) < GROWS_FOR:
            raise NotThis("grows too slowly")
        _bounded(line, f, wanted)
    roundish(rng, line, wanted, "")
    extra = second_cause(rng, line, wanted, main=TIGHT)
    base = run(rng, line, clock)
    base = with_drift(rng, line, base, clock)
    if not unstable:
        wave = rng.standard_normal(clock.scans)
        base, _ = scaled(line, clock, base, "torque", wave, wanted)
    late = base.tension[clock.lead + clock.samples // 2 :]
    f = peak_frequency(late, clock.every * line.h, 0.6 * f, 1.5 * f)
    story = f"gains too high, {variant}, " + (f"Ms {Ms:.3g}" if not unstable else "unstable")
    seen_from = 0.6 if variant == "drops" else min(line.automatic_from, 1.0)
    draft = Draft(line, clock, base, None, f, story, cycles=5.0, seen_from=seen_from)
    return finish_second(draft, extra)


def _line_that_drops(rng: Rng) -> Line:
    """Return a machine whose roll runs far down, or which slows far down, and gets livelier so.

    A loop that rings at the end, with Ms 8, is sound at the start: few machines change so much.
    """
    for _ in range(MOST_MACHINES):
        try:
            line = random_line(rng, changes=0.0, automatic=True)
            _drop(rng, line)
        except NotThis:
            continue
        plant = linearise(line.true, diameter=line.D_end, line_speed=line.v_end)
        seen = plant_response(plant, scan_time=line.h)
        if severity(line.seen, gains_of(seen, line.gains.Ti, 8.0)) < 2.0:
            return line
    raise NotThis("no machine that gets lively")


def _drop(rng: Rng, line: Line) -> None:
    """Let the roll run far down or the line slow far down in the record."""
    low, _ = diameter_range(line.true)
    crawl = line.true.run.crawl_speed
    if line.true.zone == "unwind" and rng.random() < 0.6:
        line.D = min(line.D * log_uniform(rng, 1.0, 2.0), diameter_range(line.true)[1])
        line.D_end = max(line.D / log_uniform(rng, 1.5, 5.0), 1.02 * low)
    else:
        line.v_end = max(line.v / log_uniform(rng, 2.0, 8.0), crawl)
    if line.D_end > 0.7 * line.D and line.v_end > 0.7 * line.v:
        raise NotThis("no room to drop")
    line.plant = held(line.true, line.D, line.v)
    line.seen = plant_response(line.plant, scan_time=line.h)
    held(line.true, line.D_end, line.v_end)


def _bounded(line: Line, f: float, wanted: float) -> None:
    """Give the output narrow ends, so that a loop without margin swings about as far as wanted [N].

    A square output of +- b has a fundamental of 4 b/pi.
    """
    outputs = [
        operating_point(line.true, diameter=D, line_speed=v).output
        for D, v in (line.spots[0], line.spots[2])
    ]
    gain = abs(line.plant.frequency_response([2.0 * math.pi * f])[0])
    gain *= 0.01 * line.true.controller.tension_range
    b = max(wanted / (gain * 4.0 / math.pi), 0.05)
    low, high = max(min(outputs) - b, 0.0), min(max(outputs) + b, 100.0)
    controller = replace(line.true.controller, output_low=low, output_high=high)
    line.true = replace(line.true, controller=controller)


def sticking(rng: Rng) -> Draft:
    """The supply of a friction brake sticks: with integral action the tension hunts."""
    line = random_line(rng, device="friction brake", changes=0.2, automatic=True)
    line.linear = False
    device = line.true.torque_device
    range_ = line.true.controller.tension_range
    per_percent = line.plant.static_gain * 0.01 * range_
    wanted = line.T * log_uniform(rng, 0.006, 0.15)
    stuck = wanted / per_percent
    if not 0.1 < stuck < 8.0:
        raise NotThis("would have to stick by an unlikely amount")
    line.true = replace(line.true, torque_device=replace(
        device, sticking=stuck, hysteresis=stuck * rng.uniform(0.0, 0.3)))  # fmt: skip
    noise = line.true.load_cell.noise
    if wanted < 2.0 * noise or stuck < 5.0 * line.gains.Kc * noise * 100.0 / range_:
        raise NotThis("the noise shakes it loose")
    # The supply jumps between two levels, and the output that is wanted lies between them, at a
    # share of the way. From there PI action takes its time to move the output by the sticking.
    share = rng.uniform(0.15, 0.85)
    gain, slow = line.plant.static_gain, 2.0 * (device.lag + line.true.load_cell.filter_time)
    waits = (1.0 / share + 1.0 / (1.0 - share)) / gain - 2.0 * line.gains.Kc
    f = 1.0 / (max(waits, 0.0) / line.gains.Ki + slow)
    clock = random_clock(rng, line, f, cycles=10.0)
    clock = replace(clock, samples=min(clock.samples, int(60.0 / (f * clock.every * line.h))))
    clock = replace(clock, lead=clock.lead + int(1.5 / (f * clock.every * line.h)))
    roundish(rng, line, 0.5 * wanted, "")
    extra = second_cause(rng, line, wanted, main=STICKING)
    cell = line.true.load_cell
    drift = line.slow_walk / (clock.scans * line.h)
    line.true = replace(line.true, load_cell=replace(cell, zero_drift=drift))
    base = run(rng, line, clock, kick=wanted * (share + float(rng.integers(-2, 2))))
    dt = clock.every * line.h
    f = hunting_frequency(base.output, dt, stuck, clock.lead)
    shown = peak_frequency(base.tension[clock.lead :], dt, 0.4 * f, min(2.5 * f, 0.45 / dt))
    if not abs(shown / f - 1.0) < 0.25:
        raise NotThis("does not hunt steadily")
    story = f"supply sticks by {stuck:.2g} %"
    draft = Draft(line, clock, base, None, shown, story, cycles=3.0, stands_out=1.5)
    return finish_second(draft, extra)


def hunting_frequency(output: np.ndarray, dt: float, sticks: float, lead: int) -> float:
    """Return how often a supply that sticks by some per cent goes up and down again [Hz]."""
    at, jumps = output[0], []
    for k, u in enumerate(output.tolist()):
        # The log misses the very tip, at which the supply lets go.
        if abs(u - at) >= 0.9 * sticks:
            jumps.append((k, u > at))
            at = u
    jumps = [jump for jump in jumps if jump[0] >= lead]
    turns = [k for (k, up), (_, before) in zip(jumps[1:], jumps, strict=False) if up and not before]
    if len(turns) < 5:
        raise NotThis("hardly hunts")
    gaps = np.diff(turns)
    if float(np.std(gaps)) > 0.5 * float(np.mean(gaps)) or len(jumps) > 4 * len(turns):
        raise NotThis("does not hunt up and down in turn")
    return 1.0 / (float(np.mean(gaps)) * dt)
