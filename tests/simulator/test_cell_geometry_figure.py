"""The load-cell roller drawn: true to its forces, readable whichever way the web pulls."""

import cmath
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.text import Annotation

from simulator.cell_geometry_figure import draw_cell_geometry
from simulator.figure_style import BLACK, BLUE, GREEN, GREY, ORANGE, VERMILION
from simulator.units import METRIC, US_CUSTOMARY
from simulator.web_path import lay_out
from simulator.web_wrap import RollerPlace, wrap_from_directions, wrap_from_rollers
from tests.simulator.cells import cell
from tests.tuning.pictures import check_readable, words

UNITS = {"metric": METRIC, "us": US_CUSTOMARY}


def drawn(load_cell, tension=150.0, units=METRIC, diameter=0.1, **more):
    return draw_cell_geometry(load_cell, tension=tension, units=units, diameter=diameter, **more)


def neighbours(scenario):
    """The three rollers of a scenario's laid-out path, walked from the roll to the nip."""
    path = lay_out(scenario)
    wheels = [path.roll, *path.rollers, path.nip[0]]
    return tuple(
        RollerPlace(
            w.centre.real,
            w.centre.imag,
            2.0 * w.radius,
            "counterclockwise" if w.side > 0 else "clockwise",
        )
        for w in wheels[path.load_cell : path.load_cell + 3]
    )


def arrows(figure):
    """Arrows as (colour, line width, tail, tip), the points as x + j y [inch]."""
    found = []
    for text in figure.axes[0].texts:
        if isinstance(text, Annotation):
            style = text.arrowprops
            found.append(
                (to_hex(style["color"]).upper(), style["linewidth"], complex(*text.xyann),
                 complex(*text.xy))
            )  # fmt: skip
    return found


def vectors(figure, colour, width, *, left=6.3):
    """What arrows of a look on the left of the page span; the scale arrow below is none."""
    return [
        tip - tail
        for shade, line, tail, tip in arrows(figure)
        if (shade, line) == (colour.upper(), width)
        and max(tail.real, tip.real) < left
        and min(tail.imag, tip.imag) > 0.5
    ]


@pytest.mark.parametrize("units", UNITS.values(), ids=UNITS)
def test_every_machine_is_readable(scenario, units):
    figure = draw_cell_geometry(
        scenario.load_cell,
        tension=scenario.run.tension,
        units=units,
        diameter=0.1,
        rollers=neighbours(scenario),
    )
    said = check_readable(figure)
    assert f"wrap {math.degrees(scenario.load_cell.wrap_angle):.4g}°" in said
    assert f"tension {units.text(scenario.run.tension, 'tension')}" in said
    at = next(roller for roller in scenario.roller if roller.load_cell)
    size = f"⌀ {units.show(at.diameter, 'diameter'):.4g} {units.label('diameter')}"
    assert f"roller {size}" in said and f"load cell\n{size}" in said
    assert "before" in said and "after" in said
    assert "the other way" not in said


def test_the_worn_machine_is_readable(worn):
    figure = drawn(worn.load_cell, worn.run.tension, rollers=neighbours(worn))
    assert "wrap 130°" in check_readable(figure)


# Wraps from the least to the most, pulls all ways, weights from none to more than the pull, axes
# on and off the bisector.
CASES = [
    (5, -90, 0, 10, 300), (350, 90, 30, 10, 300), (20, 0, 0, 5, 300), (270, 45, -15, 20, 200),
    (180, 90, 0, 100, 50), (60, 90, 0, 15.3, 150), (90, 135, 45, 0, 150), (120, -90, 80, 10, 150),
    (90, -135, 45, 30, 150), (180, 180, 0, 1, 900), (150, -90, -60, 10, 400), (5, 90, 85, 0, 80),
    (350, -60, 0, 40, 100), (30, 170, 20, 3, 1e5), (120, 90, 180, 1e4, 100), (45, -10, 0, 2, 0.5),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=str)
def test_readable_whichever_way_the_web_pulls(case):
    wrap, bisector, off, mass, tension = case
    units = US_CUSTOMARY if wrap % 20 else METRIC
    figure = drawn(cell(wrap, bisector, bisector + off, mass), tension, units)
    said = check_readable(figure)
    assert ("weight " in said and "together" in said) or mass == 0
    assert "may as well run the other way" in said
    # No label of the drawing lies over a force arrow: sampled here, apart from how it is placed.
    boxes = [(text.get_text(), box) for text, box in words(figure)]
    across, up = np.array(figure.canvas.get_width_height()) / figure.get_size_inches()
    for (shade, width, tail, tip), (text, box) in itertools.product(arrows(figure), boxes):
        points = tail + np.linspace(0.0, 1.0, 50) * (tip - tail)
        x, y = across * points.real, up * points.imag
        over = (x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)
        assert not over.any(), f"{text!r} over an arrow {shade} of {width} points"


