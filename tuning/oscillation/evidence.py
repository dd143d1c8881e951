"""The evidence for and against each cause, each piece with a value and the words for it.

A value is near the natural logarithm of a likelihood ratio: how much likelier what was seen is with
this cause than without it. 0 says nothing, 1 is a hint, 3 is strong; -3 speaks strongly against.
What was not recorded, or can't be told without a scenario, has the value 0 and says nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

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
from tuning.oscillation.cross import Coherence
from tuning.oscillation.findings import Findings
from tuning.oscillation.machine_frequencies import MachineFrequency

# Chance that a cause shows where nothing of it is expected: a wrong diameter, a typing error [-].
SURPRISE = 0.02
# An oscillation tells its frequency to this share of one swing over the record [-].
SWING_SHARE = 0.3


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence.

    Attributes:
        value: near a log-likelihood ratio [nats]; 0 says nothing.
        words: what was seen, a clause.
    """

    value: float
    words: str = ""


NOTHING = Evidence(0.0)
Judge = Callable[[Findings], Evidence]


def _clipped(value: float, low: float, high: float, words: str) -> Evidence:
    if not math.isfinite(value):
        return NOTHING
    return Evidence(min(max(value, low), high), words)


def evidence(findings: Findings) -> dict[str, dict[str, Evidence]]:
    """Return every piece of evidence for each cause, by name.

    Args:
        findings: what was measured.
    """
    return {
        cause: {name: judge(findings) for name, judge in own.items()}
        for cause, own in JUDGES.items()
    }


# --- frequencies ------------------------------------------------------------------------------


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


