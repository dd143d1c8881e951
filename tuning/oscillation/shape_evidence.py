"""Evidence from shape and course: is it there, how strict and steady is it, which wave is it."""

from __future__ import annotations

import math

import numpy as np

from tuning.oscillation.findings import Findings
from tuning.oscillation.piece_of_evidence import NOTHING, Evidence, clipped


def by_chance(s: Findings) -> Evidence:
    """Whether noise alone would make such a peak."""
    if s.oscillation is None:
        return Evidence(5.0, "the tension does not move at all")
    chance = s.oscillation.peak.false_alarm
    words = (
        "such a peak in the spectrum may be chance"
        if 2.0 + 0.7 * chance > 0.0
        else "chance makes no such peak in the spectrum"
    )
    return clipped(2.0 + 0.7 * chance, -5.0, 2.0, words)


def irregular(s: Findings) -> Evidence:
    """Whether the zero crossings of its autocovariance come unevenly."""
    if s.regularity is None or not math.isfinite(s.regularity.regularity):
        return NOTHING
    r = s.regularity.regularity
    words = (
        f"its swings come regularly (regularity {r:.2g}, above 1 is regular)"
        if r > 1.0
        else f"its swings come irregularly (regularity {r:.2g}, above 1 is regular)"
    )
    return clipped(-math.log(max(r, 1e-2)), -2.5, 1.5, words)


def faint(s: Findings) -> Evidence:
    """How little of all movement it is."""
    if s.oscillation is None:
        return Evidence(1.0, "")
    share = s.oscillation.peak.share
    words = f"it is {100.0 * share:.0f} % of all that moves"
    return clipped(-math.log(max(share, 1e-3) / 0.3), -1.2, 3.0, words)


def keeps_coming(s: Findings) -> Evidence:
    """Hägglund's count of swings that matter, by the area between zero crossings."""
    if s.loads is None or s.oscillation is None or not s.oscillation.peak.significant:
        return NOTHING
    if s.loads.detected:
        return Evidence(1.0, "swings of more than 1 % of the tension keep coming")
    return Evidence(0.0)


def dies_away(s: Findings) -> Evidence:
    """How much of it is gone after one period, by its autocovariance."""
    if s.regularity is None or not math.isfinite(s.regularity.index):
        return NOTHING
    left = s.regularity.decay
    words = f"after one period {100.0 * left:.0f} % of it are left"
    return clipped(3.0 * (0.6 - left), -1.2, 1.8, words)


def few_swings(s: Findings) -> Evidence:
    """Whether the record holds few swings."""
    if s.oscillation is None:
        return NOTHING
    return clipped(math.log(10.0 / max(s.cycles, 1.0)), -1.0, 1.5, f"{s.cycles:.0f} swings only")


def sharp(s: Findings) -> Evidence:
    """Whether it is a strict line, as of something that turns."""
    if s.oscillation is None:
        return NOTHING
    line = min(-s.oscillation.peak.line, 12.0)
    words = (
        "it is a strict line, as of something that turns"
        if line > 3.0
        else "it is no strict line, as something that turns would be"
    )
    return clipped(0.3 * (line - 3.0), -1.0, 2.0, words)


def comes_and_goes(s: Findings) -> Evidence:
    """Whether its amplitude comes and goes, as when it is knocked on."""
    if not math.isfinite(s.unevenness):
        return NOTHING
    words = (
        "it comes and goes"
        if s.unevenness > 0.3
        else "it is steady and does not die away between knocks"
    )
    return clipped(4.0 * (s.unevenness - 0.3), -1.2, 2.0, words)


def square(s: Findings) -> Evidence:
    """Whether the reading is a square wave: a torque that jumps."""
    shape = s.reading
    if shape is None or not math.isfinite(shape.third):
        return NOTHING
    words = (
        "the reading jumps and then stands, like a square wave"
        if shape.third > 0.08
        else "the reading is no square wave"
    )
    return clipped(8.0 * (shape.third - 0.06), -1.0, 2.5, words)


def swift(s: Findings) -> Evidence:
    """How much of its movement the reading makes in little time."""
    shape = s.reading
    if shape is None or not math.isfinite(shape.swiftness):
        return NOTHING
    words = f"{100.0 * shape.swiftness:.0f} % of its movement is done in a fifth of the time"
    return clipped(6.0 * (shape.swiftness - 0.4), -1.0, 2.5, words)


def triangular(s: Findings) -> Evidence:
    """Whether the output is a triangle: the integral of a square wave."""
    shape = s.output
    if shape is None or not math.isfinite(shape.third):
        return NOTHING
    words = (
        "the output rises and falls in straight lines, like a triangle"
        if shape.third < -0.04
        else "the output is no triangle"
    )
    return clipped(15.0 * (-shape.third - 0.03), -1.0, 1.5, words)


def triangle_fits(s: Findings) -> Evidence:
    """Whether a triangle explains the output better than a sine."""
    shape = s.output
    if shape is None or not math.isfinite(shape.triangularity):
        return NOTHING
    words = "a triangle fits the output better than a sine" if shape.triangularity > 0.5 else ""
    return clipped(2.0 * (shape.triangularity - 0.4), -1.0, 1.2, words)


def quarter(s: Findings) -> Evidence:
    """Whether output and reading are a quarter of a period apart (Horch 1999)."""
    if s.lag is None or not math.isfinite(s.lag.ratio_index):
        return NOTHING
    words = (
        "output and reading are a quarter of a period apart"
        if s.lag.verdict == "odd"
        else "output and reading are not a quarter of a period apart"
    )
    return clipped(2.0 * (s.lag.ratio_index - 0.4), -1.0, 1.2, words)


def harmonics(s: Findings) -> Evidence:
    """How large its multiples are in the reading."""
    shape = s.reading
    if shape is None:
        return NOTHING
    h = np.asarray(shape.harmonics, dtype=float)
    higher = h[1:][np.isfinite(h[1:])]
    if not higher.size or not h[0] > 0.0:
        return NOTHING
    share = float(np.sqrt(np.sum(higher**2)) / h[0])
    size = f"its multiples are {100.0 * share:.0f} % as large"
    words = f"it is nearly a sine: {size}" if share < 0.15 else f"it is no sine: {size}"
    return clipped(4.0 * (share - 0.15), -0.6, 2.0, words)
