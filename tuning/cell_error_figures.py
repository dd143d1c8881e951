"""Pictures of a load cell's errors: what a wrong gain and a wandering zero do."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.artist import Artist
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
    SMALL,
    VERMILION,
    WIDTH,
    plain_panel,
)
from simulator.reader_units import in_reader_units
from simulator.units import METRIC, UnitSystem
from simulator.zero_drift import DriftRun
from tuning.cell_errors import GainErrorEffect

Array = NDArray[np.float64]

# Ms from here on is off the picture [-].
MS_SHOWN = 4.0
# Levels of tension further off than this are not drawn, of what is drawn [-].
NEAR = 1.25
# Letters in a line of a title over half a page, and over a whole one.
_HALF_PAGE, _PAGE = 52, 105
DASHED, DASH_DOT, DOTTED = (0, (4, 3)), (0, (6, 2, 1, 2)), (0, (1, 2))


def draw_gain_error(effect: GainErrorEffect, units: UnitSystem = METRIC) -> Figure:
    """Draw Ms over the roll and the tension that the web gets, against the gain error.

    Args:
        effect: of gain errors.
        units: that the reader wants.
    """
    figure = Figure(figsize=(WIDTH, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    _draw_severity(left, effect)
    _draw_web(right, effect, units)
    for axes in (left, right):
        axes.axvline(0.0, color=GREY, lw=0.9, ls=DOTTED, zorder=1)
        axes.set_xlim(float(effect.errors[0]), float(effect.errors[-1]))
        axes.set_xlabel("gain error [%]: too low below 0, too high above", fontsize=FONT)
    figure.legend(loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False)
    return figure


def _draw_severity(axes: Axes, effect: GainErrorEffect) -> None:
    errors, limit = effect.errors, effect.ms_limit
    plain_panel(axes, "largest sensitivity Ms over the roll [-]")
    # A line to the edge of what is stable, and on from there off the picture.
    Ms = np.where(np.isfinite(effect.Ms), effect.Ms, math.nan)
    known = np.isfinite(Ms)
    top = min(max(float(Ms[known].max(initial=1.0)), limit) * 1.12, MS_SHOWN)
    axes.plot(errors, Ms, color=BLUE, marker="o", ms=3.5, lw=1.6, label="Ms")
    axes.axhline(limit, color=VERMILION, lw=1.8, ls=DASHED, label=f"limit {limit:g}")
    edge = float(np.nan_to_num(effect.unstable_above, nan=errors[0], posinf=math.inf))
    if edge < errors[-1]:
        axes.axvspan(
            max(edge, errors[0]), errors[-1], facecolor=GREY, alpha=0.25, hatch="//", lw=0.0,
            label=f"unstable from {edge:+.0f} %",
        )  # fmt: skip
        top = MS_SHOWN
    if errors[0] < effect.kept_high < errors[-1]:
        axes.plot(
            effect.kept_high, limit, "s", ms=8, mfc="white", mec=VERMILION, mew=1.6, ls="none",
            label=f"limit reached at {effect.kept_high:+.0f} %", zorder=4,
        )  # fmt: skip
    axes.set_ylim(1.0, top)
    axes.set_title(_severity_title(effect), fontsize=FONT, loc="left")


def _severity_title(effect: GainErrorEffect) -> str:
    if not effect.kept_high >= 0.0:
        return "Even a true reading is outside the limit"
    if math.isinf(effect.kept_high):
        return f"No gain error takes Ms above {effect.ms_limit:g}"
    return f"Ms stays within {effect.ms_limit:g} up to {effect.kept_high:.0f} % too high"


def _draw_web(axes: Axes, effect: GainErrorEffect, units: UnitSystem) -> None:
    factor = units.factor("tension")
    plain_panel(axes, f"tension [{units.label('tension')}]")
    # The curve bends, so that it is drawn finer than the errors looked at.
    errors = np.linspace(float(effect.errors[0]), float(effect.errors[-1]), 200)
    pull = effect.setpoint - effect.zero_error
    web = np.maximum(pull / (1.0 + 0.01 * errors), 0.0)
    axes.plot(errors, factor * web, color=VERMILION, lw=1.8, label="tension of the web")
    axes.axhline(
        factor * effect.setpoint, color=BLACK, lw=1.4, ls=DASH_DOT, label="the display shows"
    )
    low, high = effect.reach
    for level, name in ((high, "most"), (low, "least")):
        if float(web.min()) < level < float(web.max()):
            axes.axhline(
                factor * level, color=GREEN, lw=1.4, ls=DASHED if name == "most" else DOTTED,
                label=f"{name} that the output makes over the roll",
            )  # fmt: skip
    axes.set_ylim(0.0, 1.06 * factor * max(float(web.max()), effect.setpoint))
    shown = units.text(effect.setpoint, "tension")
    axes.set_title(f"What the web gets where the display shows {shown}", fontsize=FONT, loc="left")


def draw_drift(runs: Sequence[DriftRun], units: UnitSystem = METRIC) -> Figure:
    """Draw runs with a wandering zero side by side: display, web and output over time.

    Args:
        runs: one or two, such as the same drift in automatic and in manual.
        units: that the reader wants.

    Raises:
        ValueError: no run, or more than two.
    """
    if not 1 <= len(runs) <= 2:
        raise ValueError(f"runs: {len(runs)} given, must be one or two")
    figure = Figure(figsize=(WIDTH, 5.6), layout="constrained")
    panels = figure.subplots(2, len(runs), height_ratios=[3, 2], sharey="row", squeeze=False)
    length = max(float(run.trend.time[-1]) for run in runs)
    scale, unit = next(
        (scale, unit) for most, scale, unit in _CLOCK if length < most
    )  # the last has no end
    letters = _PAGE if len(runs) == 1 else _HALF_PAGE
    handles: dict[str, Artist] = {}
    for column, run in enumerate(runs):
        tension, output = panels[0, column], panels[1, column]
        time = run.trend.time * scale
        _draw_tensions(tension, run, time, units)
        output.plot(time, run.trend.output, color=GREEN, lw=1.6, label="output")
        _mark_moments((tension, output), run, scale)
        # A number and its unit stay on one line.
        label = units.label("tension")
        words = in_reader_units(run.words[0], units).replace(
            f" {label}", f"\N{NO-BREAK SPACE}{label}"
        )
        tension.set_title(textwrap.fill(words, letters), fontsize=FONT, loc="left")
        plain_panel(tension, f"tension [{units.label('tension')}]" if column == 0 else "")
        plain_panel(output, "output [%]" if column == 0 else "")
        tension.tick_params(labelbottom=False)
        for axes in (tension, output):
            axes.set_xlim(0.0, float(2.0 * time[-1] - time[-2]))
            for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
                handles.setdefault(label, handle)
        output.set_xlabel(f"time [{unit}]", fontsize=FONT)
    _set_limits(panels[0, 0], panels[1, 0], runs, units)
    figure.legend(
        list(handles.values()), list(handles), loc="outside lower center", ncols=5,
        fontsize=SMALL, frameon=False,
    )  # fmt: skip
    return figure


# Runs up to so long [s] are drawn in this unit: what a second is in it, its name.
_CLOCK = ((300.0, 1.0, "s"), (10_800.0, 1.0 / 60.0, "min"), (math.inf, 1.0 / 3600.0, "h"))


def _draw_tensions(axes: Axes, run: DriftRun, time: Array, units: UnitSystem) -> None:
    factor = units.factor("tension")
    axes.plot(time, factor * run.trend.tension, color=BLUE, lw=1.6, label="the display shows")
    axes.plot(
        time, factor * run.trend.web_tension, color=VERMILION, lw=1.8, ls=DASHED,
        label="tension of the web",
    )  # fmt: skip
    axes.axhline(factor * run.wanted, color=BLACK, lw=1.2, ls=DASH_DOT, label="wanted")
    if float(run.trend.web_tension.max()) * NEAR >= run.breaking_tension:
        axes.axhline(
            factor * run.breaking_tension, color=BLACK, lw=1.6, ls=DOTTED, label="the web breaks"
        )
    if float(run.trend.web_tension.min()) <= (1.0 - 1.0 / NEAR) * run.wanted:
        axes.axhline(0.0, color=GREY, lw=1.6, ls=DOTTED, label="slack web")


def _mark_moments(panels: tuple[Axes, Axes], run: DriftRun, scale: float) -> None:
    for at, words, dash in (
        (run.output_end_at, "output at its end", DASHED),
        (run.slack_at, "web goes slack", DASH_DOT),
        (run.broken_at, "web break", DOTTED),
    ):
        if math.isfinite(at):
            for axes in panels:
                axes.axvline(at * scale, color=ORANGE, lw=1.8, ls=dash, label=words, zorder=1)


def _set_limits(tension: Axes, output: Axes, runs: Sequence[DriftRun], units: UnitSystem) -> None:
    """Show the wanted tension with room about it; a steady line is no ragged one."""
    low = min(float(min(run.trend.tension.min(), run.trend.web_tension.min())) for run in runs)
    high = max(float(max(run.trend.tension.max(), run.trend.web_tension.max())) for run in runs)
    wanted = runs[0].wanted
    high, low = max(high, 1.15 * wanted), min(low, 0.85 * wanted)
    if high * NEAR >= runs[0].breaking_tension:
        high = max(high, runs[0].breaking_tension)
    room = 0.06 * (high - low)
    factor = units.factor("tension")
    tension.set_ylim(factor * (low - room), factor * (high + room))
    outputs = np.concatenate([run.trend.output for run in runs])
    middle, half = 0.5 * (outputs.max() + outputs.min()), 0.5 * float(np.ptp(outputs))
    half = max(1.15 * half, 5.0)
    output.set_ylim(middle - half, middle + half)
