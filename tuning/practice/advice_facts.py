"""What was really done in a practice run: the facts on which the rules of advice stand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulator import OperatingPoint, Scenario, Trend, linearise, operating_point
from simulator.machine import diameter_range, torque_per_percent, web_leaves_roll
from simulator.machine import roll_inertia as inertia_of
from simulator.plan import Action, What
from simulator.units import sensible
from tuning.practice.drill import Drill, Start
from tuning.practice.drills import DRILLS
from tuning.practice.goal import SHAKES, averaged
from tuning.practice.measures import TOLERANCE, Measures, Switch
from tuning.practice.session import Practice

Array = NDArray[np.float64]

# Pushes in one direction that follow each other so closely are one move, of this length at most
# [s].
ONE_MOVE, LONGEST_MOVE = 1.0, 3.0
# Excursions to both sides that follow each other within this are one ringing [s] …
RINGS_WITHIN = 4.0
# … if there are so many of them [-].
LEAST_SWINGS = 4
# After a move the tension is at rest within this, however slow the machine [s].
LONGEST_WAIT = 15.0
# What a change of line speed throws up has died out after this, and a first pull after this [s].
AFTER_RAMP, AFTER_PULL = 3.0, 10.0


@dataclass(frozen=True)
class Move:
    """One move of the output by hand, however many pushes it took.

    Attributes:
        at: its start [s].
        until: its last push [s].
        was: output before [%].
        to: output after [%].
    """

    at: float
    until: float
    was: float
    to: float


@dataclass(frozen=True)
class Ramp:
    """One change of the line speed.

    Attributes:
        at: its start [s].
        until: its end [s].
        was: speed before [m/s].
        to: speed after [m/s].
    """

    at: float
    until: float
    was: float
    to: float


@dataclass(frozen=True, eq=False)
class Seen:
    """A run and what there is to see in it; whatever costs something is worked out when asked for.

    Attributes:
        practice: the run.
        run: its trend at every scan.
        m: its measures.
        ideal: measures of the ideal run.
    """

    practice: Practice
    run: Trend
    m: Measures
    ideal: Measures

    @property
    def start(self) -> Start:
        """Of the drill."""
        return self.practice.start

    @property
    def scenario(self) -> Scenario:
        """The machine, with what drill and traps changed about it."""
        return self.practice.start.scenario

    @property
    def drill(self) -> Drill:
        """That it was."""
        return DRILLS[self.practice.setup.drill]

    @property
    def wanted(self) -> float:
        """Tension on the job card [N]."""
        return self.practice.start.wanted

    @property
    def unwinds(self) -> bool:
        """Whether the web leaves the roll."""
        return web_leaves_roll(self.scenario)

    @property
    def device(self) -> str:
        """What makes the torque, in short: "brake", "clutch", "motor"."""
        return self.scenario.torque_device.kind.split()[-1]

    @cached_property
    def mean(self) -> Array:
        """True tension averaged over a second, shape (n,) [N]."""
        return averaged(self.run.time, self.run.web_tension)

    @cached_property
    def off(self) -> Array:
        """True tension over the wanted one, shape (n,) [share of wanted, -]."""
        return self.run.web_tension / self.wanted - 1.0

    @property
    def loose(self) -> float:
        """Farther off than this is more than the machine's own shake [share of wanted, -]."""
        return TOLERANCE + SHAKES * self.start.shake

    @cached_property
    def moves(self) -> tuple[Move, ...]:
        """What was done to the output while the controller was in manual."""
        found: list[Move] = []
        for action in self.done("output"):
            i = self.index(action.at)
            if self.run.automatic[i] > 0.5 or action.at > self.run.time[-1]:
                continue
            was = float(self.run.output[max(i - 1, 0)])
            to = float(self.run.output[i])
            if to == was:
                continue
            last = found[-1] if found else None
            close = last is not None and (
                action.at - last.until <= ONE_MOVE and action.at - last.at <= LONGEST_MOVE
            )
            if last and close and (to - was) * (last.to - last.was) > 0.0:
                found[-1] = Move(last.at, action.at, last.was, to)
            else:
                found.append(Move(action.at, action.at, was, to))
        return tuple(found)

    @cached_property
    def ramps(self) -> tuple[Ramp, ...]:
        """Changes of line speed."""
        v, time = self.run.line_speed, self.run.time
        moving = np.concatenate([[False], np.abs(np.diff(v)) > 1e-9, [False]])
        edges = np.flatnonzero(np.diff(moving))
        return tuple(
            Ramp(float(time[a]), float(time[b]), float(v[a]), float(v[b]))
            for a, b in edges.reshape(-1, 2)
        )

    @cached_property
    def ringing(self) -> tuple[tuple[float, float], ...]:
        """Stretches in automatic in which the tension swung far out, as `swings` says."""
        return self.swings(self.loose)

    def swings(self, limit: float) -> tuple[tuple[float, float], ...]:
        """Return stretches in automatic in which the tension swung to both sides again and again.

        Args:
            limit: beyond which a swing counts [share of wanted, -].
        """
        out = np.flatnonzero(
            (np.abs(self.off) > limit)
            & (self.run.automatic > 0.5)
            & (self.run.time >= self.start.judged_from)
            & self.settled
        )
        if out.size == 0:
            return ()
        side = np.sign(self.off[out])
        first = np.concatenate([[0], np.flatnonzero(np.diff(side)) + 1])
        begin = self.run.time[out[first]]
        end = self.run.time[out[np.append(first[1:] - 1, out.size - 1)]]
        cuts = np.flatnonzero(begin[1:] - end[:-1] > RINGS_WITHIN) + 1
        found = []
        for a, b in zip([0, *cuts], [*cuts, begin.size], strict=True):
            if b - a >= LEAST_SWINGS:
                found.append((float(begin[a]), float(end[b - 1])))
        return tuple(found)

    @cached_property
    def settled(self) -> NDArray[np.bool_]:
        """Whether a swing would be the loop's own, shape (n,): web whole and taut, steady line."""
        time = self.run.time
        calm: NDArray[np.bool_] = (self.run.line_speed > 0.0) & np.all(
            self.run.span_tension > 0.0, axis=1
        )
        for ramp in self.ramps:
            after = AFTER_PULL if ramp.was == 0.0 else AFTER_RAMP
            calm &= (time < ramp.at) | (time > ramp.until + after)
        for at, until in self.broken:
            calm &= (time < at) | (time > until + AFTER_RAMP)
        return calm

    @cached_property
    def broken(self) -> tuple[tuple[float, float], ...]:
        """From when to when the web was broken [s]; threaded only at rest, inf if never."""
        planned = [a.at for a in self.start.plan if a.what == "web break"]
        stood = [a.at for a in self.done("thread") if self.run.line_speed[self.index(a.at)] <= 0.0]
        return tuple(
            (at, min((t for t in stood if t > at), default=math.inf))
            for at in (*planned, self.broke_at)
            if at <= self.run.time[-1]
        )

    @property
    def broke_at(self) -> float:
        """When the web broke that should not have [s]; nan if it did not."""
        return float(self.practice.running.happened[0])

    @cached_property
    def slack_at(self) -> float:
        """When the web first went slack, unbroken [s]; nan if never."""
        slack = np.any(self.run.span_tension <= 0.0, axis=1)
        for at in (self.broke_at, *(a.at for a in self.start.plan if a.what == "web break")):
            threaded = [a.at for a in self.done("thread") if a.at > at]
            slack &= ~(self.run.time >= at) | (self.run.time > min(threaded, default=math.inf))
        first = np.flatnonzero(slack)
        return float(self.run.time[first[0]]) if first.size else math.nan

    def done(self, *what: What) -> list[Action]:
        """Return what the trainee did of some kinds, in order.

        Args:
            what: kinds of action.
        """
        return [a for a in self.practice.done if a.what in what]

    def index(self, at: float) -> int:
        """Return the sample at which something takes effect.

        Args:
            at: time of it [s].
        """
        scan = self.scenario.controller.scan_time
        i = int(np.searchsorted(self.run.time, at - 1e-6 * scan))
        return min(i, self.run.time.size - 1)

    def tension(self, at: float) -> float:
        """Return the true tension over the last second [N].

        Args:
            at: time [s].
        """
        return float(self.mean[self.index(at)])

    def point(self, at: float) -> OperatingPoint:
        """Return the steady state at the wanted tension, at diameter and speed of a time.

        Args:
            at: time [s].
        """
        i = self.index(at)
        low, high = diameter_range(self.scenario)
        return operating_point(
            self.scenario,
            diameter=min(max(float(self.run.diameter[i]), low), high),
            line_speed=max(float(self.run.line_speed[i]), self.scenario.run.crawl_speed),
            tension=self.wanted,
        )

    def settles_in(self, at: float) -> float:
        """Return how long the tension needs after a move, dead times and slowest motion [s].

        Args:
            at: time [s].
        """
        point = self.point(at)
        plant = linearise(self.scenario, diameter=point.diameter, line_speed=point.line_speed)
        slowest = 3.0 * plant.slowest_time
        return min(plant.dead_time + slowest, LONGEST_WAIT)

    def for_ramp(self, ramp: Ramp) -> float:
        """Return the output that J a/R of a ramp is worth [%], up or down.

        Args:
            ramp: of the line speed.
        """
        D = float(self.run.diameter[self.index(ramp.at)])
        rate = (ramp.to - ramp.was) / (ramp.until - ramp.at)
        torque = inertia_of(self.scenario, D) * rate / (0.5 * D)
        sign = -1.0 if self.unwinds else 1.0
        return sign * torque / torque_per_percent(self.scenario)

    def helped(self, ramp: Ramp) -> str:
        """Return in words from where to where the output goes for J a/R of a ramp [%].

        Args:
            ramp: of the line speed.
        """
        c, holds = self.scenario.controller, self.point(ramp.at).output
        to = min(max(holds + self.for_ramp(ramp), c.output_low), c.output_high)
        return f"from {rounded(holds)} to about {rounded(to)} %"

    def setting(self, what: What, at: float) -> float:
        """Return a setting of the controller at a time: Kc, Ti [s] or tracking (1 or 0).

        Args:
            what: which.
            at: time [s].
        """
        c = self.scenario.controller
        now = {"Kc": c.Kc or 0.0, "Ti": c.Ti or math.inf, "tracking": float(c.tracking)}[what]
        return next((a.value for a in reversed(self.done(what)) if a.at <= at), now)

    def calmed(self, at: float) -> bool:
        """Return whether the gain has been lowered plainly by a time: Kc, or Kc/Ti through Ti.

        Args:
            at: time [s].
        """
        c = self.scenario.controller
        gain = self.setting("Kc", at) / (c.Kc or 1.0)
        slower = self.setting("Ti", at) / (c.Ti or math.inf) if c.Ti else 1.0
        return gain < 0.95 or slower > 1.05

    def zero_off(self, at: float) -> float:
        """Return by how much the load cells read too high at a time [N].

        Args:
            at: time [s].
        """
        zero = self.scenario.load_cell.zero_error
        return next((a.value for a in reversed(self.done("zero error")) if a.at <= at), zero)

    def worst_switch(self) -> Switch | None:
        """Return the hand-over with the largest bump."""
        return max(self.m.switches, key=lambda s: s.bump_percent, default=None)


def newtons(value: float, digits: int = 3) -> str:
    """Return a force without its sign, for a sentence.

    Args:
        value: [N].
        digits: significant digits [-].
    """
    return f"{rounded(value, digits)} N"


def rounded(value: float, digits: int = 2) -> str:
    """Return a number without its sign and without trailing zeros that say nothing.

    Args:
        value: in whatever unit follows [any].
        digits: significant digits [-].
    """
    return f"{float(sensible(abs(value), digits)):.10g}"


def side(value: float, above: str = "above", below: str = "below") -> str:
    """Return the word for a departure.

    Args:
        value: the departure [any].
        above: the word if it is positive.
        below: the word if it is negative.
    """
    return above if value > 0.0 else below
