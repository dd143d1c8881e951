"""What follows from a scenario by plain mechanics: roll build-up, inertia, the web's stiffness.

    J(R) = J_core + (pi/2) rho w (R^4 - Rc^4)
    length on a roll = pi (R^2 - Rc^2)/h

Also lays a machine out in the order in which the web flows, as the kernel wants it: a scenario
lists spans and rollers from the roll to the nip, and on a rewind the web runs the other way.
"""

from __future__ import annotations

import math

import numpy as np

from simulator import control_kernel, kernel
from simulator.cell_forces import rated_tension
from simulator.scenario import PullRoll, Scenario
from simulator.torque_devices import Clutch, FrictionBrake, TorqueMotor

# Limits of the live signal of a 4–20 mA transmitter, 3.8 and 20.5 mA, as shares of the range
# (NAMUR recommendation NE 43, from memory).
SIGNAL_LOW = (3.8 - 4.0) / 16.0
SIGNAL_HIGH = (20.5 - 4.0) / 16.0


def diameter_range(scenario: Scenario) -> tuple[float, float]:
    """Return the smallest and the largest diameter of the roll [m]; equal for a pull roll."""
    roll = scenario.roll
    if isinstance(roll, PullRoll):
        return roll.diameter, roll.diameter
    return roll.core_diameter, roll.full_diameter


def named_diameters(scenario: Scenario) -> dict[str, float]:
    """Return the diameters [m] that people speak of: full roll, half, core; or the one there is.

    Half is half the build-up: the mean of core and full diameter.
    """
    low, high = diameter_range(scenario)
    if low == high:
        return {"pull roll": low}
    return {"full roll": high, "half": 0.5 * (low + high), "core": low}


def roll_inertia(scenario: Scenario, diameter: float) -> float:
    """Return the moment of inertia of the roll and all that turns with it [kg m²].

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    roll, device = scenario.roll, scenario.torque_device
    rotor = device.rotor_inertia if isinstance(device, TorqueMotor) else 0.0
    reflected = device.gear_ratio**2 * rotor
    if isinstance(roll, PullRoll):
        return roll.inertia + reflected
    ring = (0.5 * diameter) ** 4 - (0.5 * roll.core_diameter) ** 4
    return roll.core_inertia + reflected + web_inertia_factor(scenario) * ring


def dry_friction(scenario: Scenario) -> float:
    """Return the dry friction [N m] at the roll: of its bearings, and of a motor with its gear."""
    device = scenario.torque_device
    gear = device.gear_ratio * device.gear_friction if isinstance(device, TorqueMotor) else 0.0
    return scenario.roll.bearing_drag + gear


def torque_per_percent(scenario: Scenario) -> float:
    """Return the torque at the roll that one per cent of output adds [N m/%]."""
    device = scenario.torque_device
    return device.gear_ratio * (device.full_torque - device.residual_torque) / 100.0


def taper_at(scenario: Scenario, diameter: float) -> float:
    """Return the share of the setpoint [-] that the taper leaves at a diameter; 1 without taper.

    With taper p, radius R, core Rc and full roll Rf, and r = R/Rc:

        linear       1 - p (r - 1)/(rf - 1)       falls by p from core to full roll
        hyperbolic   1 - p (r - 1)/r              falls by p on a roll without end

    (Lee, Kang, Kim & Shin, J. Mechanical Science and Technology 23, 2009, on taper tension; the two
    forms restated from memory. The hyperbolic one is also common practice, no source.)

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    return float(control_kernel.tapered(kernel_controller(scenario), 0.5 * diameter))


def running_tension(scenario: Scenario, diameter: float) -> float:
    """Return the tension [N] that is wanted at a diameter: the running tension, tapered.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    return scenario.run.tension * taper_at(scenario, diameter)


def web_inertia_factor(scenario: Scenario) -> float:
    """Return (pi/2) rho w [kg/m²]; times R⁴ - Rc⁴ it is the inertia of the wound web."""
    if isinstance(scenario.roll, PullRoll):
        return 0.0
    return 0.5 * math.pi * scenario.web.density * scenario.web.width


def web_on_roll(scenario: Scenario, diameter: float) -> float:
    """Return the length of web on the roll [m]; 0 for a pull roll.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    core = diameter_range(scenario)[0]
    return math.pi * (diameter**2 - core**2) / (4.0 * scenario.web.thickness)


def web_stiffness(scenario: Scenario) -> float:
    """Return A E of the web [N]: the tension that would double its length."""
    return scenario.web.width * scenario.web.thickness * scenario.web.modulus


def web_leaves_roll(scenario: Scenario) -> bool:
    """Return whether the roll is the upstream end of the zone (an unwind)."""
    return scenario.zone == "unwind"


def arriving_strain(scenario: Scenario) -> float:
    """Return the strain [-] of the web that enters the zone."""
    run = scenario.run
    tension = run.entry_tension if scenario.zone == "pull roll" else run.far_tension
    return tension / web_stiffness(scenario)


def tension_behind_roll(scenario: Scenario) -> float:
    """Return the tension [N] on the far side of a pull roll; a wound roll has none."""
    return scenario.run.far_tension if scenario.zone == "pull roll" else 0.0


