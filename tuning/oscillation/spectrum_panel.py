"""The panel of a spectrum: what stands out of it, and the machine's own frequencies beside that.

Heights are amplitudes: a sine of amplitude A spreads its variance A²/2 over the resolution, so a
density S is drawn as sqrt(2 S · resolution), and a line reads near the amplitude that it has.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter
from matplotlib.transforms import ScaledTranslation, Transform
from numpy.typing import NDArray
from scipy.special import betaincinv

from simulator.figure_style import BLACK, BLUE, FONT, GREY, SMALL, VERMILION, plain_panel, text_size
from simulator.units import UnitSystem, sensible
from tuning.oscillation.detection import View, views
from tuning.oscillation.explain import Explanation
from tuning.oscillation.findings import Findings
from tuning.oscillation.named_frequencies import NamedFrequency, named_frequencies
from tuning.oscillation.spectrum import SIGNIFICANT, Spectrum, spectrum

Array = NDArray[np.float64]

# Rows of labels above the panel, and how high one is [-], [points].
ROWS, ROW = 4, 14.0
# Width of the panel itself, about [inch].
_ROOM = 9.1
# A machine's frequency that may be so much off is no band in the panel any more, only a bar [-].
_BAND = 1.8
_AXIS_WORDS = {
    "time": "frequency [Hz]",
    "web length": "swings over web length, a second at the mean line speed [Hz]",
    "roll turns": "swings over turns of the roll, a second at its mean turning speed [Hz]",
}


@dataclass(frozen=True, eq=False)
class _Seen:
    """A spectrum, and the view of the tension that it is of."""

    view: View
    spectrum: Spectrum
    chance: Array

    @property
    def frequency(self) -> Array:
        return self.spectrum.frequency * self.view.rate

    @property
    def lowest(self) -> float:
        return self.spectrum.lowest * self.view.rate

    def height(self, density: Array) -> Array:
        """Amplitudes [N] of densities."""
        amplitude: Array = np.sqrt(2.0 * density * self.spectrum.resolution)
        return amplitude

    def at(self, frequency: float) -> float:
        """Density about a frequency [Hz] over what chance would make there [-]."""
        ratio = self.spectrum.density / self.chance
        near = np.abs(self.frequency - frequency) <= 0.5 * self.spectrum.resolution * self.view.rate
        near[: int(np.searchsorted(self.frequency, 0.5 * self.lowest))] = False
        return float(ratio[near].max(initial=0.0))


def chance_level(seen: Spectrum) -> Array:
    """Return the density that noise goes above anywhere once in a hundred records [unit²/Hz].

    Density over background is Fisher's F with the two degrees of freedom; Bonferroni's bound over
    all independent frequencies.

    Args:
        seen: the spectrum.
    """
    d1, d2 = seen.dof, seen.background_dof
    z = betaincinv(0.5 * d2, 0.5 * d1, 10.0**SIGNIFICANT / seen.bins)
    level: Array = seen.background * d2 * (1.0 - z) / (d1 * z)
    return level


def draw_spectrum(axes: Axes, explanation: Explanation, units: UnitSystem) -> bool:
    """Draw the spectrum of a record over the axis on which its oscillation is sharpest.

    Args:
        axes: to draw in; up to four rows of labels stand above it.
        explanation: of the record.
        units: the reader's units.

    Returns:
        Whether there is a spectrum: a tension that does not move has none.
    """
    findings = explanation.findings
    if findings.oscillation is None:
        axes.text(0.5, 0.5, "The tension does not move: it has no spectrum.", ha="center",
                  va="center", transform=axes.transAxes, fontsize=FONT)  # fmt: skip
        axes.set_axis_off()
        return False
    seen = _seen(findings)
    keep = seen.frequency >= min(0.6 * seen.lowest, 0.8 * findings.frequency)
    keep[0] = False
    f = seen.frequency[keep]
    factor = units.factor("tension")
    height = factor * seen.height(seen.spectrum.density)[keep]
    level = factor * seen.height(seen.spectrum.background)[keep]
    chance = factor * seen.height(seen.chance)[keep]
    resolution = sensible(seen.spectrum.resolution * seen.view.rate, 2)
    plain_panel(axes, f"amplitude in {resolution} Hz [{units.label('tension')}]")
    axes.plot(f, height, color=BLUE, lw=1.3, label="spectrum")
    axes.plot(f, level, color=GREY, lw=1.6, ls="-.", label="background")
    axes.plot(f, chance, color=VERMILION, lw=1.3, ls=(0, (4, 2)),
              label="noise alone goes higher once in 100 records")  # fmt: skip
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(f[0], f[-1])
    least = max(float(np.quantile(height, 0.02)), 1e-4 * float(height.max()))
    span = max(float(height.max()), float(chance.max())) / least
    # Room for the legend below and for the mark above.
    axes.set_ylim(least / span**0.25 / 1.2, least * span**1.3 * 1.2)
    axes.set_xlabel(_AXIS_WORDS[seen.view.axis], fontsize=FONT)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())
    _ticks(axes, f[0], f[-1])
    axes.legend(
        loc="lower left",
        ncols=3,
        fontsize=SMALL,
        borderaxespad=0.2,
        facecolor="white",
        edgecolor="none",
        framealpha=0.85,
    )
    _mark_peaks(axes, explanation, seen, units)
    _name_frequencies(axes, findings, seen)
    return True


def peak_words(explanation: Explanation, units: UnitSystem) -> str:
    """Return what stands out of the spectrum, in a few words.

    Args:
        explanation: of the record.
        units: the reader's units.
    """
    one = explanation.findings.oscillation
    if one is None:
        return "nothing: the tension does not move"
    what = f"{sensible(one.frequency)} Hz"
    if one.amplitude > 0.0:
        what += f", {units.text(one.amplitude, 'tension', digits=2)}"
    if not one.peak.significant:
        return f"tallest: {what}, which chance makes too"
    return f"measured: {what}"


def _seen(findings: Findings) -> _Seen:
    """The spectrum in which the oscillation stands out most."""
    one = findings.oscillation
    assert one is not None
    found = []
    for view in views(findings.record):
        if view.axis == one.axis:
            seen = spectrum(view.values, view.step)
            found.append(_Seen(view, seen, chance_level(seen)))
    return max(found, key=lambda seen: seen.at(one.frequency))


def _ticks(axes: Axes, low: float, high: float) -> None:
    """Label 1, 2, 5 on a short frequency axis, only powers of ten on a long one."""
    subs = (1.0, 2.0, 5.0) if high / low < 3e3 else (1.0,)
    axes.xaxis.set_major_locator(LogLocator(subs=subs, numticks=30))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _mark_peaks(axes: Axes, explanation: Explanation, seen: _Seen, units: UnitSystem) -> None:
    """Name the measured peak above it, and others of the record where there is room."""
    one = explanation.findings.oscillation
    assert one is not None
    marks = [(one.frequency, peak_words(explanation, units), BLACK)]
    for other in explanation.others:
        if other.oscillation.axis == one.axis:
            marks.append(
                (
                    other.oscillation.frequency,
                    f"also {sensible(other.oscillation.frequency)} Hz",
                    GREY,
                )
            )
    f, height = seen.frequency, units.factor("tension") * seen.height(seen.spectrum.density)
    left, right = axes.get_xlim()
    taken: list[tuple[float, float]] = []
    for frequency, words, colour in marks:
        width = (text_size(words, points=SMALL, weight="bold")[0] + 0.2) / _ROOM
        at = math.log(frequency / left) / math.log(right / left)
        start = min(max(at - 0.5 * width, 0.0), 1.0 - width)
        if any(start < end and start + width > begin for begin, end in taken):
            continue
        taken.append((start, start + width))
        near = np.abs(f - frequency) <= 0.5 * seen.spectrum.resolution * seen.view.rate
        top = float(height[near].max(initial=float(np.interp(frequency, f, height))))
        axes.annotate(
            words, (min(max(frequency, left), right), 1.08 * top), xycoords="data",
            xytext=(start + 0.5 * width, 0.91), textcoords="axes fraction",
            ha="center", va="center", fontsize=SMALL, color=BLACK, zorder=6,
            fontweight="bold" if colour == BLACK else "normal",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
            arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.0, "shrinkA": 0,
                        "shrinkB": 0, "relpos": ((at - start) / width, 0.0)},
        )  # fmt: skip


def _name_frequencies(axes: Axes, findings: Findings, seen: _Seen) -> None:
    """Draw the machine's frequencies with their names above the panel, as many as fit."""
    left, right = axes.get_xlim()
    shelf = _Shelf()
    for one in named_frequencies(findings):
        low, high = max(one.low, left), min(one.high, right)
        if low > high:
            continue
        ends = [math.log(f / left) / math.log(right / left) for f in (low, high)]
        width = (text_size(one.words, points=SMALL)[0] + 0.14) / _ROOM
        narrow = one.is_line
        found = shelf.line(0.5 * sum(ends), width) if narrow else shelf.bar(ends[0], ends[1], width)
        if found is not None:
            _name_one(axes, one, (low, high), 0.5 * sum(ends), found, narrow=narrow)
    # What stands above a panel takes no part in the layout; a blank title keeps room for it.
    axes.set_title(" ", fontsize=max(SMALL, 0.72 * ROW * len(shelf.rows)))


