"""A machine at one diameter and speed with its gains, ready to be switched to automatic."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from simulator import OperatingPoint, Scenario, linearise, operating_point
from simulator.machine import diameter_range, reading_of, running_tension, taper_at
from tuning.gains import Gains
from tuning.margins import Margins, loop_margins

# A switch is watched for at least and at most so long [s].
SHORTEST_RUN, LONGEST_RUN = 12.0, 240.0


@dataclass(frozen=True)
class SwitchPlace:
    """A machine at one diameter and speed with its gains, ready to be switched.

    Attributes:
        scenario: the machine, with the gains in its controller.
        gains: to switch on.
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        point: what holds the tension in manual.
        margins: of the loop here.
    """

    scenario: Scenario
    gains: Gains
    diameter: float
    line_speed: float
    point: OperatingPoint
    margins: Margins

    @property
    def watched(self) -> float:
        """How long the machine is watched after the switch [s]."""
        slowest = self.margins.slowest_time
        settle = 8.0 * slowest if math.isfinite(slowest) else LONGEST_RUN / 4.0
        return min(max(settle, SHORTEST_RUN), LONGEST_RUN)

    @property
    def output(self) -> float:
        """Of the controller in manual, within its limits [%]."""
        c = self.scenario.controller
        return min(max(self.point.output, c.output_low), c.output_high)

    @property
    def reading(self) -> float:
        """Of the load cell at the running tension, before any taper [N]."""
        start = running_tension(self.scenario, self.diameter)
        read = reading_of(self.scenario, start) / taper_at(self.scenario, self.diameter)
        return max(read, 0.0)

    def with_settings(
        self, *, tracking: bool | None, setpoint_follows: bool | None, anti_windup: bool | None
    ) -> Scenario:
        """Return the machine with these settings of its controller; None keeps what it has."""
        c = self.scenario.controller
        return replace(
            self.scenario,
            controller=replace(
                c,
                tracking=c.tracking if tracking is None else tracking,
                setpoint_follows=c.setpoint_follows
                if setpoint_follows is None
                else setpoint_follows,
                anti_windup=c.anti_windup if anti_windup is None else anti_windup,
            ),
        )


def switch_place(
    scenario: Scenario,
    gains: Gains,
    *,
    diameter: float | None = None,
    line_speed: float | None = None,
) -> SwitchPlace:
    """Return a machine ready to be switched.

    Args:
        scenario: the machine.
        gains: to switch on.
        diameter: of the roll [m]; full roll if left out.
        line_speed: of the web [m/s]; running speed if left out.

    Raises:
        ValueError: an argument is out of range.
    """
    D = diameter_range(scenario)[1] if diameter is None else diameter
    v = scenario.run.line_speed if line_speed is None else line_speed
    plant = linearise(scenario, diameter=D, line_speed=v)
    return SwitchPlace(
        scenario=gains.set_in(scenario),
        gains=gains,
        diameter=D,
        line_speed=v,
        point=operating_point(scenario, diameter=D, line_speed=v),
        margins=loop_margins(plant, gains, scan_time=scenario.controller.scan_time),
    )


def first_output(
    scenario: Scenario, gains: Gains, *, setpoint: float, reading: float, integral: float
) -> float:
    """Return the output of the first scan in automatic, without tracking, on a steady machine [%].

    u1 = Kc (b r - y) + I, within the limits of the output; see the top of this module.

    Args:
        scenario: the machine with its controller.
        gains: of that controller.
        setpoint: at the switch, after any taper [N].
        reading: at the switch [N].
        integral: what the integral term stands at [%].
    """
    c = scenario.controller
    per_newton = 100.0 / c.tension_range
    u = gains.Kc * per_newton * (gains.setpoint_weight * setpoint - reading) + integral
    return min(max(u, c.output_low), c.output_high)
