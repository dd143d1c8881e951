"""The frequencies that a machine has: turns of its bodies, the roll's swing, what folds down.

A body turns v/(pi d) times a second; the roll swings on the web at the frequency of the linear
plant; whatever is faster than half the sample rate shows folded to |f - k/h|.

Where diameter or speed was not recorded, the machine may have been anywhere between full roll and
core, crawl and line speed: a frequency is then one value for each place, all as likely.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simulator import LinearPlant, Scenario
from simulator.machine import diameter_range
from tuning.oscillation.record import Record

Array = NDArray[np.float64]
Kind = Literal["roll", "roller", "nip", "swing", "folded", "mains"]

# How far a body's turn, the swing or a folded frequency may be off what is worked out [-].
TURN_SPREAD, ROLLER_SPREAD, SWING_SPREAD = 0.006, 0.004, 0.10
# Clock of a recorder, of its sample rate; mains frequency, of itself (common practice) [-].
CLOCK_SPREAD, MAINS_SPREAD = 1e-4, 6e-4
# A body out of round shakes at one, two, … times its turn, less and less likely [-].
ROLL_ORDERS: Mapping[int, float] = {1: 0.60, 2: 0.25, 3: 0.10, 4: 0.05}
ROLLER_ORDERS: Mapping[int, float] = {1: 0.85, 2: 0.15}
# Rollers and rolls that a line may have where nothing says which [m] (common practice).
USUAL_ROLLERS, USUAL_ROLLS = (0.05, 0.4), (0.07, 1.5)
MAINS = (50.0, 60.0)
# Diameters and speeds that stand for an unknown one, line speed itself beside them [-].
DIAMETERS, SPEEDS = 7, 4
LINE_SPEED_SPREAD = 0.02


@dataclass(frozen=True)
class Place:
    """Where on the roll and how fast the machine ran, as far as known.

    Attributes:
        diameter: of the roll [m]; nan where unknown.
        line_speed: of the web [m/s]; nan where unknown.
        diameter_spread: how far the diameter may be off, one standard deviation of its ln [-].
        speed_spread: the same of the line speed [-].
    """

    diameter: float
    line_speed: float
    diameter_spread: float = 0.0
    speed_spread: float = 0.0


@dataclass(frozen=True, eq=False)
class MachineFrequency:
    """One frequency of the machine.

    Attributes:
        name: "roll", "roller 1" (the one next to the roll), "nip", "swing", "mains 50 Hz", …
        kind: what it is.
        frequency: one for each place where the machine may have been, shape (m,) [Hz].
        spread: by which it may be off, one standard deviation, shape (m,) [Hz].
        orders: multiples at which it may show, with the share of each [-].
    """

    name: str
    kind: Kind
    frequency: Array
    spread: Array
    orders: Mapping[int, float]

    @property
    def words(self) -> str:
        """What it is, such as "the turn of roller 2"."""
        if self.kind == "swing":
            return "the roll's own swing on its web"
        if self.kind == "mains" and self.frequency[0] == float(self.name.split()[1]):
            return self.name
        if self.kind in ("folded", "mains"):
            return f"{self.name.removesuffix(' folded')}, folded down by this sample rate"
        if self.kind == "roller":
            return f"the turn of {self.name}"
        return f"the turn of the {self.kind}"

    def density(self, frequency: float, resolution: float) -> float:
        """Return how likely an oscillation from here stands at a frequency [1 per unit of ln f].

        Args:
            frequency: of the oscillation [Hz].
            resolution: to which that is known, one standard deviation [Hz].
        """
        total = 0.0
        for order, share in self.orders.items():
            sigma = np.hypot(order * self.spread, resolution)
            off = (frequency - order * self.frequency) / sigma
            total += share * float(np.mean(np.exp(-0.5 * off**2) / sigma))
        return frequency * total / math.sqrt(2.0 * math.pi)

    def nearest(self, frequency: float) -> tuple[int, float]:
        """Return the order and its frequency [Hz] nearest to a frequency.

        Args:
            frequency: of the oscillation [Hz].
        """
        found = [(o, float(o * f)) for o in self.orders for f in self.frequency]
        return min(found, key=lambda one: abs(math.log(max(one[1], 1e-12) / frequency)))


def fold(frequency: float, interval: float) -> float:
    """Return where a frequency shows when sampled, |f - k/h| below 1/(2 h) [Hz].

    Args:
        frequency: true one [Hz].
        interval: from sample to sample [s].
    """
    rate = 1.0 / interval
    return abs(frequency - rate * round(frequency / rate))


def places(
    record: Record, scenario: Scenario | None, weight: Array | None = None
) -> tuple[Place, ...]:
    """Return where the machine may have been while it oscillated.

    Args:
        record: the recording.
        scenario: the machine; it tells the range of what is not recorded.
        weight: how much each sample counts, such as the amplitude squared, shape (n,) [any].
    """

    def mean(values: Array) -> float:
        return float(np.average(values, weights=weight))

    speeds = [(math.nan, 0.0)]
    if record.knows("line_speed"):
        speeds = [(mean(record.line_speed), 0.0)]
    elif scenario is not None:
        run = scenario.run
        # Mostly a line is recorded at its running speed.
        speeds = [(run.line_speed, LINE_SPEED_SPREAD)]
        speeds += _spread_over(run.crawl_speed, run.line_speed, SPEEDS)
    diameters = [(math.nan, 0.0)]
    if scenario is not None:
        low, high = diameter_range(scenario)
        diameters = _spread_over(low, high, DIAMETERS)
        if record.knows("diameter"):
            diameters = [(min(max(mean(record.diameter), low), high), 0.0)]
    elif record.knows("diameter"):
        diameters = [(mean(record.diameter), 0.0)]
    return tuple(Place(D, v, dD, dv) for D, dD in diameters for v, dv in speeds)


def _spread_over(low: float, high: float, count: int) -> list[tuple[float, float]]:
    """Return values that stand for any between two, evenly in ln, each with its share of it."""
    if not high > low * (1.0 + 1e-9):
        return [(high, 0.0)]
    step = math.log(high / low) / count
    return [(low * math.exp(step * (i + 0.5)), 0.4 * step) for i in range(count)]


def machine_frequencies(
    record: Record,
    scenario: Scenario | None,
    where: tuple[Place, ...],
    plants: tuple[LinearPlant, ...],
) -> tuple[MachineFrequency, ...]:
    """Return every frequency that the machine is known to have.

    Without a scenario that is the roll's turn where speed and diameter are recorded, else usual
    sizes of rolls and rollers; and mains at this sample rate.

    Args:
        record: the recording.
        scenario: the machine.
        where: it may have been.
        plants: the linear plant at each place; none without a scenario.
    """
    D = np.array([place.diameter for place in where])
    v = np.array([place.line_speed for place in where])
    found: list[MachineFrequency] = []
    if np.isfinite(v).all():
        # What turns is compared over the whole record, turn by turn.
        if record.knows("line_speed"):
            v = np.full(v.size, record.line_speed.mean())
        turns = v / (math.pi * D)
        if record.knows("line_speed") and record.knows("diameter"):
            turns = np.full(v.size, np.mean(record.line_speed / record.diameter) / math.pi)
        speed_off = np.array([place.speed_spread for place in where])
        size_off = np.array([place.diameter_spread for place in where])
        found.append(_roll(turns, np.sqrt(TURN_SPREAD**2 + size_off**2 + speed_off**2), v))
        found += _rollers(scenario, v, np.hypot(ROLLER_SPREAD, speed_off))
    if plants:
        swing = np.array([plant.natural_frequency for plant in plants]) / (2.0 * math.pi)
        found.append(MachineFrequency("swing", "swing", swing, SWING_SPREAD * swing, {1: 1.0}))
    paths = _sampling(record, scenario)
    return (*found, *_folded(found, paths), *_mains(paths))


def _sampling(record: Record, scenario: Scenario | None) -> list[tuple[float, ...]]:
    """Return by which intervals a signal may have been sampled on its way, one after the other [s].

    A recorder samples the controller's readings, or the signal itself.
    """
    logger = record.logged_every or record.interval
    paths: list[tuple[float, ...]] = [(logger,)]
    if scenario is not None:
        paths.append((scenario.controller.scan_time, logger))
    return paths


def _roll(turn: Array, spread: Array, v: Array) -> MachineFrequency:
    if np.isfinite(turn).all():
        return MachineFrequency("roll", "roll", turn, spread * turn, ROLL_ORDERS)
    return _usual("roll", "roll", v, USUAL_ROLLS, ROLL_ORDERS)


def _rollers(scenario: Scenario | None, v: Array, spread: Array) -> list[MachineFrequency]:
    if scenario is None:
        return [_usual("a roller", "roller", v, USUAL_ROLLERS, ROLLER_ORDERS)]
    found = []
    for number, roller in enumerate(scenario.roller, start=1):
        turn = v / (math.pi * roller.diameter)
        one = MachineFrequency(f"roller {number}", "roller", turn, spread * turn, ROLLER_ORDERS)
        found.append(one)
    if scenario.nip is not None:
        turn = v / (math.pi * scenario.nip.diameter)
        found.append(MachineFrequency("nip", "nip", turn, spread * turn, ROLLER_ORDERS))
    return found


def _usual(
    name: str, kind: Kind, v: Array, sizes: tuple[float, float], orders: Mapping[int, float]
) -> MachineFrequency:
    """A body of unknown diameter: many diameters, evenly in the logarithm."""
    diameters = np.geomspace(*sizes, 24)
    turn = (v[:, None] / (math.pi * diameters[None, :])).ravel()
    step = math.log(sizes[1] / sizes[0]) / 23.0
    return MachineFrequency(name, kind, turn, step * turn, orders)


def _folded(
    found: list[MachineFrequency], paths: list[tuple[float, ...]]
) -> list[MachineFrequency]:
    """What turns faster than half the sample rate, where it shows."""
    folded: list[MachineFrequency] = []
    for one in found:
        if one.kind == "swing" or one.name == "a roller":
            continue
        # A turn is felt by the controller's reading, whatever the recorder does.
        for order in list(one.orders)[:2]:
            true = order * one.frequency
            seen = np.array([_seen(float(f), paths[-1]) for f in true])
            folds = (seen != true) & (seen > 0.0)
            if not folds.any():
                continue
            name = f"{one.name} folded" if order == 1 else f"{order}× {one.name} folded"
            # Places at which it is slow enough to be seen as it is don't count.
            share = {1: float(folds.mean())}
            spread = (order * one.spread)[folds]
            folded.append(MachineFrequency(name, "folded", seen[folds], spread, share))
    return folded


def _mains(paths: list[tuple[float, ...]]) -> list[MachineFrequency]:
    """Hum of the mains: in the cell's wire, or in the recorder's own."""
    found = []
    for base in MAINS:
        for order in (1, 2):
            true = order * base
            spread = np.array([math.hypot(MAINS_SPREAD, CLOCK_SPREAD) * true])
            places = {round(_seen(true, path), 6) for path in paths}
            found += [
                MachineFrequency(f"mains {true:.0f} Hz", "mains", np.array([at]), spread, {1: 1.0})
                for at in sorted(places)
            ]
    return found


def _seen(frequency: float, path: tuple[float, ...]) -> float:
    for interval in path:
        frequency = fold(frequency, interval)
    return frequency
