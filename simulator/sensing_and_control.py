"""The load cells and the digital controller as a scenario describes them."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic.dataclasses import dataclass

from simulator.quantity import SETTINGS, Flag, Quantity

MOST_SCHEDULED = 50


def is_square(sensing_angle: float, bisector_angle: float) -> bool:
    """Return whether cells would feel next to nothing of the web.

    Args:
        sensing_angle: direction that they measure [rad].
        bisector_angle: direction of the web's resultant [rad].
    """
    return abs(math.cos(sensing_angle - bisector_angle)) < 0.05


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
    zero_error: Annotated[
        float, Quantity("N", -1e6, 1e6, "reading at no tension, where the zero is off")
    ] = 0.0
    zero_drift: Annotated[
        float, Quantity("N/s", -1e3, 1e3, "how fast the zero wanders, in tension")
    ] = 0.0
    gain_error: Annotated[
        float, Quantity("%", -90.0, 200.0, "how much too high the reading is, of the tension")
    ] = 0.0
    resolution: Annotated[
        float, Quantity("N", 0.0, 1e5, "smallest step of the reading, in tension")
    ] = 0.0

    @model_validator(mode="after")
    def _axes(self) -> LoadCell:
        if is_square(self.sensing_angle, self.bisector_angle):
            raise ValueError(
                "sensing_angle must not be square to bisector_angle: the cells would feel nothing"
            )
        return self


@dataclass(frozen=True, config=SETTINGS)
class DataSheet:
    """Each load cell by its data sheet, and the amplifier and converter behind the cells.

    What has a default is common practice, no source: 2 mV/V, 10 V and 150 % are what most foil
    strain-gauge cells have.
    """

    sensitivity: Annotated[
        float,
        Quantity("mV/V", 0.0, 1e3, "signal at rated load, a volt of excitation", above=True),
    ] = 2.0
    excitation: Annotated[
        float, Quantity("V", 0.0, 100.0, "voltage that feeds the cells", above=True)
    ] = 10.0
    overload: Annotated[
        float, Quantity("%", 100.0, 10_000.0, "load that a cell bears unharmed, of its rating")
    ] = 150.0
    side_load: (
        Annotated[
            float, Quantity("%", 0.0, 10_000.0, "load across its axis that a cell bears, of rating")
        ]
        | None
    ) = None
    deflection: (
        Annotated[
            float, Quantity("m", 0.0, 0.05, "how far a cell gives at its rated load", above=True)
        ]
        | None
    ) = None
    combined_error: (
        Annotated[
            float, Quantity("%", 0.0, 20.0, "bent line, hysteresis and repetition, of the rating")
        ]
        | None
    ) = None
    zero_temperature: (
        Annotated[float, Quantity("%/K", 0.0, 10.0, "how far heat moves the zero, of the rating")]
        | None
    ) = None
    amplifier_noise: Annotated[
        float, Quantity("V", 0.0, 1.0, "noise of the amplifier at its input, rms")
    ] = 0.0
    bits: Annotated[int, Field(strict=True, ge=6, le=32)] = 16


@dataclass(frozen=True, config=SETTINGS)
class ScheduledGains:
    """The gains at one diameter of a gain schedule; straight lines between the diameters."""

    diameter: Annotated[float, Quantity("m", 0.005, 10.0, "diameter of the roll")]
    Kc: Annotated[float, Quantity("", 0.0, 1e6, "gain, % of output per % of range")]
    Ti: Annotated[float, Quantity("s", 0.0, 1e6, "reset time", above=True)]
    Td: Annotated[float, Quantity("s", 0.0, 1e4, "derivative time")] = 0.0


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
    setpoint_rate: (
        Annotated[
            float, Quantity("%/s", 0.0, 1e6, "fastest change of setpoint, of the range", above=True)
        ]
        | None
    ) = None
    deadband: Annotated[
        float, Quantity("%", 0.0, 50.0, "error up to which it does nothing, of the range")
    ] = 0.0
    inertia_compensation: Annotated[
        float,
        Quantity("%", 0.0, 200.0, "share of the roll's inertia torque that it adds in a ramp"),
    ] = 0.0
    taper: Annotated[
        float, Quantity("%", 0.0, 95.0, "fall of the setpoint as a wound roll grows")
    ] = 0.0
    taper_shape: Literal["linear", "hyperbolic"] = "linear"
    break_level: (
        Annotated[
            float,
            Quantity("%", 0.0, 90.0, "reading that means a web break, of the range", above=True),
        ]
        | None
    ) = None
    break_delay: Annotated[
        float, Quantity("s", 0.0, 60.0, "how long the reading must be below break_level")
    ] = 0.0
    break_output: (
        Annotated[
            float,
            Quantity("%", 0.0, 100.0, "output after a web break; not given, the last is held"),
        ]
        | None
    ) = None
    tracking: Flag = True
    setpoint_follows: Flag = False
    anti_windup: Flag = True
    schedule: tuple[ScheduledGains, ...] = ()

    @model_validator(mode="after")
    def _limits(self) -> Controller:
        if self.output_low >= self.output_high:
            raise ValueError(f"output_low must be below output_high {self.output_high:g} %")
        if self.break_output is not None and self.break_level is None:
            raise ValueError("break_level is needed where break_output is given")
        if len(self.schedule) == 1 or len(self.schedule) > MOST_SCHEDULED:
            raise ValueError(f"schedule must be 2 to {MOST_SCHEDULED} tables, or left out")
        diameters = [point.diameter for point in self.schedule]
        if sorted(set(diameters), reverse=True) != diameters:
            raise ValueError("schedule must go from the full roll to the core")
        return self
