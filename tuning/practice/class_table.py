"""What a class did, from its logs: one row a run, and for each drill what to teach next.

As text for a spreadsheet (comma-separated, as RFC 4180 has it) nothing that a file is named can
become a formula there.
"""

from __future__ import annotations

import csv
import io
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from tuning.practice.drill import Part
from tuning.practice.drills import DRILLS
from tuning.practice.hands import performed
from tuning.practice.measures import Measures, measured
from tuning.practice.score import Marks, scored
from tuning.practice.session import Practice
from tuning.practice.setup import Setup

# What to teach where most points of a part are lost; `score` says how each part is measured.
TEACH: dict[Part, str] = {
    "goal": "what the job card asks for, and for how long it must hold",
    "time": "the order of the steps, so that none is done twice",
    "bump": "setpoint on the reading and a steady tension before the switch to automatic",
    "peak": "what is about to happen to the torque, and to be ready for it",
    "overshoot": "to approach the wanted tension from below, in steps, and to wait in between",
    "error": "to work out the output, set it in one move, and trim",
    "outside": "what the next step will do to the tension, and to be ahead of it",
    "web": "to keep the web taut and whole: no step of the output that it can't bear",
    "moves": "one move, then hands off until the tension is at rest",
}

_HEADER = (
    "name", "drill", "traps", "seed", "score [of 100]", "word", "goal reached", "time to goal [s]",
    "bump [% of tension]", "time outside 10 % [s]", "breaks", "slack [s]", "moves of output",
)  # fmt: skip
# A cell that begins with one of these, or its wide sister, is a formula to a spreadsheet.
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


@dataclass(frozen=True)
class ClassRow:
    """One run in the table of a class.

    Attributes:
        name: of the log's file, without folder and extension.
        drill: its key in `DRILLS`.
        traps: that were set.
        seed: of the run [-].
        score: of 100 [-].
        word: "good", "usable" or "again".
        done: whether the goal was reached [-].
        goal_time: from the start, or the call, until the goal held [s]; nan if it did not.
        bump: the largest of all hand-overs [% of the wanted tension]; nan if there was none.
        outside: time farther off the wanted tension than 10 % [s].
        breaks: web breaks beyond those that the drill had [-].
        slack: time with slack web that was not broken [s].
        moves: of the output by hand [-].
        marks: the parts of the score.
    """

    name: str
    drill: str
    traps: tuple[str, ...]
    seed: int
    score: float
    word: str
    done: bool
    goal_time: float
    bump: float
    outside: float
    breaks: int
    slack: float
    moves: int
    marks: tuple[Marks, ...]


@dataclass(frozen=True)
class DrillSummary:
    """How a class did one drill.

    Attributes:
        drill: its key in `DRILLS`.
        runs: how many there are [-].
        median: of their scores [-].
        reached: how many of them reached the goal [-].
        part: of the score in which most points were lost; None where none were.
        lost: points lost in it, a run [-].
        teach: what to teach next; empty where no points were lost.
    """

    drill: str
    runs: int
    median: float
    reached: int
    part: Part | None
    lost: float
    teach: str


def class_table(logs: Sequence[tuple[str, Practice]]) -> tuple[ClassRow, ...]:
    """Return one row for each run, by drill as one learns them, the best first.

    The scores are those of `debriefed`; the ideal run is made once for each setup.

    Args:
        logs: name of each file, and the run that it holds.
    """
    ideals: dict[Setup, Measures] = {}
    rows = []
    for name, practice in logs:
        setup = practice.setup
        if setup not in ideals:
            ideals[setup] = measured(performed(setup, DRILLS[setup.drill].ideal))
        rows.append(_row(name, practice, ideals[setup]))
    order = list(DRILLS)
    return tuple(sorted(rows, key=lambda row: (order.index(row.drill), -row.score, row.name)))


def class_summary(rows: Sequence[ClassRow]) -> tuple[DrillSummary, ...]:
    """Return for each drill that was done how the class did it, and what to teach next.

    Args:
        rows: of the table.
    """
    found = []
    for drill in DRILLS:
        own = [row for row in rows if row.drill == drill]
        if not own:
            continue
        lost = {
            part: math.fsum(m.most - m.points for row in own for m in row.marks if m.part == part)
            for part in DRILLS[drill].points
        }
        most: Part = max(lost, key=lambda part: lost[part])
        part = most if lost[most] > 0.0 else None
        found.append(
            DrillSummary(
                drill=drill,
                runs=len(own),
                median=statistics.median(row.score for row in own),
                reached=sum(row.done for row in own),
                part=part,
                lost=lost[most] / len(own),
                teach=TEACH[part] if part else "",
            )
        )
    return tuple(found)


def class_csv(rows: Sequence[ClassRow]) -> str:
    """Return a table as text for a spreadsheet; a cell is empty where there is nothing.

    Args:
        rows: of the table.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(_HEADER)
    for row in rows:
        table.writerow(
            [
                _harmless(row.name),
                _harmless(row.drill),
                _harmless("; ".join(row.traps)),
                row.seed,
                _number(row.score, 1),
                _harmless(row.word),
                "yes" if row.done else "no",
                _number(row.goal_time, 2),
                _number(row.bump, 2),
                _number(row.outside, 2),
                row.breaks,
                _number(row.slack, 2),
                row.moves,
            ]
        )
    return text.getvalue()


def _row(name: str, practice: Practice, ideal: Measures) -> ClassRow:
    setup, m = practice.setup, measured(practice)
    score = scored(setup.drill, practice.start, m, ideal)
    return ClassRow(
        name=_plain(PurePosixPath(name.replace("\\", "/")).stem),
        drill=setup.drill,
        traps=setup.traps,
        seed=setup.seed,
        score=score.total,
        word=score.word,
        done=m.done,
        goal_time=m.goal_time,
        bump=m.bump,
        outside=m.outside,
        breaks=m.breaks,
        slack=m.slack,
        moves=m.moves,
        marks=score.marks,
    )


def _plain(name: str) -> str:
    """Return a name without line ends, control characters and halves of characters."""
    return "".join(c if c.isprintable() else "?" for c in name)


def _harmless(cell: str) -> str:
    """Return a cell that a spreadsheet takes as text."""
    cell = _plain(cell)
    return f"'{cell}" if cell.lstrip().startswith(_FORMULA) else cell


def _number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else ""
