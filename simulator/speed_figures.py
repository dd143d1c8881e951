"""The pictures of a start, a stop and a fast stop: output needed, and the simulated run."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREEN,
    GREY,
    ORANGE,
    SKY,
    SMALL,
    VERMILION,
    WIDTH,
    plain_panel,
)
from simulator.operating_point import ROOM
from simulator.scenario import Scenario
from simulator.speed_change import SpeedChange
from simulator.speed_change_curve import CONSTANT_SPEED, SpeedChangeCurve
from simulator.speed_change_run import SpeedChangeRun
from simulator.trend import WEB_BREAK
from simulator.units import METRIC, UnitSystem

Array = NDArray[np.float64]

_LINES = {
    CONSTANT_SPEED: (BLACK, "-", 1.6),
    "start": (BLUE, "--", 2.0),
    "stop": (GREEN, "-.", 2.0),
    "fast stop": (VERMILION, (0, (5, 1.2)), 2.6),
}
_BEYOND = 30.0  # drawn beyond an end of the output at the most [%]
_MOST_TENSION = 4.0  # top of a tension panel, in wanted tensions [-]
_SLACK = 0.13  # depth of the band for slack web, in parts of the panel above it [-]
_CLOSED_FORM: dict[str, Any] = {"color": BLACK, "linewidth": 1.0, "linestyle": "-"}


def draw_speed_changes(
    curve: SpeedChangeCurve,
    *,
    units: UnitSystem = METRIC,
    chosen: SpeedChange | None = None,
) -> Figure:
    """Draw which output holds the tension while the line starts, stops and stops fast.

    Args:
        curve: the output needed over the whole roll.
        units: the reader's units.
        chosen: a change of speed to mark, if any.
    """
    figure = Figure(figsize=(WIDTH, 4.6), layout="constrained")
    panel = figure.subplots()
    by_diameter = curve.against == "diameter"
    kind = "diameter" if by_diameter else "speed"
    x = curve.places * units.factor(kind)
    for line in curve.lines:
        colour, dash, thick = _LINES[line.name]
        name = f"{line.name} in {line.time:.3g} s" if np.isfinite(line.time) else line.name
        panel.plot(x, line.outputs, color=colour, linestyle=dash, linewidth=thick, label=name)
    plain_panel(panel, "output that holds the tension [%]")
    values = np.concatenate([line.outputs for line in curve.lines])
    _reach(panel, values, low=curve.output_low, high=curve.output_high)
    what = "roll diameter" if by_diameter else "line speed"
    panel.set_xlabel(f"{what} [{units.label(kind)}]", fontsize=FONT)
    if chosen is not None:
        at = units.show(chosen.diameter if by_diameter else chosen.line_speed, kind)
        bottom, top = panel.get_ylim()
        # Far out of reach, the mark stays at the edge that it is beyond.
        y = min(max(chosen.output_needed, bottom), top)
        panel.axvline(at, color=BLACK, linewidth=0.8, linestyle=":", zorder=1)
        panel.plot(
            [at], [y], marker="o", color=BLACK, markersize=8, linestyle="none", zorder=6,
            clip_on=False, label=f"chosen {chosen.kind}",
        )  # fmt: skip
    figure.legend(loc="outside lower center", ncols=5, fontsize=SMALL, frameon=False)
    return figure


def _reach(panel: Axes, values: Array, *, low: float, high: float) -> None:
    """Mark what the device can't do, and where it has little room."""
    bottom = max(min(float(values.min()), low), low - _BEYOND)
    top = min(max(float(values.max()), high), high + _BEYOND)
    # A line that ends beyond the limits does not end on the picture's edge.
    bottom, top = bottom - 4.0 * (bottom < low), top + 4.0 * (top > high)
    panel.set_ylim(bottom, top)
    for start, end in ((low, low + ROOM), (high - ROOM, high)):
        panel.axhspan(start, end, facecolor=ORANGE, alpha=0.25, hatch="//", linewidth=0.0)
        _beside(panel, 0.5 * (start + end), "little room")
    for start, end in ((bottom, low), (high, top)):
        if start < end:
            panel.axhspan(start, end, facecolor=GREY, alpha=0.25, hatch="xx", linewidth=0.0)
            # Far enough from the words for the room beside it.
            middle = 0.5 * (start + end)
            y = min(middle, low - 8.0) if end == low else max(middle, high + 8.0)
            _beside(panel, y, "out of reach")


