"""A closer look at the machine: what recorded step tests say about its numbers."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import streamlit as st

from simulator import Scenario, Trend
from simulator.machine import diameter_range
from simulator.screens import bench
from simulator.units import UnitSystem
from tuning.core_prediction import predict_core
from tuning.design import RollDesign
from tuning.fit_machine_figures import draw_core_prediction, draw_machine_fit
from tuning.machine_fit import MachineFit
from tuning.machine_parameters import USUALLY_FREE, learnable, parameters
from tuning.recorded_step import read_record
from tuning.screens import answers
from tuning.tables import gains_in_words, learned_rows
from tuning.tolerances import DEFAULT_TOLERANCES, drawn_machine, varied

RECORDED, INVENTED = "step tests recorded on this machine", "an invented machine that differs"
RECORDS, BEFORE = "learn.records", "learn.before"


@dataclass(frozen=True)
class _Test:
    """One step test with where it was made."""

    name: str
    trend: Trend
    digest: str
    diameter: float
    line_speed: float
    true: Scenario | None = None


def view(design: RollDesign | None, scenario: Scenario, units: UnitSystem) -> None:
    """Learn the machine's own numbers from step tests, and what they change."""
    st.markdown(
        "A step test says more than a gain and a lag: the machine's own numbers, as far as it "
        "shows them. With those, a test at full roll tells what to expect at the core."
    )
    # Where nothing can be designed yet, a record is what is wanted.
    sources = [INVENTED, RECORDED] if design is not None else [RECORDED, INVENTED]
    source = st.radio(
        "Learn from", sources, horizontal=True, key=f"learn.source.{design is None}",
        persist_state="session",
    )  # fmt: skip
    tests = _recorded(scenario) if source == RECORDED else _invented(scenario)
    can = learnable(scenario)
    known = {one.name: one.words for one in parameters(scenario, can)}
    free = st.multiselect(
        "What is not known well", can, [name for name in USUALLY_FREE if name in can],
        format_func=lambda name: known[name], key=f"learn.free.{len(can)}",
        persist_state="session",
    )  # fmt: skip
    if not free:
        st.info("Choose at least one number to learn.")
    if not tests or not free:
        return
    try:
        fit = answers.learned(
            scenario,
            tuple(test.digest for test in tests),
            tuple(free),
            tuple(test.diameter for test in tests),
            tuple(test.line_speed for test in tests),
            tuple(test.trend for test in tests),
        )
    except ValueError as error:
        raise ValueError(_by_name(str(error), tests)) from None
    _show(fit, design, tests, units)
    _show_core(fit, tests[0].true, units)
    if source == RECORDED:
        _offer(fit, scenario)


def _by_name(text: str, tests: Sequence[_Test]) -> str:
    """Call each test by the name of its file."""
    for number, test in enumerate(tests, start=1):
        parts = re.split(rf"\b[Tt]est {number}\b", text)
        text = test.name.join(parts)
    return text


def _offer(fit: MachineFit, scenario: Scenario) -> None:
    """Let the reader take the machine as learned, and go back."""
    left, right = st.columns(2)
    if left.button("Use the machine as learned", key="learn.use"):
        st.session_state[BEFORE] = scenario
        bench.set_scenario(replace(fit.as_written(), note=_noted(scenario.note)))
        st.rerun()
    before: Scenario | None = st.session_state.get(BEFORE)
    if before is None or before == scenario or before.title != scenario.title:
        return
    if right.button("Back to the machine as described", key="learn.back"):
        del st.session_state[BEFORE]
        bench.set_scenario(before)
        st.rerun()


