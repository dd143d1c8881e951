"""What a machine is: the scenario, its sections and their limits.

Attribute names are the keys of the file, values are SI floats (per cent stays per cent). One
definition serves both uses: read from a file, a quantity must be text with a unit; built in Python,
`Web(width=1.0, …)` or `dataclasses.replace(web, width=1.2)`, it is a float in SI.
"""

from __future__ import annotations

import math
from dataclasses import field
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator
from pydantic.dataclasses import dataclass

from simulator.quantity import SETTINGS, Flag, Quantity, Text
from simulator.scenario_checks import contradictions, doubts
from simulator.sensing_and_control import Controller, DataSheet, LoadCell
from simulator.torque_devices import TorqueDevice
from simulator.units import readable

# Wrap of the web on a roller: with the web's friction it says when the web slips there.
Wrap = Annotated[
    float, Quantity("rad", math.radians(1), math.radians(350), "wrap of the web on this roller")
]


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
    roller_friction: (
        Annotated[
            float, Quantity("", 0.0, 3.0, "coefficient of friction on the rollers", above=True)
        ]
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
    deceleration_time: (
        Annotated[
            float,
            Quantity("s", 0.01, 7200.0, "usual stop; as acceleration_time where it is not given"),
        ]
        | None
    ) = None
    ramp_rounding: Annotated[
        float, Quantity("s", 0.0, 600.0, "time over which the corners of a speed ramp are rounded")
    ] = 0.0
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
    wrap_angle: Wrap | None = None


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
    runout: Annotated[float, Quantity("m", 0.0, 0.001, "radial out-of-round")] = 0.0
    wrap_angle: Wrap | None = None


@dataclass(frozen=True, config=SETTINGS)
class Nip:
    """The pair of rollers that runs at line speed."""

    diameter: Annotated[float, Quantity("m", 0.005, 5.0, "diameter of the driven roller")]
    runout: Annotated[float, Quantity("m", 0.0, 0.001, "radial out-of-round")] = 0.0


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
    nip: Nip | None = None
    data_sheet: DataSheet | None = None
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
    def cell_roller(self) -> Roller:
        """The roller on load cells."""
        return next(roller for roller in self.roller if roller.load_cell)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is possible but doubtful about this machine."""
        return doubts(self)
