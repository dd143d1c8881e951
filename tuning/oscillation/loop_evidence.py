"""Evidence from the loop: manual or automatic, margins, what comes from outside, other records."""

from __future__ import annotations

import math

import numpy as np

from tuning.oscillation.cross import Coherence
from tuning.oscillation.findings import Findings
from tuning.oscillation.piece_of_evidence import NOTHING, Evidence, clipped

# Fewer pieces than this make no good coherence [-].
FEW_PIECES = 8
# A speed that makes less of the swing than this by the model is not what makes it [-].
HALF = 0.5


def automatic(s: Findings) -> Evidence:
    """Whether it swings in automatic; in manual no loop acts."""
    if not math.isfinite(s.automatic):
        return NOTHING
    # Read off the output, the mode is half as sure.
    sure, seems = (0.5, "seems to swing") if s.record.mode_inferred else (1.0, "swings")
    if s.automatic > 0.8:
        return Evidence(0.5 * sure, f"it {seems} in automatic")
    if s.automatic < 0.1:
        return Evidence(-5.0 * sure, f"it {seems} in manual, where the loop does nothing")
    return Evidence(0.0, "it swings in manual and in automatic")


def not_automatic(s: Findings) -> Evidence:
    """Whether it swings in manual."""
    if not math.isfinite(s.automatic):
        return NOTHING
    if s.automatic < 0.1:
        return Evidence(1.0, "it swings in manual")
    return Evidence(0.0, "")


def stops_in_manual(s: Findings) -> Evidence:
    """How much larger it is in automatic than in manual."""
    words = (
        f"{math.exp(s.mode_ratio):.2g} times as large in automatic as in manual"
        if math.isfinite(s.mode_ratio)
        else ""
    )
    return clipped(s.mode_ratio - 0.7, -2.0, 3.0, words)


def goes_on_in_manual(s: Findings) -> Evidence:
    """Whether it is as large in manual as in automatic."""
    words = (
        f"{math.exp(s.mode_ratio):.2g} times as large in automatic as in manual"
        if math.isfinite(s.mode_ratio)
        else ""
    )
    return clipped(1.0 - abs(s.mode_ratio), -2.0, 1.0, words)


def sustains_itself(s: Findings) -> Evidence:
    """How much of it comes from outside the loop, by the model as it is."""
    if s.loop is None or not np.isfinite(s.loop.outside).any():
        return NOTHING
    outside = float(np.exp(np.nanmean(np.log(s.loop.outside))))
    if outside < 0.6:
        words = (
            f"output and reading feed each other: only {100.0 * outside:.0f} % comes from outside"
        )
    elif outside < 0.95:
        words = f"{100.0 * outside:.0f} % of it comes from outside the loop"
    else:
        words = "it comes from outside the loop, which does not feed it"
    return clipped(-math.log(outside) - 0.7, -1.5, 2.3, words)


def least_outside(s: Findings) -> Evidence:
    """How much of it must come from outside, if the model is a little off."""
    if s.loop is None or not np.isfinite(s.loop.outside_least).any():
        return NOTHING
    outside = float(np.exp(np.nanmean(np.log(s.loop.outside_least))))
    words = (
        "the loop may feed it all by itself"
        if outside < 0.4
        else "the loop can't feed it by itself"
    )
    return clipped(-math.log(outside) - 0.9, -1.2, 2.1, words)


def output_works(s: Findings) -> Evidence:
    """The relative swing of the output over that of the reading: about the loop gain over |G|/K."""
    if s.output is None or s.reading is None or s.automatic < 0.2:
        return NOTHING
    mean = abs(float(s.record.output.mean()))
    if not (mean > 0.0 and s.output.amplitude > 0.0 and s.reading.amplitude > 0.0):
        return NOTHING
    swing = s.output.amplitude / mean
    share = swing / (s.reading.amplitude / max(abs(s.record.mean_tension), 1e-9))
    words = f"the output swings {share:.2g} times as far as the reading, each of its mean"
    return clipped(math.log(share / 0.2), -3.0, 3.0, words)


