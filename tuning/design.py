"""Gains that hold from full roll to core: the most integral action within limits everywhere.

Everywhere is every diameter from full roll to core and every speed from line to crawl, on the exact
sampled plant. The search (`tuning.most_integral`) works on a few operating points only: those that
bind. After each search the gains are judged on a grid and, where that looks worst, on ever finer
grids about it; a point that breaks the limit joins the search, until none does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from simulator import Scenario, linearise
from simulator.machine import diameter_range
from simulator.sensing_and_control import ScheduledGains
from simulator.units import METRIC
from tuning.gain_schedule import GainSchedule, schedule_over_roll
from tuning.gains import Gains
from tuning.margins import CALM_MS, RINGS_ABOVE, SOUND_MS, Margins, loop_margins
from tuning.most_integral import KINDS, Kind, Limits, most_integral
from tuning.plant_bank import PlantBank, plant_bank
from tuning.plant_points import plant_points
from tuning.roll_grid import roll_grid, speeds_over, worst_over_roll

DEFAULT_MS = SOUND_MS
# Noise of the reading may move the output by this much [% rms], six times as much from peak to
# peak; common practice, no source.
DEFAULT_NOISE = 0.2
# A reading is never quieter than this, whatever a scenario says [% of range, rms].
LEAST_READING_NOISE = 0.02
# Another kind of controller earns its place where it allows so much more integral action [-].
PI_EARNS, PID_EARNS = 1.02, 1.5
# The search aims this much below the limit on Ms, so that what lies between its points keeps it.
AIM = 0.999
MOST_ROUNDS = 60
# A gain raised by this share shows which operating point holds it back.
RAISED = 1.03
# A point that holds a gain back breaks the limit by at least this once the gain is raised.
BREAKS = 1.003


@dataclass(frozen=True)
class RollCase:
    """One operating point with the margins of the recommended gains there.

    Attributes:
        diameter: of the roll [m].
        line_speed: of the web [m/s].
        margins: of the recommended gains at this point.
    """

    diameter: float
    line_speed: float
    margins: Margins


@dataclass(frozen=True)
class KindOfControl:
    """The best that one kind of controller can do on this roll.

    Attributes:
        kind: I, PI or PID.
        gains: with the most integral action within the limits.
        noise_output: output moved by the noise of the reading, at its worst over the roll [% rms].
        limited_by_noise: whether noise rather than Ms holds the gains back.
        verdict: why it is recommended, or why not, in a few words.
    """

    kind: Kind
    gains: Gains
    noise_output: float
    limited_by_noise: bool
    verdict: str


@dataclass(frozen=True)
class RollDesign:
    """One set of gains for the whole roll, what holds it back, and a schedule beside it.

    Attributes:
        gains: recommended, the same at every diameter.
        kind: of controller that they are for.
        ms_limit: that they keep [-].
        noise_limit: of the output's rms, that they keep [% rms].
        worst: where Ms is highest.
        binds_integral: where more integral action would break the limit first; None where nothing
            does but noise.
        binds_proportional: the same for proportional action.
        kinds: integral, PI and PID control compared.
        schedule: gains that follow the diameter.
        out_of_reach: operating points that no output within its limits holds, in words.
        warnings: what a reader should know.
    """

    gains: Gains
    kind: Kind
    ms_limit: float
    noise_limit: float
    worst: RollCase
    binds_integral: RollCase | None
    binds_proportional: RollCase | None
    kinds: tuple[KindOfControl, ...]
    schedule: GainSchedule
    out_of_reach: tuple[str, ...]
    warnings: tuple[str, ...] = ()

    @property
    def chosen(self) -> KindOfControl:
        """The kind of controller that is recommended."""
        return next(one for one in self.kinds if one.kind == self.kind)

    def set_in(self, scenario: Scenario, *, scheduled: bool = False) -> Scenario:
        """Return the scenario with these gains in its controller.

        Args:
            scenario: the scenario to copy [-].
            scheduled: whether the gains follow the diameter, else the one set for the whole roll.
        """
        tuned = self.gains.set_in(scenario)
        if not scheduled or len(self.schedule.entries) < 2:
            return tuned
        points = tuple(
            ScheduledGains(diameter=at.diameter, Kc=at.gains.Kc, Ti=at.gains.Ti, Td=at.gains.Td)
            for at in self.schedule.entries
        )
        return replace(tuned, controller=replace(tuned.controller, schedule=points))


def design_for_roll(
    scenario: Scenario,
    *,
    ms_limit: float = DEFAULT_MS,
    noise_limit: float = DEFAULT_NOISE,
    kinds: Sequence[Kind] = KINDS,
) -> RollDesign:
    """Find the gains with the most integral action that keep the limits over the whole roll.

    Integral control, PI and PID are tried. PI is recommended where it beats integral control by
    2 %, PID where it beats that by half: a derivative takes more care than it is worth for less.

    Args:
        scenario: the machine.
        ms_limit: largest sensitivity allowed [-], 1.2 to 2.0.
        noise_limit: how much the noise of the reading may move the output [% rms].
        kinds: of controller to try [-].

    Raises:
        ValueError: a limit is out of range, no kind is given, or no gains keep the limits.
    """
    if not CALM_MS <= ms_limit <= RINGS_ABOVE:
        raise ValueError(f"ms_limit {ms_limit}: must lie between {CALM_MS} and {RINGS_ABOVE}")
    if not (math.isfinite(noise_limit) and noise_limit > 0.0):
        raise ValueError(f"noise_limit {noise_limit} %: must be above 0 %")
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown or not kinds:
        raise ValueError(
            f"kinds {', '.join(kinds) or '(none)'}: must be some of {', '.join(KINDS)}"
        )

    noise = reading_noise(scenario)
    limits = Limits(Ms=ms_limit, noise_gain=noise_limit / noise)
    judged = plant_bank(scenario, roll_grid(scenario))
    _check_quiet(judged)
    found: dict[Kind, Gains] = {}
    seen: PlantBank | None = None
    for kind in (one for one in KINDS if one in kinds):
        best, seen = _best(scenario, kind, limits, judged=judged, start=seen)
        if best is not None:
            found[kind] = best
    if not found:
        raise ValueError("no gains keep the limits at every diameter and speed of this machine")
    chosen = _chosen(found)
    gains = found[chosen]
    compared = tuple(
        _compared(kind, found, chosen, judged, noise=noise, limits=limits) for kind in found
    )
    worst = worst_over_roll(scenario, gains, judged=judged)
    moved = noise * float(judged.noise_gain(gains).max())
    out_of_reach, warnings = _seats(scenario, noise_output=moved)
    aimed = replace(limits, Ms=AIM * ms_limit)
    return RollDesign(
        gains=gains,
        kind=chosen,
        ms_limit=ms_limit,
        noise_limit=noise_limit,
        worst=_case(scenario, gains, worst.diameter, worst.line_speed),
        binds_integral=_binding(scenario, gains, judged, limits, integral=True),
        binds_proportional=_binding(scenario, gains, judged, limits, integral=False),
        kinds=compared,
        schedule=schedule_over_roll(scenario, chosen, gains, limits=aimed),
        out_of_reach=out_of_reach,
        warnings=(*warnings, *([gains.note] if gains.note else [])),
    )


def best_gains(
    scenario: Scenario, kind: Kind, *, ms_limits: Sequence[float], noise_limit: float
) -> tuple[Gains, ...]:
    """Return the best gains of one kind for the whole roll at each of some limits on Ms.

    Args:
        scenario: the machine.
        kind: of controller, I, PI or PID.
        ms_limits: largest sensitivity allowed, each in turn [-].
        noise_limit: how much the noise of the reading may move the output [% rms].

    Raises:
        ValueError: no gains keep a limit.
    """
    judged = plant_bank(scenario, roll_grid(scenario))
    noise_gain = noise_limit / reading_noise(scenario)
    found, seen = [], None
    for limit in ms_limits:
        limits = Limits(Ms=limit, noise_gain=noise_gain)
        gains, seen = _best(scenario, kind, limits, judged=judged, start=seen)
        if gains is None:
            raise ValueError(f"no {kind} gains keep Ms at {limit:g} everywhere on this machine")
        found.append(gains)
    return tuple(found)


def reading_noise(scenario: Scenario) -> float:
    """Return the noise of the reading [% of range, rms]: its own and that of its resolution."""
    cell = scenario.load_cell
    steps = cell.resolution / math.sqrt(12.0)  # of a value spread evenly over one step
    own = 100.0 * math.hypot(cell.noise, steps) / scenario.controller.tension_range
    return max(own, LEAST_READING_NOISE)


def _best(
    scenario: Scenario, kind: Kind, limits: Limits, *, judged: PlantBank, start: PlantBank | None
) -> tuple[Gains | None, PlantBank]:
    """Return the best gains of a kind, if there are any, and the points they were found on."""
    seen = start
    if seen is None:
        low, high = diameter_range(scenario)
        slow, fast = speeds_over(scenario, 2)[-1], speeds_over(scenario, 2)[0]
        seen = plant_bank(
            scenario, list(dict.fromkeys([(high, fast), (high, slow), (low, fast), (low, slow)]))
        )
    aimed = replace(limits, Ms=AIM * limits.Ms)
    for _ in range(MOST_ROUNDS):
        gains = most_integral(seen, kind, aimed)
        worst = worst_over_roll(scenario, gains, judged=judged, enough=limits.Ms)
        loud = judged.noise_gain(gains)
        if worst.Ms <= limits.Ms and loud.max() <= 1.001 * limits.noise_gain:
            return gains, seen
        point = (worst.diameter, worst.line_speed)
        if worst.Ms <= limits.Ms:
            point = judged.points[int(np.argmax(loud))]
        if point in seen.points:
            break
        seen = seen.joined(plant_bank(scenario, [point]))
    return None, seen


def _check_quiet(judged: PlantBank) -> None:
    """Refuse a machine that swings by itself, and say where."""
    sizes = np.abs(judged.modes).max(axis=1)
    at = int(np.argmax(sizes))
    if sizes[at] < 1.0:
        return
    D, v = judged.points[at]
    raise ValueError(
        f"the machine is not stable in manual at {METRIC.text(D, 'diameter')} and "
        f"{METRIC.text(v, 'speed')}: it swings by itself, whatever the gains; lower the breakaway "
        "ratio or raise the crawl speed"
    )


def _chosen(found: dict[Kind, Gains]) -> Kind:
    """Return the simplest kind that no other beats by enough."""
    kinds = list(found)
    best = kinds[0]
    for kind in kinds[1:]:
        earns = PID_EARNS if kind == "PID" else PI_EARNS
        if found[kind].Ki >= earns * found[best].Ki:
            best = kind
    return best


def _compared(
    kind: Kind,
    found: dict[Kind, Gains],
    chosen: Kind,
    judged: PlantBank,
    *,
    noise: float,
    limits: Limits,
) -> KindOfControl:
    gains = found[kind]
    loud = float(judged.noise_gain(gains).max())
    share = gains.Ki / found[chosen].Ki
    if kind == chosen:
        words = "recommended"
    elif share < 0.98:
        words = f"allows {100.0 * share:.0f} % of the integral action"
    elif share < 1.02:
        words = "buys nothing here"
    else:
        words = (
            f"would buy {100.0 * (share - 1.0):.0f} %, a derivative must buy "
            f"{100.0 * (PID_EARNS - 1.0):.0f} %"
        )
    return KindOfControl(kind, gains, loud * noise, loud > 0.99 * limits.noise_gain, words)


def _binding(
    scenario: Scenario, gains: Gains, judged: PlantBank, limits: Limits, *, integral: bool
) -> RollCase | None:
    """Return where a little more of one action breaks the limit on Ms first, if it does."""
    raised = (
        replace(gains, Ti=gains.Ti / RAISED)
        if integral
        else replace(gains, Kc=gains.Kc * RAISED, Ti=gains.Ti * RAISED, Td=gains.Td / RAISED)
    )
    worst = worst_over_roll(scenario, raised, judged=judged, enough=BREAKS * limits.Ms)
    if worst.Ms < BREAKS * limits.Ms:
        return None
    return _case(scenario, gains, worst.diameter, worst.line_speed)


def _case(scenario: Scenario, gains: Gains, diameter: float, line_speed: float) -> RollCase:
    plant = linearise(scenario, diameter=diameter, line_speed=line_speed)
    return RollCase(
        diameter,
        line_speed,
        loop_margins(plant, gains, scan_time=scenario.controller.scan_time),
    )


def _seats(scenario: Scenario, *, noise_output: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return (points out of reach, warnings): an output at its end leaves no loop to judge."""
    out_of_reach, warnings = [], []
    c = scenario.controller
    for p in plant_points(scenario):
        output = p.point.output
        if not p.point.reachable:
            out_of_reach.append(f"{p.place}: {p.point.reason}")
        elif min(output - c.output_low, c.output_high - output) < 3 * noise_output:
            warnings.append(f"{p.place}: noise drives the output to its limit")
    return tuple(out_of_reach), tuple(warnings)
