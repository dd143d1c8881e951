"""What makes the torque: brakes, clutch and motor as a scenario describes them."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import model_validator
from pydantic.dataclasses import dataclass

from simulator.quantity import SETTINGS, Quantity


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
class _SlippingDevice(_TorqueDevice):
    """A device that makes its torque by slipping, and so gets hot."""

    thermal_time: (
        Annotated[float, Quantity("s", 1.0, 1e6, "time constant in which it warms and cools")]
        | None
    ) = None
    continuous_rise: (
        Annotated[
            float,
            Quantity("K", 0.0, 2e3, "temperature rise at continuous_heat for long", above=True),
        ]
        | None
    ) = None

    @model_validator(mode="after")
    def _heat(self) -> _SlippingDevice:
        warms = self.thermal_time is not None or self.continuous_rise is not None
        for key in ("thermal_time", "continuous_rise", "continuous_heat"):
            if warms and getattr(self, key) is None:
                raise ValueError(
                    f"{key} is needed: thermal_time and continuous_rise go together, and with "
                    "continuous_heat"
                )
        return self


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class FrictionBrake(_SlippingDevice):
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
    sticking: Annotated[
        float, Quantity("%", 0.0, 50.0, "change of output below which its supply sticks")
    ] = 0.0

    @model_validator(mode="after")
    def _stribeck(self) -> FrictionBrake:
        if self.breakaway_ratio > 1.0 and self.stribeck_speed is None:
            raise ValueError("stribeck_speed is needed where breakaway_ratio is above 1")
        return self


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class ParticleBrake(_SlippingDevice):
    """A particle brake: only resists; its torque does not depend on slip."""

    kind: Literal["particle brake"] = "particle brake"


@dataclass(frozen=True, config=SETTINGS, kw_only=True)
class Clutch(_SlippingDevice):
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
    rotor_inertia: Annotated[
        float,
        Quantity("kg m^2", 0.0, 1e4, "inertia of its rotor; the roll feels gear_ratio² of it"),
    ] = 0.0
    gear_friction: Annotated[
        float, Quantity("N m", 0.0, 1e4, "dry friction of motor and gear, at the motor")
    ] = 0.0


TorqueDevice = FrictionBrake | ParticleBrake | Clutch | TorqueMotor
DEVICES: dict[str, type] = {device.kind: device for device in get_args(TorqueDevice)}
