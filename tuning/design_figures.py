"""Pictures of gains for the whole roll: Ms over the roll, the schedule, what calm costs."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from matplotlib.ticker import ScalarFormatter

from simulator.figure_style import BLACK, BLUE, FONT, GREEN, SMALL, VERMILION, WIDTH, plain_panel
from simulator.units import METRIC, UnitSystem, sensible
from tuning.design import RollCase, RollDesign
from tuning.detuning import Detuned
from tuning.roll_grid import SensitivityMap

# Ms from here on is one colour.
MS_SHOWN = 3.0
# Light is calm; the scale is read without colour, too.
SHADES = "cividis_r"


def draw_sensitivity_map(
    over: SensitivityMap, design: RollDesign, units: UnitSystem = METRIC
) -> Figure:
    """Draw Ms over diameter and speed, with the limit as a line and what binds marked.

    Args:
        over: Ms of the recommended gains over the roll.
        design: whose gains they are.
        units: that the reader wants.
    """
    if over.diameters.size == 1 or over.speeds.size == 1:
        return _draw_line(over, design, units)
    figure = Figure(figsize=(WIDTH, 4.8), layout="constrained")
    axes = figure.add_subplot()
    x, y = units.factor("diameter") * over.diameters, units.factor("speed") * over.speeds
    Ms = np.minimum(over.Ms, MS_SHOWN).T
    top = max(design.ms_limit, float(Ms.max()))
    levels = np.linspace(1.0, top, 25)
    filled = axes.contourf(x, y, Ms, levels=levels, cmap=SHADES)
    # Where Ms rises far, lines a tenth apart would lie on each other.
    step = 0.1 if top < 1.7 else 0.5
    lines = [m for m in np.arange(1.0 + step, top, step) if abs(m - design.ms_limit) > 0.01]
    drawn = axes.contour(x, y, Ms, levels=lines, colors=BLACK, linewidths=0.5)
    for label in axes.clabel(drawn, fmt="%.1f", fontsize=SMALL):
        label.set_path_effects([withStroke(linewidth=2.5, foreground="white")])
    if over.Ms.max() > design.ms_limit > over.Ms.min():
        axes.contour(x, y, Ms, levels=[design.ms_limit], colors=VERMILION, linewidths=2.4)
    bar = figure.colorbar(filled, ax=axes, pad=0.02, ticks=np.arange(1.0, MS_SHOWN + 0.1, 0.2))
    bar.set_label("largest sensitivity Ms [-]", fontsize=FONT)
    bar.ax.axhline(design.ms_limit, color=VERMILION, lw=2.4)
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter(ScalarFormatter())
    ticks = _speed_ticks(float(y.min()), float(y.max()))
    axes.set_yticks(ticks, [sensible(tick, 2) for tick in ticks])
    axes.minorticks_off()
    _mark(axes, design.worst, "*", 18.0, "worst", units)
    if design.binds_proportional is not None and design.kind != "I":
        _mark(axes, design.binds_proportional, "s", 13.0, "limits Kc", units)
    if design.binds_integral is not None:
        _mark(axes, design.binds_integral, "o", 20.0, "limits Kc/Ti", units)
    axes.set_xlabel(f"roll diameter [{units.label('diameter')}]", fontsize=FONT)
    axes.set_ylabel(f"line speed [{units.label('speed')}]", fontsize=FONT)
    axes.set_title(_worst_words(over, design), fontsize=FONT, loc="left", pad=12.0)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=3, fontsize=SMALL,
                frameon=False)  # fmt: skip
    axes.margins(0.0)
    return figure


def draw_schedule(design: RollDesign, units: UnitSystem = METRIC) -> Figure:
    """Draw a gain schedule beside the one set for the whole roll, and what it buys.

    Args:
        design: with a schedule.
        units: that the reader wants.
    """
    figure = Figure(figsize=(WIDTH, 3.6), layout="constrained")
    kc, ki, bought = figure.subplots(1, 3)
    scale = units.factor("diameter")
    at = [entry.diameter for entry in design.schedule.entries]
    fine = np.linspace(min(at), max(at), 100)
    between = [design.schedule.gains_at(float(D)) for D in fine]
    for axes, name, label in ((kc, "Kc", "Kc [%/%]"), (ki, "Ki", "Kc/Ti [1/s]")):
        fixed = getattr(design.gains, name)
        values = [getattr(g, name) for g in between]
        axes.plot(scale * fine, values, color=GREEN, lw=1.8, label="gains that follow the diameter")
        points = [getattr(entry.gains, name) for entry in design.schedule.entries]
        axes.plot([scale * D for D in at], points, "^", color=GREEN, ms=8, label="its points")
        axes.axhline(fixed, color=BLACK, ls=(0, (4, 3)), lw=1.4, label="one set for the whole roll")
        plain_panel(axes, label)
        axes.set_ylim(0.0, 1.15 * max(*values, fixed))
    gained = design.schedule.gained
    bought.plot([scale * g.diameter for g in gained], [100.0 / g.ratio for g in gained], color=BLUE,
                marker="o", ms=5, lw=1.6)  # fmt: skip
    bought.axhline(100.0, color=BLACK, ls=(0, (4, 3)), lw=1.4)
    plain_panel(bought, "error left after a load [% of fixed]")
    bought.set_ylim(0.0, 115.0)
    for axes in (kc, ki, bought):
        axes.set_xlabel(f"roll diameter [{units.label('diameter')}]", fontsize=FONT)
    figure.legend(*kc.get_legend_handles_labels(), loc="outside upper left", ncols=3,
                  fontsize=SMALL, frameon=False)  # fmt: skip
    return figure


def draw_detuning(detuned: Sequence[Detuned], design: RollDesign) -> Figure:
    """Draw what a load leaves behind against the limit on Ms.

    Args:
        detuned: the best gains for each limit.
        design: the recommended gains.
    """
    figure = Figure(figsize=(WIDTH, 3.2), layout="constrained")
    axes = figure.add_subplot()
    limits = [one.ms_limit for one in detuned]
    ratios = [one.error_ratio for one in detuned]
    axes.plot(limits, ratios, color=BLUE, marker="o", ms=6, lw=1.6)
    for limit, ratio in zip(limits, ratios, strict=True):
        axes.annotate(f"{ratio:.2g}×", (limit, ratio), (4, 6), textcoords="offset points",
                      fontsize=SMALL)  # fmt: skip
    axes.plot(design.ms_limit, 1.0, "*", ms=17, mfc="none", mec=BLACK, mew=1.3)
    plain_panel(axes, "error after a load,\nagainst the recommended gains")
    axes.set_ylim(0.0, 1.12 * max(ratios))
    axes.set_xlabel("limit on Ms [-]: calm to the left, lively to the right", fontsize=FONT)
    return figure


def _mark(
    axes: Axes, case: RollCase, marker: str, size: float, words: str, units: UnitSystem
) -> None:
    axes.plot(
        units.factor("diameter") * case.diameter, units.factor("speed") * case.line_speed,
        marker, ms=size, mfc="white" if marker == "*" else "none", mec=BLACK, mew=1.6, ls="none",
        label=f"{words}: {units.text(case.diameter, 'diameter')}, "
        f"{units.text(case.line_speed, 'speed')}",
        clip_on=False, zorder=5,
    )  # fmt: skip


def _speed_ticks(low: float, high: float) -> list[float]:
    """Return about five speeds, evenly in ratio, the ends among them."""
    inner = [
        digit * 10.0**power
        for power in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        for digit in (1.0, 2.0, 5.0)
    ]
    return [low, *(tick for tick in inner if 1.25 * low < tick < 0.8 * high), high]


def _worst_words(over: SensitivityMap, design: RollDesign) -> str:
    if not np.isfinite(over.Ms).all():
        return "These gains make the loop unstable on part of the roll (darkest)"
    Ms = design.worst.margins.Ms
    kept = "within" if Ms <= design.ms_limit else "above"
    limit = f"{kept} the limit of {design.ms_limit:g}"
    return f"Ms is {Ms:.2f} at its worst, {limit}; light is calm, dark is lively"


def _draw_line(over: SensitivityMap, design: RollDesign, units: UnitSystem) -> Figure:
    """Draw Ms over the one thing that varies: speed, or diameter where the speed is one."""
    figure = Figure(figsize=(WIDTH, 3.2), layout="constrained")
    axes = figure.add_subplot()
    kind = "speed" if over.diameters.size == 1 else "diameter"
    values = over.speeds if kind == "speed" else over.diameters
    at = units.factor(kind) * values
    Ms = np.where(np.isfinite(over.Ms), over.Ms, math.nan).ravel()
    axes.plot(at, Ms, color=BLUE, marker="o", ms=4, lw=1.6)
    axes.axhline(design.ms_limit, color=VERMILION, lw=2.0, ls=(0, (4, 3)))
    axes.text(float(at.max()), design.ms_limit, f"limit {design.ms_limit:g}", fontsize=SMALL,
              ha="right", va="bottom")  # fmt: skip
    worst = design.worst.line_speed if kind == "speed" else design.worst.diameter
    axes.plot(units.factor(kind) * worst, design.worst.margins.Ms, "*", ms=17, mfc="white",
              mec=BLACK, mew=1.3, zorder=5)  # fmt: skip
    axes.set_ylim(1.0, max(design.ms_limit, design.worst.margins.Ms) + 0.15)
    name = "line speed" if kind == "speed" else "roll diameter"
    axes.set_xlabel(f"{name} [{units.label(kind)}]", fontsize=FONT)
    axes.set_title(_worst_words(over, design).split(";")[0] + " (starred)", fontsize=FONT,
                   loc="left")  # fmt: skip
    plain_panel(axes, "largest sensitivity Ms [-]")
    return figure
