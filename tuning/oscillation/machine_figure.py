"""The picture of a measured oscillation among the machine's own frequencies.

Over diameter and over line speed each cause goes its own way: on these axes what turns is a
straight slope over speed, the roll's turn also one over diameter; swing and loop are level over
speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from simulator import Scenario
from simulator.figure_style import (
    BLACK,
    FONT,
    SMALL,
    WIDTH,
    text_size,
)
from simulator.label_places import Page, around
from simulator.machine import diameter_range
from simulator.units import METRIC, UnitSystem, sensible
from tuning.oscillation.explain import Explanation
from tuning.oscillation.findings import Findings
from tuning.oscillation.frequency_map import FrequencyMap, Sweep, frequency_map
from tuning.oscillation.sweep_panel import Curve, Over, curves, draw_sweep, frequency_limits, share

Array = NDArray[np.float64]

HEIGHT = 4.4  # of the picture [inch]
# The oscillation is on a line within this of it [-].
_ON = 0.05
# Diameter or speed that moved by more than this is a bar and no point [-].
_POINT = 1.05


@dataclass(frozen=True)
class _Measured:
    """Where the oscillation was seen: from and to of frequency, diameter and speed."""

    frequency: tuple[float, float]
    diameter: tuple[float, float]
    line_speed: tuple[float, float]


def draw_among_machine(explanation: Explanation, units: UnitSystem = METRIC) -> Figure:
    """Draw the measured oscillation among the machine's own frequencies.

    Left over roll diameter at the speed of the record (not for a pull roll), right over line speed
    at its diameter. Where the record tells neither, the map is for running speed and a diameter
    between core and full roll, and the oscillation is a bar across.

    Args:
        explanation: of the record, with a scenario.
        units: the reader's units.

    Raises:
        ValueError: there is no scenario.
    """
    findings, scenario = explanation.findings, _scenario(explanation)
    seen = _measured(findings, scenario)
    mapped = _map(findings, scenario, seen)
    figure = Figure(figsize=(WIDTH, HEIGHT), layout="constrained")
    sweeps = _sweeps(mapped)
    panels = np.atleast_1d(figure.subplots(1, len(sweeps), sharey=True))
    limits = frequency_limits([sweep for sweep, _ in sweeps], findings.frequency)
    half, folded = 0.5 / findings.record.interval, False
    for axes, (sweep, over) in zip(panels, sweeps, strict=True):
        page = Page(WIDTH / len(sweeps) - 1.7, HEIGHT - 0.9)
        drawn = _curves(mapped, sweep, over, findings)
        folded = folded or any(curve.words.endswith("folded") for curve in drawn)
        draw_sweep(axes, drawn, getattr(sweep, over), over=over, limits=limits, half=half,
                   units=units, page=page)  # fmt: skip
        _mark(axes, seen, over, units, findings, page)
        known = findings.record.knows("diameter" if over == "line_speed" else "line_speed")
        _titled(axes, mapped, over, units, known)
    panels[0].set_ylabel("frequency [Hz]", fontsize=FONT)
    if folded:
        figure.supxlabel("dotted: what is faster than half the sample rate shows folded down",
                         fontsize=SMALL)  # fmt: skip
    return figure


def draw_among_machine_alt(explanation: Explanation, units: UnitSystem = METRIC) -> str:
    """Return in a sentence what the picture among the machine's frequencies shows.

    Args:
        explanation: of the record, with a scenario.
        units: the reader's units.

    Raises:
        ValueError: there is no scenario.
    """
    findings, scenario = explanation.findings, _scenario(explanation)
    seen = _measured(findings, scenario)
    mapped = _map(findings, scenario, seen)
    over = "line speed" if mapped.over_diameter is None else "roll diameter and line speed"
    words = f"The machine's own frequencies over {over}"
    if findings.oscillation is None:
        return f"{words}; nothing was measured among them."
    at = f"the oscillation at {sensible(findings.frequency)} Hz"
    if not (findings.record.knows("diameter") and findings.record.knows("line_speed")):
        return f"{words}, and {at} as a bar across, since the record does not tell its place."
    sweep = mapped.over_speed
    place = _nearest(sweep.line_speed, mapped.line_speed)
    beside = [
        curve.words
        for curve in _curves(mapped, sweep, "line_speed", findings)
        if abs(math.log(float(curve.frequency[place]) / findings.frequency)) < _ON
    ]
    if not beside:
        return f"{words}, and {at}, which lies on none of them."
    return f"{words}, and {at}, which lies on or near: {', '.join(beside)}."


def _sweeps(mapped: FrequencyMap) -> list[tuple[Sweep, Over]]:
    sweeps: list[tuple[Sweep, Over]] = [(mapped.over_speed, "line_speed")]
    if mapped.over_diameter is not None:
        sweeps.insert(0, (mapped.over_diameter, "diameter"))
    return sweeps


def _nearest(values: Array, value: float) -> int:
    return int(np.argmin(np.abs(np.log(values / value))))


def _curves(
    mapped: FrequencyMap, sweep: Sweep, over: Over, findings: Findings
) -> tuple[Curve, ...]:
    at = mapped.line_speed if over == "line_speed" else mapped.diameter
    return curves(
        sweep,
        place=_nearest(getattr(sweep, over), at),
        half=0.5 / findings.record.interval,
        measured=findings.frequency,
    )


def _scenario(explanation: Explanation) -> Scenario:
    scenario = explanation.findings.scenario
    if scenario is None:
        raise ValueError("the machine's frequencies need a scenario: explain the record with one")
    return scenario


def _measured(findings: Findings, scenario: Scenario) -> _Measured:
    """Frequency, diameter and speed with how far they moved; the whole range where not known."""
    record, run = findings.record, scenario.run
    core, full = diameter_range(scenario)
    diameter, speed = (core, full), (min(run.crawl_speed, run.line_speed), run.line_speed)
    if record.knows("diameter"):
        low, high = np.quantile(np.clip(record.diameter, core, full), [0.02, 0.98])
        diameter = (float(low), float(high))
    if record.knows("line_speed"):
        low, high = np.quantile(record.line_speed, [0.02, 0.98])
        speed = (float(low), float(high))
    one = findings.oscillation
    frequency = (math.nan, math.nan) if one is None else (one.lowest, one.highest)
    return _Measured(frequency, diameter, speed)


def _map(findings: Findings, scenario: Scenario, seen: _Measured) -> FrequencyMap:
    """The machine's frequencies about the place of the record, or the likeliest one."""
    record = findings.record
    weight = np.maximum(findings.amplitude**2, 1e-300)
    diameter, speed = math.sqrt(math.prod(seen.diameter)), scenario.run.line_speed
    if record.knows("diameter"):
        diameter = float(
            np.average(np.clip(record.diameter, *diameter_range(scenario)), weights=weight)
        )
    if record.knows("line_speed"):
        speed = float(np.average(record.line_speed, weights=weight))
    core, full = diameter_range(scenario)
    gains = None
    if findings.loop is not None and findings.loop.source == "record":
        gains = findings.loop.gains
    mapped = frequency_map(
        scenario, diameter=min(max(diameter, core), full), line_speed=speed, gains=gains, count=60
    )
    if findings.loop is not None:
        return mapped
    # In manual there is no loop.
    over_diameter = mapped.over_diameter
    return replace(
        mapped,
        over_diameter=None if over_diameter is None else _open(over_diameter),
        over_speed=_open(mapped.over_speed),
    )


