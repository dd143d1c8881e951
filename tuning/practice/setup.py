"""What is fixed before a practice run starts: the drill, the machine, the seed and the traps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simulator import Scenario, read_scenario, scenario_text, simulate
from tuning.gains import Gains
from tuning.practice.drill import PracticeError, Start
from tuning.practice.drills import DRILLS
from tuning.practice.traps import TRAPS

# A log keeps the seed as a whole number; more than this a browser can't count exactly.
MOST_SEED = 2**31 - 1
# What runout does to the tension shows within this [s].
SHAKE_TIME = 12.0


@dataclass(frozen=True)
class Setup:
    """A drill on a machine.

    Attributes:
        drill: its key in `DRILLS`.
        scenario: the machine, as `practice_machine` makes it.
        seed: of the noise and of what is left to chance [-].
        traps: their keys in `TRAPS`.
    """

    drill: str
    scenario: Scenario
    seed: int = 0
    traps: tuple[str, ...] = ()


def practice_machine(scenario: Scenario, gains: Gains) -> Scenario:
    """Return a machine to practise on: these gains, and a controller that helps with nothing else.

    No taper, ramp of the setpoint, inertia compensation or schedule, so that the setpoint is the
    tension and what hands do is what happens; the integral term tracks, the setpoint does not
    follow; load cells that are zeroed and calibrated, unless a drill says otherwise. Read back from
    its own text, so that a log repeats it to the last bit.

    Args:
        scenario: the machine.
        gains: for automatic.
    """
    tuned = gains.set_in(scenario)
    true = replace(tuned.load_cell, zero_error=0.0, zero_drift=0.0, gain_error=0.0)
    plain = replace(
        tuned.controller,
        taper=0.0,
        setpoint_rate=None,
        inertia_compensation=0.0,
        tracking=True,
        setpoint_follows=False,
    )
    machine = replace(tuned, controller=plain, load_cell=true)
    return read_scenario(scenario_text(machine), name=scenario.title)


def set_up(setup: Setup) -> Start:
    """Return the start of a drill on its machine, with its traps set.

    Args:
        setup: drill, machine, seed and traps.

    Raises:
        PracticeError: the machine does not suit the drill or a trap, or one is not known.
    """
    if setup.drill not in DRILLS:
        raise PracticeError(f"drill {setup.drill!r}: must be one of {', '.join(DRILLS)}")
    if not 0 <= setup.seed <= MOST_SEED:
        raise PracticeError(f"seed {setup.seed}: must lie between 0 and {MOST_SEED}")
    drill = DRILLS[setup.drill]
    if reason := drill.refused(setup.scenario):
        raise PracticeError(f"drill {drill.title!r} does not suit this machine: {reason}")
    for key in setup.traps:
        if setup.traps.count(key) > 1:
            raise PracticeError(f"trap {key!r}: is set twice")
        if key not in TRAPS:
            raise PracticeError(f"trap {key!r}: must be one of {', '.join(TRAPS)}")
        if reason := trap_refused(setup.scenario, setup.drill, key):
            raise PracticeError(f"trap {TRAPS[key].title!r}: {reason}")
    try:
        start = drill.set_up(setup.scenario, setup.seed)
        for key in setup.traps:
            start = TRAPS[key].set(start, setup.seed)
        return replace(start, shake=_own_shake(start))
    except ValueError as error:
        # What drill and traps make of an odd machine may be no machine any more.
        raise PracticeError(f"drill {drill.title!r} can't be set up here: {error}") from None


def _own_shake(start: Start) -> float:
    """How far runout alone moves the tension at speed, on the roll that the drill ends with [-]."""
    diameter = next((a.value for a in start.plan if a.what == "new roll"), start.diameter)
    quiet = simulate(
        start.scenario, duration=SHAKE_TIME, diameter=diameter, tension=start.wanted, noise=False
    )
    settled = quiet.web_tension[quiet.time > 0.3 * SHAKE_TIME]
    return float(0.5 * np.ptp(settled) / start.wanted)


def trap_refused(scenario: Scenario, drill: str, trap: str) -> str:
    """Return why a trap can't be set; empty where it can.

    Args:
        scenario: the machine.
        drill: key of the drill.
        trap: key of the trap.
    """
    if trap in DRILLS[drill].faults:
        return "this drill has it already, or could not be done with it"
    return TRAPS[trap].refused(scenario)