def nearest(findings: Findings, kinds: tuple[str, ...]) -> tuple[str, int, float] | None:
    """Return (name, multiple, frequency [Hz]) of the machine's line nearest to the oscillation.

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
    return best.name, order, at


def _matched(kinds: tuple[str, ...], what: str) -> Judge:
    def judge(s: Findings) -> Evidence:
        lines = [line for line in s.machine if line.kind in kinds]
        near = nearest(s, kinds)
        if near is None:
            return NOTHING
        name, order, at = near
        value = match(s, lines)
        times = "" if order == 1 else f"{order} times "
        if value > 0.0:
            words = f"{s.frequency:.3g} Hz is {times}the {what} of {name} ({at:.3g} Hz)"
        else:
            words = (
                f"{s.frequency:.3g} Hz is not the {what} of {name}: nearest would be {at:.3g} Hz"
            )
        return _clipped(value, -4.0, 6.0, words)

    return judge


def _no_part(s: Findings) -> Evidence:
    kinds = ("roll", "roller", "nip", "swing", "folded", "mains")
    values = [
        match(s, [line]) for line in s.machine if line.kind in kinds and line.name != "a roller"
    ]
    if not values:
        return NOTHING
    best = max(values)
    if best > 0.0:
        return _clipped(-best, -4.0, 2.0, "its frequency is one that the machine has")
    return _clipped(-best, -4.0, 2.0, f"no part of the machine has {s.frequency:.3g} Hz")


def _loop_frequency(s: Findings) -> Evidence:
    if s.loop is None or not np.isfinite(s.loop.frequency).any():
        return NOTHING
    f = s.loop.frequency[np.isfinite(s.loop.frequency)]
    line = MachineFrequency("loop", "swing", f, 0.15 * f, {1: 1.0})
    value = match(s, [line])
    at = float(np.median(f))
    words = (
        f"the loop itself would swing at {at:.3g} Hz"
        if value > 0.0
        else f"the loop would swing at {at:.3g} Hz, not at {s.frequency:.3g} Hz"
    )
    return _clipped(value, -3.0, 4.0, words)


# --- the loop ---------------------------------------------------------------------------------


def _automatic(s: Findings) -> Evidence:
    if not math.isfinite(s.automatic):
        return NOTHING
    if s.automatic > 0.8:
        return Evidence(0.5, "it swings in automatic")
    if s.automatic < 0.1:
        return Evidence(-5.0, "it swings in manual, where the loop does nothing")
    return Evidence(0.0, "it swings in manual and in automatic")


def _not_automatic(s: Findings) -> Evidence:
    if not math.isfinite(s.automatic):
        return NOTHING
    if s.automatic < 0.1:
        return Evidence(1.0, "it swings in manual, too")
    return Evidence(0.0, "")


def _output_works(s: Findings) -> Evidence:
    """The relative swing of the output over that of the reading: about the loop gain over |G|/K."""
    if s.output is None or s.reading is None or s.automatic < 0.2:
        return NOTHING
    mean = abs(float(s.record.output.mean()))
    if not (mean > 0.0 and s.output.amplitude > 0.0 and s.reading.amplitude > 0.0):
        return NOTHING
    swing = s.output.amplitude / mean
    share = swing / (s.reading.amplitude / max(abs(s.record.mean_tension), 1e-9))
    words = f"the output swings {share:.2g} times as far as the reading, each of its mean"
    return _clipped(math.log(share / 0.2), -3.0, 3.0, words)


def _output_rests(s: Findings) -> Evidence:
    seen = _output_works(s)
    return Evidence(-seen.value, seen.words)


def _least_outside(s: Findings) -> Evidence:
    if s.loop is None or not np.isfinite(s.loop.outside_least).any():
        return NOTHING
    outside = float(np.exp(np.nanmean(np.log(s.loop.outside_least))))
    words = (
        "the loop may feed it all by itself"
        if outside < 0.4
        else "the loop can't feed it by itself"
    )
    return _clipped(-math.log(outside) - 0.9, -1.2, 2.1, words)


def _not_least_outside(s: Findings) -> Evidence:
    seen = _least_outside(s)
    return Evidence(-seen.value, seen.words)


def _stops_in_manual(s: Findings) -> Evidence:
    words = (
        f"{math.exp(s.mode_ratio):.2g} times as large in automatic as in manual"
        if math.isfinite(s.mode_ratio)
        else ""
    )
    return _clipped(s.mode_ratio - 0.7, -2.0, 3.0, words)


def _goes_on_in_manual(s: Findings) -> Evidence:
    words = (
        f"{math.exp(s.mode_ratio):.2g} times as large in automatic as in manual"
        if math.isfinite(s.mode_ratio)
        else ""
    )
    return _clipped(1.0 - abs(s.mode_ratio), -2.0, 1.0, words)


def _sustains_itself(s: Findings) -> Evidence:
    if s.loop is None or not np.isfinite(s.loop.outside).any():
        return NOTHING
    outside = float(np.exp(np.nanmean(np.log(s.loop.outside))))
    if outside < 0.6:
        words = (
            f"output and reading feed each other: only {100.0 * outside:.0f} % comes from outside"
        )
    else:
        words = f"{100.0 * min(outside, 9.0):.0f} % of it comes from outside the loop"
    return _clipped(-math.log(outside) - 0.7, -1.5, 2.3, words)


def _margins(s: Findings) -> Evidence:
    if s.loop is None or not np.isfinite(s.loop.Ms).any():
        return NOTHING
    Ms = float(np.exp(np.nanmean(np.log(s.loop.Ms))))
    words = (
        "with these gains the loop is unstable here"
        if Ms > 15.0
        else f"the loop's Ms is {Ms:.2g} here (above 2 it rings)"
    )
    return _clipped(math.log(Ms / 2.2), -1.0, 2.0, words)


def _has_margins(s: Findings) -> Evidence:
    seen = _margins(s)
    return Evidence(-seen.value, seen.words)


def _fed_from_outside(s: Findings) -> Evidence:
    seen = _sustains_itself(s)
    return Evidence(-seen.value, seen.words)


# --- what it follows ------------------------------------------------------------------------------


def _least(*ratios: float) -> float:
    known = [ratio for ratio in ratios if math.isfinite(ratio)]
    return min(known) if known else math.nan


def _follows_turns(s: Findings) -> Evidence:
    f = s.following
    value = _least(f.angle_over_time, f.angle_over_length)
    words = (
        "its frequency follows the turns of the roll"
        if value > 0.0
        else "its frequency does not follow the turns of the roll"
    )
    return _clipped(0.5 * value, -4.0, 4.0, words)


def _follows_length(s: Findings) -> Evidence:
    f = s.following
    value = _least(f.length_over_time, -f.angle_over_length)
    words = (
        "its frequency follows the line speed"
        if value > 0.0
        else "its frequency does not follow the line speed alone"
    )
    return _clipped(0.5 * value, -4.0, 4.0, words)


def _stays(s: Findings) -> Evidence:
    f = s.following
    value = _least(-f.length_over_time, -f.angle_over_time)
    words = (
        "its frequency stays while speed or diameter change"
        if value > 0.0
        else "its frequency moves with speed or diameter"
    )
    return _clipped(0.5 * value, -4.0, 4.0, words)


# --- how it goes on -----------------------------------------------------------------------------


def _sharp(s: Findings) -> Evidence:
    if s.oscillation is None:
        return NOTHING
    line = min(-s.oscillation.peak.line, 12.0)
    words = (
        "it is a strict line, as of something that turns"
        if line > 3.0
        else "it is no strict line, as something that turns would be"
    )
    return _clipped(0.3 * (line - 3.0), -1.0, 2.0, words)


def _blurred(s: Findings) -> Evidence:
    seen = _sharp(s)
    return Evidence(-seen.value, seen.words)


def _comes_and_goes(s: Findings) -> Evidence:
    if not math.isfinite(s.unevenness):
        return NOTHING
    words = (
        "it comes and goes"
        if s.unevenness > 0.3
        else "it is steady and does not die away between knocks"
    )
    return _clipped(4.0 * (s.unevenness - 0.3), -1.2, 2.0, words)


def _steady(s: Findings) -> Evidence:
    seen = _comes_and_goes(s)
    return Evidence(-seen.value, seen.words)


def _lightly_damped(s: Findings) -> Evidence:
    if s.scenario is None or not any(line.kind == "swing" for line in s.machine):
        return NOTHING
    damping = float(np.median(s.swing_damping))
    words = f"the roll's swing on the web is damped by {damping:.2g} of critical here"
    return _clipped(math.log(0.1 / max(damping, 1e-3)), -2.0, 2.0, words)


# --- the shape ----------------------------------------------------------------------------------


def _square(s: Findings) -> Evidence:
    shape = s.reading
    if shape is None or not math.isfinite(shape.third):
        return NOTHING
    words = (
        "the reading jumps and then stands, like a square wave"
        if shape.third > 0.08
        else "the reading is no square wave"
    )
    return _clipped(8.0 * (shape.third - 0.06), -1.0, 2.5, words)


def _swift(s: Findings) -> Evidence:
    shape = s.reading
    if shape is None or not math.isfinite(shape.swiftness):
        return NOTHING
    words = f"{100.0 * shape.swiftness:.0f} % of its movement is done in a fifth of the time"
    return _clipped(6.0 * (shape.swiftness - 0.4), -1.0, 2.5, words)


def _triangular(s: Findings) -> Evidence:
    shape = s.output
    if shape is None or not math.isfinite(shape.third):
        return NOTHING
    words = (
        "the output rises and falls in straight lines, like a triangle"
        if shape.third < -0.04
        else "the output is no triangle"
    )
    return _clipped(15.0 * (-shape.third - 0.03), -1.0, 1.5, words)


def _triangle_fits(s: Findings) -> Evidence:
    shape = s.output
    if shape is None or not math.isfinite(shape.triangularity):
        return NOTHING
    words = "a triangle fits the output better than a sine" if shape.triangularity > 0.5 else ""
    return _clipped(2.0 * (shape.triangularity - 0.4), -1.0, 1.2, words)


def _quarter(s: Findings) -> Evidence:
    if s.lag is None or not math.isfinite(s.lag.ratio_index):
        return NOTHING
    words = (
        "output and reading are a quarter of a period apart"
        if s.lag.verdict == "odd"
        else "output and reading are not a quarter of a period apart"
    )
    return _clipped(2.0 * (s.lag.ratio_index - 0.4), -1.0, 1.2, words)


def _harmonics(s: Findings) -> Evidence:
    shape = s.reading
    if shape is None:
        return NOTHING
    h = np.asarray(shape.harmonics, dtype=float)
    higher = h[1:][np.isfinite(h[1:])]
    if not higher.size or not h[0] > 0.0:
        return NOTHING
    share = float(np.sqrt(np.sum(higher**2)) / h[0])
    words = f"its multiples are {100.0 * share:.0f} % as large"
    return _clipped(4.0 * (share - 0.15), -0.6, 2.0, words)


def _sine(s: Findings) -> Evidence:
    seen = _harmonics(s)
    return Evidence(-seen.value, seen.words)


def _can_stick(s: Findings) -> Evidence:
    if s.scenario is None:
        return NOTHING
    kind = s.scenario.torque_device.kind
    if kind == "friction brake":
        return Evidence(0.7, "the brake and its supply may stick")
    return Evidence(-2.0, f"a {kind} hardly sticks")


def _slow(s: Findings) -> Evidence:
    """Sticking hunts at the pace of the integral term, well below the roll's own swing."""
    swing = [line for line in s.machine if line.kind == "swing"]
    if not swing or s.oscillation is None:
        return NOTHING
    ratio = float(np.median(swing[0].frequency)) / s.frequency
    words = f"{ratio:.2g} times slower than the roll swings on its web"
    return _clipped(math.log(ratio) - 1.0, -2.5, 2.5, words)


