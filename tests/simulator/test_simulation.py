"""The simulated machine against its linear plant, plain facts and its own promises."""

import math
from dataclasses import replace

import control
import numpy as np
import pytest

from simulator import Action, SimulationError, linearise, operating_point, simulate
from simulator.machine import kernel_machine, named_diameters
from simulator.running import fastest_rate


def quiet(scenario, plan, **run):
    return simulate(scenario, plan, noise=False, runout=False, **run)


def test_same_seed_same_bits(film):
    plan = [
        Action(1.0, "output", 55.0),
        Action(3.0, "automatic"),
        Action(4.0, "line speed", 2.0, 1.0),
    ]
    runs = [simulate(film, plan, duration=6.0, seed=7) for _ in range(2)]
    for name in ("time", "tension", "output", "web_tension", "torque", "span_tension"):
        assert getattr(runs[0], name).tobytes() == getattr(runs[1], name).tobytes()
    other = simulate(film, plan, duration=6.0, seed=8)
    assert not np.array_equal(other.tension, runs[0].tension)


def test_noise_has_the_rms_asked_for(film):
    trend = simulate(film, duration=200.0, runout=False)
    assert np.std(trend.tension - trend.tension.mean()) == pytest.approx(0.5, rel=0.03)


def test_small_steps_follow_the_linear_plant(scenario):
    """python-control simulates the linear plant without its dead time; the grid shifts it."""
    c = scenario.controller
    for d in named_diameters(scenario).values():
        for v in (scenario.run.line_speed, scenario.run.crawl_speed):
            point = operating_point(scenario, diameter=d, line_speed=v)
            plant = linearise(scenario, diameter=d, line_speed=v)
            step = 0.01 * point.output
            free = replace(
                scenario,
                torque_device=replace(scenario.torque_device, hysteresis=0.0)
                if hasattr(scenario.torque_device, "hysteresis")
                else scenario.torque_device,
            )
            trend = quiet(
                free,
                [Action(0.0, "output", point.output + step)],
                duration=12.0,
                diameter=d,
                line_speed=v,
            )
            fine = c.scan_time / round(c.scan_time / 0.001)
            time = np.arange(0.0, 12.0, fine)
            inputs = np.zeros((2, time.size))
            inputs[0] = step * (time >= plant.dead_time - 1e-9)
            reference = control.forced_response(plant.state_space(), time, inputs).outputs
            expected = np.interp(trend.time, time, np.squeeze(reference))
            got = 100.0 * (trend.tension - scenario.run.tension) / c.tension_range
            # Half a fine sample of interpolation at the delayed edge, and second-order effects.
            assert np.abs(got - expected).max() < 0.02 * np.abs(expected).max()


@pytest.mark.parametrize("device, cell", [(0.0, 0.0), (0.013, 0.0), (0.0, 0.027), (0.05, 0.033)])
def test_dead_times_are_exact(foil, device, cell):
    """Against the exact sampled plant, at every scan and for parts of a scan."""
    scenario = replace(
        foil,
        torque_device=replace(foil.torque_device, dead_time=device),
        load_cell=replace(foil.load_cell, dead_time=cell),
    )
    h = scenario.controller.scan_time
    point = operating_point(scenario, diameter=0.4)
    plant = linearise(scenario, diameter=0.4)
    step = 1e-3
    trend = quiet(
        scenario, [Action(0.1, "output", point.output + step)], duration=2.0, diameter=0.4
    )
    sampled = plant.sampled(h)
    A, B, C = sampled.with_delay_states()
    x, expected = np.zeros(A.shape[0]), []
    for t in trend.time:
        expected.append(float(C @ x))
        x = A @ x + B * (step if t >= 0.1 - 1e-9 else 0.0)
    got = 100.0 * (trend.tension - scenario.run.tension) / scenario.controller.tension_range
    np.testing.assert_allclose(got, expected, atol=2e-4 * np.max(expected))


def test_error_falls_with_the_fourth_power_of_the_step(foil):
    """A smooth run (no friction turns round): half the step, a sixteenth of the error."""
    scenario = replace(foil, torque_device=replace(foil.torque_device, dead_time=0.0))
    plan = [Action(0.1, "output", 52.0), Action(0.5, "line speed", 4.8, over=1.0)]
    rate = fastest_rate(kernel_machine(scenario), speeds=(4.8, 5.0), tension=110.0)
    scan = scenario.controller.scan_time

    def run(steps):
        # So many steps in a scan, exactly.
        share = rate * scan / (steps - 1e-6)
        return quiet(scenario, plan, duration=1.4, step_share=share).web_tension

    exact = run(160)
    errors = np.array([np.abs(run(steps) - exact).max() for steps in (5, 10, 20)])
    orders = np.log2(errors[:-1] / errors[1:])
    assert orders == pytest.approx([4.0, 4.0], abs=0.3)


def test_the_step_in_use_is_small_enough(scenario):
    """The error stays far below 0.1 % of range, against steps eight times finer."""
    plan = [Action(0.5, "output", 60.0), Action(1.0, "line speed", 0.8, over=2.0)]
    tough = replace(scenario, web=replace(scenario.web, breaking_tension=None))
    coarse, fine = (
        quiet(tough, plan, duration=3.0, line_speed=1.0, step_share=share).web_tension
        for share in (0.4, 0.05)
    )
    assert np.abs(coarse - fine).max() < 1e-4 * scenario.controller.tension_range


