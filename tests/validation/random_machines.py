"""Machines of all sorts, drawn from the six scenarios, and the gains that a loop of theirs has.

A drawn machine is what a technician's scenario file says; `as_built` draws the real one from within
the usual tolerances. All ranges are our own guess at what stands in plants, no source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from simulator import LinearPlant, Scenario, linearise, load_scenario, operating_point
from simulator.machine import diameter_range
from simulator.scenario import Nip, PullRoll, Roller, Span
from simulator.torque_devices import Clutch, FrictionBrake, ParticleBrake, TorqueMotor
from tuning.gains import Gains
from tuning.margins import PlantResponse, closed_loop_modes
from tuning.tolerances import drawn_machine, tolerances_from, varied

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"
TOLERANCES = tolerances_from(
    {
        "modulus": 15.0,
        "thickness": 3.0,
        "core_inertia": 10.0,
        "lag": 20.0,
        "dead_time": 20.0,
        "span_length": 2.0,
        "full_torque": 5.0,
        "sensor_gain": 1.0,
    }
)
SCANS = (0.005, 0.008, 0.01, 0.012, 0.015, 0.016, 0.02, 0.024, 0.025, 0.03, 0.04, 0.05, 0.06, 0.1)
# Below and above these the output has no room to swing [%].
LEAST_OUTPUT, MOST_OUTPUT = 7.0, 90.0
# A roll this slow to forget a step needs an hour of record.
SLOWEST = 60.0


class NotThis(Exception):
    """A draw that is not what was wanted: draw again."""


@cache
def _templates() -> tuple[Scenario, ...]:
    return tuple(load_scenario(path) for path in sorted(SCENARIOS.glob("*.toml")))


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Return a number between two, as likely in any octave."""
    return float(low * (high / low) ** rng.random())


def random_machine(
    rng: np.random.Generator, *, device: str = "", least_lag: float = 0.0
) -> Scenario:
    """Return a machine without gains and without runout, of a kind of device if one is named."""
    while True:
        template = _templates()[rng.integers(len(_templates()))]
        if device == "friction brake" and template.zone != "unwind":
            continue
        try:
            return _varied(rng, template, device, least_lag)
        except ValidationError:
            continue


def _varied(rng: np.random.Generator, s: Scenario, device: str, least_lag: float) -> Scenario:
    def off(low: float, high: float) -> float:
        return log_uniform(rng, low, high)

    wide, thick = off(0.4, 1.6), off(0.4, 2.5)
    web = replace(
        s.web,
        width=s.web.width * wide,
        thickness=s.web.thickness * thick,
        modulus=s.web.modulus * off(0.4, 2.5),
        density=s.web.density * off(0.8, 1.25),
        retardation_time=s.web.retardation_time * off(0.2, 5.0),
    )
    tension = s.run.tension * wide * thick**0.7 * off(0.5, 2.0)
    speed = s.run.line_speed * off(0.4, 2.5)
    web = replace(web, breaking_tension=tension * off(5.0, 20.0), roller_friction=None)
    run = replace(
        s.run,
        tension=tension,
        line_speed=speed,
        crawl_speed=speed * off(0.06, 0.25),
        far_tension=s.run.far_tension / s.run.tension * tension,
        entry_tension=s.run.entry_tension / s.run.tension * tension,
    )
    pull, inertia = tension, off(0.3, 3.0)
    if isinstance(s.roll, PullRoll):
        size = off(0.5, 1.8)
        full = s.roll.diameter * size
        roll: Any = replace(
            s.roll, diameter=full, inertia=s.roll.inertia * wide * size**3 * inertia
        )
        pull = max(tension - run.far_tension, 0.3 * tension)
    else:
        full = s.roll.full_diameter * off(0.6, 1.6)
        core = min(s.roll.core_diameter * off(0.8, 1.6), 0.6 * full)
        core_inertia = s.roll.core_inertia * inertia * wide
        roll = replace(s.roll, core_diameter=core, full_diameter=full, core_inertia=core_inertia)
    most = pull * 0.5 * full
    at_core = most * diameter_ratio(roll)
    roll = replace(
        roll,
        runout=0.0,
        bearing_drag=at_core * off(0.004, 0.15),
        viscous_drag=at_core * off(0.002, 0.1) * 0.5 * full / speed,
    )
    spans = int(rng.integers(2, 5))
    cell = int(rng.integers(spans - 1))
    rollers = []
    for i in range(spans - 1):
        like = s.roller[i % len(s.roller)]
        size = off(0.5, 1.8)
        rollers.append(
            Roller(
                diameter=like.diameter * size,
                inertia=like.inertia * wide * size**3 * off(0.4, 2.0),
                drag=min(like.drag * off(0.3, 3.0), 0.01 * tension * 0.5 * like.diameter * size),
                load_cell=i == cell,
            )
        )
    scan = float(rng.choice(SCANS)) if rng.random() < 0.8 else off(0.005, 0.1)
    full_scale = float(f"{tension * rng.uniform(1.3, 3.0):.2g}")
    return replace(
        s,
        title=f"{s.title}, varied",
        note="Invented machine; every number is made up.",
        web=web,
        run=run,
        roll=roll,
        span=tuple(Span(length=off(0.4, 5.0)) for _ in range(spans)),
        roller=tuple(rollers),
        nip=Nip(diameter=off(0.08, 0.35)) if rng.random() < 0.85 else None,
        torque_device=_device(rng, s, most, device, least_lag),
        load_cell=replace(
            s.load_cell,
            rated_load=full_scale,
            wrap_angle=math.radians(rng.uniform(80.0, 180.0)),
            cells=2,
            roller_mass=0.03 * tension,
            filter_time=s.load_cell.filter_time * off(0.2, 3.0),
            dead_time=0.0,
            noise=tension * off(0.0005, 0.01),
            zero_error=0.0,
            resolution=0.0,
        ),
        data_sheet=None,
        controller=replace(
            s.controller,
            tension_range=full_scale,
            scan_time=scan,
            Kc=None,
            Ti=None,
            setpoint_rate=None,
            break_level=None,
            inertia_compensation=float(rng.choice([0.0, 0.0, 90.0])),
        ),
        source="",
    )  # fmt: skip