# --- records beside it ----------------------------------------------------------------------------


def _goes_with(seen: Coherence, name: str, known: bool) -> Evidence:
    if not math.isfinite(seen.coherence) or not seen.amplitude_y > 0.0:
        words = f"the recorded {name} does not swing" if known else f"no {name} is recorded"
        return Evidence(-2.5 if known else -1.5, words)
    share = seen.explained / seen.amplitude_y if math.isfinite(seen.explained) else 0.0
    if seen.significant and share > 0.7:
        words = f"{100.0 * share:.0f} % of the swing goes with the recorded {name}"
    else:
        words = f"the recorded {name} does not swing with it"
    odds = seen.coherence - seen.level
    return _clipped(6.0 * (share - 0.75) + 2.0 * odds, -2.5, 3.0, words)


def _moved(s: Findings) -> Evidence:
    speed = _goes_with(s.speed, "line speed", s.record.knows("line_speed"))
    setpoint = _goes_with(s.setpoint, "setpoint", s.record.knows("setpoint"))
    return max(speed, setpoint, key=lambda one: one.value)


def _speed_enough(s: Findings) -> Evidence:
    if not math.isfinite(s.speed_share):
        return NOTHING
    words = (
        f"the recorded swing of the speed makes {100.0 * s.speed_share:.0f} % of it on the model"
    )
    return _clipped(1.0 - abs(math.log(max(s.speed_share, 1e-3))), -3.0, 1.0, words)


