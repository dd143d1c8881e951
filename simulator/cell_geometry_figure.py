"""The load-cell roller as a picture: how the web wraps it, what pulls on it, and what of that the
cells feel."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from simulator import figure_style as style
from simulator.cell_forces import CellForces, forces_on, sensed_angle
from simulator.cell_geometry_words import direction_words
from simulator.label_places import Page, around, beside
from simulator.sensing_and_control import LoadCell
from simulator.units import UnitSystem, sensible
from simulator.web_wrap import Rollers, Wrap, wrap_from_rollers

# The page [inch]: the load-cell roller large on the left, beside it the three rollers small and,
# below them, the forces laid along the sensing axis and across it.
_HEIGHT, _STRIP, _RIGHT, _LANES_TOP = 5.7, 0.55, 6.5, 3.2
_MIDDLE, _RADIUS, _STRAND = complex(3.2, 3.1), 0.6, 2.15
_LONGEST = 1.5  # force arrow [inch]
_BESIDE = 0.16  # of arrows that else would lie on one another [inch]
_NEARLY = 0.25  # sine of the angle below which arrows do [-]
_SHORTEST = 0.02  # force that is drawn [inch]
_FAR = 0.4  # from what it names, where a label gets a line that leads there [inch]
_NOTHING = 5e-4  # share of the largest force that is none to a reader [-]
# A wrap that is drawn with a load cell may be off its own by rounding on a form only [rad].
_ROUNDING = math.radians(0.5)


def draw_cell_geometry(
    cell: LoadCell,
    *,
    tension: float,
    units: UnitSystem,
    diameter: float,
    wrap: Wrap | None = None,
    rollers: Rollers | None = None,
) -> Figure:
    """Draw the load-cell roller to scale with its web, the forces on it and what its cells feel.

    Args:
        cell: the load cells with their roller.
        tension: of the web [N].
        units: the reader's units.
        diameter: of the load-cell roller [m]; rollers bring their own.
        wrap: how the web runs; without it, its sense of travel is drawn freely.
        rollers: before, on the load cells, and after; they bring their own wrap.

    Raises:
        ValueError: a tension or diameter that is not above 0, a wrap that is not the load cell's,
            or rollers that `wrap_from_rollers` refuses.
    """
    if rollers is not None:
        wrap, diameter = wrap_from_rollers(*rollers), rollers[1].diameter
    for name, value in (("tension", tension), ("diameter", diameter)):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"the {name} must be a number above 0 to draw the load-cell roller")
    other = cell if wrap is None else wrap
    turned = math.remainder(other.bisector_angle - cell.bisector_angle, 2.0 * math.pi)
    if max(abs(other.wrap_angle - cell.wrap_angle), abs(turned)) > _ROUNDING:
        raise ValueError(
            "the wrap to draw is not the load cell's: give the load cell its wrap_angle of "
            f"{math.degrees(other.wrap_angle):.4g}° and bisector_angle of "
            f"{math.degrees(other.bisector_angle):.4g}°"
        )
    forces = forces_on(cell, tension)
    sheet = _Sheet.blank(units, forces)
    _draw_roller(sheet, cell, forces, diameter, wrap)
    _draw_lanes(sheet, cell, forces, _LANES_TOP if rollers else 4.2)
    if rollers is not None and wrap is not None:
        _draw_neighbours(sheet, rollers, wrap)
    _scale_bar(sheet, complex(0.3, 0.28), 2.0 * _RADIUS / diameter, "diameter")
    _scale_bar(sheet, complex(2.4, 0.28), sheet.scale, "tension")
    free = "; the web may as well run the other way." if wrap is None else "."
    sheet.print(style.WIDTH - 0.2, 0.28, f"Roller to scale, all forces to one scale{free}",
                colour=style.GREY, align="right")  # fmt: skip
    return sheet.figure


@dataclass
class _Sheet:
    """A page, its figure, and the scale of forces [inch/N]; points are x + j y [inch]."""

    figure: Figure
    axes: Axes
    page: Page
    units: UnitSystem
    scale: float

    @classmethod
    def blank(cls, units: UnitSystem, forces: CellForces) -> _Sheet:
        figure = Figure(figsize=(style.WIDTH, _HEIGHT))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(0.0, style.WIDTH), ylim=(0.0, _HEIGHT))
        axes.set_axis_off()
        page = Page(_RIGHT - 0.2, _HEIGHT, bottom=_STRIP)
        return cls(figure, axes, page, units, _LONGEST / forces.largest)

    def force(self, value: float) -> str:
        """A force in the reader's units; rounding errors are nothing."""
        nothing = abs(value) * self.scale < _NOTHING * _LONGEST
        return self.units.text(0.0 if nothing else value, "tension")

    def line(self, *points: complex, colour: str, width: float, dash: str = "-") -> None:
        x, y = np.real(points), np.imag(points)
        self.axes.plot(x, y, dash, color=colour, linewidth=width, zorder=3, solid_capstyle="butt")
        share = np.linspace(0, len(points) - 1, 60)
        self.page.draw(*(np.interp(share, range(len(points)), part) for part in (x, y)))

    def arrow(self, tail: complex, tip: complex, *, colour: str, width: float) -> None:
        if abs(tip - tail) < _SHORTEST:
            return
        head = {"arrowstyle": "-|>", "mutation_scale": min(16.0, 130.0 * abs(tip - tail))}
        ends = {"color": colour, "linewidth": width, "shrinkA": 0, "shrinkB": 0}
        self.axes.annotate("", (tip.real, tip.imag), (tail.real, tail.imag), zorder=5,
                           arrowprops={**head, **ends})  # fmt: skip
        share = np.linspace(0.0, 1.0, 40)
        self.page.draw(*((tail + share * (tip - tail)).view(float).reshape(-1, 2).T))

    def ring(self, centre: complex, radius: float, *, fill: str) -> None:
        self.axes.add_patch(
            Circle((centre.real, centre.imag), radius, facecolor=fill, edgecolor="black", zorder=2)
        )
        # The inside counts as drawn on, so that no label stands on a roller.
        for share in (1.0, 0.75, 0.5, 0.25):
            rim = np.array(_arc(centre, share * radius, 0.0, 2.0 * math.pi))
            self.page.draw(rim.real, rim.imag)

    def print(
        self, x: float, y: float, text: str, *, colour: str = style.BLACK,
        points: float = style.SMALL, align: str = "left", weight: str = "normal",
    ) -> None:  # fmt: skip
        self.axes.text(x, y, text, color=colour, fontsize=points, ha=align, va="center",
                       weight=weight, linespacing=1.2, zorder=6, parse_math=False)  # fmt: skip

    def label(
        self, text: str, at: complex, radius: float = 0.0, *, tail: complex | None = None,
        colour: str = style.BLACK, points: float = style.SMALL,
    ) -> None:  # fmt: skip
        """Write around a circle or, with a tail, beside an arrow; lead there from far away."""
        size = style.text_size(text, points=points)
        found = around((at.real, at.imag), radius, size)
        if tail is not None and abs(at - tail) > 0.1:
            along = beside((tail.real, tail.imag), (at.real, at.imag), size)
            found = np.vstack([found, along])
        # The line that may lead there would cross out what it runs over.
        for share in (0.15, 0.35, 0.55, 0.75):
            x, y = (found[:, 3:5] + share * (found[:, :2] - found[:, 3:5])).T
            for left, low, right, high in self.page.boxes:
                found[:, 2] += 4.0 * ((x > left) & (x < right) & (y > low) & (y < high))
        place = complex(*self.page.place(size, found))
        self.print(place.real, place.imag, text, colour=colour, points=points, align="center")
        back = at - (at if tail is None else tail)
        share = ((at - place) / back).real if back else 0.0
        named = at - min(max(share, 0.0), 0.5) * back
        way = (place - named) / max(abs(place - named), 1e-9)
        half = 0.5 * min(size[0] / max(abs(way.real), 1e-9), size[1] / max(abs(way.imag), 1e-9))
        start, end = named + radius * way, place - (half + 0.03) * way
        if abs(place - start) - half > _FAR:
            self.line(start, end, colour=colour, width=0.8, dash=":")


