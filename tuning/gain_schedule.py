"""Gains that follow the diameter: few points, straight lines between them, safe in between too.

Best gains for each diameter alone are not yet a schedule: a controller goes from point to point on
straight lines of Kc, Ti and Td, and what is best at two diameters may break the limit between them.
So the reset times are chosen first, as near the best ones as a monotone row can be (isotonic
regression). Then the largest Kc is known in closed form at every diameter (`tuning.most_integral`),
and the Kc of the points follow from a linear program: most integral action over the roll, monotone,
and on or below the largest Kc at every diameter of a fine grid.

Points are added where the schedule falls most behind the best gains for that diameter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression, linprog

from simulator import Scenario
from tuning.gains import Gains
from tuning.loop_responses import loop_responses
from tuning.most_integral import GainSearch, Kind, Limits, most_integral
from tuning.plant_bank import plant_bank
from tuning.roll_grid import diameters_over, folding_diameters, speeds_over, worst_over_roll

Array = NDArray[np.float64]

# Diameters at which the best gains are looked for, and diameters at which a schedule is checked.
SOUGHT, CHECKED, SPEEDS = 9, 49, 4
MOST_POINTS = 6
# Of schedules as near to the best gains as this share, the one with fewest points is taken.
WORTH_POINTS = 1.05
# A schedule that nowhere recovers this much faster than fixed gains is not worth its trouble [-].
WORTH_IT = 1.5
# A schedule has at least this share of the fixed gains' integral action at every diameter.
FLOOR = 0.98
# What keeps the limit on the grid in closed form may pass it by a hair between its frequencies.
SHRINK, FASTER = 0.998, 1.2


@dataclass(frozen=True)
class ScheduleEntry:
    """Gains for one diameter.

    Attributes:
        diameter: of the roll [m].
        gains: at this diameter; between two entries on a straight line.
    """

    diameter: float
    gains: Gains


@dataclass(frozen=True)
class ScheduleGain:
    """What a schedule buys at one diameter, at line speed.

    Attributes:
        diameter: of the roll [m].
        iae_fixed: after a load step of 1 % of output, fixed gains [% of range, s per %].
        iae_scheduled: the same with the schedule [% of range, s per %].
    """

    diameter: float
    iae_fixed: float
    iae_scheduled: float

    @property
    def ratio(self) -> float:
        """How many times less a load leaves behind with the schedule [-]."""
        return self.iae_fixed / self.iae_scheduled


@dataclass(frozen=True)
class GainSchedule:
    """Gains that follow the diameter.

    Attributes:
        entries: from full roll to core; empty where the roll has one diameter.
        worst_Ms: of the scheduled gains over the roll, between the entries, too [-]; nan without
            entries.
        gained: against the fixed gains, from full roll to core.
    """

    entries: tuple[ScheduleEntry, ...] = ()
    worst_Ms: float = float("nan")
    gained: tuple[ScheduleGain, ...] = ()

    @property
    def best(self) -> ScheduleGain | None:
        """Where the schedule buys most; None without entries."""
        return max(self.gained, key=lambda at: at.ratio, default=None)

    @property
    def worth_it(self) -> bool:
        """Whether it recovers much faster than the fixed gains anywhere on the roll."""
        return self.best is not None and self.best.ratio >= WORTH_IT

    def gains_at(self, diameter: float) -> Gains:
        """Return the gains at any diameter, as a controller goes from entry to entry.

        Args:
            diameter: of the roll [m].
        """
        rising = self.entries[::-1]
        at = [entry.diameter for entry in rising]
        first = rising[0].gains

        def between(name: str) -> float:
            return float(np.interp(diameter, at, [getattr(e.gains, name) for e in rising]))

        return replace(first, Kc=between("Kc"), Ti=between("Ti"), Td=between("Td"))


def schedule_over_roll(
    scenario: Scenario, kind: Kind, fixed: Gains, *, limits: Limits
) -> GainSchedule:
    """Return gains that follow the diameter and keep the limits at and between their points.

    Args:
        scenario: the machine.
        kind: of controller, I, PI or PID.
        fixed: the one set of gains to compare with.
        limits: to keep at all speeds.
    """
    work = _Roll(scenario, kind, fixed, limits)
    if len(work.checked) == 1:
        return GainSchedule()
    at = [0, len(work.sought) - 1]
    tried = [work.fitted(at)]
    while len(at) < MOST_POINTS:
        behind = tried[-1][1]
        inner = [i for i in range(len(work.sought)) if i not in at]
        at = sorted([*at, max(inner, key=lambda i: behind[i])])
        tried.append(work.fitted(at))
    near = WORTH_POINTS * min(float(np.mean(behind)) for _, behind in tried)
    few = _fewest(work, at, near)
    entries, worst = work.safe(few)
    schedule = GainSchedule(entries, worst)
    return replace(schedule, gained=_gained(scenario, schedule, fixed))


def _fewest(work: _Roll, at: Sequence[int], near: float) -> tuple[ScheduleEntry, ...]:
    """Return a schedule with as few of some points as stay near enough to the best gains."""
    left = list(at)
    while len(left) > 2:
        without = {i: work.fitted([j for j in left if j != i])[1] for i in left[1:-1]}
        spare = min(without, key=lambda i: float(np.mean(without[i])))
        if np.mean(without[spare]) > near:
            break
        left.remove(spare)
    return work.fitted(left)[0]


@dataclass(frozen=True, eq=False)
class _Roll:
    """One machine and what is asked of it, with what all trial schedules share."""

    scenario: Scenario
    kind: Kind
    fixed: Gains
    limits: Limits

    @property
    def lead(self) -> float:
        """Td/Ti, the same at all points, so that Td is as monotone as Ti [-]."""
        return self.fixed.Td / self.fixed.Ti

    @cached_property
    def sought(self) -> Array:
        return np.array(diameters_over(self.scenario, SOUGHT))

    @cached_property
    def checked(self) -> Array:
        grid = {*diameters_over(self.scenario, CHECKED), *folding_diameters(self.scenario)}
        return np.array(sorted({*grid, *self.sought.tolist()}, reverse=True))

    @cached_property
    def best(self) -> list[Gains]:
        """The best gains at each sought diameter alone."""
        return [
            most_integral(search.bank, self.kind, self.limits, lead=self.lead)
            for search, D in zip(self.searches, self.checked, strict=True)
            if D in self.sought
        ]

    @cached_property
    def searches(self) -> list[GainSearch]:
        """Of each checked diameter."""
        speeds = speeds_over(self.scenario, SPEEDS)
        return [
            GainSearch(plant_bank(self.scenario, [(float(D), v) for v in speeds]), self.limits)
            for D in self.checked
        ]

    def fitted(self, at: Sequence[int]) -> tuple[tuple[ScheduleEntry, ...], Array]:
        """Return the best schedule with points at some sought diameters, and how many times the
        integral action of the best gains is above it at each sought diameter [-]."""
        knots = self.sought[list(at)]
        followed = _monotone(np.array([self.best[i].Ti for i in at]))
        held = np.full(len(at), self.fixed.Ti)
        made = [one for Ti in (followed, held) if (one := self._with(knots, Ti, floor=FLOOR))]
        if not made:
            # Where fixed gains can't be beaten everywhere, without that condition.
            made = [one for Ti in (followed, held) if (one := self._with(knots, Ti, floor=0.0))]
        return min(made, key=lambda one: float(np.mean(one[1])))

    def _with(
        self, knots: Array, Ti: Array, *, floor: float
    ) -> tuple[tuple[ScheduleEntry, ...], Array] | None:
        """Return the same for reset times given; None where it can't do as well as fixed gains."""
        share = self.lead
        weights, few = _interpolation(self.checked, knots), _interpolation(self.sought, knots)
        between = weights @ Ti
        most = np.array(
            [
                float(search.largest_Kc(np.array([here]), np.array([share * here]))[0])
                for search, here in zip(self.searches, between, strict=True)
            ]
        )
        worth = few / (few @ Ti * np.array([g.Ki for g in self.best]))[:, None]
        least = floor * self.fixed.Ki * between
        Kc = _largest_below(weights, most, np.minimum(least, most), worth.sum(axis=0))
        if Kc is None:
            return None
        entries = tuple(
            ScheduleEntry(
                float(D), replace(self.fixed, Kc=float(k), Ti=float(t), Td=share * float(t))
            )
            for D, k, t in zip(knots, Kc, Ti, strict=True)
        )
        return entries, 1.0 / (worth @ Kc)

    def safe(self, entries: tuple[ScheduleEntry, ...]) -> tuple[tuple[ScheduleEntry, ...], float]:
        """Return the entries, lowered until Ms is kept exactly, and the highest Ms that is left."""
        speeds = speeds_over(self.scenario, SPEEDS)
        bank = plant_bank(self.scenario, [(float(D), v) for D in self.checked for v in speeds])
        shrink = SHRINK
        while True:
            schedule = GainSchedule(entries)
            worst = worst_over_roll(
                self.scenario, schedule.gains_at, judged=bank, enough=self.limits.Ms
            ).Ms
            if worst <= self.limits.Ms:
                break
            entries = tuple(
                replace(e, gains=replace(e.gains, Kc=shrink * e.gains.Kc)) for e in entries
            )
            # Lower gains are always safe; far from the limit there is no need to go slowly.
            shrink **= FASTER
        return entries, worst