def draw_speed_change_run(
    scenario: Scenario,
    change: SpeedChange,
    runs: tuple[SpeedChangeRun, ...],
    *,
    units: UnitSystem = METRIC,
) -> Figure:
    """Draw a simulated start, stop or fast stop, without and with inertia compensation.

    Args:
        scenario: the machine.
        change: the closed form of the same change.
        runs: without and with compensation, in manual and, if there are, in automatic.
        units: the reader's units.
    """
    modes = [False, True] if any(run.automatic for run in runs) else [False]
    figure = Figure(figsize=(WIDTH, 3.9 + 2.4 * len(modes)), layout="constrained")
    panels = figure.subplots(
        2 + len(modes), 1, sharex=True, height_ratios=[1.2, *[3.0] * len(modes), 2.0]
    )
    speed, output = panels[0], panels[-1]
    plain_panel(speed, f"line speed\n[{units.label('speed')}]")
    trend = runs[0].trend
    speed.plot(trend.time, trend.line_speed * units.factor("speed"), color=GREY, linewidth=1.8)
    speed.set_ylim(0.0, None)
    highest = _top(change, runs)
    for panel, automatic in zip(panels[1:-1], modes, strict=True):
        shown = [run for run in runs if run.automatic == automatic]
        name = "in automatic" if automatic else "in manual"
        plain_panel(panel, f"tension {name} [{units.label('tension')}]")
        for run in shown:
            _draw_run(panel, run, units)
        _tension_marks(panel, scenario, change, units, top=highest)
        _lost_marks(panel, shown)
    plain_panel(output, "output in\nmanual [%]")
    for run in runs:
        if not run.automatic:
            output.plot(run.trend.time, run.trend.output, **_style(run))
    c = scenario.controller
    room = 0.08 * (c.output_high - c.output_low)
    output.set_ylim(c.output_low - room, c.output_high + room)
    for end in (c.output_low, c.output_high):
        output.axhline(end, color=GREY, linewidth=1.0, linestyle="--")
        _beside(output, end, f"limit {end:.3g} %")
    output.set_xlabel("time [s]", fontsize=FONT)
    output.set_xlim(float(trend.time[0]), float(trend.time[-1]))
    for panel in panels:
        panel.axvspan(runs[0].begins, runs[0].ends, facecolor=SKY, alpha=0.12, linewidth=0.0)
    how = f"{change.kind} in {change.time:.3g} s"
    if change.kind == "start":
        how += " from standstill, here from crawl speed,"
    at = units.text(change.diameter, "diameter")
    speed.set_title(
        f"{how[:1].upper()}{how[1:]} at {at}: simulated, without noise",
        fontsize=FONT + 1.0, parse_math=False,
    )  # fmt: skip
    figure.legend(
        handles=_legend(change, runs), loc="outside lower center", ncols=4, fontsize=SMALL,
        frameon=False,
    )  # fmt: skip
    return figure


def _top(change: SpeedChange, runs: tuple[SpeedChangeRun, ...]) -> float:
    most = max(run.largest_tension for run in runs)
    return min(1.08 * max(most, 1.25 * change.tension), _MOST_TENSION * change.tension)


def _style(run: SpeedChangeRun) -> dict[str, Any]:
    if run.compensation == 0.0:
        return {"color": VERMILION, "linewidth": 1.6, "linestyle": "-"}
    return {"color": BLUE, "linewidth": 1.8, "linestyle": (0, (5, 1.5))}


