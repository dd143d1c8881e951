"""Before going to the machine: which calibration weight, what it makes, and what to read.

A rope that follows the web's path over the load-cell roller, fixed at one end and with a mass m at
the other, pulls as a web of tension m g does, so the statics of `cell_forces` hold for it. Each
cell then answers with

    signal = sensitivity x excitation x load on the cell / rated load                    [mV]

Cells wired in parallel show the mean of their signals, an amplifier that adds them up the sum. A
rope at a share f of the distance between the cells off the middle loads the nearer of two with
1/2 + f of its part and the farther with 1/2 - f (lever law); mean and sum stay as they are.

What an axis off the resultant by d loses, 1 - cos(d), a weight on the web's path calibrates out; a
rope off that path sets the gain wrong (`rope_path`).

Standard gravity is used; `GRAVITY_NOTE` says what that leaves out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from simulator.cell_forces import (
    STANDARD_GRAVITY,
    balanced_tension,
    forces_on,
    off_axis,
    rated_tension,
)
from simulator.data_sheet import assumed_sheet, cell_signal, data_sheet
from simulator.rope_path import WARNED_ERROR, rope_advice
from simulator.scenario import Scenario
from simulator.sensing_and_control import DataSheet
from simulator.units import sensible

# Common practice, no source.
LEAST_OF_SCALE = 0.25
LEAST_OF_TENSION = 0.20
# So far beyond the tension that lifts the roller the weight must pull [-]; common practice.
BEYOND_LIFT = 1.2
# Mass that one person lifts under the best conditions, the load constant of the NIOSH lifting
# equation (Waters, Putz-Anderson, Garg & Fine, Ergonomics 36(7), 1993; from memory) [kg].
ONE_PERSON = 23.0

NOTHING = "nothing on the roller"
WEIGHT = "calibration weight"
DIFFERENCE = "weight less nothing"
RUNNING = "running tension"
FULL_SCALE = "full scale"

# By the normal gravity of the WGS 84 ellipsoid, see the test.
GRAVITY_NOTE = (
    "Weights count at standard gravity; where the machine stands they pull with up to 0.3 % more "
    "or less at sea level, and with 0.03 % less for each kilometre of height."
)


@dataclass(frozen=True)
class ExpectedReading:
    """What cells and display show in one state, if all is right.

    Attributes:
        name: of the state.
        tension: of web or rope [N].
        load: on all cells together, in the sense in which the web pulls [N].
        load_each: mean over the cells [N].
        signal: mean of the cells, which is what cells in parallel show [mV].
        signal_summed: of an amplifier that adds the cells up [mV].
        reading: of the display [N].
        reading_share: the same, of the measured scale [%].
    """

    name: str
    tension: float
    load: float
    load_each: float
    signal: float
    signal_summed: float
    reading: float
    reading_share: float


@dataclass(frozen=True)
class CalibrationPlan:
    """Which weight to hang, what it makes, and what to read.

    Attributes:
        display: whether a display of tension is set; else a bare amplifier.
        scale: 100 % of the measured scale [N].
        running: running tension [N].
        highest_tension: that runs [N].
        least_force: pull of the smallest weight that will do [N].
        lifts: whether that is what lifts the roller off its cells, and no share of the scale [-].
        least_mass: its mass [kg].
        most_force: pull of the largest weight that neither scale nor cells forbid [N].
        most_mass: its mass [kg].
        mass: of the weight to take [kg]; 0 where none may be hung.
        force: its pull, which is the tension of the rope [N].
        resultant: of the rope on the roller [N].
        rope_off_middle: how far the rope is off the middle, of the distance between the cells [-].
        nearer_load: on the cell nearer to the rope, with the roller's weight [N].
        farther_load: on the other one [N]; the same where there is only one.
        nearer_signal: of the nearer cell [mV].
        farther_signal: of the other [mV].
        expected: states and what they show, nothing on the roller first.
        axis_off: angle between the sensing axis and the resultant [rad].
        reads_low: how much too low all tensions read if nobody calibrates that out [%].
        side_share: of the resultant that pushes the cells sideways [%].
        rope_advice: how to lead the rope, and what a rope that hangs straight down would do.
        warnings: what a reader should know.
    """

    display: bool
    scale: float
    running: float
    highest_tension: float
    least_force: float
    lifts: bool
    least_mass: float
    most_force: float
    most_mass: float
    mass: float
    force: float
    resultant: float
    rope_off_middle: float
    nearer_load: float
    farther_load: float
    nearer_signal: float
    farther_signal: float
    expected: tuple[ExpectedReading, ...]
    axis_off: float
    reads_low: float
    side_share: float
    rope_advice: str
    warnings: tuple[str, ...]

    def state(self, name: str) -> ExpectedReading:
        """Return what is to be read in one state.

        Args:
            name: such as `WEIGHT`.
        """
        return next(row for row in self.expected if row.name == name)


def handy_mass(least: float, *, most: float = math.inf, unit: float = 1.0) -> float:
    """Return a mass that can be put together from usual weights, rounded up [kg].

    Steps get finer where rounding up would go beyond `most`; where the least itself does, it is the
    largest handy mass below `most`, 0 if there is none.

    Args:
        least: mass that is needed [kg], above 0.
        most: that is allowed [kg].
        unit: one of the reader's units of mass [kg].
    """
    x, top = least / unit, most / unit
    if top <= 0.0:
        return 0.0
    decade = 10.0 ** math.floor(math.log10(min(x, top)))
    if x > top:
        return round(math.floor(10.0 * top / decade) * 0.1 * decade, 12) * unit
    for step in (0.1 if x < 2.0 * decade else 0.5 if x < 5.0 * decade else 1.0, 0.1, 0.01):
        up = math.ceil(x / (step * decade) - 1e-9) * step * decade
        if up <= top:
            return round(up, 12) * unit
    return least


def most_pull(scenario: Scenario, *, rope_off_middle: float) -> float:
    """Return the pull of the largest weight that neither scale nor cells forbid [N].

    Args:
        scenario: the machine.
        rope_off_middle: how far the rope is off the middle, of the distance between the cells [-].
    """
    cell = scenario.load_cell
    if abs(forces_on(cell, 0.0).load) >= cell.rated_load * cell.cells:
        return 0.0
    # The nearer of several cells has (1 + 2 f) of its even part: the first to reach its rating.
    nearer = 1.0 + 2.0 * rope_off_middle if cell.cells > 1 else 1.0
    return min(scenario.controller.tension_range, rated_tension(cell) / nearer)


def calibration_plan(
    scenario: Scenario,
    *,
    display: bool = True,
    mass: float | None = None,
    highest_tension: float | None = None,
    rope_off_middle: float = 0.0,
    handy_unit: float = 1.0,
) -> CalibrationPlan:
    """Return which weight to hang, what it makes, and what to read.

    A display takes at least 25 % of its scale; a bare amplifier at least 20 % of the highest
    running tension (common practice, no source).

    Args:
        scenario: the machine.
        display: whether a display of tension is set; else a bare amplifier.
        mass: of the weight at hand [kg]; a handy one if left out.
        highest_tension: that runs [N]; the running tension if left out.
        rope_off_middle: how far the rope is off the middle, of the distance between the cells [-],
            0 to 0.5.
        handy_unit: one of the reader's units of mass [kg].

    Raises:
        ValueError: an argument is out of range.
    """
    cell, sheet = scenario.load_cell, data_sheet(scenario)
    scale, running = scenario.controller.tension_range, scenario.run.tension
    highest = running if highest_tension is None else highest_tension
    for fine, text in (
        (0.0 < highest < 1e7, f"highest_tension {highest:.4g} must be above 0 N, below 10 MN"),
        (mass is None or 0.0 < mass < 1e6, f"mass {mass} must be above 0 kg and below 1000 t"),
        (0.0 <= rope_off_middle <= 0.5, f"rope_off_middle {rope_off_middle:.4g} must be 0 to 0.5"),
        (0.0 < handy_unit < 1e3, f"handy_unit {handy_unit:.4g} must be above 0 kg, below 1 t"),
    ):
        if not fine:
            raise ValueError(text)
    off = rope_off_middle if cell.cells > 1 else 0.0
    least = LEAST_OF_SCALE * scale if display else LEAST_OF_TENSION * highest
    # A roller that hangs from its cells in work must hang from them with the weight, too.
    lift = balanced_tension(cell)
    lifts = running > lift and BEYOND_LIFT * lift > least
    if lifts:
        least = BEYOND_LIFT * lift
    most = most_pull(scenario, rope_off_middle=off)
    low, high = least / STANDARD_GRAVITY, most / STANDARD_GRAVITY
    taken = handy_mass(low, most=high, unit=handy_unit) if mass is None else mass
    force = STANDARD_GRAVITY * taken
    with_weight = forces_on(cell, force)
    even, weight = with_weight.web_load / cell.cells, with_weight.weight_load / cell.cells
    nearer, farther = (weight + even * (1.0 + side * 2.0 * off) for side in (1.0, -1.0))
    off_by = off_axis(cell)
    plan = CalibrationPlan(
        display=display,
        scale=scale,
        running=running,
        highest_tension=highest,
        least_force=least,
        lifts=lifts,
        least_mass=low,
        most_force=most,
        most_mass=high,
        mass=taken,
        force=force,
        resultant=with_weight.resultant,
        rope_off_middle=off,
        nearer_load=nearer,
        farther_load=farther,
        nearer_signal=cell_signal(sheet, nearer, cell.rated_load),
        farther_signal=cell_signal(sheet, farther, cell.rated_load),
        expected=tuple(_expected(scenario, sheet, force)),
        axis_off=off_by,
        reads_low=100.0 * (1.0 - math.cos(off_by)),
        side_share=100.0 * math.sin(off_by),
        rope_advice=rope_advice(cell),
        warnings=(),
    )
    return replace(plan, warnings=tuple(_warnings(scenario, plan, mass is not None)))


def _expected(scenario: Scenario, sheet: DataSheet, force: float) -> Iterator[ExpectedReading]:
    cell, scale = scenario.load_cell, scenario.controller.tension_range
    bare = forces_on(cell, 0.0).load
    states = {NOTHING: 0.0, WEIGHT: force, DIFFERENCE: force}
    states |= {RUNNING: scenario.run.tension, FULL_SCALE: scale}
    for name, tension in states.items():
        load = forces_on(cell, tension).load - (bare if name == DIFFERENCE else 0.0)
        signal = cell_signal(sheet, load / cell.cells, cell.rated_load)
        yield ExpectedReading(
            name=name,
            tension=tension,
            load=load,
            load_each=load / cell.cells,
            signal=signal,
            signal_summed=cell.cells * signal,
            reading=tension,
            reading_share=100.0 * tension / scale,
        )


def _warnings(scenario: Scenario, plan: CalibrationPlan, given: bool) -> Iterator[str]:
    cell, force = scenario.load_cell, sensible(plan.force)
    yield from assumed_sheet(scenario)
    if plan.most_force <= 0.0:
        yield "the roller alone loads the cells to their rating: no weight may be hung"
    elif plan.least_force > plan.most_force:
        yield (
            f"a weight that is large enough, {sensible(plan.least_force)} N, is beyond the "
            f"{sensible(plan.most_force)} N that scale and cells allow: the gain stays uncertain"
        )
    elif plan.force < 0.999 * plan.least_force:
        yield (
            f"the weight pulls with {force} N, below the {sensible(plan.least_force)} N that it "
            "should: an error of its reading grows too much up to the end of the scale"
        )
    if given and plan.force > plan.scale:
        yield (
            f"the weight pulls with {force} N, beyond the measured scale of "
            f"{sensible(plan.scale)} N: the reading stops at its end"
        )
    if given and plan.nearer_load > cell.rated_load:
        yield (
            f"the weight loads a cell with {sensible(plan.nearer_load)} N, more than the "
            f"{sensible(cell.rated_load)} N that it is rated for: take a smaller one"
        )
    if plan.mass > ONE_PERSON:
        yield (
            f"the weight pulls with {force} N, more than one person should lift: hang it "
            "in pieces or with lifting gear"
        )
    if plan.state(NOTHING).load < 0.0:
        yield (
            "the roller's weight works against the web: with nothing on the roller the signal is "
            f"{plan.state(NOTHING).signal:.3g} mV, so the amplifier must take signals below 0"
        )
    if plan.reads_low > WARNED_ERROR:
        yield (
            f"the cells sense {math.degrees(plan.axis_off):.3g}° away from the resultant: set "
            f"by the data sheet alone, as if they were in line, all tensions read "
            f"{plan.reads_low:.3g} % too low; a weight on the web's path calibrates that out"
        )
