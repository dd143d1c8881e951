"""What a machine is: the scenario, its sections and their limits.

Attribute names are the keys of the file, values are SI floats (per cent stays per cent). One
definition serves both uses: read from a file, a quantity must be text with a unit; built in Python,
`Web(width=1.0, …)` or `dataclasses.replace(web, width=1.2)`, it is a float in SI.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import field
from typing import Annotated, Any, Literal, get_args, get_type_hints

from pydantic import ConfigDict, Discriminator, Field, Tag, ValidationInfo, model_validator
from pydantic.dataclasses import dataclass
from pydantic_core import CoreSchema, core_schema

from simulator.scenario_checks import contradictions, doubts
from simulator.units import examples, parse_quantity, readable

SETTINGS = ConfigDict(extra="forbid")
FROM_FILE = {"from_file": True}


@dataclasses.dataclass(frozen=True)
class Quantity:
    """A physical value: its SI unit, its limits and what it means, for validation and for forms.

    Attributes:
        unit: SI unit, "%" or "%/s" for what is in per cent, "" for a plain number.
        low: least value allowed [unit].
        high: largest value allowed [unit].
        meaning: one plain line.
        above: whether the value must be above `low`, not just equal to it.
    """

    unit: str
    low: float
    high: float
    meaning: str
    above: bool = False

    @property
    def allowed(self) -> str:
        """The limits in words."""
        low, high = readable(self.low, self.unit), readable(self.high, self.unit)
        if self.above:
            return f"must be above {low} and at most {high}"
        return f"must lie between {low} and {high}"

    def _read(self, value: Any, info: ValidationInfo) -> float:
        if isinstance(value, str) and self.unit:
            number = parse_quantity(value, self.unit)
        elif self.unit and info.context and info.context.get("from_file"):
            raise ValueError(f"must be text with a unit ({examples(self.unit)})")
        elif isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"must be a number{f' in {self.unit}' if self.unit else ''}")
        else:
            number = float(value) if abs(value) < 1e300 else math.inf
        low_enough = number > self.low if self.above else number >= self.low
        if not (low_enough and number <= self.high):
            raise ValueError(self.allowed)
        return number

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """Tell pydantic to read the value with `_read`."""
        return core_schema.with_info_plain_validator_function(self._read)


Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, Field(strict=True, max_length=500)]


@dataclass(frozen=True, config=SETTINGS)
class Web:
    """The web. Attributes carry their unit in the annotation; see `quantities`."""

    width: Annotated[float, Quantity("m", 0.001, 20.0, "width of the web")]
    thickness: Annotated[float, Quantity("m", 5e-7, 0.02, "thickness of the web")]
    modulus: Annotated[float, Quantity("Pa", 1e5, 1e12, "Young's modulus along the web")]
    density: Annotated[float, Quantity("kg/m^3", 1.0, 25_000.0, "density of the web")]
    material: Text = ""
    retardation_time: Annotated[
        float, Quantity("s", 0.0, 1.0, "viscosity over modulus: the web's own damping")
    ] = 0.0
    breaking_tension: (
        Annotated[float, Quantity("N", 0.0, 1e7, "tension at which the web breaks", above=True)]
        | None
    ) = None


@dataclass(frozen=True, config=SETTINGS)
class Run:
    """How the machine is run."""

    tension: Annotated[float, Quantity("N", 0.0, 1e6, "wanted running tension", above=True)]
    line_speed: Annotated[float, Quantity("m/s", 0.001, 60.0, "running speed of the line")]
    crawl_speed: Annotated[
        float, Quantity("m/s", 0.001, 60.0, "slowest speed at which automatic is used")
    ]
    acceleration_time: Annotated[
        float, Quantity("s", 0.01, 7200.0, "from standstill to running speed")
    ]
    stop_time: Annotated[float, Quantity("s", 0.01, 7200.0, "fast stop from running speed")]
    far_tension: Annotated[
        float,
        Quantity(
            "N",
            0.0,
            1e6,
            "wound-in tension (unwind), tension before the nip (rewind), "
            "tension on the roll's other side (pull roll)",
        ),
    ] = 0.0
    entry_tension: Annotated[
        float, Quantity("N", 0.0, 1e6, "tension before the nip, pull roll only")
    ] = 0.0


@dataclass(frozen=True, config=SETTINGS)
class WoundRoll:
    """A roll that is unwound or wound."""

    core_diameter: Annotated[float, Quantity("m", 0.005, 10.0, "outside diameter of the core")]
    full_diameter: Annotated[float, Quantity("m", 0.005, 10.0, "diameter of the full roll")]
    core_inertia: Annotated[
        float,
        Quantity("kg m^2", 1e-6, 1e5, "inertia of core, shaft, chucks and what turns with them"),
    ]
    bearing_drag: Annotated[float, Quantity("N m", 0.0, 1e4, "dry friction of the bearings")] = 0.0
    viscous_drag: Annotated[
        float, Quantity("N m s", 0.0, 100.0, "drag that grows with the roll's speed")
    ] = 0.0
    runout: Annotated[float, Quantity("m", 0.0, 0.05, "radial out-of-round")] = 0.0

    @model_validator(mode="after")
    def _sizes(self) -> WoundRoll:
        if self.core_diameter >= self.full_diameter:
            raise ValueError(
                f"core_diameter must be smaller than full_diameter "
                f"{readable(self.full_diameter, 'm')}"
            )
        if self.runout >= 0.25 * self.core_diameter:
            raise ValueError("runout must be below a quarter of core_diameter")
        return self


@dataclass(frozen=True, config=SETTINGS)
class PullRoll:
    """A driven roll of constant diameter."""

    diameter: Annotated[float, Quantity("m", 0.005, 10.0, "diameter of the pull roll")]
    inertia: Annotated[
        float, Quantity("kg m^2", 1e-6, 1e5, "inertia of the roll and what turns with it")
    ]
    bearing_drag: Annotated[float, Quantity("N m", 0.0, 1e4, "dry friction of the bearings")] = 0.0
    viscous_drag: Annotated[
        float, Quantity("N m s", 0.0, 100.0, "drag that grows with the roll's speed")
    ] = 0.0
    runout: Annotated[float, Quantity("m", 0.0, 0.001, "radial out-of-round")] = 0.0


@dataclass(frozen=True, config=SETTINGS)
class Span:
    """A free length of web between two rollers."""

    length: Annotated[float, Quantity("m", 0.02, 500.0, "free length of the span")]


@dataclass(frozen=True, config=SETTINGS)
class Roller:
    """An undriven roller between two spans."""

    diameter: Annotated[float, Quantity("m", 0.005, 5.0, "diameter of the roller")]
    inertia: Annotated[float, Quantity("kg m^2", 1e-7, 1e4, "inertia of the roller")]
    drag: Annotated[float, Quantity("N m", 0.0, 1e3, "dry friction of its bearings")] = 0.0
    load_cell: Flag = False


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class _TorqueDevice:
    """What all torque devices have in common."""

    full_torque: Annotated[float, Quantity("N m", 0.0, 1e6, "torque at 100 % output", above=True)]
    lag: Annotated[float, Quantity("s", 0.001, 60.0, "time constant of the torque")]
    dead_time: Annotated[float, Quantity("s", 0.0, 30.0, "dead time of the torque")] = 0.0
    residual_torque: Annotated[float, Quantity("N m", 0.0, 1e6, "torque at 0 % output")] = 0.0
    gear_ratio: Annotated[
        float, Quantity("", 0.01, 1000.0, "torque at the roll over torque of the device")
    ] = 1.0
    continuous_heat: (
        Annotated[float, Quantity("W", 0.0, 1e8, "power it bears for long", above=True)] | None
    ) = None

    @model_validator(mode="after")
    def _torques(self) -> _TorqueDevice:
        if self.residual_torque >= self.full_torque:
            raise ValueError(f"residual_torque must be below full_torque {self.full_torque:g} N m")
        return self


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class FrictionBrake(_TorqueDevice):
    """A friction brake: only resists; may stick and slip; its supply may have hysteresis."""

    kind: Literal["friction brake"] = "friction brake"
    breakaway_ratio: Annotated[
        float, Quantity("", 1.0, 5.0, "friction at rest over friction sliding fast")
    ] = 1.0
    stribeck_speed: (
        Annotated[
            float, Quantity("rad/s", 1e-4, 1e3, "speed of the brake at which friction has fallen")
        ]
        | None
    ) = None
    hysteresis: Annotated[float, Quantity("%", 0.0, 50.0, "play of its supply, full width")] = 0.0

    @model_validator(mode="after")
    def _stribeck(self) -> FrictionBrake:
        if self.breakaway_ratio > 1.0 and self.stribeck_speed is None:
            raise ValueError("stribeck_speed is needed where breakaway_ratio is above 1")
        return self


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class ParticleBrake(_TorqueDevice):
    """A particle brake: only resists; its torque does not depend on slip."""

    kind: Literal["particle brake"] = "particle brake"


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class Clutch(_TorqueDevice):
    """A slipping clutch: torque toward the roll while its driven side turns faster."""

    kind: Literal["clutch"] = "clutch"
    overdrive: Annotated[
        float,
        Quantity("", 1.0, 10.0, "speed of the driven side over that of the bare core", above=True),
    ] = 1.2


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class TorqueMotor(_TorqueDevice):
    """A torque motor: torque both ways; below zero it drives the roll the other way."""

    kind: Literal["torque motor"] = "torque motor"
    residual_torque: Annotated[float, Quantity("N m", -1e6, 1e6, "torque at 0 % output")] = 0.0


@dataclass(frozen=True, config=SETTINGS)
class LoadCell:
    """The load cells under one roller, and their signal."""

    wrap_angle: Annotated[
        float, Quantity("rad", math.radians(5), math.radians(350), "wrap of the web on its roller")
    ]
    bisector_angle: Annotated[
        float,
        Quantity(
            "rad",
            -2 * math.pi,
            2 * math.pi,
            "direction of the web's resultant: 0 deg to the right, 90 deg up",
        ),
    ]
    sensing_angle: Annotated[
        float, Quantity("rad", -2 * math.pi, 2 * math.pi, "direction that the cells measure")
    ]
    roller_mass: Annotated[float, Quantity("kg", 0.0, 1e5, "mass of the roller on the cells")]
    rated_load: Annotated[float, Quantity("N", 0.0, 1e7, "rated load of each cell", above=True)]
    filter_time: Annotated[float, Quantity("s", 0.001, 60.0, "time constant of the signal filter")]
    cells: Annotated[int, Field(strict=True, ge=1, le=4)] = 2
    dead_time: Annotated[float, Quantity("s", 0.0, 30.0, "dead time of the signal")] = 0.0
    noise: Annotated[float, Quantity("N", 0.0, 1e5, "noise of the reading in tension, rms")] = 0.0

    @model_validator(mode="after")
    def _axes(self) -> LoadCell:
        if abs(math.cos(self.sensing_angle - self.bisector_angle)) < 0.05:
            raise ValueError(
                "sensing_angle must not be square to bisector_angle: the cells would feel nothing"
            )
        return self


@dataclass(frozen=True, config=SETTINGS)
class Controller:
    """The digital controller, with its gains as found (optional)."""

    tension_range: Annotated[
        float, Quantity("N", 0.0, 1e7, "100 % of the measured scale", above=True)
    ]
    scan_time: Annotated[float, Quantity("s", 5e-4, 10.0, "time from one sample to the next")]
    output_low: Annotated[float, Quantity("%", 0.0, 100.0, "lowest output")] = 0.0
    output_high: Annotated[float, Quantity("%", 0.0, 100.0, "highest output")] = 100.0
    output_rate: (
        Annotated[float, Quantity("%/s", 0.0, 1e6, "fastest change of output", above=True)] | None
    ) = None
    Kc: (
        Annotated[float, Quantity("", 0.0, 1e6, "gain, % of output per % of range; as found")]
        | None
    ) = None
    Ti: (
        Annotated[float, Quantity("s", 0.0, 1e6, "reset time; without it no integral", above=True)]
        | None
    ) = None
    Td: Annotated[float, Quantity("s", 0.0, 1e4, "derivative time")] = 0.0
    filter_ratio: Annotated[
        float, Quantity("", 0.1, 1e6, "derivative time over its filter's time constant")
    ] = 10.0
    setpoint_weight: Annotated[
        float, Quantity("", 0.0, 2.0, "share of the setpoint in proportional action")
    ] = 1.0
    tracking: Flag = True
    setpoint_follows: Flag = False
    anti_windup: Flag = True

    @model_validator(mode="after")
    def _limits(self) -> Controller:
        if self.output_low >= self.output_high:
            raise ValueError(f"output_low must be below output_high {self.output_high:g} %")
        return self


TorqueDevice = FrictionBrake | ParticleBrake | Clutch | TorqueMotor
DEVICES: dict[str, type] = {device.kind: device for device in get_args(TorqueDevice)}
Zone = Literal["unwind", "rewind", "pull roll"]


def _roll_kind(value: Any) -> str:
    """A plain diameter makes a pull roll; any key of a core makes a roll that is wound."""
    if isinstance(value, dict):
        wound = {"core_diameter", "full_diameter", "core_inertia"} & value.keys()
        plain = {"diameter", "inertia"} & value.keys()
        return "pull roll" if plain and not wound else "wound roll"
    return "pull roll" if isinstance(value, PullRoll) else "wound roll"


@dataclass(frozen=True, config=SETTINGS)
class Scenario:
    """One machine and how it is run; spans and rollers are listed from the roll to the nip."""

    title: Annotated[str, Field(strict=True, min_length=1, max_length=500)]
    zone: Zone
    web: Web
    run: Run
    roll: Annotated[
        Annotated[WoundRoll, Tag("wound roll")] | Annotated[PullRoll, Tag("pull roll")],
        Discriminator(_roll_kind),
    ]
    span: tuple[Span, ...]
    roller: tuple[Roller, ...]
    torque_device: Annotated[TorqueDevice, Field(discriminator="kind")]
    load_cell: LoadCell
    controller: Controller
    note: Text = ""
    # The text that it was read from, comments and all; not part of what the machine is.
    source: str = field(default="", compare=False, repr=False)

    @model_validator(mode="after")
    def _fits_together(self) -> Scenario:
        problems = contradictions(self)
        if problems:
            raise ValueError("; ".join(f"{key} {allowed}" for key, allowed in problems))
        return self

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is possible but doubtful about this machine."""
        return doubts(self)


def quantities(section: type) -> dict[str, Quantity]:
    """Return the physical values of a section by key, with unit, limits and meaning."""
    found = {}
    for name, hint in get_type_hints(section, include_extras=True).items():
        options = (hint, *get_args(hint))
        for option in options:
            for extra in getattr(option, "__metadata__", ()):
                if isinstance(extra, Quantity):
                    found[name] = extra
    return found
