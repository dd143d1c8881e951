"""What moves the tension while an operator switches: an output just changed, a line that speeds up.

In manual nothing holds the tension: after a step du of the output it goes off by K du, with K the
machine's tension per per cent, and a lightly damped roll swings about its new place. While the line
changes speed with a, the tension stands off by J a/R² (see `simulator.speed_change`). The switch is
worst where the reading moves fastest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from simulator import Action, Scenario, Trend, simulate

# Before anything is done the trend shows what the operator has in hand [s].
QUIET_TIME = 4.0
# The worst moment is looked for this long after the change [s].
SEARCHED = 10.0


@dataclass(frozen=True)
class Movement:
    """A change in manual, some time before the switch.

    Attributes:
        output_step: of the output [%].
        line_speed: to which the line goes [m/s]; None where it keeps its speed.
        over: time that the change of speed takes [s].
        before: from the change to the switch [s].

    Raises:
        ValueError: a value is out of range.
    """

    output_step: float = 0.0
    line_speed: float | None = None
    over: float = 0.0
    before: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.output_step) and abs(self.output_step) <= 100.0):
            raise ValueError(f"output_step {self.output_step} %: must lie between -100 and 100")
        for name, value in {"over": self.over, "before": self.before}.items():
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"{name} {value} s: must be 0 s or more")
        if self.line_speed is not None and not (
            math.isfinite(self.line_speed) and self.line_speed >= 0.0
        ):
            raise ValueError(f"line_speed {self.line_speed} m/s: must be 0 m/s or more")

    def actions(self, output: float) -> tuple[Action, ...]:
        """Return what is done in manual.

        Args:
            output: that stands before [%].
        """
        done = []
        if self.output_step:
            done.append(Action(QUIET_TIME, "output", output + self.output_step))
        if self.line_speed is not None:
            done.append(Action(QUIET_TIME, "line speed", self.line_speed, self.over))
        return tuple(done)


@dataclass(frozen=True, eq=False)
class Unrest:
    """A movement, and what the machine would do if nobody switched.

    Attributes:
        movement: what is changed, and how long before the switch.
        trend: the run that stays in manual.
    """

    movement: Movement
    trend: Trend


def unrest(
    scenario: Scenario,
    movement: Movement,
    *,
    diameter: float,
    line_speed: float,
    output: float,
    lasts: float,
    worst: bool = False,
    seed: int = 0,
    noise: bool = False,
    runout: bool = False,
) -> Unrest:
    """Run a machine in manual through a movement.

    Args:
        scenario: the machine.
        movement: what is changed.
        diameter: of the roll [m].
        line_speed: before the change [m/s].
        output: that holds the tension before it [%].
        lasts: how much time after the switch is wanted [s].
        worst: whether the switch is put where the reading moves fastest, instead of where the
            movement says [-].
        seed: of the noise [-].
        noise: whether the reading has its noise [-].
        runout: whether roll, rollers and nip are out of round [-].
    """
    within = SEARCHED if worst else movement.before
    trend = simulate(
        scenario,
        movement.actions(output),
        duration=QUIET_TIME + within + lasts,
        diameter=diameter,
        line_speed=line_speed,
        noise=noise,
        runout=runout,
        seed=seed,
    )
    if worst:
        looked = (trend.time[1:] > QUIET_TIME) & (trend.time[1:] <= QUIET_TIME + SEARCHED)
        moves = np.abs(np.diff(trend.tension))[looked]
        fastest = float(trend.time[1:][looked][int(np.argmax(moves))])
        movement = replace(movement, before=fastest - QUIET_TIME)
    return Unrest(movement, trend)
