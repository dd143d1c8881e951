"""The gains that a scenario's controller already has, schedule and all, judged over the roll."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator import Scenario
from simulator.control_kernel import gains_at
from simulator.machine import diameter_range, kernel_controller
from tuning.gains import Gains
from tuning.plant_bank import plant_bank
from tuning.roll_grid import WorstPoint, roll_grid, speeds_over


@dataclass(frozen=True)
class GainsAsSet:
    """What the gains in a scenario do over the roll.

    Attributes:
        gains: at full roll.
        scheduled: whether they follow the diameter.
        worst: where Ms is highest.
    """

    gains: Gains
    scheduled: bool
    worst: WorstPoint


def gains_as_set(scenario: Scenario, diameter: float) -> Gains:
    """Return the gains that the controller uses at a diameter.

    Args:
        scenario: the machine with its controller.
        diameter: of the roll [m].

    Raises:
        ValueError: the scenario gives no gains.
    """
    c = scenario.controller
    if not c.schedule:
        return Gains.from_controller(c)
    Kc, Ti, Td = gains_at(kernel_controller(scenario), 0.5 * diameter)
    return Gains(float(Kc), float(Ti), float(Td), c.filter_ratio, c.setpoint_weight)


def judge_as_set(scenario: Scenario) -> GainsAsSet | None:
    """Return what the gains in a scenario do over the roll; None where it gives none.

    Args:
        scenario: the machine with its controller.
    """
    c = scenario.controller
    if c.Kc is None and not c.schedule:
        return None
    # Between two points of a schedule the gains are straight, at them they may have a corner.
    corners = [(at.diameter, v) for at in c.schedule for v in speeds_over(scenario, 3)]
    low, high = diameter_range(scenario)
    points = [(D, v) for D, v in corners if low <= D <= high]
    bank = plant_bank(scenario, [*roll_grid(scenario), *points])
    each = [gains_as_set(scenario, D) for D, _ in bank.points]
    Ms, peak = bank.severity(each)
    at = int(np.argmax(Ms))
    worst = WorstPoint(*bank.points[at], float(Ms[at]), float(peak[at]))
    return GainsAsSet(each[0], bool(c.schedule), worst)
