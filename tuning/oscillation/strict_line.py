"""Is a peak a strict line, and where exactly does it stand?

Something that turns makes a line: a sine that keeps its frequency. Something that rings on noise
makes a narrow band. Thomson's harmonic test (Proc. IEEE 70, 1982; from memory) tells them apart.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import betainc, betaln, hyp2f1

from tuning.oscillation.multitaper import TAPERS, Pieces, without_line

Array = NDArray[np.float64]


def harmonic_test(
    values: Array, interval: float, frequency: float, cut: Pieces
) -> tuple[float, int]:
    """Return Thomson's F ratio for a line at a frequency, and how many pieces it is made of.

    A line at f has in every taper k the same complex amplitude mu times the taper's mean U_k(0);
    F compares what mu explains with what it leaves: F(2 P, 2 P (K - 1)) for P pieces of noise
    (Thomson 1982, section XIII; from memory). Each piece has its own phase.

    Args:
        values: shape (n,) [unit].
        interval: between samples [s].
        frequency: of the line [Hz].
        cut: how they are cut.
    """
    turn = np.exp(-2j * np.pi * frequency * interval * np.arange(cut.length))
    means = np.sum(cut.tapers, axis=1)
    means = np.where(np.arange(TAPERS) % 2 == 0, means, 0.0)
    energy = float(means @ means)
    explained = left = 0.0
    starts = cut.apart()
    for start in starts:
        seen = cut.tapers @ (without_line(values[start : start + cut.length]) * turn)
        amplitude = (means @ seen) / energy
        explained += energy * abs(amplitude) ** 2
        left += float(np.sum(np.abs(seen - amplitude * means) ** 2))
    floor = 1e-24 * explained + 1e-300
    return (TAPERS - 1) * explained / max(left, floor), len(starts)


def sine_frequency(record: Array, interval: float, centre: float, reach: float) -> float:
    """Return where, within `reach` of a frequency, the record agrees best with a sine.

    It's the top of the periodogram under a Hann window, found after the record has been turned to
    that frequency and averaged in blocks, so that long records cost one pass.

    Args:
        record: mean taken off, shape (n,) [unit].
        interval: between samples [s].
        centre: about which is looked [Hz].
        reach: how far to each side [Hz].
    """
    count = len(record)
    window = np.sin(np.pi * (np.arange(count) + 0.5) / count) ** 2
    turned = record * window * np.exp(-2j * np.pi * centre * interval * np.arange(count))
    block = max(1, int(0.125 / (reach * interval)))
    blocks = count // block
    short = turned[: blocks * block].reshape(blocks, block).mean(axis=1)
    time = np.arange(blocks) * (block * interval)

    def power(offset: float) -> float:
        return -(abs(complex(np.exp(-2j * np.pi * offset * time) @ short)) ** 2)

    nyquist = 0.5 / interval
    low, high = max(-reach, -centre), min(reach, nyquist - centre)
    tries = np.linspace(low, high, 4 * math.ceil((high - low) * count * interval) + 1)
    best = int(np.argmin([power(float(offset)) for offset in tries]))
    left, right = tries[max(0, best - 1)], tries[min(len(tries) - 1, best + 1)]
    found = minimize_scalar(
        power, bounds=(left, right), method="bounded", options={"xatol": 1e-9 * nyquist}
    )
    return centre + float(found.x)


def log10_chance(ratio: float, above: float, below: float) -> float:
    """Return log10 of the chance that Fisher's F exceeds a ratio, far into its tail.

    Args:
        ratio: the F ratio [-].
        above: degrees of freedom of the numerator [-].
        below: degrees of freedom of the denominator [-].
    """
    a, b = 0.5 * below, 0.5 * above
    share = below / (below + above * ratio)
    chance = float(betainc(a, b, share))
    if chance > 1e-280:
        return math.log10(chance)
    # The incomplete beta function by its hypergeometric series, in logarithms.
    first = a * math.log(share) + b * math.log1p(-share) - math.log(a) - float(betaln(a, b))
    return (first + math.log(float(hyp2f1(a + b, 1.0, a + 1.0, share)))) / math.log(10.0)
