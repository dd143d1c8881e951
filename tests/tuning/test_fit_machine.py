"""Learning a machine from its step tests: known machines found again, with honest errors."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import binom

from simulator import Action, Trend, operating_point, read_trend, simulate
from simulator.machine import diameter_range
from tuning.fit_machine import fit_machine
from tuning.machine_parameters import USUALLY_FREE, parameters, with_parameters
from tuning.machine_record import own_level, read_tests, replay
from tuning.step_test import behind_play, step_test, supply_play

TORQUE, LAG, DEAD = "torque_device.full_torque", "torque_device.lag", "torque_device.dead_time"
MODULUS, DAMPING, FILTER = "web.modulus", "web.retardation_time", "load_cell.filter_time"
CORE, DENSITY, BEARING = "roll.core_inertia", "web.density", "roll.bearing_drag"
COLUMNS = ("time", "tension", "output", "setpoint", "line_speed", "diameter", "automatic")


def value(scenario, name):
    return parameters(scenario, (name,))[0].value


def times(scenario, factors):
    """The scenario with some of its numbers multiplied."""
    return with_parameters(scenario, {n: f * value(scenario, n) for n, f in factors.items()})


def recorded(scenario, **how):
    """A step test as a recorder keeps it: no true tension, no torque."""
    how = {"runout": False, **how}
    return read_trend(step_test(scenario, **how).trend.to_csv())


def altered(trend, **columns):
    return Trend(**{**{name: getattr(trend, name) for name in COLUMNS}, **columns})


def errors_from(fit, true):
    """By how many standard errors each number seen is off."""
    return {
        p.name: (p.after - value(true, p.name)) / p.standard_error
        for p in fit.parameters
        if p.seen and not p.at_limit
    }


# The replay against the simulator itself.


def test_replay_of_an_undisturbed_test_is_the_test(scenario):
    low, high = diameter_range(scenario)
    for diameter in {0.5 * (low + high), high}:
        trend = recorded(scenario, noise=False, diameter=diameter)
        (test,) = read_tests(trend, scenario)
        reading, _ = replay(test, scenario)
        moved = float(np.ptp(trend.tension))
        assert reading == pytest.approx(trend.tension, abs=2e-4 * moved)
        assert own_level(test, scenario) == pytest.approx(trend.tension[0], rel=1e-6)


def test_replay_takes_up_friction_that_nobody_described(film):
    """Dry friction moves the level and nothing else, so the replay without it is as good."""
    dragging = with_parameters(film, {BEARING: 4.0})
    trend = recorded(dragging, noise=False, diameter=0.4)
    (test,) = read_tests(trend, film)
    assert replay(test, film)[0] == pytest.approx(trend.tension, abs=2e-3)
    # An unwind: 3.5 N m more friction on a radius of 0.2 m.
    level = trend.tension[0] - own_level(test, film)
    assert level == pytest.approx(3.5 / 0.2, rel=1e-3)


# Known machines found again.


def test_finds_another_machine_of_every_kind_from_guesses_far_off(scenario):
    wrong = times(scenario, {MODULUS: 2.0, LAG: 0.5})
    device = scenario.torque_device
    double = device.residual_torque + 2.0 * (device.full_torque - device.residual_torque)
    wrong = with_parameters(wrong, {TORQUE: double})
    fit = fit_machine(recorded(scenario, seed=3), wrong)
    off = errors_from(fit, scenario)
    assert {TORQUE, LAG} <= off.keys()
    assert all(abs(error) < 4.0 for error in off.values()), off
    assert fit.fit_percent > 75.0
    # Dead time has its size from the lag described; all else is seen where the swing is seen.
    for p in fit.parameters:
        assert p.seen or p.after == p.before == value(wrong, p.name)
    assert with_parameters(wrong, {p.name: p.after for p in fit.parameters}) == fit.scenario


def test_finds_an_inertia_off_by_two(foil, laminate):
    for machine, name in ((foil, DENSITY), (laminate, "roll.inertia")):
        for factor in (0.5, 2.0):
            wrong = times(machine, {name: factor, LAG: 2.0})
            fit = fit_machine(recorded(machine, seed=5), wrong, free=(name, TORQUE, LAG, DEAD))
            p = fit.parameter(name)
            assert p.after == pytest.approx(value(machine, name), rel=0.02)
            assert abs(errors_from(fit, machine)[name]) < 4.0


def test_a_record_without_noise_gives_the_machine_exactly(film):
    true = times(film, {MODULUS: 1.3, LAG: 0.7, TORQUE: 0.85, DAMPING: 1.5})
    fit = fit_machine(recorded(true, noise=False), film)
    for p in fit.parameters:
        assert p.after == pytest.approx(value(true, p.name), rel=1e-3), p.name
    assert fit.residual < 1e-3


def test_a_roll_out_of_round_does_not_spoil_it(film):
    fit = fit_machine(recorded(film, runout=True), times(film, {MODULUS: 1.4, LAG: 0.7}))
    # One swing a turn: v/(pi D).
    turning = film.run.line_speed / (math.pi * film.roll.full_diameter)
    assert fit.tests[0].swing_frequency == pytest.approx(turning, rel=0.02)
    assert all(abs(error) < 4.0 for error in errors_from(fit, film).values())
    assert any("whether or not the output steps" in warning for warning in fit.warnings)


def test_a_drift_of_the_zero_does_not_spoil_it(film):
    """2 N over the test, a fifth of the step's answer, on a step that comes back and on none."""
    trend = recorded(film, seed=2)
    slope = 2.0 / float(trend.time[-1])
    drifting = altered(trend, tension=trend.tension + slope * trend.time)
    once = drifting.between(0.0, 0.65 * float(trend.time[-1]))
    for record in (drifting, once):
        fit = fit_machine(record, times(film, {TORQUE: 1.3, LAG: 0.7}))
        off = errors_from(fit, film)
        assert all(abs(error) < 4.0 for error in off.values()), off
        assert fit.tests[0].drift == pytest.approx(slope, rel=0.5)
        assert any("the reading drifts by" in warning for warning in fit.warnings)
    assert fit_machine(trend, film).tests[0].drift == 0.0


