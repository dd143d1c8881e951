"""What step tests say about a machine, in sentences: what is not seen, what is not told apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario
from simulator.machine import diameter_range
from simulator.scenario import PullRoll
from simulator.units import UnitSystem, format_quantity, readable
from tuning.machine_fit import FittedTest, Learned

Array = NDArray[np.float64]

# What the machine leaves unexplained matters from so many times the noise on.
UNEXPLAINED, EXPLAINED_POORLY = 2.0, 70.0
# Common practice, no source: a step this many times the scatter reads well enough.
CLEAR_STEP = 5.0
# A level that is off by this share of the tension is worth a word.
LEVEL_SHARE = 0.1
# A number learned this many times up or down is looked at twice.
FAR_OFF = 4.0

# SI units that a reader may want in others, and their kind.
_KINDS = {"N m": "torque", "kg m^2": "inertia"}
_INERTIA = {"web.density", "roll.core_inertia", "roll.inertia"}
_LAGS = {"torque_device.lag", "torque_device.dead_time", "load_cell.filter_time"}
_DAMPING = {"web.retardation_time", "roll.viscous_drag"}
_TORQUE = {"torque_device.full_torque", "roll.bearing_drag", "roll.viscous_drag"}


@dataclass(frozen=True)
class FitWords:
    """Sentences about a fit.

    Attributes:
        supposed: what its errors suppose.
        warnings: what a reader should know.
    """

    supposed: str
    warnings: tuple[str, ...]


def fit_words(
    scenario: Scenario,
    learned: tuple[Learned, ...],
    tests: tuple[FittedTest, ...],
    alike: tuple[tuple[str, ...], ...],
    correlation: Array,
    *,
    level_error: float,
    late: float,
) -> FitWords:
    """Return the sentences about a fit.

    Args:
        scenario: the machine as described.
        learned: the free numbers.
        tests: as fitted.
        alike: groups of names that are not told apart.
        correlation: between the free numbers, shape (p, p) [-].
        level_error: how far the levels were trusted [N]; inf where they were free.
        late: how long before a sample the output may have moved [s].
    """
    notes = [
        *(_unseen(p, level_error) for p in learned if not p.seen),
        *(_at_limit(p) for p in learned if p.at_limit),
        *(
            _not_told_apart(group, learned, correlation, scenario, tests=len(tests))
            for group in alike
        ),
        _interchangeable(learned),
        *(_far_off(p) for p in learned),
        *(_poor(i, test) for i, test in enumerate(tests, start=1)),
        *(_swings(i, test) for i, test in enumerate(tests, start=1)),
        *(_drift(i, test) for i, test in enumerate(tests, start=1)),
        *(_level(i, test, level_error) for i, test in enumerate(tests, start=1)),
        _late(late),
    ]
    return FitWords(_supposed(tests), tuple(note for note in notes if note))


def _supposed(tests: tuple[FittedTest, ...]) -> str:
    parts = [
        f"{test.residual:.2g} N rms, each correlated with the next by {test.correlation:.2f}"
        for test in tests
    ]
    return (
        "the errors suppose that what the machine leaves unexplained is scatter, alike throughout "
        f"a test ({'; '.join(parts)}); where it wanders slowly the errors are as much wider"
    )


def _unseen(p: Learned, level_error: float) -> str:
    value = readable(p.before, p.unit)
    text = f"{p.words} ({p.name}): not seen in this test, left at {value} as described"
    if p.name == "roll.bearing_drag" and math.isinf(level_error):
        return f"{text}; dry friction shows in the level only: say how far it can be trusted"
    other = {
        "roll.core_inertia": "a test near the core",
        "web.density": "a test at the full roll",
        "load_cell.filter_time": "a faster record or a larger step",
        "web.retardation_time": "a test at a stiffer or slower-running place, or a larger step",
        "roll.viscous_drag": "tests at two line speeds whose levels can be trusted",
        "roll.bearing_drag": "tests at two diameters whose levels can be trusted better",
    }.get(p.name, "a larger step or a faster record")
    return f"{text}; {other} would show it"


def _at_limit(p: Learned) -> str:
    end = readable(p.after, p.unit)
    if p.after == p.low and p.before >= p.after:
        reach = f"least searched, {end}; at most {readable(p.high, p.unit)} would fit as well"
    else:
        reach = f"most searched, {end}; at least {readable(p.low, p.unit)} would fit as well"
    return (
        f"{p.words} ({p.name}): the fit ends at the {reach}; if that can't be, something else in "
        "the description is wrong"
    )


def _not_told_apart(
    group: tuple[str, ...],
    learned: tuple[Learned, ...],
    correlation: Array,
    scenario: Scenario,
    *,
    tests: int,
) -> str:
    by_name = {p.name: (i, p) for i, p in enumerate(learned)}
    words = [by_name[name][1].words for name in group]
    listed = f"{', '.join(words[:-1])} and {words[-1]}"
    tail = ""
    if len(group) == 2:
        tail = f" (correlation {correlation[by_name[group[0]][0], by_name[group[1]][0]]:+.2f})"
    which = "this test" if tests == 1 else "these tests"
    return (
        f"{which} can't tell {listed} apart{tail}: take none of them by itself; "
        f"{_other_test(set(group), scenario)}"
    )


def _other_test(group: set[str], scenario: Scenario) -> str:
    """Return which other test, or other knowledge, would tell a group apart."""
    wound = not isinstance(scenario.roll, PullRoll)
    low, high = diameter_range(scenario)
    if group <= _LAGS:
        return (
            "they follow one another on the same way; a faster record and a larger step help, a "
            "filter time read off the transmitter helps more"
        )
    everything = {"web.modulus", "web.density", "roll.core_inertia"}
    if group <= everything and group != everything and wound:
        return (
            "they swing the roll together; tests at another diameter, from "
            f"{1e3 * high:.0f} mm to {1e3 * low:.0f} mm, tell them apart"
        )
    if group <= _INERTIA | {"web.modulus"}:
        return (
            "a step test sees hardly more than stiffness over inertia, at any diameter; take one "
            "from a data sheet, a drawing or the scale and leave it out of what is free"
        )
    if group & _DAMPING and group <= _DAMPING | {"web.modulus"} | _INERTIA:
        return "a test at another line speed or another diameter tells what damps the swing"
    if group <= _TORQUE:
        return "tests at another diameter whose levels can be trusted tell torque from friction"
    return "a test at another diameter or line speed, a faster record or a larger step may"


def _interchangeable(learned: tuple[Learned, ...]) -> str:
    names = {p.name for p in learned if p.seen}
    if not {"torque_device.lag", "load_cell.filter_time"} <= names:
        return ""
    return (
        "the reading is the same if the lag of the torque device and the filter of the load cell "
        "change places: this test can't say which is which; read the filter time off the "
        "transmitter and leave it out of what is free"
    )


def _far_off(p: Learned) -> str:
    if not p.seen or p.at_limit or p.before <= 0.0 or p.after <= 0.0:
        return ""
    if max(p.factor, 1.0 / p.factor) < FAR_OFF or not p.low > 0.0:
        return ""
    if p.low < p.before < p.high:
        return ""
    return (
        f"{p.words} ({p.name}) came out {p.factor:.2g} times what was described: check its unit, "
        "or what else in the description it may stand for"
    )


def _poor(number: int, test: FittedTest) -> str:
    moved = float(np.ptp(test.learned))
    if moved < CLEAR_STEP * test.residual:
        return (
            f"test {number}: the step moved the tension by only {moved / test.residual:.1f} times "
            f"what the machine leaves unexplained ({test.residual:.2g} N rms): step further or "
            "repeat the test before trusting any of this"
        )
    if test.fit_percent < EXPLAINED_POORLY and test.residual > UNEXPLAINED * test.noise:
        return (
            f"test {number}: the machine explains only {test.fit_percent:.0f} % of what the "
            "tension did: something else moved it, or the description lacks something"
        )
    if test.residual > UNEXPLAINED * test.noise:
        return (
            f"test {number}: what the machine leaves, {test.residual:.3g} N rms, is more than the "
            f"noise of the reading, {test.noise:.2g} N: something moves the tension that the "
            "description lacks; the errors allow for it only in part"
        )
    return ""


def _swings(number: int, test: FittedTest) -> str:
    if not math.isfinite(test.swing_frequency):
        return ""
    turning = test.line_speed / (math.pi * test.diameter)
    return (
        f"test {number}: the tension swings at {test.swing_frequency:.3g} Hz whether or not the "
        f"output steps, fitted beside the machine; the roll turns {turning:.3g} times a second"
    )


def _drift(number: int, test: FittedTest) -> str:
    if test.drift == 0.0:
        return ""
    return (
        f"test {number}: the reading drifts by {test.drift * float(test.time[-1]):+.2g} N over the "
        "test, fitted beside the machine: steady the machine, warm up brake and load cells"
    )


def _level(number: int, test: FittedTest, level_error: float) -> str:
    reading = float(np.mean(test.learned[:1]))
    if abs(test.level_offset) <= LEVEL_SHARE * abs(reading):
        return ""
    if math.isfinite(level_error) and abs(test.level_offset) <= 3.0 * level_error:
        return ""
    way = "above" if test.level_offset > 0.0 else "below"
    return (
        f"test {number}: the record stands {abs(test.level_offset):.3g} N {way} what the machine "
        "as learned makes of this output: friction, residual torque or the zero of the load cell "
        "differ from the description, and the manual output will be off by as much"
    )


def _late(late: float) -> str:
    if late <= 0.0:
        return ""
    return (
        "the record does not show when within a sample the output moved, up to "
        f"{format_quantity(late, 's', digits=2)} before: the errors allow for it; a faster record "
        "would tell the dead time better"
    )


def value_in_words(value: float, unit: str, units: UnitSystem) -> str:
    """Return a number of the machine with its unit, in the reader's units where those differ.

    Args:
        value: of the number, in the SI unit [any].
        unit: SI unit of the number [-].
        units: that the reader wants.
    """
    if unit in _KINDS:
        return units.text(value, _KINDS[unit])
    return readable(float(f"{value:.3g}"), unit)
