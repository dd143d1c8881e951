"""Pictures of a calibration: readable on every machine, and true to plan and readings."""

from dataclasses import replace

import numpy as np
import pytest

from simulator.calibration import NOTHING, WEIGHT, calibration_plan
from simulator.calibration_check import check_calibration
from simulator.calibration_figure import draw_calibration
from simulator.units import METRIC, UNIT_SYSTEMS
from tests.tuning.pictures import check_readable


@pytest.fixture(params=UNIT_SYSTEMS, ids=lambda units: units.name)
def units(request):
    return request.param


def checked(scenario, units, gain, zero=0.0, stays=0.0):
    mass = calibration_plan(scenario, handy_unit=1.0 / units.factor("mass")).mass
    return check_calibration(
        scenario, mass=mass, empty=zero, loaded=zero + gain * 9.80665 * mass, after=zero + stays
    )


def line(axes, label):
    (found,) = [one for one in axes.lines if one.get_label().startswith(label)]
    return np.asarray(found.get_xdata(), float), np.asarray(found.get_ydata(), float)


def test_plan(scenario, units):
    plan = calibration_plan(scenario, handy_unit=1.0 / units.factor("mass"))
    figure = draw_calibration(plan, units=units)
    said = check_readable(figure)
    for name, tension in (("least weight", plan.least_force), ("running", plan.running),
                          ("end of scale", plan.scale)):  # fmt: skip
        assert f"{name}: {units.text(tension, 'tension')}" in said
    display, signal = figure.axes
    x, y = line(display, "to read")
    assert x == pytest.approx([0.0, units.show(plan.force, "tension")])
    assert y == pytest.approx(x)
    _, y = line(signal, "to read")
    assert y == pytest.approx([plan.state(NOTHING).signal, plan.state(WEIGHT).signal])
    assert f"[{units.label('tension')}]" in display.get_ylabel()
    assert "[mV]" in signal.get_ylabel()


@pytest.mark.parametrize(
    "gain, zero, stays", [(1.0, 0.0, 0.0), (0.9, 2.1, 3.0), (-1.0, 0.0, 0.0), (1.0, 0.0, 0.02)]
)
def test_check(scenario, units, gain, zero, stays):
    check = checked(scenario, units, gain, zero, stays)
    figure = draw_calibration(check, units=units)
    said = check_readable(figure)
    assert f"gain {check.gain_verdict}" in said
    assert f"zero {check.zero_verdict}" in said and f"return {check.return_verdict}" in said
    reading, zeros = figure.axes
    x, y = line(reading, "as it should be")
    assert y == pytest.approx(x)
    # As found: through the mean zero and the weight.
    x, y = line(reading, "as found")
    point_x, point_y = line(reading, "weight")
    through = y[0] + (y[1] - y[0]) * point_x[0] / x[1]
    assert through == pytest.approx(point_y[0])
    assert y[0] == pytest.approx(units.show(zero + 0.5 * stays, "tension"))
    # What stays is blown up: it takes a good part of its panel, or is well within what is allowed.
    shown = units.show(stays, "tension") / np.diff(zeros.get_ylim())[0]
    assert shown > 0.1 or check.return_verdict == "right"


def test_a_bare_signal_is_in_millivolts(film, units):
    plan = calibration_plan(film, display=False)
    assert "reading, once set" in check_readable(draw_calibration(plan, units=units))
    empty, loaded = plan.state(NOTHING).signal, plan.state(WEIGHT).signal
    check = check_calibration(
        film, mass=plan.mass, empty=empty, loaded=loaded, after=empty, kind="signal"
    )
    figure = draw_calibration(check, units=units)
    assert "signal [mV]" in check_readable(figure)
    _, found = line(figure.axes[0], "as found")
    _, should = line(figure.axes[0], "as it should be")
    assert found == pytest.approx(should)


def test_the_allowed_band_is_that_of_the_verdict(film):
    def inside(zero):
        check = checked(film, METRIC, 1.0, zero)
        (band,) = [patch for patch in draw_calibration(check).axes[1].patches if patch.get_fill()]
        return band.get_y() <= zero <= band.get_y() + band.get_height(), check.zero_verdict

    half_a_percent = 0.005 * film.controller.tension_range
    assert inside(0.9 * half_a_percent) == (True, "right")
    assert inside(1.1 * half_a_percent) == (False, "wrong")


@pytest.mark.parametrize("mass", [0.2, 1.0, 2.0, 15.0, 25.0, 60.0])
def test_any_weight_is_readable(film, foil, units, mass):
    for machine in (film, foil):
        check_readable(draw_calibration(calibration_plan(machine, mass=mass), units=units))


def test_a_weight_beyond_the_scale_stays_on_the_page(film):
    run = replace(film.run, tension=40.0)
    small = replace(film, controller=replace(film.controller, tension_range=50.0), run=run)
    check = check_calibration(small, mass=8.0, empty=0.0, loaded=50.0, after=0.0)
    figure = draw_calibration(check)
    check_readable(figure)
    x, _ = line(figure.axes[0], "weight")
    assert x[0] < figure.axes[0].get_xlim()[1]


def test_a_plan_without_a_weight_is_drawn(film):
    heavy = replace(film, load_cell=replace(film.load_cell, roller_mass=500.0))
    check_readable(draw_calibration(calibration_plan(heavy)))
