"""Pictures of a load cell's errors: readable on every machine, and true."""

from dataclasses import replace

import numpy as np
import pytest

from simulator.units import METRIC, US_CUSTOMARY
from simulator.zero_drift import drifting_run
from tests.tuning.pictures import check_readable
from tuning.cell_error_figures import draw_drift, draw_gain_error
from tuning.cell_errors import gain_error_effect

BOTH = pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)


def line_of(axes, label):
    return next(line for line in axes.lines if line.get_label() == label)


def pair(machine, gains, share, duration=60.0):
    tuned = gains.set_in(machine)
    drift = share * machine.run.tension / duration
    return [
        drifting_run(tuned, duration=duration, zero_drift=drift, automatic=automatic)
        for automatic in (True, False)
    ]


def test_gain_error_on_every_machine(scenario, designed):
    effect = gain_error_effect(scenario, designed(scenario).gains)
    for units in (METRIC, US_CUSTOMARY):
        figure = draw_gain_error(effect, units)
        said = check_readable(figure)
        assert f"where the display shows {units.text(effect.setpoint, 'tension')}" in said
        assert f"up to {effect.kept_high:.0f} % too high" in said
        left, right = figure.axes
        drawn = line_of(left, "Ms")
        assert drawn.get_ydata() == pytest.approx(effect.Ms)
        web = line_of(right, "tension of the web")
        at = np.interp(effect.errors, web.get_xdata(), web.get_ydata())
        assert at == pytest.approx(units.factor("tension") * effect.web_tension, rel=2e-3)


def test_unstable_errors_are_hatched(nonwoven, designed):
    gains = designed(nonwoven).gains
    effect = gain_error_effect(nonwoven, replace(gains, Kc=2.2 * gains.Kc))
    figure = draw_gain_error(effect)
    said = check_readable(figure)
    assert f"unstable from {effect.unstable_above:+.0f} %" in said
    assert "Even a true reading is outside the limit" in said
    hatched = next(patch for patch in figure.axes[0].patches if patch.get_hatch())
    assert hatched.get_x() == pytest.approx(effect.unstable_above)
    calm = draw_gain_error(gain_error_effect(nonwoven, gains))
    assert not [patch for patch in calm.axes[0].patches if patch.get_hatch()]


def test_nothing_but_unstable_errors_can_be_drawn(film, designed):
    gains = designed(film).gains
    lost = gain_error_effect(film, replace(gains, Kc=100.0 * gains.Kc))
    assert "Even a true reading" in check_readable(draw_gain_error(lost))


def test_what_the_output_makes_is_drawn_where_it_is_reached(film, designed):
    effect = gain_error_effect(film, designed(film).gains)
    assert "least that the output makes" in check_readable(draw_gain_error(effect))
    near = gain_error_effect(film, designed(film).gains, errors=[-5.0, 5.0])
    assert "that the output makes" not in check_readable(draw_gain_error(near))


def test_drift_in_automatic_and_manual_on_every_machine(scenario, designed):
    runs = pair(scenario, designed(scenario).gains, 0.12)
    for units in (METRIC, US_CUSTOMARY):
        figure = draw_drift(runs, units)
        said = check_readable(figure)
        assert "In automatic the display stays at" in said and "In manual the web stays at" in said
        for axes, run in zip(figure.axes[:2], runs, strict=True):
            factor = units.factor("tension")
            web = line_of(axes, "tension of the web")
            assert web.get_ydata() == pytest.approx(factor * run.trend.web_tension)
            shown = line_of(axes, "the display shows")
            assert shown.get_ydata() == pytest.approx(factor * run.trend.tension)
        assert "slack" not in said and "output at its end" not in said


@BOTH
def test_worn_machine(worn, designed, units):
    check_readable(draw_drift(pair(worn, designed(worn).gains, 0.12), units))


@BOTH
def test_slack_and_break_and_the_outputs_end_are_marked(foil, laminate, designed, units):
    said = check_readable(draw_drift(pair(foil, designed(foil).gains, 1.2), units))
    assert "web goes slack" in said and "slack web" in said
    weak = replace(foil, web=replace(foil.web, breaking_tension=1.4 * foil.run.tension))
    said = check_readable(draw_drift(pair(weak, designed(foil).gains, -0.8), units))
    assert "web break" in said and "the web breaks" in said
    assert "output at its end" not in said
    said = check_readable(draw_drift(pair(laminate, designed(laminate).gains, -1.5), units))
    assert "output at its end" in said


@pytest.mark.parametrize(("duration", "unit"), [(30.0, "[s]"), (600.0, "[min]"), (1.1e4, "[h]")])
def test_time_is_in_a_unit_that_suits_it(laminate, duration, unit):
    run = drifting_run(laminate, duration=duration, zero_drift=0.001, automatic=False)
    assert f"time {unit}" in check_readable(draw_drift([run]))


def test_one_or_two_runs(laminate):
    run = drifting_run(laminate, duration=5.0, zero_drift=0.1, automatic=False)
    assert len(draw_drift([run]).axes) == 2
    for wrong in ([], [run] * 3):
        with pytest.raises(ValueError, match="one or two"):
            draw_drift(wrong)
