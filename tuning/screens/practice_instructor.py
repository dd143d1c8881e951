"""The instructor's part: traps and seed, assignments, session logs and the class table."""

from __future__ import annotations

import math

import streamlit as st

from simulator import Scenario
from simulator.errors import Fault
from simulator.screens import bench
from simulator.units import sensible
from tuning.practice.class_table import ClassRow, class_csv, class_summary, class_table
from tuning.practice.drill import Drill
from tuning.practice.drills import DRILLS
from tuning.practice.log_file import LogError
from tuning.practice.session import Practice, begin_practice
from tuning.practice.session_log import assignment_text, read_log
from tuning.practice.setup import MOST_SEED, Setup, trap_refused
from tuning.practice.traps import TRAPS
from tuning.screens import practice_bench

# A class fits into this; more files at once are a mistake [-].
MOST_LOGS = 100


def chosen(drill: Drill, machine: Scenario) -> tuple[int, tuple[str, ...]]:
    """Let the instructor set traps and the seed.

    Args:
        drill: the drill at hand.
        machine: to practise on.
    """
    with st.expander("For the instructor: traps and seed"):
        possible = [key for key in TRAPS if not trap_refused(machine, drill.key, key)]
        traps = st.multiselect(
            "Traps", possible, format_func=lambda key: TRAPS[key].title,
            key=f"practice.traps.{drill.key}.{len(possible)}", persist_state="session",
            help="Set them while the trainee looks away. The debrief tells what was set.",
        )  # fmt: skip
        seed = st.number_input(
            "Seed", 0, MOST_SEED, 0, key="practice.seed", persist_state="session",
            help="Decides the noise and all that is left to chance: when the bell rings, whether "
            "the output stands too high or too low. The same seed, the same drill.",
        )  # fmt: skip
    return int(seed), tuple(traps)


def show(setup: Setup) -> None:
    """Show assignments, logs and the class table.

    Args:
        setup: as chosen.
    """
    with st.expander("For the instructor: assignments, logs and class table"):
        st.markdown(
            "An **assignment** is a file with drill, machine, seed and traps: hand it out, and "
            "everyone gets the same. A **log** is what a trainee saves after a run; it is run "
            "again here, scan by scan. No names are in either; the file's name is yours to choose."
        )
        try:
            begin_practice(setup)
        except ValueError:
            st.caption("The drill chosen above does not suit this machine: no assignment.")
        else:
            st.download_button(
                "Save as assignment", assignment_text(setup), on_click="ignore",
                file_name=f"assignment_{setup.drill.replace(' ', '_')}.json",
                mime="application/json", key="practice.assignment",
            )  # fmt: skip
        files = st.file_uploader(
            "Open assignments and logs", type=["json"], accept_multiple_files=True,
            key="practice.files",
        )  # fmt: skip
        logs = [_opened(file.name, file.getvalue()) for file in (files or [])[:MOST_LOGS]]
        if files and len(files) > MOST_LOGS:
            st.error(f"{len(files)} files: the first {MOST_LOGS} are read.")
        _show_logs([log for log in logs if log is not None])


def _opened(name: str, data: bytes) -> tuple[str, Practice] | None:
    try:
        logged = read_log(data, name=name)
    except LogError as error:
        _show_faults(name, error.faults)
        return None
    for note in logged.notes:
        st.caption(bench.told(f"{name}: {note}"))
    return name, logged.practice


def _show_faults(name: str, faults: tuple[Fault, ...]) -> None:
    lines = "\n".join(f"- {bench.plain(str(fault))}" for fault in faults)
    st.error(f"{bench.plain(name)} was not opened:\n\n{lines}")


def _show_logs(logs: list[tuple[str, Practice]]) -> None:
    if not logs:
        return
    for number, (name, practice) in enumerate(logs):
        if not practice.done and practice.running.scan <= 1:
            st.button(
                f"Start the assignment {name}", key=f"practice.take.{number}",
                on_click=practice_bench.start, args=(practice,),
            )  # fmt: skip
    runs = [(name, p) for name, p in logs if p.done or p.running.scan > 1]
    if not runs:
        return
    rows = class_table([(name, p) for name, p in runs if DRILLS[p.setup.drill].points])
    st.table([_cells(row) for row in rows], hide_index=True, alt="One row for each log")
    for summary in class_summary(rows):
        title = DRILLS[summary.drill].title
        st.markdown(
            f"**{title}:** {summary.reached} of {summary.runs} reached the goal, median score "
            f"{summary.median:.0f}. {bench.told(summary.teach)}"
        )
    st.download_button(
        "Save the table", class_csv(rows).encode("utf-8-sig"), on_click="ignore",
        file_name="class_table.csv", mime="text/csv", key="practice.table",
    )  # fmt: skip
    names = [name for name, _ in runs]
    which = st.selectbox("Look at the debrief of", names, key="practice.look")
    st.button(
        "Open the debrief", key="practice.open",
        on_click=lambda: practice_bench.start(dict(runs)[which], over=True),
    )  # fmt: skip


def _cells(row: ClassRow) -> dict[str, str]:
    def number(value: float, unit: str) -> str:
        return "–" if math.isnan(value) else f"{sensible(value, 2)} {unit}"

    return {
        "File": row.name,
        "Drill": DRILLS[row.drill].title,
        "Traps": ", ".join(row.traps) or "–",
        "Score": f"{row.score:.0f}, {row.word}",
        "Goal": number(row.goal_time, "s") if row.done else "no",
        "Bump": number(row.bump, "%"),
        "Outside ± 10 %": number(row.outside, "s"),
        "Breaks": str(row.breaks),
        "Moves": str(row.moves),
    }
