"""A log repeats a run to the last bit, and whatever else is in a file is answered in words."""

import json
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Action, load_scenario
from simulator.plan import scan_of
from tuning.gains import Gains
from tuning.practice import session_log
from tuning.practice.drill import PracticeError
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.session import (
    TRAINEE,
    acted,
    advanced,
    begin_practice,
    last_scan,
    trend,
    zeroed,
)
from tuning.practice.session_log import LogError, assignment_text, log_text, read_log
from tuning.practice.setup import MOST_SEED, Setup, practice_machine, trap_refused
from tuning.practice.traps import TRAPS

SCENARIOS = Path(__file__).resolve().parents[3] / "scenarios"
# Gains that are calm enough to practise with, found by hand; any others would do as well.
GAINS = Gains(Kc=0.095, Ti=0.21)
FILM = load_scenario(SCENARIOS / "film_unwind.toml")


def machine(name):
    return practice_machine(load_scenario(SCENARIOS / f"{name}.toml"), GAINS)


@pytest.fixture(scope="module")
def mill():
    return machine("film_unwind")


@pytest.fixture(scope="module")
def played(mill):
    """A run in which something of every kind was done, some of it in one scan."""
    p = advanced(begin_practice(Setup("from rest to automatic", mill, 5, ("noisy reading",))), 37)
    p = acted(zeroed(p), "output", 1 / 3)
    p = advanced(acted(acted(p, "output", 20.1), "line speed", 0.25, 7.7), 501)
    p = advanced(acted(acted(p, "start"), "Ti", 0.3), 803)
    p = advanced(acted(acted(acted(p, "tracking", 0.0), "setpoint", 151.7), "automatic"), 211)
    p = advanced(acted(acted(p, "Kc", 0.07), "preset", 31.0), 3)
    p = acted(acted(p, "setpoint follows", 1.0), "manual")
    return acted(advanced(acted(p, "stop"), 100), "fast stop")


@pytest.fixture(scope="module")
def written(played):
    return json.loads(log_text(played))


def same_bits(one, other):
    """All of the state and the whole record, by their bytes."""
    a, b = one.running, other.running
    for key in ("state", "direction", "memory", "between", "kinds", "sent", "taken", "happened"):
        assert getattr(a, key).tobytes() == getattr(b, key).tobytes(), key
    assert (a.scan, a.random, a.controller[:4]) == (b.scan, b.random, b.controller[:4])
    assert one.window.tobytes() == other.window.tobytes()
    assert (one.done, one.start, one.setup) == (other.done, other.start, other.setup)


def reread(practice):
    logged = read_log(log_text(practice).encode(), name="run.json")
    assert logged.notes == ()
    return logged.practice


def faults_of(found, name="run.json"):
    data = found if isinstance(found, bytes) else json.dumps(found).encode()
    with pytest.raises(LogError) as caught:
        read_log(data, name=name)
    assert isinstance(caught.value, PracticeError)
    assert str(caught.value) == "\n".join(str(fault) for fault in caught.value.faults)
    for fault in caught.value.faults:
        str(fault).encode()
        assert fault.file == name and fault.allowed and str(fault).isprintable()
    return {fault.key: fault for fault in caught.value.faults}


@given(
    scan=st.integers(0, 10**6),
    scan_time=st.floats(1e-3, 1.0) | st.sampled_from([1e-3, 0.01, 0.02, 0.1, 1 / 3, 0.7, 1.0]),
)
@settings(max_examples=2000, deadline=None)
def test_a_scan_times_the_scan_time_gives_the_scan_back(scan, scan_time):
    scenario = replace(FILM, controller=replace(FILM.controller, scan_time=scan_time))
    action = Action(scan * scan_time, "automatic")
    assert scan_of(scenario, action) == scan
    # In exact arithmetic the rounded product is off by no more than the reading forgives: 1e-9.
    assert abs(Fraction(action.at) / Fraction(scan_time) - scan) < Fraction(1, 10**9)


