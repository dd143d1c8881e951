"""The moving picture of a machine: to scale, in place, turning the right way, fit to be read."""

import math
import re
import time
import xml.etree.ElementTree as ET

import pytest

from simulator.figure_style import text_size
from simulator.line_page import WIDTH, line_page
from simulator.line_svg import FASTEST_MARK, STYLE, line_svg
from simulator.live_path import path_at
from simulator.machine import diameter_range
from simulator.units import METRIC, US_CUSTOMARY
from simulator.web_path import lay_out

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = r"-?\d+(?:\.\d+)?"


def drawn(scenario, diameter=None, *, roll_angle=1.0, speed=0.02, web="taut", **more):
    """The picture's root; slow enough for marks on everything unless asked otherwise."""
    diameter = diameter_range(scenario)[1] if diameter is None else diameter
    text = line_svg(
        scenario, diameter=diameter, roll_angle=roll_angle, line_speed=speed, web=web, **more
    )
    assert "\n" not in text
    return ET.fromstring(text)


def circles(root):
    return [
        (float(c.get("cx")) + 1j * float(c.get("cy")), float(c.get("r")))
        for c in root.iter(f"{SVG}circle")
    ]


def words(root):
    return {" ".join(t.itertext()): t for t in root.iter(f"{SVG}text")}


def has_circle(root, centre, radius):
    return any(abs(c - centre) < 0.1 and abs(r - radius) < 0.02 for c, r in circles(root))


def taut_web(root):
    """Ends of every straight piece of the web's path [px], in order."""
    path = [p for p in root.iter(f"{SVG}path") if "A" in p.get("d") and "L" in p.get("d")][-1]
    return [
        (complex(*map(float, found[:2])), complex(*map(float, found[2:])))
        for found in re.findall(rf"M({NUMBER}) ({NUMBER})L({NUMBER}) ({NUMBER})", path.get("d"))
    ]


@pytest.mark.parametrize("web", ["taut", "slack", "broken"])
@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda u: u.name)
def test_every_machine_is_valid_and_says_what_it_shows(scenario, web, units):
    root = drawn(scenario, web=web, units=units)
    said = words(root)
    assert f"web {web}" in said
    assert {"load cell", "nip"} <= said.keys()
    full = units.show(diameter_range(scenario)[1], "diameter")
    size = next(text for text in said if "⌀" in text)
    assert units.label("diameter") in size
    assert float(re.search(NUMBER, size).group()) == pytest.approx(full, rel=2e-3)
    assert root.get("role") == "img"
    assert f"web {web}" in root.get("aria-label")


def test_wheels_are_where_the_layout_has_them_and_to_scale(scenario):
    root, laid = drawn(scenario), lay_out(scenario)
    page = line_page(scenario, METRIC)
    for wheel in (laid.roll, *laid.rollers, *laid.nip):
        assert has_circle(root, page.at(wheel.centre), page.scale * wheel.radius)
    # Upward in the machine is upward on the page, by the same scale both ways.
    a, b = laid.roll.centre, laid.nip[0].centre
    assert page.at(b) - page.at(a) == pytest.approx(((b - a) * page.scale).conjugate())


@pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
def test_web_leaves_the_drawn_roll_tangentially(scenario, share):
    low, high = diameter_range(scenario)
    diameter = low + share * (high - low)
    root, page = drawn(scenario, diameter), line_page(scenario, METRIC)
    centre, radius = page.at(lay_out(scenario).roll.centre), 0.5 * diameter * page.scale
    assert has_circle(root, centre, radius)
    start, end = taut_web(root)[0]
    along = (end - start) / abs(end - start)
    # Coordinates are written to a tenth of a pixel.
    assert abs(((centre - start) * along.conjugate()).imag) == pytest.approx(radius, abs=0.15)
    assert abs(start - centre) == pytest.approx(radius, abs=0.15)