# --- is it there ----------------------------------------------------------------------------------


def _by_chance(s: Findings) -> Evidence:
    if s.oscillation is None:
        return Evidence(5.0, "the tension does not move at all")
    chance = s.oscillation.peak.false_alarm
    words = (
        "such a peak in the spectrum may be chance"
        if chance > -2.0
        else "chance makes no such peak in the spectrum"
    )
    return _clipped(2.0 + 0.7 * chance, -5.0, 2.0, words)


def _irregular(s: Findings) -> Evidence:
    if s.regularity is None or not math.isfinite(s.regularity.regularity):
        return NOTHING
    r = s.regularity.regularity
    words = (
        f"its swings come regularly (regularity {r:.2g}, above 1 is regular)"
        if r > 1.0
        else f"its swings come irregularly (regularity {r:.2g}, above 1 is regular)"
    )
    return _clipped(-math.log(max(r, 1e-2)), -2.5, 1.5, words)


def _faint(s: Findings) -> Evidence:
    if s.oscillation is None:
        return Evidence(1.0, "")
    share = s.oscillation.peak.share
    words = f"it is {100.0 * share:.0f} % of all that moves"
    return _clipped(-math.log(max(share, 1e-3) / 0.3), -1.2, 3.0, words)


def _dies_away(s: Findings) -> Evidence:
    if s.regularity is None or not math.isfinite(s.regularity.index):
        return NOTHING
    index = s.regularity.index
    words = f"after one period {100.0 * index:.0f} % of it are left"
    return _clipped(4.0 * (0.6 - index), -1.6, 2.4, words)


