"""A machine in good order at one place, and a run of it as a recorder logs it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from simulator import Action, LinearPlant, Scenario, Trend, linearise, simulate
from simulator.machine import diameter_range
from simulator.torque_devices import FrictionBrake
from tuning.design import DEFAULT_MS, DEFAULT_NOISE, reading_noise
from tuning.gains import Gains
from tuning.most_integral import Limits, most_integral
from tuning.plant_bank import plant_bank

# Samples and swings in a record [-], and its limits [s].
SAMPLES_A_SWING, SWINGS, SHORTEST, LONGEST = 20, 45.0, 40.0, 240.0
SETTLING = 6.0  # before the recorder starts [s]
# Noise of the recorded line speed, of itself [-].
SPEED_NOISE = 5e-4


@dataclass(frozen=True, eq=False)
class InventedRun:
    """A machine in good order with gains that suit it, and where it runs.

    Attributes:
        scenario: the machine, with these gains set.
        plant: of it there.
        gains: that suit it there.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
    """

    scenario: Scenario
    plant: LinearPlant
    gains: Gains
    diameter: float
    line_speed: float

    @property
    def tension(self) -> float:
        """Running tension [N]."""
        return self.scenario.run.tension

    @property
    def scan(self) -> float:
        """Scan time of the controller [s]."""
        return self.scenario.controller.scan_time


def sound_run(scenario: Scenario, line_speed: float | None = None) -> InventedRun:
    """Take the wear out of a machine; return it at half of its roll, with gains for that place.

    Args:
        scenario: the machine.
        line_speed: of the web [m/s]; running speed if left out.

    Raises:
        ValueError: the machine is not stable in manual there.
    """
    device = scenario.torque_device
    if isinstance(device, FrictionBrake):
        device = replace(device, sticking=0.0, hysteresis=0.0, breakaway_ratio=1.0)
    sound = replace(
        scenario,
        torque_device=device,
        roll=replace(scenario.roll, runout=0.0),
        roller=tuple(replace(roller, runout=0.0) for roller in scenario.roller),
        nip=None if scenario.nip is None else replace(scenario.nip, runout=0.0),
        load_cell=replace(scenario.load_cell, zero_drift=0.0),
        controller=replace(scenario.controller, setpoint_rate=None),
    )
    low, high = diameter_range(scenario)
    diameter = math.sqrt(0.5 * (low**2 + high**2))
    v = scenario.run.line_speed if line_speed is None else line_speed
    bank = plant_bank(sound, [(diameter, v)])
    limits = Limits(Ms=DEFAULT_MS, noise_gain=DEFAULT_NOISE / reading_noise(sound))
    both = (most_integral(bank, "I", limits), most_integral(bank, "PI", limits))
    gains = max(both, key=lambda one: one.Ki)
    plant = linearise(sound, diameter=diameter, line_speed=v)
    return InventedRun(gains.set_in(sound), plant, gains, diameter, v)


def long_enough(frequency: float, swings: float = SWINGS) -> float:
    """Return how long a record must be to show some swings [s].

    Args:
        frequency: of the swing [Hz].
        swings: how many [-].
    """
    return min(max(swings / frequency, SHORTEST), LONGEST)


def logged(
    run: InventedRun,
    seed: int,
    *,
    frequency: float,
    scenario: Scenario | None = None,
    plan: Sequence[Action] = (),
    automatic: bool = True,
    duration: float | None = None,
    noise: bool = True,
) -> Trend:
    """Run the machine for some swings and keep what comes after it has settled.

    Args:
        run: the machine and its place.
        seed: of the noise [-].
        frequency: of the swing that is to be seen [Hz].
        scenario: the machine with its trouble; as good as new if left out.
        plan: what is done to it; times from the start of settling.
        automatic: whether the loop is closed.
        duration: of the record [s]; some swings if left out.
        noise: whether the reading has its noise.
    """
    if duration is None:
        duration = long_enough(frequency)
    every = max(1, int(1.0 / (SAMPLES_A_SWING * frequency * run.scan)))
    trend = simulate(
        scenario or run.scenario,
        plan,
        duration=SETTLING + duration,
        diameter=run.diameter,
        line_speed=run.line_speed,
        setpoint=run.tension,
        automatic=automatic,
        seed=seed,
        noise=noise,
        record_every=every,
    )
    return trend.between(SETTLING, SETTLING + duration)


def as_recorded(trend: Trend, seed: int) -> Trend:
    """Return what a recorder sees, with the noise of a speed sensor, from time 0.

    Args:
        trend: a simulated run.
        seed: of the noise [-].
    """
    rng = np.random.default_rng([seed, 1])
    noise = SPEED_NOISE * float(trend.line_speed.mean()) * rng.standard_normal(trend.time.size)
    return Trend(
        time=trend.time - trend.time[0],
        tension=trend.tension,
        output=trend.output,
        setpoint=trend.setpoint,
        line_speed=trend.line_speed + noise,
        diameter=trend.diameter,
        automatic=trend.automatic,
    )
