"""The same switch to automatic under all conditions side by side, each judged.

Integral tracking or not, setpoint following or not, tension steady, or the output just changed, or
the line changing speed; at each named diameter, at running and at crawl speed. Where the setpoint
does not follow it stands a tenth above the steady reading, as when nobody has set it. The output
just changed is a step that takes the tension just there, or as far below where there is no room;
the line goes from running to crawl speed, or back, at its usual rate. A moving tension is switched
at its worst: where the reading moves fastest. Without tracking the integral term stands at 0.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulator import Scenario
from simulator.machine import named_diameters
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.handover import Handover, switch
from tuning.handover_judged import (
    OUTPUT_CHANGED,
    SPEED_CHANGES,
    STEADY,
    Condition,
    Judged,
    Moves,
    Verdict,
    judge,
    judge_place,
)
from tuning.handover_movement import Movement, Unrest, unrest
from tuning.handover_place import SwitchPlace, switch_place

# Setpoint that does not follow, above the steady reading [share of running tension, -].
SETPOINT_GAP = 0.1
# What the step of the output is worth [share of the tension, -].
OUTPUT_STEP = 0.1
# Tracking first, then whether the setpoint follows: from good to bad.
SETTINGS = ((True, True), (True, False), (False, True), (False, False))


@dataclass(frozen=True)
class JudgedSwitch:
    """One switch of the study.

    Attributes:
        name: of the diameter.
        diameter: of the roll [m].
        at_speed: "running" or "crawl".
        line_speed: at the start [m/s].
        condition: how the controller is set, and what the tension does.
        judged: the verdict, with its reason.
        tension_bump: see `Handover` [% of running tension]; nan where it was not tried.
        output_bump: see `Handover` [%]; nan where it was not tried.
        settling: see `Handover` [s]; nan where it does not settle or was not tried.
        gap: from the tension to where the setpoint takes it, or, where the setpoint was caught on
            its way, to where it was bound [% of running tension]; nan where it was not tried.
    """

    name: str
    diameter: float
    at_speed: str
    line_speed: float
    condition: Condition
    judged: Judged
    tension_bump: float = float("nan")
    output_bump: float = float("nan")
    settling: float = float("nan")
    gap: float = float("nan")


@dataclass(frozen=True)
class ConditionStudy:
    """All conditions side by side.

    Attributes:
        switches: row by row: each diameter at running and at crawl speed, in each row every
            movement with every setting.
        moves: the movements that were tried, in that order.
        setpoint_gap: setpoint above the steady reading where it does not follow [share of running
            tension, -].
    """

    switches: tuple[JudgedSwitch, ...]
    moves: tuple[Moves, ...]
    setpoint_gap: float

    @property
    def rows(self) -> tuple[tuple[JudgedSwitch, ...], ...]:
        """The switches of each diameter and speed."""
        wide = len(self.moves) * len(SETTINGS)
        return tuple(self.switches[i : i + wide] for i in range(0, len(self.switches), wide))

    def of(
        self, *, moves: Moves, tracking: bool | None = None, setpoint_follows: bool | None = None
    ) -> tuple[JudgedSwitch, ...]:
        """Return the switches under some settings at all diameters and speeds.

        Args:
            moves: what the tension does.
            tracking: whether the integral term tracks [-]; both if left out.
            setpoint_follows: whether the setpoint follows [-]; both if left out.
        """
        return tuple(
            one
            for one in self.switches
            if one.condition.moves == moves
            and tracking in (None, one.condition.tracking)
            and setpoint_follows in (None, one.condition.setpoint_follows)
        )

    def count(self, verdict: Verdict) -> int:
        """Return how many switches have a verdict."""
        return sum(one.judged.verdict == verdict for one in self.switches)


def handover_conditions(
    scenario: Scenario, gains: Gains | None, *, setpoint_gap: float = SETPOINT_GAP
) -> ConditionStudy:
    """Switch under all conditions and judge each.

    Args:
        scenario: the machine.
        gains: to switch on; None for those in the scenario, which may follow the diameter.
        setpoint_gap: setpoint above the steady reading where it does not follow [share of running
            tension, -].

    Raises:
        ValueError: the gap is out of range, or the scenario has no gains.
    """
    run = scenario.run
    speeds = {"running": run.line_speed, "crawl": run.crawl_speed}
    moves: tuple[Moves, ...] = (STEADY, OUTPUT_CHANGED, SPEED_CHANGES)
    if run.crawl_speed == run.line_speed:
        del speeds["crawl"]
        moves = moves[:-1]
    switches: list[JudgedSwitch] = []
    for name, D in named_diameters(scenario).items():
        used = gains_as_set(scenario, D) if gains is None else gains
        for at_speed, v in speeds.items():
            place = switch_place(scenario, used, diameter=D, line_speed=v)
            known = judge_place(place)
            for moving in moves:
                if known is not None:
                    switches += [
                        JudgedSwitch(name, D, at_speed, v, condition, known)
                        for condition in _conditions(moving)
                    ]
                    continue
                for condition, h in same_switch(place, moving, setpoint_gap=setpoint_gap):
                    caught = condition.setpoint_follows and moving != STEADY
                    switches.append(
                        JudgedSwitch(
                            name, D, at_speed, v, condition, judge(h, place, condition),
                            h.tension_bump, h.output_bump, h.settling,
                            h.caught if caught else h.walk,
                        )
                    )  # fmt: skip
    return ConditionStudy(tuple(switches), moves, setpoint_gap)


def same_switch(
    place: SwitchPlace, moves: Moves, *, setpoint_gap: float = SETPOINT_GAP
) -> tuple[tuple[Condition, Handover], ...]:
    """Return the same switch with every setting of the controller.

    Args:
        place: the machine with its gains at a diameter and a speed.
        moves: what the tension does.
        setpoint_gap: setpoint above the steady reading where it does not follow [share of running
            tension, -].

    Raises:
        ValueError: the gap is out of range.
    """
    moved = moved_at(place, moves)
    return tuple(
        (
            one,
            switch(
                place,
                setpoint_offset=setpoint_gap,
                tracking=one.tracking,
                setpoint_follows=one.setpoint_follows,
                moved=moved,
            ),
        )
        for one in _conditions(moves)
    )


def _conditions(moves: Moves) -> tuple[Condition, ...]:
    return tuple(Condition(tracking, follows, moves) for tracking, follows in SETTINGS)


def moved_at(place: SwitchPlace, moves: Moves, *, noise: bool = False) -> Unrest | None:
    """Return what moves the tension here, to be switched at its worst; None where it is steady.

    Args:
        place: the machine with its gains at a diameter and a speed.
        moves: what the tension does.
        noise: whether the reading has its noise, and the roll is out of round [-].
    """
    if moves == STEADY:
        return None
    run, c = place.scenario.run, place.scenario.controller
    if moves == OUTPUT_CHANGED:
        step = OUTPUT_STEP * place.point.tension / place.point.tension_per_percent
        if step > c.output_high - place.output:
            step = -min(step, place.output - c.output_low)
        movement = Movement(output_step=step)
    else:
        speeds_up = place.line_speed < run.line_speed
        target = run.line_speed if speeds_up else run.crawl_speed
        slows = run.deceleration_time or run.acceleration_time
        whole = run.acceleration_time if speeds_up else slows
        share = abs(target - place.line_speed) / run.line_speed
        movement = Movement(line_speed=target, over=share * whole)
    return unrest(
        place.scenario,
        movement,
        diameter=place.diameter,
        line_speed=place.line_speed,
        output=place.output,
        lasts=place.watched,
        worst=True,
        noise=noise,
        runout=noise,
    )
