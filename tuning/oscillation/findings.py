"""Everything measured about the oscillation of one record: the numbers that evidence is made of."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from simulator import LinearPlant, Scenario, linearise
from tuning.oscillation.cross import Coherence, coherence_at, phase_between
from tuning.oscillation.detection import Oscillation, oscillations
from tuning.oscillation.envelope import envelope, mode_ratio, unevenness
from tuning.oscillation.load_oscillation import LoadOscillations, load_oscillations
from tuning.oscillation.loop_seen import LoopSeen, loop_seen, speed_share
from tuning.oscillation.machine_frequencies import (
    Kind,
    MachineFrequency,
    Place,
    machine_frequencies,
    places,
)
from tuning.oscillation.odd_or_even import OddOrEven, odd_or_even
from tuning.oscillation.orders import Following, following
from tuning.oscillation.record import Record, runs_of
from tuning.oscillation.regularity import Regularity, regularity
from tuning.oscillation.ridge import Ridge, ridge
from tuning.oscillation.spectrum import without_drift
from tuning.oscillation.wave_shape import WaveShape, wave_shape

Array = NDArray[np.float64]

# The oscillation is looked at over about an octave around it, or its own band if that is wider [-].
OCTAVE = 2.0**0.5
# A swing of this share of the tension matters (Hägglund's one per cent) [-].
MATTERS = 0.01


UNKNOWN, NOT_FOLLOWED = Coherence(), Following()


@dataclass(frozen=True, eq=False)
class Findings:
    """What was measured about one oscillation.

    Attributes:
        record: the recording.
        scenario: the machine; None where not given.
        oscillation: looked at; None where the tension does not move at all.
        amplitude: at each sample, shape (n,) [N].
        automatic: share in automatic while it swings [-]; nan where not recorded.
        mode_ratio: ln of its amplitude in automatic over that in manual [-]; nan where unknown.
        unevenness: coefficient of variation of its amplitude [-].
        regularity: of its zero crossings, and how fast it dies away.
        reading: shape of the reading.
        output: shape of the output; None where not recorded or still.
        lag: whether output and reading are a quarter of a period apart.
        speed: how the reading goes with the line speed.
        setpoint: how the reading goes with the setpoint.
        speed_together: whether a clear line of the same frequency is in the line speed [-].
        setpoint_together: the same of the setpoint [-].
        where: the machine may have been.
        machine: its frequencies.
        loop: what the loop has to do with it; None without scenario or in manual.
        ridge: its frequency and amplitude along the record.
        loads: whether swings of `MATTERS` keep coming, by their area alone.
        following: whether it goes with time, web length or turns of the roll.
        swing_damping: of the roll on its web at each place, shape (m,) [-]; empty where unknown.
        speed_share: of it that the recorded swing of the line speed makes by the model [-].
    """

    record: Record
    scenario: Scenario | None
    oscillation: Oscillation | None
    amplitude: Array
    automatic: float = math.nan
    mode_ratio: float = math.nan
    unevenness: float = math.nan
    regularity: Regularity | None = None
    reading: WaveShape | None = None
    output: WaveShape | None = None
    lag: OddOrEven | None = None
    speed: Coherence = UNKNOWN
    setpoint: Coherence = UNKNOWN
    speed_together: bool = False
    setpoint_together: bool = False
    where: tuple[Place, ...] = ()
    machine: tuple[MachineFrequency, ...] = ()
    loop: LoopSeen | None = None
    ridge: Ridge | None = None
    loads: LoadOscillations | None = None
    following: Following = NOT_FOLLOWED
    swing_damping: Array = field(default_factory=lambda: np.zeros(0))
    speed_share: float = math.nan

    @property
    def frequency(self) -> float:
        """Of the oscillation, mean [Hz]; nan where there is none."""
        return math.nan if self.oscillation is None else self.oscillation.frequency

    def frequency_for(self, kind: Kind) -> float:
        """Return the frequency to compare with a line of the machine [Hz].

        Of a body that is its turns over the record, however speed or diameter moved.

        Args:
            kind: of the line.
        """
        f, record = self.following, self.record
        if kind == "roll" and math.isfinite(f.cycles_per_turn) and record.knows("diameter"):
            turns = float(np.mean(record.line_speed / record.diameter)) / math.pi
            return f.cycles_per_turn * turns
        if kind in ("roller", "nip") and math.isfinite(f.length_per_cycle):
            return float(record.line_speed.mean()) / f.length_per_cycle
        return self.frequency

    @property
    def cycles(self) -> float:
        """In the record [-]."""
        return self.frequency * self.record.duration


def findings(
    record: Record, scenario: Scenario | None = None, oscillation: Oscillation | None = None
) -> Findings:
    """Measure everything about one oscillation of a record.

    Args:
        record: the recording.
        scenario: the machine.
        oscillation: to look at; the strongest if left out.
    """
    if oscillation is None:
        found = oscillations(record, most=1)
        oscillation = found[0] if found else None
    if oscillation is None:
        return Findings(record, scenario, None, np.zeros(record.tension.size))
    f, h = oscillation.frequency, record.interval
    low, high = _band(oscillation, record)
    size = envelope(record.tension, h, low=low, high=high)
    where = places(record, scenario, size**2)
    automatic = math.nan
    if record.knows("automatic"):
        automatic = float(np.average(record.automatic, weights=size**2))
    in_auto = _part_in_automatic(record, size)
    ratio = control = complex(math.nan)
    moves = record.moves("output")
    if in_auto is not None and moves:
        between = phase_between(record.tension[in_auto], record.output[in_auto], h, f)
        ratio, control = between.ratio, -between.ratio
        if record.moves("setpoint"):
            error = record.setpoint - record.tension
            control = phase_between(error[in_auto], record.output[in_auto], h, f).ratio
    plants = _plants(scenario, where)
    loop = None
    if scenario is not None and not automatic < 0.2:
        loop = loop_seen(scenario, where, plants, frequency=f, ratio=ratio, control=control)
    speed = _coherence(record, "line_speed", f)
    return Findings(
        record=record,
        scenario=scenario,
        oscillation=oscillation,
        amplitude=size,
        automatic=automatic,
        mode_ratio=mode_ratio(size, record.automatic, period_samples=1.0 / (f * h)),
        unevenness=unevenness(size, period_samples=1.0 / (f * h)),
        regularity=regularity(record.tension, h, low=low, high=high),
        reading=wave_shape(record.tension, h, f),
        output=wave_shape(record.output, h, f) if moves else None,
        lag=odd_or_even(record.output, record.tension, h, f) if moves else None,
        speed=speed,
        setpoint=_coherence(record, "setpoint", f),
        speed_together=_together(record, "line_speed", f),
        setpoint_together=_together(record, "setpoint", f),
        where=where,
        machine=machine_frequencies(record, scenario, where, plants),
        loop=loop,
        ridge=ridge(record.tension, h, low=low, high=high),
        loads=_loads(record, f),
        following=following(record.tension, h, f, record.line_speed, record.diameter),
        swing_damping=np.array([plant.damping_ratio for plant in plants]),
        speed_share=_speed_share(scenario, plants, speed, loop, automatic, f),
    )


def _plants(scenario: Scenario | None, where: tuple[Place, ...]) -> tuple[LinearPlant, ...]:
    if scenario is None:
        return ()
    return tuple(
        linearise(scenario, diameter=place.diameter, line_speed=place.line_speed) for place in where
    )


def _speed_share(
    scenario: Scenario | None,
    plants: tuple[LinearPlant, ...],
    speed: Coherence,
    loop: LoopSeen | None,
    automatic: float,
    frequency: float,
) -> float:
    if scenario is None or not math.isfinite(speed.explained) or not speed.explained > 0.0:
        return math.nan
    outside = 1.0 if automatic < 0.1 else math.nan
    if loop is not None and np.isfinite(loop.outside).any():
        outside = float(np.nanmedian(loop.outside))
    return speed_share(
        scenario, plants, frequency=frequency, outside=outside, speed=speed.amplitude_x,
        reading=speed.amplitude_y,
    )  # fmt: skip


def _loads(record: Record, frequency: float) -> LoadOscillations | None:
    """Ask the area between zero crossings, drift taken off; of the swing's own pace."""
    least = MATTERS * abs(record.mean_tension)
    if not least > 0.0:
        return None
    swings = without_drift(record.tension, record.interval, slowest=frequency / 3.0)
    return load_oscillations(
        swings, record.interval, ultimate_frequency=frequency, least_amplitude=least
    )


