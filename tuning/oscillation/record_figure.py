"""The picture of a record that oscillates: all of it, some swings from near, and its spectrum."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREEN,
    GREY,
    SKY,
    SMALL,
    VERMILION,
    WIDTH,
    page_line,
    plain_panel,
    text_size,
)
from simulator.units import METRIC, UnitSystem, sensible
from tuning.oscillation.explain import Explanation
from tuning.oscillation.findings import Findings
from tuning.oscillation.named_frequencies import named_frequencies
from tuning.oscillation.record import Record
from tuning.oscillation.spectrum_panel import draw_spectrum

Array = NDArray[np.float64]

# Line speed gets a panel where it moves by more than this of itself [-].
_MOVES = 0.005
# Level and envelope are means over so many swings, but over no less than this share of the record,
# or noise makes a thicket of them [-].
_SWINGS, _LEAST_SHARE = 3.0, 1.0 / 120.0
# With more swings than this a page shows a block of ink: so many are then shown from near [-].
_BLOCK, _NEAR = 60.0, 10.0


def draw_record(explanation: Explanation, units: UnitSystem = METRIC) -> Figure:
    """Draw a record with the envelope of its oscillation, and the spectrum of its tension.

    A long record also shows about ten swings from near, where they are largest.

    The spectrum is over time, web length or turns of the roll, whichever shows the oscillation
    sharpest; the machine's own frequencies are named above it, those next to the peak first.

    Args:
        explanation: of the record.
        units: the reader's units.
    """
    findings = explanation.findings
    record = findings.record
    heights = [2.2]
    output, speed = record.knows("output"), _speed_moves(record)
    heights += [1.2] * output + [1.1] * speed
    near = _loudest(findings)
    rooms = [sum(heights) + 0.9, 3.7 if findings.oscillation is not None else 0.6]
    if near is not None:
        rooms.insert(1, 1.8)
    figure = Figure(figsize=(WIDTH, sum(rooms)), layout="constrained")
    parts = figure.subfigures(len(rooms), 1, squeeze=False, height_ratios=rooms)[:, 0]
    above, below = parts[0], parts[-1]
    panels = np.atleast_1d(above.subplots(len(heights), 1, sharex=True, height_ratios=heights))
    _draw_tension(panels[0], findings, units)
    if output:
        plain_panel(panels[1], "output [%]")
        panels[1].plot(*page_line(record.time, record.output), color=GREEN, lw=1.2)
    if speed:
        plain_panel(panels[-1], f"line speed\n[{units.label('speed')}]")
        shown = units.factor("speed") * record.line_speed
        panels[-1].plot(*page_line(record.time, shown), color=GREY, lw=1.2)
    panels[-1].set_xlabel("time [s]", fontsize=FONT)
    panels[-1].set_xlim(record.start, record.start + record.duration)
    _mark_mode(panels, record)
    above.legend(loc="outside lower center", ncols=4, fontsize=SMALL, frameon=False)
    if near is not None:
        _draw_near(parts[1].subplots(), record, near, units)
    draw_spectrum(below.subplots(), explanation, units)
    return figure


def draw_record_alt(explanation: Explanation, units: UnitSystem = METRIC) -> str:
    """Return in a sentence what the picture of a record shows.

    Args:
        explanation: of the record.
        units: the reader's units.
    """
    findings = explanation.findings
    record, one = findings.record, findings.oscillation
    words = (
        f"Tension over {sensible(record.duration)} s about "
        f"{units.text(record.mean_tension, 'tension')}"
    )
    if one is None:
        return f"{words}; it does not move, so there is no spectrum."
    peak = f"{sensible(one.frequency)} Hz"
    if one.amplitude > 0.0:
        peak += f" with an amplitude of {units.text(one.amplitude, 'tension', digits=2)}"
    if not one.peak.significant:
        return f"{words}, and its spectrum, whose tallest peak, {peak}, is one that chance makes."
    over = "" if one.axis == "time" else f" over {one.axis}"
    near = [each.words for each in named_frequencies(findings) if each.far < 0.1]
    beside = f", beside {' and '.join(near[:2])} of the machine" if near else ""
    closely = "" if _loudest(findings) is None else ", some of its swings from near"
    return f"{words}{closely}, and its spectrum{over}, which has its peak at {peak}{beside}."


def _speed_moves(record: Record) -> bool:
    if not record.knows("line_speed"):
        return False
    low, high = np.quantile(record.line_speed, [0.01, 0.99])
    return bool(high - low > _MOVES * abs(high))


def _draw_tension(panel: Axes, findings: Findings, units: UnitSystem) -> None:
    record, factor = findings.record, units.factor("tension")
    plain_panel(panel, f"tension [{units.label('tension')}]")
    panel.plot(
        *page_line(record.time, factor * record.tension), color=BLUE, lw=0.9, label="reading"
    )
    if record.knows("setpoint"):
        panel.plot(*page_line(record.time, factor * record.setpoint), color=BLACK, lw=1.3, ls="-.",
                   label="setpoint")  # fmt: skip
    if findings.oscillation is None or not findings.oscillation.peak.significant:
        return
    n = record.tension.size
    span = int(min(max(_span(findings), _LEAST_SHARE * n), n))
    level = uniform_filter1d(record.tension, span, mode="nearest")
    size = np.sqrt(uniform_filter1d(findings.amplitude**2, span, mode="nearest"))
    label = "the oscillation's envelope"
    for side in (1.0, -1.0):
        edge = factor * (level + side * size)
        panel.plot(
            *page_line(record.time, edge), color=VERMILION, lw=1.3, ls=(0, (5, 2)), label=label
        )
        label = "_"


def _span(findings: Findings) -> int:
    """Return how many samples the swings last over which an envelope is a mean."""
    return max(round(_SWINGS / (findings.frequency * findings.record.interval)), 1)


def _loudest(findings: Findings) -> slice | None:
    """Return the samples of the largest swings; None where the whole record shows its swings."""
    record, one = findings.record, findings.oscillation
    if one is None or not one.peak.significant:
        return None
    if findings.frequency * record.duration <= _BLOCK:
        return None
    power = uniform_filter1d(findings.amplitude**2, _span(findings), mode="nearest")
    count = max(round(_NEAR / (findings.frequency * record.interval)), 2)
    first = min(max(int(np.argmax(power)) - count // 2, 0), record.tension.size - count)
    return slice(first, first + count)


def _draw_near(panel: Axes, record: Record, near: slice, units: UnitSystem) -> None:
    time, tension = record.time[near], units.factor("tension") * record.tension[near]
    plain_panel(panel, f"tension [{units.label('tension')}]")
    panel.plot(*page_line(time, tension), color=BLUE, lw=1.2)
    panel.set_xlim(time[0], time[-1])
    panel.ticklabel_format(axis="x", useOffset=False)
    panel.set_xlabel("time [s]: the largest swings, from near", fontsize=FONT)


def _mark_mode(panels: NDArray[np.object_], record: Record) -> None:
    """Shade automatic where the mode is known, and name each phase that has room for it."""
    if not record.knows("automatic"):
        return
    mode = record.automatic > 0.5
    edges = [0, *(np.flatnonzero(np.diff(mode)) + 1).tolist(), mode.size]
    for first, last in pairwise(edges):
        start, end = record.start + record.interval * first, record.start + record.interval * last
        name = "automatic" if mode[first] else "manual"
        if mode[first]:
            for panel in panels:
                panel.axvspan(start, end, facecolor=SKY, alpha=0.13, lw=0.0, zorder=0)
        if (end - start) / record.duration * (WIDTH - 1.5) > text_size(name, points=SMALL)[0]:
            panels[0].annotate(
                name, (0.5 * (start + end), 1.0), xycoords=("data", "axes fraction"),
                xytext=(0, 3), textcoords="offset points", ha="center", fontsize=SMALL,
            )  # fmt: skip
