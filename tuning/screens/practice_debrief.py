"""The debrief on the screen: the score, the picture, what to do better."""

from __future__ import annotations

import streamlit as st

from simulator.screens import bench
from tuning.practice.debrief import debriefed
from tuning.screens import practice_bench


def show() -> None:
    """Show the debrief of the run at hand."""
    practice = practice_bench.run()
    d = debriefed(practice)
    st.header(d.drill.title)
    st.metric("Score", f"{d.score.total:.0f} of 100", d.score.word)
    for text in d.advice:
        st.markdown(bench.told(text))
    st.button("Another drill", on_click=practice_bench.leave, key="practice.another")
