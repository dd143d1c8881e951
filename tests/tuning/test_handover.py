"""The switch from manual to automatic: bumps where there must be some, none where not."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import cont2discrete

from simulator import linearise, simulate
from tuning.design import design_for_roll
from tuning.gains import Gains
from tuning.handover import handover, switch
from tuning.handover_movement import QUIET_TIME, Movement, unrest
from tuning.handover_place import first_output, switch_place

MOVES = [
    Movement(output_step=3.0, before=0.5),
    Movement(line_speed=1.0, over=10.0, before=1.0),
    Movement(output_step=-2.0, line_speed=2.0, over=5.0, before=0.31),
]


@pytest.fixture(scope="module")
def gains():
    return Gains(0.06, 0.2)


def test_tracking_and_equal_setpoint_make_no_bump(film, gains):
    h = handover(film, gains)
    assert h.tension_bump < 1e-9 and abs(h.output_bump) < 1e-9
    assert h.settling == 0.0


def test_without_tracking_the_output_falls_to_where_the_integral_stood(film, gains):
    h = handover(film, gains, tracking=False)
    # The integral term stands at 0 and the error is 0: the output drops by all of what it was.
    output = simulate(film, duration=1.0, noise=False, runout=False).output[0]
    assert h.output_bump == pytest.approx(-output, rel=1e-9)
    assert h.tension_bump > 10.0


def test_a_setpoint_off_the_reading_kicks_by_the_gain(film, gains):
    # With the integral tracking, the proportional kick is already inside; the first scan moves by
    # nothing, the second by Kc h/Ti times the error.
    h = handover(film, gains, setpoint_offset=0.1)
    assert abs(h.output_bump) < 1e-9
    after = h.trend.output[h.trend.automatic == 1.0]
    error = 100.0 * 0.1 * film.run.tension / film.controller.tension_range
    step = gains.Kc * film.controller.scan_time / gains.Ti * error
    assert after[1] - after[0] == pytest.approx(step, rel=1e-6)
    assert 0.0 < h.settling < 60.0


def test_a_setpoint_that_follows_cancels_the_offset(film, gains):
    h = handover(film, gains, setpoint_offset=0.2, setpoint_follows=True)
    assert h.tension_bump < 1e-9 and abs(h.output_bump) < 1e-9


def test_recommended_gains_hand_over_quietly_everywhere(scenario):
    gains = design_for_roll(scenario).gains
    h = handover(scenario, gains, setpoint_offset=0.05)
    assert h.tension_bump < 5.0
    assert math.isfinite(h.settling)
    assert not h.warnings


def test_unstable_gains_are_called_so(film):
    h = handover(film, Gains(3.0, 0.2), setpoint_offset=0.05)
    assert any("unstable" in warning for warning in h.warnings)


@pytest.mark.parametrize("offset", [math.nan, -1.0, 3.0])
def test_refuses_an_offset_that_makes_no_sense(film, gains, offset):
    with pytest.raises(ValueError, match="setpoint_offset"):
        handover(film, gains, setpoint_offset=offset)


def test_the_setpoint_is_off_the_reading_though_the_reading_is_wrong(film):
    """A zero that is off makes no bump: the operator sees, and sets, what the display shows."""
    wrong = replace(film, load_cell=replace(film.load_cell, zero_error=-20.0))
    switch = handover(wrong, Gains(0.09, 0.2))
    assert switch.trend.setpoint[-1] == pytest.approx(130.0)
    assert switch.tension_bump < 0.1
    assert math.isfinite(switch.settling)
    assert any("calibrate the load cells" in warning for warning in switch.warnings)
    off = handover(wrong, Gains(0.09, 0.2), setpoint_offset=0.1)
    assert off.trend.web_tension[-1] == pytest.approx(163.0, abs=1.0)
    assert math.isfinite(off.settling)


def test_a_supply_that_sticks_is_named(worn):
    hunts = handover(worn, Gains(0.07, 0.2), setpoint_offset=0.05)
    assert math.isnan(hunts.settling)
    warnings = hunts.warnings
    assert any("sticks at 1.5 %" in warning and "9.51 N at full roll" in warning
               for warning in warnings)  # fmt: skip


def percent(scenario, values):
    return 100.0 * np.asarray(values) / scenario.controller.tension_range


def at_switch(scenario, h):
    """Readings and setpoint [% of range] and outputs, from the last scan in manual on."""
    first = int(np.argmax(h.trend.automatic == 1.0)) - 1
    t = h.trend
    return (
        percent(scenario, t.tension)[first:],
        percent(scenario, t.setpoint)[first:],
        t.output[first:],
    )


@pytest.mark.parametrize("moves", MOVES, ids=str)
@pytest.mark.parametrize("follows", [True, False])
def test_with_tracking_only_what_the_reading_moves_in_one_scan_moves_the_output(
    film, gains, moves, follows
):
    """Closed form of bumpless transfer (Åström & Hägglund, Advanced PID Control, 2006, memory)."""
    h = handover(film, gains, movement=moves, setpoint_offset=0.1, setpoint_follows=follows)
    y, r, u = at_switch(film, h)
    assert abs(y[1] - y[0]) > 1e-4  # it does move
    assert h.output_bump == pytest.approx(-gains.Kc * (y[1] - y[0]), abs=1e-9)
    # The second scan adds Ki h e.
    moved = gains.Ki * film.controller.scan_time * (r[1] - y[1]) - gains.Kc * (y[2] - y[1])
    assert u[2] - u[1] == pytest.approx(moved, abs=1e-9)


@pytest.mark.parametrize("moves", [None, *MOVES], ids=str)
def test_without_tracking_the_first_output_is_the_proportional_part_and_the_old_integral(
    film, moves
):
    gains = Gains(0.5, 1.0, setpoint_weight=0.7)
    h = handover(film, gains, movement=moves, setpoint_offset=0.3, tracking=False)
    y, r, u = at_switch(film, h)
    assert u[1] == pytest.approx(min(max(0.5 * (0.7 * r[1] - y[1]), 0.0), 100.0), abs=1e-9)
    assert h.output_bump == pytest.approx(u[1] - u[0], abs=1e-12)


def test_the_derivative_part_goes_on_without_a_jump(paper_rewind):
    gains = Gains(0.3, 0.3, 0.06)
    moves = Movement(output_step=4.0, before=0.6)
    h = handover(paper_rewind, gains, movement=moves)
    y = percent(paper_rewind, h.trend.tension)
    first = int(np.argmax(h.trend.automatic == 1.0))
    # The filtered derivative, in the backward difference, worked out here on its own.
    scan, T = paper_rewind.controller.scan_time, gains.Td / gains.filter_ratio
    D = np.zeros(y.size)
    for k in range(1, y.size):
        D[k] = (T * D[k - 1] - gains.Kc * gains.Td * (y[k] - y[k - 1])) / (T + scan)
    expected = -gains.Kc * (y[first] - y[first - 1]) + D[first] - D[first - 1]
    assert abs(expected) > 1e-3
    assert h.output_bump == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("anti_windup", [True, False])
@pytest.mark.parametrize("tracking", [True, False])
def test_the_whole_switch_is_that_of_a_plain_controller_on_the_same_readings(
    film, tracking, anti_windup
):
    """A PI controller written down here, with back-calculation (memory of the same book), gives the
    same outputs from the recorded readings, also where they stand at their limit."""
    gains = Gains(0.8, 0.15)
    tight = replace(film, controller=replace(film.controller, output_high=50.0, output_low=45.0))
    h = handover(
        tight, gains, setpoint_offset=0.2, tracking=tracking, anti_windup=anti_windup,
        movement=Movement(output_step=1.0, before=0.4),
    )  # fmt: skip
    y, r, u = at_switch(tight, h)
    scan = tight.controller.scan_time
    integral = u[0] - gains.Kc * (r[0] - y[0]) if tracking else 0.0
    plain = []
    for reading, setpoint in zip(y[1:], r[1:], strict=True):
        wanted = gains.Kc * (setpoint - reading) + integral
        sent = min(max(wanted, 45.0), 50.0)
        plain.append(sent)
        integral += gains.Ki * scan * (setpoint - reading)
        if anti_windup:
            integral += scan / gains.Ti * (sent - wanted)
    assert 45.0 in plain or 50.0 in plain
    np.testing.assert_allclose(u[1:], plain, atol=1e-9)


def test_a_small_switch_is_that_of_the_linear_loop(laminate):
    """The linear plant sampled by scipy, closed by a PI controller written down here."""
    scan = laminate.controller.scan_time
    whole = replace(laminate, torque_device=replace(laminate.torque_device, dead_time=2 * scan))
    gains = Gains(0.003, 0.004)
    h = handover(whole, gains, setpoint_offset=0.005)
    y, r, u = at_switch(whole, h)
    plant = linearise(whole, diameter=h.trend.diameter[0], line_speed=whole.run.line_speed)
    Ad, Bd, C, _, _ = cont2discrete(
        (plant.A, plant.B[:, None], plant.C[None, :], np.zeros((1, 1))), scan, method="zoh"
    )
    x, late, integral = np.zeros(plant.A.shape[0]), [0.0, 0.0], None
    seen, sent = [], []
    for _ in range(y.size - 1):
        off = float((C @ x)[0])
        error = r[1] - y[0] - off
        if integral is None:
            integral = -gains.Kc * error  # tracks the output, which does not move at first
        out = gains.Kc * error + integral
        integral += gains.Ki * scan * error
        seen.append(off)
        sent.append(out)
        late.append(out)
        x = Ad @ x + Bd[:, 0] * late[-3]
    size = r[1] - y[0]
    assert size == pytest.approx(0.25, rel=0.2)  # half a per cent of some half of the range
    np.testing.assert_allclose(y[1:] - y[0], seen, atol=0.01 * size)
    np.testing.assert_allclose(u[1:] - u[0], sent, atol=0.01 * np.ptp(sent))


def test_a_switch_that_does_nothing_makes_no_bump_however_the_tension_moves(film):
    """With next to no gain automatic is manual, so all that moves is what moves in manual."""
    nothing = Gains(1e-9, 1e6)
    for moves in MOVES:
        h = handover(film, nothing, movement=moves)
        assert h.tension_bump < 1e-3
        after = h.trend.web_tension[h.trend.automatic == 1.0]
        assert np.ptp(after) > 0.02 * film.run.tension


def test_a_setpoint_that_follows_is_caught_on_the_way(film, gains):
    """It keeps the reading of the last scan in manual, off where the output takes the tension."""
    moves = Movement(output_step=5.0, before=0.3)
    h = handover(film, gains, movement=moves, setpoint_follows=True)
    y, r, _ = at_switch(film, h)
    assert r[-1] == pytest.approx(y[0], abs=1e-9)
    # What 5 % of output is worth at rest, by simulation of that alone.
    rest = simulate(
        film, moves.actions(h.trend.output[0]), duration=60.0, noise=False, runout=False
    )
    off = 100.0 * (rest.web_tension[-1] - 0.01 * r[-1] * 300.0) / film.run.tension
    assert h.caught == pytest.approx(off, abs=1.0)


def test_the_worst_moment_is_where_the_reading_moves_fastest(foil):
    place = switch_place(foil, Gains(0.0014, 0.001))
    moves = Movement(output_step=4.0)
    found = unrest(
        place.scenario, moves, diameter=place.diameter, line_speed=place.line_speed,
        output=place.output, lasts=5.0, worst=True,
    )  # fmt: skip
    rate = np.gradient(found.trend.tension, found.trend.time)
    fastest = found.trend.time[np.argmax(np.abs(rate))]
    scan = foil.controller.scan_time
    assert found.movement.before == pytest.approx(fastest - QUIET_TIME, abs=2.0 * scan)
    h = switch(place, moved=found)
    assert h.switched_at == pytest.approx(QUIET_TIME + found.movement.before, abs=scan)


def test_a_hold_on_web_break_is_told_and_its_jump_is_that_of_the_switch(worn):
    """The controller is back in manual at the end; the jump is still that of the first scan."""
    alert = replace(worn, controller=replace(worn.controller, break_level=30.0))
    gains = Gains(0.13, 0.2)
    h = handover(alert, gains, tracking=False, setpoint_follows=False)
    assert h.taken_back and h.trend.automatic[-1] == 0.0
    assert any("back to manual" in warning for warning in h.warnings)
    before, reading = h.trend.output[0], h.trend.tension[0]
    first = first_output(worn, gains, setpoint=reading, reading=reading, integral=0.0)
    assert h.output_bump == pytest.approx(first - before, abs=0.1)
    assert not handover(worn, gains).taken_back


def test_a_switch_between_two_scans_comes_at_the_next(film, gains):
    h = handover(film, gains, movement=Movement(output_step=1.0, before=0.3333), tracking=False)
    assert h.switched_at == pytest.approx(4.34)
    assert h.output_bump < -40.0


@pytest.mark.parametrize(
    "wrong",
    [{"output_step": math.nan}, {"output_step": 101.0}, {"over": -1.0}, {"before": math.inf},
     {"line_speed": -1.0}],
    ids=str,
)  # fmt: skip
def test_refuses_a_movement_that_makes_no_sense(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Movement(**wrong)
