"""A whole roll: how long it lasts, what a held output does on it, and what ends it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import Action, SimulationError, operating_point, simulate
from simulator.roll_run import roll_time, run_at_diameters, run_roll


def tuned(scenario, Kc, Ti):
    return replace(scenario, controller=replace(scenario.controller, Kc=Kc, Ti=Ti))


def test_a_roll_lasts_its_length_over_the_speed(film):
    # pi (D² - d²)/(4 h v), worked by hand: 800 and 89 mm, 25 um, 2.5 m/s.
    assert roll_time(film) == pytest.approx(math.pi * (0.64 - 0.007921) / 1e-4 / 2.5, rel=1e-9)
    assert roll_time(film, 5.0) == pytest.approx(0.5 * roll_time(film), rel=1e-12)


def test_a_held_output_raises_the_tension_as_the_roll_shrinks(film):
    """Constant torque makes tension rise as an unwind shrinks (webhandling.com, tension 0701)."""
    tough = replace(film, web=replace(film.web, breaking_tension=None))
    trend = run_roll(tough, automatic=False, noise=False, runout=False)
    for diameter in (0.6, 0.4, 0.2):
        at = int(np.argmin(np.abs(trend.diameter - diameter)))
        # Each is the steady tension of that output there.
        point = operating_point(
            tough, diameter=float(trend.diameter[at]), tension=float(trend.web_tension[at])
        )
        assert point.output == pytest.approx(trend.output[0], abs=0.5)
    assert trend.web_tension[-1] > 8.0 * trend.web_tension[0]


def test_automatic_holds_the_tension_from_full_roll_to_core(film):
    trend = run_roll(tuned(film, 0.09, 0.21), noise=False, runout=False)
    # The needed output falls as the roll shrinks, and integral action lags behind a ramp by its
    # slope times Ti/Kc (closed form), in % of range: most near the core, where it is steepest.
    lag = 3.0 * np.gradient(trend.output, trend.time) * 0.21 / 0.09
    inside = (trend.diameter > 0.15) & (trend.time > 5.0)
    np.testing.assert_allclose((150.0 - trend.web_tension)[inside], lag[inside], atol=0.3)
    assert np.abs(lag[inside]).max() < 10.0
    assert trend.diameter[-1] == pytest.approx(0.089, abs=2e-3)
    full, core = (
        operating_point(film, diameter=d).output for d in (0.8, float(trend.diameter[-1]))
    )
    assert trend.output[0] == pytest.approx(full, abs=0.1)
    assert trend.output[-1] == pytest.approx(core, abs=0.5)


def test_compression_changes_little_but_the_time(film):
    """At 30 and 60 layers for one the same output belongs to the same diameter."""
    slow, fast = (
        run_roll(tuned(film, 0.09, 0.21), time_compression=c, noise=False, runout=False)
        for c in (30.0, 60.0)
    )
    assert slow.time[-1] == pytest.approx(2.0 * fast.time[-1], rel=1e-3)
    across = np.linspace(0.12, 0.78, 30)
    outputs = [np.interp(across, t.diameter[::-1], t.output[::-1]) for t in (slow, fast)]
    np.testing.assert_allclose(outputs[0], outputs[1], atol=0.3)


def test_a_roll_that_runs_out_says_so(film):
    short = replace(film, roll=replace(film.roll, full_diameter=0.0892))
    # Marked at the next sample; the web is stretched, so its length lasts a little longer.
    trend = simulate(short, duration=1.2 * roll_time(short), time_compression=1.0)
    (at,) = [t for t, text in trend.events if text == "roll empty"]
    assert at == pytest.approx(roll_time(short), abs=0.021)
    assert any("roll empty" in text for text in trend.warnings)


def test_a_rewind_runs_from_core_to_full(paper_rewind):
    trend = run_roll(
        tuned(paper_rewind, 0.2, 0.32), time_compression=20.0, noise=False, runout=False
    )
    assert trend.diameter[0] == pytest.approx(0.152)
    assert trend.diameter[-1] == pytest.approx(0.9, rel=0.01)
    assert np.abs(trend.web_tension - 240.0)[trend.diameter > 0.2].max() < 10.0


def test_jumping_from_diameter_to_diameter(film):
    trends = run_at_diameters(
        tuned(film, 0.09, 0.21), [Action(1.0, "setpoint", 160.0)],
        diameters=(0.8, 0.4, 0.089), duration=10.0, noise=False, runout=False,
    )  # fmt: skip
    assert [t.diameter[0] for t in trends] == pytest.approx([0.8, 0.4, 0.089])
    for trend in trends:
        assert trend.web_tension[0] == pytest.approx(150.0, rel=1e-6)
        assert trend.web_tension[-1] == pytest.approx(160.0, rel=0.01)


def test_a_pull_roll_never_runs_out(laminate):
    with pytest.raises(SimulationError, match="never runs out"):
        roll_time(laminate)
