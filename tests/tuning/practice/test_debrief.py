"""The debrief puts run and ideal run side by side, and everything in it belongs to them."""

import numpy as np

from tuning.practice.debrief import debriefed
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.setup import Setup


def test_the_ideal_run_debriefed_is_its_own_ideal(film_machine):
    drill = DRILLS["bumpless hand-over"]
    practice = performed(Setup(drill.key, film_machine, 3), drill.ideal)
    debrief = debriefed(practice)
    assert debrief.drill is drill and debrief.practice is practice
    np.testing.assert_array_equal(debrief.run.web_tension, debrief.ideal_run.web_tension)
    assert debrief.measures == debrief.ideal
    assert debrief.score.total == 100.0
    assert debrief.advice and debrief.moments


def test_the_ideal_run_has_the_same_traps_and_seed(film_machine):
    def operator(hands):
        yield 20.0

    setup = Setup("bumpless hand-over", film_machine, 4, ("drifted zero",))
    debrief = debriefed(performed(setup, operator))
    n = 50  # scans, before anyone acts
    np.testing.assert_array_equal(debrief.run.tension[:n], debrief.ideal_run.tension[:n])
    assert not debrief.measures.done and debrief.ideal.done


def test_a_run_that_ends_at_its_first_scan_can_be_debriefed(film_machine):
    def operator(hands):
        yield from ()

    for drill in DRILLS.values():
        debrief = debriefed(performed(Setup(drill.key, film_machine), operator))
        assert debrief.score.word == "again" and debrief.advice
