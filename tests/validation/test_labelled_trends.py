"""The generator of labelled trends: disturbances exact, labels true, the same bits each time."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Scenario, Trend, linearise, simulate
from simulator.ripple import ripple
from tests.validation.disturbances import Piece, column, pieces_of, superposed, turn_phase
from tests.validation.labelled_trends import CAUSES, labelled_trend
from tests.validation.line_strength import folded, line_and_floor, peak_frequency
from tuning.gains import Gains
from tuning.margins import closed_loop


def test_superposed_is_the_closed_loop_of_the_margins(film: Scenario) -> None:
    """A blow on the roll dies away as powers of the closed loop's own state matrix say."""
    h, gains = film.controller.scan_time, Gains(0.02, 0.5)
    plant = linearise(film, diameter=0.5)
    blow = column(film, plant, "torque", D=0.5, v=2.5, T=150.0)
    scans = 200
    wave = np.zeros((1, scans))
    wave[0, 0] = 1.0
    y, _ = superposed(film, [Piece(0, scans, plant, blow[None], gains)], wave)

    A = closed_loop(plant.sampled(h), gains)
    held = replace(plant, B=blow, dead_time=0.0).sampled(h).prompt
    x = np.concatenate([held, np.zeros(len(A) - held.size)])
    expected = [0.0]
    for _ in range(scans - 1):
        expected.append(float(plant.C @ x[: held.size]))
        x = A @ x
    expected = np.array(expected) * film.controller.tension_range / 100.0
    np.testing.assert_allclose(y, expected, rtol=1e-7, atol=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize("automatic", [False, True])
def test_superposed_runout_is_what_the_simulator_makes_of_one(
    film: Scenario, automatic: bool
) -> None:
    """Two ways to the same swing: runout in the equations of motion, and added afterwards."""
    gains, a, D, v = Gains(0.02, 0.5), 2e-5, 0.4, 1.0
    brake = replace(film.torque_device, hysteresis=0.0)
    film = replace(gains.set_in(film), torque_device=brake)
    round_ = replace(film, roll=replace(film.roll, runout=0.0))
    uneven = replace(film, roll=replace(film.roll, runout=a))
    kept = {"duration": 40.0, "diameter": D, "line_speed": v, "automatic": automatic}
    base = simulate(round_, noise=False, **kept)
    run = simulate(uneven, noise=False, **kept)
    wave = a * np.cos(turn_phase(base, film.controller.scan_time))
    added, _ = superposed(film, pieces_of(film, base, gains, (0,)), wave[None])
    settled = base.time > 25.0
    swing = np.ptp((run.tension - base.tension)[settled])
    assert np.ptp(added[settled]) == pytest.approx(swing, rel=0.03)
    if not automatic:
        expected = 2.0 * ripple(uneven, diameter=D, line_speed=v)[0].reading
        assert np.ptp(added[settled]) == pytest.approx(expected, rel=0.03)


def test_line_strength_of_a_sine_in_noise() -> None:
    """The amplitude of a line is its own, the floor that of the noise around it."""
    time = np.arange(4000) * 0.05
    phase = 2.0 * math.pi * 1.3 * time
    rng = np.random.default_rng(0)
    y = 2.0 * np.cos(phase) + 0.5 * rng.standard_normal(time.size) + 0.3 * time
    amplitude, floor = line_and_floor(y, phase)
    assert amplitude == pytest.approx(2.0, rel=0.03)
    assert floor < 0.2
    assert peak_frequency(y, 0.05, 0.5, 3.0) == pytest.approx(1.3, abs=0.005)


def test_folding() -> None:
    """50 Hz looked at 48 times a second is seen at 2 Hz (the sampling theorem)."""
    assert folded(50.0, 48.0) == pytest.approx(2.0)
    assert folded(120.0, 50.0) == pytest.approx(20.0)


@pytest.mark.parametrize("cause", CAUSES)
def test_a_trend_of_each_cause(cause: str) -> None:
    """Each is a uniform record, made of a stated machine, whose label can be seen in it."""
    for seed in range(2):
        made = labelled_trend(seed, cause)
        assert made.causes[0] == cause
        trend = made.trend
        assert np.ptp(np.diff(trend.time)) < 1e-9 * trend.time[-1]
        assert np.all(np.isfinite(trend.tension)) and np.ptp(trend.tension) > 0.0
        assert made.described.span != made.true.span
        if cause == "none":
            assert math.isnan(made.frequency)
            continue
        dt = trend.time[1]
        assert 0.0 < made.frequency < 0.5 / dt
        assert made.frequency * trend.time[-1] > 3.5
        near = peak_frequency(trend.tension, dt, 0.7 * made.frequency, 1.4 * made.frequency)
        steady = np.ptp(trend.line_speed) < 0.03 and np.ptp(trend.diameter) < 0.003
        if steady:
            assert near == pytest.approx(made.frequency, rel=0.1)


def test_a_roll_swings_as_often_as_it_turns() -> None:
    """Once, twice or three times a turn: v/(pi D) of the recorded columns, off by their errors."""
    found = 0
    for seed in range(12):
        made = labelled_trend(seed, "roll out of round")
        trend = made.trend
        if np.isnan(trend.line_speed + trend.diameter).any():
            continue
        turns = float(np.mean(trend.line_speed / (math.pi * trend.diameter)))
        times = made.frequency / turns
        assert times == pytest.approx(round(times), rel=0.02) and 1 <= round(times) <= 3
        assert made.true.roll.runout > 0.0
        found += 1
    assert found >= 3


def test_the_same_seed_gives_the_same_bits() -> None:
    """Nothing but the seed decides."""
    first, second = labelled_trend(11), labelled_trend(11)
    assert first.causes == second.causes and first.story == second.story
    for name in ("time", "tension", "output", "line_speed", "diameter"):
        np.testing.assert_array_equal(getattr(first.trend, name), getattr(second.trend, name))
    assert isinstance(first.trend, Trend)