@pytest.mark.parametrize("drill", DRILLS)
def test_every_drill_is_repeated_to_the_last_bit(mill, drill):
    # What the film unwind is not fit for, another machine is.
    others = (machine(name) for name in ("laminate_pull_roll", "foil_unwind", "paper_rewind"))
    suits = next(m for m in (mill, *others) if not DRILLS[drill].refused(m))
    practice = performed(Setup(drill, suits, 11), DRILLS[drill].ideal)
    assert practice.running.scan > 100
    same_bits(practice, reread(practice))


@pytest.mark.parametrize(
    "name", ["paper_rewind", "nonwoven_unwind", "laminate_pull_roll", "foil_unwind",
             "paper_unwind_worn"]
)  # fmt: skip
def test_other_machines_are_repeated_too(name):
    setup = Setup("bumpless hand-over", machine(name), 2)
    practice = advanced(acted(begin_practice(setup), "output", 100 / 7), 200)
    practice = advanced(acted(practice, "automatic"), 200)
    same_bits(practice, reread(practice))


@pytest.mark.parametrize("trap", TRAPS)
def test_traps_are_repeated(mill, trap):
    drill = next(key for key in DRILLS if not trap_refused(mill, key, trap))
    practice = performed(Setup(drill, mill, MOST_SEED, (trap,)), DRILLS[drill].ideal)
    same_bits(practice, reread(practice))


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=10, deadline=None)
def test_whoever_advanced_it_in_whatever_steps_gets_the_same_file(played, seed):
    step, text = seed % 97 + 1, log_text(played)
    p = begin_practice(played.setup)
    for action in played.done:
        while (left := scan_of(played.setup.scenario, action) - p.running.scan) > 0:
            p = advanced(p, min(step, left))
            step = step * 5 % 97 + 1
        p = acted(p, action.what, action.value, action.over)
    p = advanced(p, played.running.scan - p.running.scan)
    assert log_text(p) == text
    same_bits(p, reread(p))


def test_every_kind_of_action_comes_back_even_one_that_has_not_taken_effect(played):
    back = reread(played)
    same_bits(played, back)
    assert back.done[-1].at == played.time  # the fast stop, pushed at the very end
    same_bits(advanced(played, 100), advanced(back, 100))
    assert trend(back).web_tension.tobytes() == trend(played).web_tension.tobytes()


def test_time_that_is_up_is_said(mill):
    practice = advanced(begin_practice(Setup("setpoint off", mill)), 10**6)
    assert json.loads(log_text(practice))["ended"] is True
    assert reread(practice).over


def test_an_assignment_is_a_run_at_its_start(mill):
    setup = Setup("fast stop", mill, 4, ("noisy reading",))
    found = json.loads(assignment_text(setup))
    assert (found["scans"], found["actions"], found["digest"]) == (0, [], "")
    logged = read_log(assignment_text(setup).encode(), name="task.json")
    assert logged.notes == ()
    same_bits(begin_practice(setup), logged.practice)


def test_an_assignment_by_hand_needs_little(mill, written):
    keys = ("format", "version", "drill", "seed", "scenario")
    data = json.dumps({key: written[key] for key in keys}).encode("utf-8-sig")
    assert read_log(data, name="task.json").practice.setup == Setup(written["drill"], mill, 5)


def test_an_assignment_that_cannot_be_done_is_not_written(mill):
    with pytest.raises(PracticeError):
        assignment_text(Setup("setpoint off", mill, 0, ("setpoint off",)))


def test_nothing_personal_is_in_it_and_it_says_what_it_is(mill, written):
    assert "simulated machine" in written["about"] and "own procedures" in written["about"]
    text = "# Set by Ada Example on 3 May\n" + written["scenario"]
    commented = session_log.read_scenario(text)
    assert "Ada" in commented.source
    assert "Ada" not in assignment_text(Setup("fast stop", commented))
    assert set(written) == {
        "format", "version", "about", "drill", "seed", "traps", "scans", "ended", "digest",
        "scenario", "actions",
    }  # fmt: skip


