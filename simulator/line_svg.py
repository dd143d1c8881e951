"""The machine as it is at one moment, to scale, as SVG for a picture that moves.

Everything but the roll's size, its turning and the state of the web stands still: the page, the
scale and the places of labels are found once from the full roll. The web leaves the roll on the
common tangent of roll and first roller. With centres c, radii r and sides s (+1 where the walk from
the roll to the nip goes round to the left), its direction u and length L follow from

    c2 - c1 = (L + j k) u,  k = s2 r2 - s1 r1,  L² = |c2 - c1|² - k²

The roll shows its angle by a mark that a browser turns on from one picture to the next, so that it
never runs backwards between two of them; where it would flicker, a steady arrow stands for it.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from simulator.figure_style import BLUE, GREEN, GREY, ORANGE, VERMILION, round_size, text_size
from simulator.label_places import Page, around
from simulator.machine import diameter_range
from simulator.scenario import Scenario
from simulator.units import METRIC, UnitSystem, sensible
from simulator.web_path import Strand, WebPath, Wheel, lay_out

Web = Literal["taut", "slack", "broken"]

# Page and the strips that it keeps for words [px]; a page is as high as the machine needs.
WIDTH, TALLEST, LEAST = 320.0, 260.0, 150.0
_SIDE, _TOP, _BOTTOM = 12.0, 26.0, 24.0
_FONT = 13.0  # [px]
_INCH = 72.0  # of a page for labels, so that its points are our pixels [px]
# Turns a second on the screen above which a mark would flicker [Hz].
FASTEST_MARK = 2.0
# A little longer than from one picture to the next, so that what turns never stands still [s].
_GLIDE = 0.45

_STATES: dict[Web, tuple[str, str]] = {
    "taut": (GREEN, "web taut"),
    "slack": (ORANGE, "web slack"),
    "broken": (VERMILION, "web broken"),
}
_STYLE = (
    "<style>.line-live text{font:600 13px 'Source Sans',sans-serif;fill:currentColor}"
    ".line-live .num{font-variant-numeric:tabular-nums}"
    f".line-live .turns{{transition:transform {_GLIDE}s linear}}"
    ".line-live .still{display:none}"
    "@media (prefers-reduced-motion:reduce){.line-live .turns{display:none}"
    ".line-live .still{display:inline}}</style>"
)


def tangent(first: Wheel, second: Wheel) -> Strand:
    """Return the free web between two wheels, on the sides on which it is walked round them.

    Args:
        first: the wheel nearer the roll, or the roll.
        second: the next wheel.

    Raises:
        ValueError: one wheel lies within the other, so that no web joins them.
    """
    across = second.side * second.radius - first.side * first.radius
    apart = second.centre - first.centre
    square = abs(apart) ** 2 - across**2
    if square <= 0.0:
        raise ValueError("no web joins two wheels of which one lies within the other")
    along = apart / complex(math.sqrt(square), across)
    along /= abs(along)
    return Strand(
        first.centre - 1j * first.side * first.radius * along,
        second.centre - 1j * second.side * second.radius * along,
    )


def path_at(scenario: Scenario, diameter: float) -> WebPath:
    """Return the layout of a machine with its roll at a diameter; only the web beside it moves.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
    """
    path = lay_out(scenario)
    low, high = diameter_range(scenario)
    if low == high:
        return path
    # A little of the last turn may lie beyond what the scenario calls full or core.
    radius = 0.5 * min(max(diameter, 0.5 * low), 1.05 * high)
    roll = replace(path.roll, radius=radius)
    return replace(path, roll=roll, spans=(tangent(roll, path.rollers[0]), *path.spans[1:]))


@dataclass(frozen=True)
class _Page:
    """What stands still: size of the page [px], pixels a metre, where 0 lies, labels, drawn parts."""

    height: float
    scale: float
    origin: complex
    roll_label: tuple[float, float]
    behind: str
    before: str

    def at(self, point: complex) -> complex:
        """Return a point of the machine [m] on the page, x + j y downward [px]."""
        return ((point - self.origin) * self.scale).conjugate() + 1j * self.height


def line_svg(
    scenario: Scenario,
    *,
    diameter: float,
    roll_angle: float,
    line_speed: float,
    web: Web = "taut",
    units: UnitSystem = METRIC,
    pace: float = 1.0,
) -> str:
    """Return a machine at one moment as an inline SVG of one line of text.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        roll_angle: how far the roll has turned since the start, growing as the web runs [rad].
        line_speed: at the nip [m/s].
        web: whether the web is taut, slack or broken.
        units: the reader's units.
        pace: how much faster than life the picture moves [-]; 0 for a picture that stands.
    """
    page = _page(scenario, units)
    path = path_at(scenario, diameter)
    colour, words = _STATES[web]
    size = _number(diameter, scenario, units)
    unit = units.label("diameter")
    alt = f"{_roll_name(scenario)}, diameter {size.strip()} {unit}, {words}"
    x, y = page.roll_label
    return "".join(
        [
            f'<svg class="line-live" viewBox="0 0 {WIDTH:g} {page.height:g}" role="img" '
            f'aria-label="{alt}" xmlns="http://www.w3.org/2000/svg" '
            'style="display:block;width:100%;max-height:260px">',
            _STYLE,
            page.behind,
            _roll(page, scenario, path, roll_angle, line_speed, web, pace),
            _rollers(page, scenario, path, roll_angle, line_speed, web, pace),
            _web(page, path, web),
            page.before,
            f'<text class="num" x="{x:.1f}" y="{y:.1f}" text-anchor="middle">'
            f"{_roll_name(scenario)}</text>"
            f'<text class="num" x="{x + 0.5 * _size_width(scenario, units):.1f}" '
            f'y="{y + 16.0:.1f}" text-anchor="end">⌀ {size.strip()} {unit}</text>',
            f'<circle cx="12" cy="13" r="5" fill="{colour}"/><text x="23" y="17.5">{words}</text>',
            "</svg>",
        ]
    )


def _roll_name(scenario: Scenario) -> str:
    return "pull roll" if scenario.zone == "pull roll" else "roll"


def _number(diameter: float, scenario: Scenario, units: UnitSystem) -> str:
    """A diameter with as many digits as the full roll has, so that its width stays."""
    full = units.show(diameter_range(scenario)[1], "diameter")
    decimals = max(0, 2 - math.floor(math.log10(full)))
    return f"{units.show(diameter, 'diameter'):.{decimals}f}"


def _size_width(scenario: Scenario, units: UnitSystem) -> float:
    """Width of the widest text of a diameter [px]."""
    widest = _number(1.05 * diameter_range(scenario)[1], scenario, units)
    return _INCH * text_size(f"⌀ {widest} {units.label('diameter')}", points=_FONT)[0]


@lru_cache(maxsize=32)
def _page(scenario: Scenario, units: UnitSystem) -> _Page:
    """Find scale and places once, for the full roll."""
    path = lay_out(scenario)
    low, high = _extent(path)
    size = high - low
    scale = min(
        (WIDTH - 2.0 * _SIDE) / size.real, (TALLEST - _TOP - _BOTTOM) / size.imag
    )  # fmt: skip
    height = min(max(size.imag * scale + _TOP + _BOTTOM + 36.0, LEAST), TALLEST)
    room = height - _TOP - _BOTTOM - size.imag * scale
    corner = complex(0.5 * (WIDTH - size.real * scale), _BOTTOM + 0.5 * room)
    bare = _Page(round(height), scale, low - corner / scale, (0.0, 0.0), "", "")
    labels = _labels(bare, scenario, path, units)
    return replace(
        bare,
        roll_label=labels["roll"],
        behind=_fixed_roll(bare, scenario, path) + _load_cell(bare, scenario, path),
        before=_words(labels, scenario) + _scale_bar(bare, units),
    )


def _extent(path: WebPath) -> tuple[complex, complex]:
    wheels = (path.roll, *path.rollers, *path.nip)
    x = [w.centre.real + s * w.radius for w in wheels for s in (-1, 1)]
    y = [w.centre.imag + s * w.radius for w in wheels for s in (-1, 1)]
    ends = [end for strand in path.beyond for end in (strand.start, strand.end)]
    return (
        complex(min(x + [end.real for end in ends]), min(y + [end.imag for end in ends])),
        complex(max(x + [end.real for end in ends]), max(y + [end.imag for end in ends])),
    )


def _labels(
    page: _Page, scenario: Scenario, path: WebPath, units: UnitSystem
) -> dict[str, tuple[float, float]]:
    """Places of the middles of words [px], beside what they name and clear of the web."""
    sheet = Page(WIDTH / _INCH, page.height / _INCH)

    def ink(points: np.ndarray) -> None:
        sheet.draw(points.real / _INCH, (page.height - points.imag) / _INCH)

    core = path_at(scenario, diameter_range(scenario)[0])
    half = path_at(scenario, 0.5 * sum(diameter_range(scenario)))
    for strand in (*path.spans, *path.beyond, core.spans[0], half.spans[0]):
        a, b = page.at(strand.start), page.at(strand.end)
        ink(a + np.linspace(0.0, 1.0, max(int(abs(b - a) / 3.0), 2)) * (b - a))
    rim = np.exp(1j * np.linspace(0.0, 2.0 * np.pi, 60))
    for wheel in (path.roll, *path.rollers, *path.nip):
        for share in (0.3, 0.65, 1.0):
            ink(page.at(wheel.centre) + share * wheel.radius * page.scale * rim)
    ink(_cell_tip(page, scenario, path) + 9.0 * rim)
    # The corners have their own words.
    sheet.boxes += [
        (0.0, (page.height - 26.0) / _INCH, 105.0 / _INCH, page.height / _INCH),
        (0.0, 0.0, 100.0 / _INCH, 22.0 / _INCH),
    ]

    def place(size: tuple[float, float], *wheels: Wheel) -> tuple[float, float]:
        found = []
        for wheel in wheels:
            middle = page.at(wheel.centre)
            centre = (middle.real / _INCH, (page.height - middle.imag) / _INCH)
            found.append(around(centre, wheel.radius * page.scale / _INCH, size))
        x, y = sheet.place(size, np.vstack(found))
        return x * _INCH, page.height - y * _INCH

    wide = max(
        text_size(_roll_name(scenario), points=_FONT)[0], _size_width(scenario, units) / _INCH
    )
    x, y = place((wide, 34.0 / _INCH), path.roll)
    cell = path.rollers[path.load_cell]
    return {
        "roll": (x, y - 4.0),
        "cell": place(text_size("load cell", points=_FONT, weight="bold"), cell),
        "nip": place(text_size("nip", points=_FONT, weight="bold"), *path.nip),
    }


def _words(labels: dict[str, tuple[float, float]], scenario: Scenario) -> str:
    named = (("cell", "load cell"), ("nip", "nip"))
    return "".join(
        f'<text x="{labels[key][0]:.1f}" y="{labels[key][1] + 4.5:.1f}" '
        f'text-anchor="middle">{text}</text>'
        for key, text in named
    )


def _circle(page: _Page, centre: complex, radius: float, look: str) -> str:
    at = page.at(centre)
    return f'<circle cx="{at.real:.1f}" cy="{at.imag:.1f}" r="{radius * page.scale:.2f}" {look}/>'


def _fixed_roll(page: _Page, scenario: Scenario, path: WebPath) -> str:
    """The outline of the full roll, to see how much is gone or still to come."""
    low, high = diameter_range(scenario)
    if low == high:
        return ""
    look = f'fill="none" stroke="{GREY}" stroke-width="1" stroke-dasharray="2 4"'
    return _circle(page, path.roll.centre, path.roll.radius, look)


def _cell_axis(scenario: Scenario) -> complex:
    """Where the cell stands from its roller: along its axis, on the side to which the web pulls."""
    cell = scenario.load_cell
    towards = math.cos(cell.sensing_angle - cell.bisector_angle) >= 0.0
    return cmath.rect(1.0 if towards else -1.0, cell.sensing_angle).conjugate()


def _cell_tip(page: _Page, scenario: Scenario, path: WebPath) -> complex:
    wheel = path.rollers[path.load_cell]
    return page.at(wheel.centre) + (wheel.radius * page.scale + 8.0) * _cell_axis(scenario)


def _load_cell(page: _Page, scenario: Scenario, path: WebPath) -> str:
    """A wedge under the roller, its point at the shaft: what the roller rests on."""
    axis = _cell_axis(scenario)
    point = page.at(path.rollers[path.load_cell].centre)
    foot = _cell_tip(page, scenario, path)
    corners = (point, foot + 9.0j * axis, foot - 9.0j * axis)
    at = " ".join(f"{corner.real:.1f},{corner.imag:.1f}" for corner in corners)
    return f'<polygon points="{at}" fill="{ORANGE}" stroke="currentColor" stroke-width="1"/>'


def _scale_bar(page: _Page, units: UnitSystem) -> str:
    per_pixel = units.show(1.0 / page.scale, "length")
    length = round_size(80.0 * per_pixel)
    end, y = 8.0 + length / per_pixel, page.height - 9.0
    return (
        f'<path d="M8 {y - 4:g}V{y + 4:g}M8 {y:g}H{end:.1f}M{end:.1f} {y - 4:g}V{y + 4:g}" '
        f'stroke="{GREY}" stroke-width="1.5" fill="none"/>'
        f'<text x="{end + 6.0:.1f}" y="{y + 4.5:g}">{sensible(length, 1)} '
        f"{units.label('length')}</text>"
    )


def _turning(
    page: _Page, scenario: Scenario, wheel: Wheel, angle: float, rate: float, mark: str
) -> str:
    """A mark that turns with a wheel, or a steady arrow where it would flicker.

    `angle` [rad] grows as the web runs, `rate` is in turns a second on the screen.
    """
    at = page.at(wheel.centre)
    # Downward y turns left into right; the walk follows the web on an unwind only.
    way = -wheel.side if scenario.zone == "unwind" else wheel.side
    radius = wheel.radius * page.scale
    arrow = _round_arrow(at, 0.72 * radius, way) if rate > 0.0 else ""
    if rate > FASTEST_MARK:
        return arrow
    # The first picture of a run has nothing to turn on from.
    glide = ";transition:none" if angle == 0.0 else ""
    return (
        f'<g class="turns" style="transform-origin:{at.real:.1f}px {at.imag:.1f}px;'
        f'transform:rotate({math.degrees(way * angle):.1f}deg){glide}">{mark}</g>'
        f'<g class="still">{arrow}</g>'
    )


def _round_arrow(at: complex, radius: float, way: int) -> str:
    """Three quarters of a circle with a head; `way` +1 turns right on the page."""
    start, sweep = -0.75 * math.pi, 1.35 * math.pi * way
    tail = at + cmath.rect(radius, start)
    tip = at + cmath.rect(radius, start + sweep)
    head = min(max(0.35 * radius, 3.0), 9.0)
    along = 1j * way * cmath.rect(1.0, start + sweep)
    wings = [tip + head * along * cmath.rect(1.0, math.pi + turn) for turn in (0.5, -0.5)]
    flag = 1 if way > 0 else 0
    return (
        f'<path d="M{tail.real:.1f} {tail.imag:.1f}A{radius:.1f} {radius:.1f} 0 1 {flag} '
        f"{tip.real:.1f} {tip.imag:.1f}M{wings[0].real:.1f} {wings[0].imag:.1f}"
        f'L{tip.real:.1f} {tip.imag:.1f}L{wings[1].real:.1f} {wings[1].imag:.1f}" '
        'fill="none" stroke="currentColor" stroke-width="1.6"/>'
    )


def _roll(
    page: _Page, scenario: Scenario, path: WebPath, angle: float, speed: float, web: Web,
    pace: float,
) -> str:  # fmt: skip
    roll, core = path.roll, 0.5 * diameter_range(scenario)[0]
    parts = [
        _circle(
            page, roll.centre, roll.radius,
            f'fill="{BLUE}" fill-opacity="0.16" stroke="currentColor" stroke-width="1.8"',
        )
    ]  # fmt: skip
    if scenario.zone != "pull roll":
        look = f'fill="none" stroke="{BLUE}" stroke-opacity="0.35" stroke-width="1"'
        # Layers: rings at fixed radii, so that the roll is seen to lose or gain them.
        full = 0.5 * diameter_range(scenario)[1]
        rings = [core + share * (full - core) for share in (0.2, 0.4, 0.6, 0.8)]
        parts += [_circle(page, roll.centre, r, look) for r in rings if r < roll.radius]
    at = page.at(roll.centre)
    reach = roll.radius * page.scale
    mark = (
        f'<path d="M{at.real:.1f} {at.imag:.1f}h{0.94 * reach:.2f}" stroke="currentColor" '
        f'stroke-width="2.4"/><circle cx="{at.real + 0.94 * reach:.2f}" cy="{at.imag:.1f}" '
        'r="2.6" fill="currentColor"/>'
    )
    # A roll without web turns as it likes, and its angle says how.
    rate = 0.0 if web == "broken" else pace * abs(speed) / (2.0 * math.pi * roll.radius)
    parts.append(_turning(page, scenario, roll, angle, rate, mark))
    if scenario.zone != "pull roll":
        parts.append(
            _circle(
                page, roll.centre, core, f'fill="{GREY}" stroke="currentColor" stroke-width="1.2"'
            )
        )
    return "".join(parts)


def _rollers(
    page: _Page, scenario: Scenario, path: WebPath, angle: float, speed: float, web: Web,
    pace: float,
) -> str:  # fmt: skip
    parts = []
    look = f'fill="{GREY}" fill-opacity="0.25" stroke="currentColor" stroke-width="1.3"'
    run = angle * path.roll.radius
    driven = (*path.nip, *(() if web == "broken" else path.rollers))
    for wheel in (*path.rollers, *path.nip):
        parts.append(_circle(page, wheel.centre, wheel.radius, look))
        at, reach = page.at(wheel.centre), wheel.radius * page.scale
        rate = pace * abs(speed) / (2.0 * math.pi * wheel.radius) if wheel in driven else 0.0
        mark = (
            f'<path d="M{at.real:.1f} {at.imag:.1f}h{0.85 * reach:.2f}" stroke="currentColor" '
            'stroke-width="1.6"/>'
        )
        # Broken, the web turns no roller, and the nip's angle is not known.
        if rate > FASTEST_MARK or (web == "broken" and wheel in path.nip):
            parts.append(_turning(page, scenario, wheel, 0.0, max(rate, 0.0), ""))
        elif web != "broken":
            parts.append(_turning(page, scenario, wheel, run / wheel.radius, rate, mark))
    return "".join(parts)


def _web(page: _Page, path: WebPath, web: Web) -> str:
    arcs = "".join(_arc(page, path, i) for i in range(len(path.rollers)))
    if web == "taut":
        lines = "".join(_straight(page, strand) for strand in path.spans)
        dash = ""
    else:
        torn = max(
            range(len(path.spans)), key=lambda i: abs(path.spans[i].end - path.spans[i].start)
        )
        lines = "".join(
            _torn(page, strand) if web == "broken" and i == torn else _sagging(page, strand)
            for i, strand in enumerate(path.spans)
        )
        dash = ' stroke-dasharray="6 4"'
    ends = "".join(_straight(page, strand) for strand in path.beyond)
    colour = BLUE if web != "broken" else VERMILION
    return (
        f'<path d="{ends}" fill="none" stroke="{BLUE}" stroke-width="2.6"/>'
        f'<path d="{arcs}{lines}" fill="none" stroke="{colour}" stroke-width="2.6"{dash}/>'
    )


def _straight(page: _Page, strand: Strand) -> str:
    a, b = page.at(strand.start), page.at(strand.end)
    return f"M{a.real:.1f} {a.imag:.1f}L{b.real:.1f} {b.imag:.1f}"


def _sagging(page: _Page, strand: Strand) -> str:
    a, b = page.at(strand.start), page.at(strand.end)
    low = 0.5 * (a + b) + 0.3j * max(abs((b - a).real), 0.3 * abs(b - a))
    return f"M{a.real:.1f} {a.imag:.1f}Q{low.real:.1f} {low.imag:.1f} {b.real:.1f} {b.imag:.1f}"


def _torn(page: _Page, strand: Strand) -> str:
    """Two ends that hang apart."""
    a, b = page.at(strand.start), page.at(strand.end)
    hang = 0.22j * abs(b - a)
    parts = []
    for foot, other in ((a, b), (b, a)):
        out, end = foot + 0.22 * (other - foot), foot + 0.3 * (other - foot) + hang
        parts.append(
            f"M{foot.real:.1f} {foot.imag:.1f}Q{out.real:.1f} {out.imag:.1f} "
            f"{end.real:.1f} {end.imag:.1f}"
        )
    return "".join(parts)


def _arc(page: _Page, path: WebPath, i: int) -> str:
    start, sweep = path.wrap(i)
    wheel = path.rollers[i]
    a = page.at(wheel.centre + cmath.rect(wheel.radius, start))
    b = page.at(wheel.centre + cmath.rect(wheel.radius, start + sweep))
    radius = wheel.radius * page.scale
    large, flag = int(abs(sweep) > math.pi), int(sweep < 0.0)
    return (
        f"M{a.real:.1f} {a.imag:.1f}A{radius:.2f} {radius:.2f} 0 {large} {flag} "
        f"{b.real:.1f} {b.imag:.1f}"
    )