def _arc(centre: complex, radius: float, start: float, sweep: float) -> list[complex]:
    return [centre + cmath.rect(radius, start + sweep * i / 72) for i in range(73)]


def _draw_roller(
    sheet: _Sheet, cell: LoadCell, forces: CellForces, diameter: float, wrap: Wrap | None
) -> None:
    """Draw the load-cell roller, its web and its forces, then write beside all of them."""
    g, b = cell.bisector_angle, cell.wrap_angle
    # Where the sense is free the web runs from left to right, as people draw it.
    side = -1 if math.sin(g) * math.cos(0.5 * b) < 0.0 else 1
    if wrap is not None:
        side = 1 if wrap.turning == "counterclockwise" else -1
    sheet.ring(_MIDDLE, _RADIUS, fill="#fdf1d8")
    arc = _arc(_MIDDLE, _RADIUS, g + math.pi - 0.5 * b, b)
    sheet.line(*arc, colour=style.BLUE, width=4.0)
    pulls, names = [], []
    for sign, name in ((-1, "web in"), (1, "web out")):
        travel = g + side * 0.5 * (sign * b - math.pi)
        foot = _MIDDLE + cmath.rect(_RADIUS, travel - side * 0.5 * math.pi)
        away = sign * cmath.rect(1.0, travel)
        end = foot + _STRAND * away
        sheet.line(foot, end, colour=style.BLUE, width=2.2)
        ends = end - 0.38 * away, end - 0.06 * away
        sheet.arrow(*ends[::sign], colour=style.BLUE, width=2.2)
        names.append((name, *ends, style.BLUE))
        tip = foot + sheet.scale * forces.tension * away
        sheet.arrow(foot, tip, colour=style.VERMILION, width=2.0)
        pulls.append((f"tension {sheet.force(forces.tension)}", foot, tip, style.VERMILION))
    pulls = _draw_sum(sheet, cell, forces) + pulls
    foot, start = _draw_cells(sheet, cell)
    sheet.label("sensing axis", start, colour=style.GREY)
    sheet.label("load cell" if cell.cells == 1 else f"{cell.cells} load cells", foot, 0.34)
    for labels, points in ((pulls, style.FONT), (names, style.SMALL)):
        for text, tail, tip, colour in labels:
            sheet.label(text, tip, tail=tail, colour=colour, points=points)
    sheet.label(f"wrap {math.degrees(b):.4g}°", arc[36], colour=style.BLUE, points=style.FONT)
    sheet.label(f"roller ⌀ {sheet.units.plain(diameter, 'diameter')}", _MIDDLE, _RADIUS)


