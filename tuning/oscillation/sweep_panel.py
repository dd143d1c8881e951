"""The panel of a machine's own frequencies over diameter or speed, each line named at its end."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

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
    plain_panel,
)
from simulator.label_places import Page
from simulator.units import UnitSystem
from tuning.oscillation.frequency_map import FrequencyLine, Sweep

Array = NDArray[np.float64]
Over = Literal["diameter", "line_speed"]

# A swing with more damping than this has no peak in its response: nothing that oscillates [-].
_DAMPED = math.sqrt(0.5)
# A line that goes from place to place by more than this is another swing [-].
_JUMP = 1.5
# Higher multiples of what turns are drawn where the oscillation is within this of one [-].
_ON = 0.03
_HIGHER = {"roll": (3, 4), "roller": (2,), "nip": (2,)}
_STYLES: dict[str, tuple[str, object]] = {
    "roll": (VERMILION, "-"),
    "2× roll": (VERMILION, (0, (7, 2))),
    "nip": (ORANGE, (0, (3, 1, 1, 1, 1, 1))),
    "swing": (BLUE, (0, (5, 2))),
    "loop": (BLACK, (0, (2, 1.2))),
}
_ROLLERS: tuple[tuple[str, object], ...] = (
    (GREEN, (0, (6, 1.5, 1, 1.5))),
    (SKY, (0, (6, 1.5, 1, 1.5))),
    (GREEN, (0, (6, 1.5, 1, 1.5, 1, 1.5))),
    (SKY, (0, (6, 1.5, 1, 1.5, 1, 1.5))),
)


@dataclass(frozen=True, eq=False)
class Curve:
    """One line of a panel.

    Attributes:
        words: its name.
        frequency: along the sweep, shape (n,) [Hz]; nan where it is not drawn.
        colour: of it.
        dash: of it, as matplotlib has it.
    """

    words: str
    frequency: Array
    colour: str
    dash: object


def curves(sweep: Sweep, *, place: int, half: float, measured: float) -> tuple[Curve, ...]:
    """Return what to draw of a sweep.

    Lines that fall together are one; higher multiples are there where the oscillation is on one,
    and what is folded down where it comes near the oscillation.

    Args:
        sweep: the machine's frequencies.
        place: of the oscillation, index into the sweep [-].
        half: of the sample rate [Hz].
        measured: frequency of the oscillation [Hz]; nan where there is none.
    """
    drawn: list[Curve] = []
    rollers = 0
    for names, line in _together(sweep.lines):
        words = ", ".join(names)
        if line.kind == "roller":
            colour, dash = _ROLLERS[rollers % len(_ROLLERS)]
            rollers += 1
        else:
            colour, dash = _STYLES[line.name]
        f = _shown(line)
        if np.isfinite(f).any():
            drawn.append(Curve(words, f, colour, dash))
        if line.kind in _HIGHER and line.name != "2× roll":
            for order in _HIGHER[line.kind]:
                if abs(math.log(order * float(f[place]) / measured)) < _ON:
                    drawn.append(Curve(f"{order}× {words}", order * f, colour, (0, (3, 3))))
        folds = np.where((f > half) & (f < 2.0 * half), 2.0 * half - f, math.nan)
        with np.errstate(invalid="ignore", divide="ignore"):
            near = np.abs(np.log(folds / measured)) < math.log(_JUMP)
        if line.kind in _HIGHER and near.any():
            drawn.append(Curve(f"{words} folded", folds, colour, ":"))
    return tuple(drawn)


def _together(lines: tuple[FrequencyLine, ...]) -> list[tuple[list[str], FrequencyLine]]:
    groups: list[tuple[list[str], FrequencyLine]] = []
    for line in lines:
        for names, other in groups:
            turns = line.kind in _HIGHER and other.kind in _HIGHER
            if turns and np.allclose(line.frequency, other.frequency, rtol=5e-3):
                names.append(line.name)
                break
        else:
            groups.append(([line.name], line))
    return groups


def share(frequency: Array | float, limits: tuple[float, float]) -> Array:
    """Return where frequencies lie on a logarithmic axis, 0 to 1 [-].

    Args:
        frequency: of any shape [Hz].
        limits: of the axis [Hz].
    """
    low, high = limits
    with np.errstate(invalid="ignore", divide="ignore"):
        place: Array = np.log(np.asarray(frequency) / low) / math.log(high / low)
    return place


def frequency_limits(sweeps: list[Sweep], measured: float) -> tuple[float, float]:
    """Return the frequencies worth showing [Hz]: the measured one, and the machine's at speed.

    Args:
        sweeps: from the smallest diameter or speed on.
        measured: frequency of the oscillation [Hz]; nan where there is none.
    """
    shown = [_shown(line) for sweep in sweeps for line in sweep.lines]
    ends = np.concatenate([f[len(f) // 2 :] for f in shown])
    known = np.append(ends, measured)
    known = known[np.isfinite(known) & (known > 0.0)]
    return 0.6 * float(known.min()), 1.7 * float(known.max())


def draw_sweep(
    axes: Axes,
    drawn: tuple[Curve, ...],
    across: Array,
    *,
    over: Over,
    limits: tuple[float, float],
    half: float,
    units: UnitSystem,
    page: Page,
) -> None:
    """Draw lines over diameter or speed, with their names right of the panel.

    Args:
        axes: to draw in.
        drawn: the lines.
        across: diameters or speeds, evenly spaced in the logarithm, shape (n,) [m or m/s].
        over: which of the two.
        limits: of the frequency axis [Hz].
        half: of the sample rate [Hz].
        units: the reader's units.
        page: takes note of the lines, so that labels keep off them.
    """
    kind = "speed" if over == "line_speed" else "diameter"
    x = units.factor(kind) * across
    plain_panel(axes, "")
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(x[0], x[-1])
    axes.set_ylim(*limits)
    for axis, span in ((axes.xaxis, (float(x[0]), float(x[-1]))), (axes.yaxis, limits)):
        axis.set_major_locator(FixedLocator(_ticks(*span)))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    words = "roll diameter" if kind == "diameter" else "line speed"
    axes.set_xlabel(f"{words} [{units.label(kind)}]", fontsize=FONT)
    labels: list[tuple[float, str, str]] = []
    way, fine = np.linspace(0.0, 1.0, x.size), np.linspace(0.0, 1.0, 300)
    for curve in drawn:
        axes.plot(x, curve.frequency, color=curve.colour, ls=curve.dash, lw=1.8)
        height = share(np.interp(fine, way, curve.frequency), limits)
        keep = (height > 0.0) & (height < 1.0)
        page.draw(page.width * fine[keep], page.height * height[keep])
        ends = np.flatnonzero(keep)
        # A line that ends on the way has its colour and no name, or its tie would cross others.
        if ends.size and ends[-1] >= fine.size - 3:
            labels.append((float(height[ends[-1]]), curve.words, curve.colour))
    if limits[0] < half < limits[1]:
        axes.axhline(half, color=GREY, lw=1.0, ls=(0, (1, 2)))
        at = float(share(half, limits))
        page.draw(page.width * fine, np.full(fine.size, page.height * at))
        labels.append((at, "½ sample rate", GREY))
    _write(axes, labels, page.height)


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers on a logarithmic axis, seven or fewer where it is long."""
    steps = (1, 2, 3, 5) if high / low < 30.0 else (1, 2, 5) if high / low < 1e3 else (1,)
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    every = [step * 10.0**power for power in powers for step in steps]
    return [value for value in every if low <= value <= high]


