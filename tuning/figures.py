"""Pictures of step tests and rules; those of the whole roll are in `tuning.roll_figures`.

Each function takes plain results and the reader's units, and returns a Figure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.transforms import blended_transform_factory
from numpy.typing import NDArray

from simulator import Scenario, Trend
from simulator.figure_style import BLACK, BLUE, FONT, GREY, SMALL, VERMILION, WIDTH, plain_panel
from simulator.units import METRIC, UnitSystem, sensible
from tuning.identify import Candidate, StepFit
from tuning.judged_rules import JudgedRule
from tuning.margins import RINGS_ABOVE, SOUND_MS
from tuning.relay_test import RelayTest
from tuning.roll_figures import draw_handover, draw_responses
from tuning.step_test import StepTest, behind_play, supply_play
from tuning.tables import severity

__all__ = [
    "draw_fit",
    "draw_handover",
    "draw_relay_test",
    "draw_responses",
    "draw_rules",
    "draw_step_test",
]

Array = NDArray[np.float64]

# Ms from here on is drawn at the edge, with its number.
MS_SHOWN = 4.0


def draw_step_test(test: StepTest, scenario: Scenario, units: UnitSystem = METRIC) -> Figure:
    """Draw a step test with the models fitted to it.

    Args:
        test: on the simulated machine.
        scenario: the machine.
        units: that the reader wants.
    """
    return draw_fit(
        test.trend,
        test.fit,
        tension_range=scenario.controller.tension_range,
        play=supply_play(scenario),
        units=units,
    )


def draw_fit(
    trend: Trend,
    fit: StepFit,
    *,
    tension_range: float,
    play: float = 0.0,
    units: UnitSystem = METRIC,
) -> Figure:
    """Draw a recorded or simulated step test with the models fitted to it.

    Args:
        trend: of the test.
        fit: the models.
        tension_range: 100 % of the measured scale [N].
        play: of the device's supply, which the models were fitted behind [%].
        units: that the reader wants.
    """
    acting = behind_play(trend.output, play)
    figure = Figure(figsize=(WIDTH, 4.8), layout="constrained")
    grid = figure.add_gridspec(2, 2, height_ratios=(3, 1), width_ratios=(3, 2))
    whole, near = figure.add_subplot(grid[0, 0]), figure.add_subplot(grid[:, 1])
    below = figure.add_subplot(grid[1, 0], sharex=whole)
    drawn: list[tuple[Candidate, str, Any]] = [(fit.candidates[0], VERMILION, "-")]
    first = next((c for c in fit.candidates if c.model.kind == "first order"), None)
    if first is not None and first is not fit.candidates[0]:
        drawn.append((first, BLUE, (0, (5, 2))))
    scale = units.factor("tension")
    for axes in (whole, near):
        axes.plot(trend.time, scale * trend.tension, color=GREY, lw=0.8, label="recorded")
        for candidate, colour, dash in drawn:
            predicted = 0.01 * tension_range * scale * _predicted(trend.time, acting, candidate)
            label = _model_label(candidate)
            axes.plot(trend.time, predicted, color=colour, ls=dash, lw=1.8, label=label)
        plain_panel(axes, f"tension [{units.label('tension')}]")
    below.step(trend.time, trend.output, where="post", color=BLACK, lw=1.2)
    plain_panel(below, "output [%]")
    below.set_xlabel("time [s]")
    whole.tick_params(labelbottom=False)
    start, end = _first_step(trend, fit)
    near.set_xlim(start, end)
    near.set_xlabel("time [s]")
    near.set_title("The first step, closer", fontsize=FONT, loc="left")
    whole.set_title(_ringing_words(fit), fontsize=FONT, loc="left", fontweight="bold")
    handles, labels = whole.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper left", ncols=3, fontsize=SMALL, frameon=False)
    return figure


def draw_rules(
    judged_rules: Sequence[JudgedRule],
    *,
    chosen: str | None = None,
    units: UnitSystem = METRIC,
) -> Figure:
    """Draw the largest sensitivity of each rule, where the test was made and at its worst.

    Args:
        judged_rules: in any order; those without gains are counted below the picture.
        chosen: name of a rule to set off.
        units: that the reader wants.
    """
    shown = sorted((r for r in judged_rules if r.here is not None), key=severity, reverse=True)
    rows = max(len(shown), 1)
    figure = Figure(figsize=(WIDTH, 1.6 + 0.27 * rows), layout="constrained")
    axes = figure.add_subplot()
    for row, judged in enumerate(shown):
        name = judged.suggestion.rule.name
        _rule_row(axes, row, judged, bold=name == chosen, units=units)
    for limit, words in ((SOUND_MS, "sound to 1.6"), (RINGS_ABOVE, "rings above 2")):
        axes.axvline(limit, color=BLACK, lw=1.0, ls=(0, (4, 3)), zorder=1)
        axes.text(
            limit, rows - 0.3, f" {words} ", fontsize=SMALL,
            ha="right" if limit == SOUND_MS else "left", va="bottom",
        )  # fmt: skip
    axes.plot([], [], "o", color=BLUE, ms=7, label="Ms where the step test was made")
    axes.plot([], [], "D", color=VERMILION, mfc="white", mew=1.5, ms=7, label="worst over the roll")
    axes.set_yticks(range(len(shown)), [r.suggestion.rule.name for r in shown], fontsize=SMALL)
    for tick, judged in zip(axes.get_yticklabels(), shown, strict=True):
        if judged.suggestion.rule.name == chosen:
            tick.set_fontweight("bold")
    axes.set_ylim(-0.7, rows + 0.5)
    axes.set_xlim(1.0, MS_SHOWN * 1.02)
    missing = len(judged_rules) - len(shown)
    tail = f"   ({missing} more give no gains here)" if missing else ""
    axes.set_xlabel(f"largest sensitivity Ms [-]{tail}")
    axes.grid(axis="y", color="#e0e0e0", lw=0.6)
    figure.legend(loc="outside upper left", ncols=2, fontsize=SMALL, frameon=False)
    return figure


def draw_relay_test(test: RelayTest, units: UnitSystem = METRIC) -> Figure:
    """Draw a relay test: the reading that swings, and the output that switches.

    Args:
        test: on the simulated machine.
        units: that the reader wants.
    """
    figure = Figure(figsize=(WIDTH, 3.6), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(2, 1))
    time = test.trend.time - test.started_at
    above.plot(time, units.factor("tension") * test.trend.tension, color=BLUE, lw=1.2)
    plain_panel(above, f"reading [{units.label('tension')}]")
    below.step(time, test.trend.output, where="post", color=VERMILION, lw=1.2)
    plain_panel(below, "output [%]")
    below.set_xlabel("time from the start of the relay [s]")
    below.set_xlim(-0.05 * float(time[-1]), float(time[-1]))
    return figure


def _predicted(time: Array, output: Array, candidate: Candidate) -> Array:
    """Return what a fitted model makes of an output [% of range]."""
    total = np.full(time.size, candidate.baseline)
    for i in np.flatnonzero(np.diff(output) != 0.0) + 1:
        change = float(output[i] - output[i - 1])
        total[i:] += change * candidate.model.step_response(time[i:] - time[i])
    return total


def _model_label(candidate: Candidate) -> str:
    kind = candidate.model.kind
    name = {
        "first order": "first order plus dead time",
        "integrating": "integrating with dead time",
    }
    return f"{name.get(kind, 'second order plus dead time')} (fit {candidate.fit_percent:.0f} %)"


def _ringing_words(fit: StepFit) -> str:
    words = "No ringing to see"
    if fit.ringing is not None:
        words = f"It rings: {sensible(fit.ringing.frequency)} Hz, damping {fit.ringing.damping:.2g}"
    if math.isfinite(fit.swing_frequency):
        words += f"\nA steady swing at {sensible(fit.swing_frequency)} Hz is left out of the fit"
    return words


def _first_step(trend: Trend, fit: StepFit) -> tuple[float, float]:
    """Return the times [s] between which the first large step is worth a closer look."""
    moves = np.abs(np.diff(trend.output))
    changed = np.flatnonzero(moves > 0.0) + 1
    # A small move before the step takes up play.
    chosen = int(np.flatnonzero(moves[changed - 1] > 0.5 * moves.max())[0])
    at = float(trend.time[changed[chosen]])
    later = changed[chosen + 1 :]
    following = float(trend.time[later[0]]) if later.size else float(trend.time[-1])
    model = fit.best
    look = max(model.dead_time + 6.0 * model.time_constant, 3.0 * model.dead_time)
    if fit.rings:
        look = max(look, 6.0 / fit.ringing_frequency)
    end = min(at + look, following)
    if not end > at:
        # A step at the last sample: there is nothing after it to look at.
        return float(trend.time[0]), at
    return at - 0.15 * (end - at), end


def _rule_row(axes: Axes, row: int, judged: JudgedRule, *, bold: bool, units: UnitSystem) -> None:
    here, worst = judged.here, judged.worst
    if here is None or worst is None:
        return
    left = min(here.Ms, MS_SHOWN) if here.stable else MS_SHOWN
    right = min(worst.Ms, MS_SHOWN) if worst.stable else MS_SHOWN
    axes.plot([left, right], [row, row], color=GREY, lw=2.2 if bold else 1.0, zorder=2)
    if here.stable and here.Ms <= MS_SHOWN:
        axes.plot(here.Ms, row, "o", color=BLUE, ms=7, zorder=4)
    if worst.stable and worst.Ms <= MS_SHOWN:
        axes.plot(worst.Ms, row, "D", color=VERMILION, mfc="white", mew=1.5, ms=7, zorder=3)
        return
    words = judged.verdict(units)
    place = blended_transform_factory(axes.transAxes, axes.transData)
    axes.text(
        1.01, row, words, transform=place, va="center", fontsize=SMALL,
        fontweight="bold" if bold else "normal",
    )  # fmt: skip
    axes.plot(MS_SHOWN, row, ">", color=VERMILION, ms=6, zorder=3, clip_on=False)
