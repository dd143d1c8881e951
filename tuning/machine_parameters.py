"""Which numbers of a machine a step test can teach, and how each is searched.

A number is named as in the scenario file, such as `torque_device.lag`. The search sees it as a
coordinate z that is 0 where the scenario puts it:

    above zero by nature    z = ln(value/described)
    may be zero             z = (value - described)/size,   size: what would matter on this machine

Left out because the reading knows them only in a sum or a product with one that is there: the dead
time of the load cell (a sum with the device's), its gain error and the gear (products with the full
torque), width, thickness and free lengths (products with the modulus).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from simulator import Scenario
from simulator.machine import (
    diameter_range,
    roll_inertia,
    running_tension,
    torque_per_percent,
    web_stiffness,
)
from simulator.quantity import Quantity, quantities
from simulator.scenario import PullRoll
from simulator.scenario_checks import MOST_STRAIN

# A search goes this many times up and down from what the scenario says, within the limits there.
MOST_FACTOR = 20.0
# … and for a number that may be zero, so many times the size that would matter.
MOST_SIZES = 20.0
# Damping of the roll's swing that would matter [-], and friction, as a share of the roll's torque.
DAMPING_THAT_MATTERS, DRAG_THAT_MATTERS = 0.05, 0.02
# Dead time that would matter, as a share of the device's lag [-].
DEAD_TIME_THAT_MATTERS = 0.2


@dataclass(frozen=True)
class Parameter:
    """One number of a machine that can be learned.

    Attributes:
        name: dotted key as in the scenario file.
        words: its name for people.
        unit: SI unit.
        value: as the scenario has it [unit].
        low: least value searched [unit].
        high: largest value searched [unit].
        size: one unit of z [unit]; 0 for a number searched by its logarithm.
    """

    name: str
    words: str
    unit: str
    value: float
    low: float
    high: float
    size: float

    @property
    def positive(self) -> bool:
        """Whether it is above zero by nature, and searched by its logarithm."""
        return self.size == 0.0

    def z_of(self, value: float) -> float:
        """Return the coordinate [-] of a value.

        Args:
            value: of the number [unit].
        """
        if self.positive:
            return math.log(value / self.value)
        return (value - self.value) / self.size

    def value_at(self, z: float) -> float:
        """Return the value [unit] at a coordinate, never outside its limits.

        Args:
            z: coordinate [-].
        """
        value = self.value * math.exp(z) if self.positive else self.value + z * self.size
        return min(max(value, self.low), self.high)

    def slope_at(self, z: float) -> float:
        """Return d value/dz [unit].

        Args:
            z: coordinate [-].
        """
        return self.value * math.exp(z) if self.positive else self.size


def _swing_time(scenario: Scenario) -> float:
    """Return 1/omega [s] of the full roll's swing on the web, omega² = K R²/J."""
    D = diameter_range(scenario)[1]
    stiffness = web_stiffness(scenario) / sum(span.length for span in scenario.span)
    return math.sqrt(roll_inertia(scenario, D) / stiffness) / (0.5 * D)


def _drag(scenario: Scenario) -> float:
    """Return the friction [N m] that would matter at the full roll."""
    D = diameter_range(scenario)[1]
    return DRAG_THAT_MATTERS * running_tension(scenario, D) * 0.5 * D


def _viscous(scenario: Scenario) -> float:
    """Return the drag that grows with speed [N m s] that would matter: for the swing or level."""
    D = diameter_range(scenario)[1]
    for_swing = DAMPING_THAT_MATTERS * roll_inertia(scenario, D) / _swing_time(scenario)
    return min(for_swing, _drag(scenario) * 0.5 * D / scenario.run.line_speed)