def test_a_standing_machine_stands_still(scenario):
    trend = quiet(scenario, [], duration=60.0, line_speed=0.0)
    assert np.all(trend.roll_speed == 0.0)
    np.testing.assert_allclose(trend.web_tension, trend.web_tension[0], rtol=1e-12)


def test_a_motor_that_is_let_go_pulls_the_web_off_the_roll(foil):
    # Below the holding output the web's pull turns a motor-driven roll; bearing drag holds a rest.
    trend = quiet(foil, [Action(0.5, "output", 0.0)], duration=3.0, line_speed=0.0)
    assert trend.roll_speed.max() > 0.0
    assert trend.web_tension[-1] < 0.2 * foil.run.tension


def test_web_goes_slack_and_never_pushes(film):
    """A stop too fast for the brake: the roll runs on and the web sags, until the line starts."""
    plan = [Action(1.0, "line speed", 0.0, over=1.0), Action(40.0, "line speed", 0.5, over=10.0)]
    # Taken up with a jerk that would break this web: here it may not.
    tough = replace(film, web=replace(film.web, breaking_tension=None))
    trend = quiet(tough, plan, duration=120.0)
    assert trend.span_tension.min() == 0.0
    assert any("slack" in text for _, text in trend.events)
    assert np.interp(30.0, trend.time, trend.web_tension) == 0.0
    assert trend.web_tension[-1] == pytest.approx(film.run.tension, rel=0.1)


def test_web_breaks_once_its_tension_passes_the_limit(film):
    trend = quiet(film, [Action(0.5, "output", 100.0)], duration=5.0, diameter=0.1)
    assert any("web break" in text for _, text in trend.events)
    at = next(t for t, text in trend.events if text == "web break")
    assert np.all(trend.web_tension[trend.time > at] == 0.0)
    before = trend.span_tension[trend.time < at]
    assert before.max() <= film.web.breaking_tension


def test_tracking_makes_the_switch_without_a_bump(film):
    tuned = replace(film, controller=replace(film.controller, Kc=0.05, Ti=0.5))
    plan = [Action(2.0, "automatic")]
    with_tracking = quiet(tuned, plan, duration=10.0)
    np.testing.assert_allclose(with_tracking.web_tension, film.run.tension, rtol=1e-9)
    without = replace(tuned, controller=replace(tuned.controller, tracking=False))
    bumped = quiet(without, plan, duration=10.0)
    assert np.ptp(bumped.web_tension) > 0.2 * film.run.tension


def test_setpoint_that_follows_takes_the_reading_at_the_switch(film):
    tuned = replace(
        film, controller=replace(film.controller, Kc=0.05, Ti=0.5, setpoint_follows=True)
    )
    trend = quiet(tuned, [Action(2.0, "automatic")], duration=10.0, setpoint=100.0)
    np.testing.assert_allclose(trend.setpoint, film.run.tension, rtol=1e-9)
    np.testing.assert_allclose(trend.web_tension, film.run.tension, rtol=1e-9)


@pytest.mark.parametrize("anti_windup", [True, False])
def test_output_comes_back_from_its_limit_without_windup(film, anti_windup):
    """A setpoint out of reach for 20 s: with anti-windup the output leaves its limit at once."""
    tuned = replace(
        film,
        web=replace(film.web, breaking_tension=None),
        controller=replace(
            film.controller, Kc=0.05, Ti=0.5, anti_windup=anti_windup, output_high=60.0
        ),
    )
    plan = [
        Action(0.0, "automatic"),
        Action(1.0, "setpoint", 290.0),
        Action(21.0, "setpoint", 150.0),
    ]
    trend = quiet(tuned, plan, duration=120.0)
    assert trend.output.max() == pytest.approx(60.0)
    left = trend.time[(trend.time > 21.0) & (trend.output < 59.9)][0] - 21.0
    assert (left < 1.0) if anti_windup else (left > 10.0)


def rewind_that_lets_go(paper_rewind):
    """At the core at crawl the web breaks, and the clutch winds on nothing."""
    return quiet(
        replace(paper_rewind, web=replace(paper_rewind.web, breaking_tension=300.0)),
        [Action(0.5, "output", 40.0), Action(6.0, "line speed", 0.0, over=2.0),
         Action(12.0, "line speed", 0.333, over=2.0)],
        duration=18.0,
        diameter=paper_rewind.roll.core_diameter,
        line_speed=0.333,
    )  # fmt: skip