def test_nothing_jumps_when_the_roll_shrinks(scenario):
    low, high = diameter_range(scenario)
    pictures = [drawn(scenario, low + share * (high - low)) for share in (1.0, 0.999, 0.5, 0.0)]
    assert len({root.get("viewBox") for root in pictures}) == 1
    places = {
        frozenset(
            (text if "⌀" not in text else "size", node.get("x"), node.get("y"))
            for text, node in words(root).items()
        )
        for root in pictures
    }
    assert len(places) == 1
    # All but the roll, its layers and its mark: rollers, nip and the web behind them.
    page, laid = line_page(scenario, METRIC), lay_out(scenario)
    for root in pictures:
        for wheel in (*laid.rollers, *laid.nip):
            assert has_circle(root, page.at(wheel.centre), page.scale * wheel.radius)
        for drawn_span, span in zip(taut_web(root)[1:], laid.spans[1:], strict=True):
            assert drawn_span[0] == pytest.approx(page.at(span.start), abs=0.1)
            assert drawn_span[1] == pytest.approx(page.at(span.end), abs=0.1)


def test_everything_is_on_the_page(scenario):
    for web in ("taut", "slack", "broken"):
        root = drawn(scenario, web=web)
        _, _, width, height = map(float, root.get("viewBox").split())
        assert width == WIDTH
        for centre, radius in circles(root):
            assert radius <= centre.real <= width - radius
            assert radius <= centre.imag <= height - radius
        for text, node in words(root).items():
            wide = 72.0 * text_size(text, points=13.0, weight="bold")[0]
            anchor = {"middle": 0.5, "end": 1.0}.get(node.get("text-anchor"), 0.0)
            left = float(node.get("x")) - anchor * wide
            assert left > -1.0, text
            assert left + wide < width + 1.0, text
            assert 10.0 < float(node.get("y")) < height


def test_the_state_of_the_web_is_told_by_line_as_well_as_word(film):
    def dashed(root):
        return any(p.get("stroke-dasharray") == "6 4" for p in root.iter(f"{SVG}path"))

    taut, slack, broken = (drawn(film, web=web) for web in ("taut", "slack", "broken"))
    assert not dashed(taut)
    assert dashed(slack)
    assert dashed(broken)
    assert len(taut_web(taut)) == len(film.span)
    assert not any("Q" in p.get("d") for p in taut.iter(f"{SVG}path"))
    curves = [sum(p.get("d").count("Q") for p in r.iter(f"{SVG}path")) for r in (slack, broken)]
    # One curve a slack span; a torn one hangs as two.
    assert curves == [len(film.span), len(film.span) + 1]


def turns(root):
    """Angle on the page [deg] and centre of each turning mark, the roll's first."""
    found = []
    for g in root.iter(f"{SVG}g"):
        if g.get("class") == "turns":
            style = g.get("style")
            angle = float(re.search(rf"rotate\(({NUMBER})deg\)", style).group(1))
            x, y = re.search(rf"transform-origin:({NUMBER})px ({NUMBER})px", style).groups()
            found.append((angle, complex(float(x), float(y))))
    return found


def test_rims_run_with_the_web(scenario):
    """Roll and rollers: a little more angle moves the rim where the web leaves as the web runs."""
    page, path = line_page(scenario, METRIC), path_at(scenario, diameter_range(scenario)[1])
    before = turns(drawn(scenario, roll_angle=1.0))
    after = turns(drawn(scenario, roll_angle=1.1))
    wheels = (path.roll, *path.rollers)
    assert len(before) == len(wheels)
    for i, (wheel, (old, centre), (new, _)) in enumerate(zip(wheels, before, after, strict=True)):
        span = path.spans[i]
        contact = page.at(span.start)
        run = page.at(span.end) - page.at(span.start)
        if scenario.zone != "unwind":
            run = -run
        turn = math.radians(new - old)
        # Turned clockwise on a page whose y points down, a rim moves by turn × j × lever.
        moves = 1j * turn * (contact - centre)
        assert (moves * run.conjugate()).real > 0.0
        # No slip: each rim runs as far as the roll's.
        assert abs(turn) * wheel.radius == pytest.approx(0.1 * path.roll.radius, abs=4e-3)


