"""What no machine can break: mass of the web, energy of a free roll."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import simpson

from simulator import Action, simulate
from simulator.machine import roll_inertia, web_stiffness


def test_web_in_is_web_out_and_web_stored(foil):
    """Unstretched length: what the roll gives and the nip takes differ by what the spans hold."""
    # Without retardation the strain is tension over stiffness, so the trend shows it.
    scenario = replace(foil, web=replace(foil.web, retardation_time=0.0, breaking_tension=None))
    plan = [Action(1.0, "line speed", 4.5, over=4.0), Action(7.0, "output", 45.0)]
    trend = simulate(scenario, plan, duration=12.0, noise=False, runout=False)
    strain = trend.span_tension / web_stiffness(scenario)
    arriving = scenario.run.far_tension / web_stiffness(scenario)
    rim = 0.5 * trend.diameter * trend.roll_speed
    given = simpson(rim / (1 + arriving), x=trend.time)
    taken = simpson(trend.line_speed / (1 + strain[:, -1]), x=trend.time)
    held = sum(span.length / (1 + strain[:, i]) for i, span in enumerate(scenario.span))
    assert trend.span_tension.min() > 0.0
    assert held[-1] != pytest.approx(held[0], rel=1e-6)
    assert given - taken == pytest.approx(held[-1] - held[0], abs=2e-6)


def test_a_free_roll_gains_the_work_done_on_it_less_what_the_web_takes_along(film):
    """No term dJ/dt: the departing web carries its own energy away at the rim speed.

    With J' = 2 pi rho w R³ and dR/dt = -h w/(2 pi): d/dt(J w²/2) = w R T - (dm/dt) v²/2, exact.
    """
    scenario = replace(
        film,
        run=replace(film.run, far_tension=0.0),
        roll=replace(film.roll, bearing_drag=0.0, viscous_drag=0.0),
        torque_device=replace(film.torque_device, residual_torque=0.0, hysteresis=0.0),
        web=replace(film.web, breaking_tension=None),
        controller=replace(film.controller, scan_time=0.005),
    )
    trend = simulate(
        scenario,
        [Action(0.0, "output", 0.0), Action(0.0, "line speed", 8.0, over=30.0)],
        duration=30.0,
        diameter=0.4,
        line_speed=1.0,
        tension=60.0,
        noise=False,
        runout=False,
        time_compression=1.0,
    )
    J = np.array([roll_inertia(scenario, d) for d in trend.diameter])
    # The brake's lag lets its torque die away: work against it is counted, too.
    start = int(np.searchsorted(trend.time, 3.0))
    assert np.abs(trend.torque[start:]).max() < 1e-3
    part = slice(start, None)
    rim = 0.5 * trend.diameter * trend.roll_speed
    web = film.web
    departing = web.density * web.thickness * web.width * rim
    work = simpson((trend.span_tension[:, 0] * rim)[part], x=trend.time[part])
    taken_along = simpson((0.5 * departing * rim**2)[part], x=trend.time[part])
    energy = 0.5 * J * trend.roll_speed**2
    gained = energy[-1] - energy[start]
    assert trend.span_tension.min() >= 0.0
    assert taken_along > 0.02 * work
    assert gained + taken_along == pytest.approx(work, rel=1e-3)
    # The spurious term would be worth rho h w v² in tension: 0.87 N at 5 m/s on this web (exact).
    assert web.density * web.thickness * web.width * 5.0**2 == pytest.approx(0.87, abs=0.002)


def test_draw_law(foil):
    """Steady: (1 + e)/(1 + e1) = v2/v1 over every span, whatever the drag of the rollers."""
    draggy = replace(
        foil,
        web=replace(foil.web, retardation_time=0.0),
        roller=tuple(replace(roller, drag=0.5) for roller in foil.roller),
    )
    trend = simulate(
        draggy, [Action(0.0, "output", 52.0)], duration=60.0, noise=False, runout=False
    )
    S = web_stiffness(foil)
    arriving = foil.run.far_tension / S
    tensions = trend.span_tension[-1]
    rim = 0.5 * trend.diameter[-1] * trend.roll_speed[-1]
    # Each roller's drag takes 0.5 N m/0.05 m: 10 N from span to span.
    np.testing.assert_allclose(np.diff(tensions), 10.0, rtol=1e-6)
    # From the roll to the nip the rollers between cancel out.
    draw = (1.0 + tensions[-1] / S) / (1.0 + arriving)
    assert trend.line_speed[-1] / rim == pytest.approx(draw, rel=1e-9)


def test_slack_web_makes_no_tension_until_it_is_taken_up(film):
    """What the roll overran at a stop lies slack, and only when the nip has taken it is there pull.

    Unstretched length given less taken since the web was taut: the slack, back to zero at the end.
    """
    tough = replace(film, web=replace(film.web, breaking_tension=None))
    plan = [Action(1.0, "line speed", 0.0, over=1.0), Action(40.0, "line speed", 0.2, over=5.0)]
    trend = simulate(tough, plan, duration=120.0, noise=False, runout=False)
    S = web_stiffness(film)
    rim = 0.5 * trend.diameter * trend.roll_speed
    strain = trend.span_tension / S
    flow = rim / (1.0 + film.run.far_tension / S) - trend.line_speed / (1.0 + strain[:, -1])
    overrun = np.concatenate([[0.0], np.cumsum(0.5 * (flow[1:] + flow[:-1]) * 0.02)])
    lengths = np.array([span.length for span in film.span])
    slack = overrun - float(np.sum(lengths - lengths / (1.0 + strain[0])))
    lies = np.all(trend.span_tension == 0.0, axis=1)
    assert lies.sum() > 500
    assert slack.max() > 0.1
    # Pull only where nothing lies slack; both to the resolution of the recording.
    pulls = np.all(trend.span_tension > 1.0, axis=1)
    assert slack[pulls].max() < 2e-3
    assert slack[lies].min() > -2e-3
    back = trend.time[pulls & (trend.time > 40.0)][0]
    assert 40.0 < back < 110.0


def test_an_hour_in_automatic_leaves_a_steady_machine_where_it_was(scenario):
    """No creep of the integration: steady tension stays, to the last digits, for an hour."""
    tuned = replace(scenario, controller=replace(scenario.controller, Kc=0.01, Ti=2.0))
    trend = simulate(
        tuned, duration=3600.0, automatic=True, noise=False, runout=False, record_every=5000
    )
    np.testing.assert_allclose(trend.web_tension, trend.web_tension[0], rtol=1e-7)