def test_a_reading_in_coarse_steps_is_no_noise_of_nothing(film):
    coarse = replace(film, load_cell=replace(film.load_cell, noise=0.0, resolution=1.0))
    (test,) = read_tests(recorded(coarse), film)
    assert test.noise == pytest.approx(1.0 / math.sqrt(12.0))


def test_a_step_that_drowns_is_called_so(film):
    loud = replace(film, load_cell=replace(film.load_cell, noise=8.0))
    fit = fit_machine(recorded(loud, step=2.0), film, free=(TORQUE, LAG))
    assert any("step further or repeat" in warning for warning in fit.warnings)


def test_a_slow_record_is_honoured(film):
    """Every fifth sample: moves show late, and the errors of the dead time say so."""
    trend = recorded(film)
    fast = fit_machine(trend, film)
    wrong = times(film, {MODULUS: 1.3, LAG: 0.7})
    for first in (0, 3):
        slow = altered(trend, **{name: getattr(trend, name)[first::5] for name in COLUMNS})
        fit = fit_machine(slow, wrong)
        assert all(abs(error) < 4.0 for error in errors_from(fit, film).values())
        sharp, blunt = (one.parameter(DEAD).standard_error for one in (fast, fit))
        assert blunt > 0.08 / math.sqrt(12.0) > sharp
        assert any("within a sample" in warning for warning in fit.warnings)


def test_a_record_off_the_grid_of_scans_is_honoured(film):
    trend = recorded(film)
    time = np.arange(0.0, trend.time[-1] - 0.1, 0.013)
    held = np.searchsorted(trend.time, time, side="right") - 1
    columns = {name: getattr(trend, name)[held] for name in COLUMNS}
    columns |= {"time": time + 100.0, "tension": np.interp(time, trend.time, trend.tension)}
    fit = fit_machine(Trend(**columns), times(film, {MODULUS: 1.3, LAG: 0.7}))
    for name, within in ((TORQUE, 0.02), (LAG, 0.12), (MODULUS, 0.05)):
        assert fit.parameter(name).after == pytest.approx(value(film, name), rel=within)


