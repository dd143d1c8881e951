"""A start, a stop and a fast stop, simulated, against the closed forms; and rounded corners."""

from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, Scenario, linearise, simulate
from simulator.machine import named_diameters
from simulator.speed_advice import MARGIN, corner_time, round_up
from simulator.speed_change import KINDS, Kind, speed_change, with_rounding, with_time
from simulator.speed_change_run import SpeedChangeRun, outcome, simulate_speed_change
from simulator.torque_devices import FrictionBrake


def without_play(scenario: Scenario) -> Scenario:
    """The machine with a supply that follows every change of output."""
    device = scenario.torque_device
    if not isinstance(device, FrictionBrake):
        return scenario
    return replace(scenario, torque_device=replace(device, hysteresis=0.0, sticking=0.0))


@pytest.mark.parametrize("kind", KINDS)
def test_simulated_plateau_is_the_closed_form(scenario: Scenario, kind: Kind) -> None:
    """The kernel knows nothing of the closed form; compared once the first swings are gone."""
    slow = with_time(without_play(scenario), kind, 30.0)
    compared = 0
    for diameter in named_diameters(slow).values():
        for run in simulate_speed_change(slow, kind, diameter=diameter):
            if run.automatic or run.lost:
                continue
            lasts = run.ends - run.begins
            late = (run.trend.time > run.begins + 0.5 * lasts) & (
                run.trend.time < run.begins + 0.88 * lasts
            )
            got, expected = run.trend.web_tension[late], run.closed_form[late]
            assert np.mean(got - expected) == pytest.approx(0.0, abs=0.01 * scenario.run.tension)
            # What still swings there.
            assert np.abs(got - expected).max() < 0.06 * scenario.run.tension
            compared += 1
    assert compared > 0


def test_closed_form_of_a_run_is_that_of_the_change(scenario: Scenario) -> None:
    """At the ends of the ramp, where both are given."""
    for diameter in named_diameters(scenario).values():
        change = speed_change(scenario, "stop", diameter=diameter)
        held, compensated = simulate_speed_change(scenario, "stop", diameter=diameter)[:2]
        for run, settled in ((held, change.held), (compensated, change.compensated)):
            v = run.trend.line_speed
            ramp = np.isfinite(run.closed_form) & (v >= scenario.run.crawl_speed)
            off = np.abs(run.closed_form[ramp] - change.tension).max()
            if abs(change.steady_output) <= 100.0:
                assert off == pytest.approx(abs(settled.error), rel=0.01, abs=0.5)


def test_first_swing_is_the_simulated_one(scenario: Scenario) -> None:
    """Overshoot exp(-pi zeta/sqrt(1 - zeta²)) of a second-order step (any control text).

    The web's own viscosity adds a zero to that, which shows where the swing is well damped.
    """
    gentle = with_time(without_play(scenario), "stop", 20.0)
    compared = 0
    for diameter in named_diameters(gentle).values():
        change = speed_change(gentle, "stop", diameter=diameter)
        if change.held.lost or change.swing_lost:
            continue
        run = simulate_speed_change(gentle, "stop", diameter=diameter)[0]
        after = run.trend.time - run.begins
        near = (after >= 0.0) & (after <= 1.5 * change.half_swing + 0.05)
        off = run.trend.web_tension[near] - change.tension
        got = off[np.argmax(np.abs(off))]
        damping = linearise(gentle, diameter=diameter).damping_ratio
        rel = 0.05 if damping < 0.3 else 0.16
        assert got == pytest.approx(change.first_swing - change.tension, rel=rel)
        compared += 1
    assert compared > 0


def rounded_stop(scenario: Scenario, *, rate: float, corner: float) -> list[Action]:
    """A stop from line speed whose rate comes up and goes evenly over a corner [s], in 20 steps."""
    steps, v, at, plan = 20, scenario.run.line_speed, 1.0, []
    up = [rate * (i + 0.5) / steps for i in range(steps)]
    straight = [(v / rate - corner, rate)]
    part = corner / steps
    for lasts, slows in [(part, r) for r in up] + straight + [(part, r) for r in reversed(up)]:
        v = max(v - lasts * slows, 0.0)
        plan.append(Action(at, "line speed", v if v > 1e-9 else 0.0, over=lasts))
        at += lasts
    return plan


def finely(scenario: Scenario, *, corner: float, compensation: float) -> Scenario:
    """The machine with scans that fall on the steps of a rounded corner [s]."""
    controller = replace(
        scenario.controller, scan_time=corner / 40.0, inertia_compensation=compensation
    )
    return replace(scenario, controller=controller, source="")


