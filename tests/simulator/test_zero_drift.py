"""A zero that wanders: closed forms of display and web, and every way in which it goes wrong."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import linearise, load_scenario, operating_point, simulate
from simulator.zero_drift import drifting_run
from tests.conftest import ROOT

MINUTES = 120.0  # [s], long against the loops here, which settle in 10 s


def with_cell(machine, **values):
    return replace(machine, load_cell=replace(machine.load_cell, **values))


def with_control(machine, **values):
    return replace(machine, controller=replace(machine.controller, **values))


def tuned(machine, *, pace=0.3):
    """Integral action that, with the plant's static gain, closes an error at `pace` [1/s]."""
    plant = linearise(machine, diameter=drum(machine), line_speed=machine.run.line_speed)
    return with_control(machine, Kc=0.05 * pace / abs(plant.static_gain), Ti=0.05)


def drum(machine):
    roll = machine.roll
    return roll.diameter if machine.zone == "pull roll" else roll.full_diameter


@pytest.mark.parametrize("compression", [0.0, 30.0])
def test_drift_goes_with_the_time_of_the_run_whatever_its_compression(film, compression):
    """By its definition: reading = (1 + e) T + z + d t, at rest behind the filter."""
    machine = with_cell(film, zero_drift=0.2, zero_error=3.0, gain_error=10.0)
    trend = simulate(
        machine, duration=60.0, noise=False, runout=False, time_compression=compression
    )
    # The tension rises as the roll runs out in fast motion, after a swing; the filter lags behind.
    lag = machine.load_cell.filter_time * np.gradient(trend.web_tension, trend.time)
    expected = 1.1 * (trend.web_tension - lag) + 3.0 + 0.2 * trend.time
    assert trend.tension[300:] == pytest.approx(expected[300:], abs=2e-3)


def test_in_automatic_the_web_gets_what_the_display_does_not_tell(scenario):
    wanted = scenario.run.tension
    drift, gain, zero = 0.1 * wanted / MINUTES, 8.0, -0.03 * wanted
    run = drifting_run(
        tuned(scenario), duration=MINUTES, zero_drift=drift, gain_error=gain, zero_error=zero
    )
    end = run.trend.time[-1]
    assert run.web[0] == pytest.approx((wanted - zero) / 1.08, rel=1e-6)
    assert run.expected == pytest.approx((wanted - zero - drift * end) / 1.08, rel=1e-12)
    assert run.web[1] == pytest.approx(run.expected, rel=6e-3)
    assert run.shift == pytest.approx(run.web[1] - wanted)
    assert run.display[1] == pytest.approx(wanted, rel=6e-3)


def test_what_the_loop_lags_behind_a_ramp(laminate):
    """A loop with one integrator follows a ramp behind by its slope over the velocity constant
    (final value theorem; any textbook of control): here d/(K Ki), with the reading above the
    setpoint while the zero climbs."""
    machine = tuned(laminate, pace=0.3)
    run = drifting_run(machine, duration=MINUTES, zero_drift=0.2)
    assert run.display[1] - laminate.run.tension == pytest.approx(0.2 / 0.3, rel=0.02)
    assert run.web[1] - run.expected == pytest.approx(0.2 / 0.3, rel=0.02)


def test_in_manual_the_web_stays_and_the_display_wanders(scenario):
    wanted = scenario.run.tension
    run = drifting_run(
        scenario, duration=60.0, zero_drift=-0.1 * wanted / 60.0, gain_error=5.0, automatic=False
    )
    assert run.web == pytest.approx((wanted, wanted), rel=1e-4)
    assert run.display == pytest.approx((1.05 * wanted, 0.95 * wanted), rel=1e-3)
    assert run.expected == pytest.approx(wanted)
    assert "In manual the web stays at" in run.words[0]


