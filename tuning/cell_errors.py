"""What a load cell that reads too much or too little does to the loop and to the web.

Of a tension T the controller reads (1 + e) T + z, with e the gain error and z that of the zero. Two
things follow:

- integral action holds the reading at the setpoint r, so the web gets T = (r - z)/(1 + e);
- the loop's gain is 1 + e times as high, as if Kc were; so margins move, and the lasting error that
  a load leaves in the web's tension, its integral over time, is 1/((1 + e) Ki) per unit of load.

Both are exact for the linear loop (the second from the output that integral action must add).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario, operating_point
from simulator.machine import named_diameters, taper_at
from simulator.units import sensible
from tuning.gains import Gains
from tuning.margins import RINGS_ABOVE
from tuning.plant_bank import PlantBank, plant_bank
from tuning.roll_grid import WorstPoint, roll_grid, worst_over_roll

Array = NDArray[np.float64]
GainsOrSchedule = Gains | Callable[[float], Gains]

# Gain errors looked at [%], closer together where calibrations usually end.
USUAL_ERRORS = (
    -60.0, -50.0, -40.0, -30.0, -25.0, -20.0, -15.0, -10.0, -5.0, -2.0, 0.0,
    2.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0,
)  # fmt: skip
# A limit is looked for between these [%]; nobody overlooks a reading that is off by ten times.
LOWEST, HIGHEST = -90.0, 900.0
UPWARD, DOWNWARD = (25.0, 50.0, 100.0, 200.0, 400.0, HIGHEST), (-30.0, -60.0, LOWEST)
# An unstable loop's Ms is infinite, a stable one's never above this [-].
UNSTABLE = 1e12
# The error that the sentences speak of [%].
SPOKEN_OF = 20.0
# The commonest large slip is a factor of two: a weight hung on both strands, or one cell of two not
# wired (common practice, no source) [%].
FACTOR_OF_TWO = 100.0
# An output that reaches its end within this error deserves a warning [%].
LITTLE_ROOM = 15.0
# How closely a limit is found, of the gain [-].
CLOSELY = 1e-5


@dataclass(frozen=True, eq=False)
class GainErrorEffect:
    """What the gain error of a load cell does, in automatic, with one set of gains.

    An error of 20 % is a reading 20 % too high. Limits are looked for between -90 % and 900 %.

    Attributes:
        errors: looked at, ascending, shape (n,) [%].
        Ms: highest over the roll, shape (n,) [-]; inf where the loop is unstable somewhere.
        worst: where that is, for each error.
        web_tension: of the web where the display shows the setpoint, shape (n,) [N]; 0
            where it is slack.
        setpoint: of the controller, before any taper [N].
        zero_error: of the load cell, which moves the web, too [N].
        ms_limit: that Ms is held against [-].
        kept_high: largest error with Ms within the limit [%]: below 0 if a true reading breaks it,
            inf if no error does, nan if all do.
        kept_low: the least [%]; -inf wherever less gain is calmer, as it is with every machine that
            is stable in manual.
        unstable_above: largest error with a stable loop everywhere on the roll [%]: below 0, inf or
            nan as above.
        reach: least and largest web tension that the output makes at every diameter [N].
        words: what it does, in sentences.
        warnings: what a reader should know.
    """

    errors: Array
    Ms: Array
    worst: tuple[WorstPoint, ...]
    web_tension: Array
    setpoint: float
    zero_error: float
    ms_limit: float
    kept_high: float
    kept_low: float
    unstable_above: float
    reach: tuple[float, float]
    words: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def slower(self) -> Array:
        """How many times as much error a load leaves in the web's tension as with a true reading,
        its integral over time, shape (n,) [-]."""
        return np.asarray(1.0 / (1.0 + 0.01 * self.errors))

    def said_of(self, error: float) -> str:
        """Return one sentence about an error.

        Args:
            error: one of `errors` [%].

        Raises:
            ValueError: it is not among them.
        """
        at = np.flatnonzero(np.isclose(self.errors, error, rtol=0.0, atol=1e-9))
        true = np.flatnonzero(self.errors == 0.0)
        if not at.size:
            raise ValueError(f"error {error} %: was not looked at; give it in errors")
        before, after = float(self.Ms[true[0]]), float(self.Ms[at[0]])
        Ms = f"takes Ms from {before:.2f} to {after:.2f}"
        if math.isinf(before) and math.isinf(after):
            Ms = "leaves the loop unstable"
        elif math.isinf(after):
            Ms = f"takes Ms from {before:.2f} to an unstable loop"
        elif math.isinf(before):
            Ms = f"makes an unstable loop stable, with Ms {after:.2f}"
        gets = f"{sensible(float(self.web_tension[at[0]]))} N"
        return (
            f"A reading {_off(error)} {Ms}; the web gets {gets} where the display "
            f"shows {sensible(self.setpoint)} N."
        )


def gain_error_effect(
    scenario: Scenario,
    gains: GainsOrSchedule,
    *,
    errors: Sequence[float] | None = None,
    ms_limit: float | None = None,
) -> GainErrorEffect:
    """Return what gain errors of the load cell do to the loop over the whole roll and to the web.

    The scenario's own gain error is set aside; its zero error stays.

    Args:
        scenario: the machine.
        gains: the same at every diameter, or what gives them for a diameter [m].
        errors: to look at [%]; usual ones if left out. No error is always among them.
        ms_limit: largest sensitivity that is still good [-]; where the loop begins to ring, 2, if
            left out. Recommended gains use up the limit that they are made for, so they bear next
            to no error within that one.

    Raises:
        ValueError: no error to look at, one that is -90 % or less or above 900 %, a limit that is
            not above 1, or gains without integral action, which hold no reading.
    """
    limit = RINGS_ABOVE if ms_limit is None else ms_limit
    if not (limit > 1.0 and math.isfinite(limit)):
        raise ValueError(f"ms_limit {limit}: must be above 1")
    across = _checked(errors)
    true = replace(scenario, load_cell=replace(scenario.load_cell, gain_error=0.0))
    loop = _Loop(true, gains)
    if not loop.integrates():
        raise ValueError("gains: without integral action nothing holds the reading at the setpoint")

    unstable, kept_high = loop.highest(UNSTABLE), loop.highest(limit)
    unstable = loop.nearer(UNSTABLE, unstable, looked_at=0.97 * unstable)
    kept_high = loop.nearer(limit, kept_high, looked_at=kept_high)
    worst = tuple(loop.worst(float(error)) for error in across)
    r, z = scenario.run.tension, scenario.load_cell.zero_error
    effect = GainErrorEffect(
        errors=across,
        Ms=np.array([one.Ms for one in worst]),
        worst=worst,
        web_tension=np.maximum((r - z) / (1.0 + 0.01 * across), 0.0),
        setpoint=r,
        zero_error=z,
        ms_limit=limit,
        kept_high=kept_high,
        kept_low=loop.lowest(limit, below=min(kept_high, 0.0)),
        unstable_above=unstable,
        reach=_reach(scenario),
    )
    return replace(effect, words=_words(effect), warnings=_warnings(effect, scenario))


class _Loop:
    """A loop over the whole roll, with a reading that may be off."""

    def __init__(self, scenario: Scenario, gains: GainsOrSchedule) -> None:
        self._scenario, self._gains = scenario, gains
        self._grid = plant_bank(scenario, roll_grid(scenario))
        self._bank = self._grid
        self.look_closely(0.0)

    def integrates(self) -> bool:
        """Whether there is integral action at every diameter."""
        return all(self._at(D, 0.0).Ki > 0.0 for D, _ in self._bank.points)

    def _at(self, diameter: float, error: float) -> Gains:
        """Return the gains that do with a true reading what these do with one that is off [%]."""
        gains = self._gains if isinstance(self._gains, Gains) else self._gains(diameter)
        return replace(gains, Kc=(1.0 + 0.01 * error) * gains.Kc)

    def _severity(self, bank: PlantBank, error: float) -> tuple[Array, Array]:
        # One set of gains is much quicker than a list of equal ones.
        if isinstance(self._gains, Gains):
            return bank.severity(self._at(math.nan, error))
        return bank.severity([self._at(D, error) for D, _ in bank.points])

    def look_closely(self, error: float) -> PlantBank | None:
        """Look at the point between those of the grid where an error is worst, too; return it."""
        gains: GainsOrSchedule = lambda diameter: self._at(diameter, error)  # noqa: E731
        if isinstance(self._gains, Gains):
            gains = self._at(math.nan, error)
        at = worst_over_roll(self._scenario, gains, judged=self._grid)
        point = (at.diameter, at.line_speed)
        if point in self._bank.points:
            return None
        added = plant_bank(self._scenario, [point])
        self._bank = self._bank.joined(added)
        return added

    def nearer(self, limit: float, found: float, *, looked_at: float) -> float:
        """Return an error that was found, or the one nearer by that a closer look finds [%]."""
        added = self.look_closely(looked_at) if 0.0 < looked_at < math.inf else None
        return found if added is None else min(found, self.highest(limit, added))

    def worst(self, error: float) -> WorstPoint:
        Ms, peak = self._severity(self._bank, error)
        at = int(np.argmax(Ms))
        return WorstPoint(*self._bank.points[at], float(Ms[at]), float(peak[at]))

    def highest(self, limit: float, bank: PlantBank | None = None) -> float:
        """Return the largest error with Ms within a limit [%]; inf if any is, nan if none."""
        bank = bank or self._bank
        if not self._kept(bank, limit, 0.0):
            low = self._kept(bank, limit, LOWEST)
            return self._edge(bank, limit, LOWEST, 0.0) if low else math.nan
        inside = 0.0
        # In steps, as a loop that is lost may be found again far beyond.
        for step in UPWARD:
            if not self._kept(bank, limit, step):
                return self._edge(bank, limit, inside, step)
            inside = step
        return math.inf

    def lowest(self, limit: float, *, below: float) -> float:
        """Return the least error with Ms within a limit [%], below one that has it; -inf if any."""
        if math.isnan(below):
            return math.nan
        for step in DOWNWARD:
            if step < below and not self._kept(self._bank, limit, step):
                return self._edge(self._bank, limit, below, step)
        return -math.inf

    def _kept(self, bank: PlantBank, limit: float, error: float) -> bool:
        return bool(self._severity(bank, error)[0].max() <= limit)

    def _edge(self, bank: PlantBank, limit: float, inside: float, outside: float) -> float:
        """Halve the way between an error that keeps a limit and one that does not."""
        while abs(outside - inside) > CLOSELY * (100.0 + max(inside, outside)):
            middle = 0.5 * (inside + outside)
            Ms, _ = self._severity(bank, middle)
            beyond = np.flatnonzero(Ms > limit)
            if not beyond.size:
                inside = middle
                continue
            outside = middle
            # Those that still keep the limit here need not be looked at nearer by.
            if beyond.size <= len(bank) // 2:
                bank = bank.only(beyond)
        return inside


def _checked(errors: Sequence[float] | None) -> Array:
    given = USUAL_ERRORS if errors is None else tuple(errors)
    if not given:
        raise ValueError("errors: at least one is needed")
    for error in given:
        if not LOWEST < error <= HIGHEST:
            raise ValueError(
                f"errors: {error} % must lie above {LOWEST:g} %, at most at {HIGHEST:g} %"
            )
    return np.array(sorted({0.0, *map(float, given)}))


def _reach(scenario: Scenario) -> tuple[float, float]:
    """Least and largest setpoint, before the taper, that the output makes at every diameter."""
    points = [
        (operating_point(scenario, diameter=D), taper_at(scenario, D))
        for D in named_diameters(scenario).values()
    ]
    low = max(point.tension_low / share for point, share in points)
    return max(low, 0.0), min(point.tension_high / share for point, share in points)


def _off(error: float) -> str:
    return f"{abs(error):.3g} % too {'high' if error > 0.0 else 'low'}"


def _words(effect: GainErrorEffect) -> tuple[str, ...]:
    found = [effect.said_of(e) for e in (SPOKEN_OF, -SPOKEN_OF) if e in effect.errors]
    if -SPOKEN_OF in effect.errors:
        more = 100.0 * (1.0 / (1.0 - 0.01 * SPOKEN_OF) - 1.0)
        found.append(
            f"A reading {_off(-SPOKEN_OF)} makes the loop slower, too: a load leaves {more:.0f} % "
            "more error in the web's tension."
        )
    limit = f"{effect.ms_limit:g}"
    if math.isinf(effect.kept_high):
        found.append(f"No gain error takes Ms above {limit}.")
    elif effect.kept_high >= 0.0:
        found.append(f"Ms stays within {limit} up to a reading {effect.kept_high:.0f} % too high.")
    elif effect.kept_high < 0.0:
        low = f"{-effect.kept_high:.0f} % too low"
        found.append(f"Only a reading more than {low} brings Ms within {limit}.")
    if math.isfinite(effect.kept_low):
        found.append(
            f"A reading more than {-effect.kept_low:.0f} % too low takes Ms above {limit}."
        )
    if 0.0 < effect.unstable_above < math.inf:
        found.append(
            f"From a reading {effect.unstable_above:.0f} % too high on the loop swings by itself."
        )
    return tuple(found)


def _warnings(effect: GainErrorEffect, scenario: Scenario) -> tuple[str, ...]:
    found = []
    true_Ms = float(effect.Ms[np.flatnonzero(effect.errors == 0.0)[0]])
    if math.isinf(true_Ms):
        found.append("the loop is unstable even with a true reading: mend the gains first")
    elif true_Ms > effect.ms_limit:
        found.append(
            f"Ms is {true_Ms:.2f} even with a true reading, above the limit of {effect.ms_limit:g}"
        )
    if 0.0 < effect.unstable_above <= FACTOR_OF_TWO:
        found.append(
            f"a reading {effect.unstable_above:.0f} % too high makes the loop unstable, and a slip "
            "by a factor of two is easily made in a calibration: check what the display shows "
            "with a known weight before the first switch to automatic"
        )
    pull = effect.setpoint - effect.zero_error
    low, high = effect.reach
    if pull <= 0.0:
        found.append(
            f"with no web at all the display shows {sensible(effect.zero_error)} N, not less than "
            "the setpoint: in automatic the web goes slack"
        )
    if 0.0 < pull < low * (1.0 + 0.01 * LITTLE_ROOM):
        room = 100.0 * (pull / low - 1.0)
        found.append(
            f"a reading more than {max(room, 0.0):.2g} % too high asks for a web tension below "
            f"{sensible(low)} N, the least that the output makes at every diameter: it runs to "
            "its lower end and the display stays above the setpoint"
        )
    if pull > high * (1.0 - 0.01 * LITTLE_ROOM):
        room = 100.0 * (1.0 - pull / high)
        found.append(
            f"a reading more than {max(room, 0.0):.2g} % too low asks for a web tension above "
            f"{sensible(high)} N, the most that the output makes at every diameter: it runs to "
            "its upper end and the display stays below the setpoint"
        )
    strength = scenario.web.breaking_tension
    if strength is not None and pull > strength * (1.0 + 0.01 * float(effect.errors[0])):
        room = 100.0 * (1.0 - pull / strength)
        found.append(
            f"a reading {max(room, 0.0):.0f} % too low asks for the web's breaking tension of "
            f"{sensible(strength)} N"
        )
    return tuple(found)
