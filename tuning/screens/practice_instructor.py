"""The instructor's part: traps and seed, assignments, logs and the class table."""

from __future__ import annotations

import streamlit as st

from simulator import Scenario
from tuning.practice.drill import Drill
from tuning.practice.setup import MOST_SEED, Setup, trap_refused
from tuning.practice.traps import TRAPS


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
            key=f"practice.traps.{drill.key}", persist_state="session",
        )  # fmt: skip
        seed = st.number_input("Seed", 0, MOST_SEED, 0, key="practice.seed",
                               persist_state="session")  # fmt: skip
    return int(seed), tuple(traps)


def show(setup: Setup) -> None:
    """Show assignments, logs and the class table.

    Args:
        setup: as chosen.
    """
