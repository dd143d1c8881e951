"""Picture of a tolerance study: the worst Ms of many machines, what matters, the manual output."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.transforms import offset_copy
from numpy.typing import NDArray

from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREY,
    ORANGE,
    SMALL,
    VERMILION,
    WIDTH,
    plain_panel,
)
from simulator.units import METRIC, UnitSystem
from tuning.tolerance_results import (
    HIGH_LEVEL,
    LOW_LEVEL,
    MIDDLE_LEVEL,
    Influence,
    ToleranceStudy,
    quantile,
)

Array = NDArray[np.float64]

# Ms from here on is counted in the last bar, where the rest spreads wide.
MS_SHOWN = 4.0
BARS = 32
# No more tolerances than this are drawn.
DRAWN = 8
WITHIN, ABOVE, UNSTABLE = "within the limit", "above the limit", "unstable"


def draw_tolerance(study: ToleranceStudy, units: UnitSystem = METRIC) -> Figure:
    """Draw how many machines keep the limit of Ms, what matters most, and the manual output.

    Args:
        study: to draw.
        units: that the reader wants.
    """
    rows = max(min(len(study.tolerances), DRAWN), 1)
    names = list(dict.fromkeys(place.name for place in study.places))
    upper, lower = 1.6 + 0.27 * max(rows, 5), 0.9 + 0.42 * len(names)
    figure = Figure(figsize=(WIDTH, upper + lower), layout="constrained")
    grid = figure.add_gridspec(2, 2, height_ratios=(upper, lower), width_ratios=(1, 1))
    _draw_ms(figure, figure.add_subplot(grid[0, 0]), study)
    _draw_influences(figure.add_subplot(grid[0, 1]), study.influences[:DRAWN])
    _draw_outputs(figure.add_subplot(grid[1, :]), study, names, units)
    return figure


def _draw_ms(figure: Figure, axes: Axes, study: ToleranceStudy) -> None:
    """How many machines have which worst Ms, in bars; unstable ones beside the axis."""
    worst = study.worst_Ms
    finite = worst[np.isfinite(worst)]
    highest = max(float(finite.max(initial=1.0)), study.ms_limit)
    end = min(1.0 + 1.04 * (highest - 1.0), MS_SHOWN)
    # The limit is an edge of bars, or a bar would stand on both sides of it.
    below = max(round(BARS * (study.ms_limit - 1.0) / (end - 1.0)), 1)
    width = (study.ms_limit - 1.0) / below
    edges = 1.0 + width * np.arange(math.ceil((end - 1.0) / width) + 1)
    edges[below] = study.ms_limit
    # A machine right at the limit keeps it; a bar would count it to the ones above.
    counts, _ = np.histogram(np.clip(finite, None, edges[-1]), np.nextafter(edges, np.inf))
    counts[0] += int(np.count_nonzero(finite <= edges[0]))
    middles = 0.5 * (edges[:-1] + edges[1:])
    inside = middles < study.ms_limit
    looks = ((inside, BLUE, ""), (~inside, ORANGE, "///"))
    for chosen, colour, hatch in looks:
        axes.bar(
            middles[chosen], counts[chosen], width=width, color=colour, hatch=hatch,
            edgecolor="white", linewidth=0.4,
        )  # fmt: skip
    axes.axvline(study.ms_limit, color=BLACK, lw=1.2, ls=(0, (2, 2)))
    unstable = study.samples - study.stable.count
    right = float(edges[-1])
    if unstable:
        right += 3.0 * width
        axes.bar(
            right, unstable, width=2.0 * width, color=VERMILION, hatch="xx", edgecolor="white",
            linewidth=0.4,
        )  # fmt: skip
        right += 1.5 * width
    axes.set_xlim(1.0, right)
    _label_ends(axes, float(edges[-1]), bool(np.any(finite > edges[-1])))
    plain_panel(axes, "machines")
    axes.set_xlabel(f"worst Ms over the roll [-], limit {study.ms_limit:g} dotted")
    axes.set_title(f"{study.samples} machines within the tolerances", fontsize=FONT, loc="left")
    above = study.stable.count - study.within.count
    axes.legend(
        handles=[
            Patch(facecolor=BLUE, edgecolor="white", label=f"{study.within.words} {WITHIN}"),
            Patch(
                facecolor=ORANGE, edgecolor="white", hatch="///",
                label=f"{_per_cent(above, study.samples)} {ABOVE}",
            ),
            Patch(
                facecolor=VERMILION, edgecolor="white", hatch="xx",
                label=f"{_per_cent(unstable, study.samples)} {UNSTABLE}",
            ),
        ],
        loc="upper left", bbox_to_anchor=(0.0, 0.0), fontsize=SMALL, frameon=False,
        bbox_transform=offset_copy(axes.transAxes, figure, y=-36.0, units="points"),
        borderaxespad=0.0,
    )  # fmt: skip


def _label_ends(axes: Axes, last: float, more: bool) -> None:
    """No tick beside the axis, where unstable machines stand; the last one may mean "or more"."""
    ticks = [float(t) for t in axes.get_xticks() if 1.0 <= t <= last]
    labels = [f"{t:g}" for t in ticks]
    if more:
        labels[-1] += "+"
    axes.set_xticks(ticks, labels)


def _per_cent(count: int, of: int) -> str:
    if count in (0, of):
        return "none" if count == 0 else "all"
    share = 100.0 * count / of
    return f"{share:.0f} %" if 10.0 <= share <= 90.0 else f"{share:.1f} %"


def _draw_influences(axes: Axes, found: tuple[Influence, ...]) -> None:
    """Rank correlation of each tolerance with the worst Ms, signed; the first on top."""
    axes.axvline(0.0, color=BLACK, lw=1.0)
    for row, one in enumerate(reversed(found)):
        colour = VERMILION if one.rank_correlation > 0.0 else BLUE
        axes.barh(
            row, one.rank_correlation, height=0.62, facecolor=colour if one.sure else "white",
            edgecolor=colour if one.sure else GREY,
        )  # fmt: skip
        axes.text(
            1.02, row, _influence_words(one), transform=axes.get_yaxis_transform(), va="center",
            fontsize=SMALL, color=BLACK if one.sure else GREY,
        )  # fmt: skip
    axes.set_yticks(range(len(found)), [one.words for one in reversed(found)], fontsize=SMALL)
    reach = max([abs(one.rank_correlation) for one in found], default=0.0)
    axes.set_xlim(-max(1.1 * reach, 0.2), max(1.1 * reach, 0.2))
    axes.set_ylim(-0.6, max(len(found), 1) - 0.4)
    plain_panel(axes, "")
    axes.grid(axis="y", visible=False)
    axes.set_title("What matters, and its share of the spread", fontsize=FONT, loc="left")
    axes.set_xlabel("rank correlation with Ms\n← more of it: calmer     more of it: worse →")
    if not found:
        axes.text(0.5, 0.5, "nothing was varied", transform=axes.transAxes, ha="center")


def _influence_words(one: Influence) -> str:
    if not one.sure:
        return "may be chance"
    tail = ", both ways" if one.both_ways else ""
    return f"{100.0 * one.share:.0f} %{tail}"


def _draw_outputs(axes: Axes, study: ToleranceStudy, names: list[str], units: UnitSystem) -> None:
    """The manual output at each diameter: where nine machines of ten lie, and the middle one."""
    looks = {"line speed": (BLUE, "o", 0.14), "crawl speed": (VERMILION, "D", -0.14)}
    for i, place in enumerate(study.places):
        colour, marker, aside = looks[place.at]
        row = len(names) - 1 - names.index(place.name) + aside
        low, middle, high = (
            quantile(study.output[:, i], level) for level in (LOW_LEVEL, MIDDLE_LEVEL, HIGH_LEVEL)
        )
        dash = "-" if place.at == "line speed" else (0, (3, 1))
        axes.plot([low, high], [row, row], color=colour, lw=2.4, ls=dash, solid_capstyle="butt")
        axes.plot(
            middle, row, marker, color=colour, mfc="white", mew=1.6, ms=6,
            label=place.at if place.name == names[0] else None, ls="none",
        )  # fmt: skip
    for limit in (study.output_low, study.output_high):
        axes.axvline(limit, color=BLACK, lw=1.2, ls=(0, (2, 2)))
    left, right = axes.get_xlim()
    axes.set_xlim(min(left, study.output_low - 2.0), max(right, study.output_high + 2.0))
    diameters = {place.name: place.diameter for place in study.places}
    labels = [f"{name}, {units.text(diameters[name], 'diameter')}" for name in reversed(names)]
    axes.set_yticks(range(len(names)), labels, fontsize=SMALL)
    axes.set_ylim(-0.6, len(names) - 0.4)
    plain_panel(axes, "")
    axes.grid(axis="y", visible=False)
    axes.set_xlabel("output [%], its limits dotted")
    missed = study.samples - study.held.count
    tail = f"; out of reach somewhere in {_per_cent(missed, study.samples)}" if missed else ""
    axes.set_title(
        f"Manual output: the middle machine, and nine of ten{tail}", fontsize=FONT, loc="left"
    )
    axes.legend(loc="upper right", ncols=2, fontsize=SMALL, frameon=True, framealpha=0.9)
