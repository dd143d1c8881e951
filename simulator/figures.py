"""The pictures of the simulator's results: manual output here, line and trend beside it.

All return a `matplotlib.figure.Figure` and take the reader's units.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
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
from simulator.line_drawing import draw_line
from simulator.manual_output import ManualOutputCurve
from simulator.operating_point import OperatingPoint
from simulator.trend_figure import draw_trend
from simulator.units import METRIC, UnitSystem

__all__ = ["draw_line", "draw_manual_output", "draw_trend"]

Array = NDArray[np.float64]

_MOST_TENSION = 4.0  # top of the tension panel, in wanted tensions [-]
_STYLES = ((BLUE, "-"), (ORANGE, "--"))


def draw_manual_output(
    curve: ManualOutputCurve,
    *,
    units: UnitSystem = METRIC,
    chosen: OperatingPoint | None = None,
) -> Figure:
    """Draw which output holds a tension, how much room it leaves, and what heat it makes.

    Args:
        curve: the manual output over the whole roll.
        units: the reader's units.
        chosen: an operating point to mark, if any.
    """
    figure = Figure(figsize=(WIDTH, 7.6), layout="constrained")
    output, tension, power = figure.subplots(3, 1, sharex=True, height_ratios=(4, 3, 3))
    by_diameter = curve.against == "diameter"
    for line, (colour, dash) in zip(curve.lines, _STYLES, strict=False):
        x = _across(curve, line.points, units)
        name = f"at {line.name}" if by_diameter else line.name
        style = {"color": colour, "linestyle": dash, "linewidth": 2.0}
        output.plot(x, [p.output for p in line.points], label=name, **style)
        low = [units.show(max(p.tension_low, 0.0), "tension") for p in line.points]
        high = [units.show(max(p.tension_high, 0.0), "tension") for p in line.points]
        tension.plot(x, low, **style)
        tension.plot(x, high, **style)
        tension.fill_between(x, low, high, color=colour, alpha=0.10, linewidth=0.0)
        power.plot(x, [units.show(p.slip_power, "power") for p in line.points], **style)
    _output_room(output, curve)
    _tension_reach(tension, curve, units)
    _heat(power, curve, units)
    if by_diameter:
        power.set_xlabel(f"roll diameter [{units.label('diameter')}]", fontsize=FONT)
    else:
        power.set_xlabel(f"line speed [{units.label('speed')}]", fontsize=FONT)
    if chosen is not None:
        (x_at,) = _across(curve, (chosen,), units)
        mark = {
            "marker": "o",
            "color": BLACK,
            "markersize": 8,
            "linestyle": "none",
            "zorder": 6,
            "clip_on": False,
        }
        output.plot([x_at], [chosen.output], label="chosen point", **mark)
        power.plot([x_at], [units.show(chosen.slip_power, "power")], **mark)
        for panel in (output, tension, power):
            panel.axvline(x_at, color=BLACK, linewidth=0.8, linestyle=":", zorder=1)
    figure.legend(loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False)
    return figure


def _across(
    curve: ManualOutputCurve, points: Sequence[OperatingPoint], units: UnitSystem
) -> list[float]:
    """Where points stand across the picture."""
    if curve.against == "diameter":
        return [units.show(p.diameter, "diameter") for p in points]
    return [units.show(p.line_speed, "speed") for p in points]


def _beside(panel: Axes, y: float, text: str, colour: str = BLACK) -> None:
    """Write to the right of a panel, at a height in its data."""
    panel.annotate(
        text, (1.0, y), xycoords=("axes fraction", "data"), xytext=(5, 0), color=colour,
        textcoords="offset points", va="center", fontsize=SMALL, annotation_clip=False,
    )  # fmt: skip


def _output_room(panel: Axes, curve: ManualOutputCurve) -> None:
    plain_panel(panel, "output [%]")
    low, high = curve.output_low, curve.output_high
    values = [p.output for line in curve.lines for p in line.points]
    bottom = max(min(*values, low), low - 30.0)
    top = min(max(*values, high), high + 30.0)
    # A line that ends beyond the limits does not end on the picture's edge.
    bottom, top = bottom - 4.0 * (bottom < low), top + 4.0 * (top > high)
    panel.set_ylim(bottom, top)
    for start, end in ((low, low + curve.room), (high - curve.room, high)):
        panel.axhspan(start, end, facecolor=ORANGE, alpha=0.25, hatch="//", linewidth=0.0)
        _beside(panel, 0.5 * (start + end), "little room")
    for start, end in ((bottom, low), (high, top)):
        if start < end:
            panel.axhspan(start, end, facecolor=GREY, alpha=0.25, hatch="xx", linewidth=0.0)
            # Far enough from the words for the room beside it.
            middle = min(start, low - 6.0) if end == low else max(end, high + 6.0)
            _beside(panel, middle, "out of reach")


def _tension_reach(panel: Axes, curve: ManualOutputCurve, units: UnitSystem) -> None:
    plain_panel(panel, f"tension [{units.label('tension')}]")
    # A tapered tension falls as the roll grows.
    along = curve.lines[0].points
    tensions = [units.show(p.tension, "tension") for p in along]
    panel.plot(_across(curve, along, units), tensions, color=BLACK, linewidth=1.6, linestyle="-.")
    wanted = tensions[-1]
    _beside(panel, wanted, f"wanted {wanted:.4g}")
    points = [p for line in curve.lines for p in line.points]
    most = units.show(max(p.tension_high for p in points), "tension")
    top = min(1.06 * max(most, 1.1 * wanted), _MOST_TENSION * wanted)
    panel.set_ylim(0.0, top)
    # Where the lines end at the right, and not on top of the word for the wanted tension.
    for name, tensions in (
        (f"at {curve.output_low:.3g} %", [ln.points[-1].tension_low for ln in curve.lines]),
        (f"at {curve.output_high:.3g} %", [ln.points[-1].tension_high for ln in curve.lines]),
    ):
        y = min(max(units.show(max(tensions), "tension"), 0.03 * top), 0.97 * top)
        if abs(y - wanted) < 0.11 * top:
            y = wanted + (0.11 * top if y >= wanted else -0.11 * top)
        _beside(panel, y, name)


def _heat(panel: Axes, curve: ManualOutputCurve, units: UnitSystem) -> None:
    what = "mechanical power" if curve.device == "torque motor" else "heat"
    plain_panel(panel, f"{what} [{units.label('power')}]")
    most = max(p.slip_power for line in curve.lines for p in line.points)
    rating = curve.continuous_heat
    # A rating far above everything would press the lines flat; then only the words tell it.
    if rating is not None:
        shown = units.show(rating, "power")
        if rating <= 3.0 * most:
            panel.axhline(shown, color=VERMILION, linewidth=1.8, linestyle=(0, (6, 2)))
            _beside(panel, shown, f"continuous\nrating {shown:.4g}")
        else:
            panel.annotate(
                f"continuous rating {units.text(rating, 'power')}, above the picture", (0.99, 1.0),
                xycoords="axes fraction", xytext=(0, 4), textcoords="offset points", ha="right",
                fontsize=SMALL,
            )  # fmt: skip
        most = max(most, rating if rating <= 3.0 * most else 0.0)
    panel.set_ylim(0.0, 1.12 * units.show(most, "power") or 1.0)
