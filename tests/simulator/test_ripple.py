"""The ripple of bodies out of round: against the kernel's derivative and against runs in time."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import kernel, linearise, simulate, web_kernel
from simulator.machine import kernel_machine, named_diameters, roll_inertia, web_stiffness
from simulator.operating_point import steady_state
from simulator.ripple import largest_ripple, ripple, ripple_in_words, runout_column
from simulator.scenario import Nip, Roller

NIP = Nip(diameter=0.18)
SMALL = 2e-6  # [m]


def of(scenario, name, **at):
    """The ripple of one body by its name."""
    return {body.name: body for body in ripple(scenario, **at)}[name]


def out_of_round(scenario, name, runout):
    """The same machine with this one body out of round."""
    true = replace(
        scenario,
        roll=replace(scenario.roll, runout=0.0),
        roller=tuple(replace(roller, runout=0.0) for roller in scenario.roller),
        nip=NIP,
    )
    if name == "roll":
        return replace(true, roll=replace(true.roll, runout=runout))
    if name == "nip":
        return replace(true, nip=replace(NIP, runout=runout))
    at = int(name.split()[1]) - 1
    rollers = list(true.roller)
    rollers[at] = replace(rollers[at], runout=runout)
    return replace(true, roller=tuple(rollers))


def bodies(scenario):
    return ["roll", *(f"roller {i}" for i in range(1, len(scenario.roller) + 1)), "nip"]


def station_of(scenario, name):
    N = len(scenario.span)
    place = {"roll": 0, "nip": N}.get(name) if " " not in name else int(name.split()[1])
    return place if scenario.zone == "unwind" else N - place


def rates(m, state, *, output, line_speed):
    N = m.length.size
    rate, forces, web = np.zeros(state.size), np.zeros((3, N)), np.zeros((3, N))
    web_kernel.lay_web(m, np.array([[np.inf, 1.0, 1.0]]), 1, web)
    forward = np.ones(N + 1, dtype=np.int64)
    kernel.derivative(m, state, forward, output, line_speed, False, web, rate, forces)
    return rate[: 2 * N + 2]


def test_the_columns_are_numerical_derivatives_of_the_kernel(scenario):
    """One half turn apart, a body differs by twice its runout and by nothing else."""
    T = scenario.run.tension
    for diameter in named_diameters(scenario).values():
        for v in (scenario.run.line_speed, scenario.run.crawl_speed):
            for name in bodies(scenario):
                m = kernel_machine(out_of_round(scenario, name, SMALL))
                N, station = m.length.size, station_of(scenario, name)
                steady = steady_state(m, diameter=diameter, line_speed=v, tension=T)
                state = np.zeros(3 * N + 3)
                state[:N], state[N] = steady.strain, steady.roll_speed
                state[N + 1 : 2 * N] = steady.surface_speed[1:N] / m.roller_radius
                state[2 * N], state[2 * N + 1] = steady.output, T
                state[2 * N + 2] = 0.5 * diameter
                turned, up, down = state.copy(), v, v
                if name == "nip":
                    up, down = v * (1 + m.nip_unevenness), v * (1 - m.nip_unevenness)
                else:
                    turned[2 * N + 3 + (0 if name == "roll" else station)] = math.pi
                numeric = rates(m, state, output=steady.output, line_speed=up)
                numeric -= rates(m, turned, output=steady.output, line_speed=down)
                numeric /= 2 * SMALL
                column, _ = runout_column(m, station, diameter=diameter, line_speed=v, tension=T)
                scale = max(np.abs(column).max(), 1.0)
                np.testing.assert_allclose(numeric / scale, column / scale, atol=2e-6)
                assert np.abs(column[:N]).max() > 0.0


def amplitude(signal, time, frequency):
    """Amplitude at a frequency over whole turns, by least squares of sine, cosine and mean."""
    turns = math.floor((time[-1] - time[0]) * frequency)
    keep = time >= time[-1] - turns / frequency
    angle = 2 * math.pi * frequency * time[keep]
    columns = np.column_stack([np.cos(angle), np.sin(angle), np.ones_like(angle)])
    (c, s, _), *_ = np.linalg.lstsq(columns, signal[keep], rcond=None)
    return math.hypot(c, s)


def settled(scenario, *, diameter, line_speed, frequency, turns=12):
    """The last turns of a run in manual, after what was there at its start has died away."""
    plant = linearise(scenario, diameter=diameter, line_speed=line_speed)
    wait = 9.0 * plant.slowest_time
    trend = simulate(
        scenario, duration=wait + turns / frequency, diameter=diameter, line_speed=line_speed,
        noise=False,
    )  # fmt: skip
    assert not trend.web_lost
    return trend.between(wait, math.inf)


# Whole roll, core and crawl; the roller of the core's case is the last before the nip.
CASES = [
    ("full", "line_speed", 0),
    ("core", "line_speed", -1),
    ("full", "crawl_speed", 0),
]


@pytest.mark.parametrize("body", ["roll", "roller", "nip"])
@pytest.mark.parametrize(("place", "speed", "which"), CASES)
def test_runs_in_time_show_the_predicted_amplitudes(scenario, place, speed, which, body):
    diameter = list(named_diameters(scenario).values())[0 if place == "full" else -1]
    v = getattr(scenario.run, speed)
    name = body if body != "roller" else bodies(scenario)[1:-1][which]
    unit = of(out_of_round(scenario, name, 0.0), name, diameter=diameter, line_speed=v)
    # One per cent of the tension, if a tenth of a millimetre makes as much.
    runout = min(0.01 * scenario.run.tension / unit.tension_per_runout, 1e-4)
    uneven = out_of_round(scenario, name, runout)
    said = of(uneven, name, diameter=diameter, line_speed=v)
    trend = settled(uneven, diameter=diameter, line_speed=v, frequency=said.frequency)
    reading = amplitude(trend.tension, trend.time, said.frequency)
    assert said.reading > 0.0
    assert reading == pytest.approx(said.reading, rel=1e-3)
    if body != "nip":
        web = amplitude(trend.web_tension, trend.time, said.frequency)
        assert web == pytest.approx(said.tension, rel=1e-3)
    # The filter is a first-order lag, whatever shakes the web.
    seen = math.hypot(1.0, 2 * math.pi * said.frequency * scenario.load_cell.filter_time)
    assert reading * seen == pytest.approx(said.tension, rel=1e-3)


def test_one_span_has_the_closed_form(foil):
    """By hand, K = A E/L, with light rollers, no web damping and strains small against 1:

    [(s + v/L)(J s + b) + K R²] T = -K a [w (J s + b) + R T0]     roll
    [(s + v/L)(J s + b) + K R²] T =  K a w (J s + b)              nip
    """
    a, D, v, T0 = 1e-5, 0.3, foil.run.line_speed, foil.run.tension
    light = Roller(diameter=0.1, inertia=1e-7, load_cell=True)
    scenario = replace(
        out_of_round(foil, "roll", a),
        web=replace(foil.web, retardation_time=0.0),
        roller=(light, replace(light, load_cell=False)),
        nip=replace(NIP, runout=a),
    )
    J, R, b = roll_inertia(scenario, D), 0.5 * D, scenario.roll.viscous_drag
    L = sum(span.length for span in scenario.span)
    K = web_stiffness(scenario) / L
    for name, radius, lever in (("roll", R, T0), ("nip", 0.5 * NIP.diameter, 0.0)):
        said = of(scenario, name, diameter=D, line_speed=v)
        w = v / radius
        s = 1j * w
        by_hand = K * a * (w * (J * s + b) + R * lever) / ((s + v / L) * (J * s + b) + K * R**2)
        assert said.frequency == pytest.approx(w / (2 * math.pi), rel=1e-3)
        assert said.tension == pytest.approx(abs(by_hand), rel=3e-3)


def line_in_spectrum(trend):
    """Where the highest line of the reading's spectrum stands [Hz], between its bins."""
    window = np.hanning(trend.time.size)
    power = np.abs(np.fft.rfft(window * (trend.tension - trend.tension.mean())))
    at = int(np.argmax(power[1:-1])) + 1
    below, top, above = np.log(power[at - 1 : at + 2])
    part = 0.5 * (below - above) / (below - 2 * top + above)
    return (at + part) / (trend.time.size * (trend.time[1] - trend.time[0]))


