"""Loads on a cell and what a rating tells of tension, worked by hand from the formulas' sources.

The machine: web straight down at 180° on two cells, so 2 N of load a newton of tension, 1 N on each
cell; a roller of 10.197162 kg weighs 100 N, 50 N on each cell.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import norm

from simulator import load_scenario
from simulator.cell_duty import IN_WORK, JAM, PEAK_TO_PEAK
from simulator.cell_sizing import read_ratings, size_cells, usual_ratings
from simulator.sensing_and_control import DataSheet
from tests.conftest import ROOT

HUNDRED_NEWTON = 100.0 / 9.80665  # [kg]; standard gravity, exact
SHEET = DataSheet(
    sensitivity=2.0, excitation=10.0, overload=150.0, deflection=1e-4, combined_error=0.1,
    zero_temperature=0.01, amplifier_noise=2e-6, bits=12,
)  # fmt: skip


@pytest.fixture
def plain(film):
    """The film unwind with the load cells of this file's first lines."""
    return replace(
        film,
        run=replace(film.run, tension=150.0),
        load_cell=replace(
            film.load_cell, wrap_angle=math.pi, bisector_angle=-0.5 * math.pi,
            sensing_angle=-0.5 * math.pi, roller_mass=HUNDRED_NEWTON, rated_load=500.0, cells=2,
            noise=0.3,
        ),
        data_sheet=SHEET,
        controller=replace(film.controller, tension_range=300.0),
    )  # fmt: skip


def loads(sizing):
    return {case.name: case.load for case in sizing.cases}


def test_loads_by_hand(plain):
    found = loads(size_cells(plain, shock_factor=1.5, knock_height=1e-3))
    assert found[IN_WORK] == pytest.approx(1.5 * (300.0 + 50.0))
    assert found["web pulled suddenly"] == pytest.approx(2.0 * 300.0 + 50.0)
    assert found["web breaks, roller springs back"] == pytest.approx(-300.0 + 50.0)
    assert found[JAM] == pytest.approx(1800.0 + 50.0)
    # Two cells of 500 N over 0.1 mm: k = 10 N/um. 100 N let down from 1 mm, 2 h k/(mg) =
    # 200: the impact formula mg (1 + sqrt(1 + 2 h k/(mg))) of any book on strength of materials.
    whole = 100.0 * (1.0 + math.sqrt(1.0 + 200.0))
    assert found["knock, as let down from 1 mm"] == pytest.approx(0.5 * whole)


@pytest.mark.parametrize("event, start, force", [("pulled", 0.0, 1.0), ("breaks", 1.0, 0.0)])
def test_a_load_put_on_or_taken_off_at_once_swings_to_its_mirror_image(event, start, force):
    """The factors 2 and -1, against the equation of motion (scipy): m x'' = F - k x."""
    solved = solve_ivp(
        lambda t, z: [z[1], force - z[0]], (0.0, 2.0 * math.pi), [start, 0.0], rtol=1e-10,
        atol=1e-12, dense_output=True,
    )  # fmt: skip
    load = solved.sol(np.linspace(0.0, 2.0 * math.pi, 2001))[0]
    extreme = load.max() if event == "pulled" else load.min()
    assert extreme == pytest.approx(2.0 if event == "pulled" else -1.0, abs=1e-6)


def test_a_web_off_the_middle_loads_the_near_cell(plain):
    # A quarter of the distance off: 3/4 of the web's 600 N, half of the weight.
    found = loads(size_cells(plain, web_off_middle=0.25, shock_factor=1.0))
    assert found[IN_WORK] == pytest.approx(0.75 * 600.0 + 50.0)
    single = replace(plain, load_cell=replace(plain.load_cell, cells=1))
    assert loads(size_cells(single, web_off_middle=0.25, shock_factor=1.0))[
        IN_WORK
    ] == pytest.approx(700.0)


def test_where_weight_and_web_oppose_the_bare_roller_may_be_the_harder_load(plain):
    up = replace(
        plain,
        load_cell=replace(plain.load_cell, bisector_angle=0.5 * math.pi,
                          roller_mass=10.0 * HUNDRED_NEWTON),
    )  # fmt: skip
    # 500 N of weight on a cell, 300 N of web against it: the bare roller is the worst.
    heavy = size_cells(up, shock_factor=1.2)
    assert heavy.needed == pytest.approx(1.2 * 500.0)
    assert heavy.roller_rules
    assert any("the bare roller's weight" in text for text in heavy.warnings)
    light = replace(up, load_cell=replace(up.load_cell, roller_mass=HUNDRED_NEWTON))
    # 50 N of weight against 300 N of web: 1.2 x 300 N - 50 N, more than 1.2 x 250 N.
    assert size_cells(light, shock_factor=1.2).needed == pytest.approx(1.2 * 300.0 - 50.0)
    assert not size_cells(light, shock_factor=1.2).roller_rules