def _monotone(values: Array) -> Array:
    """Return the monotone row, rising or falling, that is nearest in ratio."""
    logs = np.log(values)
    rows = [isotonic_regression(logs, increasing=up).x for up in (True, False)]
    nearest = min(rows, key=lambda row: float(np.sum((row - logs) ** 2)))
    return np.asarray(np.exp(nearest))


def _interpolation(diameters: Array, knots: Array) -> Array:
    """Return the weights of the knots at each diameter, shape (d, knots); knots fall."""
    return np.column_stack(
        [np.interp(diameters, knots[::-1], row[::-1]) for row in np.eye(knots.size)]
    )


def _largest_below(weights: Array, most: Array, least: Array, worth: Array) -> Array | None:
    """Return the monotone Kc of the knots worth most with least <= weights @ Kc <= most."""
    steps, scale = np.diff(np.eye(weights.shape[1]), axis=0), most.max()
    found = []
    for direction in (1.0, -1.0):
        solved = linprog(
            -worth / worth.max(),
            A_ub=np.vstack([weights, -weights, direction * steps]),
            b_ub=np.concatenate([most, -least, np.zeros(len(steps))]) / scale,
        )
        if solved.status == 0:
            found.append(solved)
    if not found:
        return None
    return np.asarray(min(found, key=lambda one: float(one.fun)).x * scale)


def _gained(scenario: Scenario, schedule: GainSchedule, fixed: Gains) -> tuple[ScheduleGain, ...]:
    diameters = diameters_over(scenario, SOUGHT)
    bank = plant_bank(scenario, [(D, scenario.run.line_speed) for D in diameters])
    held = loop_responses(bank, fixed).load_iae
    follows = loop_responses(bank, [schedule.gains_at(D) for D in diameters]).load_iae
    return tuple(
        ScheduleGain(D, float(a), float(b))
        for D, a, b in zip(diameters, held, follows, strict=True)
    )
