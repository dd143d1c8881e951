"""Does an oscillation follow time, web length or the angle of the roll?

What is out of round on an idler or a nip repeats with the web's length s = ∫ v dt, what is out of
round on the roll with its turns ∫ v/(π D) dt, a pickup from outside with time. On its own clock an
oscillation is one sharp line over the whole record, on another it smears, if speed and diameter
moved enough to set the clocks apart. That is order tracking; here nothing is resampled: in pieces
of three cycles of each clock a level, a slope and a sine are fitted to the samples as they are, and
one line, its frequency free, to the sines' phasors a_k:

    share = |Σ a_k exp(−i θ_k)|²/(K Σ|a_k|²),    log ratio = K ln[(1 − share₁)/(1 − share₂)]

The log ratio is that of the likelihoods of two clocks for K independent Gaussian remainders; as
the lines' frequencies are free, noise alone gets to ±5, rarely to ±10.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar

from tuning.oscillation.phase_track import PIECE_PERIODS, bridge_gaps

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Counts = NDArray[np.int64]

FEWEST_PIECES, FEWEST_SAMPLES = 4, 24
NYQUIST_SHARE = 0.9
# Records of more samples a cycle than twice this are averaged down, to no fewer.
SAMPLES_A_CYCLE = 10
# Clocks closer together than this over the record, peak to peak, tell nothing [cycles].
LEAST_APART = 0.1
# A line is looked for within these cycles over the record, and where the speed would put it.
NEAR_CYCLES = 2.0
# Each start of a search serves this far to either side [-]; the farthest start [-].
REACH, FARTHEST = 0.05, 0.3
MOST_GAPS = 0.2
_SURE = 1.0 - 1e-9


@dataclass(frozen=True)
class Following:
    """How sharply an oscillation stands on each of three clocks; nan is unknown.

    Attributes:
        time: share of the band's variance that one line in time explains [-].
        length: the same for one line in web length [-].
        angle: the same for one line in the angle of the roll [-].
        length_over_time: log of the likelihood ratio, positive for length [-]; nan where the
            clocks never came apart.
        angle_over_time: the same, positive for the angle [-].
        angle_over_length: the same, positive for the angle [-].
        speed_varied: range of the line speed over its mean, without the outer 1 % [-].
        rate_varied: the same of the roll's turns a second, v/(π D) [-].
        speed_cycles: that of the speed times the cycles in the record, |Δf| T [cycles].
        rate_cycles: that of the turns [cycles].
        length_apart: how far the clocks of length and time came apart, peak to peak [cycles].
        angle_apart: those of angle and time [cycles].
        both_apart: those of angle and length [cycles].
        length_per_cycle: of web [m].
        length_error: its standard error, as far as one line is what it is [m].
        cycles_per_turn: of the roll [-].
        turn_error: its standard error [-].
        frequency: of the best line in time [Hz].
        pieces: K.
        warnings: what a reader should know.
    """

    time: float = math.nan
    length: float = math.nan
    angle: float = math.nan
    length_over_time: float = math.nan
    angle_over_time: float = math.nan
    angle_over_length: float = math.nan
    speed_varied: float = math.nan
    rate_varied: float = math.nan
    speed_cycles: float = math.nan
    rate_cycles: float = math.nan
    length_apart: float = math.nan
    angle_apart: float = math.nan
    both_apart: float = math.nan
    length_per_cycle: float = math.nan
    length_error: float = math.nan
    cycles_per_turn: float = math.nan
    turn_error: float = math.nan
    frequency: float = math.nan
    pieces: int = 0
    warnings: tuple[str, ...] = ()

    @property
    def body_diameter(self) -> float:
        """Diameter of a body that turns once a cycle with the web [m]."""
        return self.length_per_cycle / math.pi


@dataclass(frozen=True)
class _Line:
    """One line on one clock: cycles over the record, steady power, power in the band, pieces."""

    cycles: float
    steady: float
    band: float
    pieces: int


def following(
    values: ArrayLike,
    interval: float,
    frequency: float,
    line_speed: ArrayLike | None,
    diameter: ArrayLike | None = None,
) -> Following:
    """Return on which clock an oscillation is sharpest.

    Args:
        values: of the measurement, shape (n,) [units of the measurement].
        interval: between samples [s].
        frequency: near which the oscillation was seen [Hz]; where speed varies, any frequency
            that it had.
        line_speed: of the web, shape (n,) [m/s]; None where unknown, as are columns of nan.
        diameter: of the roll, shape (n,) [m]; None where unknown.

    Raises:
        ValueError: records that do not match, or an interval that is not positive.
    """
    y = np.asarray(values, dtype=float)
    if y.ndim != 1:
        raise ValueError(f"values of shape {y.shape}: must be (n,)")
    if not (math.isfinite(interval) and interval > 0.0):
        raise ValueError(f"interval {interval} s: must be above 0")
    speed = _column(line_speed, y.size, "line_speed")
    roll = _column(diameter, y.size, "diameter")
    if not (math.isfinite(frequency) and frequency > 0.0):
        return Following(warnings=("no frequency to look at",))
    if frequency * interval > 0.5 * NYQUIST_SHARE:
        return Following(warnings=("sampled too slowly for this frequency",))
    flat = bridge_gaps(y)
    if flat is None:
        return Following(warnings=("the measurement is not known or never changes",))
    cycles = y.size * interval * frequency
    if y.size < FEWEST_SAMPLES or cycles < FEWEST_PIECES * PIECE_PERIODS:
        return Following(warnings=(f"fewer than {FEWEST_PIECES * PIECE_PERIODS:g} cycles",))
    rates: dict[str, Array] = {"time": np.ones(y.size)}
    if speed is not None and float(np.mean(speed)) > 0.0:
        rates["length"] = np.maximum(speed, 0.0)
        if roll is not None and float(np.min(roll)) > 0.0:
            rates["angle"] = rates["length"] / (math.pi * roll)
    return _compare(flat, interval, frequency, rates)


def _compare(y: Array, interval: float, frequency: float, rates: dict[str, Array]) -> Following:
    block = max(1, int(1.0 / (frequency * interval * SAMPLES_A_CYCLE)))
    size = y.size // block * block
    duration, cycles = size * interval, size * interval * frequency
    y = y[:size].reshape(-1, block).mean(axis=1)
    clocks, spreads, lines = {}, {}, {}
    for name, rate in rates.items():
        # From 0 to 1 over the record, at the middles of the blocks.
        passed = np.cumsum(rate[:size].reshape(-1, block).sum(axis=1))
        clocks[name] = (passed - 0.5 * rate[:size].reshape(-1, block).sum(axis=1)) / passed[-1]
        low, high = np.quantile(rate[:size:block] / np.mean(rate[:size]), [0.01, 0.99])
        spreads[name] = (float(low), float(high))
        lines[name] = _best_line(y, clocks[name], cycles, *spreads[name])
    # One band for all, that of the sharpest line: on a wrong clock the pieces see less, or others.
    band = max(max(lines.values(), key=lambda line: line.steady).band, 1e-300)
    share = {name: min(line.steady / band, _SURE) for name, line in lines.items()}
    pieces = min(line.pieces for line in lines.values())
    apart: dict[tuple[str, str], float] = {}
    ratio: dict[tuple[str, str], float] = {}
    for one, other in (("length", "time"), ("angle", "time"), ("angle", "length")):
        if one not in clocks:
            continue
        apart[one, other] = _apart(clocks[one], clocks[other]) * cycles
        if apart[one, other] >= LEAST_APART and pieces >= FEWEST_PIECES:
            ratio[one, other] = pieces * math.log((1.0 - share[other]) / (1.0 - share[one]))
    nan = math.nan
    varied = {name: high - low for name, (low, high) in spreads.items()}
    warnings = []
    if "length" not in rates:
        warnings.append("line speed is not known or zero")
    elif apart["length", "time"] < LEAST_APART:
        warnings.append("line speed hardly changed: time and web length can't be told apart")
    if "angle" in rates and apart["angle", "length"] < LEAST_APART:
        warnings.append("the diameter hardly changed: web length and roll can't be told apart")
    error = {
        name: math.sqrt(6.0 * (1.0 - s) / max(s * lines[name].pieces, 1e-12)) / (2.0 * math.pi)
        for name, s in share.items()
    }
    passed_length = float(np.mean(rates["length"][:size])) * duration if "length" in rates else nan
    turns = float(np.mean(rates["angle"][:size])) * duration if "angle" in rates else nan
    per_cycle, length_error, per_turn = nan, nan, nan
    if "length" in lines:
        per_cycle = passed_length / lines["length"].cycles
        length_error = per_cycle * error["length"] / lines["length"].cycles
    if "angle" in lines:
        per_turn = lines["angle"].cycles / turns
    return Following(
        time=share["time"],
        length=share.get("length", nan),
        angle=share.get("angle", nan),
        length_over_time=ratio.get(("length", "time"), nan),
        angle_over_time=ratio.get(("angle", "time"), nan),
        angle_over_length=ratio.get(("angle", "length"), nan),
        speed_varied=varied.get("length", nan),
        rate_varied=varied.get("angle", nan),
        speed_cycles=varied.get("length", nan) * cycles,
        rate_cycles=varied.get("angle", nan) * cycles,
        length_apart=apart.get(("length", "time"), nan),
        angle_apart=apart.get(("angle", "time"), nan),
        both_apart=apart.get(("angle", "length"), nan),
        length_per_cycle=per_cycle,
        length_error=length_error,
        cycles_per_turn=per_turn,
        turn_error=error["angle"] / turns if "angle" in lines else nan,
        frequency=lines["time"].cycles / duration,
        pieces=pieces,
        warnings=tuple(warnings),
    )


def _best_line(y: Array, clock: Array, cycles: float, low: float, high: float) -> _Line:
    """The line that explains most, near `cycles` or where the clock's rate may have put it.

    The oscillation was seen at one moment, when the clock ran between low and high times its mean.
    """
    least = max(1.0 / max(high, 1e-9), 1.0 - FARTHEST)
    most = min(1.0 / max(low, 1e-9), 1.0 + FARTHEST)
    near = NEAR_CYCLES / cycles
    least, most = min(least, 1.0) - near, max(most, 1.0) + near
    starts = max(1, math.ceil((most - least) / (2.0 * REACH)))
    width = (most - least) / starts
    found = [
        _line_near(y, clock, cycles * (least + (k + 0.5) * width), 0.5 * width * cycles)
        for k in range(starts)
    ]
    return max(found, key=lambda line: line.steady)


def _line_near(y: Array, clock: Array, cycles: float, reach: float) -> _Line:
    """Best line within a reach of some cycles over the record."""
    pieces = max(2, int(cycles / PIECE_PERIODS))
    edges = np.searchsorted(clock, np.arange(pieces) / pieces)
    counts = np.diff(edges, append=y.size)
    # A piece that flew by between few samples can't hold four unknowns, or is an alias.
    kept = counts >= max(6.0, cycles / pieces / (0.5 * NYQUIST_SHARE))
    if kept.sum() < 2:
        return _Line(cycles, 0.0, 0.0, int(kept.sum()))
    phasors = _phasors(y, clock, cycles, edges, counts)[kept]
    middle = ((np.arange(pieces) + 0.5) / pieces)[kept]
    spectrum = np.zeros(pieces, dtype=complex)
    spectrum[kept] = phasors
    padded = 8 * pieces
    power = np.abs(np.fft.fft(spectrum, padded)) ** 2
    offsets = np.fft.fftfreq(padded, 1.0 / pieces)
    power[np.abs(offsets) > reach] = -1.0
    start = float(offsets[int(np.argmax(power))])

    def steady(offset: float) -> float:
        return float(np.abs(np.mean(phasors * np.exp(-2j * math.pi * offset * middle))) ** 2)

    bounds = (max(start - 0.15, -reach), min(start + 0.15, reach))
    best = float(minimize_scalar(lambda d: -steady(d), bounds=bounds, method="bounded").x)
    band = float(np.mean(np.abs(phasors) ** 2))
    return _Line(float(cycles + best), steady(best), band, int(kept.sum()))


def _phasors(y: Array, clock: Array, cycles: float, edges: Counts, counts: Counts) -> ComplexArray:
    """Phasor of a sine fitted to the samples of each piece, beside a level and a slope."""
    wave = np.exp(2j * math.pi * cycles * clock)
    at = np.arange(float(y.size))
    weight = np.maximum(counts, 1).astype(float)
    middle = np.add.reduceat(at, edges) / weight
    ramp = (at - np.repeat(middle, counts)) / np.repeat(weight, counts)
    single, double = np.add.reduceat(wave, edges), np.add.reduceat(wave * wave, edges)
    sloped, met = np.add.reduceat(ramp * wave, edges), np.add.reduceat(y * wave, edges)
    matrix = np.zeros((edges.size, 4, 4))
    matrix[:, 0, 0] = counts
    matrix[:, 1, 1] = np.add.reduceat(ramp**2, edges)
    matrix[:, 2, 2] = 0.5 * (counts + double.real)
    matrix[:, 3, 3] = 0.5 * (counts - double.real)
    matrix[:, 2, 3] = matrix[:, 3, 2] = 0.5 * double.imag
    for row, both in enumerate((single, sloped)):
        matrix[:, row, 2] = matrix[:, 2, row] = both.real
        matrix[:, row, 3] = matrix[:, 3, row] = both.imag
    target = np.stack(
        [np.add.reduceat(y, edges), np.add.reduceat(ramp * y, edges), met.real, met.imag], axis=1
    )[:, :, None]
    # Where the line stood, a level and a sine are the same: then the smallest answer.
    matrix += 1e-9 * weight[:, None, None] * np.eye(4)
    fitted = np.linalg.solve(matrix, target)[:, :, 0]
    phasors: ComplexArray = fitted[:, 2] - 1j * fitted[:, 3]
    return phasors


def _apart(one: Array, other: Array) -> float:
    """Peak to peak distance of two clocks after the best straight line [-], of the record."""
    step = max(1, one.size // 4000)
    x, z = other[::step], one[::step]
    straight = np.polynomial.polynomial.polyfit(x, z, 1)
    return float(np.ptp(z - straight[0] - straight[1] * x))


def _column(values: ArrayLike | None, size: int, name: str) -> Array | None:
    """A column without gaps, or None where a fifth or more of it is unknown."""
    if values is None:
        return None
    column = np.asarray(values, dtype=float)
    if column.shape != (size,):
        raise ValueError(f"{name} of shape {column.shape}: must be ({size},)")
    known = np.isfinite(column)
    if known.sum() < max(2, (1.0 - MOST_GAPS) * size):
        return None
    at = np.arange(float(size))
    filled: Array = np.interp(at, at[known], column[known])
    return filled
