"""Why the tension of a record swings, for a reader: the answer, what speaks for it, the rest."""

from __future__ import annotations

import json
import re
from collections.abc import Hashable

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
from tuning.screens import oscillation_answers
from tuning.screens.oscillation_answers import MACHINE, RECORD, WAVE

# Headings where the name of a cause is not one.
_NAMED = {NONE: "no oscillation", CANNOT_TELL: "something else"}
# Causes that are shown without a click.
_OPEN = 2
# What not everybody in a plant has heard of.
_HELP = {
    "strict line": "a swing that keeps its frequency so closely that its peak in the spectrum is "
    "as thin as the record allows",
    "regularity": "how evenly the swings come; above 1 they come evenly, noise stays below",
    "folded": "a swing faster than half the sample rate shows as a slower one",
    "Ms": "by how much at most the loop enlarges what disturbs it; up to 1.6 is calm, above 2 "
    "rings",
    "Harris ratio": "the least variance that any controller could reach over the one found; 1 is "
    "as calm as the dead time allows, and a loop that is calm on purpose has a low one, too",
}


def help_with(text: str) -> str:
    """Return for markdown what the hard words of a text mean; nothing where it has none.

    Args:
        text: on the screen.
    """
    found = [word for word in _HELP if re.search(rf"\b{word}\b", text)]
    return " · ".join(f"*{word}*: {bench.plain(_HELP[word])}" for word in found)


def _name(cause: str) -> str:
    return _NAMED.get(cause, cause)


def show_answer(explanation: Explanation, key: Hashable, units: UnitSystem) -> None:
    """Show the answer, what to check first, and the pictures.

    Args:
        explanation: of a record.
        key: what stands for it in a cache.
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
    _show_picture(RECORD, explanation, key, units)
    if main is None or explanation.verdict == NONE:
        return
    if explanation.findings.scenario is not None:
        st.subheader("Among the machine's own frequencies")
        _show_picture(MACHINE, explanation, key, units)
    # Drawn only when opened: each picture takes its time.
    shape = st.expander("The shape of one swing", on_change="rerun", key="oscillation.wave")
    if shape.open:
        with shape:
            _show_picture(WAVE, explanation, key, units)


def _show_picture(which: str, explanation: Explanation, key: Hashable, units: UnitSystem) -> None:
    png, words = oscillation_answers.picture(which, key, units, explanation)
    bench.show_picture(png, alt=words)


def show_reasons(explanation: Explanation, units: UnitSystem) -> None:
    """Show what speaks for and against each cause, and what this record leaves open.

    Args:
        explanation: of a record.
        units: the reader's units.
    """
    st.subheader("What speaks for and against")
    shown = [one for one in explanation.causes if one.score >= WORTH_SAYING]
    # What stands in every card tells none from another.
    common = (
        _in_all([one.evidence for one in shown]),
        _in_all([one.against for one in shown]),
    )
    for title, found in zip(("For", "Against"), common, strict=True):
        if found:
            same = "\n".join(f"- {bench.told(line)}" for line in found)
            st.markdown(f"{title} each of these causes:\n\n{same}")
    for one in shown[:_OPEN]:
        _show_cause(one, common, first=one is shown[0])
    if shown[_OPEN:]:
        named = (f"{_name(one.cause)} ({per_cent(one.score)})" for one in shown[_OPEN:])
        with st.expander(bench.plain(f"Less likely: {', '.join(named)}")):
            for one in shown[_OPEN:]:
                _show_cause(one, common, first=False)
    said = (
        line for one in shown for line in (*one.evidence, *one.against, CAUSES[one.cause].meaning)
    )
    if meaning := help_with(" ".join(said)):
        st.caption(meaning)
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


def _in_all(cards: list[tuple[str, ...]]) -> tuple[str, ...]:
    """Return the lines that stand in each of several cards."""
    if len(cards) < 2:
        return ()
    return tuple(line for line in cards[0] if all(line in card for card in cards[1:]))


def _show_cause(
    one: RankedCause, common: tuple[tuple[str, ...], tuple[str, ...]], *, first: bool
) -> None:
    with st.container(border=True):
        st.markdown(
            f"**{bench.plain(_name(one.cause).capitalize())}** · {per_cent(one.score)}, "
            f"{chance_in_words(one.score)}"
        )
        if not first:
            st.caption(bench.told(CAUSES[one.cause].meaning))
        if one.evidence or one.against:
            for column, title, found, said in zip(
                st.columns(2), ("For it", "Against it"), (one.evidence, one.against), common,
                strict=True,
            ):  # fmt: skip
                own = [f"- {bench.told(line)}" for line in found if line not in said]
                lines = "\n".join(own) or ("- nothing more" if said else "- nothing")
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
    notes = [bench.told(note) for note in health.warnings]
    if meaning := help_with(" ".join((*lines, *health.warnings))):
        notes.append(meaning)
    if notes:
        st.caption("  \n".join(notes))


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
