"""What to do next: the check for each cause, what was not checked, which recording would tell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tuning.oscillation.causes import (
    CANNOT_TELL,
    CAUSES,
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
from tuning.oscillation.frequency_evidence import nearest
from tuning.oscillation.spectrum import LEAST_CYCLES

# Speed or diameter that moves a frequency by fewer cycles over the record tells nothing [cycles].
FEW_CYCLES = 1.0
# Causes with less chance than this need not be told apart [-].
UNLIKELY = 0.05


@dataclass(frozen=True)
class _Recording:
    """A recording and the causes that it would tell from all others."""

    words: str
    tells: frozenset[str]


_IN_MANUAL = _Recording(
    "Switch to manual at the same output, speed and diameter and record for as long again: a loop "
    "too tight or a sticking device stops swinging, everything else goes on.",
    frozenset({LOOP, STICKING}),
)
_OTHER_SPEED = _Recording(
    "Record while the line slowly goes 20 % slower or, within what the machine is allowed, faster, "
    "with line speed in the record: what "
    "turns changes its frequency with it, all else does not.",
    frozenset({ROLL, ROLLER}),
)
_OTHER_DIAMETER = _Recording(
    "Record again when the roll is a fifth smaller or larger, at the same line speed and with the "
    "diameter in the record: roll and roll-on-web change their frequency, rollers and nip do not.",
    frozenset({ROLL, RINGING}),
)
_MORE_COLUMNS = _Recording(
    "Record line speed and setpoint beside the tension: if one of them swings at the same "
    "frequency, it is the cause.",
    frozenset({MOVES}),
)
_OTHER_RATE = _Recording(
    "Record again at another sample rate, best ten times as fast, and once with the line stopped: "
    "what is folded down moves or vanishes, hum stays without a web.",
    frozenset({PICKUP}),
)
_LONGER = _Recording(
    "Record for ten times as long, or at least thirty swings, at steady speed: chance does not "
    "repeat itself, an oscillation does.",
    frozenset({NONE}),
)


def recording_that_tells(findings: Findings, score: Mapping[str, float]) -> str:
    """Return the recording that would best tell the likely causes apart; empty if none is needed.

    A recording splits the causes in two. It must part the two likeliest; of those that do, the best
    splits the chances most evenly, since then its answer is least known beforehand. What the record
    holds already is not asked for again.

    Args:
        findings: what was measured.
        score: of each cause [-].
    """
    first, second = sorted(score, key=lambda cause: -score[cause])[:2]
    if score[second] < UNLIKELY:
        return ""
    best, most = "", 0.0
    for recording in _possible(findings):
        if (first in recording.tells) == (second in recording.tells):
            continue
        chance = sum(value for cause, value in score.items() if cause in recording.tells)
        split = min(chance, 1.0 - chance)
        if split > most:
            best, most = recording.words, split
    return best


def _possible(s: Findings) -> list[_Recording]:
    possible = [_LONGER, _OTHER_RATE]
    if not math.isfinite(s.mode_ratio) and not s.automatic < 0.1:
        possible.append(_IN_MANUAL)
    if not s.following.speed_cycles > FEW_CYCLES:
        possible.append(_OTHER_SPEED)
    if not s.following.both_apart > FEW_CYCLES:
        possible.append(_OTHER_DIAMETER)
    if not (s.record.knows("line_speed") and s.record.knows("setpoint")):
        possible.append(_MORE_COLUMNS)
    return possible


def not_checked(s: Findings) -> tuple[str, ...]:
    """Return what could not be checked, and what it would take.

    Args:
        s: what was measured.
    """
    record, missing = s.record, []
    if s.scenario is None:
        missing.append(
            "turns of rollers, the roll's swing on the web and the margins of the loop: it takes "
            "the machine as a scenario"
        )
    if not record.knows("line_speed"):
        missing.append("whether it turns with the line: it takes the line speed")
    if not record.knows("diameter") and record.knows("line_speed"):
        missing.append("the turn of the roll: it takes the roll's diameter")
    if not record.knows("output"):
        missing.append("what the controller does: it takes the output")
    elif not record.knows("automatic") or record.mode_inferred:
        missing.append("whether it needs the loop: it takes the mode, manual or automatic")
    if not record.knows("setpoint"):
        missing.append("whether the setpoint swings: it takes the setpoint")
    if record.knows("line_speed") and not s.following.speed_cycles > FEW_CYCLES:
        missing.append("whether it follows the line speed: the speed hardly changes here")
    if math.isfinite(s.automatic) and not record.mode_inferred and not math.isfinite(s.mode_ratio):
        mode = "automatic" if s.automatic > 0.5 else "manual"
        missing.append(f"whether it needs the loop: it is all in {mode}")
    return tuple(missing)


def check_for(cause: str, findings: Findings, score: Mapping[str, float]) -> str:
    """Return what to check first for a cause, on this machine.

    Args:
        cause: its name.
        findings: what was measured.
        score: of each cause [-].
    """
    general = CAUSES[cause].next_check
    if cause == CANNOT_TELL:
        return recording_that_tells(findings, score) or _OTHER_SPEED.words
    own = _specific(cause, findings)
    return f"{own} {general}" if own else general


def _specific(cause: str, s: Findings) -> str:
    """What this machine's own numbers say to the check."""
    if cause == NONE:
        slowest = s.record.duration / LEAST_CYCLES
        return f"This record can't judge a swing slower than once in {slowest:.2g} s."
    if s.oscillation is None:
        return ""
    if cause == ROLL:
        found = nearest(s, ("roll",))
        if found is None or not s.record.knows("line_speed"):
            return ""
        turns = 60.0 * s.frequency_for("roll") / found[1]
        return f"If it is the roll, it turns {turns:.3g} times a minute."
    if cause == ROLLER and s.scenario is not None:
        found = nearest(s, ("roller", "nip"))
        if found is None:
            return ""
        line, order, at = found
        return f"Start with {line.name}, which turns {at / order:.3g} times a second."
    if cause == PICKUP:
        found = nearest(s, ("mains", "folded"))
        if found is None:
            return ""
        return f"Nearest is {found[0].words}: it shows at {found[2]:.3g} Hz in this record."
    if cause == LOOP and s.loop is not None and s.loop.gains is not None:
        gains, where = s.loop.gains, s.loop.source
        source = "in the scenario" if where == "scenario" else "at work, read off the record,"
        others = " They are not those of the scenario." if "not those" in where else ""
        return f"The gains {source} are Kc {gains.Kc:.3g}, Ti {gains.Ti:.3g} s.{others}"
    return ""