# Errors that are honest.


def test_intervals_hold_the_truth_as_often_as_they_say(nonwoven):
    """95 % of 50 intervals: within the central 99.8 % of the binomial distribution."""
    free, seeds = (TORQUE, LAG), 50
    wrong = times(nonwoven, dict.fromkeys(free, 1.2))
    held = dict.fromkeys(free, 0)
    for seed in range(seeds):
        fit = fit_machine(recorded(nonwoven, seed=seed), wrong, free=free)
        for name in free:
            p = fit.parameter(name)
            held[name] += p.low <= value(nonwoven, name) <= p.high
    low, high = binom.interval(0.998, seeds, 0.95)
    assert all(low <= count <= high for count in held.values()), held


def light_machine(laminate):
    """A roll and a roller of next to no inertia: tension is torque over radius, lag by lag."""
    light = replace(
        laminate,
        web=replace(laminate.web, modulus=2e8),
        roll=replace(laminate.roll, inertia=2e-3, viscous_drag=0.0),
        roller=(replace(laminate.roller[0], inertia=2e-5),),
        torque_device=replace(laminate.torque_device, lag=0.2, dead_time=0.05),
        controller=replace(laminate.controller, scan_time=0.02),
    )
    return replace(light, load_cell=replace(light.load_cell, filter_time=0.08))


def test_against_curve_fit_on_a_closed_form(laminate):
    """Two lags and a dead time (a textbook step response), fitted by scipy's curve_fit."""
    light = light_machine(laminate)
    device, D = light.torque_device, light.roll.diameter
    start = operating_point(light, diameter=D).output
    plan = [Action(2.0, "output", start + 6.0), Action(6.0, "output", start)]
    trend = simulate(light, plan, duration=10.0, seed=4, runout=False)
    t, tau = trend.time, light.load_cell.filter_time

    def answer(since, lag):
        late = np.maximum(since, 0.0)
        return 1.0 - (lag * np.exp(-late / lag) - tau * np.exp(-late / tau)) / (lag - tau)

    def closed_form(t, full, lag, dead, level):
        per_percent = device.gear_ratio * (full - device.residual_torque) / 100.0 / (0.5 * D)
        steps = answer(t - 2.0 - dead, lag) - answer(t - 6.0 - dead, lag)
        return level + 6.0 * per_percent * steps

    guess = (1.3 * device.full_torque, 0.15, 0.06, 300.0)
    found, covariance = curve_fit(closed_form, t, trend.tension, guess)
    wrong = times(light, {TORQUE: 1.6, LAG: 0.6})
    fit = fit_machine(trend, wrong, free=(TORQUE, LAG, DEAD))
    for p, theirs, variance in zip(fit.parameters, found, np.diag(covariance), strict=False):
        error = math.sqrt(variance)
        assert abs(p.after - theirs) < 0.15 * error, p.name
        assert p.standard_error == pytest.approx(error, rel=0.1), p.name
    theirs = covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    assert fit.correlation == pytest.approx(theirs[:3, :3], abs=0.03)


def test_correlated_scatter_widens_the_errors(nonwoven):
    """A first-order autoregression: its mean is as uncertain as n (1 - r)/(1 + r) readings."""
    clean = recorded(nonwoven, noise=False, step=4.0)
    still = 8
    rng = np.random.default_rng(7)
    n = clean.time.size * still
    long = {name: np.repeat(getattr(clean, name)[:1], n) for name in COLUMNS}
    scan = nonwoven.controller.scan_time
    start = float(clean.output[0])
    plan = [Action(10.0 + 10.0 * i, "output", start + 4.0 * ((i + 1) % 2)) for i in range(3)]
    quiet = simulate(nonwoven, plan, duration=n * scan, noise=False, runout=False)
    assert quiet.time.size == long["time"].size
    white = rng.standard_normal(n)
    r, red = 0.7, np.zeros(n)
    for i in range(1, n):
        red[i] = r * red[i - 1] + math.sqrt(1.0 - r * r) * white[i]
    errors = []
    for noise in (white, red):
        trend = altered(quiet, tension=quiet.tension + 0.4 * noise)
        fit = fit_machine(trend, nonwoven, free=(TORQUE,))
        errors.append(fit.parameter(TORQUE).standard_error)
    assert errors[1] / errors[0] == pytest.approx(math.sqrt((1 + r) / (1 - r)), rel=0.2)


