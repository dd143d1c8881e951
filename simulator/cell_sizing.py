"""Has the load cell the range: the smallest rating that bears the work, and what a rating can tell.

A small cell is sensitive, a large one bears more: the best is the smallest that bears the work, and
what it tells of tension is then as good as it gets (`cell_duty` has the formulas). Shock factor and
the shares that warn are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from simulator.cell_duty import BARE, IN_WORK, JAM, RUNNING, CellDuty, LoadCase, RatingChoice
from simulator.cell_forces import forces_on
from simulator.data_sheet import assumed_sheet
from simulator.scenario import Scenario
from simulator.units import parse_quantity

# Sizes in steps of 1, 2, 5, which no maker owns; edit them for what can be had.
USUAL_STEPS = tuple(step * 10.0**power for power in range(1, 5) for step in (1.0, 2.0, 5.0))
# Common practice, no source.
SHOCK_FACTOR = 1.5
KNOCK_HEIGHT = 1e-3  # [m]
WARMER_BY = 20.0  # [K]
LEAST_WEB_SHARE = 0.05  # of the rating, at running tension
MOST_WEIGHT_SHARE = 0.5  # of the rating
FINEST_WANTED = 0.05  # smallest change that is seen, of the running tension
MOST_DRIFT = 0.02  # of the running tension
# At a third of its own frequency a body on a spring moves by 12 % too much, 1/(1 - 1/9), exact.
SLOW_ENOUGH = 1.0 / 3.0


@dataclass(frozen=True)
class Sizing:
    """What the cells of a machine must bear, and which rating does.

    Attributes:
        least_tension: lowest that is to be measured [N].
        highest_tension: highest that is to be measured [N].
        shock_factor: on the load in work [-].
        warmer_by: change of temperature that moves the zero [K].
        needed: smallest rating of a cell that bears the work [N].
        roller_rules: whether it is the bare roller that asks for it, and not the web [-].
        cases: events and what they put on a cell, with the rating as it is.
        chosen: the rating in the scenario.
        choices: other ratings, rising.
        recommended: smallest of them that bears the work [N]; None where none does.
        warnings: what a reader should know.
    """

    least_tension: float
    highest_tension: float
    shock_factor: float
    warmer_by: float
    needed: float
    roller_rules: bool
    cases: tuple[LoadCase, ...]
    chosen: RatingChoice
    choices: tuple[RatingChoice, ...]
    recommended: float | None
    warnings: tuple[str, ...]


def usual_ratings(one: float = 1.0) -> tuple[float, ...]:
    """Return usual sizes of load cells in steps of 1, 2, 5 [N].

    Args:
        one: of the unit in which they are round numbers [N].
    """
    return tuple(step * one for step in USUAL_STEPS)


def read_ratings(text: str) -> tuple[float, ...]:
    """Return the ratings in a list such as "100 N, 200 N, 0.5 kN", rising [N].

    Args:
        text: ratings with their units, between commas, semicolons or line breaks.

    Raises:
        ValueError: an entry is no force above 0; names every such entry.
    """
    found, faults = set(), []
    for entry in text.replace(";", ",").replace("\n", ",").split(","):
        if not entry.strip():
            continue
        try:
            rating = parse_quantity(entry, "N")
        except ValueError as error:
            faults.append(f"{entry.strip()[:40]!r} {error}")
            continue
        if 0.0 < rating <= 1e7:
            found.add(rating)
        else:
            faults.append(f"{entry.strip()[:40]!r} must be above 0 N and at most 10 MN")
    if not found and not faults:
        faults.append("the list of ratings is empty; write for instance 100 N, 200 N, 500 N")
    if faults:
        raise ValueError("; ".join(faults))
    return tuple(sorted(found))


def size_cells(
    scenario: Scenario,
    *,
    ratings: Sequence[float] | None = None,
    least_tension: float | None = None,
    highest_tension: float | None = None,
    shock_factor: float = SHOCK_FACTOR,
    web_off_middle: float = 0.0,
    knock_height: float = KNOCK_HEIGHT,
    warmer_by: float = WARMER_BY,
) -> Sizing:
    """Return what the cells of a machine must bear and which rating does.

    Args:
        scenario: the machine.
        ratings: that can be had, of each cell, shape (n,) [N]; the usual sizes if left out.
        least_tension: lowest that is to be measured [N]; running tension, tapered, if left out.
        highest_tension: highest that is to be measured [N]; the measured scale if left out.
        shock_factor: on the load in work [-], 1 to 10.
        web_off_middle: how far the web runs off the middle, of the distance between the ends of the
            roller [-], 0 to 0.5.
        knock_height: from which the roller may be let down onto its cells [m], 0 to 1.
        warmer_by: change of temperature that moves the zero [K], 0 to 300.

    Raises:
        ValueError: an argument is out of range; names all that are.
    """
    run = scenario.run
    least = run.tension * (1.0 - 0.01 * scenario.controller.taper)
    least = least if least_tension is None else least_tension
    highest = scenario.controller.tension_range if highest_tension is None else highest_tension
    running = f"{run.tension:.4g} N, the running tension"
    _check(
        (
            0.0 < least <= run.tension,
            f"lowest tension {least:.4g} N",
            f"above 0 N, up to {running}",
        ),
        (run.tension <= highest < 1e7, f"highest tension {highest:.4g} N", f"{running}, or more"),
        (1.0 <= shock_factor <= 10.0, f"shock factor {shock_factor:.4g}", "1 to 10"),
        (0.0 <= web_off_middle <= 0.5, f"web off the middle {web_off_middle:.4g}", "0 to 0.5"),
        (0.0 <= knock_height <= 1.0, f"knock height {knock_height:.4g} m", "0 to 1 m"),
        (0.0 <= warmer_by <= 300.0, f"change of temperature {warmer_by:.4g} K", "0 to 300 K"),
    )
    duty = CellDuty(scenario, least, highest, shock_factor, web_off_middle, knock_height, warmer_by)
    now = scenario.load_cell.rated_load
    choices = tuple(duty.choice(rating) for rating in sorted(ratings or usual_ratings()))
    chosen = duty.choice(now)
    cases = duty.cases(now)
    work = next(case for case in cases if case.name == IN_WORK)
    fitting = [choice.rated_load for choice in choices if choice.bears_work]
    return Sizing(
        least_tension=least,
        highest_tension=highest,
        shock_factor=shock_factor,
        warmer_by=warmer_by,
        needed=abs(work.load),
        roller_rules=work.load < 0.0,
        cases=cases,
        chosen=chosen,
        choices=choices,
        recommended=min(fitting, default=None),
        warnings=tuple(_warnings(duty, chosen, fitting)),
    )


def _check(*conditions: tuple[bool, str, str]) -> None:
    faults = [f"{what} must be {allowed}" for fine, what, allowed in conditions if not fine]
    if faults:
        raise ValueError("; ".join(faults))


def _warnings(duty: CellDuty, chosen: RatingChoice, fitting: list[float]) -> Iterator[str]:
    s, cell = duty.scenario, duty.scenario.load_cell
    running, rating = s.run.tension, chosen.rated_load
    cases = {case.name: case for case in duty.cases(rating)}
    smaller_do = min(fitting, default=rating) < 0.999 * rating
    yield from assumed_sheet(s)
    for name in chosen.too_much:
        case = cases[name]
        if name == IN_WORK:
            what = f"{duty.highest:.4g} N of tension, the roller's weight"
            if case.load < 0.0:
                what = "the bare roller's weight"
            yield (
                f"a load cell of {rating:.4g} N is too small: {what} and a shock factor of "
                f"{duty.shock_factor:g} load it with {abs(case.load):.4g} N"
            )
        elif IN_WORK not in chosen.too_much and name not in (BARE, RUNNING, JAM):
            yield (
                f"{name}: {abs(case.load):.0f} N on a cell, {100.0 * abs(case.load) / rating:.0f} "
                f"% of its rating and above the {100.0 * case.allowed:.0f} % that it bears; it "
                "needs stops that take the load, or to be larger"
            )
    if duty.highest > 1.001 * s.controller.tension_range:
        yield (
            f"the display ends at {s.controller.tension_range:.4g} N, below the highest tension of "
            f"{duty.highest:.4g} N"
        )
    if not fitting:
        yield "no rating in the list bears the work: add larger ones"
    if chosen.web_share < 100.0 * LEAST_WEB_SHARE:
        yield (
            f"the running tension uses {chosen.web_share:.2g} % of the cells' rating: the signal "
            "drowns in drift and noise; more wrap, a lighter roller"
            f"{' or smaller cells' if smaller_do else ''} would help"
        )
    weight = abs(forces_on(cell, 0.0).weight_load) / cell.cells
    if weight > MOST_WEIGHT_SHARE * rating:
        yield (
            f"the roller's weight alone takes {100.0 * weight / rating:.0f} % of the rating: a "
            "lighter roller, or cells that sense across the weight, leave more for the web"
        )
    if chosen.smallest_change > FINEST_WANTED * running:
        why = "noise" if chosen.smallest_change > chosen.step else "steps of the reading"
        yield (
            f"changes of tension below {chosen.smallest_change:.3g} N, "
            f"{100.0 * chosen.smallest_change / running:.2g} % of the running tension, are lost in "
            f"{why}"
        )
    if chosen.zero_by_heat > MOST_DRIFT * running:
        yield (
            f"{duty.warmer_by:.3g} °C more move the zero by {chosen.zero_by_heat:.3g} N, "
            f"{100.0 * chosen.zero_by_heat / running:.2g} % of the running tension: zero the cells "
            f"warm{', or take smaller ones' if smaller_do else ''}"
        )
    turns = s.run.line_speed / (math.pi * s.cell_roller.diameter)
    if turns > SLOW_ENOUGH * chosen.own_frequency:
        yield (
            f"the roller turns {turns:.3g} times a second at line speed and swings on its cells at "
            f"{chosen.own_frequency:.3g} Hz: what is out of balance shakes the reading; stiffer "
            "cells or a lighter roller keep the two apart by three"
        )