# Words for people, and for what may be zero the size that would matter.
_KNOWN: dict[str, tuple[str, Callable[[Scenario], float] | None]] = {
    "web.modulus": ("modulus of the web", None),
    "web.density": ("density of the web on the roll", None),
    "web.retardation_time": (
        "damping of the web",
        lambda s: DAMPING_THAT_MATTERS * _swing_time(s),
    ),
    "roll.core_inertia": ("inertia of the core", None),
    "roll.inertia": ("inertia of the roll", None),
    "roll.bearing_drag": ("bearing drag", _drag),
    "roll.viscous_drag": ("drag that grows with speed", _viscous),
    "torque_device.full_torque": ("full torque", None),
    "torque_device.lag": ("lag of the torque device", None),
    "torque_device.dead_time": (
        "dead time of the torque device",
        lambda s: DEAD_TIME_THAT_MATTERS * s.torque_device.lag,
    ),
    "load_cell.filter_time": ("filter of the load cell", None),
}
# What matters for tuning and is seldom known well; inertia follows from drawings and the scale.
USUALLY_FREE = (
    "torque_device.full_torque",
    "torque_device.lag",
    "torque_device.dead_time",
    "web.modulus",
    "web.retardation_time",
)


def learnable(scenario: Scenario) -> tuple[str, ...]:
    """Return the names of all numbers of this machine that a step test may teach."""
    wound = not isinstance(scenario.roll, PullRoll)
    absent = {"roll.inertia"} if wound else {"roll.core_inertia", "web.density"}
    return tuple(name for name in _KNOWN if name not in absent)


def parameters(scenario: Scenario, names: tuple[str, ...]) -> tuple[Parameter, ...]:
    """Return numbers of a machine by name, with what the search needs to know of them.

    Args:
        scenario: the machine.
        names: dotted keys as in the scenario file.

    Raises:
        ValueError: no name at all, a name twice, or one that can't be learned; lists the names.
    """
    allowed = learnable(scenario)
    if not names:
        raise ValueError(f"free is empty: name at least one of {', '.join(allowed)}")
    for name in names:
        if name not in allowed:
            raise ValueError(
                f"free = {name!r}: is nothing that a step test teaches about this machine; allowed "
                f"are {', '.join(allowed)}"
            )
        if names.count(name) > 1:
            raise ValueError(f"free = {name!r}: is named twice")
    return tuple(_parameter(scenario, name) for name in names)


def _parameter(scenario: Scenario, name: str) -> Parameter:
    section, _, key = name.partition(".")
    holder = getattr(scenario, section)
    value, quantity = float(getattr(holder, key)), quantities(type(holder))[key]
    words, size_of = _KNOWN[name]
    size = 0.0 if size_of is None else max(value, size_of(scenario))
    low, high = _limits(scenario, name, value, size, quantity)
    return Parameter(name, words, quantity.unit, value, low, high, size)


def _limits(
    scenario: Scenario, name: str, value: float, size: float, quantity: Quantity
) -> tuple[float, float]:
    if size > 0.0:
        return quantity.low, min(value + MOST_SIZES * size, quantity.high)
    low, high = max(value / MOST_FACTOR, quantity.low), min(value * MOST_FACTOR, quantity.high)
    # Where a lower value would contradict another one, the scenario would be refused.
    if name == "torque_device.full_torque":
        device = scenario.torque_device
        least = device.residual_torque + 100.0 / MOST_FACTOR * torque_per_percent(scenario) / (
            device.gear_ratio
        )
        low = max(low, least)
    if name == "web.modulus":
        run, web = scenario.run, scenario.web
        most = max(run.tension, run.far_tension, run.entry_tension)
        low = max(low, 1.001 * most / (MOST_STRAIN * web.width * web.thickness))
    return low, high


def with_parameters(scenario: Scenario, values: Mapping[str, float]) -> Scenario:
    """Return a scenario with some of its numbers changed; it checks them as it always does.

    Args:
        scenario: the machine.
        values: dotted keys as in the scenario file, and their new values [SI unit of each].

    Raises:
        ValueError: a value is out of its limits or contradicts another one.
    """
    changes: dict[str, dict[str, float]] = {}
    for name, value in values.items():
        section, _, key = name.partition(".")
        changes.setdefault(section, {})[key] = value
    sections = {
        section: replace(getattr(scenario, section), **keys) for section, keys in changes.items()
    }
    return replace(scenario, **sections)
