"""Heat in a brake or clutch: slip power, and the temperature rise that comes of it.

One lump of heat capacity C that loses heat in proportion to its rise: C dT/dt = P - T/Rth. At the
continuous rating P0 it settles at the rise T0 = P0 Rth, in the time constant t0 = C Rth, so

    t0 dT/dt = T0 P/P0 - T

(lumped capacity, as any heat-transfer text has it; heat does not act back on the torque here).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from simulator.scenario import Scenario
from simulator.torque_devices import TorqueMotor

Array = NDArray[np.float64]


def gets_hot(scenario: Scenario) -> bool:
    """Return whether the torque device makes its torque by slipping."""
    return not isinstance(scenario.torque_device, TorqueMotor)


def rated_rise(scenario: Scenario) -> float:
    """Return the temperature rise [K] at the continuous rating for long; nan where not given."""
    device = scenario.torque_device
    if isinstance(device, TorqueMotor) or device.continuous_rise is None:
        return math.nan
    return device.continuous_rise


def steady_rise(scenario: Scenario, power: float) -> float:
    """Return the temperature rise [K] that a slip power settles at; nan where no rise is given.

    Args:
        scenario: the machine.
        power: slip power [W].
    """
    rated = scenario.torque_device.continuous_heat
    return math.nan if rated is None else rated_rise(scenario) * power / rated


def temperature_rise(scenario: Scenario, time: Array, power: Array, *, start: float) -> Array:
    """Return the temperature rise [K] over a run, shape (n,); empty where no rise is given.

    Args:
        scenario: the machine.
        time: of the samples, evenly spaced, shape (n,) [s].
        power: slip power, held from each sample to the next, shape (n,) [W].
        start: rise at the first sample [K].
    """
    device = scenario.torque_device
    if isinstance(device, TorqueMotor) or device.thermal_time is None or time.size == 0:
        return np.zeros(0)
    if time.size == 1:
        return np.array([start])
    # The exact step of a first-order lag over a constant power.
    left = math.exp(-(time[1] - time[0]) / device.thermal_time)
    aims = steady_rise(scenario, 1.0) * power
    warmed, _ = lfilter([0.0, 1.0 - left], [1.0, -left], aims, zi=[start])
    return np.asarray(warmed)


def time_to_heat(scenario: Scenario, power: float) -> float:
    """Return how long a cold device bears a slip power [s], until it is as warm as rated.

    That is t0 ln(P/(P - P0)); inf where it bears the power for long, nan where no time is given.

    Args:
        scenario: the machine.
        power: slip power [W].
    """
    device = scenario.torque_device
    rated = device.continuous_heat
    if isinstance(device, TorqueMotor) or device.thermal_time is None or rated is None:
        return math.nan
    if power <= rated:
        return math.inf
    return device.thermal_time * math.log(power / (power - rated))