def _draw_sum(
    sheet: _Sheet, cell: LoadCell, forces: CellForces
) -> list[tuple[str, complex, complex, str]]:
    """Draw the web's pull, the weight, both together and what of it is felt; return labels."""
    along, axis = cmath.rect(1.0, cell.bisector_angle), cmath.rect(1.0, sensed_angle(cell))
    web, weight = sheet.scale * forces.resultant * along, -1j * sheet.scale * forces.weight
    felt, both = _MIDDLE + sheet.scale * forces.load * axis, _MIDDLE + web + weight
    sheet.line(_MIDDLE, felt, colour="#99d8c7", width=10.0)
    # Arrows on one line would hide each other: web and weight then stand beside their sum.
    heavy, in_line = forces.weight > 0.0, abs(along.real) < _NEARLY
    sum_on_web = abs(((web + weight) / along).imag) < _NEARLY * abs(web + weight)
    at_web = _MIDDLE + (_BESIDE * 1j * along if heavy and (in_line or sum_on_web) else 0.0)
    at_weight = _MIDDLE - (_BESIDE * 1j * along if in_line else 0.0)
    labels = [("web pulls", forces.resultant, at_web, at_web + web, style.VERMILION, 3.0)]
    if heavy:
        labels.append(("weight", forces.weight, at_weight, at_weight + weight, style.GREY, 3.0))
        labels.append(("together", forces.together, _MIDDLE, both, style.BLACK, 2.0))
    for _, _, tail, tip, colour, width in labels:
        sheet.arrow(tail, tip, colour=colour, width=width)
    sheet.arrow(felt, both, colour=style.ORANGE, width=1.8)
    if abs(both - felt) > 0.1:
        labels.append(("cells feel", forces.load, _MIDDLE, felt, style.GREEN, 0.0))
    return [(f"{name} {sheet.force(abs(size))}", tail, tip, colour)
            for name, size, tail, tip, colour, _ in labels]  # fmt: skip


