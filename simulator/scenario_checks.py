"""What can't be told from one section of a scenario alone: contradictions and doubts.

Each check looks at a few sections. A file with a broken section still gets every check that does
not need it: a check that misses a section ends with an AttributeError, which its caller takes to
mean "can't tell yet".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from simulator.cell_forces import display_reading, forces_on

if TYPE_CHECKING:
    from simulator.scenario import Scenario

MOST_SPANS = 20
# Every scan of dead time is a state of the loop; no machine needs more.
MOST_DEAD_SCANS = 1000
# Most webs run near 10 % of the tension that damages them (webhandling.com, "tension questions
# 03"); a warning at 25 % leaves room for doubt.
TENSION_SHARE_WARNED = 0.25
# What is off by less than this share of the tension hardly matters [-].
SETTLED = 0.02
# The strain that the model is made for is small; a web stretched by more is refused.
MOST_STRAIN = 0.2

Problem = tuple[str, str]


def _counts(s: Scenario) -> Iterator[Problem]:
    spans, rollers = len(s.span), len(s.roller)
    if not 2 <= spans <= MOST_SPANS:
        yield "span", f"must be 2 to {MOST_SPANS} tables, not {spans}"
    if rollers != spans - 1:
        yield (
            "roller",
            f"must be one fewer than span: {spans} spans take {spans - 1}, not {rollers}",
        )


def _one_load_cell(s: Scenario) -> Iterator[Problem]:
    if sum(roller.load_cell for roller in s.roller) != 1:
        yield "roller", "must have load_cell = true on exactly one roller"


def _roll_fits_zone(s: Scenario) -> Iterator[Problem]:
    if hasattr(s.roll, "core_diameter") == (s.zone == "pull roll"):
        wanted = "diameter and inertia" if s.zone == "pull roll" else "core_… and full_… keys"
        yield "roll", f"must have {wanted} in zone {s.zone!r}"


def _device_fits_zone(s: Scenario) -> Iterator[Problem]:
    brakes = ("friction brake", "particle brake", "torque motor")
    allowed = brakes if s.zone == "unwind" else ("clutch", "torque motor")
    if s.torque_device.kind not in allowed:
        yield (
            "torque_device.kind",
            f"must be {' or '.join(allowed)} in zone {s.zone!r}: a {s.torque_device.kind} can't "
            "make tension there",
        )


def _speeds(s: Scenario) -> Iterator[Problem]:
    if s.run.crawl_speed > s.run.line_speed:
        yield "run.crawl_speed", "must not be above run.line_speed"


def _dead_time_in_scans(s: Scenario) -> Iterator[Problem]:
    scans = (s.torque_device.dead_time + s.load_cell.dead_time) / s.controller.scan_time
    if scans > MOST_DEAD_SCANS:
        yield (
            "controller.scan_time",
            (
                f"is too short for these dead times: together they take {scans:.0f} scans, more "
                f"than {MOST_DEAD_SCANS}"
            ),
        )


def _tension_in_range(s: Scenario) -> Iterator[Problem]:
    if s.run.tension > s.controller.tension_range:
        yield "run.tension", "must not be above controller.tension_range"


def _tension_bearable(s: Scenario) -> Iterator[Problem]:
    if s.web.breaking_tension is not None and s.run.tension >= s.web.breaking_tension:
        yield "run.tension", "must be below web.breaking_tension"
    stiffness = s.web.modulus * s.web.width * s.web.thickness
    most = max(s.run.tension, s.run.far_tension, s.run.entry_tension)
    if most > MOST_STRAIN * stiffness:
        yield (
            "web.modulus",
            (
                f"is too low for these tensions: {most:.4g} N would stretch the web by "
                f"{100.0 * most / stiffness:.0f} %, more than {100.0 * MOST_STRAIN:.0f} %"
            ),
        )


def _diameter_dependent(s: Scenario) -> Iterator[Problem]:
    if s.controller.taper > 0.0 and s.zone != "rewind":
        yield "controller.taper", f"must be left out in zone {s.zone!r}: only a rewind is tapered"
    if s.controller.schedule and s.zone == "pull roll":
        yield "controller.schedule", "must be left out: a pull roll keeps its diameter"


_CHECKS: tuple[Callable[[Scenario], Iterator[Problem]], ...] = (
    _counts,
    _one_load_cell,
    _roll_fits_zone,
    _device_fits_zone,
    _speeds,
    _dead_time_in_scans,
    _tension_in_range,
    _tension_bearable,
    _diameter_dependent,
)


def contradictions(s: Scenario) -> list[Problem]:
    """Return (key, what is allowed) for everything in which sections contradict each other.

    Args:
        s: a scenario, or any object that has some of its sections as attributes.
    """
    found: list[Problem] = []
    for check in _CHECKS:
        try:
            found.extend(check(s))
        except AttributeError:
            continue
    return found


def _doubtful_control(s: Scenario) -> Iterator[str]:
    c, cell = s.controller, s.load_cell
    least = s.run.tension * (1.0 - 0.01 * c.taper)
    level = None if c.break_level is None else 0.01 * c.break_level * c.tension_range
    if level is not None and level >= least:
        yield (
            f"the break level of {level:.4g} N is above the running tension: it would never be "
            "armed, and a web break go unnoticed"
        )
    elif level is not None and level > 0.8 * least:
        yield (
            f"the break level of {level:.4g} N is above 80 % of running tension: a swing would "
            "pass for a web break"
        )
    if c.deadband > 0.0 and 0.01 * c.deadband * c.tension_range > SETTLED * s.run.tension:
        yield (
            f"the deadband leaves the tension up to {0.01 * c.deadband * c.tension_range:.3g} N "
            "off its setpoint: the controller does nothing inside it"
        )
    shown = display_reading(cell, s.run.tension)
    if not 0.0 < shown < c.tension_range:
        yield (
            f"with this zero and gain the running tension reads {shown:.4g} N, outside the "
            f"measured scale of {c.tension_range:.4g} N: zero and calibrate the load cells first"
        )
    elif abs(shown - s.run.tension) > SETTLED * s.run.tension:
        yield (
            f"with this zero and gain the running tension of {s.run.tension:.4g} N reads "
            f"{shown:.4g} N: zero and calibrate the load cells first"
        )
    if cell.resolution > SETTLED * s.run.tension:
        yield f"the reading moves in steps of {cell.resolution:.3g} N: too coarse for this tension"
    core, full = getattr(s.roll, "core_diameter", 0.0), getattr(s.roll, "full_diameter", 0.0)
    low, high = (c.schedule[-1].diameter, c.schedule[0].diameter) if c.schedule else (0.0, 0.0)
    if c.schedule and not (low <= 1.01 * core and high >= 0.99 * full):
        yield (
            f"the gain schedule goes from {1e3 * high:.4g} mm to {1e3 * low:.4g} mm, the roll from "
            f"{1e3 * full:.4g} mm to {1e3 * core:.4g} mm: beyond its ends the gains stay as they "
            "are"
        )


def hunting(s: Scenario) -> str:
    """Return what a sticking supply will do to the loop; empty where it hardly matters.

    Args:
        s: a scenario.
    """
    device, roll = s.torque_device, s.roll
    sticking = getattr(device, "sticking", 0.0)
    step = 0.01 * sticking * (device.full_torque - device.residual_torque) * device.gear_ratio
    sizes = {
        "full roll": step / (0.5 * getattr(roll, "full_diameter", 1.0)),
        "the core": step / (0.5 * getattr(roll, "core_diameter", 1.0)),
    }
    if max(sizes.values()) <= SETTLED * s.run.tension:
        return ""
    where = " and ".join(f"{size:.3g} N at {name}" for name, size in sizes.items())
    return (
        f"the supply of the brake sticks at {sticking:.3g} %, which is {where}: in automatic the "
        "tension will hunt in steps of this size with any gains; mend regulator, valve or brake "
        "before you tune"
    )


def doubts(s: Scenario) -> tuple[str, ...]:
    """Return what is possible but doubtful about a machine."""
    found = []
    breaking, cell = s.web.breaking_tension, s.load_cell
    if breaking is not None and s.run.tension > TENSION_SHARE_WARNED * breaking:
        found.append(
            f"running tension is {100.0 * s.run.tension / breaking:.0f} % of breaking tension; "
            "most webs run near 10 %"
        )
    forces, rated = forces_on(cell, s.run.tension), cell.rated_load * cell.cells
    if abs(forces.weight_load) > rated:
        found.append(
            f"the roller alone loads the cells with {abs(forces.weight_load):.3g} N, more than the "
            f"{rated:.3g} N that they are rated for"
        )
    elif abs(forces.load) > rated:
        found.append(
            f"running tension and roller load the cells with {abs(forces.load):.3g} N, more than "
            f"the {rated:.3g} N that they are rated for"
        )
    if s.run.tension > 0.9 * s.controller.tension_range:
        found.append(
            "running tension is above 90 % of the measured scale: beyond its end the loop is blind"
        )
    if s.run.tension < 0.1 * s.controller.tension_range:
        found.append(
            "running tension is below 10 % of the measured scale: a smaller scale shows more"
        )
    found.extend(_doubtful_control(s))
    if text := hunting(s):
        found.append(text)
    return tuple(found)