def _few_swings(s: Findings) -> Evidence:
    if s.oscillation is None:
        return NOTHING
    return _clipped(math.log(10.0 / max(s.cycles, 1.0)), -1.0, 1.5, f"{s.cycles:.0f} swings only")


JUDGES: Mapping[str, Mapping[str, Judge]] = {
    ROLL: {
        "turn": _matched(("roll",), "turn"),
        "follows turns": _follows_turns,
        "sharp": _sharp,
        "steady": _steady,
        "harmonics": _harmonics,
        "outside": _fed_from_outside,
        "not by itself": _not_least_outside,
        "output rests": _output_rests,
        "manual": _not_automatic,
        "both modes": _goes_on_in_manual,
    },
    ROLLER: {
        "turn": _matched(("roller", "nip"), "turn"),
        "follows length": _follows_length,
        "sharp": _sharp,
        "steady": _steady,
        "sine": _sine,
        "outside": _fed_from_outside,
        "not by itself": _not_least_outside,
        "output rests": _output_rests,
        "manual": _not_automatic,
        "both modes": _goes_on_in_manual,
    },
    LOOP: {
        "automatic": _automatic,
        "stops in manual": _stops_in_manual,
        "frequency": _loop_frequency,
        "sustains itself": _sustains_itself,
        "may sustain itself": _least_outside,
        "output works": _output_works,
        "margins": _margins,
        "stays": _stays,
        "blurred": _blurred,
        "sine": _sine,
    },
    RINGING: {
        "swing": _matched(("swing",), "swing"),
        "stays": _stays,
        "damping": _lightly_damped,
        "comes and goes": _comes_and_goes,
        "blurred": _blurred,
        "dies away": _dies_away,
        "not by itself": _not_least_outside,
        "output rests": _output_rests,
        "manual": _not_automatic,
        "outside": _fed_from_outside,
        "margins": _has_margins,
        "both modes": _goes_on_in_manual,
        "sine": _sine,
    },
    STICKING: {
        "automatic": _automatic,
        "stops in manual": _stops_in_manual,
        "square": _square,
        "swift": _swift,
        "triangle": _triangular,
        "triangle fits": _triangle_fits,
        "quarter": _quarter,
        "device": _can_stick,
        "slow": _slow,
        "margins": _has_margins,
    },
    MOVES: {
        "goes with": _moved,
        "enough": _speed_enough,
        "outside": _fed_from_outside,
    },
    PICKUP: {
        "mains": _matched(("mains",), "folded hum"),
        "folded": _matched(("folded",), "folded turn"),
        "sharp": _sharp,
        "steady": _steady,
        "no part": _no_part,
        "stays": _stays,
        "sine": _sine,
        "outside": _fed_from_outside,
    },
    NONE: {
        "chance": _by_chance,
        "irregular": _irregular,
        "faint": _faint,
        "dies away": _dies_away,
    },
    CANNOT_TELL: {
        "no part": _no_part,
        "stays": _stays,
        "few swings": _few_swings,
        "outside": _fed_from_outside,
        "not by itself": _not_least_outside,
        "output rests": _output_rests,
        "sharp": _sharp,
        "sine": _sine,
        "both modes": _goes_on_in_manual,
    },
}