def test_the_line_stands_at_once_per_turn_and_follows_speed_and_diameter(scenario):
    """v/(2 pi R), within the strain of the web (DESIGN: once per revolution)."""
    low, high = min(named_diameters(scenario).values()), max(named_diameters(scenario).values())
    uneven = out_of_round(scenario, "roll", 2e-5)
    for diameter in {high, 0.5 * (low + high)}:
        for v in (scenario.run.line_speed, 0.6 * scenario.run.line_speed):
            turns = v / (math.pi * diameter)
            said = of(uneven, "roll", diameter=diameter, line_speed=v)
            trend = settled(uneven, diameter=diameter, line_speed=v, frequency=turns, turns=40)
            assert said.frequency == pytest.approx(turns, rel=3e-3)
            assert line_in_spectrum(trend) == pytest.approx(turns, rel=3e-3)


def test_twice_the_runout_makes_twice_the_amplitude(film):
    """Superposition, exact for the linear plant; the run in time keeps it while runout is small."""
    v, D = film.run.line_speed, 0.5
    seen = []
    for runout in (2e-5, 4e-5):
        uneven = out_of_round(film, "roll", runout)
        said = of(uneven, "roll", diameter=D, line_speed=v)
        trend = settled(uneven, diameter=D, line_speed=v, frequency=said.frequency)
        seen.append((said.tension, amplitude(trend.web_tension, trend.time, said.frequency)))
    (said_1, run_1), (said_2, run_2) = seen
    assert said_2 == pytest.approx(2 * said_1, rel=1e-12)
    assert run_2 == pytest.approx(2 * run_1, rel=2e-3)


