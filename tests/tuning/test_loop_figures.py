"""Pictures of loops over the roll: readable, and what they draw is the loop."""

import numpy as np
import pytest

from simulator.machine import named_diameters
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.gain_plane import gain_plane
from tuning.gain_plane_figure import draw_gain_plane
from tuning.judged_rules import rules_at_point
from tuning.loop_figures import draw_loads, draw_nyquist
from tuning.process_model import ProcessModel
from tuning.ultimate import Ultimate


def test_nyquist_curves_stay_out_of_the_circle(scenario, designed):
    design = designed(scenario)
    figure = draw_nyquist(design, scenario, METRIC)
    said = check_readable(figure)
    for name in named_diameters(scenario):
        assert name in said
    curves = [line for line in figure.axes[0].lines if line.get_label() in said.split(" | ")]
    assert len(curves) == len(named_diameters(scenario))
    for line in curves:
        apart = np.hypot(np.asarray(line.get_xdata()) + 1.0, np.asarray(line.get_ydata()))
        assert apart.min() >= 1.0 / design.ms_limit * (1.0 - 1e-6)


def test_loads_are_drawn_in_newtons(film, designed):
    figure = draw_loads(designed(film), film, US_CUSTOMARY)
    assert "[lbf]" in check_readable(figure)
    # At the core 1 % of output is worth 26.5 N at rest; the loop lets less than that through.
    core = figure.axes[2].lines[0].get_ydata()
    assert 0.25 < max(core) / US_CUSTOMARY.factor("tension") / 26.5 < 1.0


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_plane_marks_every_rule_inside_it(scenario, units, designed):
    gains = next(one.gains for one in designed(scenario).kinds if one.kind == "PI")
    planes = [
        gain_plane(scenario, diameter=D, around=gains) for D in named_diameters(scenario).values()
    ]
    judged = rules_at_point(
        scenario,
        (ProcessModel("first order", 2.0, 0.4, 0.25),),
        diameter=planes[0].diameter,
        line_speed=scenario.run.line_speed,
        ultimate=Ultimate(gain=0.3, period=0.7),
    )
    suggestions = [rule.suggestion for rule in judged]
    figure = draw_gain_plane(
        planes, gains, ms_limit=1.6, suggestions=suggestions, scenario=scenario, units=units
    )
    said = check_readable(figure)
    assert units.text(planes[0].diameter, "diameter") in said
    right, top = figure.axes[0].get_xlim()[1], figure.axes[0].get_ylim()[1]
    given = [s for s in suggestions if s.gains is not None]
    inside = [s for s in given if s.gains.Kc < right and s.gains.Ki < top]
    for number, suggestion in enumerate(inside, start=1):
        assert f"{number}  {suggestion.rule.name}" in said
    if len(inside) < len(given):
        assert f"{len(given) - len(inside)} more rules" in said
    # The star is in the picture, within the limit at every diameter.
    assert gains.Kc < right and gains.Ki < top
