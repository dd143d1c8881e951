"""The picture of a load cell's size: what each event puts on it, and what each rating tells."""

from __future__ import annotations

import math

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simulator.cell_duty import BARE, RUNNING, LoadCase, RatingChoice
from simulator.cell_sizing import Sizing
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
from simulator.units import METRIC, UnitSystem, sensible

# Ratings shown on either side of the smallest that does.
_SMALLER, _LARGER = 2, 3


def draw_sizing(sizing: Sizing, *, overload: float, units: UnitSystem = METRIC) -> Figure:
    """Draw what the work puts on one cell against its rating, and what ratings tell of tension.

    Args:
        sizing: of `size_cells`.
        overload: that a cell bears unharmed, of its rating [%].
        units: the reader's units.
    """
    figure = Figure(figsize=(WIDTH, 3.9), layout="constrained")
    loads, tells = figure.subplots(1, 2, width_ratios=(3, 2))
    _draw_loads(loads, sizing, overload, units)
    _draw_ratings(tells, sizing, units)
    _name_ratings(tells, _shown(sizing), sizing, units)
    return figure


def _draw_loads(axes: Axes, sizing: Sizing, overload: float, units: UnitSystem) -> None:
    rated = units.show(sizing.chosen.rated_load, "tension")
    most, cases = 0.01 * overload * rated, sizing.cases[::-1]
    values = [abs(units.show(case.load, "tension")) for case in cases]
    # A jam may pull ten times as hard as all else: its bar runs off the panel and says so.
    right = 1.12 * max([most, *(value for value in values if value <= 1.3 * most)])
    for row, (case, value) in enumerate(zip(cases, values, strict=True)):
        fine = value <= case.allowed * rated
        colour = (SKY if case.name in (BARE, RUNNING) else BLUE) if fine else VERMILION
        axes.barh(row, min(value, right), height=0.6, color=colour, zorder=2)
        text = f"{sensible(value)}{'' if fine else ', too much'}{' →' if value > right else ''}"
        inside = value > 0.4 * right
        axes.text(
            0.015 * right if inside else value + 0.01 * right, row, text, va="center",
            fontsize=SMALL, color="white" if inside else BLACK, zorder=4,
        )  # fmt: skip
    marks = ((rated, f"rating {rated:.4g}", "-"), (most, f"overload {most:.4g}", "--"))
    near = most - rated < 0.35 * right
    for (at, name, dash), side in zip(marks, ("right", "left"), strict=True):
        axes.axvline(at, color=BLACK, lw=1.4, ls=dash, zorder=3)
        axes.annotate(
            name, (at, len(cases) - 0.4), ((-4, 4) if side == "right" else (4, 4)),
            textcoords="offset points", fontsize=SMALL, ha=side if near else "center",
        )  # fmt: skip
    axes.set_yticks(range(len(cases)), [_name(case) for case in cases])
    axes.set_xlim(0.0, right)
    axes.set_ylim(-0.6, len(cases) - 0.4)
    plain_panel(axes, "")
    axes.grid(axis="y", visible=False)
    axes.set_xlabel(f"load on one cell [{units.label('tension')}]", fontsize=FONT)


def _name(case: LoadCase) -> str:
    """The event's name on lines that leave room for the picture."""
    words, lines = case.name.replace(", ", ",\n").split(" "), [""]
    for word in words:
        if len(lines[-1]) + len(word) > 24 and "\n" not in lines[-1]:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return "\n".join(lines)


def _shown(sizing: Sizing) -> list[RatingChoice]:
    """A few ratings about the smallest that does."""
    choices = sizing.choices
    first = next((i for i, c in enumerate(choices) if c.bears_work), len(choices))
    return list(choices[max(first - _SMALLER, 0) : first + 1 + _LARGER])


def _draw_ratings(axes: Axes, sizing: Sizing, units: UnitSystem) -> None:
    shown, running = _shown(sizing), _running(sizing)
    rows = list(range(len(shown)))[::-1]
    warmer = units.show(sizing.warmer_by, "temperature rise")
    heat = f"zero moved by {warmer:.3g} {units.label('temperature rise')}"
    for label, marker, colour, values in (
        ("smallest change seen", "o", BLUE, [c.smallest_change for c in shown]),
        (heat, "s", ORANGE, [c.zero_by_heat for c in shown]),
        ("combined error", "^", GREEN, [c.error for c in shown]),
    ):
        if all(math.isfinite(value) for value in values):
            per_cent = [100.0 * value / running for value in values]
            axes.plot(per_cent, rows, marker, color=colour, label=label, ms=7, alpha=0.9)
    axes.set_xscale("log")
    # Whole decades, so that ticks have their numbers.
    low, high = (math.log10(x) for x in axes.get_xlim())
    axes.set_xlim(10.0 ** math.floor(low), 10.0 ** math.ceil(high))
    plain_panel(axes, "")
    axes.set_xlabel("of the running tension [%]", fontsize=FONT)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.xaxis.set_minor_formatter(lambda value, _: "")
    axes.legend(
        loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=1, fontsize=SMALL, frameon=False,
        borderaxespad=0.2,
    )  # fmt: skip


def _running(sizing: Sizing) -> float:
    return next(case.tension for case in sizing.cases if case.name == RUNNING)


def _name_ratings(axes: Axes, shown: list[RatingChoice], sizing: Sizing, units: UnitSystem) -> None:
    labels = []
    for choice in shown:
        verdict = "too small" if not choice.bears_work else ""
        if choice.rated_load == sizing.recommended:
            verdict = "smallest that does"
        size = units.plain(choice.rated_load, "tension", digits=6)
        labels.append(f"{size}\n{verdict}".strip())
    axes.set_yticks(range(len(shown))[::-1], labels)
    for label, choice in zip(axes.get_yticklabels(), shown, strict=True):
        label.set_color(BLACK if choice.bears_work else GREY)
        label.set_fontweight("bold" if choice.rated_load == sizing.recommended else "normal")
    axes.set_ylim(-0.6, len(shown) - 0.4)
