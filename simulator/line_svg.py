"""The machine as it is at one moment, to scale, as SVG for a picture that moves.

What is known to turn shows its angle by a mark, on which the browser turns from one picture to the
next: it glides, and never runs backwards between two of them. Where a mark would flicker, a steady
arrow stands for it; so it does for a reader who asked for less motion. The nip always has its
arrow while the line runs.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import Literal

from simulator.figure_style import BLUE, GREEN, GREY, ORANGE, VERMILION
from simulator.line_page import (
    FONT,
    WIDTH,
    LinePage,
    diameter_text,
    line_page,
    roll_name,
)
from simulator.live_path import path_at
from simulator.machine import diameter_range
from simulator.scenario import Scenario
from simulator.units import METRIC, UnitSystem
from simulator.web_path import Strand, WebPath, Wheel

Web = Literal["taut", "slack", "broken"]

# Turns a second on the screen above which a mark would flicker [Hz].
FASTEST_MARK = 2.0
# A little longer than from one picture to the next, so that what turns never stands still [s].
_GLIDE = 0.45
# Layers of web are drawn at these shares of the build-up [-].
_LAYERS = (0.2, 0.4, 0.6, 0.8)

_STATES: dict[Web, tuple[str, str]] = {
    "taut": (GREEN, "web taut"),
    "slack": (ORANGE, "web slack"),
    "broken": (VERMILION, "web broken"),
}
# CSS that belongs once on a page that shows the picture.
STYLE = (
    f".line-live text{{font:600 {FONT:g}px 'Source Sans',sans-serif;fill:currentColor}}"
    ".line-live .number{font-variant-numeric:tabular-nums}"
    f".line-live .turns{{transition:transform {_GLIDE}s linear}}"
    ".line-live .still{display:none}"
    "@media (prefers-reduced-motion:reduce){.line-live .turns{display:none}"
    ".line-live .still{display:inline}}"
)


@dataclass(frozen=True)
class _Motion:
    """What moves, and how fast it does on the screen: way of the web [rad of the roll], [m/s]."""

    angle: float
    speed: float
    web: Web
    # Whether the web runs as it is walked, from the roll to the nip.
    towards_nip: bool


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
    """Return a machine at one moment as an inline SVG of one line of text; `STYLE` goes with it.

    Args:
        scenario: the machine.
        diameter: of the roll [m].
        roll_angle: how far the roll has turned since the start, growing as the web runs [rad].
        line_speed: at the nip [m/s].
        web: whether the web is taut, slack or broken.
        units: the reader's units.
        pace: how much faster than life the picture moves [-]; 0 for a picture that stands.
    """
    page, path = line_page(scenario, units), path_at(scenario, diameter)
    colour, state = _STATES[web]
    size, name = diameter_text(diameter, scenario, units), roll_name(scenario)
    motion = _Motion(roll_angle, pace * abs(line_speed), web, scenario.zone == "unwind")
    return (
        f'<svg class="line-live" viewBox="0 0 {WIDTH:g} {page.height:g}" role="img" '
        f'aria-label="machine to scale: {name} {size}, {state}" '
        'xmlns="http://www.w3.org/2000/svg" style="display:block;width:100%;max-height:284px">'
        f"<g>{page.behind}</g><g>{_roll(page, scenario, path, motion)}</g>"
        f"{_rollers(page, path, motion)}{_web(page, path, web)}<g>{page.before}</g>"
        f'<text class="number" x="{WIDTH - 8.0:g}" y="{page.height - 4.5:g}" text-anchor="end">'
        f"{name} {size}</text>"
        f'<circle cx="12" cy="13" r="5" fill="{colour}"/><text x="23" y="17.5">{state}</text></svg>'
    )


def _roll(page: LinePage, scenario: Scenario, path: WebPath, motion: _Motion) -> str:
    roll, (core, full) = path.roll, diameter_range(scenario)
    look = f'fill="{BLUE}" fill-opacity="0.16" stroke="currentColor" stroke-width="1.8"'
    body, middle = page.circle(roll.centre, roll.radius, look), ""
    if core < full:
        look = f'fill="none" stroke="{BLUE}" stroke-opacity="0.35" stroke-width="1"'
        radii = [0.5 * (core + share * (full - core)) for share in _LAYERS]
        body += "".join(page.circle(roll.centre, r, look) for r in radii if r < roll.radius)
        look = f'fill="{GREY}" stroke="currentColor" stroke-width="1.2"'
        middle = page.circle(roll.centre, 0.5 * core, look)
    at, reach = page.at(roll.centre), 0.94 * roll.radius * page.scale
    mark = (
        f'<path d="M{at.real:.1f} {at.imag:.1f}h{reach:.2f}" stroke="currentColor" '
        f'stroke-width="2.4"/><circle cx="{at.real + reach:.2f}" cy="{at.imag:.1f}" r="2.6" '
        'fill="currentColor"/>'
    )
    # Without a taut web the roll turns as it likes: only its angle says how.
    rate = _rate(roll, motion) if motion.web == "taut" else 0.0
    way = _way(roll, motion)
    return f"<g>{body}</g>{_turning(page, roll, way, motion.angle, rate, mark)}<g>{middle}</g>"


def _rollers(page: LinePage, path: WebPath, motion: _Motion) -> str:
    look = f'fill="{GREY}" fill-opacity="0.25" stroke="currentColor" stroke-width="1.3"'
    parts = []
    for wheel in (*path.rollers, *path.nip):
        drawn, way = page.circle(wheel.centre, wheel.radius, look), _way(wheel, motion)
        at, reach = page.at(wheel.centre), wheel.radius * page.scale
        if wheel in path.nip:
            if motion.speed > 0.0:
                drawn += _arrow(at, 0.72 * reach, way)
        elif motion.web == "taut":
            mark = (
                f'<path d="M{at.real:.1f} {at.imag:.1f}h{0.85 * reach:.2f}" '
                'stroke="currentColor" stroke-width="1.6"/>'
            )
            angle = motion.angle * path.roll.radius / wheel.radius
            drawn += _turning(page, wheel, way, angle, _rate(wheel, motion), mark)
        parts.append(f"<g>{drawn}</g>")
    return "".join(parts)


def _way(wheel: Wheel, motion: _Motion) -> int:
    """+1 for a wheel that turns clockwise on the page, -1 for the other way."""
    return -wheel.side if motion.towards_nip else wheel.side


def _rate(wheel: Wheel, motion: _Motion) -> float:
    """Turns a second on the screen [Hz]."""
    return motion.speed / (2.0 * math.pi * wheel.radius)


def _turning(page: LinePage, wheel: Wheel, way: int, angle: float, rate: float, mark: str) -> str:
    """A mark at an angle [rad], or an arrow at a rate [Hz] at which the mark would flicker."""
    at = page.at(wheel.centre)
    arrow = _arrow(at, 0.72 * wheel.radius * page.scale, way) if rate > 0.0 else ""
    if rate > FASTEST_MARK:
        return f"<g>{arrow}</g>"
    # The first picture of a run has nothing to turn on from.
    glide = ";transition:none" if angle == 0.0 else ""
    return (
        f'<g class="turns" style="transform-origin:{at.real:.1f}px {at.imag:.1f}px;'
        f'transform:rotate({math.degrees(way * angle):.1f}deg){glide}">{mark}</g>'
        f'<g class="still">{arrow}</g>'
    )


def _arrow(at: complex, radius: float, way: int) -> str:
    """Two thirds of a circle with a head; `way` +1 turns clockwise on the page."""
    start, sweep = -0.75 * math.pi, 1.35 * math.pi * way
    tail, tip = (at + cmath.rect(radius, angle) for angle in (start, start + sweep))
    back = -1j * way * cmath.rect(min(max(0.35 * radius, 3.0), 9.0), start + sweep)
    left, right = (tip + back * cmath.rect(1.0, turn) for turn in (0.5, -0.5))
    return (
        f'<path d="M{tail.real:.1f} {tail.imag:.1f}A{radius:.1f} {radius:.1f} 0 1 {int(way > 0)} '
        f"{tip.real:.1f} {tip.imag:.1f}M{left.real:.1f} {left.imag:.1f}L{tip.real:.1f} "
        f'{tip.imag:.1f}L{right.real:.1f} {right.imag:.1f}" fill="none" stroke="currentColor" '
        'stroke-width="1.6"/>'
    )


def _web(page: LinePage, path: WebPath, web: Web) -> str:
    arcs = "".join(_arc(page, path, i) for i in range(len(path.rollers)))
    # Which span breaks is not known; the longest shows it best.
    torn = max(path.spans, key=lambda span: abs(span.end - span.start)) if web == "broken" else None
    spans = "".join(
        _straight(page, span) if web == "taut" else _torn(page, span) if span is torn
        else _sagging(page, span)
        for span in path.spans
    )  # fmt: skip
    beyond = "".join(_straight(page, strand) for strand in path.beyond)
    colour = VERMILION if web == "broken" else BLUE
    dash = "" if web == "taut" else ' stroke-dasharray="6 4"'
    return (
        f'<g fill="none" stroke-width="2.6"><path d="{beyond}" stroke="{BLUE}"/>'
        f'<path d="{arcs}{spans}" stroke="{colour}"{dash}/></g>'
    )


def _straight(page: LinePage, strand: Strand) -> str:
    a, b = page.at(strand.start), page.at(strand.end)
    return f"M{a.real:.1f} {a.imag:.1f}L{b.real:.1f} {b.imag:.1f}"


def _sagging(page: LinePage, strand: Strand) -> str:
    return _curve(*page.sag(strand))


def _torn(page: LinePage, strand: Strand) -> str:
    """Two ends that hang apart."""
    a, b = page.at(strand.start), page.at(strand.end)
    hang = 0.22j * abs(b - a)
    return "".join(
        _curve(foot, foot + 0.22 * (other - foot), foot + 0.3 * (other - foot) + hang)
        for foot, other in ((a, b), (b, a))
    )


def _curve(start: complex, control: complex, end: complex) -> str:
    return (
        f"M{start.real:.1f} {start.imag:.1f}Q{control.real:.1f} {control.imag:.1f} "
        f"{end.real:.1f} {end.imag:.1f}"
    )


def _arc(page: LinePage, path: WebPath, i: int) -> str:
    (start, sweep), wheel = path.wrap(i), path.rollers[i]
    a, b = (page.at(wheel.centre + cmath.rect(wheel.radius, s)) for s in (start, start + sweep))
    radius = wheel.radius * page.scale
    large, clockwise = int(abs(sweep) > math.pi), int(sweep < 0.0)
    return (
        f"M{a.real:.1f} {a.imag:.1f}A{radius:.2f} {radius:.2f} 0 {large} {clockwise} "
        f"{b.real:.1f} {b.imag:.1f}"
    )
