"""The picture of one period, averaged over the record: reading above, output below."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simulator.figure_style import BLACK, BLUE, FONT, GREEN, SMALL, WIDTH, plain_panel
from simulator.units import METRIC, UnitSystem, sensible
from tuning.oscillation.cross import phase_between
from tuning.oscillation.explain import Explanation
from tuning.oscillation.findings import Findings
from tuning.oscillation.wave_shape import WaveShape

Array = NDArray[np.float64]

# An average that goes this many standard errors off a sine is no sine [-].
_CLEARLY = 4.0
# Averages over fewer parts of a period than this are points and no line [-].
_FEW = 16


def draw_wave(explanation: Explanation, units: UnitSystem = METRIC) -> Figure:
    """Draw the average period of the reading, and of the output in step with it, twice over.

    Time 0 is where the reading's fundamental is at its top. A sine of the same amplitude lies
    behind each; the band is one standard error to either side.

    Args:
        explanation: of the record.
        units: the reader's units.
    """
    findings = explanation.findings
    reading, output = findings.reading, findings.output
    if reading is None or not reading.phase.size:
        why = "the tension does not move" if reading is None else reading.warnings[0]
        return _nothing(f"There is no average period to show: {why}.")
    late = _output_phase(findings)
    below = math.isfinite(late)
    figure = Figure(figsize=(WIDTH, 5.2 if below else 3.4), layout="constrained")
    panels = np.atleast_1d(figure.subplots(1 + below, 1, sharex=True))
    factor = units.factor("tension")
    period = 1.0 / findings.frequency
    plain_panel(panels[0], f"reading, about its mean\n[{units.label('tension')}]")
    _draw_period(panels[0], reading, period, factor, 0.0, BLUE, "reading")
    if below:
        assert output is not None
        plain_panel(panels[1], "output, about its mean\n[%]")
        _draw_period(panels[1], output, period, 1.0, late, GREEN, "output")
    elif output is not None:
        panels[0].set_title("the output does not swing in step with it", fontsize=SMALL, loc="left")
    panels[-1].set_xlabel("time within two periods, the same twice [s]", fontsize=FONT)
    panels[-1].set_xlim(0.0, 2.0 * period)
    handles, labels = _entries(panels)
    figure.legend(handles, labels, loc="outside upper center", ncols=4, fontsize=SMALL,
                  frameon=False)  # fmt: skip
    return figure


def draw_wave_alt(explanation: Explanation, units: UnitSystem = METRIC) -> str:
    """Return in a sentence what the picture of the average period shows.

    Args:
        explanation: of the record.
        units: the reader's units.
    """
    findings = explanation.findings
    reading, output = findings.reading, findings.output
    if reading is None or not reading.phase.size:
        return "There is no average period to show."
    words = (
        f"The average period of the reading, {sensible(1.0 / findings.frequency)} s long, with an "
        f"amplitude of {units.text(reading.amplitude, 'tension', digits=2)}, {_likeness(reading)}"
    )
    late = _output_phase(findings)
    if output is None or not math.isfinite(late):
        return f"{words}."
    after = sensible((late % 1.0) / findings.frequency, 2)
    return (
        f"{words}; below it the output's, {sensible(output.amplitude, 2)} %, {_likeness(output)}, "
        f"at its top {after} s after the reading."
    )


def _output_phase(findings: Findings) -> float:
    """How much later than the reading the output is at its top [cycles]; nan where not known."""
    record, output = findings.record, findings.output
    # Where noise hides it, its own phase is that of the noise.
    if output is None or not output.phase.size or _hidden(output):
        return math.nan
    between = phase_between(record.tension, record.output, record.interval, findings.frequency)
    return -between.phase / 360.0


def _hidden(wave: WaveShape) -> bool:
    return any(words.startswith("noise hides") for words in wave.warnings)


def _draw_period(
    axes: Axes, wave: WaveShape, period: float, factor: float, late: float, colour: str, name: str
) -> None:
    place = np.concatenate([wave.phase + late + turn for turn in range(-2, 4)])
    order = np.argsort(place)
    time = period * place[order]
    mean = factor * np.tile(wave.mean_value, 6)[order]
    error = factor * np.tile(wave.standard_error, 6)[order]
    fine = np.linspace(0.0, 2.0, 400)
    sine = factor * wave.amplitude * np.cos(2.0 * math.pi * (fine - late))
    axes.plot(period * fine, sine, color=BLACK, lw=1.2, ls=(0, (5, 2)), label="sine")
    if wave.phase.size < _FEW:
        # A line through so few would look like corners of the wave.
        axes.errorbar(time, mean, error, color=colour, fmt="o", ms=6.0, capsize=3.0,
                      label=f"{name} ± standard error")  # fmt: skip
        return
    axes.fill_between(time, mean - error, mean + error, color=colour, alpha=0.3, lw=0.0,
                      label=f"{name} ± standard error")  # fmt: skip
    axes.plot(time, mean, color=colour, lw=1.8)


def _entries(panels: NDArray[np.object_]) -> tuple[list[Artist], list[str]]:
    """One entry of each name, since both panels have a sine and a band."""
    entries: dict[str, Artist] = {}
    for axes in panels:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            entries.setdefault(label, handle)
    return list(entries.values()), list(entries)


def _likeness(wave: WaveShape) -> str:
    """Sine, square, triangle, sawtooth or none of them."""
    if _hidden(wave):
        return "all but hidden by noise"
    # Each value is a mean over a part of the period.
    size = wave.amplitude * float(np.sinc(1.0 / wave.phase.size))
    sine = size * np.cos(2.0 * math.pi * wave.phase)
    off = np.abs(wave.mean_value - sine)
    if not np.any(off > _CLEARLY * wave.standard_error) or np.max(off) < 0.1 * wave.amplitude:
        return "as good as a sine"
    shares = {
        "square": wave.squareness, "triangle": wave.triangularity, "sawtooth": wave.sawtooth,
    }  # fmt: skip
    known = {name: share for name, share in shares.items() if math.isfinite(share)}
    likest = max(known, key=lambda name: known[name], default="")
    if not likest or known[likest] < 0.5:
        return "which is no sine"
    return f"nearer to a {likest} than to a sine"


def _nothing(words: str) -> Figure:
    figure = Figure(figsize=(WIDTH, 1.2), layout="constrained")
    axes = figure.subplots()
    axes.set_axis_off()
    axes.text(0.5, 0.5, words, ha="center", va="center", transform=axes.transAxes, fontsize=FONT)
    return figure