def diameter_ratio(roll: Any) -> float:
    """Return the core's diameter over the full roll's [-], 1 for a pull roll."""
    return 1.0 if isinstance(roll, PullRoll) else roll.core_diameter / roll.full_diameter


def _device(rng: np.random.Generator, s: Scenario, most: float, kind: str, least_lag: float) -> Any:
    """Return a torque device that has room above the torque needed at most, at the roll [N m]."""
    if not kind:
        kinds = ("friction brake", "particle brake", "torque motor")
        kind = str(rng.choice(kinds if s.zone == "unwind" else ("clutch", "torque motor")))
    if s.zone == "pull roll":
        kind = "torque motor"
    motor = kind == "torque motor"
    gear = log_uniform(rng, 1.0, 8.0) if motor else 1.0
    full = most * rng.uniform(1.3, 3.0) / gear
    residual = full * (rng.uniform(-0.2, 0.0) if motor else rng.uniform(0.0, 0.015))
    lag = log_uniform(rng, 0.01, 0.15) if motor else log_uniform(rng, 0.05, 0.6)
    shared = {
        "full_torque": full,
        "residual_torque": residual,
        "lag": max(lag, least_lag),
        "dead_time": lag * rng.uniform(0.0, 0.3),
        "gear_ratio": gear,
    }
    if kind == "friction brake":
        falls = rng.random() < 0.5
        return FrictionBrake(
            breakaway_ratio=rng.uniform(1.0, 1.2) if falls else 1.0,
            stribeck_speed=0.1 if falls else None,
            hysteresis=rng.uniform(0.0, 0.3),
            **shared,
        )
    if kind == "particle brake":
        return ParticleBrake(**shared)
    if kind == "clutch":
        return Clutch(overdrive=rng.uniform(1.08, 1.4), **shared)
    return TorqueMotor(**shared)


def as_built(rng: np.random.Generator, described: Scenario) -> Scenario:
    """Return the machine that really stands there: within tolerances of what is described."""
    usual = varied(described, TOLERANCES)
    return drawn_machine(described, usual, seed=int(rng.integers(2**31)), index=0)[0]


def random_spot(rng: np.random.Generator, s: Scenario) -> tuple[float, float]:
    """Return a diameter on the roll [m] and a line speed between crawl and full speed [m/s]."""
    low, high = diameter_range(s)
    diameter = float(np.sqrt(rng.uniform(low**2, high**2))) if low < high else low
    if rng.random() < 0.3:
        diameter = float(rng.uniform(low, high))
    v, crawl = s.run.line_speed, s.run.crawl_speed
    chance = rng.random()
    speed = v * rng.uniform(0.8, 1.0) if chance < 0.6 else log_uniform(rng, crawl, v)
    return diameter, (crawl if chance > 0.92 else float(speed))


def held(s: Scenario, diameter: float, line_speed: float) -> LinearPlant:
    """Return the plant there, if the output holds the tension with room and manual is stable."""
    point = operating_point(s, diameter=diameter, line_speed=line_speed)
    if not point.reachable or not LEAST_OUTPUT <= point.output <= MOST_OUTPUT:
        raise NotThis("no output holds it")
    if min(point.span_tensions) < 0.3 * s.run.tension:
        raise NotThis("a span nearly slack")
    plant = linearise(s, diameter=diameter, line_speed=line_speed)
    if not plant.slowest_time < SLOWEST:
        raise NotThis("unstable in manual, or too slow")
    if plant.dead_time > 60.0 * s.controller.scan_time:
        raise NotThis("too many scans of dead time")
    return plant


def random_integral_time(rng: np.random.Generator, s: Scenario, plant: LinearPlant) -> float:
    """Return a Ti [s] that somebody may have set on this machine; 1 ms is integral only."""
    if rng.random() < (0.5 if plant.damping_ratio < 0.1 else 0.1):
        return 1e-3
    sluggish = s.torque_device.lag + s.load_cell.filter_time + plant.dead_time
    return sluggish * log_uniform(rng, 0.5, 3.0)


def severity(seen: PlantResponse, gains: Gains, *, worst: float = math.inf) -> float:
    """Return Ms [-], inf where the loop is unstable; stability is not looked at above `worst`."""
    h = seen.scan_time or 0.0
    L = seen.values * gains.sampled_frequency_response(seen.omega, h)
    Ms = float(np.max(1.0 / np.abs(1.0 + L)))
    if Ms > worst or seen.sampled is None:
        return Ms if Ms > worst else math.inf
    return Ms if np.abs(closed_loop_modes(seen.sampled, gains)).max() < 1.0 else math.inf


def gains_of(seen: PlantResponse, Ti: float, Ms: float) -> Gains:
    """Return the largest gain at this Ti [s] whose loop keeps Ms [-] on this plant."""
    unit = float(np.abs(seen.values * Gains(1.0, Ti).sampled_frequency_response(
        seen.omega, seen.scan_time or 0.0)).max())  # fmt: skip
    # The integral action makes the unit huge: the gain looked for is mostly far above 1 of it.
    low, high = 1e-2 / unit, 1e7 / unit
    for _ in range(20):
        middle = math.sqrt(low * high)
        if severity(seen, Gains(middle, Ti), worst=Ms) <= Ms:
            low = middle
        else:
            high = middle
    return Gains(low, Ti)
