"""A change of the web travels through the spans: mass, compliance and time of travel."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import simpson

from simulator import Action, operating_point, simulate, web_kernel
from simulator.machine import kernel_machine, web_stiffness
from simulator.plan import splice

LINE_SPEED, LENGTH = 5.0, 3.7  # of the foil unwind [m/s, m]


def elastic(foil):
    return replace(foil, web=replace(foil.web, retardation_time=0.0, breaking_tension=None))


def laid(m, kinds):
    web = np.zeros((3, m.length.size))
    web_kernel.lay_web(m, np.array(kinds), len(kinds), web)
    return web


def test_two_webs_in_one_span_are_springs_in_series(foil):
    m = kernel_machine(foil)  # spans of 1.2, 1.0 and 1.5 m
    S = web_stiffness(foil)
    # A web twice as thick has come 1.7 m: all of span 1, half of span 2.
    web = laid(m, [[np.inf, 1.0, 1.0], [1.7, 1.0, 2.0]])
    halves = 1.0 / (0.5 / S + 0.5 / (2.0 * S))
    np.testing.assert_allclose(web[0], [2.0 * S, halves, S], rtol=1e-12)
    # What leaves span 2 is the thin web, stretched by the common tension.
    np.testing.assert_allclose(web[1], [1.0, halves / S, 1.0], rtol=1e-12)
    assert web[2, 0] == pytest.approx(0.5 * m.arriving_strain, rel=1e-12)


def test_a_short_lap_lies_between_two_fronts(foil):
    m, S = kernel_machine(foil), web_stiffness(foil)
    web = laid(m, [[np.inf, 1.0, 1.0], [0.9, 0.5, 2.0], [0.6, 1.0, 1.0]])
    # 0.3 m of 1.2 m at half the modulus and twice the thickness: as stiff as the rest.
    np.testing.assert_allclose(web[0], S, rtol=1e-12)
    web = laid(m, [[np.inf, 1.0, 1.0], [0.9, 1.0, 3.0], [0.6, 1.0, 1.0]])
    assert web[0, 0] == pytest.approx(S / (0.75 + 0.25 / 3.0), rel=1e-12)


def test_web_in_is_web_out_and_web_stored_with_a_splice(foil):
    """Unstretched length, each kind by its own strain, while half as stiff a web runs through."""
    scenario, S = elastic(foil), web_stiffness(foil)
    trend = simulate(
        scenario, [Action(0.5, "web modulus", 0.5)], duration=3.0, noise=False, runout=False
    )
    rim = 0.5 * trend.diameter * trend.roll_speed
    new_at_roll = trend.time >= 0.5
    given = rim / (1.0 + foil.run.far_tension / (S * np.where(new_at_roll, 0.5, 1.0)))
    # At the nip it arrives once the line has run the length of the zone (to its strain).
    arrives = 0.5 + LENGTH / LINE_SPEED
    new_at_nip = trend.time >= arrives
    taken = trend.line_speed / (
        1.0 + trend.span_tension[:, -1] / (S * np.where(new_at_nip, 0.5, 1.0))
    )
    lengths = np.array([span.length for span in foil.span])
    held = [
        float(np.sum(lengths / (1.0 + trend.span_tension[i] / (S * share))))
        for i, share in ((0, 1.0), (-1, 0.5))
    ]
    # Each part is smooth: integrate up to the change and on from it.
    total = 0.0
    for rate, change in ((given, 0.5), (-taken, arrives)):
        at = int(np.searchsorted(trend.time, change))
        total += simpson(rate[: at + 1], x=trend.time[: at + 1])
        total += simpson(rate[at:], x=trend.time[at:])
        total -= (rate[at] - rate[at - 1]) * (trend.time[at] - trend.time[at - 1]) * 0.5
    assert abs(held[1] - held[0]) > 1e-4
    assert total == pytest.approx(held[1] - held[0], abs=3e-5)


def test_after_the_splice_tension_settles_where_the_torque_says(foil):
    scenario = elastic(foil)
    trend = simulate(
        scenario, [Action(0.5, "web thickness", 2.0)], duration=40.0, noise=False, runout=False
    )
    # Torque over radius: the stiffness of the web has no say in the steady tension (but in draw).
    assert trend.web_tension[-1] == pytest.approx(trend.web_tension[0], rel=2e-3)
    twice = replace(scenario, web=replace(scenario.web, thickness=2.0 * scenario.web.thickness))
    point = operating_point(twice, diameter=0.5, tension=float(trend.web_tension[-1]))
    assert trend.roll_speed[-1] == pytest.approx(point.roll_speed, rel=1e-6)


def test_a_lap_shakes_the_tension_while_it_is_in_the_zone(foil):
    plan = splice(1.0, length=0.5, line_speed=LINE_SPEED, plies=2.0)
    trend = simulate(foil, plan, duration=6.0, noise=False, runout=False)
    before = trend.time < 1.0
    np.testing.assert_allclose(trend.web_tension[before], trend.web_tension[0], rtol=1e-9)
    inside = (trend.time > 1.0) & (trend.time < 1.0 + (LENGTH + 0.5) / LINE_SPEED)
    assert np.abs(trend.web_tension[inside] - 110.0).max() > 0.2
    without = simulate(foil, duration=6.0, noise=False, runout=False)
    np.testing.assert_allclose(without.web_tension, without.web_tension[0], rtol=1e-9)


def test_the_same_web_again_is_no_splice(scenario):
    plan = [Action(0.3, "web thickness", 1.0), Action(0.6, "web modulus", 1.0)]
    spliced, plain = (
        simulate(scenario, actions, duration=2.0, noise=False) for actions in (plan, [])
    )
    np.testing.assert_allclose(spliced.web_tension, plain.web_tension, rtol=1e-12)


def test_a_thicker_web_builds_the_roll_up_faster(paper_rewind):
    """Area of the roll: it grows by the thickness that arrives."""
    trend = simulate(
        paper_rewind, [Action(1.0, "web thickness", 2.0)], duration=60.0, diameter=0.3,
        noise=False, runout=False, time_compression=1.0,
    )  # fmt: skip
    area = np.pi / 4.0 * trend.diameter**2
    early, late = (trend.time < 1.0), (trend.time > 10.0)
    slopes = [np.polyfit(trend.time[part], area[part], 1)[0] for part in (early, late)]
    assert slopes[0] == pytest.approx(80e-6 * 200.0 / 60.0, rel=2e-3)
    assert slopes[1] == pytest.approx(2.0 * slopes[0], rel=2e-3)
