"""A run that is advanced in pieces, and the actions that only a live bench needs."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Action, SimulationError, load_scenario, run_kernel, simulate
from simulator.machine import diameter_range
from simulator.plan import in_order, splice
from simulator.running import advance, begin

SCENARIOS = sorted((Path(__file__).resolve().parents[2] / "scenarios").glob("*.toml"))


def started(scenario, *, seed=0, line_speed=None, time_compression=1.0, automatic=False):
    return begin(
        scenario,
        diameter=diameter_range(scenario)[1],
        line_speed=scenario.run.line_speed if line_speed is None else line_speed,
        tension=scenario.run.tension,
        setpoint=None,
        automatic=automatic,
        seed=seed,
        noise=True,
        runout=True,
        time_compression=time_compression,
        step_share=0.4,
        speeds=(0.0, scenario.run.line_speed),
        stiffest=2.0,
    )


def busy_plan(scenario):
    """Something of everything that goes on beyond the scan at which it is done."""
    return in_order(
        [
            Action(0.5, "output", 30.0),
            *splice(1.0, length=0.5, line_speed=scenario.run.line_speed),
            Action(2.0, "tracking", 0.0),
            Action(2.3, "dropout", over=0.4),
            Action(3.0, "Kc", 0.02),
            Action(3.0, "Ti", 2.0),
            Action(3.1, "automatic"),
            Action(4.0, "stop"),
            Action(5.0, "zero error", 2.0),
            Action(5.5, "new roll", 0.8 * diameter_range(scenario)[1]),
            Action(6.0, "manual"),
            Action(7.0, "setpoint", 0.5 * scenario.run.tension),
        ]
    )


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
@settings(max_examples=5, deadline=None)
@given(cuts=st.lists(st.integers(1, 400), max_size=6))
def test_pieces_give_the_bits_of_the_whole(path, cuts):
    scenario = load_scenario(path)
    if scenario.zone == "pull roll":
        plan = [action for action in busy_plan(scenario) if action.what != "new roll"]
    else:
        plan = busy_plan(scenario)
    whole, record = advance(started(scenario), 800, plan, record_every=3)
    now, rows = started(scenario), []
    for scans in [*np.diff([0, *sorted(set(cuts))]), 800 - max(cuts, default=0)]:
        upto = now.scan + int(scans)
        now, part = advance(now, int(scans), plan_from(plan, now), record_every=3)
        assert now.scan == upto
        rows.append(part)
    assert np.array_equal(np.concatenate(rows), record, equal_nan=True)
    for name in ("state", "memory", "between", "sent", "taken", "kinds", "happened"):
        assert np.array_equal(getattr(now, name), getattr(whole, name), equal_nan=True), name


def plan_from(plan, now):
    """What has not been done yet; what has must not be done again."""
    scan_time = now.controller.scan_time
    return [a for a in plan if math.ceil(a.at / scan_time - 1e-9) >= now.scan]


def test_a_run_goes_on_from_where_it_was_left_as_often_as_one_likes(film):
    start = started(film)
    first, record = advance(start, 100, [Action(0.2, "output", 40.0)])
    again, same = advance(start, 100, [Action(0.2, "output", 40.0)])
    assert np.array_equal(record, same)
    assert np.array_equal(first.state, again.state)
    assert start.scan == 0


def test_a_broken_web_is_threaded_at_rest_and_only_there(film):
    v = film.run.line_speed
    plan = [
        Action(1.0, "web break"),
        Action(2.0, "thread"),  # the line runs: nothing comes of it
        Action(3.0, "line speed", 0.0, 1.0),
        Action(3.0, "output", 90.0),  # the roll is braked to rest first
        Action(8.0, "output", 0.0),
        Action(9.0, "thread"),
        Action(10.0, "output", 30.0),
        Action(10.5, "line speed", 0.2 * v, 4.0),
    ]
    trend = simulate(film, plan, duration=30.0, noise=False, runout=False)
    assert np.all(trend.web_tension[(trend.time > 1.05) & (trend.time < 9.0)] == 0.0)
    threaded = trend.web_tension[(trend.time > 9.1) & (trend.time < 10.0)]
    just = run_kernel.JUST_TAUT * film.controller.tension_range
    assert threaded == pytest.approx(just, rel=1e-6)
    # Once it runs, the brake makes the tension that it makes elsewhere, but for the play in its
    # supply: 0.5 % of output, of 30 %, depending on whence it comes.
    held = simulate(
        film, [Action(0.0, "output", 30.0)], duration=30.0, line_speed=0.2 * v, noise=False,
        runout=False,
    )  # fmt: skip
    assert trend.web_tension[-1] == pytest.approx(held.web_tension[-1], rel=0.5 / 30.0)
    assert trend.web_lost == "web break"
    assert not any("passed the limit" in text for text in trend.warnings)


def test_a_drive_without_web_brakes_its_roll_and_never_speeds_it_up(foil):
    """Tripped at the break: whatever the output, the rim only gets slower, to rest."""
    for output in (0.0, 20.0, 100.0):
        plan = [Action(1.0, "web break"), Action(1.0, "output", output),
                Action(2.0, "line speed", 0.0, 5.0)]  # fmt: skip
        trend = simulate(foil, plan, duration=40.0, noise=False, runout=False)
        rim = 0.5 * trend.diameter * trend.roll_speed
        after = rim[trend.time > 1.5]
        assert np.all(np.diff(after) <= 1e-9)
        assert after[-1] >= -1e-3
        if output == 100.0:
            assert abs(after[-1]) < 1e-6


def test_nothing_pulls_a_pull_roll_whose_web_is_gone(laminate):
    plan = [Action(1.0, "web break"), Action(1.0, "output", 50.0)]
    trend = simulate(laminate, plan, duration=60.0, noise=False, runout=False)
    after = trend.roll_speed[trend.time > 1.5]
    assert np.all(np.diff(after) <= 1e-9)


def test_nobody_threads_a_roll_that_turns(film):
    plan = [Action(1.0, "web break"), Action(1.0, "output", 0.0),
            Action(2.0, "line speed", 0.0, 2.0), Action(6.0, "thread")]  # fmt: skip
    trend = simulate(film, plan, duration=10.0, noise=False, runout=False)
    assert 0.5 * film.roll.full_diameter * trend.roll_speed[-1] > 0.5
    assert np.all(trend.web_tension[trend.time > 1.1] == 0.0)


def test_a_new_roll_turns_with_the_web_and_takes_its_own_torque(film):
    """Same torque on twice the radius: half the tension (T = torque/R, exact but for drag)."""
    high = diameter_range(film)[1]
    trend = simulate(
        film, [Action(5.0, "new roll", high)], duration=60.0, diameter=0.5 * high, noise=False,
        runout=False,
    )  # fmt: skip
    before, after = trend.web_tension[trend.time < 5.0][-1], trend.web_tension[-1]
    drag = film.roll.viscous_drag * film.run.line_speed
    torque = 0.5 * 0.5 * high * before - drag / (0.25 * high)
    assert after == pytest.approx((torque + drag / (0.5 * high)) / (0.5 * high), rel=0.01)
    # At the splice itself the rim keeps its speed: no jump in the tension.
    at = np.flatnonzero(trend.time >= 5.0)[0]
    assert trend.web_tension[at + 1] == pytest.approx(before, rel=0.05)
    assert trend.roll_speed[at] * 0.5 * high == pytest.approx(
        trend.roll_speed[at - 1] * 0.25 * high, rel=1e-3
    )


def test_another_gain_makes_no_bump_and_then_acts(film):
    """Kc changed at rest changes nothing; after a setpoint step the output moves by Kc times it."""
    c = film.controller
    plan = [Action(0.0, "automatic"), Action(2.0, "Kc", 0.5), Action(2.0, "Ti", 1e6),
            Action(4.0, "setpoint", film.run.tension + 0.1 * c.tension_range)]  # fmt: skip
    trend = simulate(film, plan, duration=6.0, noise=False, runout=False)
    quiet = trend.output[(trend.time > 2.0) & (trend.time < 4.0)]
    assert np.ptp(quiet) < 1e-3
    at = np.flatnonzero(trend.time >= 4.0)[0]
    assert trend.output[at] - trend.output[at - 1] == pytest.approx(0.5 * 10.0, abs=1e-3)


def test_tracking_switched_off_leaves_the_integral_where_it_was(film):
    plan = [Action(0.0, "output", 20.0), Action(5.0, "tracking", 0.0), Action(5.5, "output", 60.0),
            Action(5.6, "automatic")]  # fmt: skip
    trend = simulate(film, plan, duration=6.0, noise=False, runout=False)
    at = np.flatnonzero(trend.automatic == 1.0)[0]
    error = 100.0 * (trend.setpoint[at] - trend.tension[at]) / film.controller.tension_range
    # I was 20 - Kc e at the moment that tracking ended, when the tension of 20 % was read.
    then = np.flatnonzero(trend.time >= 5.0)[0] - 1
    error_then = (
        100.0 * (trend.setpoint[then] - trend.tension[then]) / film.controller.tension_range
    )
    Kc = film.controller.Kc
    assert trend.output[at] == pytest.approx(20.0 + Kc * (error - error_then), abs=0.01)


@pytest.mark.parametrize(
    ("action", "said"),
    [
        (("Kc", -1.0), "Kc -1: must be 0 or more"),
        (("Ti", 0.0), "Ti 0: must be above 0"),
        (("new roll", -0.1), "new roll -0.1: must be above 0"),
        (("tracking", 0.5), r"tracking 0.5: must be 1 \(on\) or 0 \(off\)"),
    ],
)
def test_impossible_actions_are_refused(action, said):
    with pytest.raises(SimulationError, match=said):
        Action(1.0, *action)


def test_a_roll_beyond_full_is_refused(film):
    with pytest.raises(SimulationError, match=r"new roll 9 m: must lie between 0\.089 and 0\.8 m"):
        simulate(film, [Action(1.0, "new roll", 9.0)], duration=2.0)
