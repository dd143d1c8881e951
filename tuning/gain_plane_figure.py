"""The picture of the Kc–Ki plane: where gains hold at each diameter, and where the rules lie."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.path import Path
from numpy.typing import NDArray

from simulator import Scenario
from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREY,
    SMALL,
    VERMILION,
    WIDTH,
    plain_panel,
    text_size,
)
from simulator.label_places import Page, around
from simulator.machine import named_diameters
from simulator.units import METRIC, UnitSystem
from tuning.gain_plane import GainPlane
from tuning.gains import Gains
from tuning.rules import Suggestion

Array = NDArray[np.float64]

# Columns of the list of rules below the picture; radius of a mark [inch].
COLUMNS, MARK = 3, 0.05
# An axis grows so many times at most for the sake of the rules [-].
MOST_WIDER = 4.0
SWINGS = "swings by itself"


def draw_gain_plane(
    planes: Sequence[GainPlane],
    gains: Gains,
    *,
    ms_limit: float,
    suggestions: Sequence[Suggestion] = (),
    scenario: Scenario,
    units: UnitSystem = METRIC,
) -> Figure:
    """Draw where gains hold at each diameter, with the recommended gains and every rule's.

    Args:
        planes: one for each named diameter, with the limit on Ms among their levels.
        gains: to mark.
        ms_limit: largest sensitivity allowed [-].
        suggestions: rules, those with gains are drawn.
        scenario: the machine.
        units: that the reader wants.
    """
    names = {D: name for name, D in named_diameters(scenario).items()}
    # Between where the loosest limit ends and where the loop swings, at the tightest diameter.
    right = min(math.sqrt(float(p.Kc.max() * p.stable_Kc.max())) for p in planes)
    top = min(math.sqrt(float(p.Ki.max() * p.stable_Ki.max())) for p in planes)
    given = [(s.rule.name, s.gains) for s in suggestions if s.gains is not None]
    # Half of the rules ought to be seen, if the star can still be told from the corner.
    right = _wider(right, [g.Kc for _, g in given])
    top = _wider(top, [g.Ki for _, g in given])
    shown = [(name, g) for name, g in given if g.Kc < right and g.Ki < top]
    words = [f"{number}  {name}" for number, (name, _) in enumerate(shown, start=1)]
    if len(given) > len(shown):
        words.append(f"{len(given) - len(shown)} more rules: gains outside this picture")
    rows = -(-len(words) // COLUMNS)
    figure = Figure(figsize=(WIDTH, 4.2 + 0.2 * rows), layout="constrained")
    panels = figure.subplots(1, len(planes), sharex=True, sharey=True, squeeze=False)[0]
    for axes, plane in zip(panels, planes, strict=True):
        _draw_regions(axes, plane, ms_limit, right=right, top=top)
        for _, rule in shown:
            # Hollow where it has a derivative, for which the plane is only near.
            axes.plot(rule.Kc, rule.Ki, "o" if rule.Td == 0.0 else "s", ms=5.5, color=VERMILION,
                      mfc=VERMILION if rule.Td == 0.0 else "white", zorder=5)  # fmt: skip
        axes.plot(gains.Kc, gains.Ki, "*", ms=17, mfc="white", mec=BLACK, mew=1.4, zorder=6)
        title = f"{names.get(plane.diameter, '')} {units.text(plane.diameter, 'diameter')}".strip()
        axes.set_title(title, fontsize=FONT, loc="left")
        axes.set_xlabel("Kc [%/%]", fontsize=FONT)
        plain_panel(axes, "Kc/Ti [1/s]" if axes is panels[0] else "")
    panels[0].set_xlim(0.0, right)
    panels[0].set_ylim(0.0, top)
    columns = [words[start : start + rows] for start in range(0, len(words), max(rows, 1))]
    for i, column in enumerate(columns):
        figure.text(0.02 + i * 0.98 / COLUMNS, 0.01, "\n".join(column), fontsize=SMALL, va="bottom")
    # The list of rules keeps its own room below the panels.
    below = 0.2 * rows / figure.get_figheight() + 0.02
    figure.set_layout_engine("constrained", rect=(0.0, below, 1.0, 1.0 - below))
    figure.draw_without_rendering()
    for axes, plane in zip(panels, planes, strict=True):
        _label(axes, plane, gains, [g for _, g in shown], ms_limit=ms_limit)
    return figure


def _wider(end: float, values: Sequence[float]) -> float:
    """Return the end of an axis that shows half of some values, but no more than MOST_WIDER."""
    middle = 1.1 * float(np.median(values)) if len(values) else 0.0
    return max(end, min(middle, MOST_WIDER * end))


def _draw_regions(
    axes: Axes, plane: GainPlane, ms_limit: float, *, right: float, top: float
) -> None:
    """Shade what is stable, and within it what keeps the limit; draw the other limits as lines."""
    axes.fill(*_edge(plane.stable_Kc, plane.stable_Ki, right, top).T, color="#ececec", zorder=1)
    axes.plot(plane.stable_Kc, plane.stable_Ki, color=BLACK, lw=2.0, zorder=2)
    for level, Kc, Ki in zip(plane.levels, plane.Kc, plane.Ki, strict=True):
        chosen = abs(level - ms_limit) < 1e-9
        if chosen:
            axes.fill(*_edge(Kc, Ki, right, top).T, color="#b5d9ee", zorder=1)
        axes.plot(Kc, Ki, color=BLUE if chosen else GREY, lw=2.2 if chosen else 0.9, zorder=2)


def _label(
    axes: Axes, plane: GainPlane, gains: Gains, rules: Sequence[Gains], *, ms_limit: float
) -> None:
    """Number the limits and the rules, each beside its line or mark and over no other."""
    right, top = axes.get_xlim()[1], axes.get_ylim()[1]
    size = np.array(axes.bbox.size) / axes.figure.dpi
    page = Page(float(size[0]), float(size[1]))

    def inches(Kc: Array | float, Ki: Array | float) -> Array:
        return np.column_stack([np.atleast_1d(Kc) / right, np.atleast_1d(Ki) / top]) * size

    star = inches(gains.Kc, gains.Ki)[0]
    page.boxes.append((*(star - 0.12), *(star + 0.12)))
    stable = Path(_edge(plane.stable_Kc, plane.stable_Ki, right, top))
    width, height = text_size(SWINGS, points=SMALL)
    wide, high = width / size[0], height / size[1]
    # Written where there is room beyond the line for all of it.
    for x, y in ((0.97 - wide, 0.97 - high), (0.97 - wide, 0.05), (0.03, 0.97 - high)):
        box = [(x + i * wide, y + j * high) for i in (-0.1, 0.5, 1.0) for j in (-0.2, 1.0)]
        if not stable.contains_points([(a * right, b * top) for a, b in box]).any():
            axes.text(x, y, SWINGS, fontsize=SMALL, va="bottom", transform=axes.transAxes)
            page.boxes.append(
                (x * size[0], y * size[1], (x + wide) * size[0], (y + high) * size[1])
            )
            break

    def write(text: str, candidates: Array, colour: str, *, on_line: bool) -> None:
        x, y = page.place(text_size(text, points=SMALL), candidates)
        axes.text(
            x / size[0], y / size[1], text, fontsize=SMALL, color=colour, ha="center",
            va="center", transform=axes.transAxes, zorder=7 - on_line,
            bbox={"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none"} if on_line else None,
        )  # fmt: skip

    for level, Kc, Ki in zip(plane.levels, plane.Kc, plane.Ki, strict=True):
        line = inches(Kc, Ki)
        line = line[np.all((line > 0.15) & (line < size - 0.15), axis=1)]
        if line.size:
            # On its line, best where that is highest.
            price = 1.0 - line[:, 1] / size[1]
            chosen = abs(level - ms_limit) < 1e-9
            candidates = np.column_stack([line, price, line + 1e-3])
            write(f"Ms {level:g}", candidates, BLUE if chosen else BLACK, on_line=True)
    marks = np.vstack([inches(rule.Kc, rule.Ki) for rule in rules] or [np.zeros((0, 2))])
    page.draw(*marks.T)
    page.draw(*inches(gains.Kc, gains.Ki).T)
    left = list(range(len(rules)))
    while left:
        # Rules that agree share a label.
        same = [i for i in left if np.hypot(*(marks[i] - marks[left[0]])) < MARK]
        text = ", ".join(str(i + 1) for i in same)
        x, y = marks[left[0]]
        around_it = around((float(x), float(y)), MARK, text_size(text, points=SMALL))
        write(text, around_it, BLACK, on_line=False)
        left = [i for i in left if i not in same]


def _edge(Kc: Array, Ki: Array, right: float, top: float) -> Array:
    """Return a region's corners, shape (r + 1, 2); a side without an end leaves the picture."""
    across = np.append(np.nan_to_num(Kc, posinf=10.0 * right), 0.0)
    up = np.append(np.nan_to_num(Ki, posinf=10.0 * top), 0.0)
    return np.column_stack([across, up])
