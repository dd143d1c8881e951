"""Pictures for every machine: readable, inside the page, in the reader's units, and true."""

import functools

import control
import numpy as np
import pytest

from simulator import linearise
from simulator.machine import diameter_range, named_diameters
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.figures import (
    draw_fit,
    draw_handover,
    draw_relay_test,
    draw_responses,
    draw_rules,
    draw_step_test,
)
from tuning.gains import Gains
from tuning.handover import handover
from tuning.judged_rules import rules_at_point
from tuning.relay_test import relay_test
from tuning.roll_responses import roll_responses
from tuning.step_test import step_test
from tuning.ultimate import ultimate_cycle

GAINS = Gains(Kc=0.02, Ti=0.1)
step_of = functools.lru_cache(step_test)
responses_of = functools.lru_cache(roll_responses)


@pytest.fixture
def units(scenario):
    """Half of the machines are drawn in US customary units."""
    return US_CUSTOMARY if scenario.zone == "rewind" or "foil" in scenario.title.lower() else METRIC


def test_step_test(scenario, units):
    test = step_of(scenario)
    figure = draw_step_test(test, scenario, units)
    said = check_readable(figure)
    assert f"[{units.label('tension')}]" in said
    assert ("It rings" in said) == test.fit.rings
    reading = figure.axes[0].lines[0].get_ydata()
    assert reading == pytest.approx(units.factor("tension") * test.trend.tension)


def test_drawn_models_tell_themselves_apart_without_colour(foil):
    figure = draw_step_test(step_of(foil), foil)
    lines = figure.axes[0].lines
    assert len(lines) == 3
    looks = {(str(line._unscaled_dash_pattern), line.get_linewidth()) for line in lines}
    assert len(looks) == 3


def test_drawn_first_order_model_is_what_another_program_makes_of_it(foil):
    """python-control simulates the lag; the dead time shifts its input on a fine grid."""
    test = step_of(foil)
    candidate = next(c for c in test.fit.candidates if c.model.kind == "first order")
    model, c = candidate.model, foil.controller
    line = next(
        one for one in draw_step_test(test, foil).axes[0].lines if "first" in one.get_label()
    )
    fine = 1e-4
    time = np.arange(0.0, test.trend.time[-1], fine)
    held = test.trend.output[np.searchsorted(test.trend.time, time - model.dead_time, "right") - 1]
    held[time < model.dead_time] = test.trend.output[0]
    system = control.tf([model.gain], [model.time_constant, 1.0])
    change = control.forced_response(system, time, held - test.trend.output[0]).outputs
    expected = 0.01 * c.tension_range * (candidate.baseline + np.asarray(change))
    drawn = np.interp(time, line.get_xdata(), line.get_ydata())
    # Between two samples a straight line stands for the curve.
    at = np.searchsorted(time, test.trend.time[1:-1])
    assert drawn[at] == pytest.approx(expected[at], abs=0.02 * float(np.ptp(expected)))


def test_fit_of_one_step_at_the_very_end_can_be_drawn(film):
    test = step_of(film)
    last = test.trend.time[np.flatnonzero(np.diff(test.trend.output))[0] + 1]
    short = test.trend.between(0.0, last)
    check_readable(draw_fit(short, test.fit, tension_range=300.0))


@pytest.fixture
def rules(scenario):
    D, v = diameter_range(scenario)[1], scenario.run.line_speed
    plant = linearise(scenario, diameter=D, line_speed=v)
    cycle = ultimate_cycle(plant, scan_time=scenario.controller.scan_time)
    models = step_of(scenario).fit.models
    return rules_at_point(scenario, models, diameter=D, line_speed=v, ultimate=cycle)


def test_rules(rules, units):
    figure = draw_rules(rules, chosen="SIMC PI", units=units)
    names = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    with_gains = [r.suggestion.rule.name for r in rules if r.suggestion.gains is not None]
    assert sorted(names) == sorted(with_gains) and len(names) >= 15
    said = check_readable(figure)
    assert "sound to 1.6" in said and "rings above 2" in said
    unstable = sum(1 for r in rules if r.worst is not None and not r.worst.stable)
    assert said.count("unstable") == unstable


def test_rules_without_any_gains():
    figure = draw_rules(())
    check_readable(figure)


def test_responses(scenario, units):
    responses = responses_of(scenario, GAINS)
    figure = draw_responses(responses, scenario, units)
    said = check_readable(figure)
    for diameter in named_diameters(scenario).values():
        assert units.text(diameter, "diameter") in said


def test_unstable_responses_are_called_so(foil):
    figure = draw_responses(roll_responses(foil, Gains(Kc=1.0, Ti=0.1)), foil)
    check_readable(figure)
    assert check_readable(figure).count("unstable") == 6


@pytest.mark.parametrize(
    "how", [{"setpoint_offset": -0.3, "noise": True}, {"tracking": False}], ids=str
)
def test_handover(scenario, units, how):
    h = handover(scenario, GAINS, **how)
    figure = draw_handover(h, scenario, units)
    said = check_readable(figure)
    assert "manual" in said and "automatic" in said
    jump = f"{h.output_bump:+.1f} %".replace("-", "−")
    assert f"jump of the output {'0.0 %' if abs(h.output_bump) < 0.05 else jump}" in said
    assert ("bump" in [t.get_text() for t in figure.axes[0].texts]) == (h.tension_bump >= 0.5)


def test_relay(film):
    check_readable(draw_relay_test(relay_test(film, diameter=0.8, line_speed=2.5), METRIC))