def test_words(laminate):
    machine = tuned(laminate)
    run = drifting_run(machine, duration=600.0, zero_drift=0.06)
    assert run.words == (
        "In automatic the display stays at 300 N; the web goes from 300 N to 264 N.",
        "That is 12 % less than the 300 N that are wanted.",
    )
    by_hand = drifting_run(machine, duration=600.0, zero_drift=0.06, automatic=False)
    assert by_hand.words == (
        "In manual the web stays at 300 N; the display goes from 300 N to 336 N.",
    )


FILM = load_scenario(ROOT / "scenarios" / "film_unwind.toml")


@settings(max_examples=15, deadline=None)
@given(st.floats(-0.15, 0.15), st.floats(-20.0, 20.0), st.floats(-0.1, 0.1))
def test_display_and_web_tell_their_difference(share, gain, zero):
    """Whatever the errors, (1 + e) T + z + d t is what the display shows at the end."""
    wanted = FILM.run.tension
    run = drifting_run(
        tuned(FILM), duration=60.0, zero_drift=share * wanted / 60.0, gain_error=gain,
        zero_error=zero * wanted,
    )  # fmt: skip
    told = (1.0 + 0.01 * gain) * run.web[1] + run.zero[1]
    assert run.display[1] == pytest.approx(told, rel=3e-3)
    assert run.web[1] == pytest.approx(run.expected, rel=0.02)


def test_output_at_its_end_lets_go_of_the_display(laminate):
    wanted, drift = laminate.run.tension, 6.0
    run = drifting_run(tuned(laminate), duration=60.0, zero_drift=drift)
    low = operating_point(laminate, diameter=laminate.roll.diameter).tension_low
    assert low > 0.0
    assert run.expected == pytest.approx(low)
    assert run.web[1] == pytest.approx(low, rel=1e-3)
    # A loop that closes at 0.3 /s lags a ramp by 3.3 s.
    assert run.output_end_at == pytest.approx((wanted - low) / drift + 1.0 / 0.3, abs=0.6)
    assert run.display[1] == pytest.approx(low + run.zero[1], rel=1e-3)
    assert "stands at its lower end" in " ".join(run.words)
    up = drifting_run(tuned(laminate), duration=60.0, zero_drift=-drift)
    high = operating_point(laminate, diameter=laminate.roll.diameter).tension_high
    assert up.web[1] == pytest.approx(high, rel=1e-3)
    assert "stands at its upper end" in " ".join(up.words)
    calm = drifting_run(tuned(laminate), duration=60.0, zero_drift=0.1)
    assert math.isnan(calm.output_end_at) and "end" not in " ".join(calm.words)


def test_slack_web(foil):
    drift = 1.2 * foil.run.tension / MINUTES
    run = drifting_run(tuned(foil), duration=MINUTES, zero_drift=drift)
    assert run.slack_at == pytest.approx(foil.run.tension / drift, abs=6.0)
    assert math.isnan(run.broken_at)
    assert run.web[1] == pytest.approx(0.0, abs=0.5)
    assert math.isnan(run.output_end_at)  # it goes there only after the web is lost
    assert "The web goes slack after" in run.words[-1]
    assert any("went slack" in w for w in run.warnings)
    half = drifting_run(tuned(foil), duration=0.5 * MINUTES, zero_drift=drift)
    assert math.isnan(half.slack_at) and "slack" not in " ".join(half.words + half.warnings)


def test_web_break(film):
    weak = replace(tuned(film), web=replace(film.web, breaking_tension=1.4 * film.run.tension))
    drift = -0.5 * film.run.tension / MINUTES
    run = drifting_run(weak, duration=MINUTES, zero_drift=drift)
    assert run.breaking_tension == weak.web.breaking_tension
    # The span beside the cell is a little tighter; the loop lags by 3 s.
    assert run.broken_at == pytest.approx(0.8 * MINUTES, abs=6.0)
    assert "The web breaks after" in run.words[-1]
    held = drifting_run(tuned(film), duration=MINUTES, zero_drift=drift)
    assert math.isnan(held.broken_at) and "break" not in " ".join(held.words + held.warnings)