def test_a_corner_rounded_over_one_swing_leaves_no_swing(foil: Scenario) -> None:
    """The mean of a sine over its period is 0: the tension goes to its plateau, not beyond."""
    slow = with_time(foil, "stop", 30.0)
    change = speed_change(slow, "stop", diameter=0.5)
    corner = 2.0 * change.half_swing
    trend = simulate(
        finely(slow, corner=corner, compensation=0.0),
        rounded_stop(slow, rate=-change.acceleration, corner=corner),
        duration=20.0, diameter=0.5, noise=False, runout=False,
    )  # fmt: skip
    plateau = abs(change.held.error)
    assert abs(change.first_swing - change.tension) > 1.8 * plateau
    assert foil.run.tension - trend.web_tension.min() < 1.1 * plateau


ADVISED = [
    # machine, diameter [m], time of its fast stop [s]
    ("film", 0.8, 4.0),
    ("film", 0.4445, 1.2),
    ("film", 0.4445, 4.0),
    ("worn", 1.0, 3.0),
    ("worn", 1.0, 10.0),
    ("paper_rewind", 0.9, 6.0),
    ("foil", 0.325, 3.0),
]


@pytest.mark.parametrize(("name", "diameter", "time"), ADVISED)
def test_who_follows_the_advice_keeps_the_web(
    request: pytest.FixtureRequest, name: str, diameter: float, time: float
) -> None:
    """Torque that suffices and corners so rounded leave a swing that the tension can bear."""
    scenario = with_time(request.getfixturevalue(name), "fast stop", time)
    change = speed_change(scenario, "fast stop", diameter=diameter)
    corner = corner_time(scenario, change)
    words = f"{round_up(corner):g} s"
    assert corner > 0.0
    assert words in change.advice or corner > time
    least = time if change.has_torque else MARGIN * max(change.shortest_time, change.follow_time)
    followed = with_rounding(with_time(scenario, "fast stop", max(least, corner)), corner)
    sharp, rounded = (
        next(
            run
            for run in simulate_speed_change(machine, "fast stop", diameter=diameter)
            if run.compensation == 100.0 and not run.automatic
        )
        for machine in (scenario, followed)
    )
    assert rounded.lost == ""

    def swing(run: SpeedChangeRun) -> float:
        # Below crawl a brake sticks, and holds the web as it then is.
        moving = run.trend.line_speed > scenario.run.crawl_speed
        return float(np.abs(run.trend.web_tension[moving] - scenario.run.tension).max())

    assert swing(rounded) < 0.75 * scenario.run.tension
    assert swing(rounded) < 0.75 * swing(sharp)


def test_runs_say_what_became_of_the_web(film: Scenario) -> None:
    runs = simulate_speed_change(film, "fast stop", diameter=0.8)
    # The film machine has gains: twice in manual, twice in automatic.
    assert [(run.automatic, run.compensation) for run in runs] == [
        (False, 0.0), (False, 100.0), (True, 0.0), (True, 100.0),
    ]  # fmt: skip
    assert runs[0].lost == "slack web"
    assert runs[0].least_tension == 0.0
    assert "goes slack" in outcome(runs[0])
    assert np.all(np.isnan(runs[2].closed_form))
    weak = replace(film, web=replace(film.web, breaking_tension=180.0), source="")
    broken = simulate_speed_change(weak, "start", diameter=0.8)[0]
    assert broken.lost == "web break"
    assert "breaks" in outcome(broken)
    assert speed_change(weak, "start", diameter=0.8).held.lost == "web break"


def test_without_gains_it_runs_in_manual_only(foil: Scenario) -> None:
    assert len(simulate_speed_change(foil, "stop", diameter=0.3)) == 2
    assert len(simulate_speed_change(foil, "stop", diameter=0.3, compensation=0.0)) == 1


def test_compensation_holds_the_tension_where_the_device_is_quick(foil: Scenario) -> None:
    """Half the roll, 10 s: without it the tension falls by J a/R², with it it stays."""
    held, compensated = simulate_speed_change(foil, "fast stop", diameter=0.325)
    late = (held.trend.time > 5.0) & (held.trend.time < 10.0)
    assert foil.run.tension - held.trend.web_tension[late].mean() > 40.0
    assert compensated.trend.web_tension[late].mean() == pytest.approx(foil.run.tension, rel=0.04)
    assert compensated.least_tension > held.least_tension
