"""Play in the supply (hysteresis).

Describing function of play of half width b, input amplitude A > b, and with q = 1 - 2 b/A

    N(A) = 1/2 + (asin q + q sqrt(1 - q²))/pi - j 4 b/(pi A) (1 - b/A)

(Gelb & Vander Velde, Multiple-Input Describing Functions, 1968; Slotine & Li, Applied Nonlinear
Control, 1991, section 5.3; from memory, and checked below by integration.) A cycle is expected
where L(jw) N(A) = -1. It takes all signals for sines: an estimate.
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from simulator import Action, linearise
from tests.simulator.cycles import (
    braked,
    first_harmonic,
    run,
    stability_limit,
    whole_cycles,
    with_gains,
)
from tuning.gains import Gains
from tuning.margins import loop_margins, plant_response


def describing_function(A, b):
    q = 1 - 2 * b / A
    real = 0.5 + (np.arcsin(q) + q * np.sqrt(1 - q * q)) / math.pi
    return real - 1j * 4 * b / (math.pi * A) * (1 - b / A)


def test_the_describing_function_of_play_is_its_first_harmonic():
    angle = np.linspace(0.0, 4 * math.pi, 40_001)
    for A in (1.05, 1.5, 3.0, 20.0):
        x, y, place = A * np.sin(angle), np.zeros_like(angle), 0.0
        for i, value in enumerate(x):
            place = min(max(place, value - 1.0), value + 1.0)
            y[i] = place
        last = slice(20_000, 40_000)
        harmonic = 2 * np.mean(y[last] * np.exp(-1j * angle[last])) * 1j / A
        assert describing_function(A, 1.0) == pytest.approx(harmonic, abs=2e-4)


def expected_cycles(response, omega, b):
    """Return (frequency [rad/s], amplitude of the output [%]) of all solutions of L N = -1."""
    A = b * (1 + np.geomspace(1e-4, 1e4, 4000))
    N = describing_function(A, b)
    L = response(omega)
    lag = -np.angle(L) % (2 * math.pi)  # N has to make up for what is left to half a turn
    possible = (lag > math.pi / 2) & (lag < math.pi)
    w, need = omega[possible], lag[possible] - math.pi
    amplitude = np.interp(need, np.angle(N), A)
    size = np.log(np.abs(L[possible]) * np.abs(describing_function(amplitude, b)))
    found = []
    for i in np.flatnonzero(size[:-1] * size[1:] < 0.0):
        part = size[i] / (size[i] - size[i + 1])
        if w[i + 1] < 1.1 * w[i]:
            found.append(tuple(x[i] + part * (x[i + 1] - x[i]) for x in (w, amplitude)))
    return found


class PlayLoop:
    """A machine with play in its supply under integral action alone."""

    play = 2.0  # full width [%]

    def __init__(self, scenario, *, diameter, line_speed):
        self.scenario = braked(scenario, hysteresis=self.play)
        self.at = {"diameter": diameter, "line_speed": line_speed}
        self.scan_time = scenario.controller.scan_time
        self.plant = linearise(self.scenario, **self.at)
        self.seen = plant_response(self.plant, scan_time=self.scan_time)
        self.limit = stability_limit(self.plant, self.scan_time)

    def margins(self, share):
        return loop_margins(self.seen, Gains.integral_only(share * self.limit))

    def expected(self, share):
        gains = Gains.integral_only(share * self.limit)
        omega = np.geomspace(1e-2, 0.9 * math.pi / self.scan_time, 20_000)
        return expected_cycles(
            lambda w: self.seen.at(w) * gains.sampled_frequency_response(w, self.scan_time),
            omega,
            0.5 * self.play,
        )

    def run(self, share, step, duration=300.0):
        gains = Gains.integral_only(share * self.limit)
        plan = [
            Action(0.0, "automatic"),
            Action(0.5, "setpoint", self.scenario.run.tension + step),
        ]
        trend = run(
            with_gains(self.scenario, gains.Kc, gains.Ti), plan, duration=duration, **self.at
        )
        assert not trend.web_lost
        return trend


PLAY = [("film", 0.8, 2.5), ("film", 0.3, 2.5), ("nonwoven", 0.7, 2.0), ("nonwoven", 0.3, 0.25)]


@pytest.mark.parametrize(("name", "diameter", "line_speed"), PLAY)
def test_play_comes_to_rest_in_a_calm_loop(request, name, diameter, line_speed):
    """Ms 1.6: the describing function sees no cycle, and a run of the whole machine has none."""
    scenario = request.getfixturevalue(name)
    loop = PlayLoop(scenario, diameter=diameter, line_speed=line_speed)
    share = brentq(lambda x: loop.margins(x).Ms - 1.6, 0.02, 0.9)
    assert loop.expected(share) == []
    step = 0.1 * scenario.run.tension
    trend = loop.run(share, step)
    rest = trend.between(200.0, 300.0)
    assert np.ptp(rest.tension) < 0.01 * step
    assert rest.tension[-1] == pytest.approx(scenario.run.tension + step, abs=0.02 * step)


CYCLING = [("film", 0.3, 2.5, 0.8), ("film", 0.3, 2.5, 0.9), ("nonwoven", 0.3, 0.25, 0.9)]


@pytest.mark.parametrize(("name", "diameter", "line_speed", "share"), CYCLING)
def test_play_makes_a_tight_loop_cycle_as_its_describing_function_says(
    request, name, diameter, line_speed, share
):
    """Near its limit, but stable by its margins: the larger of the two solutions is the cycle."""
    scenario = request.getfixturevalue(name)
    loop = PlayLoop(scenario, diameter=diameter, line_speed=line_speed)
    assert loop.margins(share).stable and loop.margins(share).Ms > 4.0
    (_, smaller), (omega, larger) = loop.expected(share)
    assert smaller < larger
    per_newton = 100.0 / (scenario.controller.tension_range * loop.plant.static_gain)

    trend = loop.run(share, larger / per_newton, duration=120.0).between(80.0, 120.0)
    assert trend.web_tension.min() > 0.0
    cycle, period = whole_cycles(trend, trend.output)
    assert 2 * math.pi / period == pytest.approx(omega, rel=0.05)
    assert first_harmonic(cycle.time, cycle.output, period) == pytest.approx(larger, rel=0.10)


def overshoot(loop, share):
    """How far the tension passes a setpoint that it is led to by play just taken up [-].

    The error stands at 1 while integral action takes up the play; then the loop is linear until
    the error is 0, where the output turns and the supply stops. The plant goes on to K u.
    """
    A, B, C = loop.seen.sampled.with_delay_states()
    Ki = share * loop.limit
    state, u, error = np.zeros(B.size), 0.0, 1.0
    while error > 0.0:
        state = A @ state + B * u
        u += Ki * loop.scan_time * error
        error = 1.0 - C @ state
    return loop.plant.static_gain * u - 1.0


@pytest.mark.parametrize(("name", "diameter", "line_speed"), PLAY)
def test_play_cycles_where_the_tension_overshoots_by_more_than_it_was_off(
    request, name, diameter, line_speed
):
    """A swing small against the play: it is taken up at a constant error, and what is left after it
    is the next half cycle's error. It grows where that is more than before: the exact limit between
    rest and cycle, derived here, where the describing function is an estimate. At that limit the
    loop still is stable with Ms about 5; the describing function sees a cycle only above it.
    """
    scenario = request.getfixturevalue(name)
    loop = PlayLoop(scenario, diameter=diameter, line_speed=line_speed)
    limit = brentq(lambda share: overshoot(loop, share) - 1.0, 0.3, 0.99, xtol=1e-4)
    assert 4.0 < loop.margins(limit).Ms < 10.0
    assert loop.expected(limit) == []
    calm_share = brentq(lambda x: loop.margins(x).Ms - 1.6, 0.02, 0.9)
    assert overshoot(loop, calm_share) < 0.2

    newtons = 0.01 * scenario.controller.tension_range * loop.plant.static_gain
    # A large swing dies away below the limit, a small one grows above it.
    calm = loop.run(0.93 * limit, 5.0 * newtons).between(200.0, 300.0)
    assert np.ptp(calm.web_tension) < 0.2 * newtons
    cycle = loop.run(1.1 * limit, 0.1 * newtons).between(200.0, 300.0)
    assert np.ptp(cycle.web_tension) > 1.0 * newtons
    whole_cycles(cycle, cycle.output)


def test_a_bare_resonance_under_integral_action_does_not_cycle_from_play():
    """Stable for K Ki < 2 zeta w0 (exact). Where L lags enough for play it is a circle as wide as
    that share of the limit: |L| < 1, no solution. Lags and dead time turn it, and make it cycle.
    """
    omega = np.geomspace(1e-3, 0.9999, 40_000)
    for zeta in (0.02, 0.05, 0.1):
        for share in (0.5, 0.75, 0.9):
            Ki = share * 2 * zeta

            def response(w, Ki=Ki, zeta=zeta):
                return Ki / (1j * w) / (1 - w * w + 2j * zeta * w)

            assert expected_cycles(response, omega, 1.0) == []