def _open(sweep: Sweep) -> Sweep:
    return replace(sweep, lines=tuple(line for line in sweep.lines if line.kind != "loop"))


def _is_point(span: tuple[float, float]) -> bool:
    return span[1] <= _POINT * span[0]


def _mark(
    axes: Axes, seen: _Measured, over: Over, units: UnitSystem, findings: Findings, page: Page
) -> None:
    """Set the mark of the measured oscillation where it was seen, with its word."""
    one = findings.oscillation
    if one is None:
        return
    span, other = seen.line_speed, seen.diameter
    if over == "diameter":
        span, other = other, span
    f = findings.frequency
    ends = (f, f)
    if over == "line_speed" and one.axis != "time":
        ends = seen.frequency
    elif one.axis == "roll turns" and _is_point(other):
        ends = seen.frequency[::-1]
    factor = units.factor("speed" if over == "line_speed" else "diameter")
    x = np.array(span) * factor
    moved = not _is_point(span)
    if moved:
        # Labels keep off the bar, too.
        way = np.linspace(0.0, 1.0, 60)
        left, right = axes.get_xlim()
        ink = np.log(x / left) / math.log(right / left)
        high = share(np.array(ends), axes.get_ylim())
        page.draw(
            page.width * (ink[0] + way * np.diff(ink)),
            page.height * (high[0] + way * np.diff(high)),
        )
        axes.plot(x, ends, color="white", lw=8.0, solid_capstyle="butt", zorder=4)
        axes.plot(x, ends, color=BLACK, lw=4.5, solid_capstyle="butt", zorder=5)
    middle = (math.sqrt(x[0] * x[1]), math.sqrt(ends[0] * ends[1]))
    if not moved:
        axes.plot(*middle, "D", color=BLACK, mec="white", mew=1.5, ms=10, zorder=5, clip_on=False)
    words = (
        f"measured\n{sensible(f)} Hz"
        if one.peak.significant
        else "tallest peak,\nno more than chance"
    )
    width, height = text_size(words, points=SMALL, weight="bold")
    left, right = axes.get_xlim()
    centre = (
        page.width * math.log(middle[0] / left) / math.log(right / left),
        page.height * float(share(middle[1], axes.get_ylim())),
    )
    at = page.place((width, height), around(centre, 0.1, (width, height)))
    axes.text(
        at[0] / page.width, at[1] / page.height, words, transform=axes.transAxes, ha="center",
        va="center", fontsize=SMALL, fontweight="bold", zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.0},
    )  # fmt: skip


def _titled(axes: Axes, mapped: FrequencyMap, over: Over, units: UnitSystem, known: bool) -> None:
    at = units.text(mapped.diameter, "diameter")
    if over == "diameter":
        at = units.text(mapped.line_speed, "speed")
    tail = "" if known else ", not in the record"
    axes.set_title(f"at {at}{tail}", fontsize=FONT, loc="left")