# A machine learned in one place is known in another.


def test_a_test_at_full_roll_predicts_the_core(film):
    true = times(film, {MODULUS: 1.3, LAG: 0.7, TORQUE: 0.85})
    test = step_test(true, runout=False, seed=1)
    fit = fit_machine(test.trend, film)
    core, step = film.roll.core_diameter, 2.0

    def answer(machine):
        start = operating_point(machine, diameter=core).output
        plan = [Action(1.0, "output", start + step)]
        run = simulate(machine, plan, duration=6.0, diameter=core, noise=False, runout=False)
        return run.time, run.output, run.tension - run.tension[0]

    time, output, actual = answer(true)
    acting = behind_play(output, supply_play(film))
    black_box = np.zeros_like(time)
    for i in np.flatnonzero(np.diff(acting)) + 1:
        response = test.fit.best.step_response(time[i:] - time[i])
        black_box[i:] += (acting[i] - acting[i - 1]) * response
    black_box *= 0.01 * film.controller.tension_range

    def miss(predicted):
        return float(np.sqrt(np.mean((predicted - actual) ** 2)))

    learned, described = miss(answer(fit.scenario)[2]), miss(answer(film)[2])
    assert learned < 0.02 * np.ptp(actual)
    assert learned < 0.02 * miss(black_box)
    # … and someone who knows that the gain goes with 1/R still has the wrong lag.
    assert learned < 0.1 * miss(black_box * film.roll.full_diameter / core)
    assert learned < 0.1 * described


def test_levels_that_are_trusted_tell_friction_from_torque(film):
    true = with_parameters(film, {BEARING: 3.0, TORQUE: 100.0})
    tests = [recorded(true, diameter=diameter) for diameter in (0.8, 0.3)]
    fit = fit_machine(tests, film, free=(TORQUE, BEARING), level_error=1.0)
    assert fit.parameter(BEARING).after == pytest.approx(3.0, abs=0.5)
    assert fit.parameter(TORQUE).after == pytest.approx(100.0, rel=0.01)
    free = fit_machine(tests, film, free=(TORQUE, BEARING))
    assert not free.parameter(BEARING).seen
    assert free.parameter(TORQUE).after == pytest.approx(100.0, rel=0.01)
    # The friction that is not seen shows as level: 2.5 N m over the radius, less tension read low.
    assert free.tests[1].level_offset == pytest.approx(2.5 / 0.15, rel=0.1)
    assert any("friction, residual torque or the zero" in text for text in free.warnings)


# What a test can't tell.


def test_core_and_density_need_two_diameters(foil):
    free = (TORQUE, CORE, DENSITY)
    one = fit_machine(recorded(foil, diameter=0.3), foil, free=free)
    assert one.alike == ((CORE, DENSITY),)
    assert abs(one.correlation[1, 2]) > 0.99
    assert any("another diameter" in w and "can't tell" in w for w in one.warnings)
    both = [recorded(foil, diameter=diameter) for diameter in (0.5, 0.3)]
    two = fit_machine(both, times(foil, {CORE: 1.5, DENSITY: 0.8}), free=free)
    assert two.alike == ()
    for name in (CORE, DENSITY):
        assert two.parameter(name).after == pytest.approx(value(foil, name), rel=0.05)


def test_stiffness_and_inertia_of_a_pull_roll_are_one(laminate):
    fit = fit_machine(recorded(laminate), laminate, free=(MODULUS, "roll.inertia", TORQUE))
    assert fit.alike == ((MODULUS, "roll.inertia"),)
    assert any("stiffness over inertia" in warning for warning in fit.warnings)
    # The errors say it, too: each by itself is far less certain than their ratio.
    p = fit.parameter(MODULUS)
    assert p.standard_error > 0.1 * p.after


