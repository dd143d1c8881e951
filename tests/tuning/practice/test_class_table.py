"""The table of a class: order and medians known by hand, scores those of the debrief."""

import csv
import io
import math
import time
from dataclasses import replace
from pathlib import Path

import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import load_scenario
from tuning.gains import Gains
from tuning.practice import class_table as table_module
from tuning.practice.class_table import ClassRow, class_csv, class_summary, class_table
from tuning.practice.debrief import debriefed
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.score import Marks
from tuning.practice.session import acted, advanced, begin_practice
from tuning.practice.setup import Setup, practice_machine

SCENARIOS = Path(__file__).resolve().parents[3] / "scenarios"
OFF, STOP = "setpoint off", "fast stop"


@pytest.fixture(scope="module")
def mill():
    return practice_machine(load_scenario(SCENARIOS / "film_unwind.toml"), Gains(Kc=0.095, Ti=0.21))


@pytest.fixture(scope="module")
def good(mill):
    return performed(Setup(OFF, mill, 1, ("noisy reading",)), DRILLS[OFF].ideal)


@pytest.fixture(scope="module")
def hasty(good):
    """Straight to automatic, on a setpoint that is off by a fifth; it never comes right."""
    return advanced(acted(advanced(begin_practice(good.setup), 50), "automatic"), 1500)


def row(name="a", drill=OFF, score=50.0, done=True, marks=(), **others):
    values = {
        "traps": (), "seed": 0, "word": "usable", "goal_time": 1.0, "bump": 2.0, "outside": 3.0,
        "breaks": 0, "slack": 0.0, "moves": 4,
    }  # fmt: skip
    return ClassRow(name=name, drill=drill, score=score, done=done, marks=marks, **values | others)


def test_two_runs_whose_order_is_known_by_hand(good, hasty):
    rows = class_table([("x/hasty.json", hasty), ("C:\\logs\\ideal.run.json", good)])
    assert [r.name for r in rows] == ["ideal.run", "hasty"]
    best, worst = rows
    # The ideal operator gets all points: the score is measured against it.
    assert best.score == pytest.approx(100.0, abs=1e-9)
    assert (best.word, best.done, best.moves, best.breaks) == ("good", True, 0, 0)
    assert (best.traps, best.seed, best.drill) == (("noisy reading",), 1, OFF)
    assert (worst.word, worst.done) == ("again", False) and math.isnan(worst.goal_time)
    # A fifth off the wanted tension is a bump of about a fifth of it.
    assert 15.0 < worst.bump < 35.0 and worst.outside > 10.0
    (summary,) = class_summary(rows)
    assert (summary.runs, summary.reached) == (2, 1)
    assert summary.median == pytest.approx(0.5 * (100.0 + worst.score), abs=1e-9)
    # By the points of the drill: 50 for the bump, all lost by the hasty one; none by the other.
    assert (summary.part, summary.lost) == ("bump", pytest.approx(25.0, abs=1e-9))
    assert "setpoint" in summary.teach


def test_drills_stand_as_one_learns_them_and_the_best_first(good, hasty, mill):
    stop = begin_practice(Setup(STOP, mill))
    rows = class_table([("c", stop), ("b", hasty), ("d", good), ("a", hasty)])
    assert [r.name for r in rows] == ["d", "a", "b", "c"]
    assert list(DRILLS).index(OFF) < list(DRILLS).index(STOP)
    assert rows[-1].score < 60.0 and not rows[-1].done


def test_scores_are_those_of_the_debrief(good, hasty, mill):
    runs = [good, hasty, advanced(begin_practice(Setup(STOP, mill, 3)), 4000)]
    for run in runs:
        (only,), debrief = class_table([("a", run)]), debriefed(run)
        assert (only.score, only.word) == (debrief.score.total, debrief.score.word)
        assert only.marks == debrief.score.marks and only.done == debrief.measures.done
        assert only.outside == debrief.measures.outside and only.moves == debrief.measures.moves


def test_a_class_of_thirty_takes_one_ideal_run_and_no_two_seconds(monkeypatch, good, hasty, mill):
    ideals = []

    def counted(setup, operator):
        ideals.append(setup)
        return performed(setup, operator)

    monkeypatch.setattr(table_module, "performed", counted)
    # Each file brings a machine of its own, equal to the others.
    logs = [
        (f"{i}", replace(hasty, setup=replace(hasty.setup, scenario=replace(mill))))
        for i in range(30)
    ]
    began = time.perf_counter()
    assert len(class_table(logs)) == 30
    assert time.perf_counter() - began < 2.0
    assert ideals == [good.setup]
    class_table([("a", good), ("b", replace(good, setup=replace(good.setup, seed=2)))])
    assert [setup.seed for setup in ideals] == [1, 1, 2]