def test_what_a_rating_tells_by_hand(plain):
    found = size_cells(plain, warmer_by=20.0, least_tension=30.0).chosen
    # 150 N of web on a cell of 500 N, and 30 N; 350 N with the weight at 300 N.
    assert found.web_share == pytest.approx(30.0)
    assert found.web_share_least == pytest.approx(6.0)
    assert found.load_share == pytest.approx(70.0)
    # 2 mV/V on 10 V is 20 mV at 500 N: 6 mV at 150 N, 0.04 mV a newton of tension.
    assert found.signal == pytest.approx(6e-3)
    # 12 bits over 300 N.
    assert found.step == pytest.approx(300.0 / 4096.0)
    # The reading's own 0.3 N holds; the amplifier's 2 uV, 0.05 N, are part of it.
    assert found.noise == pytest.approx(0.3)
    assert found.smallest_change == pytest.approx(PEAK_TO_PEAK * 0.3)
    # 500 N of tension load both cells fully: 0.01 % of that a kelvin, 20 K; 0.1 % of that.
    assert found.zero_by_heat == pytest.approx(1.0)
    assert found.error == pytest.approx(0.5)
    # sqrt(k/m)/(2 pi), k = 10 N/um.
    assert found.own_frequency == pytest.approx(math.sqrt(1e7 / HUNDRED_NEWTON) / (2 * math.pi))


def test_larger_cells_tell_less(plain):
    small, large = size_cells(plain, ratings=(500.0, 5000.0)).choices
    # The amplifier's 0.05 N become 0.5 N; the rest of 0.3 N stays, sqrt(0.3² - 0.05²).
    assert large.noise == pytest.approx(math.hypot(math.sqrt(0.3**2 - 0.05**2), 0.5))
    assert large.signal == pytest.approx(0.1 * small.signal)
    assert large.zero_by_heat == pytest.approx(10.0 * small.zero_by_heat)
    assert large.web_share == pytest.approx(0.1 * small.web_share)


def test_noise_lies_within_its_peak_to_peak():
    """6.6 times the rms hold 99.9 % of normal noise (scipy's normal distribution)."""
    assert norm.cdf(0.5 * PEAK_TO_PEAK) - norm.cdf(-0.5 * PEAK_TO_PEAK) == pytest.approx(
        0.999, abs=1e-4
    )


def test_the_smallest_rating_that_bears_the_work_is_recommended(plain):
    # 1.5 x 350 N = 525 N: not 500 N, but 1 kN in steps of 1, 2, 5; 600 N where it can be had.
    assert size_cells(plain).needed == pytest.approx(525.0)
    assert size_cells(plain).recommended == 1000.0
    assert size_cells(plain, ratings=(2000.0, 600.0, 500.0)).recommended == 600.0
    none = size_cells(plain, ratings=(100.0, 500.0))
    assert none.recommended is None
    assert any("no rating in the list" in text for text in none.warnings)
    # 650 N when pulled suddenly: 600 N cells that bear 105 % won't do, 700 N will.
    tight = replace(plain, data_sheet=replace(SHEET, overload=105.0))
    assert size_cells(tight, ratings=(600.0, 700.0)).recommended == 700.0
    assert size_cells(plain, ratings=(525.0,)).recommended == 525.0


@given(
    shock=st.floats(1.0, 3.0),
    off=st.floats(0.0, 0.4),
    mass=st.floats(0.0, 100.0),
    angle=st.floats(-math.pi, math.pi),
)
def test_more_of_anything_never_needs_less(shock, off, mass, angle):
    film = load_scenario(ROOT / "scenarios" / "film_unwind.toml")
    cell = replace(film.load_cell, bisector_angle=angle, sensing_angle=angle, roller_mass=mass)
    s = replace(film, load_cell=cell)

    def needed(**change):
        return size_cells(s, **{"shock_factor": shock, "web_off_middle": off, **change}).needed

    bare = shock * 9.80665 * mass * abs(math.sin(angle)) / cell.cells
    assert needed() >= bare * (1.0 - 1e-12)
    assert needed(shock_factor=shock + 0.5) >= needed()
    if angle < 0.0:  # web and weight pull the same way
        assert needed(web_off_middle=off + 0.1) > needed()
        assert needed(highest_tension=400.0) > needed()


