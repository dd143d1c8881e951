"""Evidence from frequencies: whose turn or swing it is, and what it follows as speed changes."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from tuning.oscillation.findings import Findings
from tuning.oscillation.loop_seen import LOOP_SPREAD
from tuning.oscillation.machine_frequencies import MachineFrequency
from tuning.oscillation.piece_of_evidence import NOTHING, Evidence, Judge, clipped

# Chance that a cause shows where nothing of it is expected: a wrong diameter, a typing error [-].
SURPRISE = 0.02
# An oscillation tells its frequency to this share of one swing over the record [-].
SWING_SHARE = 0.3
# How fast rolls swing on their web, by the common range of webs, spans and rolls [Hz].
USUAL_SWINGS = (0.7, 8.0)
# A line spread wider than this is that of a body whose diameter or speed is not known [-].
BROAD = 0.05


def match(findings: Findings, lines: Iterable[MachineFrequency]) -> float:
    """Return ln of how much likelier the frequency is if it comes from one of some lines [nats].

    The comparison is a frequency anywhere in what the record can show, evenly in its logarithm.

    Args:
        findings: what was measured.
        lines: of the machine.
    """
    lines = list(lines)
    if not lines or findings.oscillation is None:
        return 0.0
    record = findings.record
    resolution = SWING_SHARE / record.duration
    if findings.oscillation.axis == "time":
        resolution += 0.25 * findings.oscillation.peak.width
    span = math.log(max(0.5 / record.interval / (3.0 / record.duration), math.e))
    density = float(
        np.mean([line.density(findings.frequency_for(line.kind), resolution) for line in lines])
    )
    return math.log(SURPRISE + (1.0 - SURPRISE) * density * span)


def nearest(
    findings: Findings, kinds: tuple[str, ...]
) -> tuple[MachineFrequency, int, float] | None:
    """Return the machine's line nearest to the oscillation, which multiple of it, and where [Hz].

    Args:
        findings: what was measured.
        kinds: of line to look at.
    """
    lines = [line for line in findings.machine if line.kind in kinds]
    if not lines or findings.oscillation is None:
        return None
    f = findings.frequency
    best = min(lines, key=lambda line: abs(math.log(max(line.nearest(f)[1], 1e-12) / f)))
    order, at = best.nearest(f)
    return best, order, at


def matched(*kinds: str) -> Judge:
    """Return the judge of whether the oscillation stands at a line of some kinds.

    Args:
        kinds: of line, such as "roll".
    """

    def judge(s: Findings) -> Evidence:
        near = nearest(s, kinds)
        if near is None:
            return NOTHING
        line, order, at = near
        value = match(s, [line for line in s.machine if line.kind in kinds])
        f = f"{s.frequency_for(line.kind):.3g} Hz"
        times = "" if order == 1 else f"{order} times "
        if float(line.spread[0]) > BROAD * float(line.frequency[0]):
            words = f"{f} {'may be' if value > 0.0 else 'can hardly be'} {line.words}"
        elif value > 0.0:
            words = f"{f} is {times}{line.words} ({at:.3g} Hz)"
        else:
            words = f"{f} is not {line.words}: nearest is {at:.3g} Hz"
        return clipped(value, -4.0, 6.0, words)

    return judge


def no_part(s: Findings) -> Evidence:
    """Whether some part of the machine is known to have this frequency."""
    kinds = ("roll", "roller", "nip", "swing", "folded", "mains")
    values = [
        match(s, [line]) for line in s.machine if line.kind in kinds and line.name != "a roller"
    ]
    if not values:
        return NOTHING
    best = max(values)
    if best > 0.0:
        whose = "the machine" if s.scenario is not None else "something known"
        return clipped(-best, -4.0, 2.0, f"its frequency is one that {whose} has")
    known = "part of the machine" if s.scenario is not None else "turn that is known"
    return clipped(-best, -4.0, 2.0, f"no {known} has {s.frequency:.3g} Hz")


def loop_frequency(s: Findings) -> Evidence:
    """Whether the loop itself would swing at this frequency."""
    if s.loop is None or not np.isfinite(s.loop.frequency).any():
        return NOTHING
    f = s.loop.frequency[np.isfinite(s.loop.frequency)]
    line = MachineFrequency("loop", "swing", f, LOOP_SPREAD * f, {1: 1.0})
    value = match(s, [line])
    at = float(np.median(f))
    words = (
        f"the loop itself would swing at {at:.3g} Hz"
        if value > 0.0
        else f"the loop would swing at {at:.3g} Hz, not at {s.frequency:.3g} Hz"
    )
    return clipped(value, -3.0, 4.0, words)


def lightly_damped(s: Findings) -> Evidence:
    """How little damps the roll's swing on its web here, by the model."""
    if s.scenario is None or not any(line.kind == "swing" for line in s.machine):
        return NOTHING
    damping = float(np.median(s.swing_damping))
    words = f"the roll's swing on the web is damped by {damping:.2g} of critical here"
    return clipped(math.log(0.1 / max(damping, 1e-3)), -2.0, 2.0, words)


