"""How a trend is made whose swing comes from outside the zone: from drives, wires, neighbours."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from simulator.plan import Action
from tests.validation.disturbances import turn_phase, wandering_phase
from tests.validation.line_strength import folded
from tests.validation.random_machines import NotThis, log_uniform
from tests.validation.running_lines import (
    MOST_SAMPLES,
    Clock,
    Line,
    plus,
    random_clock,
    random_line,
    response,
    run,
    with_drift,
)
from tests.validation.trend_recipes import (
    ALIAS,
    MOVES,
    Draft,
    amplitude_wanted,
    finish_second,
    mean_frequency,
    roundish,
    scaled,
    second_cause,
)

Rng = np.random.Generator
MAINS = (50.0, 60.0)
# Mains keep to this share of their frequency (common practice: 50 mHz of 50 Hz) [-].
MAINS_OFF = 1e-3
# An unknown swing stays away from that of the roll by this factor.
NEAR_SWING = 1.4


def moves(rng: Rng, *, hidden: bool = False) -> Draft:
    """Line speed or setpoint swings, and the log shows it (or hides it)."""
    of_speed = hidden or rng.random() < 0.65
    line = random_line(rng, changes=0.0 if of_speed else 0.5, automatic=None if of_speed else True)
    wanted = amplitude_wanted(rng, line)
    f = log_uniform(rng, 0.02, 1.5)
    clock = random_clock(rng, line, f)
    if hidden:
        _refuse_body(line, f)
    shape = str(rng.choice(["sine", "sine", "saw", "square"]))
    knots = {"sine": 8, "saw": 2, "square": 2}[shape]
    gap = round(1.0 / (f * knots * line.h))
    if gap < 2 or clock.samples * clock.every / gap > 2500:
        raise NotThis("moves too fast for its scan")
    f = 1.0 / (gap * knots * line.h)
    w = np.array([2.0 * math.pi * f])
    L = line.seen.at(w) * line.gains.sampled_frequency_response(w, line.h)
    T_per = 0.01 * line.true.controller.tension_range
    if of_speed:
        s = 1j * w[0]
        A = line.plant.A
        gain = abs(line.plant.C @ np.linalg.solve(s * np.eye(len(A)) - A, line.plant.B_speed))
        gain *= T_per / (abs(1.0 + L[0]) if line.automatic_from < 1.0 else 1.0)
        size, whole = wanted / gain, line.v
    else:
        size, whole = wanted / abs(L[0] / (1.0 + L[0])), line.T
    if not 2e-4 * whole < size < (0.05 if of_speed else 0.1) * whole:
        raise NotThis("would take a swing of the wrong size")
    about = line.v if of_speed else line.T * (1.0 + 0.01 * line.true.load_cell.gain_error)
    knot = np.arange(0, clock.samples * clock.every // gap)
    level = {
        "sine": np.sin(2.0 * math.pi * knot / 8.0),
        "saw": np.where(knot % 2, 1.0, -1.0),
        "square": np.where(knot % 2, 1.0, -1.0),
    }[shape]
    over = 0.999 * gap * line.h if shape != "square" else min(0.1, 0.3 * gap * line.h)
    what = "line speed" if of_speed else "setpoint"
    line.plan = [
        Action(float(k * gap * line.h), what, float(about + size * a), over if of_speed else 0.0)
        for k, a in zip(knot, level, strict=True)
    ]
    if not of_speed and shape != "square":
        level = np.sin(2.0 * math.pi * knot / knots)
        rate = size / (gap * line.h) * 2.0 / line.true.controller.tension_range * 100.0
        controller = replace(line.true.controller, setpoint_rate=rate)
        line.true = replace(line.true, controller=controller)
    roundish(rng, line, wanted, "")
    extra = "" if hidden else second_cause(rng, line, wanted, main=MOVES)
    base = with_drift(rng, line, run(rng, line, clock), clock)
    time = np.arange(clock.samples) * clock.every * line.h
    column = "line_speed" if of_speed else "setpoint"
    return finish_second(
        Draft(
            line, clock, base, 2.0 * math.pi * f * time, f,
            f"{what} swings by {100.0 * size / whole:.2g} %, {shape}" + " unrecorded" * hidden,
            needs=() if hidden else (column,), hides=(column,) if hidden else (),
            speed_noise=size / 3.0 if of_speed else math.inf,
        ),
        extra,
    )  # fmt: skip


def pickup(rng: Rng) -> Draft:
    """Mains, a fast vibration or a fast roller in the reading, folded down by the sampling."""
    line = random_line(rng)
    h = line.h
    every = max(int(log_uniform(rng, max(h, 0.02), 1.0) / h), 1)
    rate = 1.0 / (every * h)
    chance = rng.random()
    body = ""
    if chance < 0.7:
        mains = float(rng.choice(MAINS))
        times = int(rng.choice([1, 1, 2]))
        f = mains * times * (1.0 + rng.uniform(-MAINS_OFF, MAINS_OFF))
        story, width = f"pickup of {mains * times:.0f} Hz", 2e-4
    elif chance < 0.8:
        f = rate * rng.uniform(0.55, 6.0)
        story, width = f"vibration of {f:.3g} Hz", 1e-5
    else:
        body = str(rng.choice([name for name in line.bodies if name != "roll"]))
        f = line.turns(body, line.spots[0])
        story, width = f"{body} at {f:.3g} turns a second", 0.0
    seen = folded(f, rate)
    if f < 0.55 * rate or not 0.0 < seen < 0.42 * rate:
        raise NotThis("not folded, or too near half the rate")
    spread = 3.0 * width * f if not body else 0.0
    if body and max(abs(line.turns(body, spot) / f - 1.0) for spot in line.spots) > 0.3 * seen / f:
        raise NotThis("a folded roller that sweeps all over")
    if seen < 2.0 * spread or seen < 8.0 / 1200.0:
        raise NotThis("folded to nothing")
    shown = random_clock(rng, line, max(seen, 0.01), dense=2.2)
    duration = max(min(shown.samples * shown.every * h, MOST_SAMPLES / rate), 6.0 / seen)
    samples = int(duration * rate)
    if duration < 20.0 or duration > 1200.0 or samples > 25_000:
        raise NotThis("too few or too many samples")
    lead = shown.lead * shown.every // every + 1
    clock = Clock(every, samples, lead)
    wanted = amplitude_wanted(rng, line)
    roundish(rng, line, 0.5 * wanted, body)
    extra = "" if body else second_cause(rng, line, wanted, main=ALIAS)
    base = with_drift(rng, line, run(rng, line, clock), clock)
    if body:
        phase = turn_phase(base, h, line.bodies[body][1])
    else:
        phase = wandering_phase(rng, clock.scans, h, f, width)
    base = plus(line, base, clock, *response(line, base, "reading", wanted * np.cos(phase)))
    logged = phase[::every][lead:]
    dt = every * h
    steps = np.diff(logged) / (2.0 * math.pi)
    whole = float(np.round(np.mean(steps)))
    logged = 2.0 * math.pi * np.concatenate([[0.0], np.cumsum(steps - whole)])
    f = abs(logged[-1]) / (2.0 * math.pi * dt * (logged.size - 1))
    return finish_second(Draft(line, clock, base, logged, f, story + f" seen at {f:.3g} Hz"), extra)


def unknown(rng: Rng) -> Draft:
    """Something shakes the zone that is no part of it and not in the log."""
    if rng.random() < 0.2:
        return moves(rng, hidden=True)
    line = random_line(rng)
    f = log_uniform(rng, 0.02, 6.0)
    _refuse_body(line, f)
    swing = line.plant.natural_frequency / (2.0 * math.pi)
    # Near that swing, or with edges in its wave, it would make the roll ring more than it swings.
    if abs(math.log(f / swing)) < math.log(NEAR_SWING):
        raise NotThis("makes the roll ring")
    keep_away = []
    if line.automatic_from < 1.0:
        L = line.seen.values * line.gains.sampled_frequency_response(line.seen.omega, line.h)
        keep_away.append(float(line.seen.omega[np.argmax(1.0 / np.abs(1.0 + L))]) / (2 * math.pi))
    clock = random_clock(rng, line, f)
    rate = 1.0 / (clock.every * line.h)
    keep_away += [folded(n * mains, rate) for mains in MAINS for n in (1, 2)]
    if any(abs(f - other) < 0.1 * other + 0.02 * f for other in keep_away):
        raise NotThis("belongs to something")
    wanted = amplitude_wanted(rng, line)
    roundish(rng, line, wanted, "")
    channel = str(rng.choice(["torque", "torque", "speed"]))
    phase = wandering_phase(rng, clock.scans, line.h, f, float(rng.choice([0.0, 0.02, 0.06])))
    wave = np.cos(phase)
    base = with_drift(rng, line, run(rng, line, clock), clock)
    base, _ = scaled(line, clock, base, channel, wave, wanted)
    logged = phase[:: clock.every][clock.lead :]
    return Draft(line, clock, base, logged, mean_frequency(logged, clock.every * line.h),
                 f"unknown swing through {channel}")  # fmt: skip


def _refuse_body(line: Line, f: float) -> None:
    """Refuse a frequency [Hz] that some body has, once, twice or three times a turn."""
    for name in line.bodies:
        turns = sorted(line.turns(name, spot) for spot in line.spots)
        for n in (1, 2, 3):
            if 0.9 * n * turns[0] < f < 1.1 * n * turns[-1]:
                raise NotThis("belongs to a body")