def margins(s: Findings) -> Evidence:
    """How close the loop is to ringing with its gains, by the model."""
    if s.loop is None or not np.isfinite(s.loop.Ms).any():
        return NOTHING
    Ms = float(np.exp(np.nanmean(np.log(s.loop.Ms))))
    words = (
        "with these gains the loop is unstable here, or all but unstable"
        if Ms > 15.0
        else f"the loop's Ms is {Ms:.2g} here (above 2 it rings)"
    )
    return clipped(math.log(Ms / 2.2), -1.0, 2.0, words)


def can_stick(s: Findings) -> Evidence:
    """Whether the torque device is one that sticks."""
    if s.scenario is None:
        return NOTHING
    kind = s.scenario.torque_device.kind
    if kind == "friction brake":
        return Evidence(0.3, "the brake and its supply may stick")
    return Evidence(-0.7, f"a {kind} hardly sticks")


def _goes_with(
    seen: Coherence, name: str, *, known: bool, together: bool, certainty: float
) -> Evidence:
    if not math.isfinite(seen.coherence) or not seen.amplitude_y > 0.0:
        if together:
            return Evidence(1.5, f"the recorded {name} swings at the same frequency")
        words = f"the recorded {name} does not swing" if known else ""
        return Evidence(-2.5 if known else -1.5, words)
    share = seen.explained / seen.amplitude_y if math.isfinite(seen.explained) else 0.0
    value = 6.0 * (share - 0.75) + 2.0 * (seen.coherence - seen.level)
    if together and seen.pieces < FEW_PIECES and value < 0.5:
        # Too few pieces for coherence, but a clear line in both.
        return Evidence(0.5, f"the recorded {name} swings at the same frequency")
    # Of many coherences one is high by chance: it says no more than the oscillation is sure.
    value = min(value, 3.0 * certainty)
    words = (
        f"{100.0 * share:.0f} % of the swing goes with the recorded {name}"
        if value > 0.0
        else f"the recorded {name} hardly swings with it"
    )
    return clipped(value, -2.5, 3.0, words)


def moved(s: Findings) -> Evidence:
    """Line speed or setpoint swings with the reading, whichever does so more."""
    known = s.record.knows
    sure = certainty(s)
    speed = _goes_with(
        s.speed, "line speed", known=known("line_speed"), together=s.speed_together, certainty=sure
    )
    setpoint = _goes_with(
        s.setpoint, "setpoint", known=known("setpoint"), together=s.setpoint_together,
        certainty=sure,
    )  # fmt: skip
    if s.speed_share < HALF:
        # A drive that gives way to the tension swings with it, but makes little of it.
        value = min(speed.value, 0.5) + 2.0 * math.log(max(s.speed_share, 1e-3) / HALF)
        share = 100.0 * s.speed_share
        words = f"the recorded swing of the line speed makes {share:.0f} % of it on the model"
        speed = clipped(value, -2.5, 0.5, words)
    if s.automatic < 0.1:
        # It may follow the reading there, but nothing follows it.
        setpoint = Evidence(-2.5, "in manual the setpoint moves nothing")
    elif not s.setpoint_together and setpoint.value > 0.0:
        # Steps that set off a ring are coherent with it and swing at no frequency of their own.
        setpoint = Evidence(0.0)
    return max(speed, setpoint, key=lambda one: one.value)


def certainty(s: Findings) -> float:
    """Return how sure it is that the oscillation is there, 0 to 1 [-].

    Args:
        s: what was measured.
    """
    if s.oscillation is None:
        return 0.0
    peak = s.oscillation.peak
    return min(max((-peak.false_alarm - 1.0) / 5.0, 0.0), 1.0) * min(peak.share / 0.1, 1.0)


def speed_enough(s: Findings) -> Evidence:
    """Whether the recorded swing of the speed is as large as it takes, by the model."""
    if not math.isfinite(s.speed_share):
        return NOTHING
    words = (
        f"the recorded swing of the speed makes {100.0 * s.speed_share:.0f} % of it on the model"
    )
    return clipped(1.0 - abs(math.log(max(s.speed_share, 1e-3))), -3.0, 1.0, words)
