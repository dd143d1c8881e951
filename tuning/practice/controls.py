"""The controls on the panel: what a push or an entry does to a practice run."""

from __future__ import annotations

from simulator import Action, control_kernel
from simulator.plan import What, scan_of
from tuning.practice.session import Practice, acted, advanced, mean_reading

# After a longer pause than this the run takes up where it was: time it did not have is not made up
# for (a hidden tab, a slow machine) [s].
LONGEST_LAPSE = 1.0


def elapsed(
    practice: Practice, seconds: float, *, pace: float, owed: float
) -> tuple[Practice, float]:
    """Return a run after so much time on the wall, and what is left of a scan [s].

    Args:
        practice: the run so far.
        seconds: gone by on the wall [s].
        pace: how much faster than life it runs [-]; 0 where it stands.
        owed: left of a scan the time before [s].
    """
    scan_time = practice.running.controller.scan_time
    due = owed + pace * min(max(seconds, 0.0), LONGEST_LAPSE)
    scans = int(due / scan_time)
    return advanced(practice, scans), due - scans * scan_time


def _just_done(practice: Practice, *whats: What) -> Action | None:
    """The last of these that was done since the last scan, which the machine does not know yet."""
    for action in reversed(practice.done):
        if scan_of(practice.running.scenario, action) < practice.running.scan:
            break
        if action.what in whats:
            return action
    return None


def output_now(practice: Practice) -> float:
    """Return the output that stands, or was just set [%].

    Args:
        practice: the run so far.
    """
    action = _just_done(practice, "output")
    return action.value if action else float(practice.running.memory[control_kernel.LAST_OUTPUT])


def automatic_now(practice: Practice) -> bool:
    """Return whether the controller is in automatic, or was just switched to it.

    Args:
        practice: the run so far.
    """
    if action := _just_done(practice, "automatic", "manual"):
        return action.what == "automatic"
    return bool(practice.running.memory[control_kernel.MODE] == control_kernel.AUTOMATIC)


def setpoint_now(practice: Practice) -> float:
    """Return the setpoint that stands, or was just set [N].

    Args:
        practice: the run so far.
    """
    action = _just_done(practice, "setpoint")
    return action.value if action else float(practice.running.memory[control_kernel.SETPOINT])


def output_set(practice: Practice, output: float) -> Practice:
    """Return a run with the output set by hand, within its limits.

    Args:
        practice: the run so far.
        output: wanted [%].
    """
    c = practice.start.scenario.controller
    return acted(practice, "output", round(min(max(output, c.output_low), c.output_high), 3))


def output_nudged(practice: Practice, step: float) -> Practice:
    """Return a run with the output a step up or down.

    Args:
        practice: the run so far.
        step: of the output [%].
    """
    return output_set(practice, output_now(practice) + step)


def setpoint_set(practice: Practice, setpoint: float) -> Practice:
    """Return a run with the setpoint set, within the tension range.

    Args:
        practice: the run so far.
        setpoint: wanted [N].
    """
    full = practice.start.scenario.controller.tension_range
    return acted(practice, "setpoint", min(max(setpoint, 0.0), full))


def setpoint_to_reading(practice: Practice) -> Practice:
    """Return a run with the setpoint on what the load cells have read over the last second.

    Args:
        practice: the run so far.
    """
    return setpoint_set(practice, mean_reading(practice))


def line_speed_set(practice: Practice, speed: float) -> Practice:
    """Return a run whose line goes to a speed, at the machine's own rate.

    Args:
        practice: the run so far.
        speed: wanted, up to running speed [m/s].
    """
    run = practice.start.scenario.run
    target = min(max(speed, 0.0), run.line_speed)
    change = target - practice.running.line_speed
    whole = run.acceleration_time
    if change < 0.0 and run.deceleration_time is not None:
        whole = run.deceleration_time
    return acted(practice, "line speed", target, whole * abs(change) / run.line_speed)
