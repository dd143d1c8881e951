"""The evidence for and against each cause: which observation speaks for which cause.

The observations are in `frequency_evidence`, `loop_evidence` and `shape_evidence`; `opposite` turns
one round for a cause that would make the contrary.
"""

from __future__ import annotations

from collections.abc import Mapping

from tuning.oscillation import frequency_evidence as frequency
from tuning.oscillation import loop_evidence as loop
from tuning.oscillation import shape_evidence as shape
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
from tuning.oscillation.findings import Findings
from tuning.oscillation.piece_of_evidence import Evidence, Judge, opposite


def evidence(findings: Findings) -> dict[str, dict[str, Evidence]]:
    """Return every piece of evidence for each cause, by name.

    Args:
        findings: what was measured.
    """
    return {
        cause: {name: judge(findings) for name, judge in own.items()}
        for cause, own in JUDGES.items()
    }


def values_of(judged: Mapping[str, Mapping[str, Evidence]]) -> dict[str, dict[str, float]]:
    """Return the values of evidence alone [nats], as `scores` wants them.

    Args:
        judged: the evidence.
    """
    return {cause: {name: one.value for name, one in own.items()} for cause, own in judged.items()}


JUDGES: Mapping[str, Mapping[str, Judge]] = {
    ROLL: {
        "turn": frequency.matched("roll"),
        "follows turns": frequency.follows_turns,
        "sharp": shape.sharp,
        "steady": opposite(shape.comes_and_goes),
        "harmonics": shape.harmonics,
        "outside": opposite(loop.sustains_itself),
        "not by itself": opposite(loop.least_outside),
        "output rests": opposite(loop.output_works),
        "manual": loop.not_automatic,
        "both modes": loop.goes_on_in_manual,
    },
    ROLLER: {
        "turn": frequency.matched("roller", "nip"),
        "follows length": frequency.follows_length,
        "sharp": shape.sharp,
        "steady": opposite(shape.comes_and_goes),
        "sine": opposite(shape.harmonics),
        "outside": opposite(loop.sustains_itself),
        "not by itself": opposite(loop.least_outside),
        "output rests": opposite(loop.output_works),
        "manual": loop.not_automatic,
        "both modes": loop.goes_on_in_manual,
    },
    LOOP: {
        "automatic": loop.automatic,
        "stops in manual": loop.stops_in_manual,
        "frequency": frequency.loop_frequency,
        "sustains itself": loop.sustains_itself,
        "may sustain itself": loop.least_outside,
        "output works": loop.output_works,
        "margins": loop.margins,
        "usual pace": frequency.usual_pace,
        "less damped": frequency.less_damped,
        "stays": frequency.stays,
        "blurred": opposite(shape.sharp),
        "sine": opposite(shape.harmonics),
    },
    RINGING: {
        "swing": frequency.matched("swing"),
        "stays": frequency.stays,
        "usual pace": frequency.usual_pace,
        "own damping": opposite(frequency.less_damped),
        "damping": frequency.lightly_damped,
        "comes and goes": shape.comes_and_goes,
        "blurred": opposite(shape.sharp),
        "dies away": shape.dies_away,
        "not by itself": opposite(loop.least_outside),
        "output rests": opposite(loop.output_works),
        "manual": loop.not_automatic,
        "outside": opposite(loop.sustains_itself),
        "margins": opposite(loop.margins),
        "both modes": loop.goes_on_in_manual,
        "sine": opposite(shape.harmonics),
    },
    STICKING: {
        "automatic": loop.automatic,
        "stops in manual": loop.stops_in_manual,
        "square": shape.square,
        "swift": shape.swift,
        "triangle": shape.triangular,
        "triangle fits": shape.triangle_fits,
        "quarter": shape.quarter,
        "device": loop.can_stick,
        "slow": frequency.slow,
        "slower than usual": opposite(frequency.usual_pace),
        "margins": opposite(loop.margins),
        "outside": opposite(loop.sustains_itself),
    },
    MOVES: {
        "goes with": loop.moved,
        "enough": loop.speed_enough,
        "outside": opposite(loop.sustains_itself),
    },
    PICKUP: {
        "mains": frequency.matched("mains"),
        "folded": frequency.matched("folded"),
        "sharp": shape.sharp,
        "steady": opposite(shape.comes_and_goes),
        "no part": frequency.no_part,
        "stays": frequency.stays,
        "sine": opposite(shape.harmonics),
        "outside": opposite(loop.sustains_itself),
    },
    NONE: {
        "chance": shape.by_chance,
        "irregular": shape.irregular,
        "faint": shape.faint,
        "keeps coming": opposite(shape.keeps_coming),
        "dies away": shape.dies_away,
    },
    CANNOT_TELL: {
        "no part": frequency.no_part,
        "stays": frequency.stays,
        "slower than usual": opposite(frequency.usual_pace),
        "few swings": shape.few_swings,
        "outside": opposite(loop.sustains_itself),
        "not by itself": opposite(loop.least_outside),
        "output rests": opposite(loop.output_works),
        "sharp": shape.sharp,
        "sine": opposite(shape.harmonics),
        "both modes": loop.goes_on_in_manual,
    },
}
