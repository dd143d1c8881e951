"""The picture of a calibration: reading over tension as it should be, and as it was found."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simulator.calibration import FULL_SCALE, NOTHING, RUNNING, WEIGHT, CalibrationPlan
from simulator.calibration_check import CalibrationCheck
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
from simulator.units import METRIC, UnitSystem, sensible

_HEIGHT = 4.6  # [inch]
# Least half height of the panel around zero, in allowed errors [-].
_AROUND_ZERO = 1.6


def draw_calibration(
    result: CalibrationPlan | CalibrationCheck, *, units: UnitSystem = METRIC
) -> Figure:
    """Draw what is to be read over tension, and for a check what was read.

    A plan is drawn with its signal beside the reading; a check with the zero blown up beside it.

    Args:
        result: a plan or a check.
        units: the reader's units.
    """
    figure = Figure(figsize=(WIDTH, _HEIGHT), layout="constrained")
    checked = isinstance(result, CalibrationCheck)
    left, right = figure.subplots(1, 2, width_ratios=(5, 2) if checked else (1, 1))
    if isinstance(result, CalibrationCheck):
        _draw_check(left, result, units)
        _draw_zero(right, result, units)
        plan = result.plan
    else:
        plan = result
        _draw_plan(left, plan, units, signal=False)
        _draw_plan(right, plan, units, signal=True)
    for axes in (left, right) if not checked else (left,):
        axes.set_xlabel(f"tension of rope or web [{units.label('tension')}]", fontsize=FONT)
        axes.set_xlim(left=0.0)
    handles, labels = left.get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=3, fontsize=SMALL, frameon=False
    )
    return figure


def _marks(axes: Axes, plan: CalibrationPlan, units: UnitSystem) -> None:
    """Upright lines at the tensions that matter, named in the legend."""
    for name, tension, colour, dash in (
        ("least weight", plan.least_force, GREY, ":"),
        ("running", plan.running, GREEN, "-."),
        ("end of scale", plan.scale, BLACK, "--"),
    ):
        axes.axvline(
            units.show(tension, "tension"), color=colour, linestyle=dash, linewidth=1.4, zorder=1,
            label=f"{name}: {units.text(tension, 'tension')}",
        )  # fmt: skip


def _draw_plan(axes: Axes, plan: CalibrationPlan, units: UnitSystem, *, signal: bool) -> None:
    """What is to be read of a display, or of the cells."""
    states = [plan.state(name) for name in (NOTHING, WEIGHT, RUNNING, FULL_SCALE)]
    x = [units.show(state.tension, "tension") for state in states]
    y = [state.signal if signal else units.show(state.reading, "tension") for state in states]
    unit = "mV" if signal else units.label("tension")
    reading = "display" if plan.display else "reading, once set"
    plain_panel(axes, f"{'signal of each cell' if signal else reading} [{unit}]")
    axes.plot([x[0], x[3]], [y[0], y[3]], color=BLUE, linewidth=2.0, label="as it should be")
    axes.plot(
        x[:2], y[:2], "o", color=VERMILION, markersize=8, zorder=4, clip_on=False,
        label=f"to read: nothing, then {units.plain(plan.mass, 'mass')}",
    )  # fmt: skip
    _marks(axes, plan, units)
    # Labels keep below the line, on the page, and apart from each other.
    weight_at = (8.0, -13.0) if x[1] < 0.75 * max(x) else (-4.0, -32.0)
    if x[1] < 0.1 * max(x):
        weight_at = (8.0, 26.0)
    for at, value, off in ((x[0], y[0], (8.0, -13.0)), (x[1], y[1], weight_at))[: 1 + (x[1] > 0.0)]:
        axes.annotate(
            f"{_text(value)} {unit}", (at, value), off, fontsize=SMALL,
            textcoords="offset points", ha="left" if off[0] > 0.0 else "right", va="center",
            annotation_clip=False, zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )  # fmt: skip
    axes.set_xlim(0.0, 1.04 * max(x))
    _headroom(axes, [*y, 0.0])


def _headroom(axes: Axes, values: list[float]) -> None:
    low, high = min(values), max(values)
    room = 0.09 * max(high - low, 1e-12)
    axes.set_ylim(low - room, high + room)
    axes.axhline(0.0, color=BLACK, linewidth=0.8)


def _reading(check: CalibrationCheck, value: float, units: UnitSystem) -> float:
    return units.show(value, "tension") if check.kind == "display" else value


def _text(value: float, digits: int = 3) -> str:
    """A number that a reader can take in, with a true minus sign."""
    return sensible(value, digits).replace("-", "−")


def _unit(check: CalibrationCheck, units: UnitSystem) -> str:
    return units.label("tension") if check.kind == "display" else "mV"


def _draw_check(axes: Axes, check: CalibrationCheck, units: UnitSystem) -> None:
    """As it should be and as found, over the whole scale."""
    plan, unit = check.plan, _unit(check, units)
    scale, weight = units.show(plan.scale, "tension"), units.show(plan.force, "tension")
    zero = -check.zero_shift
    right = [check.zero_expected, check.zero_expected + check.ideal_gain * plan.scale]
    found = [zero, zero + check.gain * plan.scale]
    ends = [0.0, max(scale, weight)]
    stretch = ends[1] / scale
    should: dict[str, Any] = {"color": BLUE, "linewidth": 2.0, "label": "as it should be"}
    was: dict[str, Any] = {"color": ORANGE, "linewidth": 2.0, "linestyle": "--"}
    was["label"] = "as found, through the points"
    for (low, high), style in ((right, should), (found, was)):
        shown = [_reading(check, value, units) for value in (low, low + stretch * (high - low))]
        axes.plot(ends, shown, zorder=3, **style)
    points = [_reading(check, v, units) for v in (check.empty, check.loaded, check.after)]
    marks: dict[str, Any] = {"linestyle": "none", "zorder": 5, "clip_on": False}
    axes.plot([0.0], points[:1], marker="o", markersize=9, color=BLACK, markerfacecolor="none",
              label="nothing, before", **marks)  # fmt: skip
    named = f"weight {units.plain(plan.mass, 'mass')}: {_text(points[1])} {unit}"
    axes.plot(
        [weight], points[1:2], marker="D", markersize=7, color=VERMILION, label=named, **marks
    )
    axes.plot([0.0], points[2:], marker="x", markersize=9, markeredgewidth=2.0, color=BLACK,
              label="nothing, after", **marks)  # fmt: skip
    _marks(axes, plan, units)
    what = "display" if check.kind == "display" else "signal"
    plain_panel(axes, f"{what} [{unit}]")
    axes.set_xlim(0.0, 1.04 * max(ends))
    lines = [_reading(check, value, units) for value in (*right, *found)]
    _headroom(axes, [*lines, *points, 0.0])
    axes.set_title(
        f"gain {check.gain_verdict}: {check.gain_error:+.2f} %, ".replace("-", "−")
        + f"known to ± {max(check.gain_uncertainty, 0.01):.2g} %",
        fontsize=FONT, loc="left",
    )  # fmt: skip


def _draw_zero(axes: Axes, check: CalibrationCheck, units: UnitSystem) -> None:
    """The zero before and after, against what is allowed."""
    unit = _unit(check, units)
    allowed = _reading(check, check.zero_allowed, units)
    middle = _reading(check, check.zero_expected, units)
    values = [_reading(check, value, units) for value in (check.empty, check.after)]
    axes.axhspan(middle - allowed, middle + allowed, color=GREEN, alpha=0.15, linewidth=0.0)
    axes.axhline(middle, color=BLUE, linewidth=1.6)
    axes.plot([0.0, 1.0], values, color=GREY, linewidth=1.2, linestyle=":", zorder=2)
    axes.plot([0.0], values[:1], "o", color=BLACK, markersize=9, markerfacecolor="none")
    axes.plot([1.0], values[1:], "x", color=BLACK, markersize=9, markeredgewidth=2.0)
    far = max(abs(value - middle) for value in values)
    reach = max(_AROUND_ZERO * allowed, 1.35 * far)
    axes.set_ylim(middle - reach, middle + reach)
    axes.set_xlim(-0.45, 1.45)
    axes.set_xticks([0.0, 1.0], ["before", "after"])
    plain_panel(axes, f"with nothing on the roller [{unit}]")
    axes.grid(axis="x", visible=False)
    stays = f"{_text(values[1] - values[0], 2)} {unit} stay"
    axes.set_title(
        f"zero {check.zero_verdict} (band: allowed)\nreturn {check.return_verdict}: {stays}",
        fontsize=FONT, loc="left",
    )  # fmt: skip
