"""The instructor's part: traps and seed, assignments, session logs and the class table."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
from tuning.practice.session_log import Logged, assignment_text, read_log
from tuning.practice.setup import MOST_SEED, Setup, trap_refused
from tuning.practice.traps import TRAPS
from tuning.screens import practice_run

# A class fits into this; more files at once are a mistake [-].
MOST_LOGS = 100
# Where the session keeps the files that were opened.
_KEPT = "practice.kept"


@dataclass(frozen=True, eq=False)
class _Log:
    """A file that was read: its name, its run, and whether the run is not as it was saved."""

    name: str
    practice: Practice
    changed: bool

    @property
    def begun(self) -> bool:
        return bool(self.practice.done) or self.practice.running.scan > 1


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
    opened = bool(st.session_state.get(_KEPT))
    with st.expander("For the instructor: assignments, logs and class table", expanded=opened):
        st.markdown(
            "An **assignment** is a file with drill, machine, seed and traps: hand it out, and "
            "everyone gets the same (its traps can be read in it). A **log** is what a trainee "
            "saves after a run; it is run again here, scan by scan. No names are in either; the "
            "file's name is yours to choose."
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
        if files:
            # Kept, so that they are still here after a debrief.
            st.session_state[_KEPT] = [(f.name, f.getvalue()) for f in files]
        kept: list[tuple[str, bytes]] = st.session_state.get(_KEPT, [])
        if len(kept) > MOST_LOGS:
            st.error(f"{len(kept)} files: the first {MOST_LOGS} are read.")
        if kept and not files:
            st.button("Forget the opened files", on_click=_forget, key="practice.forget")
        logs = [_opened(name, data) for name, data in kept[:MOST_LOGS]]
        _show_logs([log for log in logs if log is not None])


def _forget() -> None:
    st.session_state.pop(_KEPT, None)


def _opened(name: str, data: bytes) -> _Log | None:
    try:
        logged = _read(data, name=name)
    except LogError as error:
        _show_faults(name, error.faults)
        return None
    for note in logged.notes:
        st.caption(f"{bench.plain(name)}: {bench.told(note)}")
    return _Log(name, logged.practice, changed=bool(logged.notes))


@st.cache_resource(max_entries=2 * MOST_LOGS, show_spinner=False)
def _read(data: bytes, *, name: str) -> Logged:
    """A log is run again once, not each time the screen is drawn; what it gives is frozen."""
    return read_log(data, name=name)


def _show_faults(name: str, faults: tuple[Fault, ...]) -> None:
    lines = "\n".join(f"- {bench.plain(str(fault))}" for fault in faults)
    st.error(f"{bench.plain(name)} was not opened:\n\n{lines}")


def _show_logs(logs: list[_Log]) -> None:
    for number, log in enumerate(logs):
        if not log.begun:
            title = DRILLS[log.practice.setup.drill].title
            st.button(
                f"Open the assignment {log.name}: {title}", key=f"practice.take.{number}",
                on_click=practice_run.start, args=(log.practice,), kwargs={"paused": True},
                help="It opens paused, with its story: read, then let it run.",
            )  # fmt: skip
    runs = [log for log in logs if log.begun]
    if not runs:
        return
    scored = [log for log in runs if DRILLS[log.practice.setup.drill].points]
    numbered = [(f"{i}. {log.name}", log.practice) for i, log in enumerate(scored, start=1)]
    rows = class_table(numbered)
    changed = {name for (name, _), log in zip(numbered, scored, strict=True) if log.changed}
    st.table(
        [_cells(row, changed=any(name.startswith(row.name) for name in changed)) for row in rows],
        hide_index=True, alt="One row for each log",
    )  # fmt: skip
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
    which = st.selectbox(
        "Look at the debrief of", range(len(runs)), key="practice.look",
        format_func=lambda i: f"{i + 1}. {runs[i].name}",
    )  # fmt: skip
    st.button(
        "Open the debrief", key="practice.open", on_click=practice_run.start,
        args=(runs[which].practice,), kwargs={"over": True},
    )  # fmt: skip


def _cells(row: ClassRow, *, changed: bool) -> dict[str, str]:
    def number(value: float, unit: str) -> str:
        return "–" if math.isnan(value) else f"{sensible(value, 2)} {unit}"

    return {
        "File": f"{row.name} (not as saved)" if changed else row.name,
        "Drill": DRILLS[row.drill].title,
        "Traps": ", ".join(row.traps) or "–",
        "Score": f"{row.score:.0f}, {row.word}",
        "Goal": number(row.goal_time, "s") if row.done else "no",
        "Bump": number(row.bump, "%"),
        "Outside ± 10 %": number(row.outside, "s"),
        "Breaks": str(row.breaks),
        "Moves": str(row.moves),
    }