def _draw_run(panel: Axes, run: SpeedChangeRun, units: UnitSystem) -> None:
    factor = units.factor("tension")
    panel.plot(run.trend.time, run.trend.web_tension * factor, **_style(run))
    if np.any(np.isfinite(run.closed_form)):
        # No tension is below 0: there the closed form says slack.
        expected = np.maximum(run.closed_form, 0.0)
        panel.plot(run.trend.time, expected * factor, zorder=4, **_CLOSED_FORM)


def _tension_marks(
    panel: Axes, scenario: Scenario, change: SpeedChange, units: UnitSystem, *, top: float
) -> None:
    """Wanted tension, the tension that breaks the web, and slack."""
    wanted, most = units.show(change.tension, "tension"), units.show(top, "tension")
    panel.axhline(wanted, color=GREY, linewidth=1.4, linestyle="-.", zorder=2)
    _beside(panel, wanted, f"wanted {wanted:.3g}")
    panel.set_ylim(-_SLACK * most, most)
    panel.set_yticks([tick for tick in panel.get_yticks() if 0.0 <= tick <= most])
    panel.axhspan(-_SLACK * most, 0.0, facecolor=GREY, alpha=0.25, hatch="xx", linewidth=0.0)
    _beside(panel, -0.5 * _SLACK * most, "slack web")
    limit = scenario.web.breaking_tension
    if limit is None:
        return
    shown = units.show(limit, "tension")
    if shown < most:
        panel.axhline(shown, color=VERMILION, linewidth=1.8, linestyle=(0, (6, 2)))
        # Not on top of the word for the wanted tension.
        gap = 0.1 * most
        _beside(panel, shown if abs(shown - wanted) > gap else wanted + gap, f"breaks {shown:.3g}")
    else:
        panel.annotate(
            f"the web breaks at {units.text(limit, 'tension')}, above the picture", (0.99, 1.0),
            xycoords="axes fraction", xytext=(0, 2), textcoords="offset points", ha="right",
            fontsize=SMALL,
        )  # fmt: skip


def _lost_marks(panel: Axes, runs: list[SpeedChangeRun]) -> None:
    """A cross where each run loses its web."""
    for run in runs:
        if not run.lost:
            continue
        at = next(time for time, text in run.trend.events if text == run.lost)
        height = panel.get_ylim()[1] * 0.93 if run.lost == WEB_BREAK else 0.0
        panel.plot(
            [at], [height], marker="X", markersize=9, color=str(_style(run)["color"]),
            markeredgecolor=BLACK, linestyle="none", zorder=6, clip_on=False,
        )  # fmt: skip


def _legend(change: SpeedChange, runs: tuple[SpeedChangeRun, ...]) -> list[Line2D]:
    names = {0.0: "without inertia compensation"}
    if change.compensation > 0.0:
        names[change.compensation] = f"with {change.compensation:.3g} % inertia compensation"
    entries = [
        Line2D([], [], label=name, **_style(next(run for run in runs if run.compensation == share)))
        for share, name in names.items()
    ]  # fmt: skip
    entries.append(Line2D([], [], label="what the tension settles at, by formula", **_CLOSED_FORM))
    for lost in sorted({run.lost for run in runs if run.lost}):
        name = "web breaks" if lost == WEB_BREAK else "web goes slack"
        entries.append(
            Line2D([], [], label=name, marker="X", markersize=9, color="white",
                   markeredgecolor=BLACK, linestyle="none")
        )  # fmt: skip
    return entries


def _beside(panel: Axes, y: float, text: str) -> None:
    """Write to the right of a panel, at a height in its data."""
    panel.annotate(
        text, (1.0, y), xycoords=("axes fraction", "data"), xytext=(5, 0), va="center",
        textcoords="offset points", fontsize=SMALL, annotation_clip=False,
    )  # fmt: skip
