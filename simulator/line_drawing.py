"""The picture of a machine's web path, to scale, with what is known of it written beside."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from numpy.typing import NDArray

from simulator.cell_forces import web_resultant
from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREY,
    SMALL,
    VERMILION,
    WIDTH,
    round_size,
    text_size,
)
from simulator.label_places import Array, Page, around, beside
from simulator.machine import diameter_range
from simulator.scenario import Scenario
from simulator.units import METRIC, UnitSystem, sensible
from simulator.web_path import Strand, WebPath, Wheel, lay_out

# Page and what it keeps free for labels around the drawing and for the strip below it [inch].
TALLEST = 5.4
_SIDE, _TOP, _STRIP = 1.5, 0.65, 0.55
# A label this far from its wheel gets a line that leads there [inch].
_FAR = 0.45
_SPACING = 0.04  # of the points that stand for a drawn line [inch]


@dataclass
class _Drawing:
    """A page, the axes that show it, and how metres become inches on it."""

    page: Page
    axes: Axes
    scale: float
    origin: complex

    def at(self, point: complex) -> complex:
        return (point - self.origin) * self.scale

    def line(self, points: NDArray[Any], *, colour: str, width: float, dash: str = "-") -> None:
        """Draw a line through complex points [inch]."""
        self.axes.plot(points.real, points.imag, dash, color=colour, linewidth=width, zorder=3)
        self.page.draw(points.real, points.imag)

    def ring(self, wheel: Wheel, *, fill: str, width: float, dash: str = "-") -> None:
        middle, radius = self.at(wheel.centre), wheel.radius * self.scale
        self.axes.add_patch(
            Circle(
                (middle.real, middle.imag), radius, facecolor=fill, edgecolor=BLACK,
                linewidth=width, linestyle=dash, zorder=2,
            )
        )  # fmt: skip
        angles = _stretch(0.0, 2.0 * math.pi, radius)
        rim = middle + radius * np.exp(1j * angles)
        self.page.draw(rim.real, rim.imag)
        # The inside counts as drawn on, so that no label stands on a wheel.
        for share in (0.0, 0.25, 0.5, 0.75):
            inner = middle + share * radius * np.exp(1j * angles)
            self.page.draw(inner.real, inner.imag)

    def arrow(self, tail: complex, tip: complex, *, colour: str, width: float) -> None:
        self.axes.annotate(
            "", (tip.real, tip.imag), (tail.real, tail.imag), zorder=5,
            arrowprops={
                "arrowstyle": "-|>", "color": colour, "linewidth": width,
                "mutation_scale": 16, "shrinkA": 0, "shrinkB": 0,
            },
        )  # fmt: skip
        points = tail + np.linspace(0.0, 1.0, 20) * (tip - tail)
        self.page.draw(points.real, points.imag)

    def write(
        self, text: str, candidates: Array, *, points: float, weight: str = "normal",
        colour: str = BLACK,
    ) -> tuple[float, float]:  # fmt: skip
        x, y = self.page.place(text_size(text, points=points, weight=weight), candidates)
        self.axes.text(
            x, y, text, fontsize=points, weight=weight, ha="center", va="center",
            linespacing=1.2, zorder=6, parse_math=False,
            color=colour,
        )  # fmt: skip
        return x, y


def draw_line(scenario: Scenario, *, units: UnitSystem = METRIC) -> Figure:
    """Draw a machine's web path to scale.

    Args:
        scenario: the machine.
        units: the reader's units.
    """
    path = lay_out(scenario)
    drawing, figure = _blank(path)
    _draw_roll(drawing, scenario, path)
    for i, wheel in enumerate(path.rollers):
        drawing.ring(wheel, fill="#fbe3b4" if i == path.load_cell else "#e6e6e6", width=1.2)
    for wheel in path.nip:
        drawing.ring(wheel, fill="#bbbbbb", width=1.2)
    _draw_web(drawing, scenario, path)
    _draw_load_cell(drawing, scenario, path)
    _write_labels(drawing, scenario, path, units)
    _write_strip(drawing, scenario, units)
    return figure


def _blank(path: WebPath) -> tuple[_Drawing, Figure]:
    """A page as high as the path needs, and the largest scale that fits on it."""
    low, high = _extent(path)
    size = high - low
    scale = (WIDTH - 2.0 * _SIDE) / size.real
    scale = min(scale, (TALLEST - 2.0 * _TOP - _STRIP) / size.imag)
    height = max(size.imag * scale + 2.0 * _TOP + _STRIP, 2.8)
    corner = complex(WIDTH - size.real * scale, height + _STRIP - size.imag * scale) / 2.0
    figure = Figure(figsize=(WIDTH, height))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0.0, WIDTH), ylim=(0.0, height), aspect="equal")
    axes.set_axis_off()
    page = Page(WIDTH, height, bottom=_STRIP)
    return _Drawing(page, axes, scale, low - corner / scale), figure


def _extent(path: WebPath) -> tuple[complex, complex]:
    wheels = (path.roll, *path.rollers, *path.nip)
    x = [w.centre.real + s * w.radius for w in wheels for s in (-1, 1)]
    y = [w.centre.imag + s * w.radius for w in wheels for s in (-1, 1)]
    x += [strand.end.real for strand in path.beyond] + [s.start.real for s in path.beyond]
    y += [strand.end.imag for strand in path.beyond] + [s.start.imag for s in path.beyond]
    return complex(min(x), min(y)), complex(max(x), max(y))


def _stretch(start: float, sweep: float, radius: float) -> Array:
    count = max(int(abs(sweep) * radius / _SPACING), 24)
    return start + np.linspace(0.0, sweep, count)


def _draw_roll(drawing: _Drawing, scenario: Scenario, path: WebPath) -> None:
    low, high = diameter_range(scenario)
    drawing.ring(path.roll, fill="#dcebf5", width=1.8)
    if low < high:
        half = Wheel(path.roll.centre, 0.25 * (low + high), path.roll.side)
        drawing.ring(half, fill="none", width=1.0, dash="--")
        drawing.ring(Wheel(path.roll.centre, 0.5 * low, path.roll.side), fill="white", width=1.4)


def _draw_web(drawing: _Drawing, scenario: Scenario, path: WebPath) -> None:
    towards_nip = scenario.zone == "unwind"
    for strand in (*path.spans, *path.beyond):
        a, b = drawing.at(strand.start), drawing.at(strand.end)
        points = a + np.linspace(0.0, 1.0, max(int(abs(b - a) / _SPACING), 2)) * (b - a)
        drawing.line(points, colour=BLUE, width=2.2)
        if strand in path.spans:
            tail, tip = (a, b) if towards_nip else (b, a)
            middle, reach = 0.5 * (tail + tip), min(0.16, 0.3 * abs(b - a))
            along = (tip - tail) / abs(tip - tail)
            drawing.arrow(middle - reach * along, middle + reach * along, colour=BLUE, width=2.2)
    for i, wheel in enumerate(path.rollers):
        start, sweep = path.wrap(i)
        radius = wheel.radius * drawing.scale
        arc = drawing.at(wheel.centre) + radius * np.exp(1j * _stretch(start, sweep, radius))
        drawing.line(arc, colour=BLUE, width=2.8)


def _draw_load_cell(drawing: _Drawing, scenario: Scenario, path: WebPath) -> None:
    wheel, cell = path.rollers[path.load_cell], scenario.load_cell
    middle, radius = drawing.at(wheel.centre), wheel.radius * drawing.scale
    axis = cmath.rect(radius + 0.55, cell.sensing_angle)
    drawing.line(middle + np.linspace(-1.0, 1.0, 40) * axis, colour=GREY, width=1.4, dash="-.")
    tip = middle + cmath.rect(radius + 0.75, cell.bisector_angle)
    drawing.arrow(middle, tip, colour=VERMILION, width=2.4)


def _write_labels(drawing: _Drawing, scenario: Scenario, path: WebPath, units: UnitSystem) -> None:
    many = len(path.rollers) > 6
    points = SMALL if many else FONT
    cell, wheel = scenario.load_cell, path.rollers[path.load_cell]
    middle, reach = drawing.at(wheel.centre), wheel.radius * drawing.scale
    pull = units.plain(web_resultant(scenario.run.tension, cell.wrap_angle), "tension")
    tension = units.plain(scenario.run.tension, "tension")

    for i, span in enumerate(path.spans):
        length = units.plain(abs(span.end - span.start), "length")
        _write_beside(drawing, length if many else f"span {i + 1}: {length}", span, points=points)
    _write_at(
        drawing,
        f"roller {path.load_cell + 1} on load cells\n"
        f"⌀ {units.plain(2.0 * wheel.radius, 'diameter')}, "
        f"wrap {math.degrees(cell.wrap_angle):.4g}°",
        wheel,
        points=points,
        weight="bold",
    )
    tip = middle + cmath.rect(reach + 0.8, cell.bisector_angle)
    _write_by(
        drawing, f"resultant {pull}\nat tension {tension}", tip, points=points, colour=VERMILION
    )
    # The far end of the axis, away from the arrow.
    away = -1.0 if math.cos(cell.sensing_angle - cell.bisector_angle) > 0.0 else 1.0
    _write_by(
        drawing,
        "sensing axis",
        middle + away * cmath.rect(reach + 0.58, cell.sensing_angle),
        points=SMALL,
        colour=GREY,
    )
    _write_at(drawing, _roll_text(scenario, units), path.roll, points=points)
    _write_at(
        drawing,
        f"nip at line speed\n{units.plain(scenario.run.line_speed, 'speed')}",
        path.nip[0],
        path.nip[1],
        points=points,
    )
    for i, roller in enumerate(path.rollers):
        if i != path.load_cell:
            size = f"⌀ {units.plain(2.0 * roller.radius, 'diameter')}"
            text = f"{i + 1}" if many else f"roller {i + 1}\n{size}"
            _write_at(drawing, text, roller, points=points)


def _roll_text(scenario: Scenario, units: UnitSystem) -> str:
    low, high = diameter_range(scenario)
    names = {"unwind": "unwinding roll", "rewind": "winding roll", "pull roll": "pull roll"}
    lines = [f"{names[scenario.zone]}, {scenario.torque_device.kind}"]
    if low < high:
        lines += [
            f"full ⌀ {units.plain(high, 'diameter')}",
            f"half ⌀ {units.plain(0.5 * (low + high), 'diameter')} (dashed)",
            f"core ⌀ {units.plain(low, 'diameter')}",
        ]
    else:
        lines.append(f"⌀ {units.plain(high, 'diameter')}")
    return "\n".join(lines)


def _write_at(
    drawing: _Drawing, text: str, *wheels: Wheel, points: float, weight: str = "normal"
) -> None:
    """Write beside one of these wheels, wherever there is more room."""
    size = text_size(text, points=points, weight=weight)
    found = []
    for wheel in wheels:
        middle = drawing.at(wheel.centre)
        found.append(around((middle.real, middle.imag), wheel.radius * drawing.scale, size))
    place = complex(*drawing.write(text, np.vstack(found), points=points, weight=weight))
    # A label that found room only far away is led to what it names.
    middle = drawing.at(wheels[0].centre)
    way = place - middle
    along = way / abs(way)
    start = middle + wheels[0].radius * drawing.scale * along
    half = 0.5 * min(size[0] / max(abs(along.real), 1e-9), size[1] / max(abs(along.imag), 1e-9))
    end = place - (half + 0.03) * along
    if abs(end - start) > _FAR and abs(place - start) > half:
        points_between = start + np.linspace(0.0, 1.0, 60) * (end - start)
        drawing.line(points_between, colour=GREY, width=0.8, dash=":")


def _write_by(drawing: _Drawing, text: str, point: complex, *, points: float, colour: str) -> None:
    size = text_size(text, points=points)
    candidates = around((point.real, point.imag), 0.0, size)
    drawing.write(text, candidates, points=points, colour=colour)


def _write_beside(drawing: _Drawing, text: str, span: Strand, *, points: float) -> None:
    a, b = drawing.at(span.start), drawing.at(span.end)
    size = text_size(text, points=points)
    drawing.write(text, beside((a.real, a.imag), (b.real, b.imag), size), points=points)


def _write_strip(drawing: _Drawing, scenario: Scenario, units: UnitSystem) -> None:
    """Write the scale bar and what the drawing does not claim, below the drawing."""
    per_inch = units.show(1.0 / drawing.scale, "length")
    length = round_size(1.6 * per_inch)
    end = 0.3 + length / per_inch
    axes = drawing.axes
    axes.plot([0.3, 0.3, 0.3, end, end, end], [0.22, 0.34, 0.28, 0.28, 0.34, 0.22],
              "-", color=BLACK, linewidth=1.4)  # fmt: skip
    axes.text(end + 0.1, 0.28, f"{sensible(length, 1)} {units.label('length')}", fontsize=FONT,
              va="center")  # fmt: skip
    free = "the side of the roll is drawn freely"
    if len(scenario.roller) > 1:
        free = "turns at the other rollers are drawn freely"
    axes.text(
        WIDTH - 0.2, 0.28, f"To scale, load-cell angles as given; {free}.",
        fontsize=SMALL, ha="right", va="center", color=GREY,
    )  # fmt: skip