def _write(axes: Axes, labels: list[tuple[float, str, str]], height: float) -> None:
    """Write labels right of the panel, none over another, each tied to the end of its line."""
    if not labels:
        return
    labels = sorted(labels)
    gaps = 1.45 * SMALL / 72.0 / height * np.arange(len(labels))
    # The places nearest to the ends of the lines that keep their order and their distance.
    places = isotonic_regression(np.array([end for end, _, _ in labels]) - gaps).x
    places = np.clip(places, 0.0, max(1.0 - gaps[-1], 0.0)) + gaps
    for y, (end, words, colour) in zip(places, labels, strict=True):
        axes.annotate(
            words, (1.0, end), xycoords="axes fraction", xytext=(1.035, float(y)),
            textcoords="axes fraction", fontsize=SMALL, va="center", ha="left",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.8, "shrinkA": 1,
                        "shrinkB": 0, "relpos": (0.0, 0.5)},
        )  # fmt: skip


def _shown(line: FrequencyLine) -> Array:
    """Its frequency where it can oscillate, with a gap where it goes over to another swing."""
    f = line.frequency.copy()
    if line.damping.size:
        f[~(line.damping < _DAMPED)] = math.nan
        with np.errstate(invalid="ignore"):
            jumps = np.flatnonzero(np.abs(np.log(f[1:] / f[:-1])) > math.log(_JUMP))
        f[jumps] = math.nan
    return f
