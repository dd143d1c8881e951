"""Panels for tests of what the operator sees."""

from dataclasses import replace

import numpy as np

from tuning.practice.panel import Panel


def panel_for(scenario, **changes):
    """A quiet run at the wanted tension, half a minute in manual and then in automatic."""
    time = changes.pop("time", 100.0)
    t = np.arange(time - 60.0, time + 1e-9, 0.1)
    wanted = scenario.run.tension
    recent = np.column_stack(
        [t, np.full_like(t, wanted), np.full_like(t, wanted), np.full_like(t, 40.0), t > time - 30]
    )
    panel = Panel(
        time=time,
        reading=wanted,
        setpoint=wanted,
        output=40.0,
        automatic_output=40.0,
        line_speed=scenario.run.line_speed,
        diameter=0.4,
        roll_angle=1.0,
        automatic=True,
        line="running",
        web="taut",
        wanted=wanted,
        recent=recent,
    )
    return replace(panel, **changes)
