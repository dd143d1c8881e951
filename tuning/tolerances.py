"""What is not known well about a machine, and machines drawn from within what is.

Half of a machine's numbers are guesses. A tolerance says by how much one of them may be off; a draw
turns them all into one machine that might be the real one. "± 20 %, normal" means that 95 machines
of 100 lie within it (two standard deviations); nothing is drawn beyond three. "Uniform" means that
any value within is as likely as any other, and none beyond is possible.

The default tolerances are common practice, without a source; replace them by what you know.

A machine that a scenario refuses (a value out of its limits, a residual torque above the full one,
a crawl speed above the line speed) is not in the running: it is drawn again, from the numbers that
follow in the same row of random numbers, and counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError
from scipy.special import ndtr, ndtri

from simulator import Fault, Scenario
from simulator.torque_devices import TorqueMotor
from simulator.units import parse_quantity

Array = NDArray[np.float64]
Distribution = Literal["normal", "uniform"]

# "±" is so many standard deviations of a normal distribution, which ends at so many.
SIGMAS, LAST_SIGMA = 2.0, 3.0
# Three standard deviations of 60 % leave a tenth of the value: nothing changes its sign.
MOST_PERCENT = 60.0
# A draw that is refused so often in a row has tolerances that leave hardly a machine.
MOST_DRAWS = 50
TABLES = ("span", "roller")

Key = tuple[str, str]
Move = Callable[[Scenario, float, float], float]


def _scaled(scenario: Scenario, value: float, deviation: float) -> float:
    return value * (1.0 + deviation)


def _dead_time(scenario: Scenario, value: float, deviation: float) -> float:
    """No dead time given means one below a scan: a share of the scan, never a negative one."""
    if value > 0.0:
        return value * (1.0 + deviation)
    return scenario.controller.scan_time * abs(deviation)


def _gain_error(scenario: Scenario, value: float, deviation: float) -> float:
    return 100.0 * ((1.0 + 0.01 * value) * (1.0 + deviation) - 1.0)


def _above_one(scenario: Scenario, value: float, deviation: float) -> float:
    return 1.0 + (value - 1.0) * (1.0 + deviation)


@dataclass(frozen=True)
class Uncertain:
    """A number of a machine that is not known well, or several that are off together.

    Attributes:
        words: what it is, for people.
        advice: what to do to know it better.
        keys: (section, attribute) of the scenario.
        percent: usual tolerance, common practice without a source [%].
        distribution: usual one.
        move: from scenario, value and deviation as a share to the value of a draw.
        zero: the value at which there is nothing to vary [any]; nan for none.
    """

    words: str
    advice: str
    keys: tuple[Key, ...]
    percent: float
    distribution: Distribution = "normal"
    move: Move = _scaled
    zero: float = 0.0


_TORQUE, _RESIDUAL = ("torque_device", "full_torque"), ("torque_device", "residual_torque")
_STEPS = "take it from a step test"

UNCERTAIN: dict[str, Uncertain] = {
    "modulus": Uncertain(
        "modulus of the web", "stretch a sample with a known weight", (("web", "modulus"),), 20.0
    ),
    "thickness": Uncertain(
        "thickness of the web", "measure a stack of ten layers", (("web", "thickness"),), 5.0
    ),
    "density": Uncertain(
        "density of the web", "weigh a roll of known size", (("web", "density"),), 5.0
    ),
    "web_damping": Uncertain(
        "damping of the web itself",
        "see how fast the ringing dies away after a step in manual at crawl",
        (("web", "retardation_time"),),
        50.0,
        "uniform",
    ),
    "core_inertia": Uncertain(
        "inertia of the bare roll",
        "take it from the drawings, or let the bare roll run down",
        (("roll", "core_inertia"), ("roll", "inertia"), ("torque_device", "rotor_inertia")),
        15.0,
    ),
    "roll_drag": Uncertain(
        "friction of the roll",
        "let the bare roll run down and take the time",
        (("roll", "bearing_drag"), ("roll", "viscous_drag"), ("torque_device", "gear_friction")),
        50.0,
        "uniform",
    ),
    "roller_inertia": Uncertain(
        "inertia of the rollers", "take it from the drawings", (("roller", "inertia"),), 10.0
    ),
    "roller_drag": Uncertain(
        "friction of the rollers",
        "let each roller run down and take the time",
        (("roller", "drag"),),
        50.0,
        "uniform",
    ),
    "full_torque": Uncertain(
        "torque of the device", "hang a known weight on a lever", (_TORQUE,), 10.0
    ),
    "residual_torque": Uncertain(
        "residual torque of the device",
        "turn the roll by hand at 0 % output, with a spring balance",
        (_RESIDUAL,),
        30.0,
    ),
    "breakaway": Uncertain(
        "fall of the brake's friction with speed",
        "watch the tension at crawl in manual",
        (("torque_device", "breakaway_ratio"),),
        30.0,
        "normal",
        _above_one,
        1.0,
    ),
    "lag": Uncertain("lag of the device", _STEPS, (("torque_device", "lag"),), 30.0),
    "dead_time": Uncertain(
        "dead time of the device",
        _STEPS,
        (("torque_device", "dead_time"),),
        30.0,
        "normal",
        _dead_time,
        math.nan,
    ),
    "filter_time": Uncertain(
        "filter of the load cell",
        "read it off the amplifier",
        (("load_cell", "filter_time"),),
        10.0,
    ),
    "span_length": Uncertain(
        "length of the spans", "measure the web path", (("span", "length"),), 3.0
    ),
    "sensor_gain": Uncertain(
        "gain of the load cell",
        "calibrate it with a known weight on a rope along the web path",
        (("load_cell", "gain_error"),),
        2.0,
        "normal",
        _gain_error,
        math.nan,
    ),
    "line_speed": Uncertain("line speed", "measure it", (("run", "line_speed"),), 0.0),
    "crawl_speed": Uncertain("crawl speed", "measure it", (("run", "crawl_speed"),), 0.0),
}


@dataclass(frozen=True)
class Tolerance:
    """By how much one number of a machine may be off.

    Attributes:
        name: one of `UNCERTAIN`.
        percent: the value may be off by so much either way [%].
        distribution: "normal", of which ± `percent` is two standard deviations, or "uniform".

    Raises:
        ValueError: no such name or distribution, or a percentage out of range.
    """

    name: str
    percent: float
    distribution: Distribution = "normal"

    def __post_init__(self) -> None:
        if self.name not in UNCERTAIN:
            raise ValueError(f"name {self.name!r}: must be one of {', '.join(UNCERTAIN)}")
        if not 0.0 <= self.percent <= MOST_PERCENT:
            raise ValueError(
                f"{self.name} = {self.percent:g} %: must lie between 0 % and {MOST_PERCENT:g} %"
            )
        if self.distribution not in get_args(Distribution):
            raise ValueError(f"distribution {self.distribution!r}: must be normal or uniform")

    @property
    def words(self) -> str:
        """What it is, for people."""
        return UNCERTAIN[self.name].words

    def deviation(self, level: float) -> float:
        """Return how far off a machine is, as a share of the value [-].

        Args:
            level: share of all machines that lie below this one, above 0 and below 1 [-].
        """
        if self.distribution == "uniform":
            return 0.01 * self.percent * (2.0 * level - 1.0)
        beyond = ndtr(-LAST_SIGMA)
        sigmas = float(ndtri(beyond + level * (1.0 - 2.0 * beyond)))
        return 0.01 * self.percent * sigmas / SIGMAS


DEFAULT_TOLERANCES: tuple[Tolerance, ...] = tuple(
    Tolerance(name, it.percent, it.distribution) for name, it in UNCERTAIN.items() if it.percent
)


def tolerances_from(given: Mapping[str, float | str]) -> tuple[Tolerance, ...]:
    """Return the default tolerances with some of them replaced.

    Args:
        given: name and tolerance in per cent, as a number or as text such as "15 %"; 0 takes a
            number as known [%].

    Raises:
        ValueError: says for each fault the name, the value and what is allowed.
    """
    usual = {one.name: one for one in DEFAULT_TOLERANCES}
    faults = []
    for name, value in given.items():
        try:
            percent = parse_quantity(value, "%") if isinstance(value, str) else float(value)
            like = UNCERTAIN[name].distribution if name in UNCERTAIN else "normal"
            usual[name] = Tolerance(name, percent, like)
        except (ValueError, TypeError) as error:
            allowed = f"must be one of {', '.join(UNCERTAIN)}"
            if name in UNCERTAIN:
                allowed = str(error).rpartition(": ")[2]
            faults.append(str(Fault("tolerances", name, str(value), allowed)))
    if faults:
        raise ValueError("\n".join(faults))
    return tuple(usual[name] for name in UNCERTAIN if name in usual and usual[name].percent > 0.0)


def varied(scenario: Scenario, tolerances: tuple[Tolerance, ...]) -> tuple[Tolerance, ...]:
    """Return those tolerances that change this machine: no friction, nothing to vary.

    Args:
        scenario: the machine.
        tolerances: to choose from.
    """
    return tuple(one for one in tolerances if one.percent > 0.0 and _places(scenario, one.name))


def drawn_machine(
    scenario: Scenario, tolerances: tuple[Tolerance, ...], *, seed: int, index: int
) -> tuple[Scenario, Array, int]:
    """Return one machine within the tolerances, its deviations, and how often it was drawn anew.

    The same machine for the same seed and index, whatever else is drawn. Shape of the deviations:
    one for each tolerance, shares of the values [-].

    Args:
        scenario: the machine as it is thought to be.
        tolerances: that change this machine, see `varied`.
        seed: of the whole study [-].
        index: of this machine in it [-].

    Raises:
        ValueError: the tolerances leave hardly a machine that a scenario allows.
    """
    generator = np.random.default_rng([seed, index])
    refused = ""
    for redrawn in range(MOST_DRAWS):
        levels = generator.random(len(tolerances))
        deviations = np.array(
            [one.deviation(float(level)) for one, level in zip(tolerances, levels, strict=True)]
        )
        try:
            return machine_with(scenario, tolerances, deviations), deviations, redrawn
        except ValidationError as error:
            refused = error.errors()[0]["msg"].removeprefix("Value error, ")
    raise ValueError(
        f"tolerances: {MOST_DRAWS} draws in a row are no machine that a scenario allows; make them "
        f"smaller. The last one: {refused}"
    )


def machine_with(
    scenario: Scenario, tolerances: tuple[Tolerance, ...], deviations: Array
) -> Scenario:
    """Return the machine with its uncertain numbers off by so much.

    Args:
        scenario: the machine as it is thought to be.
        tolerances: what is off.
        deviations: by how much, as shares of the values, shape (tolerances,) [-].

    Raises:
        ValueError: a scenario refuses this machine.
    """
    changes: dict[str, dict[str, Any]] = {}
    sections: dict[str, Any] = {}
    for one, deviation in zip(tolerances, deviations.tolist(), strict=True):
        move = UNCERTAIN[one.name].move
        for section, attribute in _places(scenario, one.name):
            if section in TABLES:
                tables = sections.get(section, getattr(scenario, section))
                sections[section] = tuple(
                    replace(t, **{attribute: move(scenario, getattr(t, attribute), deviation)})
                    for t in tables
                )
            else:
                value = getattr(getattr(scenario, section), attribute)
                changes.setdefault(section, {})[attribute] = move(scenario, value, deviation)
    for section, values in changes.items():
        sections[section] = replace(getattr(scenario, section), **values)
    return replace(scenario, **sections)


def _places(scenario: Scenario, name: str) -> tuple[Key, ...]:
    """Return where in this scenario a number stands that there is something to vary of."""
    it = UNCERTAIN[name]
    keys = it.keys
    motor = isinstance(scenario.torque_device, TorqueMotor)
    if motor and name in ("full_torque", "residual_torque"):
        # One torque constant makes a motor's torque at both ends of the output.
        keys = (_TORQUE, _RESIDUAL) if name == "full_torque" else ()
    if name == "density" and scenario.zone == "pull roll":
        keys = ()  # no web is wound there
    found = []
    for section, attribute in keys:
        part = getattr(scenario, section)
        values = [getattr(t, attribute, it.zero) for t in (part if section in TABLES else (part,))]
        known = all(hasattr(t, attribute) for t in (part if section in TABLES else (part,)))
        if known and any(value != it.zero for value in values):
            found.append((section, attribute))
    return tuple(found)
