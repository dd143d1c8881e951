"""Pictures of the switch to automatic: the same switch side by side, and the map of conditions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from simulator import Scenario
from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREEN,
    GREY,
    ORANGE,
    SMALL,
    VERMILION,
    page_line,
    plain_panel,
)
from simulator.units import METRIC, UnitSystem
from tuning.handover import Handover
from tuning.handover_conditions import SETTINGS, ConditionStudy, JudgedSwitch
from tuning.handover_judged import CALM, DO_NOT, WAIT, Condition, Moves, Verdict

# Narrower than other pictures, so that a small screen leaves their many words readable [inch].
MAP_WIDTH, SIDE_WIDTH = 7.4, 8.4
# How long before and after the switch is shown side by side [s].
SHOWN_BEFORE, SHOWN_AFTER = 3.0, 12.0
# Top and bottom of the tension side by side [share of running tension, -].
LEAST_ROOM, MOST_TENSION = 0.15, 1.9

# Each verdict: colour of its mark, tint of its field, mark, words in the field.
_LOOKS: dict[Verdict, tuple[str, str, str, str]] = {
    CALM: (GREEN, "#dff3ec", "o", "calm"),
    WAIT: (ORANGE, "#fdf0cc", "^", "wait"),
    DO_NOT: (VERMILION, "#fbdccb", "X", "do not"),
}
_MOVES_WORDS: dict[Moves, str] = {
    "steady": "tension steady",
    "output just changed": "output just changed",
    "line changes speed": "line changes speed",
}


def draw_same_switch(
    steady: Sequence[tuple[Condition, Handover]],
    moving: Sequence[tuple[Condition, Handover]],
    scenario: Scenario,
    units: UnitSystem = METRIC,
) -> Figure:
    """Draw the same switch with each setting of the controller, all on the same axes.

    Args:
        steady: with steady tension, one for each setting.
        moving: while the tension moves, in the same order.
        scenario: the machine.
        units: that the reader wants.
    """
    figure = Figure(figsize=(SIDE_WIDTH, 4.9), layout="constrained")
    panels = figure.subplots(2, len(steady), sharex=True, sharey="row", squeeze=False)
    scale = units.factor("tension")
    runs = (
        (steady, {"color": BLUE, "ls": "-", "lw": 1.6, "label": "switched while steady"}),
        (moving, {"color": VERMILION, "ls": (0, (4, 2)), "lw": 1.3,
                  "label": "switched just after the output was changed"}),
    )  # fmt: skip
    for column, (condition, _) in enumerate(steady):
        tension, output = panels[0, column], panels[1, column]
        for switches, style in runs:
            h = switches[column][1]
            time = h.trend.time - h.switched_at
            shown = (time >= -SHOWN_BEFORE) & (time <= SHOWN_AFTER)
            tension.plot(*page_line(time[shown], scale * h.trend.web_tension[shown]), **style)
            output.plot(*page_line(time[shown], h.trend.output[shown]), **style)
        tension.set_title(
            f"tracking {_on(condition.tracking)}\nsetpoint {_follows(condition)}",
            fontsize=FONT, loc="left", weight="bold" if condition.tracking else "normal",
        )  # fmt: skip
        for axes in (tension, output):
            plain_panel(axes, "")
            axes.axvline(0.0, color=BLACK, lw=1.0, ls=":")
        output.set_xlabel("time from the switch [s]", fontsize=SMALL)
    panels[0, 0].set_ylabel(f"web tension [{units.label('tension')}]", fontsize=FONT)
    panels[1, 0].set_ylabel("output [%]", fontsize=FONT)
    running = scale * scenario.run.tension
    highest = [scale * highest_tension((a, b)) for a, b in zip(steady, moving, strict=True)]
    lowest = scale * min(
        float(h.trend.web_tension.min()) for run in (steady, moving) for _, h in run
    )
    # What leaves the picture above is told in words, not drawn at the price of all the rest.
    top = min(max(*highest, (1.0 + LEAST_ROOM) * running), MOST_TENSION * running)
    bottom = min(lowest, (1.0 - LEAST_ROOM) * running)
    for axes, most in zip(panels[0], highest, strict=True):
        if most > top:
            axes.text(0.97, 0.97, f"up to {most:.3g} {units.label('tension')}", ha="right",
                      va="top", transform=axes.transAxes, fontsize=SMALL,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5})  # fmt: skip
    panels[0, 0].set_ylim(bottom - 0.04 * (top - bottom), top + 0.04 * (top - bottom))
    panels[0, 0].set_xlim(-SHOWN_BEFORE, SHOWN_AFTER)
    handles, labels = panels[0, 0].get_legend_handles_labels()
    handles.append(Line2D([], [], color=BLACK, lw=1.0, ls=":"))
    figure.legend(
        handles, [*labels, "the switch to automatic"], loc="outside lower left", ncols=3,
        fontsize=SMALL, frameon=False,
    )  # fmt: skip
    return figure


def draw_conditions(study: ConditionStudy, units: UnitSystem = METRIC) -> Figure:
    """Draw the map of conditions: a row for each diameter and speed, a column for each setting.

    Args:
        study: all conditions.
        units: that the reader wants.
    """
    rows = study.rows
    blocks, wide = len(study.moves), len(SETTINGS)
    figure = Figure(figsize=(MAP_WIDTH, 1.1 + 0.52 * len(rows)), layout="constrained")
    axes = figure.add_subplot()
    gap = 0.22
    for i, row in enumerate(rows):
        for j, one in enumerate(row):
            _field(axes, j + gap * (j // wide), i, one)
    for block, moves in enumerate(study.moves):
        left = block * (wide + gap)
        axes.text(
            left + 0.5 * wide, -0.86, _MOVES_WORDS[moves], ha="center", va="bottom", fontsize=FONT,
            weight="bold",
        )  # fmt: skip
        for k, (tracking, follows) in enumerate(SETTINGS):
            for y, word in ((-0.58, _on(tracking)), (-0.2, "yes" if follows else "no")):
                axes.text(left + k + 0.5, y, word, ha="center", va="center", fontsize=SMALL)
    for y, word in ((-0.58, "tracking"), (-0.2, "setpoint follows")):
        axes.text(-0.1, y, word, ha="right", va="center", fontsize=SMALL)
    for i, row in enumerate(rows):
        axes.text(-0.1, i + 0.5, _row_words(row[0], units), ha="right", va="center", fontsize=SMALL)
    axes.set_xlim(-2.75, blocks * wide + gap * (blocks - 1))
    axes.set_ylim(len(rows), -1.3)
    axes.set_axis_off()
    marks = [
        Line2D([], [], ls="none", marker=mark, color=colour, markersize=9)
        for colour, _, mark, _ in _LOOKS.values()
    ]
    words = [f"{name}: {study.count(name)}" for name in _LOOKS]
    figure.legend(marks, words, loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False)
    return figure


def _field(axes: Axes, x: float, y: float, one: JudgedSwitch) -> None:
    colour, tint, mark, word = _LOOKS[one.judged.verdict]
    axes.add_patch(
        Rectangle((x + 0.03, y + 0.04), 0.94, 0.92, facecolor=tint, edgecolor=GREY, linewidth=0.6)
    )
    axes.plot(x + 0.5, y + 0.32, mark, color=colour, markersize=8, markeredgecolor=BLACK,
              markeredgewidth=0.6)  # fmt: skip
    axes.text(x + 0.5, y + 0.74, word, ha="center", va="center", fontsize=SMALL)


def _row_words(one: JudgedSwitch, units: UnitSystem) -> str:
    name = "half roll" if one.name == "half" else one.name
    return (
        f"{name} {units.text(one.diameter, 'diameter')}\n"
        f"{one.at_speed} {units.text(one.line_speed, 'speed')}"
    )


def _on(switched: bool) -> str:
    return "on" if switched else "off"


def _follows(condition: Condition) -> str:
    return "follows" if condition.setpoint_follows else "stands off"


def highest_tension(switches: Sequence[tuple[Condition, Handover]]) -> float:
    """Return the largest tension of the web after any of some switches [N].

    Args:
        switches: as from `same_switch`.
    """
    return max(
        float(np.max(h.trend.web_tension[h.trend.time >= h.switched_at])) for _, h in switches
    )
