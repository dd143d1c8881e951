"""The picture of a tolerance study: every machine counted, every word readable and apart."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.gains import Gains
from tuning.tolerance_figures import DRAWN, draw_tolerance
from tuning.tolerance_results import quantile
from tuning.tolerance_study import tolerance_study
from tuning.tolerances import DEFAULT_TOLERANCES, Tolerance

# Neither too calm nor too lively on any of the machines.
GAINS = {"unwind": Gains(0.02, 0.1), "rewind": Gains(0.2, 0.4), "pull roll": Gains(0.015, 0.01)}


def bars(axes, *, upright):
    """(middle, height) of upright bars, or (row, length) of lying ones."""
    found = []
    for container in axes.containers:
        for bar in container.patches:
            if upright:
                found.append((bar.get_x() + 0.5 * bar.get_width(), bar.get_height()))
            else:
                found.append((round(bar.get_y() + 0.5 * bar.get_height()), bar.get_width()))
    return sorted(found)


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_every_machine_is_drawn_readably(scenario, units):
    study = tolerance_study(scenario, GAINS[scenario.zone], samples=60)
    figure = draw_tolerance(study, units)
    said = check_readable(figure)
    assert f"{study.within.words} within the limit" in said
    for place in study.places:
        assert units.text(place.diameter, "diameter") in said
    for one in study.influences[:DRAWN]:
        assert one.words in said
    counts = bars(figure.axes[0], upright=True)
    assert sum(height for _, height in counts) == study.samples
    below = sum(height for middle, height in counts if middle < study.ms_limit)
    assert below == study.within.count


def test_bars_are_the_rank_correlations_and_hollow_where_they_may_be_chance(film):
    study = tolerance_study(film, GAINS["unwind"], samples=60)
    figure = draw_tolerance(study)
    axes = figure.axes[1]
    drawn = [length for _, length in bars(axes, upright=False)][::-1]
    shown = study.influences[:DRAWN]
    assert drawn == pytest.approx([one.rank_correlation for one in shown])
    faces = [c.patches[0].get_facecolor()[:3] for c in axes.containers][::-1]
    assert [face != (1.0, 1.0, 1.0) for face in faces] == [one.sure for one in shown]
    assert any(one.sure for one in shown) and not all(one.sure for one in shown)


def test_manual_output_lies_where_it_is(film):
    study = tolerance_study(film, GAINS["unwind"], samples=60)
    lines = {
        tuple(line.get_xdata())
        for line in draw_tolerance(study).axes[2].lines
        if len(line.get_xdata()) == 2
    }
    for column in study.output.T:
        assert (quantile(column, 0.05), quantile(column, 0.95)) in lines


def test_unstable_machines_stand_beside_the_axis(film):
    """Some unstable, some far above the end of the axis: all are counted, each kind for itself."""
    study = tolerance_study(film, Gains(0.18, 0.2), samples=200)
    unstable = int(np.isinf(study.worst_Ms).sum())
    beyond = int((study.worst_Ms >= 4.0).sum()) - unstable
    assert unstable > 0 and beyond > 0
    figure = draw_tolerance(study)
    said = check_readable(figure)
    assert f"{100.0 * unstable / 200:.1f} % unstable" in said
    assert "4+" in said
    counts = bars(figure.axes[0], upright=True)
    assert counts[-1][1] == unstable
    assert sum(height for _, height in counts) == 200
    ticks = figure.axes[0].get_xticks()
    assert max(ticks) < counts[-1][0], "an unstable machine has no Ms to be read off"


@pytest.mark.parametrize("chosen", [(), (Tolerance("modulus", 20.0),)], ids=["none", "one"])
def test_few_tolerances_make_a_picture_too(film, chosen):
    study = tolerance_study(film, GAINS["unwind"], samples=20, tolerances=chosen)
    said = check_readable(draw_tolerance(study))
    assert ("nothing was varied" in said) == (not chosen)


def test_a_machine_right_at_the_limit_keeps_it(film):
    study = tolerance_study(film, GAINS["unwind"], samples=20, tolerances=DEFAULT_TOLERANCES)
    edge = float(np.sort(study.worst_Ms)[10])
    at_edge = replace(study, ms_limit=edge)
    assert at_edge.within.count == 11
    counts = bars(draw_tolerance(at_edge).axes[0], upright=True)
    assert sum(height for middle, height in counts if middle < edge) == 11
    assert math.isclose(sum(height for _, height in counts), 20)
