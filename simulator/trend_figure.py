"""The picture of a run: tension, output and whatever else moves, with its events."""

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
    page_line,
    plain_panel,
    text_size,
)
from simulator.reader_units import in_reader_units
from simulator.trend import Trend
from simulator.units import METRIC, UnitSystem

Array = NDArray[np.float64]


def draw_trend(
    trend: Trend,
    *,
    units: UnitSystem = METRIC,
    true_tension: bool = True,
    title: str = "",
) -> Figure:
    """Draw a recorded or simulated run: tension, output and what else moves in it.

    Line speed, roll diameter and the temperature of a brake or clutch get a panel where they move.

    Args:
        trend: the run.
        units: the reader's units.
        true_tension: whether to draw the web's true tension beside the reading, if it is known [-].
        title: of the picture.
    """
    moving = _what_moves(trend, units)
    rows = 2 + len(moving)
    labels = _event_labels(trend, units)
    levels = _levels(trend, labels)
    extra = 0.2 * (max(levels, default=-1) + 1) + 0.3 * bool(title)
    figure = Figure(figsize=(WIDTH, 2.0 + 1.5 * rows + extra), layout="constrained")
    panels = figure.subplots(rows, 1, sharex=True, height_ratios=[3.0, 2.0] + [1.4] * len(moving))
    tension, output = panels[0], panels[1]
    _draw_tension(tension, trend, units, true_tension)
    plain_panel(output, "output [%]")
    output.plot(*page_line(trend.time, trend.output), color=GREEN, linewidth=1.6, label="output")
    for panel, (name, unit, values, colour) in zip(panels[2:], moving, strict=True):
        plain_panel(panel, f"{name}\n[{unit}]")
        panel.plot(*page_line(trend.time, values), color=colour, linewidth=1.6, label=name)
    panels[-1].set_xlabel("time [s]", fontsize=FONT)
    start, end = float(trend.time[0]), float(trend.time[-1])
    panels[-1].set_xlim(start, end if end > start else start + 1.0)
    _mark_phases(panels, trend)
    _mark_events(panels, labels, levels)
    if title:
        figure.suptitle(title, fontsize=FONT + 1.0, parse_math=False)
    figure.legend(loc="outside lower center", ncols=5, fontsize=SMALL, frameon=False)
    return figure


def _what_moves(trend: Trend, units: UnitSystem) -> list[tuple[str, str, Array, str]]:
    """What deserves a panel besides tension and output: (name, unit, values, colour)."""
    found = []
    for name, kind, values, colour, least in (
        ("line speed", "speed", trend.line_speed, GREY, 1e-3),
        ("roll diameter", "diameter", trend.diameter, BLACK, 0.01),
        ("temperature rise", "temperature rise", trend.temperature_rise, ORANGE, 0.03),
    ):
        known = values[np.isfinite(values)]
        if known.size and np.ptp(known) > least * np.abs(known).max():
            found.append((name, units.label(kind), values * units.factor(kind), colour))
    return found


def _draw_tension(panel: Axes, trend: Trend, units: UnitSystem, true_tension: bool) -> None:
    plain_panel(panel, f"tension [{units.label('tension')}]")
    factor = units.factor("tension")
    panel.plot(
        *page_line(trend.time, trend.tension * factor), color=BLUE, linewidth=1.1, label="reading"
    )
    if true_tension and trend.web_tension.size:
        panel.plot(
            *page_line(trend.time, trend.web_tension * factor), color=VERMILION, linewidth=1.4,
            linestyle=(0, (5, 1.5)), label="true tension of the web",
        )  # fmt: skip
    if np.any(np.isfinite(trend.setpoint)):
        panel.plot(
            *page_line(trend.time, trend.setpoint * factor), color=BLACK, linewidth=1.4,
            linestyle="-.", label="setpoint",
        )  # fmt: skip


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
