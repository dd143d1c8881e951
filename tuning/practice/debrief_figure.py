"""The picture of a debrief: the run beside the ideal one, with the numbers of its moments."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from simulator import Trend
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
from simulator.units import METRIC, UnitSystem
from tuning.practice.debrief import Debrief
from tuning.practice.goal import averaged
from tuning.practice.measures import TOLERANCE

Array = NDArray[np.float64]

# The display reads something else than the tension where they differ by this [share of wanted, -]
# for so long on end [s]; that it comes a little late is no news.
DIFFERS, FOR_SO_LONG = 0.03, 1.5
# All of the tension is shown within this; beyond it only what is there for long [of wanted, -].
MOST_SHOWN, LONG = 2.0, 0.97
# Room that panels leave for the curves, about [inch], and a number in its circle.
_ROOM, _CIRCLE = WIDTH - 1.3, 0.26
_ROW = 0.26  # [inch]
_IDEAL = (0, (4, 2))


def draw_debrief(debrief: Debrief, units: UnitSystem = METRIC) -> Figure:
    """Draw a run and the ideal one: tension, output, and line speed where it moves.

    The numbers above the picture are those of `debrief.moments`, from 1.

    Args:
        debrief: of the run.
        units: the reader's units.
    """
    run, ideal = debrief.run, debrief.ideal_run
    start, end = float(run.time[0]), float(run.time[-1])
    end = max(end, start + 1.0)
    moves = bool(np.ptp(run.line_speed) > 1e-3)
    places = _places([m.at for m in debrief.moments], start, end)
    rows = max((row for _, row in places), default=-1) + 1
    figure = Figure(
        figsize=(WIDTH, 4.6 + 1.2 * moves + _ROW * rows), dpi=100.0, layout="constrained"
    )
    panels = figure.subplots(
        2 + moves, 1, sharex=True, height_ratios=[3.0, 1.7] + [1.0] * moves, squeeze=False
    )[:, 0]
    _draw_tension(panels[0], debrief, units)
    _draw_output(panels[1], run, ideal, end)
    if moves:
        factor = units.factor("speed")
        plain_panel(panels[2], f"line speed\n[{units.label('speed')}]")
        _ideal_line(panels[2], ideal, ideal.line_speed * factor)
        panels[2].plot(*page_line(run.time, run.line_speed * factor), color=BLACK, linewidth=1.4)
        panels[2].set_ylim(0.0, None)
    panels[-1].set_xlabel("time [s]", fontsize=FONT)
    panels[-1].set_xlim(start, end)
    _shade_automatic(panels, run, start, end)
    _number(panels, debrief, places)
    handles, labels = panels[0].get_legend_handles_labels()
    more, names = panels[1].get_legend_handles_labels()
    handles, labels = [*handles, *more], [*labels, *names]
    if np.any(run.automatic > 0.5):
        handles.append(Patch(facecolor=SKY, alpha=0.25))
        labels.append("in automatic")
    figure.legend(handles, labels, loc="outside lower center", ncols=4, fontsize=SMALL,
                  frameon=False)  # fmt: skip
    return figure


def _draw_tension(panel: Axes, debrief: Debrief, units: UnitSystem) -> None:
    run, wanted, factor = debrief.run, debrief.practice.start.wanted, units.factor("tension")
    plain_panel(panel, f"tension [{units.label('tension')}]")
    panel.axhspan(
        (1.0 - TOLERANCE) * wanted * factor, (1.0 + TOLERANCE) * wanted * factor,
        facecolor=GREEN, alpha=0.12, linewidth=0.0, zorder=0, label="job card ± 10 %",
    )  # fmt: skip
    panel.axhline(wanted * factor, color=GREEN, linewidth=1.0, linestyle=":", label="job card")
    _ideal_line(panel, debrief.ideal_run, debrief.ideal_run.web_tension * factor)
    if _reads_wrong(run, wanted):
        panel.plot(
            *page_line(run.time, run.tension * factor), color=BLUE, linewidth=0.8,
            linestyle=(0, (6, 1)), label="what the display read",
        )  # fmt: skip
    panel.plot(
        *page_line(run.time, run.web_tension * factor), color=VERMILION, linewidth=1.5,
        label="tension of the web",
    )  # fmt: skip
    panel.plot(
        *page_line(run.time, run.setpoint * factor), color=BLACK, linewidth=1.2, linestyle="-.",
        label="setpoint",
    )  # fmt: skip
    low, high = _tension_limits(run, wanted)
    panel.set_ylim(low * factor, high * factor)
    _mark_what_leaves(panel, run, high, units)


def _reads_wrong(run: Trend, wanted: float) -> bool:
    """Whether the display read something else than the tension for more than a moment."""
    differs = np.abs(averaged(run.time, run.tension - run.web_tension)) > DIFFERS * wanted
    edges = np.flatnonzero(np.diff(np.concatenate([[False], differs, [False]])))
    longest = np.diff(edges.reshape(-1, 2)).max(initial=0) / max(run.time.size - 1, 1)
    return bool(longest * (run.time[-1] - run.time[0]) > FOR_SO_LONG)


def _tension_limits(run: Trend, wanted: float) -> tuple[float, float]:
    """Least and largest tension shown [N]; a short swing far out does not press the rest flat."""
    shown = np.concatenate([run.web_tension, run.setpoint])
    most = float(shown.max())
    long = float(np.quantile(run.web_tension, LONG))
    high = min(1.05 * most, max(MOST_SHOWN * wanted, 1.15 * long))
    least = float(shown.min())
    if _reads_wrong(run, wanted):
        least = min(least, float(np.quantile(run.tension, 1.0 - LONG)))
    low = min(0.8 * wanted, least)
    high = max(high, 1.2 * wanted)
    if low < 0.4 * wanted:
        low = -0.03 * high
    else:
        low -= 0.05 * (high - low)
    return low, high


def _mark_what_leaves(panel: Axes, run: Trend, high: float, units: UnitSystem) -> None:
    """Say where the tension leaves the picture, and how far it goes."""
    i = int(np.argmax(run.web_tension))
    most = float(run.web_tension[i])
    if most <= high:
        return
    start, end = float(run.time[0]), float(run.time[-1])
    share = (float(run.time[i]) - start) / max(end - start, 1e-9)
    text = f"▲ up to {units.text(most, 'tension')}"
    # Left or right of the peak, wherever there is more room.
    right = share < 0.6
    panel.annotate(
        text, (float(run.time[i]), 0.99), xycoords=("data", "axes fraction"),
        xytext=(4 if right else -4, 0), textcoords="offset points", va="top",
        ha="left" if right else "right", fontsize=SMALL, color=VERMILION, weight="bold",
        bbox={"facecolor": "white", "alpha": 0.9, "linewidth": 0.0, "pad": 1.0},
    )  # fmt: skip


def _draw_output(panel: Axes, run: Trend, ideal: Trend, end: float) -> None:
    plain_panel(panel, "output [%]")
    panel.plot(
        *page_line(ideal.time, ideal.output), color=GREY, linewidth=1.0, linestyle=_IDEAL, zorder=2
    )
    panel.plot(*page_line(run.time, run.output), color=ORANGE, linewidth=1.6, label="output")
    # The ideal run may be longer than what is shown.
    shown = np.concatenate([run.output, ideal.output[ideal.time <= end]])
    low, high = float(shown.min()), float(shown.max())
    air = max(0.08 * (high - low), 0.5)
    panel.set_ylim(low - air, high + air)


def _ideal_line(panel: Axes, ideal: Trend, values: Array) -> None:
    panel.plot(
        *page_line(ideal.time, values), color=GREY, linewidth=1.0, linestyle=_IDEAL, zorder=2,
        label="ideal run",
    )  # fmt: skip


def _shade_automatic(panels: Array, run: Trend, start: float, end: float) -> None:
    """Shade automatic, and name each stretch above the output panel where there is room for it."""
    edges = np.flatnonzero(np.diff(run.automatic > 0.5)) + 1
    for first, last in zip([0, *edges], [*edges, run.time.size - 1], strict=True):
        begin, until = float(run.time[first]), float(run.time[last])
        automatic = run.automatic[first] > 0.5
        if automatic:
            for panel in panels:
                panel.axvspan(begin, until, facecolor=SKY, alpha=0.15, linewidth=0.0, zorder=0)
        name = "automatic" if automatic else "manual"
        if (until - begin) / (end - start) * _ROOM > text_size(name, points=SMALL)[0] + 0.15:
            panels[1].annotate(
                name, (0.5 * (begin + until), 1.0), xycoords=("data", "axes fraction"),
                xytext=(0, 3), textcoords="offset points", ha="center", fontsize=SMALL,
            )  # fmt: skip


def _places(times: list[float], start: float, end: float) -> list[tuple[float, int]]:
    """Where each number stands: along the panel [s], and in which row above it."""
    apart = _CIRCLE / _ROOM * (end - start)
    last: list[float] = []
    found = []
    for at in times:
        row = next((i for i, x in enumerate(last) if at - x >= apart), len(last))
        if row == len(last):
            last.append(at)
        last[row] = at
        found.append((at, row))
    return found


def _number(panels: Array, debrief: Debrief, places: list[tuple[float, int]]) -> None:
    for number, (at, row) in enumerate(places, start=1):
        for panel in panels:
            panel.axvline(at, color=BLACK, linewidth=0.7, linestyle=":", zorder=1)
        panels[0].annotate(
            str(number), (at, 1.0), xycoords=("data", "axes fraction"),
            xytext=(0, 11 + 72 * _ROW * row), textcoords="offset points", ha="center", va="center",
            # No line from a number above goes over one below.
            fontsize=SMALL, annotation_clip=False, zorder=10.0 - 0.1 * row,
            bbox={"boxstyle": "circle,pad=0.25", "facecolor": "white", "linewidth": 0.9},
            arrowprops={"arrowstyle": "-", "color": BLACK, "linewidth": 0.7, "linestyle": ":",
                        "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