def test_an_idle_clutch_locks_to_its_driven_side(paper_rewind):
    trend = rewind_that_lets_go(paper_rewind)
    assert any("web break" in text for _, text in trend.events)
    driven = 1.15 * 0.333 / (0.5 * paper_rewind.roll.core_diameter)
    locked = (trend.time > 3.0) & (trend.time < 6.0)
    np.testing.assert_allclose(trend.roll_speed[locked], driven, rtol=1e-9)
    # Locked it passes just what the bearings take.
    roll = paper_rewind.roll
    np.testing.assert_allclose(
        trend.torque[locked], roll.bearing_drag + roll.viscous_drag * driven, rtol=1e-9
    )
    # It stops with its driven side and starts with it again.
    assert np.interp(11.0, trend.time, trend.roll_speed) == pytest.approx(0.0, abs=1e-9)
    assert trend.roll_speed[-1] == pytest.approx(driven, rel=1e-9)


def test_a_held_roll_shows_the_torque_that_holds_it(film):
    trend = quiet(film, [], duration=1.0, line_speed=0.0)
    point = trend.web_tension[0] * 0.5 * film.roll.full_diameter
    assert trend.torque[0] == pytest.approx(point - film.roll.bearing_drag, rel=1e-9)


def test_output_rate_is_limited_in_automatic(film):
    tuned = replace(film, controller=replace(film.controller, Kc=1.0, Ti=0.5, output_rate=5.0))
    trend = quiet(tuned, [Action(1.0, "automatic"), Action(2.0, "setpoint", 200.0)], duration=4.0)
    assert np.abs(np.diff(trend.output)).max() <= 5.0 * 0.02 + 1e-12


def test_out_of_round_roll_shakes_the_tension_once_a_turn(film):
    trend = simulate(film, duration=60.0, noise=False, diameter=0.4, line_speed=2.5)
    spectrum = np.abs(np.fft.rfft(trend.web_tension - trend.web_tension.mean()))
    frequency = np.fft.rfftfreq(trend.time.size, 0.02)[np.argmax(spectrum)]
    assert frequency == pytest.approx(2.5 / (math.pi * 0.4), abs=1 / 60)


def test_the_roll_shrinks_by_the_web_that_leaves_it(film):
    trend = quiet(film, [], duration=30.0, diameter=0.4, time_compression=1.0)
    # Area is conserved: pi (R0² - R²) = h times the length that left at the rim (strain removed).
    length = np.sum(0.5 * trend.diameter * trend.roll_speed) * 0.02
    left = math.pi / 4 * (trend.diameter[0] ** 2 - trend.diameter[-1] ** 2)
    assert left == pytest.approx(film.web.thickness * length, rel=1e-3)


def test_a_rewind_grows(paper_rewind):
    trend = quiet(paper_rewind, [], duration=20.0, diameter=0.3, time_compression=1.0)
    # By the web that arrives, to the strain it arrives with.
    length = paper_rewind.run.line_speed * 20.0
    gained = math.pi / 4 * (trend.diameter[-1] ** 2 - trend.diameter[0] ** 2)
    assert gained == pytest.approx(paper_rewind.web.thickness * length, rel=2e-3)


def test_reading_stops_at_the_end_of_the_signal(film):
    tough = replace(film, web=replace(film.web, breaking_tension=None))
    trend = quiet(tough, [Action(0.5, "output", 100.0)], duration=10.0, diameter=0.3)
    assert trend.web_tension.max() > 400.0
    assert trend.tension.max() == pytest.approx(1.03125 * 300.0)


def test_starts_at_the_nearest_tension_and_says_so(film):
    weak = replace(film, torque_device=replace(film.torque_device, full_torque=40.0))
    trend = quiet(weak, [], duration=2.0)
    assert trend.warnings and "starts at" in trend.warnings[0]
    np.testing.assert_allclose(trend.web_tension, trend.web_tension[0], rtol=1e-6)


def test_line_speed_ramps(film):
    trend = quiet(film, [Action(1.0, "line speed", 0.5, over=2.0)], duration=5.0, line_speed=2.5)
    assert np.interp(2.0, trend.time, trend.line_speed) == pytest.approx(1.5, abs=0.02)
    assert trend.line_speed[-1] == 0.5


def test_every_second_sample(film):
    all_of_it = simulate(film, duration=2.0)
    half = simulate(film, duration=2.0, record_every=2)
    assert np.array_equal(half.tension, all_of_it.tension[::2])


@pytest.mark.parametrize(
    "wrong",
    [
        {"duration": 0.0},
        {"duration": math.nan},
        {"duration": 1e12},
        {"duration": 1.0, "line_speed": -1.0},
        {"duration": 1.0, "tension": 0.0},
        {"duration": 1.0, "record_every": 0},
        {"duration": 1.0, "diameter": 9.0},
        {"duration": 1.0, "setpoint": math.nan},
        {"duration": 1.0, "time_compression": -1.0},
        {"duration": 1.0, "time_compression": math.nan},
        {"duration": 1.0, "step_share": 0.0},
    ],
)
def test_refuses_a_run_that_makes_no_sense(film, wrong):
    with pytest.raises(SimulationError):
        simulate(film, **wrong)


@pytest.mark.parametrize(
    "wrong",
    [
        (0.0, "jump", 1.0),
        (-1.0, "output", 1.0),
        (0.0, "output", math.nan),
        (0.0, "line speed", -1.0),
    ],
)
def test_refuses_an_action_that_makes_no_sense(wrong):
    with pytest.raises(SimulationError):
        Action(*wrong)
