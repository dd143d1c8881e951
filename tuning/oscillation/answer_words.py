"""The answer in sentences."""

from __future__ import annotations

from simulator.units import METRIC, UnitSystem, sensible
from tuning.oscillation.causes import CANNOT_TELL, CAUSES, NONE
from tuning.oscillation.explain import Explanation

# Chance from which on a word fits [-].
_WORDS = ((0.95, "almost certainly"), (0.8, "very likely"), (0.6, "likely"), (0.0, "perhaps"))
# Slower swings are told by their period [Hz].
SLOW = 0.5


def chance_in_words(score: float) -> str:
    """Return a chance as people say it.

    Args:
        score: a probability [-].
    """
    return next(word for least, word in _WORDS if score >= least)


def swing_in_words(explanation: Explanation, units: UnitSystem = METRIC) -> str:
    """Return how fast and how far the tension swings, such as "once in 4.2 s, 3.1 N up and down".

    Args:
        explanation: of a record in which the tension moves.
        units: the reader's.
    """
    s = explanation.findings
    if s.oscillation is None:
        return "not at all"
    f, size = s.frequency, s.oscillation.amplitude
    pace = f"once in {sensible(1.0 / f)} s" if f < SLOW else f"{sensible(f)} times a second"
    share = 100.0 * size / abs(explanation.record.mean_tension or 1.0)
    return f"{pace}, by {units.text(size, 'tension')} up and down ({sensible(share, 2)} %)"


def answer_in_words(explanation: Explanation, units: UnitSystem = METRIC) -> str:
    """Return the answer as one or two sentences.

    Args:
        explanation: of a record.
        units: the reader's.
    """
    top = explanation.causes[0]
    if explanation.findings.oscillation is None:
        return "The tension does not move at all in this record."
    if explanation.verdict == NONE:
        return (
            f"The tension does not oscillate: nothing stands clear of its noise "
            f"({100.0 * top.score:.0f} %)."
        )
    swings = f"The tension swings {swing_in_words(explanation, units)}"
    if explanation.verdict == CANNOT_TELL:
        named = [one for one in explanation.causes if one.cause != CANNOT_TELL][:2]
        likely = " and ".join(f"{one.cause} ({100.0 * one.score:.0f} %)" for one in named)
        return f"{swings}, and this record can't tell why. Likeliest are: {likely}."
    word = chance_in_words(top.score)
    return (
        f"{swings}. {word[:1].upper()}{word[1:]} ({100.0 * top.score:.0f} %) the cause is: "
        f"{top.cause}. {CAUSES[top.cause].meaning}"
    )
