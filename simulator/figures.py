"""The pictures of the simulator's results: manual output, trend; the web path is drawn elsewhere.

All return a `matplotlib.figure.Figure` and take the reader's units.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
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
    text_size,
)
from simulator.line_drawing import draw_line
from simulator.manual_output import ManualOutputCurve
from simulator.operating_point import OperatingPoint
from simulator.reader_units import in_reader_units
from simulator.trend import Trend
from simulator.units import METRIC, UnitSystem

__all__ = ["draw_line", "draw_manual_output", "draw_trend"]

Array = NDArray[np.float64]

_MOST_POINTS = 1200  # pairs of least and largest value drawn for one line [-]
_MOST_TENSION = 4.0  # top of the tension panel, in wanted tensions [-]
_STYLES = ((BLUE, "-"), (ORANGE, "--"))


def draw_manual_output(
    curve: ManualOutputCurve,
    *,
    units: UnitSystem = METRIC,
    chosen: OperatingPoint | None = None,
) -> Figure:
    """Draw which output holds a tension, how much room it leaves, and what heat it makes.

    Args:
        curve: the manual output over the whole roll.
        units: the reader's units.
        chosen: an operating point to mark, if any.
    """
    figure = Figure(figsize=(WIDTH, 7.6), layout="constrained")
    output, tension, power = figure.subplots(3, 1, sharex=True, height_ratios=(4, 3, 3))
    by_diameter = curve.against == "diameter"
    for line, (colour, dash) in zip(curve.lines, _STYLES, strict=False):
        x = [
            units.show(p.diameter, "diameter") if by_diameter else units.show(p.line_speed, "speed")
            for p in line.points
        ]
        name = f"at {line.name}" if by_diameter else line.name
        style = {"color": colour, "linestyle": dash, "linewidth": 2.0}
        output.plot(x, [p.output for p in line.points], label=name, **style)
        low = [units.show(max(p.tension_low, 0.0), "tension") for p in line.points]
        high = [units.show(max(p.tension_high, 0.0), "tension") for p in line.points]
        tension.plot(x, low, **style)
        tension.plot(x, high, **style)
        tension.fill_between(x, low, high, color=colour, alpha=0.10, linewidth=0.0)
        power.plot(x, [units.show(p.slip_power, "power") for p in line.points], **style)
    _output_room(output, curve)
    _tension_reach(tension, curve, units)
    _heat(power, curve, units)
    if by_diameter:
        power.set_xlabel(f"roll diameter [{units.label('diameter')}]", fontsize=FONT)
    else:
        power.set_xlabel(f"line speed [{units.label('speed')}]", fontsize=FONT)
    if chosen is not None:
        x_at = (
            units.show(chosen.diameter, "diameter")
            if by_diameter
            else units.show(chosen.line_speed, "speed")
        )
        mark = {
            "marker": "o",
            "color": BLACK,
            "markersize": 8,
            "linestyle": "none",
            "zorder": 6,
            "clip_on": False,
        }
        output.plot([x_at], [chosen.output], label="chosen point", **mark)
        power.plot([x_at], [units.show(chosen.slip_power, "power")], **mark)
        for panel in (output, tension, power):
            panel.axvline(x_at, color=BLACK, linewidth=0.8, linestyle=":", zorder=1)
    figure.legend(loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False)
    return figure


def _beside(panel: Axes, y: float, text: str, colour: str = BLACK) -> None:
    """Write to the right of a panel, at a height in its data."""
    panel.annotate(
        text, (1.0, y), xycoords=("axes fraction", "data"), xytext=(5, 0), color=colour,
        textcoords="offset points", va="center", fontsize=SMALL, annotation_clip=False,
    )  # fmt: skip


def _output_room(panel: Axes, curve: ManualOutputCurve) -> None:
    plain_panel(panel, "output [%]")
    low, high = curve.output_low, curve.output_high
    values = [p.output for line in curve.lines for p in line.points]
    bottom = max(min(*values, low), low - 30.0)
    top = min(max(*values, high), high + 30.0)
    # A line that ends beyond the limits does not end on the picture's edge.
    bottom, top = bottom - 4.0 * (bottom < low), top + 4.0 * (top > high)
    panel.set_ylim(bottom, top)
    for start, end in ((low, low + curve.room), (high - curve.room, high)):
        panel.axhspan(start, end, facecolor=ORANGE, alpha=0.25, hatch="//", linewidth=0.0)
        _beside(panel, 0.5 * (start + end), "little room")
    for start, end in ((bottom, low), (high, top)):
        if start < end:
            panel.axhspan(start, end, facecolor=GREY, alpha=0.25, hatch="xx", linewidth=0.0)
            # Far enough from the words for the room beside it.
            middle = min(start, low - 6.0) if end == low else max(end, high + 6.0)
            _beside(panel, middle, "out of reach")


def _tension_reach(panel: Axes, curve: ManualOutputCurve, units: UnitSystem) -> None:
    plain_panel(panel, f"tension [{units.label('tension')}]")
    wanted = units.show(curve.tension, "tension")
    panel.axhline(wanted, color=BLACK, linewidth=1.6, linestyle="-.")
    _beside(panel, wanted, f"wanted {wanted:.4g}")
    points = [p for line in curve.lines for p in line.points]
    most = units.show(max(p.tension_high for p in points), "tension")
    top = min(1.06 * max(most, 1.1 * wanted), _MOST_TENSION * wanted)
    panel.set_ylim(0.0, top)
    # Where the lines end at the right, and not on top of the word for the wanted tension.
    for name, tensions in (
        (f"at {curve.output_low:.3g} %", [ln.points[-1].tension_low for ln in curve.lines]),
        (f"at {curve.output_high:.3g} %", [ln.points[-1].tension_high for ln in curve.lines]),
    ):
        y = min(max(units.show(max(tensions), "tension"), 0.03 * top), 0.97 * top)
        if abs(y - wanted) < 0.11 * top:
            y = wanted + (0.11 * top if y >= wanted else -0.11 * top)
        _beside(panel, y, name)


def _heat(panel: Axes, curve: ManualOutputCurve, units: UnitSystem) -> None:
    what = "mechanical power" if curve.device == "torque motor" else "heat"
    plain_panel(panel, f"{what} [{units.label('power')}]")
    most = max(p.slip_power for line in curve.lines for p in line.points)
    rating = curve.continuous_heat
    # A rating far above everything would press the lines flat; then only the words tell it.
    if rating is not None:
        shown = units.show(rating, "power")
        if rating <= 3.0 * most:
            panel.axhline(shown, color=VERMILION, linewidth=1.8, linestyle=(0, (6, 2)))
            _beside(panel, shown, f"continuous\nrating {shown:.4g}")
        else:
            panel.annotate(
                f"continuous rating {units.text(rating, 'power')}, above the picture", (0.99, 1.0),
                xycoords="axes fraction", xytext=(0, 4), textcoords="offset points", ha="right",
                fontsize=SMALL,
            )  # fmt: skip
        most = max(most, rating if rating <= 3.0 * most else 0.0)
    panel.set_ylim(0.0, 1.12 * units.show(most, "power") or 1.0)


def draw_trend(
    trend: Trend,
    *,
    units: UnitSystem = METRIC,
    true_tension: bool = True,
    title: str = "",
) -> Figure:
    """Draw a recorded or simulated run: tension, output and, where it changes, line speed.

    Args:
        trend: the run.
        units: the reader's units.
        true_tension: whether to draw the web's true tension beside the reading, if it is known [-].
        title: of the picture.
    """
    moving = bool(np.any(np.abs(np.diff(trend.line_speed[np.isfinite(trend.line_speed)])) > 1e-9))
    rows = 3 if moving else 2
    labels = _event_labels(trend, units)
    levels = _levels(trend, labels)
    extra = 0.2 * (max(levels, default=-1) + 1) + 0.3 * bool(title)
    figure = Figure(figsize=(WIDTH, 2.0 + 1.5 * rows + extra), layout="constrained")
    panels = figure.subplots(rows, 1, sharex=True, height_ratios=(3, 2, 1.4)[:rows])
    tension, output = panels[0], panels[1]
    _draw_tension(tension, trend, units, true_tension)
    plain_panel(output, "output [%]")
    output.plot(*_thinned(trend.time, trend.output), color=GREEN, linewidth=1.6, label="output")
    if moving:
        plain_panel(panels[2], f"line speed\n[{units.label('speed')}]")
        speed = trend.line_speed * units.factor("speed")
        panels[2].plot(*_thinned(trend.time, speed), color=GREY, linewidth=1.6, label="line speed")
    panels[-1].set_xlabel("time [s]", fontsize=FONT)
    start, end = float(trend.time[0]), float(trend.time[-1])
    panels[-1].set_xlim(start, end if end > start else start + 1.0)
    _mark_phases(panels, trend)
    _mark_events(panels, labels, levels)
    if title:
        figure.suptitle(title, fontsize=FONT + 1.0, parse_math=False)
    figure.legend(loc="outside lower center", ncols=5, fontsize=SMALL, frameon=False)
    return figure


def _draw_tension(panel: Axes, trend: Trend, units: UnitSystem, true_tension: bool) -> None:
    plain_panel(panel, f"tension [{units.label('tension')}]")
    factor = units.factor("tension")
    panel.plot(
        *_thinned(trend.time, trend.tension * factor), color=BLUE, linewidth=1.1, label="reading"
    )
    if true_tension and trend.web_tension.size:
        panel.plot(
            *_thinned(trend.time, trend.web_tension * factor), color=VERMILION, linewidth=1.4,
            linestyle=(0, (5, 1.5)), label="true tension of the web",
        )  # fmt: skip
    if np.any(np.isfinite(trend.setpoint)):
        panel.plot(
            *_thinned(trend.time, trend.setpoint * factor), color=BLACK, linewidth=1.4,
            linestyle="-.", label="setpoint",
        )  # fmt: skip


def _thinned(time: Array, values: Array) -> tuple[Array, Array]:
    """Least and largest value of each short stretch of time, in order: all that a page can show."""
    n = time.size
    if n <= 2 * _MOST_POINTS:
        return time, values
    edges = np.linspace(0, n, _MOST_POINTS + 1).astype(np.int64)[:-1]
    low = np.fmin.reduceat(values, edges)
    high = np.fmax.reduceat(values, edges)
    # A stretch that falls is drawn falling.
    falls = values[edges] > values[np.append(edges[1:], n) - 1]
    first, second = np.where(falls, high, low), np.where(falls, low, high)
    stretch = np.append(np.diff(time[edges]), time[-1] - time[edges[-1]])
    x = np.column_stack([time[edges], time[edges] + 0.5 * stretch]).ravel()
    y = np.column_stack([first, second]).ravel()
    return np.append(x, time[-1]), np.append(y, values[-1])


def _event_labels(trend: Trend, units: UnitSystem) -> list[tuple[float, str]]:
    """Events in the reader's units, in order; what happens at almost the same time is one label."""
    last = float(trend.time[-1] - trend.time[0])
    found: list[tuple[float, str]] = []
    for time, text in sorted(trend.events):
        label = in_reader_units(text, units)
        if found and time - found[-1][0] < 0.004 * last:
            found[-1] = (found[-1][0], f"{found[-1][1]}, {label}")
        else:
            found.append((time, label))
    return found