def _draw_cells(sheet: _Sheet, cell: LoadCell) -> tuple[complex, complex]:
    """Draw the cells at the freer end of their axis; return where they stand and its other end."""
    unit = cmath.rect(1.0, cell.sensing_angle)
    ink = (sheet.page.ink @ [1.0, 1.0j] - _MIDDLE) / unit
    reaches = [sign * reach for reach in np.arange(_RADIUS + 0.45, 2.2, 0.15) for sign in (1, -1)]
    reach = min(reaches, key=lambda reach: np.sum(abs(ink - reach) < 0.34) + abs(reach))
    ahead = math.copysign(1.0, reach)
    out = ahead * unit
    at, across = _MIDDLE + reach * unit, 1j * unit
    # The other end of the axis sticks out beyond the arrows that lie along it.
    beyond = float((-ahead * ink.real)[abs(ink.imag) < 0.3].max(initial=_RADIUS))
    start = _MIDDLE - min(beyond + 0.3, 2.2) * out
    sheet.line(start, at - 0.1 * out, colour=style.GREY, width=1.3, dash="-.")
    # A block between the roller's bearing and a hatched foot.
    foot = at + 0.1 * out
    sheet.line(at - 0.1 * out, foot, colour="#9fd9c8", width=26.0)
    sheet.line(foot - 0.3 * across, foot + 0.3 * across, colour=style.BLACK, width=2.0)
    for share in (-0.24, -0.08, 0.08, 0.24):
        root = foot + share * across
        sheet.line(root, root + 0.09 * out + 0.06 * across, colour=style.BLACK, width=0.9)
    return at, start


def _draw_lanes(sheet: _Sheet, cell: LoadCell, forces: CellForces, top: float) -> None:
    """Lay the forces along the sensing axis and across it, each from the tip of the one before."""
    axis, right = sensed_angle(cell), style.WIDTH - 0.2
    # Across the axis, forward is the way in which the cells are pushed.
    left = 1.0 if forces.web_across + forces.weight_across >= 0.0 else -1.0
    pushes = forces.web_across * left, forces.weight_across * left
    felt = forces.web_load, forces.weight_load
    for title, last, colour, way, (web, weight) in (
        ("Along the sensing axis", "cells feel", style.GREEN, axis, felt),
        ("Across the axis", "side push", style.ORANGE, axis + left * 0.5 * math.pi, pushes),
    ):
        total = web + weight
        sheet.print(_RIGHT, top, title, points=style.FONT, weight="bold")
        if max(abs(web), abs(weight)) * sheet.scale < _NOTHING * _LONGEST:
            sheet.print(_RIGHT, top - 0.24, "nothing pushes the cells sideways")
            continue
        sheet.print(_RIGHT, top - 0.22, f"→ is {direction_words(way)}", colour=style.GREY)
        zero = _RIGHT + 0.95 - sheet.scale * min(web, total, 0.0)
        rows = ("web", 0.0, web), ("weight", web, weight), (last, 0.0, total)
        for i, (name, start, force) in enumerate(rows):
            y, bold = top - 0.48 - 0.24 * i, "bold" if i == 2 else "normal"
            tail = complex(zero + sheet.scale * start, y)
            shade = (style.VERMILION, style.GREY, colour)[i]
            sheet.arrow(tail, tail + sheet.scale * force, colour=shade, width=3.0)
            text = sheet.force(abs(force))
            sign = "" if text == sheet.force(0.0) else "+" if force > 0.0 else "−"
            sheet.print(_RIGHT, y, name, weight=bold)
            sheet.print(right, y, sign + text, weight=bold, align="right")
        at = complex(zero, top - 0.36)
        sheet.line(at, at - 0.72j, colour=style.GREY, width=0.8)
        top -= 1.42