def test_medians_and_lost_points_by_hand():
    def marks(goal, bump):
        return (Marks("goal", goal, 25.0), Marks("bump", bump, 50.0))

    rows = [
        row(score=30.0, done=False, marks=marks(0.0, 30.0)),  # 25 and 20 lost
        row(score=90.0, marks=marks(25.0, 40.0)),  # 0 and 10
        row(score=50.0, marks=marks(25.0, 20.0)),  # 0 and 30
        row(score=10.0, drill=STOP, done=False, marks=(Marks("web", 0.0, 25.0),)),
        row(score=20.0, drill=STOP, marks=(Marks("web", 5.0, 25.0),)),
    ]
    off, stop = class_summary(rows)
    assert (off.drill, off.runs, off.median, off.reached) == (OFF, 3, 50.0, 2)
    assert (off.part, off.lost) == ("bump", 20.0)
    assert (stop.drill, stop.runs, stop.median, stop.reached) == (STOP, 2, 15.0, 1)
    assert (stop.part, stop.lost) == ("web", 22.5)


def test_where_nothing_is_lost_nothing_is_to_be_taught():
    (summary,) = class_summary([row(score=100.0, marks=(Marks("goal", 25.0, 25.0),))])
    assert (summary.part, summary.lost, summary.teach) == (None, 0.0, "")
    assert class_summary([]) == () and class_table([]) == ()


def test_every_part_of_every_score_can_be_taught():
    assert {part for drill in DRILLS.values() for part in drill.points} == set(table_module.TEACH)


def test_a_spreadsheet_reads_it():
    nothing = {"goal_time": math.nan, "bump": math.nan}
    rows = [
        row("Gruppe 1, früh", score=66.66, traps=("signal lost", "noisy reading"), outside=1.5),
        row('b "2"', done=False, word="again", seed=7, breaks=1, **nothing),
    ]
    text = class_csv(rows)
    # Reference: pandas' reader of comma-separated values.
    read = pandas.read_csv(io.StringIO(text))
    assert list(read["name"]) == ["Gruppe 1, früh", 'b "2"']
    assert list(read["score [of 100]"]) == [66.7, 50.0]
    assert list(read["traps"].fillna("")) == ["signal lost; noisy reading", ""]
    assert list(read["goal reached"]) == ["yes", "no"] and list(read["breaks"]) == [0, 1]
    assert list(read["time outside 10 % [s]"]) == [1.5, 3.0]
    assert read["time to goal [s]"].isna().tolist() == [False, True]
    assert read["bump [% of tension]"].isna().tolist() == [False, True]
    # RFC 4180, section 2, rules 1 and 4 (from memory): lines end with CRLF, all have as many cells.
    assert text.count("\r\n") == 3 and text.endswith("\r\n")
    assert {len(line) for line in csv.reader(io.StringIO(text))} == {13}


# OWASP, "CSV Injection" (from memory): cells that begin with = + - @, a tab or a carriage return,
# or the wide forms of these signs.
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t=", "\r=", " =", "＝", "－", "＋", "＠"])
def test_no_name_becomes_a_formula(sign):
    (_, line) = csv.reader(io.StringIO(class_csv([row(f"{sign}1+1", drill=f"{sign}2")])))
    for cell in line[:2]:
        assert cell[0] in "'?" and cell.endswith(("1+1", "2"))


@given(name=st.text(st.characters(), max_size=20))
@settings(max_examples=300, deadline=None)
def test_any_name_is_one_harmless_cell(name):
    text = class_csv([row(name)])
    lines = list(csv.reader(io.StringIO(text, newline="")))
    assert len(lines) == 2 and {len(line) for line in lines} == {13}
    plain = "".join(c if c.isprintable() else "?" for c in name)
    assert lines[1][0] in (plain, f"'{plain}")
    assert not lines[1][0].lstrip().startswith(("=", "+", "-", "@"))
    text.encode()


@given(scores=st.lists(st.floats(0.0, 100.0), min_size=1, max_size=9))
def test_the_median_has_as_many_runs_above_as_below(scores):
    (summary,) = class_summary([row(score=score) for score in scores])
    below = sum(score < summary.median for score in scores)
    above = sum(score > summary.median for score in scores)
    assert max(below, above) <= len(scores) / 2 and summary.runs == len(scores)