def _levels(trend: Trend, labels: list[tuple[float, str]]) -> list[int]:
    """How many rows up each label goes, so that none covers another or is crossed by its line.

    A label starts at its event and runs to the right: it must go higher than every label that
    starts below it.
    """
    start, end = float(trend.time[0]), float(trend.time[-1])
    widths = [text_size(text, points=SMALL)[0] + 0.12 for _, text in labels]
    room = WIDTH - 1.2
    # The last labels may reach past the panel's end, and the panel gives way.
    shares = [(time - start) / max(end - start, 1e-12) for time, _ in labels]
    for share, width in zip(shares, widths, strict=True):
        if share > 0.0:
            room = min(room, (WIDTH - 0.9 - width) / share)
    room = max(room, 0.4 * WIDTH)
    levels = [0] * len(labels)
    for i in range(len(labels) - 1, -1, -1):
        reach = shares[i] * room + widths[i]
        below = [levels[j] for j in range(i + 1, len(labels)) if shares[j] * room < reach]
        levels[i] = max(below, default=-1) + 1
    return levels


def _mark_events(panels: Array, labels: list[tuple[float, str]], levels: list[int]) -> None:
    for (time, text), level in zip(labels, levels, strict=True):
        for panel in panels:
            panel.axvline(time, color=BLACK, linewidth=0.9, linestyle=":", zorder=1)
        panels[0].annotate(
            f" {text}", (time, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 5 + 14 * level),
            textcoords="offset points", fontsize=SMALL, ha="left", va="bottom",
            annotation_clip=False, parse_math=False,
            arrowprops={"arrowstyle": "-", "color": BLACK, "linewidth": 0.9, "linestyle": ":",
                        "relpos": (0.0, 0.0), "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip


def _phases(trend: Trend) -> Iterator[tuple[float, float, bool]]:
    """Yield (start [s], end [s], automatic) for each stretch in which the mode is known."""
    known = np.isfinite(trend.automatic)
    mode = np.where(known, trend.automatic > 0.5, -1).astype(int)
    edges = np.flatnonzero(np.diff(mode)) + 1
    for first, last in zip([0, *edges], [*edges, mode.size - 1], strict=True):
        if mode[first] >= 0:
            yield float(trend.time[first]), float(trend.time[last]), bool(mode[first])


def _mark_phases(panels: Array, trend: Trend) -> None:
    """Shade automatic, and name each phase above the output panel where there is room for it."""
    whole = max(float(trend.time[-1] - trend.time[0]), 1e-12)
    for start, end, automatic in _phases(trend):
        name = "automatic" if automatic else "manual"
        if automatic:
            for panel in panels:
                panel.axvspan(start, end, facecolor=SKY, alpha=0.13, linewidth=0.0, zorder=0)
        if (end - start) / whole * (WIDTH - 3.0) > text_size(name, points=SMALL)[0]:
            panels[1].annotate(
                name, (0.5 * (start + end), 1.0), xycoords=("data", "axes fraction"),
                xytext=(0, 3), textcoords="offset points", ha="center", fontsize=SMALL,
            )  # fmt: skip
