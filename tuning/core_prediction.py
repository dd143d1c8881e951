"""What a machine learned at one diameter says about the core, where no test was made.

Tension over torque is 1/R and the roll's inertia falls as R⁴, so a model fitted to a step test at
full roll is wrong at the core; the machine's own numbers are the same there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario, Trend
from simulator.machine import diameter_range
from tuning.machine_fit import MachineFit
from tuning.step_test import fit_trend, step_test, supply_play

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CorePrediction:
    """A step of the output at the core, as different models of the machine foresee it.

    Attributes:
        diameter: of the core [m].
        line_speed: of the web [m/s].
        step: of the output [%].
        time: from the step, shape (n,) [s].
        learned: change of the tension on the machine as learned, shape (n,) [N].
        described: the same on the machine as described, shape (n,) [N].
        model: the same by the process model fitted to the recorded test, shape (n,) [N].
        true: the same on the machine itself, where it is known, shape (n,) [N]; empty elsewhere.
    """

    diameter: float
    line_speed: float
    step: float
    time: Array
    learned: Array
    described: Array
    model: Array
    true: Array


def predict_core(fit: MachineFit, *, true: Scenario | None = None) -> CorePrediction:
    """Return what a fit says about a step of the output at the core.

    Args:
        fit: of step tests made elsewhere.
        true: the machine itself, where it is known.

    Raises:
        ValueError: no step can be made at the core.
    """
    core = diameter_range(fit.scenario)[0]
    test = fit.tests[0]
    v = test.line_speed
    foreseen = step_test(fit.scenario, diameter=core, line_speed=v, noise=False, runout=False)
    time, learned = _change(foreseen.trend, foreseen.step)

    def same(machine: Scenario) -> Array:
        run = step_test(
            machine, diameter=core, line_speed=v, step=foreseen.step, noise=False, runout=False
        )
        at, change = _change(run.trend, run.step)
        return np.asarray(np.interp(time, at, change))

    tension_range = fit.scenario.controller.tension_range
    black_box = fit_trend(
        test.trend, tension_range=tension_range, play=supply_play(fit.scenario)
    ).best.step_response(time)
    return CorePrediction(
        diameter=core,
        line_speed=v,
        step=foreseen.step,
        time=time,
        learned=learned,
        described=same(fit.described),
        model=0.01 * tension_range * foreseen.step * black_box,
        true=np.zeros(0) if true is None else same(true),
    )


def _change(trend: Trend, step: float) -> tuple[Array, Array]:
    """Return (time from the step [s], change of the web's tension [N]) up to the step back."""
    moves = np.flatnonzero(np.abs(np.diff(trend.output)) > 0.5 * abs(step)) + 1
    start, end = int(moves[0]), int(moves[1])
    part = slice(start, end)
    return trend.time[part] - trend.time[start], trend.tension[part] - trend.tension[start - 1]