def test_bodies_add_up_each_at_its_own_frequency(foil):
    D, v = 0.35, foil.run.line_speed
    uneven = replace(
        out_of_round(foil, "roll", 1e-6),
        roller=tuple(replace(roller, runout=2e-6) for roller in foil.roller[:1]) + foil.roller[1:],
        nip=replace(NIP, runout=3e-6),
    )
    said = {r.name: r for r in ripple(uneven, diameter=D, line_speed=v)}
    assert list(said) == ["roll", "roller 1", "roller 2", "nip"]
    assert said["roller 2"].tension == said["roller 2"].reading == 0.0
    plant = linearise(uneven, diameter=D)
    trend = simulate(uneven, duration=9 * plant.slowest_time + 30.0, diameter=D, noise=False)
    last = trend.between(9 * plant.slowest_time, math.inf)
    angles = [
        2 * math.pi * said[name].frequency * last.time for name in ("roll", "roller 1", "nip")
    ]
    columns = [np.ones_like(last.time), *(f(angle) for angle in angles for f in (np.cos, np.sin))]
    found, *_ = np.linalg.lstsq(np.column_stack(columns), last.tension, rcond=None)
    for i, name in enumerate(("roll", "roller 1", "nip")):
        size = math.hypot(found[1 + 2 * i], found[2 + 2 * i])
        assert size == pytest.approx(said[name].reading, rel=2e-3)


def test_without_runout_there_is_no_line(scenario):
    true = out_of_round(scenario, "roll", 0.0)
    for body in ripple(true, diameter=max(named_diameters(true).values())):
        assert body.tension == body.reading == 0.0 and body.frequency > 0.0
        assert body.tension_per_runout > 0.0
    trend = simulate(true, duration=20.0, noise=False)
    assert np.ptp(trend.web_tension) < 1e-6 * scenario.run.tension
    # `runout=False` takes it away from a machine that has it.
    uneven = out_of_round(scenario, "roll", 1e-4)
    assert np.ptp(simulate(uneven, duration=20.0, noise=False, runout=False).web_tension) < 1e-3


def test_a_zone_without_a_nip_diameter_says_nothing_of_its_nip(film):
    assert [r.name for r in ripple(film, diameter=0.8)] == ["roll", "roller 1"]


def test_rollers_are_counted_from_the_roll(paper_rewind):
    """On a rewind the web meets the last of them first."""
    sizes = [0.150, 0.120]
    rollers = tuple(
        replace(roller, diameter=d) for roller, d in zip(paper_rewind.roller, sizes, strict=True)
    )
    v = paper_rewind.run.line_speed
    said = ripple(replace(paper_rewind, roller=rollers), diameter=0.9, line_speed=v)
    for body, d in zip(said[1:], sizes, strict=True):
        assert body.frequency == pytest.approx(v / (math.pi * d), rel=2e-3)


def test_the_reading_has_the_gain_error_of_the_cell(film):
    wrong = replace(film, load_cell=replace(film.load_cell, gain_error=20.0))
    (true, *_), (read, *_) = ripple(film, diameter=0.5), ripple(wrong, diameter=0.5)
    assert read.reading == pytest.approx(1.2 * true.reading, rel=1e-12)
    assert read.tension == true.tension


def test_what_a_reader_should_know_is_said(film, foil):
    def notes(scenario, name, **at):
        return " ".join(of(scenario, name, **at).warnings)

    assert not notes(film, "roll", diameter=0.5)
    assert "slack or broken web" in notes(out_of_round(film, "roll", 0.02), "roll", diameter=0.1)
    small = replace(foil, roller=tuple(replace(r, diameter=0.02, runout=1e-5) for r in foil.roller))
    fast = notes(small, "roller 1", diameter=0.3)
    # 5 m/s over pi 20 mm is 79.6 turns a second, seen at 100 Hz: 20.4 Hz.
    assert "above half the scan rate" in fast and "at 20." in fast
    assert "too little torque" in notes(film, "roll", diameter=0.8, tension=400.0)
    sticky = replace(
        film, torque_device=replace(film.torque_device, breakaway_ratio=2.0, stribeck_speed=0.5)
    )
    assert "by itself" in notes(sticky, "roll", diameter=0.8, line_speed=0.2)


def test_a_diameter_that_the_roll_never_has_is_refused(film):
    with pytest.raises(ValueError, match="must lie between"):
        ripple(film, diameter=2.0)


def test_the_largest_ripple_stands_where_a_turn_meets_the_swing(foil):
    """The roll turns v/(pi D) times a second; at the foil core near its own swing."""
    largest, diameter, swing = largest_ripple(foil)
    assert largest.frequency == pytest.approx(foil.run.line_speed / (math.pi * diameter), rel=2e-3)
    assert abs(largest.frequency - swing) < 0.25 * swing
    others = [ripple(foil, diameter=d)[0].tension for d in (0.15, 0.25, 0.35, 0.5)]
    assert largest.tension >= max(others)
    assert "close to its own swing" in ripple_in_words((largest, diameter, swing))