def test_lag_and_filter_may_change_places(laminate):
    trend = recorded(laminate)
    fit = fit_machine(trend, laminate, free=(TORQUE, LAG, FILTER))
    assert any("change places" in warning for warning in fit.warnings)
    # They do: described the other way round, the same record fits as well.
    cell, device = laminate.load_cell.filter_time, laminate.torque_device.lag
    swapped = with_parameters(laminate, {LAG: cell, FILTER: device})
    other = fit_machine(trend, swapped, free=(TORQUE, LAG, FILTER))
    assert other.residual == pytest.approx(fit.residual, rel=2e-3)
    assert other.parameter(LAG).after > 1.3 * fit.parameter(LAG).after


def test_what_is_not_seen_is_left_and_said(film):
    fit = fit_machine(recorded(film), times(film, {CORE: 2.0}), free=(TORQUE, CORE, BEARING))
    for name in (CORE, BEARING):
        p = fit.parameter(name)
        assert not p.seen and p.after == p.before and math.isnan(p.standard_error)
        assert any(name in w and "not seen in this test" in w for w in fit.warnings)
    assert fit.scenario.roll.core_inertia == 2.0 * film.roll.core_inertia


def test_a_swing_that_drowns_in_the_noise_is_not_taken_for_one(film):
    """At the core the film's swing is far below the noise: any line of the noise would fit."""
    for seed in (3, 4):
        fit = fit_machine(recorded(film, diameter=film.roll.core_diameter, seed=seed), film)
        assert not fit.parameter(MODULUS).seen
        assert fit.parameter(TORQUE).seen and fit.parameter(LAG).seen


def test_a_number_at_the_end_of_its_range_is_said_to_be_there(film):
    """With the lag held at twice its true value, no dead time is short enough."""
    fit = fit_machine(recorded(film), times(film, {LAG: 2.0}), free=(TORQUE, DEAD))
    p = fit.parameter(DEAD)
    assert p.at_limit and p.after == p.low == 0.0 < p.high
    assert any(DEAD in w and "the fit ends at the least searched, 0 s" in w for w in fit.warnings)


# Records and their refusals.


def test_diameter_and_speed_may_be_given(film):
    trend = recorded(film, diameter=0.4)
    unknown = np.full(trend.time.size, math.nan)
    bare = altered(trend, diameter=unknown, line_speed=unknown)
    told = fit_machine(trend, film, free=(TORQUE, LAG))
    given = fit_machine(bare, film, free=(TORQUE, LAG), diameters=[0.4], line_speeds=[2.5])
    assert given.parameters == told.parameters
    with pytest.raises(ValueError, match="test 1: diameter is not in the record"):
        fit_machine(bare, film, line_speeds=[2.5])
    with pytest.raises(ValueError, match="line_speed is not in the record"):
        fit_machine(bare, film, diameters=[0.4])
    with pytest.raises(ValueError, match=r"recorded as 0\.4 m and given as 0\.5"):
        fit_machine(trend, film, diameters=[0.5])
    with pytest.raises(ValueError, match="2 values for 1 tests"):
        fit_machine(trend, film, diameters=[0.4, 0.4])
    with pytest.raises(ValueError, match="must lie between 89 mm and 800 mm"):
        fit_machine(bare, film, diameters=[0.9], line_speeds=[2.5])


@pytest.mark.parametrize(("change", "said"), [
    ({"automatic": 1.0}, "recorded in automatic"),
    ({"output": 40.0}, "output stays at 40 %"),
    ({"tension": 150.0}, "tension stays at 150 N"),
    ({"tension": math.nan}, "every value must be finite"),
    ({"tension": -5.0}, "a test needs a taut web"),
    ({"line_speed": 0.0}, "line_speed 0 m/s"),
    ({"time": 0.0}, "time must increase"),
])  # fmt: skip
def test_what_is_no_step_test_is_refused(film, change, said):
    trend = recorded(film)
    columns = {name: np.full(trend.time.size, v) for name, v in change.items()}
    if change == {"tension": -5.0}:
        columns["tension"][-1] = -6.0
    with pytest.raises(ValueError, match=f"test 1: .*{said}"):
        fit_machine(altered(trend, **columns), film)


