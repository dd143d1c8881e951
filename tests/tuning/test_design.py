"""Gains for the whole roll: the limit kept, the optimum found, the machine settled."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, linearise, simulate
from simulator.machine import diameter_range, named_diameters
from simulator.roll_run import run_roll
from tuning.design import design_for_roll
from tuning.margins import loop_margins


def test_limit_is_kept_on_an_independent_grid(scenario):
    design = design_for_roll(scenario)
    low, high = diameter_range(scenario)
    for d in np.linspace(low, high, 17):
        for v in (scenario.run.line_speed, scenario.run.crawl_speed):
            plant = linearise(scenario, diameter=float(d), line_speed=v)
            m = loop_margins(plant, design.gains, scan_time=scenario.controller.scan_time)
            assert m.stable
            assert m.Ms <= design.ms_limit * 1.01


def test_recommended_gains_settle_the_simulated_machine(scenario):
    """Back into the nonlinear machine: a setpoint step settles at every corner of the roll."""
    gains = design_for_roll(scenario).gains
    tuned = gains.set_in(scenario)
    T = scenario.run.tension
    for d in named_diameters(scenario).values():
        for v in (scenario.run.line_speed, scenario.run.crawl_speed):
            plant = linearise(scenario, diameter=d, line_speed=v)
            slowest = loop_margins(
                plant, gains, scan_time=scenario.controller.scan_time
            ).slowest_time
            for share in (0.95, 1.05):
                trend = simulate(
                    tuned,
                    [Action(1.0, "automatic"), Action(2.0, "setpoint", share * T)],
                    duration=2.0 + 12.0 * slowest + 5.0,
                    diameter=d,
                    line_speed=v,
                    noise=False,
                    runout=False,
                )
                last = trend.time > trend.time[-1] - 3.0
                assert np.abs(trend.web_tension[last] - share * T).max() < 0.005 * T, (d, v, share)
                assert trend.output.min() > scenario.controller.output_low
                assert not [text for _, text in trend.events if "web" in text]


def test_recommended_gains_hold_with_noise_and_a_roll_out_of_round(scenario):
    tuned = design_for_roll(scenario).gains.set_in(scenario)
    for d in named_diameters(scenario).values():
        manual = simulate(scenario, duration=40.0, diameter=d)
        automatic = simulate(tuned, duration=40.0, diameter=d, automatic=True)
        late = automatic.time > 20.0
        assert automatic.web_tension[late].mean() == pytest.approx(scenario.run.tension, rel=0.01)
        # A loop may amplify a swing by Ms at the most.
        assert np.std(automatic.web_tension[late]) < 1.7 * np.std(manual.web_tension[late]) + 0.5


def test_a_tighter_limit_costs_integral_action(film):
    loose, tight = design_for_roll(film, ms_limit=2.0), design_for_roll(film, ms_limit=1.3)
    assert tight.gains.Ki < loose.gains.Ki
    assert tight.worst.margins.Ms <= 1.3 * 1.001 < loose.worst.margins.Ms


def test_schedule_beats_fixed_gains_at_its_own_diameter(film):
    design = design_for_roll(film)


def test_a_pull_roll_needs_no_schedule(laminate):
    assert design_for_roll(laminate).schedule.entries == ()


def test_refuses_a_machine_that_swings_by_itself(film):
    # Falling friction at crawl: negative damping, no gains can be judged by margins alone.
    sticky = replace(
        film, torque_device=replace(film.torque_device, breakaway_ratio=2.0, stribeck_speed=0.5)
    )
    with pytest.raises(ValueError, match="not stable in manual"):
        design_for_roll(sticky)


@pytest.mark.parametrize("limit", [1.0, 2.5, math.nan])
def test_refuses_a_limit_out_of_range(film, limit):
    with pytest.raises(ValueError, match="ms_limit"):
        design_for_roll(film, ms_limit=limit)


def test_the_schedule_in_the_controller_gives_its_gains_at_each_diameter(film):
    """At a diameter of the schedule the machine runs as with that diameter's gains alone."""
    design = design_for_roll(film)
    scheduled = design.set_in(film, scheduled=True)
    assert design.set_in(film) == design.gains.set_in(film)
    entry = design.schedule.entries[-2]
    runs = [
        simulate(
            tuned,
            [Action(1.0, "setpoint", 157.0)],
            duration=5.0,
            diameter=entry.diameter,
            automatic=True,
            noise=False,
        )
        for tuned in (scheduled, entry.gains.set_in(film))
    ]
    np.testing.assert_allclose(runs[0].web_tension, runs[1].web_tension, rtol=1e-9)


def test_a_schedule_keeps_a_whole_roll_closer_to_its_setpoint(film):
    """More integral action at large diameters leaves less of the slow drift behind."""
    design = design_for_roll(film)
    left = []
    for scheduled in (False, True):
        trend = run_roll(design.set_in(film, scheduled=scheduled), noise=False, runout=False)
        large = (trend.diameter > 0.4) & (trend.time > 5.0)
        left.append(np.abs(trend.web_tension - 150.0)[large].max())
    assert left[1] < 0.5 * left[0]