def _draw_neighbours(sheet: _Sheet, rollers: Rollers, wrap: Wrap) -> None:
    """Draw the three rollers small, to a scale of their own."""
    x, y, half = np.array([(r.x, r.y, 0.5 * r.diameter) for r in rollers]).T
    low = complex((x - half).min(), (y - half).min())
    size = complex((x + half).max(), (y + half).max()) - low
    room = complex(style.WIDTH - _RIGHT - 0.2, _HEIGHT - _LANES_TOP - 0.75)
    scale = min((room.real - 1.6) / size.real, (room.imag - 0.7) / size.imag)
    corner = complex(_RIGHT, _LANES_TOP + 0.6) + 0.5 * (room - scale * size)
    sheet.page = Page(style.WIDTH, _HEIGHT, bottom=_LANES_TOP + 0.5)
    sheet.page.boxes.append((0.0, 0.0, _RIGHT - 0.1, _HEIGHT))
    places = [corner + scale * (roller.centre - low) for roller in rollers]
    for at, roller, fill in zip(places, rollers, ("#e6e6e6", "#fdf1d8", "#e6e6e6"), strict=True):
        sheet.ring(at, 0.5 * scale * roller.diameter, fill=fill)
    spans = []
    for strand in (wrap.strand_before, wrap.strand_after):
        if strand is not None:
            one, other = (corner + scale * (p - low) for p in (strand.start, strand.end))
            sheet.line(one, other, colour=style.BLUE, width=1.8)
            middle, along = 0.5 * (one + other), 0.1 * strand.direction
            sheet.arrow(middle - along, middle + along, colour=style.BLUE, width=1.8)
            spans.append((sheet.units.plain(abs(strand.end - strand.start), "length"), middle))
    for text, middle in spans:
        sheet.label(text, middle, colour=style.BLUE)
    for at, roller, name in zip(places, rollers, ("before", "load cell", "after"), strict=True):
        text = f"{name}\n⌀ {sheet.units.plain(roller.diameter, 'diameter')}"
        sheet.label(text, at, 0.5 * scale * roller.diameter)
    _scale_bar(sheet, complex(_RIGHT, _LANES_TOP + 0.38), scale, "length")


def _scale_bar(sheet: _Sheet, at: complex, scale: float, kind: str) -> None:
    """Draw a round length or, as an arrow, a round force of up to an inch; scale in inch/SI."""
    shown = sheet.units.show(1.05 / scale, kind)
    size = style.round_size(shown)
    end = at + 1.05 * size / shown
    if kind == "tension":
        sheet.arrow(at, end, colour=style.BLACK, width=2.0)
    else:
        for tail, tip in ((at, end), (at - 0.06j, at + 0.06j), (end - 0.06j, end + 0.06j)):
            sheet.line(tail, tip, colour=style.BLACK, width=1.4)
    sheet.print(end.real + 0.1, at.imag, f"{sensible(size, 1)} {sheet.units.label(kind)}")
