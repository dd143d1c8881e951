"""The picture of what anti-windup and tracking do."""

from __future__ import annotations

import math
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREEN,
    ORANGE,
    SMALL,
    VERMILION,
    page_line,
    plain_panel,
)
from simulator.units import METRIC, UnitSystem
from tuning.handover_settings import SettingsStudy

# As wide as the switches side by side [inch].
WIDTH = 8.4
# How much time about the switch is shown, at most [s].
SHOWN_BEFORE, SHOWN_AFTER = 2.0, 15.0
_DASHED, _DOTTED = (0, (5, 2)), (0, (1.2, 1.2))


def draw_settings(study: SettingsStudy, units: UnitSystem = METRIC) -> Figure:
    """Draw a run against a limit with and without anti-windup, and a switch with the integral left.

    Args:
        study: what the settings do on a machine.
        units: that the reader wants.
    """
    figure = Figure(figsize=(WIDTH, 5.6), layout="constrained")
    panels = figure.subplots(2, 2, sharex="col")
    _limit(panels[0, 0], panels[1, 0], study, units)
    _integral(panels[0, 1], panels[1, 1], study, units)
    for axes in panels[1]:
        axes.legend(
            loc="upper left", bbox_to_anchor=(-0.02, -0.24), ncols=1, fontsize=SMALL, frameon=False
        )
    return figure


def _limit(tension: Axes, output: Axes, study: SettingsStudy, units: UnitSystem) -> None:
    limit, scale = study.at_limit, units.factor("tension")
    start = limit.asked_from
    late = 0.0
    for run, colour, dash, name in (
        (limit.without, VERMILION, _DASHED, "anti-windup off"),
        (limit.with_anti_windup, BLUE, "-", "anti-windup on"),
    ):
        time = run.trend.time - start
        style: dict[str, Any] = {"color": colour, "ls": dash, "lw": 2.0, "label": name}
        tension.plot(*page_line(time, scale * run.trend.web_tension), **style)
        output.plot(*page_line(time, run.trend.output), **style)
        late = max(late, float(time[-1]) if math.isnan(run.settling) else run.settling)
    trend = limit.without.trend
    tension.step(trend.time - start, scale * trend.setpoint, where="post", color=BLACK, lw=1.2,
                 ls=_DOTTED)  # fmt: skip
    output.plot([], [], color=BLACK, lw=1.2, ls=_DOTTED, label="setpoint")
    output.axhline(limit.limit, color=ORANGE, lw=1.6, ls="-.", label="limit of the output")
    lasts = limit.asked_until - start
    end = min(lasts + 1.25 * late + 2.0, float(trend.time[-1] - start))
    tension.set_xlim(-3.0, end)
    for axes in (tension, output):
        axes.axvspan(0.0, lasts, color=BLACK, alpha=0.06, lw=0.0)
    tension.set_title("At a limit of the output", fontsize=FONT,
                      loc="left")  # fmt: skip
    plain_panel(tension, f"web tension [{units.label('tension')}]")
    plain_panel(output, "output [%]")
    output.set_xlabel("time [s]; grey: setpoint beyond the limit", fontsize=SMALL)


def _integral(tension: Axes, output: Axes, study: SettingsStudy, units: UnitSystem) -> None:
    integral, scale = study.integral, units.factor("tension")
    old = units.text(integral.old_tension, "tension", digits=3)
    for h, colour, dash, name in (
        (integral.at_zero, VERMILION, _DASHED, "tracking off, integral left at 0"),
        (integral.at_old, ORANGE, "-.", f"tracking off, integral left where it held {old}"),
        (integral.tracks, GREEN, "-", "tracking on"),
    ):
        time = h.trend.time - h.switched_at
        style: dict[str, Any] = {"color": colour, "ls": dash, "lw": 2.0, "label": name}
        tension.plot(*page_line(time, scale * h.trend.web_tension), **style)
        output.plot(*page_line(time, h.trend.output), **style)
    for axes in (tension, output):
        axes.axvline(0.0, color=BLACK, lw=1.0, ls=":")
    ends = [h.settling for h in (integral.at_zero, integral.at_old)]
    shown = SHOWN_AFTER if any(map(math.isnan, ends)) else min(1.5 * max(ends), SHOWN_AFTER)
    tension.set_xlim(-SHOWN_BEFORE, max(shown, 2.0))
    tension.set_title("At the switch to automatic", fontsize=FONT, loc="left")
    plain_panel(tension, "")
    plain_panel(output, "")
    output.set_xlabel("time from the switch [s]", fontsize=SMALL)
