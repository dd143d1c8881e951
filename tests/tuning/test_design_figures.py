"""Pictures of gains for the whole roll: readable on every machine, and true."""

from dataclasses import replace

import numpy as np
import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.design_figures import draw_detuning, draw_schedule, draw_sensitivity_map
from tuning.detuning import detuning
from tuning.roll_grid import sensitivity_map


@pytest.fixture
def units(scenario):
    """Half of the machines are drawn in US customary units."""
    return US_CUSTOMARY if scenario.zone == "rewind" or "foil" in scenario.title.lower() else METRIC


def test_map_names_the_worst_point_and_what_binds(scenario, units, designed):
    design = designed(scenario)
    over = sensitivity_map(scenario, design.gains, diameters=13, speeds=7)
    said = check_readable(draw_sensitivity_map(over, design, units))
    assert f"Ms is {design.worst.margins.Ms:.2f}" in said
    if over.diameters.size > 1:
        assert units.text(design.worst.diameter, "diameter") in said
        assert ("limits Kc:" in said) == (
            design.binds_proportional is not None and design.kind != "I"
        )
        assert f"line speed [{units.label('speed')}]" in said


def test_map_of_gains_that_break_the_limit_draws_it_as_a_line(film, designed):
    design = designed(film)
    lively = replace(design.gains, Kc=1.6 * design.gains.Kc)
    over = sensitivity_map(film, lively, diameters=13, speeds=7)
    worse = replace(design.worst, margins=replace(design.worst.margins, Ms=float(over.Ms.max())))
    figure = draw_sensitivity_map(over, replace(design, worst=worse))
    assert "above the limit" in check_readable(figure)
    drawn = [c for c in figure.axes[0].collections if np.allclose(getattr(c, "levels", 0), 1.6)]
    assert drawn, "the limit is no line"


def test_map_of_an_unstable_corner_says_so(film, designed):
    design = designed(film)
    over = sensitivity_map(film, replace(design.gains, Kc=8.0 * design.gains.Kc), diameters=9)
    assert np.isinf(over.Ms).any()
    assert "unstable on part of the roll" in check_readable(draw_sensitivity_map(over, design))


def test_one_speed_is_a_line_over_diameter(film, designed):
    one = replace(film, run=replace(film.run, crawl_speed=film.run.line_speed))
    design = designed(one)
    figure = draw_sensitivity_map(sensitivity_map(one, design.gains, diameters=9), design)
    assert "roll diameter [mm]" in check_readable(figure)


def test_schedule_picture_goes_through_its_points(film, designed):
    design = designed(film)
    figure = draw_schedule(design, US_CUSTOMARY)
    said = check_readable(figure)
    assert "roll diameter [in]" in said and "error left" in said
    line = figure.axes[0].lines[0]
    for entry in design.schedule.entries:
        at = US_CUSTOMARY.show(entry.diameter, "diameter")
        assert np.interp(at, line.get_xdata(), line.get_ydata()) == pytest.approx(
            entry.gains.Kc, rel=1e-3
        )


def test_calmer_limits_cost_more(film, designed):
    design = designed(film)
    found = detuning(film, design)
    assert [one.ms_limit for one in found] == sorted(one.ms_limit for one in found)
    ratios = [one.error_ratio for one in found]
    assert ratios == sorted(ratios, reverse=True)
    same = next(one for one in found if one.ms_limit == design.ms_limit)
    assert same.error_ratio == pytest.approx(1.0, abs=0.01)
    check_readable(draw_detuning(found, design))