@pytest.mark.parametrize(
    "change", [{"seed": 6}, {"scans": 1657}, {"digest": "0" * 64}, {"digest": ""}]
)
def test_a_repeat_that_differs_is_read_and_said(written, change):
    assert written["scans"] == 1 + 37 + 501 + 803 + 211 + 3 + 100
    assert all(written[key] != value for key, value in change.items())
    changed = {**written, **change}
    logged = read_log(json.dumps(changed).encode(), name="run.json")
    assert len(logged.notes) == 1 and "not to the last bit" in logged.notes[0]
    assert logged.practice.running.scan == changed["scans"]


def test_another_end_than_the_drill_has_now_is_said(written):
    logged = read_log(json.dumps({**written, "ended": True}).encode(), name="run.json")
    assert len(logged.notes) == 1 and "was over; here it is not over" in logged.notes[0]


def test_a_noise_of_another_kind_is_noticed(played):
    other = replace(played.running, random={**played.running.random, "has_uint32": 1})
    changed = session_log.run_digest(replace(played, running=other))
    assert changed != session_log.run_digest(played)


def test_every_fault_is_told_at_once(written):
    found = faults_of(
        {
            **written, "drill": "x", "seed": -1, "traps": ["a", 1], "scans": 1.5, "ended": 0,
            "digest": "A", "scenarios": 3,
            "scenario": written["scenario"].replace("density", "dnsity"),
            "actions": [
                {"scan": 0, "what": "dropout", "value": math.nan, "over": -1, "vlaue": 2},
                3,
                {"what": "output", "scan": True, "value": "1"},
                {"scan": 10**400, "what": "Kc", "value": 10**400, "over": math.inf},
                {"scan": 7, "what": "Ti"},
            ],
        }
    )  # fmt: skip
    assert set(found) == {
        "drill", "seed", "traps[1]", "traps[2]", "scans", "ended", "digest", "scenarios",
        "scenario.web.density", "scenario.web.dnsity", "actions[1].scan", "actions[1].what",
        "actions[1].value", "actions[1].over", "actions[1].vlaue", "actions[2]",
        "actions[3].scan", "actions[3].value", "actions[4].value", "actions[4].over", "actions[5]",
    }  # fmt: skip
    assert all(key in found["drill"].allowed for key in DRILLS)
    assert all(key in found["traps[1]"].allowed for key in TRAPS)
    assert all(key in found["actions[1].what"].allowed for key in TRAINEE)
    assert found["scenarios"].allowed.startswith("is not known here; did you mean scenario?")
    assert found["seed"].value == "-1" and "above 0" in found["actions[5]"].allowed


@pytest.mark.parametrize("key", ["format", "version", "drill", "seed", "scenario"])
def test_what_must_be_there(written, key):
    assert list(faults_of({k: v for k, v in written.items() if k != key})) == [key]


def test_what_does_not_go_together(written):
    output, line = {"scan": 9, "what": "output"}, {"scan": 9, "what": "line speed", "value": 2.51}
    early, late = {"scan": 8, "what": "output"}, {"scan": 11, "what": "manual"}
    changes = {
        "drill": "setpoint off", "scans": 10, "actions": [output, line, early, late],
        "traps": ["setpoint off", "noisy reading", "noisy reading"],
    }  # fmt: skip
    found = faults_of({**written, **changes})
    assert set(found) == {
        "traps[1]", "traps[3]", "actions[2].value", "actions[3].scan", "actions[4].scan",
    }  # fmt: skip
    assert "2.5 m/s" in found["actions[2].value"].allowed  # line speed of film_unwind.toml
    assert "9 or more" in found["actions[3].scan"].allowed
    assert "at most 10" in found["actions[4].scan"].allowed


def test_an_assignment_has_no_actions(written):
    assert "actions[1].scan" in faults_of({**written, "scans": 0})


def test_no_run_is_longer_than_its_drill(written, played):
    last = last_scan(played.start)
    assert read_log(json.dumps({**written, "scans": last}).encode(), name="a").practice.over
    for scans in (last + 1, 10**4000):
        assert f"at most {last}" in faults_of({**written, "scans": scans})["scans"].allowed


