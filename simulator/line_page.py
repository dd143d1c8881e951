"""What stands still in the moving picture of a machine: page, scale, words and fixed parts.

All of it is found once for a machine, with its roll full, so that nothing jumps as the roll shrinks
or grows.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.figure_style import GREY, ORANGE, round_size, text_size
from simulator.label_places import Page, around
from simulator.live_path import path_at
from simulator.machine import diameter_range
from simulator.scenario import Scenario
from simulator.units import UnitSystem, sensible
from simulator.web_path import Strand, WebPath, Wheel, lay_out

# Page and the strips that it keeps for words [px]; a page is as high as the machine needs.
WIDTH, TALLEST, LEAST = 250.0, 260.0, 150.0
FONT = 13.0  # [px]
_SIDE, _TOP, _BOTTOM = 12.0, 26.0, 24.0
_INCH = 72.0  # of a page for labels, so that its points are our pixels [px]
# How deep a slack span hangs, of its length: all of it where it lies level, part where it stands.
_SAG, _SAG_UPRIGHT = 0.3, 0.1
_CELL = 9.0  # half the foot of the wedge that stands for a load cell [px]
_FAR = 16.0  # from what it names, beyond which a word gets a line that leads there [px]


@dataclass(frozen=True)
class LinePage:
    """A page for one machine, x to the right and y downward from its upper left corner.

    Attributes:
        height: of the page; its width is `WIDTH` [px].
        scale: pixels for each metre of the machine [px/m].
        corner: the machine's point at the lower left corner, x + j y [m].
        behind: SVG of what is drawn first.
        before: SVG of what is drawn last.
    """

    height: float
    scale: float
    corner: complex
    behind: str = ""
    before: str = ""

    def at(self, point: complex) -> complex:
        """Return where a point of the machine, x + j y upward [m], is on the page [px]."""
        return ((point - self.corner) * self.scale).conjugate() + 1j * self.height

    def circle(self, centre: complex, radius: float, look: str) -> str:
        """Return the SVG of a circle.

        Args:
            centre: x + j y [m].
            radius: of the circle [m].
            look: its attributes.
        """
        at = self.at(centre)
        return (
            f'<circle cx="{at.real:.1f}" cy="{at.imag:.1f}" r="{radius * self.scale:.2f}" {look}/>'
        )

    def sag(self, strand: Strand) -> tuple[complex, complex, complex]:
        """Return start, control point and end of the curve in which a slack span hangs [px]."""
        a, b = self.at(strand.start), self.at(strand.end)
        deep = max(_SAG * abs((b - a).real), _SAG_UPRIGHT * abs(b - a))
        return a, 0.5 * (a + b) + 1j * deep, b


def roll_name(scenario: Scenario) -> str:
    """Return what the roll is called on the page."""
    return "pull roll" if scenario.zone == "pull roll" else "roll"


def diameter_text(diameter: float, scenario: Scenario, units: UnitSystem) -> str:
    """Return a diameter with its unit, with the same decimals from full roll to core.

    Args:
        diameter: of the roll [m].
        scenario: the machine.
        units: the reader's units.
    """
    full = units.show(diameter_range(scenario)[1], "diameter")
    decimals = max(0, 2 - math.floor(math.log10(full)))
    return f"⌀ {units.show(diameter, 'diameter'):.{decimals}f} {units.label('diameter')}"


@lru_cache(maxsize=32)
def line_page(scenario: Scenario, units: UnitSystem) -> LinePage:
    """Return the page for a machine, with its words in place.

    Args:
        scenario: the machine.
        units: the reader's units.
    """
    path = lay_out(scenario)
    low, high = _extent(path)
    size = high - low
    room = complex(WIDTH - 2.0 * _SIDE, TALLEST - _TOP - _BOTTOM)
    scale = min(room.real / size.real, room.imag / size.imag)
    height = round(min(max(size.imag * scale + _TOP + _BOTTOM + 36.0, LEAST), TALLEST))
    above = 0.5 * (height - _TOP - _BOTTOM - size.imag * scale)
    corner = complex(0.5 * (WIDTH - size.real * scale), _BOTTOM + above)
    page = LinePage(height, scale, low - corner / scale)
    return replace(
        page,
        behind=_full_roll(page, scenario, path) + _load_cell(page, scenario, path),
        before=_words(page, scenario, path) + _scale_bar(page, units),
    )


def _extent(path: WebPath) -> tuple[complex, complex]:
    wheels = (path.roll, *path.rollers, *path.nip)
    x = [w.centre.real + s * w.radius for w in wheels for s in (-1, 1)]
    y = [w.centre.imag + s * w.radius for w in wheels for s in (-1, 1)]
    x += [end.real for strand in path.beyond for end in (strand.start, strand.end)]
    y += [end.imag for strand in path.beyond for end in (strand.start, strand.end)]
    return complex(min(x), min(y)), complex(max(x), max(y))


def _words(page: LinePage, scenario: Scenario, path: WebPath) -> str:
    """Words beside what they name, clear of the web however the roll stands and the web hangs."""
    sheet = Page(WIDTH / _INCH, page.height / _INCH, bottom=_BOTTOM / _INCH)

    def ink(points: NDArray[Any]) -> None:
        sheet.draw(points.real / _INCH, (page.height - points.imag) / _INCH)

    share = np.linspace(0.0, 1.0, 60)
    core, full = diameter_range(scenario)
    webs = [path_at(scenario, diameter).spans[0] for diameter in (core, 0.5 * (core + full))]
    for strand in (*path.spans, *webs, *path.beyond):
        a, low, b = page.sag(strand)
        ink(a + share * (b - a))
        if strand not in path.beyond:
            ink((1.0 - share) ** 2 * a + 2.0 * share * (1.0 - share) * low + share**2 * b)
    rim = np.exp(2j * np.pi * share)
    for wheel in (path.roll, *path.rollers, *path.nip):
        for part in (0.3, 0.65, 1.0):
            ink(page.at(wheel.centre) + part * wheel.radius * page.scale * rim)
    ink(_cell_foot(page, scenario, path) + _CELL * rim)
    # The upper left corner has the state of the web.
    sheet.boxes.append((0.0, (page.height - _TOP) / _INCH, 105.0 / _INCH, page.height / _INCH))
    named = (("load cell", (path.rollers[path.load_cell],)), ("nip", path.nip))
    return "".join(_word(page, sheet, text, wheels) for text, wheels in named)


def _word(page: LinePage, sheet: Page, text: str, wheels: tuple[Wheel, ...]) -> str:
    """A word beside one of these wheels, with a line that leads there from far away."""
    size = text_size(text, points=FONT, weight="bold")
    found = []
    for wheel in wheels:
        at = page.at(wheel.centre)
        centre = (at.real / _INCH, (page.height - at.imag) / _INCH)
        found.append(around(centre, wheel.radius * page.scale / _INCH, size))
    x, y = sheet.place(size, np.vstack(found))
    place = complex(x * _INCH, page.height - y * _INCH)
    rim = min(
        (page.at(wheel.centre) + _towards(page.at(wheel.centre), place, wheel.radius * page.scale)
         for wheel in wheels),
        key=lambda point: abs(point - place),
    )  # fmt: skip
    half = 0.5 * complex(*size) * _INCH
    way = place - rim
    # From the word's edge, whichever of its sides the line meets.
    share = 1.0 - min(
        half.real / max(abs(way.real), 1e-9), (half.imag + 2.0) / max(abs(way.imag), 1e-9)
    )
    lead = ""
    if share * abs(way) > _FAR:
        end = rim + share * way
        lead = (
            f'<path d="M{rim.real:.1f} {rim.imag:.1f}L{end.real:.1f} {end.imag:.1f}" '
            f'stroke="{GREY}" stroke-dasharray="1.5 3" fill="none"/>'
        )
    return (
        f'{lead}<text x="{place.real:.1f}" y="{place.imag + 0.35 * FONT:.1f}" '
        f'text-anchor="middle">{text}</text>'
    )


def _towards(start: complex, end: complex, length: float) -> complex:
    return (end - start) / abs(end - start) * length


def _full_roll(page: LinePage, scenario: Scenario, path: WebPath) -> str:
    """The outline of the full roll, to see how much is gone or still to come."""
    low, high = diameter_range(scenario)
    if low == high:
        return ""
    look = f'fill="none" stroke="{GREY}" stroke-width="1" stroke-dasharray="2 4"'
    return page.circle(path.roll.centre, path.roll.radius, look)


def _cell_axis(scenario: Scenario) -> complex:
    """Where the cell stands from its roller: along its axis, on the side to which the web pulls."""
    cell = scenario.load_cell
    towards = math.cos(cell.sensing_angle - cell.bisector_angle) >= 0.0
    return cmath.rect(1.0 if towards else -1.0, cell.sensing_angle).conjugate()


def _cell_foot(page: LinePage, scenario: Scenario, path: WebPath) -> complex:
    wheel = path.rollers[path.load_cell]
    return page.at(wheel.centre) + (wheel.radius * page.scale + 8.0) * _cell_axis(scenario)


def _load_cell(page: LinePage, scenario: Scenario, path: WebPath) -> str:
    """A wedge with its point at the roller's shaft: what the roller rests on."""
    axis, foot = _cell_axis(scenario), _cell_foot(page, scenario, path)
    shaft = page.at(path.rollers[path.load_cell].centre)
    corners = (shaft, foot + 1j * _CELL * axis, foot - 1j * _CELL * axis)
    at = " ".join(f"{corner.real:.1f},{corner.imag:.1f}" for corner in corners)
    return f'<polygon points="{at}" fill="{ORANGE}" stroke="currentColor" stroke-width="1"/>'


def _scale_bar(page: LinePage, units: UnitSystem) -> str:
    per_pixel = units.show(1.0 / page.scale, "length")
    length = round_size(50.0 * per_pixel)
    end, y = 8.0 + length / per_pixel, page.height - 9.0
    return (
        f'<path d="M8 {y - 4:g}V{y + 4:g}M8 {y:g}H{end:.1f}M{end:.1f} {y - 4:g}V{y + 4:g}" '
        f'stroke="{GREY}" stroke-width="1.5" fill="none"/>'
        f'<text x="{end + 6.0:.1f}" y="{y + 4.5:g}">{sensible(length, 1)} '
        f"{units.label('length')}</text>"
    )