def _invented(scenario: Scenario) -> list[_Test]:
    """Make a step test on a machine drawn within the usual tolerances."""
    seed = int(
        st.number_input(
            "Which machine", 0, 1_000_000, 9, 1, key="learn.seed", persist_state="session"
        )
    )
    true, _, _ = drawn_machine(scenario, varied(scenario, DEFAULT_TOLERANCES), seed=seed, index=0)
    D, v = diameter_range(true)[1], true.run.line_speed
    test = answers.simulated_step(true, diameter=D, line_speed=v, step=None, seed=seed)
    st.caption(
        "The record is simulated: a machine drawn within the usual tolerances of this one, at full "
        "roll and line speed, with the noise of its reading."
    )
    digest = hashlib.sha256(test.trend.to_csv().encode()).hexdigest()
    return [_Test("invented", test.trend, digest, D, v, true)]


def _recorded(scenario: Scenario) -> list[_Test]:
    files = st.file_uploader(
        "Trends as CSV with the columns time_s, tension_N, output_percent, recorded in manual",
        type=["csv", "txt"],
        accept_multiple_files=True,
        key="learn.upload",
    )
    if files:
        # A file chosen is forgotten once its view is left; what was in it is kept.
        st.session_state[RECORDS] = [(file.name, file.getvalue()) for file in files]
    records: list[tuple[str, bytes]] = st.session_state.get(RECORDS, [])
    if records and not files:
        st.caption(bench.plain(f"From before: {', '.join(name for name, _ in records)}"))
        if st.button("Forget these records", key="learn.forget"):
            del st.session_state[RECORDS]
            st.rerun()
    if not records:
        st.info(
            "No file yet. One test at full roll is a start; a second one near the core, or at "
            "crawl speed, tells numbers apart that look alike in the first."
        )
    tests: list[_Test] = []
    for number, (name, data) in enumerate(records):
        digest = hashlib.sha256(data).hexdigest()
        if digest in {test.digest for test in tests}:
            st.caption(bench.plain(f"{name} is the same record again: it counts once."))
            continue
        trend = read_record(data, name=f"file {name}")
        told = [float(np.nanmedian(v)) if np.isfinite(v).any() else math.nan
                for v in (trend.diameter, trend.line_speed)]  # fmt: skip
        if not all(math.isfinite(value) for value in told):
            st.markdown(bench.plain(f"{name} does not tell where it was recorded:"))
            told = list(bench.pick_point(scenario, key=f"learn.{number}"))
        tests.append(_Test(f"file {name}", trend, digest, told[0], told[1]))
    return tests


def _show(
    fit: MachineFit, design: RollDesign | None, tests: Sequence[_Test], units: UnitSystem
) -> None:
    bench.show_figure(
        draw_machine_fit(fit, fit.described, units),
        alt="The recorded tension, the machine as described and as learned, and each number "
        "learned as a factor of what was described.",
    )
    st.dataframe(
        learned_rows(fit, units),
        hide_index=True,
        height="content",
        alt="What the tests say of each number",
    )
    st.caption(bench.told(fit.supposed))
    bench.show_warnings(_by_name(text, tests) for text in fit.warnings)
    if design is not None:
        again = answers.design(fit.scenario, ms_limit=design.ms_limit, kinds=answers.chosen_kinds())
        st.markdown(
            f"The gains for the machine as learned: **{again.kind}: "
            f"{bench.plain(gains_in_words(again.gains))}**."
        )
        bench.show_warnings(f"as learned, {place}" for place in again.out_of_reach)


def _show_core(fit: MachineFit, true: Scenario | None, units: UnitSystem) -> None:
    """Show what the fit says about the core, unless the tests were made there."""
    low, high = diameter_range(fit.scenario)
    if low == high or min(test.diameter for test in fit.tests) < 1.2 * low:
        return
    st.markdown(
        "**What it says about the core.** A process model holds only where it was made; the "
        "machine's own numbers are the same at every diameter."
    )
    try:
        prediction = predict_core(fit, true=true)
    except ValueError as error:
        st.info(bench.told(f"no step at the core: {error}"))
        return
    bench.show_figure(
        draw_core_prediction(prediction, units),
        alt="Tension after a step of the output at the core, by the process model, the machine as "
        "described and as learned.",
    )


def _noted(note: str) -> str:
    words = "Some numbers were learned from step tests."
    return note if words in note else f"{note} {words}".strip()