def _band(oscillation: Oscillation, record: Record) -> tuple[float, float]:
    half = 0.5 / record.interval
    low = min(oscillation.lowest, oscillation.peak.low, oscillation.frequency / OCTAVE)
    high = max(oscillation.highest, oscillation.peak.high, oscillation.frequency * OCTAVE)
    low = max(low, 1.0 / record.duration)
    return low, max(min(high, half), 1.05 * low)


def _part_in_automatic(record: Record, size: Array) -> slice | None:
    """Return the longest part in automatic; the whole record where the mode is not recorded."""
    if not record.knows("automatic"):
        return slice(0, size.size)
    starts, ends = runs_of(record.automatic > 0.5)
    if not starts.size:
        return None
    longest = int(np.argmax(ends - starts))
    return slice(int(starts[longest]), int(ends[longest]))


def _together(record: Record, column: str, frequency: float) -> bool:
    """Whether a column has the oscillation, too, in a record too short for its coherence."""
    if not record.moves(column):
        return False
    between = phase_between(getattr(record, column), record.tension, record.interval, frequency)
    return bool(np.isfinite(between.ratio))


def _coherence(record: Record, column: str, frequency: float) -> Coherence:
    if not record.moves(column):
        return Coherence()
    return coherence_at(getattr(record, column), record.tension, record.interval, frequency)