def test_other_records_are_refused(film):
    trend = recorded(film)
    with pytest.raises(ValueError, match="has 21 samples: a fit needs 40"):
        fit_machine(trend.between(0.0, 0.4), film)
    faster = altered(trend, line_speed=np.linspace(2.0, 3.0, trend.time.size))
    with pytest.raises(ValueError, match="goes from 2 to 3 m/s"):
        fit_machine(faster, film)
    restless = altered(trend, output=40.0 + np.arange(trend.time.size) % 2)
    with pytest.raises(ValueError, match="was it recorded in automatic"):
        fit_machine(restless, film)
    with pytest.raises(ValueError, match=r"test 2: .*web of this scenario breaks"):
        fit_machine([trend, altered(trend, tension=20.0 * trend.tension)], film)
    with pytest.raises(ValueError, match="tests is empty"):
        fit_machine([], film)
    with pytest.raises(ValueError, match="level_error"):
        fit_machine(trend, film, level_error=0.0)
    with pytest.raises(ValueError, match=r"allowed are web\.modulus"):
        fit_machine(trend, film, free=("modulus",))


def test_a_lost_web_is_refused(film):
    start = operating_point(film, diameter=0.8).output
    broken = simulate(
        replace(film, web=replace(film.web, breaking_tension=160.0)),
        [Action(2.0, "output", start + 10.0)],
        duration=6.0,
        runout=False,
    )
    assert broken.web_lost == "web break"
    with pytest.raises(ValueError, match="ends in a web break"):
        fit_machine(broken, film)


def test_a_machine_that_would_break_the_web_is_refused(film):
    """The reading stays below what breaks the web; the span behind the roller would not."""
    trend = recorded(film, noise=False)
    most = float(trend.tension.max())
    weak = replace(film, web=replace(film.web, breaking_tension=1.0005 * most))
    with pytest.raises(ValueError, match=r"replayed on the machine as learned.*web break"):
        fit_machine(trend, weak, free=(TORQUE, LAG))


def test_same_record_same_bits(film):
    trend = recorded(film)
    one, other = (fit_machine(trend, film, free=(TORQUE, LAG)) for _ in range(2))
    assert one.parameters == other.parameters


def test_what_matters_for_tuning_is_free_if_nothing_is_named(nonwoven):
    fit = fit_machine(recorded(nonwoven), nonwoven)
    assert tuple(p.name for p in fit.parameters) == USUALLY_FREE
    assert fit.described == nonwoven
    with pytest.raises(KeyError, match="free were"):
        fit.parameter(DENSITY)


def test_unit_sign_and_scale_of_a_record_are_checked(film):
    trend = step_test(film).trend
    for change, says in (
        ({"tension": 1e-3 * trend.tension}, "check the unit"),
        ({"output": 100.0 - trend.output}, "check the sign of the output"),
        ({"output": 0.01 * trend.output}, "share from 0 to 1"),
    ):
        with pytest.raises(ValueError, match=says):
            fit_machine(replace(trend, **change), film)


def test_quiet_hours_after_the_test_are_left_out(film):
    trend = step_test(film, runout=False).trend
    longer = [
        np.concatenate([values, np.full(40_000, values[-1])])
        for values in (trend.output, trend.line_speed, trend.diameter, trend.automatic)
    ]
    rng = np.random.default_rng(0)
    steady = trend.tension[-1] + 0.5 * rng.standard_normal(40_000)
    scan = film.controller.scan_time
    whole = replace(
        trend,
        time=np.concatenate([trend.time, trend.time[-1] + scan * np.arange(1, 40_001)]),
        tension=np.concatenate([trend.tension, steady]),
        output=longer[0], line_speed=longer[1], diameter=longer[2], automatic=longer[3],
        setpoint=np.full(trend.time.size + 40_000, np.nan),
    )  # fmt: skip
    # As a file would have it: nothing but what was recorded.
    fit = fit_machine(read_trend(whole.to_csv()), film)
    assert fit.tests[0].time.size < trend.time.size + 3500
    assert fit.parameter("web.modulus").after == pytest.approx(film.web.modulus, rel=0.05)
