"""The picture of a learned machine: readable, in the reader's units, and true."""

import numpy as np
import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.fit_machine import fit_machine
from tuning.fit_machine_figures import draw_machine_fit
from tuning.machine_parameters import learnable
from tuning.step_test import step_test


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_one_test_with_everything_free(nonwoven, units):
    trend = step_test(nonwoven, diameter=0.4).trend
    fit = fit_machine(trend, nonwoven, free=learnable(nonwoven))
    figure = draw_machine_fit(fit, nonwoven, units)
    said = check_readable(figure)
    for p in fit.parameters:
        assert p.words in said
    assert said.count("not seen") == sum(not p.seen for p in fit.parameters)
    assert f"[{units.label('tension')}]" in said and units.text(0.4, "diameter") in said
    recorded, described, learned = figure.subfigs[0].axes[0].lines
    scale = units.factor("tension")
    kept = scale * (trend.tension - fit.tests[0].swing)
    assert np.array_equal(recorded.get_ydata(), kept)
    # Each line has a look of its own besides its colour.
    looks = {(str(x._unscaled_dash_pattern), x.get_linewidth()) for x in (described, learned)}
    assert len(looks) == 2
    assert np.mean((learned.get_ydata() - kept) ** 2) < np.mean(kept**2)


def test_bars_are_the_intervals_over_what_was_described(nonwoven):
    tests = [step_test(nonwoven, diameter=d, runout=False).trend for d in (0.7, 0.4, 0.2)]
    free = ("torque_device.full_torque", "torque_device.lag")
    fit = fit_machine(tests, nonwoven, free=free)
    figure = draw_machine_fit(fit, nonwoven)
    check_readable(figure)
    assert len(figure.subfigs[0].axes) == 3
    bars = [line for line in figure.subfigs[1].axes[0].lines if line.get_linewidth() == 2.4]
    for bar, p in zip(bars, fit.parameters, strict=True):
        assert bar.get_xdata() == pytest.approx([p.low / p.before, p.high / p.before])
