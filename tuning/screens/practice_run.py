"""The practice run in the session: taken up, advanced by the time gone by, acted on, left.

Every change is a callback, so it may come late: after the run was finished or left. Then it does
nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Literal

import streamlit as st

from simulator.errors import SimulationError
from simulator.plan import What
from simulator.screens import bench
from tuning.practice import controls
from tuning.practice.drill import PracticeError
from tuning.practice.session import Practice, acted, advanced

Stage = Literal["choose", "live", "debrief"]
PACES = {"Pause": 0.0, "1×": 1.0, "2×": 2.0, "5×": 5.0, "10×": 10.0}
# A single step of a paused run [s].
STEP = 0.5

# Where the session keeps it; the pace is a control's own.
PACE = "practice.pace"
_RUN, _STAGE, _LAST, _OWED, _WAS = (
    "practice.run", "practice.stage", "practice.last", "practice.owed", "practice.was",
)  # fmt: skip


def stage() -> Stage:
    """Return where the trainee is."""
    if _RUN not in st.session_state:
        return "choose"
    found: Stage = st.session_state.get(_STAGE, "choose")
    return found


def run() -> Practice:
    """Return the run at hand."""
    found: Practice = st.session_state[_RUN]
    return found


def start(practice: Practice, *, over: bool = False, paused: bool = False) -> None:
    """Take a run up: live, or, where it is over, in its debrief.

    Args:
        practice: the run.
        over: whether it is over [-].
        paused: whether it waits for the trainee to let it run [-].
    """
    st.session_state[_RUN] = practice
    st.session_state[_STAGE] = "debrief" if over else "live"
    st.session_state[PACE] = "Pause" if paused else "1×"
    st.session_state[_WAS] = PACES[st.session_state[PACE]]
    st.session_state[_LAST], st.session_state[_OWED] = time.monotonic(), 0.0


def leave() -> None:
    """Go back to the choice of drills."""
    st.session_state.pop(_RUN, None)
    st.session_state[_STAGE] = "choose"


def pace() -> float:
    """Return how much faster than life the run goes [-]; 0 where it stands."""
    return PACES[st.session_state.get(PACE) or "Pause"]


def keep_pace() -> None:
    """Give the pace a value before its control is drawn; away from the screen the run stands."""
    if not st.session_state.get(PACE):
        st.session_state[PACE] = "Pause"
        st.session_state[_WAS] = 0.0


def catch_up() -> None:
    """Advance the run by the time gone by since it was last looked at."""
    if stage() != "live":
        return
    now = time.monotonic()
    practice, owed = controls.elapsed(
        run(), now - st.session_state.get(_LAST, now), pace=st.session_state.get(_WAS, 0.0),
        owed=st.session_state.get(_OWED, 0.0),
    )  # fmt: skip
    st.session_state[_RUN], st.session_state[_OWED] = practice, owed
    st.session_state[_LAST], st.session_state[_WAS] = now, pace()


def step() -> None:
    """Advance a paused run by a step."""
    act(lambda p: advanced(p, max(round(STEP / p.running.controller.scan_time), 1)))


def finish() -> None:
    """End the run, and go to its debrief."""
    if stage() == "live":
        catch_up()
        st.session_state[_STAGE] = "debrief"


def act(change: Callable[[Practice], Practice]) -> None:
    """Do something to the run as it is now.

    Args:
        change: what it does to the run.
    """
    if stage() != "live":
        return
    catch_up()
    try:
        st.session_state[_RUN] = change(run())
    except (PracticeError, SimulationError) as error:
        st.toast(bench.told(str(error)))


def do(what: What, value: float = 0.0) -> None:
    """Do one thing as `Action` names it.

    Args:
        what: is done.
        value: of it [any].
    """
    act(lambda practice: acted(practice, what, value))
