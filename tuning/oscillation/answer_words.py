"""The answer in sentences."""

from __future__ import annotations

from simulator.units import METRIC, UnitSystem, sensible
from tuning.oscillation.causes import (
    CANNOT_TELL,
    LOOP,
    MOVES,
    NONE,
    PICKUP,
    RINGING,
    ROLL,
    ROLLER,
    STICKING,
)
from tuning.oscillation.detection import Oscillation
from tuning.oscillation.explain import SURE_ENOUGH, Explanation

# Causes with less chance than this are not spoken of [-].
WORTH_SAYING = 0.05
# What a cause says of the machine, as the end of "very likely: …".
SAID = {
    ROLL: "the roll is out of round",
    ROLLER: "a roller or the nip is out of round",
    LOOP: "the loop is tuned too tight",
    RINGING: "the roll rings on the web",
    STICKING: "the torque device sticks",
    MOVES: "the line speed or the setpoint swings",
    PICKUP: "it is in the signal and not in the web: pickup, or a fast swing folded by sampling",
    NONE: "the tension does not oscillate beyond its noise",
    CANNOT_TELL: "none of the known causes fits",
}
# Scores from which a chance is called so [-].
_WORDS = ((0.9, "very likely"), (0.75, "likely"), (0.5, "more likely than not"), (0.2, "possible"))


def chance_in_words(score: float) -> str:
    """Return a chance in words.

    Args:
        score: of a cause [-].
    """
    return next((words for least, words in _WORDS if score >= least), "unlikely")


def per_cent(score: float) -> str:
    """Return a chance in per cent; nothing is certain, and nothing is ruled out.

    Args:
        score: of a cause [-].
    """
    if score > 0.99:
        return "over 99 %"
    return "under 1 %" if score < 0.01 else f"{100.0 * score:.0f} %"


def verdict_in_words(explanation: Explanation) -> str:
    """Return the answer in one sentence, with its chance.

    Args:
        explanation: of a record.
    """
    top = explanation.causes[0]
    if top.score < SURE_ENOUGH:
        return "This record can't tell why the tension swings."
    if top.cause == CANNOT_TELL:
        # "Likely: none fits" would sound like something found.
        said = SAID[CANNOT_TELL]
        return f"{said[0].upper()}{said[1:]} ({per_cent(top.score)})."
    return f"{chance_in_words(top.score).capitalize()} ({per_cent(top.score)}): {SAID[top.cause]}."


def swing_in_words(one: Oscillation, mean_tension: float, units: UnitSystem) -> str:
    """Return how far and how often the tension swings.

    Args:
        one: the oscillation.
        mean_tension: of the record [N].
        units: the reader's units.
    """
    size = units.text(one.amplitude, "tension", digits=2)
    share = ""
    if abs(mean_tension) > 1e-9:
        share = f" ({sensible(100.0 * one.amplitude / abs(mean_tension), 2)} % of the tension)"
    often = f"{sensible(one.frequency)} Hz, once in {sensible(1.0 / one.frequency)} s"
    if one.highest > 1.02 * one.lowest:
        with_it = "the line runs" if one.axis == "web length" else "the roll turns"
        often = (
            f"{sensible(one.lowest)} to {sensible(one.highest)} Hz as {with_it} slower or faster"
        )
    return f"The tension swings by {size}{share} to either side of its mean, at {often}."


def answer_in_words(explanation: Explanation, units: UnitSystem = METRIC) -> str:
    """Return the answer as a few sentences.

    Args:
        explanation: of a record.
        units: the reader's units.
    """
    main = explanation.findings.oscillation
    if main is None:
        return "The tension does not move at all in this record."
    said = [verdict_in_words(explanation)]
    if explanation.verdict != NONE:
        said.append(swing_in_words(main, explanation.record.mean_tension, units))
    if explanation.causes[0].score < SURE_ENOUGH:
        said.append(likely_in_words(explanation))
    return " ".join(said)


def likely_in_words(explanation: Explanation) -> str:
    """Return what it may be, where nothing is sure enough.

    Args:
        explanation: of a record.
    """
    likely = [one for one in explanation.causes if one.score >= WORTH_SAYING][:3]
    named = "; ".join(f"{SAID[one.cause]} ({per_cent(one.score)})" for one in likely)
    return f"It may be that {named}."
