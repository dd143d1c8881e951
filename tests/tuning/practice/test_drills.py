"""Every drill can be done and can be failed; a good run scores high and a bad one low."""

import pytest

from tests.tuning.practice.conftest import GAINS
from tests.tuning.practice.operators import TRAINEES, idle, too_early
from tuning.practice.drill import PracticeError
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.measures import measured
from tuning.practice.score import GOOD, scored
from tuning.practice.setup import Setup, set_up
from tuning.practice.traps import TRAPS

# The drills that the issue of training names; each must be there under a name of its own.
NAMED = 13


def machine_for(machines, name, key):
    machine = machines[name]
    if reason := DRILLS[key].refused(machine):
        pytest.skip(reason)
    return machine


def judged(setup, operator):
    drill = DRILLS[setup.drill]
    run = performed(setup, operator)
    m, ideal = measured(run), measured(performed(setup, drill.ideal))
    return m, scored(drill.key, run.start, m, ideal)


def test_there_is_a_drill_for_each_thing_that_goes_on():
    assert len(DRILLS) >= NAMED
    assert set(TRAINEES) == set(DRILLS) - {"free run"}
    for key, drill in DRILLS.items():
        assert key == drill.key
        assert sum(drill.points.values()) == (0 if key == "free run" else 100), key
        assert len(drill.story) > 80 and drill.goal.words and drill.hint
    assert len({drill.title for drill in DRILLS.values()}) == len(DRILLS)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("name", GAINS)
@pytest.mark.parametrize("key", DRILLS)
def test_who_knows_the_machine_does_every_drill_on_it(machines, name, key, seed):
    machine = machine_for(machines, name, key)
    run = performed(Setup(key, machine, seed), DRILLS[key].ideal)
    m = measured(run)
    assert m.done, (m.held, run.time)
    assert m.breaks == 0
    assert run.time < run.start.time_limit


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("key", TRAINEES)
def test_good_hands_score_high_and_bad_ones_low(film_machine, key, seed):
    good, bad = TRAINEES[key]
    setup = Setup(key, film_machine, seed)
    m, score = judged(setup, good)
    assert m.done
    assert score.total >= 70.0, score
    _, low = judged(setup, bad)
    assert low.total <= 50.0, low
    assert low.word == "again"


@pytest.mark.parametrize("name", ["foil_unwind", "laminate_pull_roll", "paper_rewind"])
@pytest.mark.parametrize("key", TRAINEES)
def test_nobody_scores_by_doing_nothing(machines, name, key):
    machine = machine_for(machines, name, key)
    setup = Setup(key, machine, 1)
    for operator in (idle, too_early):
        m, score = judged(setup, operator)
        if key != "splice to a new roll":  # automatic finds a new roll's output, in its own time
            assert not m.done
            assert score.total < 35.0, (operator.__name__, score)
        assert score.total < GOOD or m.done


@pytest.mark.parametrize("key", DRILLS)
def test_a_break_of_ones_own_ends_all_hope(film_machine, key):
    """Full output on the small roll's radius is far beyond what the film bears (1800 N)."""

    def brute(hands):
        yield 1.0
        for _ in range(40):
            hands.do("manual")
            hands.do("start")
            hands.do("output", 100.0)
            yield 4.0

    m, score = judged(Setup(key, film_machine, 0), brute)
    if m.breaks:
        assert score.total <= 30.0
    assert not m.done or DRILLS[key].goal.line == "standing"


@pytest.mark.parametrize("trap", TRAPS)
@pytest.mark.parametrize("key", DRILLS)
def test_every_trap_leaves_the_drill_possible(film_machine, key, trap):
    if trap in DRILLS[key].faults:
        with pytest.raises(PracticeError, match="has it already"):
            set_up(Setup(key, film_machine, 0, (trap,)))
        return
    run = performed(Setup(key, film_machine, 3, (trap,)), DRILLS[key].ideal)
    m = measured(run)
    assert m.breaks == 0
    assert m.done, (m.held, m.error)


@pytest.mark.parametrize(
    ("setup", "said"),
    [
        (("no such drill", 0, ()), "must be one of output at full roll"),
        (("fast stop", -1, ()), "seed -1: must lie between 0 and"),
        (("fast stop", 0, ("rain",)), "trap 'rain': must be one of"),
        (("fast stop", 0, ("noisy reading", "noisy reading")), "is set twice"),
    ],
)
def test_an_unknown_setup_is_refused_with_what_is_known(film_machine, setup, said):
    key, seed, traps = setup
    with pytest.raises(PracticeError, match=said):
        set_up(Setup(key, film_machine, seed, traps))


def test_machines_that_do_not_suit_say_why(machines):
    pull = machines["laminate_pull_roll"]
    assert "one diameter" in DRILLS["output near the core"].refused(pull)
    worn = machines["paper_unwind_worn"]
    # 1.5 % of output on a radius of 118 mm: 1.5 · 3.17 N m / 0.118 m = 40 N of 220 N.
    assert "each worth 18 % of the tension" in DRILLS["output near the core"].refused(worn)
    assert "not spliced" in DRILLS["splice to a new roll"].refused(pull)
    assert "stick" in DRILLS["sticking brake"].refused(machines["foil_unwind"])
    with pytest.raises(PracticeError, match="no air supply that can stick"):
        set_up(Setup("fast stop", machines["foil_unwind"], 0, ("sticking supply",)))