def test_ratings_are_read_with_their_units():
    assert read_ratings("0.5 kN; 100 N, 200 N\n200 N") == (100.0, 200.0, 500.0)
    assert read_ratings("10 lbf")[0] == pytest.approx(44.48222)  # 1 lbf = 4.448222 N, exact digits
    assert usual_ratings()[:5] == (10.0, 20.0, 50.0, 100.0, 200.0)
    assert usual_ratings(4.448222)[0] == pytest.approx(44.48222)


@pytest.mark.parametrize(
    "text, says",
    [("", "empty"), (" , ;", "empty"), ("100", "needs a unit"), ("5 kg", "'5 kg'"),
     ("0 N", "above 0"), ("-5 N, 3 parsec", "3 parsec"), ("100 N, x", "'x'")],
)  # fmt: skip
def test_a_list_that_is_no_list_is_refused(text, says):
    with pytest.raises(ValueError, match=says.replace("(", "")):
        read_ratings(text)


def test_every_argument_out_of_range_is_named(plain):
    with pytest.raises(ValueError) as caught:
        size_cells(plain, least_tension=-1.0, shock_factor=0.5, web_off_middle=2.0,
                   knock_height=-1.0, warmer_by=math.nan)  # fmt: skip
    for name in ("lowest tension", "shock factor", "off the middle", "knock height", "temperature"):
        assert name in str(caught.value)


@pytest.mark.parametrize(
    "cell, sheet, says",
    [
        ({"rated_load": 400.0}, {}, "too small"),
        ({"rated_load": 600.0}, {"overload": 105.0}, "web pulled suddenly"),
        ({"roller_mass": 60.0, "rated_load": 400.0}, {}, "weight alone takes"),
        ({"rated_load": 10_000.0}, {}, "drowns"),
        ({"noise": 1.5}, {}, "lost in noise"),
        ({"resolution": 10.0}, {}, "lost in steps"),
        ({}, {"zero_temperature": 0.1}, "more move the zero"),
        # Upward, 300 N of web against 270 N of roller on a cell: work asks for 405 N, the break for
        # 570 N the other way.
        (
            {
                "bisector_angle": 0.5 * math.pi,
                "roller_mass": 5.4 * HUNDRED_NEWTON,
                "rated_load": 420.0,
            },
            {"overload": 105.0},
            "springs back",
        ),
        ({"roller_mass": 60.0, "rated_load": 1000.0}, {"deflection": 1e-5}, "let down"),
        ({"roller_mass": 200.0, "rated_load": 3000.0}, {"deflection": 0.02}, "swings on its cells"),
        ({}, None, "no data sheet"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_each_warning_has_a_case_and_its_opposite(plain, cell, sheet, says):
    doubtful = replace(
        plain,
        load_cell=replace(plain.load_cell, **cell),
        data_sheet=None if sheet is None else replace(SHEET, **sheet),
    )
    assert any(says in text for text in size_cells(doubtful).warnings), size_cells(
        doubtful
    ).warnings
    good = replace(plain, load_cell=replace(plain.load_cell, rated_load=1000.0))
    assert size_cells(good).warnings == ()


def test_smaller_cells_are_advised_only_where_they_bear_the_work(plain):
    hot = replace(plain, data_sheet=replace(SHEET, zero_temperature=0.1))
    # 525 N are needed: 500 N cells are too small as they are, 10 kN cells larger than they must be.
    too_small = " ".join(size_cells(hot).warnings)
    assert "is too small" in too_small and "zero the cells warm" in too_small
    assert "smaller ones" not in too_small
    large = replace(hot, load_cell=replace(hot.load_cell, rated_load=10_000.0))
    advised = " ".join(size_cells(large).warnings)
    assert "or smaller cells would help" in advised and "or take smaller ones" in advised


@pytest.mark.parametrize("name, value", [("highest_tension", 140.0), ("least_tension", 160.0)])
def test_the_running_tension_lies_between_the_ends(plain, name, value):
    with pytest.raises(ValueError, match="150 N, the running tension"):
        size_cells(plain, **{name: value})


def test_a_jam_asks_for_stops_and_not_for_larger_cells(plain):
    def broken_at(breaking):
        return size_cells(replace(plain, web=replace(plain.web, breaking_tension=breaking)))

    assert broken_at(1800.0).chosen.needs_stops
    assert not broken_at(600.0).chosen.needs_stops
    assert not any("jams" in text for text in broken_at(1800.0).warnings)
    assert JAM not in loads(broken_at(None))


def test_every_scenario_is_sized(scenario):
    sizing = size_cells(scenario)
    assert sizing.chosen.bears_work
    assert sizing.recommended is not None
    assert sizing.recommended <= scenario.load_cell.rated_load
