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
from matplotlib.transforms import ScaledTranslation
from numpy.typing import NDArray
from scipy.special import betaincinv

from simulator.figure_style import BLACK, BLUE, FONT, GREY, SMALL, VERMILION, plain_panel, text_size
from simulator.units import UnitSystem, sensible
from tuning.oscillation.detection import View, views
from tuning.oscillation.explain import Explanation
from tuning.oscillation.findings import Findings
from tuning.oscillation.machine_frequencies import MachineFrequency
from tuning.oscillation.spectrum import SIGNIFICANT, Spectrum, spectrum

Array = NDArray[np.float64]

# Rows of labels above the panel, and how high one is [-], [points].
ROWS, ROW = 4, 14.0
# Width of the panel itself, about [inch].
_ROOM = 9.1
# A machine's frequency known to better than this ratio is a line, to worse than that only a bar.
_LINE, _BAND = 1.04, 1.8
# An order higher, or a fold, is as far away as this ratio of frequency [nats].
_UNLIKELY = 0.35
_TURNS = ("roll", "roller", "nip")
_AXIS_WORDS = {
    "time": "frequency [Hz]",
    "web length": "swings over web length, a second at the mean line speed [Hz]",
    "roll turns": "swings over turns of the roll, a second at its mean turning speed [Hz]",
}


@dataclass(frozen=True)
class NamedFrequency:
    """One of the machine's own frequencies, as far as it is known.

    Attributes:
        words: such as "2 × roll".
        low: lowest that it may have [Hz].
        high: highest [Hz].
        far: from the oscillation, the less likely the farther [nats].
    """

    words: str
    low: float
    high: float
    far: float

    @property
    def middle(self) -> float:
        """Between the two [Hz]."""
        return math.sqrt(self.low * self.high)


@dataclass(frozen=True, eq=False)
class _Seen:
    """A spectrum, and the view of the tension that it is of."""

    view: View
    spectrum: Spectrum

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
        ratio = self.spectrum.density / chance_level(self.spectrum)
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


def named_frequencies(findings: Findings) -> tuple[NamedFrequency, ...]:
    """Return the machine's frequencies about an oscillation, the likeliest to be it first.

    Args:
        findings: what was measured.
    """
    named = [
        NamedFrequency(words, low, high, _far(findings, low, high) + _UNLIKELY * doubts)
        for one in findings.machine
        for words, low, high, doubts in _orders(findings, one)
    ]
    if findings.loop is not None and np.isfinite(findings.loop.frequency).any():
        low = float(np.nanmin(findings.loop.frequency))
        high = float(np.nanmax(findings.loop.frequency))
        named.append(NamedFrequency("loop", low, high, _far(findings, low, high)))
    return tuple(sorted(_merged(named), key=lambda one: one.far))


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
    keep = seen.frequency >= 0.6 * seen.lowest
    f = seen.frequency[keep]
    factor = units.factor("tension")
    height = factor * seen.height(seen.spectrum.density)[keep]
    level = factor * seen.height(seen.spectrum.background)[keep]
    chance = factor * seen.height(chance_level(seen.spectrum))[keep]
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
    axes.legend(loc="lower left", ncols=3, fontsize=SMALL, frameon=False, borderaxespad=0.1)
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
    what = f"{sensible(one.frequency)} Hz, {units.text(one.amplitude, 'tension', digits=2)}"
    if not one.peak.significant:
        return f"tallest: {what}, which chance makes too"
    return f"measured: {what}"


def _seen(findings: Findings) -> _Seen:
    """The spectrum in which the oscillation stands out most."""
    one = findings.oscillation
    assert one is not None
    found = [
        _Seen(view, spectrum(view.values, view.step))
        for view in views(findings.record)
        if view.axis == one.axis
    ]
    return max(found, key=lambda seen: seen.at(one.frequency))


def _orders(findings: Findings, one: MachineFrequency) -> list[tuple[str, float, float, float]]:
    """Words, lowest and highest frequency and doubts of each multiple of one frequency."""
    low, high = float(one.frequency.min()), float(one.frequency.max())
    name, doubts = one.name, 0.0
    oscillation = findings.oscillation
    axis = "time" if oscillation is None else oscillation.axis
    if one.kind in _TURNS:
        slow, fast = _swept(findings, roll=one.kind == "roll")
        if axis == "time":
            low, high = low * slow, high * fast
        if high > 8.0 * low:
            name = f"any usual {one.kind}"
            if findings.scenario is not None and one.kind == "roll":
                name = "roll"
    elif axis != "time" and one.kind != "swing":
        return []  # neither hum nor what is folded stands still over another axis than time
    elif one.kind == "mains":
        doubts = 1.0
        true = float(name.split()[1])
        if abs(low - true) > 1e-6 * true:
            name, doubts = f"{name} folded", 2.0
    elif one.kind == "folded":
        doubts = 1.0
    rows = []
    for order in one.orders:
        words = name if order == 1 else f"{order} × {name}"
        rows.append((words, order * low, order * high, doubts + order - 1.0))
        if name.startswith("any"):
            break
    return rows


