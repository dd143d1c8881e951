"""Why the tension of a record swings, for a reader: the answer, what speaks for it, the rest."""

from __future__ import annotations

import json
import math

import streamlit as st

from simulator.screens import bench
from simulator.units import UnitSystem, sensible
from tuning.loop_health import health_in_words
from tuning.oscillation.answer_words import (
    WORTH_SAYING,
    chance_in_words,
    likely_in_words,
    per_cent,
    swing_in_words,
    verdict_in_words,
)
from tuning.oscillation.causes import CANNOT_TELL, CAUSES, NONE
from tuning.oscillation.explain import SURE_ENOUGH, Explanation, RankedCause
from tuning.oscillation.explanation_json import explanation_as_json
from tuning.oscillation.machine_figure import draw_among_machine, draw_among_machine_alt
from tuning.oscillation.record_figure import draw_record, draw_record_alt
from tuning.oscillation.wave_figure import draw_wave, draw_wave_alt

# Headings where the name of a cause is not one.
_NAMED = {NONE: "no oscillation", CANNOT_TELL: "something else"}


def _name(cause: str) -> str:
    return _NAMED.get(cause, cause)


def show_answer(explanation: Explanation, units: UnitSystem) -> None:
    """Show the answer, what to check first, and the pictures.

    Args:
        explanation: of a record.
        units: the reader's units.
    """
    main = explanation.findings.oscillation
    top = explanation.causes[0]
    with st.container(border=True):
        st.markdown(f"#### {bench.plain(verdict_in_words(explanation))}")
        if main is not None and explanation.verdict != NONE:
            mean = explanation.record.mean_tension
            st.markdown(bench.plain(swing_in_words(main, mean, units)))
        if explanation.verdict == CANNOT_TELL:
            if top.score < SURE_ENOUGH:
                st.markdown(bench.plain(likely_in_words(explanation)))
            told = explanation.next_recording or top.next_check
            st.markdown(f"**The recording that would tell:** {bench.told(told)}")
        elif explanation.verdict == NONE:
            st.markdown(bench.told(top.next_check))
        else:
            st.markdown(bench.told(CAUSES[top.cause].meaning))
            st.markdown(f"**Check first:** {bench.told(top.next_check)}")
    if explanation.warnings:
        st.caption(" · ".join(bench.told(note) for note in explanation.warnings))
    bench.show_figure(draw_record(explanation, units), alt=draw_record_alt(explanation, units))
    if main is None or explanation.verdict == NONE:
        return
    if explanation.findings.scenario is not None:
        st.subheader("Among the machine's own frequencies")
        bench.show_figure(
            draw_among_machine(explanation, units),
            alt=draw_among_machine_alt(explanation, units),
        )
    # Drawn only when opened: each picture takes its time.
    shape = st.expander("The shape of one swing", on_change="rerun", key="oscillation.wave")
    if shape.open:
        with shape:
            bench.show_figure(draw_wave(explanation, units), alt=draw_wave_alt(explanation, units))


def show_reasons(explanation: Explanation, units: UnitSystem) -> None:
    """Show what speaks for and against each cause, and what this record leaves open.

    Args:
        explanation: of a record.
        units: the reader's units.
    """
    st.subheader("What speaks for and against")
    shown = [one for one in explanation.causes if one.score >= WORTH_SAYING]
    for number, one in enumerate(shown):
        _show_cause(one, first=number == 0)
    rest = [
        f"{_name(one.cause)} ({per_cent(one.score)})" for one in explanation.causes[len(shown) :]
    ]
    if rest:
        st.caption(bench.plain(f"Hardly: {', '.join(rest)}."))
    if explanation.others:
        st.subheader("What else swings")
        lines = []
        for other in explanation.others:
            swing = other.oscillation
            why = (
                "what it comes from, this record can't tell"
                if other.cause == CANNOT_TELL
                else f"{chance_in_words(other.score)} ({per_cent(other.score)}) {other.cause}"
            )
            size = units.text(swing.amplitude, "tension", digits=2)
            lines.append(f"- {bench.plain(f'{sensible(swing.frequency)} Hz by {size}: {why}')}")
        st.markdown("\n".join(lines))
    if explanation.not_checked or explanation.next_recording:
        st.subheader("What this record leaves open")
        if explanation.next_recording and explanation.verdict != CANNOT_TELL:
            # Where nothing can be told it stands on top already.
            told = bench.told(explanation.next_recording)
            st.markdown(f"**The recording that would make it surer:** {told}")
        if explanation.not_checked:
            st.markdown(
                "Not checked:\n\n"
                + "\n".join(f"- {bench.told(line)}" for line in explanation.not_checked)
            )


def _show_cause(one: RankedCause, *, first: bool) -> None:
    with st.container(border=True):
        st.markdown(
            f"**{bench.plain(_name(one.cause).capitalize())}** · {per_cent(one.score)}, "
            f"{chance_in_words(one.score)}"
        )
        if not first:
            st.caption(bench.told(CAUSES[one.cause].meaning))
        if one.evidence or one.against:
            for column, title, found in zip(
                st.columns(2), ("For it", "Against it"), (one.evidence, one.against), strict=True
            ):
                lines = "\n".join(f"- {bench.told(line)}" for line in found) or "- nothing"
                column.markdown(f"{title}:\n\n{lines}")
        else:
            st.markdown("Nothing in this record speaks for it or against it.")
        if not first and one.cause not in (NONE, CANNOT_TELL):
            st.markdown(f"Check: {bench.told(one.next_check)}")


def show_help(explanation: Explanation) -> None:
    """Show what usually helps against the likeliest causes.

    Args:
        explanation: of a record.
    """
    real = [one for one in explanation.causes if one.cause not in (NONE, CANNOT_TELL)]
    likely = [one for one in real if one.score >= 0.2][:2]
    if explanation.verdict == NONE or not likely:
        return
    st.subheader("What usually helps, once it is confirmed")
    st.markdown(
        "\n".join(
            f"- **{bench.plain(one.cause.capitalize())}:** {bench.told(CAUSES[one.cause].remedy)}"
            for one in likely
        )
    )


def show_health(explanation: Explanation) -> None:
    """Show the numbers of the loop, a line each.

    Args:
        explanation: of a record.
    """
    st.subheader("How the loop does over this record")
    health = explanation.health
    lines = [f"- {bench.told(line)}" for line in health_in_words(health)]
    st.markdown("\n".join(lines) or "The record tells nothing about the loop.")
    notes = list(health.warnings)
    if math.isfinite(health.harris_ratio):
        notes.append(
            "a Harris ratio of 1 is as calm as the dead time allows; a loop that is calm on "
            "purpose has a low one, too"
        )
    if notes:
        st.caption("  \n".join(bench.told(note) for note in notes))


def offer_download(explanation: Explanation) -> None:
    """Offer the answer as a file.

    Args:
        explanation: of a record.
    """
    st.download_button(
        "Save this answer (JSON, SI units)",
        json.dumps(explanation_as_json(explanation), indent=2, ensure_ascii=False),
        file_name="oscillation.json",
        mime="application/json",
        on_click="ignore",
    )
