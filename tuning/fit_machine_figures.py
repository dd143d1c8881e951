"""Picture of a learned machine: its tests before and after, and how far each number moved."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullFormatter
from numpy.typing import NDArray

from simulator import Scenario
from simulator.figure_style import BLACK, BLUE, FONT, GREY, SMALL, VERMILION, WIDTH, plain_panel
from simulator.units import METRIC, UnitSystem
from tuning.core_prediction import CorePrediction
from tuning.fit_machine_words import value_in_words
from tuning.machine_fit import FittedTest, Learned, MachineFit

Array = NDArray[np.float64]

# More tests than this make panels too low to read; the others are counted below.
MOST_PANELS = 4
# Factors beyond these are drawn at the edge.
LEAST_FACTOR, MOST_FACTOR = 0.1, 10.0
DASHED = (0, (5, 2))


def draw_machine_fit(fit: MachineFit, scenario: Scenario, units: UnitSystem = METRIC) -> Figure:
    """Draw recorded tests against the machine as described and as learned, and what was learned.

    Args:
        fit: of one recorded test or several.
        scenario: the machine as described, whose title the picture takes.
        units: that the reader wants.
    """
    shown = fit.tests[:MOST_PANELS]
    above, below = 0.9 + 2.3 * len(shown), 0.7 + 0.36 * len(fit.parameters)
    figure = Figure(figsize=(WIDTH, above + below), layout="constrained")
    grid = figure.add_gridspec(2, 1, height_ratios=(above, below))
    upper, lower = figure.add_subfigure(grid[0]), figure.add_subfigure(grid[1])
    panels = upper.subplots(len(shown), 1, squeeze=False)[:, 0]
    for panel, test in zip(panels, shown, strict=True):
        _draw_test(panel, test, units)
    panels[-1].set_xlabel("time [s]", fontsize=FONT)
    upper.suptitle(
        f"{scenario.title}: fit {fit.fit_percent:.0f} %",
        fontsize=FONT + 1.0,
        fontweight="bold",
        parse_math=False,
    )
    handles, labels = panels[0].get_legend_handles_labels()
    upper.legend(
        handles, labels, loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False
    )
    _draw_parameters(lower.subplots(), fit, len(fit.tests) - len(shown), units)
    return figure


def _draw_test(axes: Axes, test: FittedTest, units: UnitSystem) -> None:
    scale = units.factor("tension")
    recorded = test.trend.tension - test.swing
    axes.plot(test.time, scale * recorded, color=GREY, lw=0.7, label="recorded")
    axes.plot(
        test.time, scale * test.described, color=BLUE, ls=DASHED, lw=1.6, label="as described"
    )
    axes.plot(test.time, scale * test.learned, color=VERMILION, lw=1.8, label="as learned")
    plain_panel(axes, f"tension [{units.label('tension')}]")
    start, end = _worth_a_look(test)
    axes.set_xlim(start, end)
    swings = ", its steady swing taken off" if math.isfinite(test.swing_frequency) else ""
    axes.set_title(
        f"roll {units.text(test.diameter, 'diameter')}, web "
        f"{units.text(test.line_speed, 'speed')}, fit {test.fit_percent:.0f} %, left over "
        f"{units.text(test.residual, 'tension', digits=2)} rms{swings}",
        fontsize=FONT,
        loc="left",
    )


def _worth_a_look(test: FittedTest) -> tuple[float, float]:
    """Return the times [s] about the largest move of the output that show its answer."""
    moves = np.diff(test.trend.output)
    changed = np.flatnonzero(moves) + 1
    chosen = int(changed[int(np.argmax(np.abs(moves[changed - 1]) > 0.5 * np.abs(moves).max()))])
    later = changed[changed > chosen]
    following = float(test.time[later[0]]) if later.size else float(test.time[-1])
    at = float(test.time[chosen])
    # Until the answer has all but come to rest, as the machine learned has it.
    stretch = (test.time >= at) & (test.time <= following)
    part = test.learned[stretch]
    if part.size < 3 or not np.ptp(part) > 0.0:
        return float(test.time[0]), float(test.time[-1])
    moving = np.flatnonzero(np.abs(part - part[-1]) > 0.03 * np.ptp(part))
    rest = float(test.time[stretch][moving[-1]]) if moving.size else following
    end = min(at + 1.5 * max(rest - at, 4.0 * float(np.median(np.diff(test.time)))), following)
    return at - 0.12 * (end - at), end


def _draw_parameters(axes: Axes, fit: MachineFit, missing: int, units: UnitSystem) -> None:
    rows = list(range(len(fit.parameters)))[::-1]
    axes.axvline(1.0, color=BLACK, lw=1.0, ls=(0, (4, 3)), zorder=1)
    low, high = 0.8, 1.25
    for row, p in zip(rows, fit.parameters, strict=True):
        ends = _draw_row(axes, row, p, units)
        low, high = min(low, ends[0] / 1.06), max(high, ends[1] * 1.06)
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    ticks = [x for x in (0.1, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2, 3, 5, 10)
             if low <= x <= high]  # fmt: skip
    if high / low > 3.0:
        ticks = [x for x in ticks if x not in (0.8, 0.9, 1.1, 1.2)]
    axes.set_xticks(ticks)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_yticks(rows, [p.words for p in fit.parameters], fontsize=SMALL)
    axes.set_ylim(-0.6, len(rows) - 0.4)
    plain_panel(axes, "")
    tail = f"   ({missing} more tests were fitted and are not drawn)" if missing else ""
    axes.set_xlabel(f"as learned over as described, with 95 % interval [-]{tail}", fontsize=FONT)


def _draw_row(axes: Axes, row: int, p: Learned, units: UnitSystem) -> tuple[float, float]:
    """Draw one number and return how far its bar goes [-]."""
    words = f"{value_in_words(p.before, p.unit, units)} → {value_in_words(p.after, p.unit, units)}"
    if not p.seen:
        words = f"not seen, left at {value_in_words(p.before, p.unit, units)}"
    elif p.at_limit:
        words += ", at the end of its range"
    _beside(axes, row, words)
    if not p.seen or not p.before > 0.0:
        axes.plot(1.0, row, "x", color=GREY, ms=7, mew=1.5, zorder=3)
        return 1.0, 1.0
    low, at, high = (
        min(max(value / p.before, LEAST_FACTOR), MOST_FACTOR) for value in (p.low, p.after, p.high)
    )
    axes.plot([low, high], [row, row], color=VERMILION, lw=2.4, solid_capstyle="butt", zorder=2)
    for end, value, mark in ((low, p.low, "<"), (high, p.high, ">")):
        cut = not LEAST_FACTOR <= value / p.before <= MOST_FACTOR
        axes.plot(end, row, mark if cut else "|", color=VERMILION, ms=7, mew=1.5, zorder=3)
    axes.plot(at, row, "o", color=VERMILION, ms=6, zorder=4)
    return low, high


def _beside(axes: Axes, row: int, words: str) -> None:
    axes.annotate(
        words, (1.01, row), xycoords=("axes fraction", "data"), va="center", fontsize=SMALL,
        annotation_clip=False,
    )  # fmt: skip


def draw_core_prediction(prediction: CorePrediction, units: UnitSystem = METRIC) -> Figure:
    """Draw a step of the output at the core, as foreseen and, where it is known, as it is.

    Args:
        prediction: of the core.
        units: that the reader wants.
    """
    figure = Figure(figsize=(WIDTH, 3.4), layout="constrained")
    axes = figure.add_subplot()
    scale = units.factor("tension")
    lines = [
        (prediction.model, "process model of the recorded test", GREY, (0, (1, 1.5)), 2.2),
        (prediction.described, "machine as described", BLUE, DASHED, 1.6),
        (prediction.learned, "machine as learned", VERMILION, "-", 1.8),
    ]
    if prediction.true.size:
        lines.insert(0, (prediction.true, "the machine itself", BLACK, "-", 4.0))
    for values, label, colour, dash, width in lines:
        itself = width > 3.0
        axes.plot(prediction.time, scale * values, color=colour, ls=dash, lw=width, label=label,
                  alpha=0.35 if itself else 1.0)  # fmt: skip
    plain_panel(axes, f"change of tension [{units.label('tension')}]")
    axes.set_xlabel("time from the step [s]", fontsize=FONT)
    axes.set_xlim(0.0, float(prediction.time[-1]))
    axes.set_title(
        f"A step of {prediction.step:+.2g} % at the core, "
        f"{units.text(prediction.diameter, 'diameter')}",
        fontsize=FONT, loc="left",
    )  # fmt: skip
    figure.legend(*axes.get_legend_handles_labels(), loc="outside upper left", ncols=4,
                  fontsize=SMALL, frameon=False)  # fmt: skip
    return figure
