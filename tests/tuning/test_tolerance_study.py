"""Many machines judged: each as the slow way judges it, the same bits however the work is cut."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import linearise, operating_point
from simulator.machine import diameter_range
from simulator.sensing_and_control import ScheduledGains
from simulator.units import US_CUSTOMARY
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.margins import loop_margins
from tuning.roll_responses import roll_responses
from tuning.tolerance_study import study_places, tolerance_study
from tuning.tolerance_words import headline, sentences
from tuning.tolerances import DEFAULT_TOLERANCES, Tolerance, machine_with

# For each machine, gains that are sound at all of its operating points.
SOUND = {
    "Film unwind, friction brake": Gains(0.065, 0.2),
    "Foil unwind, torque motor": Gains(0.0052, 0.01),
    "Paper rewind, clutch": Gains(0.2, 0.4),
    "Laminate pull roll, torque motor": Gains(0.015, 0.01),
    "Nonwoven unwind, particle brake": Gains(0.08, 0.14),
}
ARRAYS = ("deviations", "Ms", "overshoot", "output", "reachable")


def bits(study):
    return [getattr(study, name).tobytes() for name in ARRAYS] + [study.redrawn]


def margins_at(scenario, place, gains):
    plant = linearise(scenario, diameter=place.diameter, line_speed=place.line_speed)
    return loop_margins(plant, gains, scan_time=scenario.controller.scan_time)


def test_places_are_full_roll_half_and_core_at_both_speeds(film, laminate):
    assert [(p.name, p.at) for p in study_places(film)] == [
        (name, at) for name in ("full roll", "half", "core") for at in ("line speed", "crawl speed")
    ]
    assert [p.name for p in study_places(laminate)] == ["pull roll", "pull roll"]
    slow = replace(film, run=replace(film.run, crawl_speed=film.run.line_speed))
    assert len(study_places(slow)) == 3


def test_each_machine_is_judged_as_one_loop_is(scenario):
    """Ms of a few machines against `loop_margins`, output against `operating_point`."""
    gains = SOUND[scenario.title]
    study = tolerance_study(scenario, gains, samples=20, seed=11)
    for row in range(0, 20, 7):
        machine = machine_with(scenario, study.tolerances, study.deviations[row])
        for i, place in enumerate(study.places):
            margins = margins_at(machine, place, gains)
            assert study.Ms[row, i] == pytest.approx(margins.severity, rel=1e-4)
            point = operating_point(machine, diameter=place.diameter, line_speed=place.line_speed)
            assert study.output[row, i] == pytest.approx(point.output)
            assert study.reachable[row, i] == point.reachable


def test_overshoot_is_that_of_the_simulated_machine(paper_rewind, nonwoven, laminate):
    """A small step of the whole nonlinear machine overshoots as the linear loop says.

    Its trend holds a row a scan, so both are read at the same moments.
    """
    for scenario, gains in (
        (paper_rewind, Gains(0.3, 0.5)),
        (nonwoven, Gains(0.16, 0.14)),
        (laminate, Gains(0.05, 0.03)),
    ):
        study = tolerance_study(scenario, gains, samples=20, tolerances=())
        runs = {(r.name, r.line_speed): r for r in roll_responses(scenario, gains, step_share=0.01)}
        assert study.nominal_overshoot.max() > 1.5
        for place, overshoot in zip(study.places, study.nominal_overshoot, strict=True):
            simulated = runs[(place.name, place.line_speed)].metrics.overshoot
            assert overshoot == pytest.approx(simulated, abs=1.0, rel=0.02), place


def test_an_error_of_the_reading_is_an_error_of_the_gain(film):
    gains = SOUND[film.title]
    high = replace(film, load_cell=replace(film.load_cell, gain_error=25.0))
    read, plain = (
        tolerance_study(machine, g, samples=20, tolerances=())
        for machine, g in ((high, gains), (film, replace(gains, Kc=1.25 * gains.Kc)))
    )
    assert read.nominal_Ms == pytest.approx(plain.nominal_Ms)
    assert read.nominal_overshoot == pytest.approx(plain.nominal_overshoot)
    # The output that holds the true tension does not care what the reading says.
    assert read.nominal_output == pytest.approx(plain.nominal_output)


def test_probability_in_closed_form(nonwoven):
    """Only the torque is uncertain, so the share within the limit is that of gains within it.

    Without residual torque the loop gain is in proportion to the full torque. Ms grows with the
    gain, and passes the limit at a factor found by halving on `loop_margins`.
    """
    brake = replace(nonwoven.torque_device, residual_torque=0.0)
    scenario = replace(nonwoven, torque_device=brake)
    gains, limit = Gains(0.08, 0.14), 1.6
    places = study_places(scenario)

    def worst(factor):
        changed = replace(gains, Kc=factor * gains.Kc)
        return max(margins_at(scenario, place, changed).severity for place in places)

    low, high = 1.0, 2.0
    assert worst(low) < limit < worst(high)
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if worst(middle) <= limit else (low, middle)
    gains_there = replace(gains, Kc=low / 1.08 * gains.Kc)  # the limit is met at + 8 %
    study = tolerance_study(
        scenario,
        gains_there,
        samples=300,
        tolerances=(Tolerance("full_torque", 20.0, "uniform"),),
        ms_limit=limit,
    )
    within = study.worst_Ms <= limit
    assert np.array_equal(within, study.deviations[:, 0] <= 0.08)
    assert study.within.low < 0.7 < study.within.high  # (20 + 8)/40
    assert study.matters_most.name == "full_torque"
    assert study.matters_most.rank_correlation == pytest.approx(1.0, abs=1e-6)
    assert study.stable.count == 300
    # The output that makes a torque is inversely as the full torque.
    expected = study.nominal_output / (1.0 + study.deviations)
    assert study.output == pytest.approx(expected)


def test_an_unstable_loop_is_told_as_such(film):
    """Integral action beyond what the swing of the roll on its web bears."""
    study = tolerance_study(film, Gains(1.0, 0.1), samples=20)
    assert study.stable.count == 0
    assert np.all(np.isinf(study.worst_Ms)) and np.all(np.isinf(study.worst_overshoot))
    said = " ".join(sentences(study))
    assert "None of 20 machines" in said and "all 20" in said and "unstable" in said
    assert study.matters_most is None


def test_gains_that_follow_the_diameter_are_judged_with_those_that_hold_there(film):
    """Straight lines between the points of the schedule: half way is the mean."""
    low, high = diameter_range(film)
    points = (
        ScheduledGains(diameter=high, Kc=0.09, Ti=0.3),
        ScheduledGains(diameter=low, Kc=0.03, Ti=0.1, Td=0.02),
    )
    scheduled = replace(film, controller=replace(film.controller, schedule=points))
    places = study_places(scheduled)
    found = [gains_as_set(scheduled, place.diameter) for place in places]
    full, half, core = Gains(0.09, 0.3), Gains(0.06, 0.2, 0.01), Gains(0.03, 0.1, 0.02)
    for one, expected in zip(found, (full, full, half, half, core, core), strict=True):
        assert (one.Kc, one.Ti, one.Td) == pytest.approx((expected.Kc, expected.Ti, expected.Td))
    study = tolerance_study(scheduled, samples=20, tolerances=())
    for i, place in enumerate(places):
        assert study.Ms[5, i] == pytest.approx(margins_at(film, place, found[i]).Ms, rel=1e-4)
    # Gains that are given hold everywhere, in place of the schedule.
    fixed = tolerance_study(scheduled, core, samples=20, tolerances=())
    assert fixed.Ms[0, 0] == pytest.approx(margins_at(film, places[0], core).Ms, rel=1e-4)


def test_gains_as_found_are_those_of_the_controller(film, laminate):
    written = tolerance_study(film, samples=20, tolerances=())
    given = tolerance_study(film, Gains.from_controller(film.controller), samples=20, tolerances=())
    assert bits(written) == bits(given)
    with pytest.raises(ValueError, match=r"controller\.Kc"):
        tolerance_study(laminate, samples=20)


def test_bits_do_not_depend_on_how_the_work_is_cut(film):
    gains = SOUND[film.title]
    whole = tolerance_study(film, gains, samples=30, seed=9, chunk=30)
    assert bits(tolerance_study(film, gains, samples=30, seed=9, chunk=7)) == bits(whole)
    # More machines: the first ones stay what they were.
    more = tolerance_study(film, gains, samples=40, seed=9, chunk=13)
    assert more.Ms[:30].tobytes() == whole.Ms.tobytes()
    assert bits(tolerance_study(film, gains, samples=30, seed=10)) != bits(whole)


def test_bits_do_not_depend_on_the_number_of_processes(film):
    gains = SOUND[film.title]
    here = tolerance_study(film, gains, samples=40, seed=2)
    seen = []
    there = tolerance_study(
        film, gains, samples=40, seed=2, workers=2, chunk=6, progress=lambda *at: seen.append(at)
    )
    assert bits(there) == bits(here)
    assert [total for _, total in seen] == [40] * 7
    done = [count for count, _ in seen]
    assert done == sorted(done) and done[-1] == 40


def test_progress_is_told_after_each_chunk_and_may_stop_it(film):
    seen = []
    tolerance_study(
        film, SOUND[film.title], samples=25, chunk=10, progress=lambda *at: seen.append(at)
    )
    assert seen == [(10, 25), (20, 25), (25, 25)]

    def stop(done, total):
        raise InterruptedError(f"{done} of {total}")

    with pytest.raises(InterruptedError, match="10 of 25"):
        tolerance_study(film, SOUND[film.title], samples=25, chunk=10, progress=stop)


def test_warnings_tell_what_was_not_as_asked_for(film, foil):
    study = tolerance_study(foil, SOUND[foil.title], samples=20)
    assert any("residual torque of the device" in text for text in study.warnings)
    fast = replace(film, run=replace(film.run, crawl_speed=0.99 * film.run.line_speed))
    chosen = (Tolerance("crawl_speed", 10.0, "uniform"),)
    study = tolerance_study(fast, SOUND[film.title], samples=40, tolerances=chosen)
    assert study.redrawn > 0
    assert any(f"{study.redrawn} of {40 + study.redrawn} draws" in w for w in study.warnings)


def test_a_speed_that_is_uncertain_moves_the_operating_points(film):
    chosen = (Tolerance("crawl_speed", 20.0),)
    study = tolerance_study(film, SOUND[film.title], samples=20, tolerances=chosen)
    at_line = [i for i, place in enumerate(study.places) if place.at == "line speed"]
    at_crawl = [i for i, place in enumerate(study.places) if place.at == "crawl speed"]
    assert np.ptp(study.Ms[:, at_line], axis=0) == pytest.approx(0.0, abs=1e-9)
    # Damping comes with speed: at full roll, where the swing binds, more speed is calmer.
    order = np.argsort(study.deviations[:, 0])
    assert np.all(np.diff(study.Ms[order, at_crawl[0]]) < 1e-9)


def test_sentences_say_what_the_arrays_hold(scenario):
    study = tolerance_study(scenario, SOUND[scenario.title], samples=60, seed=1)
    said = sentences(study, US_CUSTOMARY)
    assert said[0] == f"{headline(study)}."
    assert "within Ms 1.6" in said[0]
    if study.within.count not in (0, 60):
        assert study.within.words in said[0]
    assert f"{study.nominal_Ms.max():.2f}" in said[1]
    first = study.matters_most
    assert first is not None and first.words in said[0]
    text = " ".join(said)
    assert "common practice, without a source" in said[-1]
    assert "nan" not in text and "inf " not in text and " m/min" not in text
    own = tolerance_study(
        scenario, SOUND[scenario.title], samples=20, tolerances=[Tolerance("modulus", 11.0)]
    )
    assert "common practice" not in " ".join(sentences(own))


def test_nothing_varied_is_told_as_such(film):
    study = tolerance_study(film, SOUND[film.title], samples=20, tolerances=())
    assert sentences(study) == (
        f"Nothing about this machine was varied; it is Ms {study.nominal_Ms.max():.2f} at its "
        "worst.",
    )
    assert np.all(study.Ms == study.nominal_Ms)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"samples": 19}, "samples 19: must lie between 20"),
        ({"seed": -1}, "seed -1"),
        ({"ms_limit": 1.0}, "ms_limit 1.0"),
        ({"ms_limit": math.nan}, "ms_limit nan"),
        ({"workers": 0}, "workers 0"),
        ({"chunk": 0}, "chunk 0"),
        ({"workers": 2, "client": object()}, "workers 2"),
        ({"tolerances": DEFAULT_TOLERANCES[:1] * 2}, "each may be given once"),
    ],
)
def test_arguments_out_of_range_are_refused(film, wrong, told):
    with pytest.raises(ValueError, match=told):
        tolerance_study(film, SOUND[film.title], **wrong)
