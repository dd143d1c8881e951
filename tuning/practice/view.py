"""What the operator's panel shows of a practice run: readings now, and the last minute."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simulator import control_kernel, run_kernel
from tuning.practice.controls import automatic_now, output_now, setpoint_now
from tuning.practice.drill import Goal
from tuning.practice.drills import DRILLS
from tuning.practice.goal import Held, held, spoilt
from tuning.practice.panel import Line, Panel, Web
from tuning.practice.session import Practice

_SHOWN = (
    run_kernel.TIME, run_kernel.READING, run_kernel.SETPOINT_N, run_kernel.OUTPUT,
    run_kernel.IS_AUTOMATIC,
)  # fmt: skip


# To the eye a web with less tension than this hangs [share of the wanted one, -].
HANGS = 0.01


def panel_of(practice: Practice) -> Panel:
    """Return what the panel shows now.

    Args:
        practice: the run so far.
    """
    running, last = practice.running, practice.window[-1]
    N = running.machine.length.size
    return Panel(
        time=practice.time,
        reading=float(last[run_kernel.READING]),
        # What has just been set is shown at once, before the machine knows it.
        setpoint=setpoint_now(practice),
        output=output_now(practice),
        automatic_output=automatic_output(practice),
        line_speed=running.line_speed,
        diameter=2.0 * float(running.state[2 * N + 2]),
        roll_angle=float(running.state[2 * N + 3]),
        automatic=automatic_now(practice),
        line=_line(practice),
        web=_web(practice),
        wanted=practice.start.wanted,
        recent=np.ascontiguousarray(practice.window[:, _SHOWN]),
        band=DRILLS[practice.setup.drill].goal.band,
    )


def automatic_output(practice: Practice) -> float:
    """Return what the output would be if the controller went to automatic at once [%].

    The controller's own difference equation, tried on a copy of its memory.

    Args:
        practice: the run so far.
    """
    running = practice.running
    memory = running.memory.copy()
    if memory[control_kernel.MODE] == control_kernel.AUTOMATIC:
        return float(memory[control_kernel.LAST_OUTPUT])
    memory[control_kernel.MODE] = control_kernel.AUTOMATIC
    reading = float(practice.window[-1, run_kernel.READING])
    radius = float(running.state[2 * running.machine.length.size + 2])
    return float(control_kernel.control(running.controller, memory, reading, radius, 0.0))


def roll_rests(practice: Practice) -> bool:
    """Return whether the roll stands, so that a broken web can be threaded.

    Args:
        practice: the run so far.
    """
    return bool(run_kernel.rests(practice.running.state, practice.running.machine.length.size))


def held_now(practice: Practice, goal: Goal) -> Held:
    """Return for how long the goal has held now, as far back as the panel's trend goes.

    By the reading, which is all that an operator has; the score goes by the web's own tension.

    Args:
        practice: the run so far.
        goal: of the drill.
    """
    window = practice.window
    now = held(
        goal,
        practice.start,
        time=window[:, run_kernel.TIME],
        tension=window[:, run_kernel.READING],
        line_speed=window[:, run_kernel.LINE_SPEED],
        automatic=window[:, run_kernel.IS_AUTOMATIC],
    )
    return replace(now, time=0.0, mode=False) if spoilt(practice, goal) else now


def _line(practice: Practice) -> Line:
    speed, target = practice.running.line_speed, practice.running.line_ramp[1]
    if speed < target:
        return "speeding up"
    if speed > target:
        return "slowing down"
    return "running" if speed > 0.0 else "standing"


def _web(practice: Practice) -> Web:
    if practice.running.between[run_kernel.BROKEN] > 0.0:
        return "broken"
    spans = practice.window[-1, run_kernel.COLUMNS :]
    return "slack" if np.any(spans <= HANGS * practice.start.wanted) else "taut"