class _Shelf:
    """Rows of labels above a panel, each with what is taken of it, from 0 to 1 across."""

    def __init__(self) -> None:
        self.rows: list[list[tuple[float, float]]] = []

    def _free(self, row: int, start: float, end: float) -> bool:
        taken = self.rows[row] if row < len(self.rows) else []
        return not any(start < b and end > a for a, b in taken)

    def _take(self, row: int, start: float, end: float) -> None:
        while len(self.rows) <= row:
            self.rows.append([])
        self.rows[row].append((start, end))

    def line(self, at: float, width: float) -> tuple[int, float] | None:
        """Row and middle of a label for a line, which must reach down past all rows below."""
        for row in range(ROWS):
            if any(not self._free(below, at - 0.004, at + 0.004) for below in range(row)):
                return None
            for middle in (at, at + 0.46 * width, at - 0.46 * width):
                middle = min(max(middle, 0.5 * width), 1.0 - 0.5 * width)
                if self._free(row, middle - 0.5 * width, middle + 0.5 * width):
                    self._take(row, middle - 0.5 * width, middle + 0.5 * width)
                    for below in range(row):
                        self._take(below, at, at)
                    return row, middle
        return None

    def bar(self, low: float, high: float, width: float) -> tuple[int, float] | None:
        """Row and middle of a label for a band, which lies over its own bar."""
        middle = min(max(0.5 * (low + high), 0.5 * width), 1.0 - 0.5 * width)
        start, end = min(low, middle - 0.5 * width), max(high, middle + 0.5 * width)
        for row in range(ROWS):
            if self._free(row, start, end):
                self._take(row, start, end)
                return row, middle
        return None