def test_marks_give_way_to_arrows_where_they_would_flicker(film):
    _, full = diameter_range(film)
    limit = FASTEST_MARK * math.pi * full
    assert len(turns(drawn(film, speed=0.99 * limit))) == 1
    assert turns(drawn(film, speed=1.01 * limit)) == []
    # In fast motion the screen shows more turns a second than the machine makes.
    assert turns(drawn(film, speed=0.3 * limit, pace=5.0)) == []
    # The roll, and with it all that turned, stands still on the screen.
    standing = drawn(film, speed=0.99 * limit, pace=0.0)
    assert len(turns(standing)) == 2
    assert not any(g.get("class") == "still" and len(g) for g in standing.iter(f"{SVG}g"))


def test_without_a_web_the_roll_shows_its_own_angle_and_no_roller_turns(film):
    found = turns(drawn(film, speed=film.run.line_speed, roll_angle=2.0, web="broken"))
    assert len(found) == 1
    assert abs(found[0][0]) == pytest.approx(math.degrees(2.0), abs=0.1)


def test_the_first_picture_of_a_run_does_not_glide(film):
    first, later = (
        line_svg(film, diameter=0.8, roll_angle=angle, line_speed=0.1) for angle in (0.0, 0.1)
    )
    assert "transition:none" in first
    assert "transition:none" not in later


def test_less_motion_is_respected():
    assert "prefers-reduced-motion:reduce" in STYLE


def test_the_worn_machine_and_a_diameter_beyond_full_are_drawn(worn):
    assert drawn(worn, 1.02 * diameter_range(worn)[1]).tag == f"{SVG}svg"


def test_a_picture_takes_a_fraction_of_a_millisecond(film):
    """Three pictures a second for four readers must not be felt; ten times the time it takes."""
    line_svg(film, diameter=0.5, roll_angle=0.0, line_speed=1.0)
    times = []
    for k in range(50):
        start = time.perf_counter()
        line_svg(film, diameter=0.5, roll_angle=0.1 * k, line_speed=1.0)
        times.append(time.perf_counter() - start)
    assert min(times) < 1e-3


def centre_of_arc(start, end, radius, large, clockwise):
    """Centre of a circular arc of a path (Scalable Vector Graphics 2, appendix B.2.4)."""
    half = 0.5 * (end - start)
    off = math.sqrt(max(radius**2 - abs(half) ** 2, 0.0))
    # The centre lies to the right of the chord's way, seen on a page whose y points down, where
    # the arc is small and runs clockwise.
    side = 1.0 if large != clockwise else -1.0
    return start + half + side * off * 1j * half / abs(half)


def test_centre_of_an_arc_worked_by_hand():
    """From (1, 0) clockwise on the page a quarter turn about the origin ends at (0, 1)."""
    assert centre_of_arc(1 + 0j, 1j, 1.0, False, True) == pytest.approx(0j, abs=1e-12)
    assert centre_of_arc(1 + 0j, 1j, 1.0, True, True) == pytest.approx(1 + 1j, abs=1e-12)


def test_web_lies_on_the_rollers_rims(scenario):
    root, page, laid = drawn(scenario), line_page(scenario, METRIC), lay_out(scenario)
    path = [p for p in root.iter(f"{SVG}path") if "A" in p.get("d") and "L" in p.get("d")][-1]
    arcs = re.findall(
        rf"M({NUMBER}) ({NUMBER})A({NUMBER}) {NUMBER} 0 ([01]) ([01]) ({NUMBER}) ({NUMBER})",
        path.get("d"),
    )
    for found, wheel in zip(arcs, laid.rollers, strict=True):
        x, y, radius, large, clockwise, to_x, to_y = map(float, found)
        centre = centre_of_arc(complex(x, y), complex(to_x, to_y), radius, large > 0, clockwise > 0)
        # Coordinates are written to a tenth of a pixel.
        assert centre == pytest.approx(page.at(wheel.centre), abs=0.7)