def test_a_machine_that_does_not_suit_the_drill(written):
    text = (SCENARIOS / "paper_rewind.toml").read_text()
    changes = {"drill": "sticking brake", "scenario": text, "actions": [], "scans": 0}
    assert "does not suit this machine" in faults_of({**written, **changes})["drill"].allowed


@pytest.mark.parametrize(
    ("data", "key", "words"),
    [
        (b"", "", "not JSON"),
        (b"{", "", "not JSON"),
        (b"\xff\xfe", "", "UTF-8"),
        (b"\0", "", "not JSON"),
        (b'{"a": "\x01"}', "", "not JSON"),
        (b'{"a": "\\ud800"}', "", "surrogate"),
        (b'{"\\udfff": 1}', "", "surrogate"),
        (b"[" * 100_000, "", "too deep"),
        (b'{"a":' * 100_000, "", "too deep"),
        (b"[" * 900 + b"]" * 900, "format", "must be"),
        (b"1" * 5000, "", "too many digits"),
        (b'{"a": 1, "a": 2}', "", "given twice"),
        (b" " * 2_000_001, "", "larger than 2 MB"),
        (b"null", "format", "steadyspan practice log"),
        (b"NaN", "format", "steadyspan practice log"),
        (b'{"format": ["steadyspan practice log"]}', "format", "steadyspan practice log"),
        (b'{"format": "other", "version": 1}', "format", "steadyspan practice log"),
        (b'{"format": "steadyspan practice log", "version": 2}', "version", "newer"),
    ],
    ids=range(18),
)
def test_files_of_another_kind(data, key, words):
    found = faults_of(data)
    assert list(found) == [key] and words in found[key].allowed


def test_versions_that_never_were(written):
    for version in (0, True, 1.0, "1", None, [1]):
        assert list(faults_of({**written, "version": version})) == ["version"]


def test_actions_of_a_machine_gone_mad_are_refused_or_run(written):
    for what in TRAINEE:
        for value in (1e6, -1e6, 5e-324, 1e308):
            action = {"scan": 5, "what": what, "value": value, "over": 1e6}
            found = {**written, "traps": [], "scans": 300, "actions": [action]}
            try:
                logged = read_log(json.dumps(found).encode(), name="run.json")
                assert abs(value) < 1e308 and logged.practice.done[0].value == value
            except LogError as error:
                assert {fault.key for fault in error.faults} <= {"actions[1]", "actions[1].value"}


def test_too_much_is_refused(monkeypatch, written, played):
    few = {"scan": 1, "what": "manual"}
    assert "20000" in faults_of({**written, "actions": [few] * 20_001})["actions"].allowed
    assert len(faults_of({**written, "actions": [{}] * 20_000})) <= session_log.MOST_FAULTS + 1
    monkeypatch.setattr(session_log, "MOST_ACTIONS", 10)
    with pytest.raises(LogError, match="actions: at most 10"):
        log_text(played)


ANY = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(st.characters(), max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)
PLACES = st.sampled_from(
    ["format", "version", "about", "drill", "seed", "traps", "scans", "ended", "digest",
     "scenario", "actions", "scan", "what", "value", "over", "x"]
)  # fmt: skip


@given(changes=st.dictionaries(PLACES, ANY, min_size=1, max_size=4))
@settings(max_examples=150, deadline=None)
def test_hostile_values_are_answered_in_words(written, changes):
    action = {"scan": 9, "what": "output", "value": 3.0, "over": 0.0}
    action.update({k: v for k, v in changes.items() if k in action})
    found = {**written, "actions": [action]}
    found.update({k: v for k, v in changes.items() if k not in action})
    try:
        read_log(json.dumps(found).encode(), name="run.json")
    except LogError as error:
        assert error.faults
        str(error).encode()


@given(cut=st.integers(0, 5000), put=st.binary(max_size=4))
@settings(max_examples=100, deadline=None)
def test_damaged_files_are_answered_in_words(played, cut, put):
    data = log_text(played).encode()
    try:
        read_log(data[:cut] + put + data[cut + len(put) :], name="run.json")
    except LogError as error:
        assert error.faults