def kernel_machine(
    scenario: Scenario, *, runout: bool = True, time_compression: float = 0.0
) -> kernel.Machine:
    """Return the machine as the kernel wants it, in the order of the web's flow.

    Args:
        scenario: the machine.
        runout: whether roll, rollers and nip are out of round as the scenario says, or true [-].
        time_compression: how much faster than life the roll builds up or down [-]; 0 holds the
            diameter where it is.
    """
    web, roll, device, nip = scenario.web, scenario.roll, scenario.torque_device, scenario.nip
    leaves = web_leaves_roll(scenario)
    spans = scenario.span if leaves else scenario.span[::-1]
    rollers = scenario.roller if leaves else scenario.roller[::-1]
    cell = next(i for i, roller in enumerate(rollers) if roller.load_cell) + 1
    low, high = diameter_range(scenario)
    kind = kernel.BRAKE
    breakaway, stribeck, hysteresis, sticking, overdrive = 1.0, 1.0, 0.0, 0.0, 1.0
    if isinstance(device, FrictionBrake):
        breakaway, hysteresis = device.breakaway_ratio, device.hysteresis
        sticking = device.sticking
        stribeck = device.stribeck_speed or 1.0
    elif isinstance(device, Clutch):
        kind, overdrive = kernel.CLUTCH, device.overdrive
    elif isinstance(device, TorqueMotor):
        kind = kernel.MOTOR
    line = np.ones((5, len(spans)))
    line[kernel.LENGTH] = [span.length for span in spans]
    for i, roller in enumerate(rollers):
        line[kernel.ROLLER_RADIUS, i] = 0.5 * roller.diameter
        line[kernel.ROLLER_INERTIA, i] = roller.inertia
        line[kernel.ROLLER_DRAG, i] = roller.drag
        line[kernel.ROLLER_RUNOUT, i] = roller.runout if runout else 0.0
    return kernel.Machine(
        roll_first=leaves,
        line=line,
        stiffness=web_stiffness(scenario),
        retardation=web.retardation_time,
        breaking_tension=math.inf if web.breaking_tension is None else web.breaking_tension,
        arriving_strain=arriving_strain(scenario),
        tension_behind_roll=tension_behind_roll(scenario),
        cell=cell,
        core_radius=0.5 * low,
        full_radius=0.5 * high,
        core_inertia=roll_inertia(scenario, low),
        web_inertia=web_inertia_factor(scenario),
        thickness=web.thickness,
        runout=roll.runout if runout else 0.0,
        nip_unevenness=2.0 * nip.runout / nip.diameter if nip and runout else 0.0,
        nip_radius=0.5 * nip.diameter if nip else 1.0,
        bearing_drag=dry_friction(scenario),
        viscous_drag=roll.viscous_drag,
        device=kind,
        gear=device.gear_ratio,
        residual_torque=device.residual_torque,
        full_torque=device.full_torque,
        lag=device.lag,
        breakaway=breakaway,
        stribeck_speed=stribeck,
        hysteresis=hysteresis,
        sticking=sticking,
        overdrive=overdrive,
        filter_time=scenario.load_cell.filter_time,
        ramp_rounding=scenario.run.ramp_rounding,
        time_compression=time_compression,
    )


def kernel_sensor(scenario: Scenario) -> control_kernel.Sensor:
    """Return what stands between filtered tension and reading, as the kernel wants it."""
    cell = scenario.load_cell
    low, high = signal_limits(scenario)
    return control_kernel.Sensor(
        zero=cell.zero_error,
        drift=cell.zero_drift,
        gain=1.0 + 0.01 * cell.gain_error,
        resolution=cell.resolution,
        low=low,
        high=high,
    )


def reading_of(scenario: Scenario, tension: float) -> float:
    """Return what the controller reads [N] at a steady tension: the load cell's errors included.

    Args:
        scenario: the machine.
        tension: of the web at the load cell [N].
    """
    zero = scenario.load_cell.zero_error
    return float(control_kernel.read(kernel_sensor(scenario), tension, zero, False))


def kernel_controller(scenario: Scenario) -> control_kernel.Controller:
    """Return the controller as the kernel wants it; gains that are not given count as 0."""
    c = scenario.controller
    low, high = diameter_range(scenario)
    # What speeds a roll up takes torque off a brake, and adds to what winds.
    helps = -1.0 if web_leaves_roll(scenario) else 1.0
    return control_kernel.Controller(
        tension_range=c.tension_range,
        scan_time=c.scan_time,
        Kc=c.Kc or 0.0,
        Ti=math.inf if c.Ti is None else c.Ti,
        Td=c.Td,
        schedule=np.array(
            [(0.5 * at.diameter, at.Kc, at.Ti, at.Td) for at in reversed(c.schedule)]
        ).reshape(-1, 4),
        filter_ratio=c.filter_ratio,
        setpoint_weight=c.setpoint_weight,
        deadband=c.deadband,
        output_low=c.output_low,
        output_high=c.output_high,
        output_rate=math.inf if c.output_rate is None else c.output_rate,
        setpoint_rate=math.inf if c.setpoint_rate is None else c.setpoint_rate,
        feed_per_torque=helps * 0.01 * c.inertia_compensation / torque_per_percent(scenario),
        taper=0.01 * c.taper,
        hyperbolic=c.taper_shape == "hyperbolic",
        core_radius=0.5 * low,
        full_radius=0.5 * high,
        break_level=-math.inf if c.break_level is None else c.break_level,
        break_delay=c.break_delay,
        break_output=math.nan if c.break_output is None else c.break_output,
        tracking=c.tracking,
        setpoint_follows=c.setpoint_follows,
        anti_windup=c.anti_windup,
    )


def signal_limits(scenario: Scenario) -> tuple[float, float]:
    """Return the lowest and the highest tension [N] that the reading can show.

    Two things end it: the live range of the transmitter's signal, and the rated load of the cells.
    """
    full_scale = scenario.controller.tension_range
    return SIGNAL_LOW * full_scale, min(SIGNAL_HIGH * full_scale, rated_tension(scenario.load_cell))