def _name_one(
    axes: Axes,
    one: NamedFrequency,
    band: tuple[float, float],
    at: float,
    place: tuple[int, float],
    *,
    narrow: bool,
) -> None:
    row, middle = place
    up = 4.0 + ROW * row
    figure = axes.get_figure(root=True)
    assert figure is not None

    def lifted(points: float) -> Transform:
        return ScaledTranslation(0.0, points / 72.0, figure.dpi_scale_trans)

    if narrow:
        axes.axvline(one.middle, color=GREY, lw=0.9, ls=":", zorder=1)
        if row:
            axes.annotate(
                "", (at, 1.0), xycoords="axes fraction", xytext=(0.0, up),
                textcoords="offset points", annotation_clip=False,
                arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.9, "linestyle": ":",
                            "shrinkA": 0, "shrinkB": 0},
            )  # fmt: skip
    elif one.high <= _BAND * one.low:
        axes.axvspan(*band, facecolor=GREY, alpha=0.15, lw=0.0, zorder=0)
    if not narrow:
        axes.plot(band, [1.0, 1.0], lw=2.0, color=GREY, solid_capstyle="butt", clip_on=False,
                  transform=axes.get_xaxis_transform() + lifted(up - 1.0))  # fmt: skip
    axes.text(
        middle, 1.0, one.words, transform=axes.transAxes + lifted(up), ha="center", va="bottom",
        fontsize=SMALL, color=BLACK,
    )  # fmt: skip