def _swept(findings: Findings, *, roll: bool) -> tuple[float, float]:
    """How far the speed of a roller, or the turn of the roll, went below and above its mean."""
    record = findings.record
    if not record.knows("line_speed"):
        return 1.0, 1.0
    rate = record.line_speed
    if roll and record.knows("diameter"):
        rate = rate / record.diameter
    mean = float(np.average(rate, weights=np.maximum(findings.amplitude**2, 1e-300)))
    slow, fast = np.quantile(rate, [0.02, 0.98]) / mean
    return min(float(slow), 1.0), max(float(fast), 1.0)


def _far(findings: Findings, low: float, high: float) -> float:
    """How far an oscillation is from a band of frequencies [nats]; a wide band says little."""
    width = 0.25 * math.log(high / low) if low > 0.0 else math.inf
    f = findings.frequency
    if not (f > 0.0 and low > 0.0):
        return math.inf
    return max(math.log(low / f), math.log(f / high), 0.0) + width


def _merged(named: list[NamedFrequency]) -> list[NamedFrequency]:
    """Rollers of one size are one line: "roller 1, roller 2"."""
    merged: list[NamedFrequency] = []
    for one in named:
        if not (one.low > 0.0 and math.isfinite(one.high)):
            continue
        for i, other in enumerate(merged):
            if abs(one.low / other.low - 1.0) < 1e-4 and abs(one.high / other.high - 1.0) < 1e-4:
                words = f"{other.words}, {one.words}"
                merged[i] = NamedFrequency(words, one.low, one.high, min(one.far, other.far))
                break
        else:
            merged.append(one)
    return merged


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
        width = (text_size(words, points=SMALL)[0] + 0.25) / _ROOM
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

    def across(frequency: float) -> float:
        return math.log(frequency / left) / math.log(right / left)

    rows: list[list[tuple[float, float]]] = [[] for _ in range(ROWS)]
    for one in named_frequencies(findings):
        low, high = max(one.low, left), min(one.high, right)
        if low > high:
            continue
        half = 0.5 * (text_size(one.words, points=SMALL)[0] + 0.14) / _ROOM
        at = across(math.sqrt(low * high))
        text = min(max(at, half), 1.0 - half)
        narrow = one.high <= _LINE * one.low
        start, end = text - half, text + half
        if not narrow:
            start, end = min(start, across(low)), max(end, across(high))
        for level, row in enumerate(rows):
            free = not any(start < b and end > a for a, b in row)
            below = not any(a - 0.004 < at < b + 0.004 for under in rows[:level] for a, b in under)
            if free and (below or not narrow):
                break
        else:
            continue
        row.append((start, end))
        if narrow:
            for under in rows[:level]:
                under.append((at, at))
        _name_one(axes, one, (low, high), (at, text), level, narrow=narrow)


def _name_one(
    axes: Axes,
    one: NamedFrequency,
    band: tuple[float, float],
    place: tuple[float, float],
    level: int,
    *,
    narrow: bool,
) -> None:
    at, text = place
    up = 4.0 + ROW * level
    line = {"arrowstyle": "-", "color": GREY, "linewidth": 0.9, "linestyle": ":",
            "shrinkA": 0, "shrinkB": 0, "relpos": (0.5, 0.0)}  # fmt: skip
    if narrow:
        axes.axvline(one.middle, color=GREY, lw=0.9, ls=":", zorder=1)
    elif one.high <= _BAND * one.low:
        axes.axvspan(*band, facecolor=GREY, alpha=0.15, lw=0.0, zorder=0)
    if not narrow:
        _bar(axes, band, up)
    axes.annotate(
        one.words, (at if narrow else text, 1.0), xycoords="axes fraction",
        xytext=(72.0 * _ROOM * (text - at) if narrow else 0.0, up), textcoords="offset points",
        ha="center", va="bottom", fontsize=SMALL, color=BLACK, annotation_clip=False,
        arrowprops=line if narrow and level else None,
    )  # fmt: skip


def _bar(axes: Axes, band: tuple[float, float], up: float) -> None:
    """A bar under a label above the panel, as wide as the band."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    lift = ScaledTranslation(0.0, (up - 1.0) / 72.0, figure.dpi_scale_trans)
    axes.plot(
        band, [1.0, 1.0], color=GREY, lw=2.0, solid_capstyle="butt", clip_on=False,
        transform=axes.get_xaxis_transform() + lift,
    )  # fmt: skip
