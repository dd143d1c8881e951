"""Hands on a practice run: what a scripted operator, good or bad, works with."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from simulator import operating_point, run_kernel
from simulator.machine import roll_inertia as inertia_of
from simulator.machine import torque_per_percent, web_leaves_roll
from simulator.plan import What
from simulator.torque_devices import TorqueMotor
from tuning.practice.drill import Goal
from tuning.practice.drills import DRILLS
from tuning.practice.session import Practice, acted, advanced, begin_practice, zeroed
from tuning.practice.setup import Setup
from tuning.practice.view import held_now

# What brakes a roll that has lost its web, above the output without torque [%].
BRAKING = 40.0

Operator = Callable[["Hands"], Iterator[float]]


class Hands:
    """One operator at one machine; an operator acts through it, and yields how long it waits.

    Attributes:
        practice: the run so far.
    """

    def __init__(self, practice: Practice) -> None:
        self.practice = practice

    @property
    def time(self) -> float:
        """Since the start of the run [s]."""
        return self.practice.time

    @property
    def wanted(self) -> float:
        """Tension on the job card [N]."""
        return self.practice.start.wanted

    @property
    def diameter(self) -> float:
        """Of the roll now [m]."""
        return float(self.practice.window[-1, run_kernel.DIAMETER])

    @property
    def rim_speed(self) -> float:
        """Of the roll at its rim now [m/s]."""
        omega = float(self.practice.running.state[self.practice.running.machine.length.size])
        return 0.5 * self.diameter * omega

    @property
    def goal(self) -> Goal:
        """What must hold at the end."""
        return DRILLS[self.practice.setup.drill].goal

    @property
    def held(self) -> float:
        """For how long the goal has held, by the reading [s]."""
        return held_now(self.practice, self.goal).time

    @property
    def reading(self) -> float:
        """Of the load cells at the last sample [N]."""
        return float(self.practice.window[-1, run_kernel.READING])

    @property
    def line_speed(self) -> float:
        """At the nip now [m/s]."""
        return self.practice.running.line_speed

    @property
    def output(self) -> float:
        """Of the controller at the last sample [%]."""
        return float(self.practice.window[-1, run_kernel.OUTPUT])

    def mean_reading(self, seconds: float) -> float:
        """Return the mean reading of the last seconds [N].

        Args:
            seconds: to look back [s].
        """
        return self._mean(run_kernel.READING, seconds)

    def mean_tension(self, seconds: float) -> float:
        """Return the mean true tension of the last seconds [N], which no real operator sees.

        Args:
            seconds: to look back [s].
        """
        return self._mean(run_kernel.WEB_TENSION, seconds)

    def _mean(self, column: int, seconds: float) -> float:
        window = self.practice.window
        recent = window[:, run_kernel.TIME] >= self.time - seconds
        return float(window[recent, column].mean())

    def do(self, what: What, value: float = 0.0, over: float = 0.0) -> None:
        """Do one thing.

        Args:
            what: see `Action`.
            value: of it [any].
            over: time that a change of line speed takes [s].
        """
        self.practice = acted(self.practice, what, value, over)

    def zero(self) -> None:
        """Zero the load cells."""
        self.practice = zeroed(self.practice)

    def idle_output(self) -> float:
        """Return the output without torque, or as near to it as the device comes [%]."""
        scenario = self.practice.start.scenario
        device, c = scenario.torque_device, scenario.controller
        none = -100.0 * device.residual_torque / (device.full_torque - device.residual_torque)
        return min(max(none, c.output_low), c.output_high)

    def braking_output(self) -> float:
        """Return an output that brings a roll without web to rest [%]: not hard, but soon."""
        scenario = self.practice.start.scenario
        c = scenario.controller
        winds = isinstance(scenario.torque_device, TorqueMotor) and not web_leaves_roll(scenario)
        output = self.idle_output() + (-BRAKING if winds else BRAKING)
        return min(max(output, c.output_low), c.output_high)

    def holding_output(
        self,
        *,
        tension: float | None = None,
        line_speed: float | None = None,
        diameter: float | None = None,
        acceleration: float = 0.0,
    ) -> float:
        """Return the output that holds a tension, as someone who knows the machine would [%].

        Args:
            tension: of the web [N]; the wanted one if left out.
            line_speed: [m/s]; running speed if left out.
            diameter: of the roll [m]; as it is if left out.
            acceleration: of the line [m/s²]: J a/R on top.
        """
        scenario = self.practice.start.scenario
        D = self.diameter if diameter is None else diameter
        point = operating_point(
            scenario,
            diameter=D,
            line_speed=scenario.run.line_speed if line_speed is None else line_speed,
            tension=self.wanted if tension is None else tension,
        )
        torque = inertia_of(scenario, D) * acceleration / (0.5 * D)
        sign = -1.0 if web_leaves_roll(scenario) else 1.0
        output = point.output + sign * torque / torque_per_percent(scenario)
        c = scenario.controller
        return min(max(output, c.output_low), c.output_high)


def performed(setup: Setup, operator: Operator) -> Practice:
    """Return a whole practice run by a scripted operator.

    Args:
        setup: drill, machine, seed and traps.
        operator: who does it.

    Raises:
        PracticeError: as `begin_practice`.
    """
    hands = Hands(begin_practice(setup))
    scan_time = setup.scenario.controller.scan_time
    for seconds in operator(hands):
        hands.practice = advanced(hands.practice, max(round(seconds / scan_time), 1))
        if hands.practice.over:
            break
    return hands.practice
