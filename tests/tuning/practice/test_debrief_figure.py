"""The picture of a debrief: readable for any run, in either system of units."""

import numpy as np
import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.pictures import check_readable
from tuning.practice.debrief import debriefed
from tuning.practice.debrief_figure import draw_debrief
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.setup import Setup


def debrief_of(machine, drill, operator, *, seed=0, traps=()):
    return debriefed(performed(Setup(drill, machine, seed, traps), operator))


def lines(figure, label):
    return [line for axes in figure.axes for line in axes.get_lines() if line.get_label() == label]


@pytest.mark.parametrize("name", ["film_unwind", "paper_rewind"])
def test_every_ideal_run_is_readable_and_has_its_numbers(machines, name):
    for i, (key, drill) in enumerate(DRILLS.items()):
        if drill.refused(machines[name]):
            continue
        debrief = debrief_of(machines[name], key, drill.ideal)
        units = US_CUSTOMARY if i % 2 else METRIC
        said = check_readable(draw_debrief(debrief, units)).split(" | ")
        for number in range(1, len(debrief.moments) + 1):
            assert str(number) in said, key
        assert f"tension [{units.label('tension')}]" in said
        assert "ideal run" in said and "job card ± 10 %" in said


@pytest.mark.parametrize("seconds", [0.0, 5.0, 300.0])
def test_from_a_moment_to_five_minutes(film_machine, seconds):
    def operator(hands):
        yield seconds

    for key in ("output at full roll", "web break and restart"):
        check_readable(draw_debrief(debrief_of(film_machine, key, operator)))


def test_a_swing_far_out_does_not_press_the_rest_flat(film_machine):
    def operator(hands):
        yield 5.0
        hands.do("output", 100.0)
        yield 0.4
        hands.do("output", hands.holding_output())
        yield 40.0

    debrief = debrief_of(film_machine, "output near the core", operator)
    most = debrief.run.web_tension.max()
    figure = draw_debrief(debrief)
    assert most > 3.0 * 150.0
    assert figure.axes[0].get_ylim()[1] <= 2.05 * 150.0
    assert "▲ up to" in check_readable(figure)


def test_tensions_are_drawn_in_the_readers_units(film_machine):
    drill = DRILLS["output at full roll"]
    debrief = debrief_of(film_machine, drill.key, drill.ideal)
    (drawn,) = lines(draw_debrief(debrief, US_CUSTOMARY), "tension of the web")
    # One pound-force is 4.4482216 N (from memory; BIPM, NIST SP 811).
    assert np.max(drawn.get_ydata()) == pytest.approx(
        debrief.run.web_tension.max() / 4.4482216, rel=1e-6
    )


def test_the_display_is_drawn_only_where_it_read_something_else(film_machine):
    drill = DRILLS["bumpless hand-over"]
    right = debrief_of(film_machine, drill.key, drill.ideal)
    wrong = debrief_of(film_machine, drill.key, drill.ideal, traps=("drifted zero",))
    assert not lines(draw_debrief(right), "what the display read")
    assert lines(draw_debrief(wrong), "what the display read")


def test_line_speed_has_a_panel_only_where_it_moves(film_machine):
    still, moving = DRILLS["bumpless hand-over"], DRILLS["crawl to speed in manual"]
    assert len(draw_debrief(debrief_of(film_machine, still.key, still.ideal)).axes) == 2
    assert len(draw_debrief(debrief_of(film_machine, moving.key, moving.ideal)).axes) == 3