@pytest.mark.parametrize("case", CASES, ids=str)
def test_arrows_add_up(case):
    """Strands make the pull, pull and weight make the sum, of which the axis takes its part."""
    wrap, bisector, off, mass, tension = case
    figure = drawn(cell(wrap, bisector, bisector + off, mass), tension)
    weight = 9.80665 * mass  # standard gravity, exact
    pulls = vectors(figure, VERMILION, 2.0)
    both = -1j * weight
    for way in (90 - wrap / 2, wrap / 2 - 90):
        both += cmath.rect(tension, math.radians(bisector + way))
    pull = both + 1j * weight
    scale = 1.5 / max(tension, abs(pull), weight, abs(both))
    if scale * tension > 0.02:  # what is shorter is not drawn
        assert len(pulls) == 2
        assert [abs(p) for p in pulls] == pytest.approx([scale * tension] * 2)
        assert sum(pulls) == pytest.approx(scale * pull, abs=1e-9)
    for colour, width, vector in ((VERMILION, 3.0, pull), (GREY, 3.0, -1j * weight),
                                  (BLACK, 2.0, both if mass else 0.0)):  # fmt: skip
        found = vectors(figure, colour, width)
        assert len(found) == (scale * abs(vector) > 0.02)
        assert not found or found[0] == pytest.approx(scale * vector, abs=1e-9)
    axis = cmath.rect(1.0, math.radians(bisector + off))
    aside = both - (both * axis.conjugate()).real * axis
    found = vectors(figure, ORANGE, 1.8)
    assert len(found) == (scale * abs(aside) > 0.02)
    assert not found or found[0] == pytest.approx(scale * aside, abs=1e-9)
    felt = (both * axis.conjugate()).real * (1.0 if math.cos(math.radians(off)) > 0 else -1.0)
    lanes = [tip - tail for shade, _, tail, tip in arrows(figure) if shade == GREEN.upper()]
    assert [x.real for x in lanes] == pytest.approx([scale * felt] * (scale * abs(felt) > 0.02))


def test_scales_are_as_written():
    figure = drawn(cell(60.0, mass=0.0), 200.0, diameter=0.12)
    texts = {t.get_text(): complex(*t.get_position()) for t in figure.axes[0].texts}
    # A wrap of 60° pulls with the tension itself: all three arrows are as long.
    (pull,) = vectors(figure, VERMILION, 3.0)
    scale_arrow = [(a, b) for _, _, a, b in arrows(figure) if b.imag < 0.5]
    ((tail, tip),) = scale_arrow
    beside = next(text for text, at in texts.items() if abs(at - tip) < 0.2)
    assert (tip - tail).real / float(beside.removesuffix(" N")) == pytest.approx(abs(pull) / 200.0)
    (ring,) = figure.axes[0].patches
    bar = [line.get_xdata() for line in figure.axes[0].lines
           if np.ptp(line.get_ydata()) == 0.0 and np.ptp(line.get_xdata()) > 0.1
           and line.get_ydata()[0] < 0.5]  # fmt: skip
    length = next(float(text.removesuffix(" mm")) for text, at in texts.items()
                  if at.imag < 0.5 and text.endswith(" mm"))  # fmt: skip
    assert np.ptp(bar[0]) / length == pytest.approx(2.0 * ring.radius / 120.0)


def test_the_web_travels_as_it_was_said_to():
    entering, leaving = 0.4, 0.4 - math.radians(250)
    wrap = wrap_from_directions(entering, leaving, "clockwise")
    load_cell = replace(
        cell(), wrap_angle=wrap.wrap_angle, bisector_angle=wrap.bisector_angle,
        sensing_angle=wrap.bisector_angle,
    )  # fmt: skip
    figure = drawn(load_cell, wrap=wrap)
    ways = [v / abs(v) for v in vectors(figure, BLUE, 2.2)]
    assert ways == pytest.approx([cmath.rect(1, entering), cmath.rect(1, leaving)])
    assert "the other way" not in check_readable(figure)


def test_three_rollers_are_drawn_to_their_own_scale():
    rollers = (
        RollerPlace(-1.0, 0.0, 0.8, "counterclockwise"),
        RollerPlace(0.0, 0.4, 0.1, "clockwise"),
        RollerPlace(0.9, -0.3, 0.2, "counterclockwise"),
    )
    wrap = wrap_from_rollers(*rollers)
    load_cell = replace(
        cell(), wrap_angle=wrap.wrap_angle, bisector_angle=wrap.bisector_angle,
        sensing_angle=wrap.bisector_angle,
    )  # fmt: skip
    figure = drawn(load_cell, rollers=rollers)
    check_readable(figure)
    large, *small = figure.axes[0].patches
    assert len(small) == 3 and large.radius > small[1].radius
    radii = [ring.radius for ring in small]
    assert np.divide(radii, radii[1]) == pytest.approx([8.0, 1.0, 2.0])
    centres = [complex(*ring.center) for ring in small]
    assert (centres[2] - centres[0]) / radii[1] == pytest.approx((1.9 - 0.3j) / 0.05)


def test_what_cannot_be_drawn_is_refused():
    for wrong in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="tension must be"):
            drawn(cell(), wrong)
        with pytest.raises(ValueError, match="diameter must be"):
            drawn(cell(), diameter=wrong)
    wrap = wrap_from_directions(0.0, math.radians(90))
    with pytest.raises(ValueError, match="wrap_angle of 90° and bisector_angle of 135°"):
        drawn(cell(120.0, 135.0), wrap=wrap)
    with pytest.raises(ValueError, match="is not the load cell's"):
        drawn(cell(90.0, 130.0), wrap=wrap)
    # Rounded on a form, and counted from the other side: still the same.
    assert drawn(cell(90.2, -225.0), wrap=wrap)
