"""Which way, which size, which weight, what reading: the study of a load cell in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.calibration import LEAST_OF_SCALE, LEAST_OF_TENSION, NOTHING, WEIGHT
from simulator.cell_geometry_words import direction_words
from simulator.load_cell_study import LoadCellStudy
from simulator.scenario import Scenario
from simulator.units import UnitSystem, sensible


@dataclass(frozen=True)
class Answer:
    """One question about a load cell, answered.

    Attributes:
        question: as people ask it.
        short: the answer in a few words.
        why: a sentence or two that say where it comes from.
    """

    question: str
    short: str
    why: str


def answers(study: LoadCellStudy, scenario: Scenario, units: UnitSystem) -> tuple[Answer, ...]:
    """Return the four answers that a load cell needs before it is bolted down.

    Args:
        study: of the machine.
        scenario: the machine.
        units: the reader's units.
    """
    return (
        _which_way(study, scenario, units),
        _which_size(study, scenario, units),
        _which_weight(study, units),
        _what_reading(study, units),
    )


def _which_way(study: LoadCellStudy, scenario: Scenario, units: UnitSystem) -> Answer:
    place, cell = study.placement, scenario.load_cell
    now = "The cells face that way."
    if math.degrees(place.off_axis) >= 0.5:
        now = (
            f"Now they face {math.degrees(place.off_axis):.0f}° off it and lose {place.lost:.2g} % "
            "of the pull."
        )
    return Answer(
        "Which way?",
        direction_words(place.best_angle),
        f"A web wrapped by {math.degrees(cell.wrap_angle):.4g}° pulls the roller that way with "
        f"{units.text(place.forces.resultant, 'tension')} at "
        f"{units.text(scenario.run.tension, 'tension')}. The other way round is as good where the "
        f"cells measure both ways. {now}",
    )


def _which_size(study: LoadCellStudy, scenario: Scenario, units: UnitSystem) -> Answer:
    sizing, cell = study.sizing, scenario.load_cell
    needed = units.text(sizing.needed, "tension")
    now = units.plain(cell.rated_load, "tension", digits=6)
    if sizing.recommended is None:
        short, why = f"above {needed}", "no rating in the list bears that"
    else:
        size = units.plain(sizing.recommended, "tension", digits=6)
        short, why = f"{size} each", f"{size} is the smallest in the list that bears it"
    what = (
        f"{units.text(sizing.highest_tension, 'tension')} of tension, the roller and a shock "
        f"factor of {sizing.shock_factor:g}"
    )
    if sizing.roller_rules:
        what = (
            "The bare roller, which the web relieves, and a shock factor of "
            f"{sizing.shock_factor:g}"
        )
    if not sizing.chosen.bears_work:
        verdict = f"The machine's {now} are too small"
    elif sizing.recommended is not None and cell.rated_load > 1.001 * sizing.recommended:
        verdict = f"The machine's {now} bear it, and tell less than a smaller cell would"
    else:
        verdict = f"The machine's {now} bear it"
    return Answer(
        "Which size?",
        short,
        f"{what} load a cell with up to {needed}: {why}. {verdict}; "
        f"running tension uses {sizing.chosen.web_share:.2g} % of the rating.",
    )


def _which_weight(study: LoadCellStudy, units: UnitSystem) -> Answer:
    plan = study.calibration
    if plan.mass == 0.0:
        return Answer("Which weight?", "none", "The roller alone loads the cells to their rating.")
    share = f"{100.0 * LEAST_OF_SCALE:.0f} % of the scale of {units.text(plan.scale, 'tension')}"
    if not plan.display:
        share = (
            f"{100.0 * LEAST_OF_TENSION:.0f} % of the highest running tension of "
            f"{units.text(plan.highest_tension, 'tension')}"
        )
    if plan.lifts:
        share = "so that the rope lifts the roller off its cells, as the web does"
    return Answer(
        "Which weight?",
        units.plain(plan.mass, "mass"),
        f"At least {units.text(plan.least_mass, 'mass')}, {share}, on a rope along the web's own "
        f"path; it pulls the roller with {units.text(plan.resultant, 'tension')}.",
    )


def _what_reading(study: LoadCellStudy, units: UnitSystem) -> Answer:
    plan = study.calibration
    if plan.mass == 0.0:
        return Answer("What reading?", "none", "No weight may be hung on these cells.")
    bare, loaded = plan.state(NOTHING), plan.state(WEIGHT)
    more = _millivolts(loaded.signal - bare.signal)
    signals = (
        f"the signal of a cell, or of cells in parallel, rises by {more}, from about "
        f"{_millivolts(bare.signal)}: a cell's own zero may be off that by some"
    )
    if not plan.display:
        return Answer(
            "What reading?",
            f"{more} more",
            f"{signals[:1].upper()}{signals[1:]}.",
        )
    return Answer(
        "What reading?",
        f"{units.text(plan.force, 'tension')} on the display",
        f"That is {loaded.reading_share:.3g} % of the scale, and 0 before and after; {signals}.",
    )


def _millivolts(signal: float) -> str:
    return f"{sensible(round(signal, 4))} mV"