def test_far_off_and_unseen_is_a_warning(film):
    def warned(drift, **how):
        run = drifting_run(tuned(film), duration=60.0, zero_drift=drift, **how)
        return any("the display shows nothing of it" in w for w in run.warnings)

    assert warned(0.1 * film.run.tension / 60.0)
    assert not warned(0.03 * film.run.tension / 60.0)
    assert not warned(0.1 * film.run.tension / 60.0, automatic=False)


@pytest.mark.parametrize(("level", "blind"), [(5.0, True), (12.0, False)])
def test_a_zero_above_the_break_level_hides_a_break(film, level, blind):
    watched = with_control(tuned(film), break_level=level, break_delay=1.0)
    run = drifting_run(watched, duration=60.0, zero_drift=30.0 / 60.0)  # 10 % of the range
    assert any("would not notice a web break" in w for w in run.warnings) is blind
    by_hand = drifting_run(watched, duration=60.0, zero_drift=0.5, automatic=False)
    assert not any("would not notice" in w for w in by_hand.warnings)


def test_errors_in_the_scenario_count_unless_others_are_given(worn):
    assert worn.load_cell.zero_error == 4.0
    own = drifting_run(worn, duration=10.0, zero_drift=0.0, automatic=False)
    assert own.display[0] == pytest.approx(worn.run.tension + 4.0, abs=0.3)
    true = drifting_run(worn, duration=10.0, zero_drift=0.0, zero_error=0.0, automatic=False)
    assert true.display[0] == pytest.approx(worn.run.tension, abs=0.3)


def test_taper_lowers_what_is_wanted(paper_rewind):
    machine = with_control(tuned(paper_rewind, pace=0.2), taper=25.0)
    run = drifting_run(machine, duration=60.0, zero_drift=0.2)
    assert run.wanted == pytest.approx(0.75 * paper_rewind.run.tension)
    assert run.expected == pytest.approx(run.wanted - 0.2 * run.trend.time[-1])
    assert run.web[1] == pytest.approx(run.expected, rel=0.01)


def test_a_zero_above_the_setpoint_starts_at_the_wanted_tension_and_lets_go(foil):
    run = drifting_run(tuned(foil), duration=60.0, zero_drift=0.0, zero_error=1.2 * 110.0)
    assert run.web[0] == pytest.approx(foil.run.tension, rel=0.05)
    assert run.expected == 0.0
    assert math.isfinite(run.slack_at)


def test_noise_moves_the_end_little_and_is_reproducible(nonwoven):
    machine = tuned(nonwoven)
    one, same = (
        drifting_run(machine, duration=60.0, zero_drift=0.05, noise=True, seed=3) for _ in range(2)
    )
    assert np.array_equal(one.trend.tension, same.trend.tension)
    assert one.web[1] == pytest.approx(one.expected, abs=1.0)


@pytest.mark.parametrize(
    ("change", "how", "says"),
    [
        ({"Kc": None}, {}, r"controller\.Kc"),
        ({"Ti": None}, {}, r"controller\.Ti"),
        ({}, {"zero_drift": math.nan}, "zero_drift nan"),
        ({}, {"zero_error": math.inf}, "zero_error inf"),
        ({}, {"gain_error": -95.0}, "gain_error"),
        ({}, {"diameter": 3.0}, "diameter 3000 mm"),
        ({}, {"duration": 0.0}, "duration"),
    ],
)
def test_refusals_say_what_is_wrong(film, change, how, says):
    machine = with_control(tuned(film), **change)
    with pytest.raises(ValueError, match=says):
        drifting_run(machine, **{"duration": 1.0, "zero_drift": 0.1} | how)


def test_manual_needs_no_gains(laminate):
    assert laminate.controller.Kc is None
    assert drifting_run(laminate, duration=1.0, zero_drift=0.1, automatic=False).words