def less_damped(s: Findings) -> Evidence:
    """A loop takes damping away from the roll's swing; what only rings keeps its own."""
    if not s.swing_damping.size or s.regularity is None:
        return NOTHING
    own, now = float(np.median(s.swing_damping)), s.regularity.damping
    if not (own > 0.0 and math.isfinite(now)):
        return NOTHING
    words = f"it is damped by {now:.2g} of critical, the roll on its web alone by {own:.2g}"
    return clipped(math.log(own / max(now, 1e-3)) - 0.5, -1.5, 2.0, words)


def usual_pace(s: Findings) -> Evidence:
    """A roll swings on its web, and a loop around it, at some swings a second, hardly slower."""
    if s.oscillation is None:
        return NOTHING
    low, high = USUAL_SWINGS
    f = s.frequency
    off = max(math.log(low / f), math.log(f / high), 0.0)
    value = 0.5 - 1.5 * off
    words = (
        f"{f:.2g} Hz is a usual pace for a roll that swings on its web"
        if value >= 0.0
        else f"{f:.2g} Hz is {'slow' if f < low else 'fast'} for a roll that swings on its web"
    )
    return clipped(value, -3.0, 0.5, words)


def slow(s: Findings) -> Evidence:
    """Sticking hunts at the pace of the integral term, well below the roll's own swing."""
    swing = [line for line in s.machine if line.kind == "swing"]
    if not swing or s.oscillation is None:
        return NOTHING
    ratio = float(np.median(swing[0].frequency)) / s.frequency
    words = (
        f"{ratio:.2g} times slower than the roll swings on its web"
        if ratio > 1.0
        else f"{1.0 / ratio:.2g} times faster than the roll swings on its web"
    )
    return clipped(math.log(ratio) - 1.0, -2.5, 2.5, words)


def _least(*ratios: float) -> float:
    known = [ratio for ratio in ratios if math.isfinite(ratio)]
    return min(known) if known else math.nan


def follows_turns(s: Findings) -> Evidence:
    """Whether it keeps step with the turns of the roll, however fast it turns."""
    f = s.following
    value = _least(f.angle_over_time, f.angle_over_length)
    words = (
        "its frequency follows the turns of the roll"
        if value > 0.0
        else "its frequency does not follow the turns of the roll"
    )
    return clipped(0.5 * value, -4.0, 4.0, words)


def follows_length(s: Findings) -> Evidence:
    """Whether it keeps step with the web, however fast it runs."""
    f = s.following
    value = _least(f.length_over_time, -f.angle_over_length)
    words = (
        "its frequency does not follow the line speed alone"
        if value <= 0.0
        else "its frequency does not follow the roll's diameter"
        if math.isnan(f.length_over_time)
        else "its frequency follows the line speed"
    )
    return clipped(0.5 * value, -4.0, 4.0, words)


def stays(s: Findings) -> Evidence:
    """Whether it keeps its frequency while speed or diameter change."""
    f = s.following
    value = _least(-f.length_over_time, -f.angle_over_time)
    words = (
        "its frequency stays while speed or diameter change"
        if value > 0.0
        else "its frequency moves with speed or diameter"
    )
    return clipped(0.5 * value, -4.0, 4.0, words)
