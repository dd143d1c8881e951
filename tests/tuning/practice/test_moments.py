"""The marked moments of a run: what was done and what came of it, few and in order."""

import pytest

from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.measures import measured
from tuning.practice.moments import MOST, moments
from tuning.practice.session import trend
from tuning.practice.setup import Setup


def moments_of(machine, drill, operator, *, seed=0, traps=()):
    practice = performed(Setup(drill, machine, seed, traps), operator)
    run = trend(practice)
    return practice, moments(practice, run, measured(practice, run))


def words(found):
    return [moment.words for moment in found]


@pytest.mark.parametrize("name", ["film_unwind", "paper_rewind"])
def test_every_drill_has_few_moments_in_order_and_within_the_run(machines, name):
    machine = machines[name]
    for key, drill in DRILLS.items():
        if drill.refused(machine):
            continue
        practice, found = moments_of(machine, key, drill.ideal)
        times = [moment.at for moment in found]
        assert 1 <= len(found) <= MOST
        assert times == sorted(times) and times[0] >= 0.0 and times[-1] <= practice.time
        assert all(len(text) < 80 for text in words(found)), key


def test_a_run_in_which_nothing_happens_has_none(film_machine):
    def operator(hands):
        yield 5.0

    assert moments_of(film_machine, "tracking off", operator)[1] == ()


def test_a_hand_over_carries_its_bump_and_its_jump(film_machine):
    def operator(hands):
        yield 3.0
        hands.do("automatic")
        yield 10.0
        hands.do("manual")
        yield 2.0

    _, found = moments_of(film_machine, "tracking off", operator)
    switch = next(m for m in found if m.words.startswith("to automatic"))
    # The output falls from 48 % to nothing, and all 150 N go.
    assert switch.at == pytest.approx(3.0, abs=0.05)
    assert "bump 150 N" in switch.words and "output jumps by 48 %" in switch.words
    assert any(m.words == "to manual" and abs(m.at - 13.0) < 0.05 for m in found)
    assert any(m.words.startswith("web slack") for m in found)


def test_fast_switching_is_one_moment(film_machine):
    def operator(hands):
        yield 3.0
        for _ in range(7):
            hands.do("automatic")
            yield 0.3
            hands.do("manual")
            yield 0.3
        yield 5.0
        hands.do("automatic")
        yield 3.0

    _, found = moments_of(film_machine, "setpoint off", operator)
    switched = [m for m in found if m.kind == "switch"]
    assert [m.at for m in switched] == pytest.approx([3.0, 12.2], abs=0.1)
    assert switched[0].words.startswith("to automatic and back 7 times")
    assert switched[1].words.startswith("to automatic, bump")


def test_fifty_moves_are_one_moment(film_machine):
    def operator(hands):
        yield 1.0
        for i in range(50):
            hands.do("output", hands.output + (1.0 if i % 2 else -1.0))
            yield 0.5

    _, found = moments_of(film_machine, "output at full roll", operator)
    moved = [m for m in found if m.kind == "output"]
    assert len(moved) == 1 and "first of 50 moves" in moved[0].words


def test_what_is_called_out_and_done_about_it_is_marked(film_machine):
    drill = DRILLS["web break and restart"]
    practice, found = moments_of(film_machine, drill.key, drill.ideal)
    (at, _), *_ = practice.start.call
    said = words(found)
    assert found[0].at == at and said[0].startswith("called out")
    for text in ("to manual", "fast stop", "line stands", "web threaded"):
        assert text in said
    # The stop takes the machine's 4 s.
    stop, stands = (next(m.at for m in found if m.words == w) for w in ("fast stop", "line stands"))
    assert stands - stop == pytest.approx(4.0, abs=0.05)


def test_a_trap_shows_itself(film_machine):
    def operator(hands):
        yield 120.0

    _, lost = moments_of(film_machine, "bumpless hand-over", operator, traps=("signal lost",))
    _, lap = moments_of(film_machine, "bumpless hand-over", operator, traps=("lap in the web",))
    assert "signal lost for 0.6 s" in words(lost)
    assert "a lap comes through" in words(lap)


def test_zeroing_with_tension_in_the_web_says_so(film_machine):
    def operator(hands):
        yield 3.0
        hands.zero()
        yield 5.0

    _, found = moments_of(film_machine, "tracking off", operator)
    (zero,) = (m for m in found if m.words.startswith("load cells zeroed"))
    assert zero.words == "load cells zeroed with 150 N in the web"


def test_the_largest_departure_is_where_the_trend_has_it(film_machine):
    def operator(hands):
        yield 2.0
        hands.do("start")
        yield 50.0

    practice, found = moments_of(film_machine, "crawl to speed in manual", operator)
    run = trend(practice)
    off = abs(run.web_tension - practice.start.wanted)
    (far,) = (m for m in found if m.words.startswith("farthest off"))
    assert far.at == pytest.approx(float(run.time[off.argmax()]))
    assert f"{off.max():.0f} N too high" in far.words


def test_a_full_picture_keeps_what_matters_most(film_machine):
    def operator(hands):
        for i in range(12):
            yield 4.0
            hands.do("Kc", 0.05 + 0.001 * i)
            hands.do("setpoint", 150.0 + i)
        hands.do("automatic")
        yield 10.0

    _, found = moments_of(film_machine, "tracking off", operator)
    assert len(found) == MOST
    assert any(m.words.startswith("to automatic") for m in found)
