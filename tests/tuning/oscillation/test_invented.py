"""Invented records swing where the physics of their trouble says, and nowhere by chance."""

import math

import numpy as np
import pytest
from scipy.signal import periodogram

from tuning.margins import loop_margins
from tuning.oscillation import invented
from tuning.oscillation.causes import LOOP, MOVES, NONE, PICKUP, RINGING, ROLL, ROLLER, STICKING
from tuning.oscillation.invented import invented_gains, invented_record, invented_troubles
from tuning.oscillation.invented_run import sound_run


def interval_of(trend):
    return float(trend.time[-1] / (trend.time.size - 1))


def largest_line(values, rate):
    """Return where the largest line is, how fine that is, and its height, by scipy."""
    f, power = periodogram(values, rate, window="hann", detrend="linear", scaling="spectrum")
    return float(f[np.argmax(power)]), float(f[1]), float(power.max())


def strongest(trend, values=None):
    """Return the frequency [Hz] of the largest line of the tension, and how fine that is."""
    values = trend.tension if values is None else values
    return largest_line(values, 1.0 / interval_of(trend))[:2]


def in_turns(trend, diameter):
    """Return how often the tension swings in a turn of a body [m], and how fine that is."""
    turns = np.concatenate([[0.0], np.cumsum(trend.line_speed[:-1] * interval_of(trend))])
    turns /= math.pi * diameter
    even = np.linspace(0.0, turns[-1], trend.time.size)
    return largest_line(np.interp(even, turns, trend.tension), 1.0 / even[1])[:2]


def test_every_record_is_one_that_a_recorder_may_have(scenario):
    for trouble in invented_troubles(scenario):
        trend = invented_record(scenario, trouble)
        assert trend.time[0] == 0.0 and np.all(np.diff(trend.time) > 0.0)
        assert 300 < trend.time.size < 20_000
        for column in ("tension", "output", "setpoint", "line_speed", "diameter", "automatic"):
            assert np.isfinite(getattr(trend, column)).all()
        # What no recorder sees.
        assert trend.web_tension.size == 0 and not trend.events
        assert trend.tension.min() > 0.5 * scenario.run.tension


def test_the_same_seed_gives_the_same_bits_and_another_does_not(film):
    one, again, other = (invented_record(film, ROLL, seed=seed) for seed in (3, 3, 4))
    assert np.array_equal(one.tension, again.tension)
    assert np.array_equal(one.line_speed, again.line_speed)
    assert not np.array_equal(one.tension, other.tension)


def test_a_roll_out_of_round_swings_once_a_turn(scenario):
    trend = invented_record(scenario, ROLL)
    once, width = in_turns(trend, float(trend.diameter[0]))
    assert once == pytest.approx(1.0, abs=2.0 * width)


def test_a_roller_out_of_round_swings_once_in_its_own_turn(worn):
    trend = invented_record(worn, ROLLER)
    bodies = {roller.diameter for roller in worn.roller} | {worn.nip.diameter}
    off = [abs(once - 1.0) / width for once, width in (in_turns(trend, d) for d in bodies)]
    assert min(off) < 2.0


def test_what_the_line_speed_does_the_tension_does(scenario):
    trend = invented_record(scenario, MOVES)
    tension, width = strongest(trend)
    speed, _ = strongest(trend, trend.line_speed)
    assert tension == pytest.approx(speed, abs=1.5 * width)


def test_hum_shows_where_sampling_folds_it_to(scenario):
    """|f - k/h|: the sampling theorem; the mains are 0.02 Hz above 50 Hz."""
    trend = invented_record(scenario, PICKUP)
    rate = 1.0 / interval_of(trend)
    seen, width = strongest(trend)
    folded = min(abs(50.02 - k * rate) for k in range(20))
    assert seen == pytest.approx(folded, abs=1.5 * width)
    # The loop does not hear it.
    f, _, power = largest_line(trend.output, rate)
    assert abs(f - folded) > width or power < 0.01


def test_gains_too_high_are_nearly_unstable_and_swing_at_their_peak(film):
    """A gain margin g on a loop that rings is Ms of at least g/(g - 1), exact."""
    run = sound_run(film)
    gains = invented_gains(film, LOOP)
    margins = loop_margins(run.plant, gains, scan_time=film.controller.scan_time)
    assert margins.stable and margins.Ms > 1.0 / (1.0 - invented.TOO_TIGHT) - 1e-6
    trend = invented_record(film, LOOP)
    # Without noise, and, as differences, without the slow settling after a step of the setpoint.
    f, _ = strongest(trend, np.diff(np.convolve(trend.tension, np.full(9, 1.0 / 9.0), "valid")))
    assert f == pytest.approx(margins.peak_frequency / (2.0 * math.pi), rel=0.05)


def test_a_roll_rings_in_manual_at_its_swing_on_the_web(foil):
    """The frequency of a damped swing, w sqrt(1 - zeta²), exact for a linear plant."""
    run = sound_run(foil)
    trend = invented_record(foil, RINGING)
    assert np.ptp(trend.output) == 0.0 and not trend.automatic.any()
    swing = run.plant.natural_frequency * math.sqrt(1.0 - run.plant.damping_ratio**2)
    assert strongest(trend)[0] == pytest.approx(swing / (2.0 * math.pi), rel=0.03)


def test_a_brake_that_sticks_hunts_and_one_that_does_not_is_quiet(film):
    """In jumps: most of a hunting record is near one of two levels, common practice."""
    hunts, quiet = invented_record(film, STICKING), invented_record(film, NONE)
    assert np.std(hunts.tension) > 2.0 * np.std(quiet.tension)
    period = 1.0 / strongest(hunts)[0]
    assert period > 4.0 * film.torque_device.lag


def test_a_quiet_machine_has_the_noise_of_its_reading(scenario):
    trend = invented_record(scenario, NONE)
    assert np.std(trend.tension) < 3.0 * scenario.load_cell.noise + 1e-3 * scenario.run.tension


def test_only_brakes_can_stick_and_only_light_damping_rings(nonwoven, laminate):
    assert STICKING not in invented_troubles(laminate)
    assert RINGING not in invented_troubles(nonwoven)
    with pytest.raises(ValueError, match=r"this machine may have .*roll out of round"):
        invented_record(laminate, STICKING)
    with pytest.raises(ValueError, match="this machine may have"):
        invented_record(laminate, "gremlins")
