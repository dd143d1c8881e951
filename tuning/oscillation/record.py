"""A trend as the analysis wants it: evenly sampled, without holes, each column known or not."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario, Trend
from simulator.machine import diameter_range

Array = NDArray[np.float64]

FEWEST_SAMPLES = 20
# Intervals that differ by less than this from the usual one are rounding [-] …
ROUNDING = 0.02
# … and by less than this are brought onto an even grid by straight lines [-].
MOST_SCATTER = 0.5
# Below this a web stands [m/s].
STANDS = 1e-3
# A reading below this share of its usual level is that of a slack or broken web [-] …
SLACK = 0.1
# … if it stays there for longer than this share of the record, and for so many samples [-].
LOST, FEWEST_LOST = 0.03, 10
# An output that moves less often is in manual; one that rests for longer than so many samples, and
# than so many times its usual rest, is there [-].
FEWEST_MOVES, RESTS, LONGER = 8, 20, 8.0
# Nothing on a machine is measured in larger numbers.
LARGEST = 1e12
# No roll is smaller [m], and a turn of one that is takes no time at all.
SMALLEST = 1e-9
# A diameter off the machine's roll by more than this is that of another machine [-].
OFF_THE_ROLL = 0.02


@dataclass(frozen=True, eq=False)
class Record:
    """A recording on an even grid; each column has shape (n,), all nan where it is not known.

    Attributes:
        interval: from sample to sample [s].
        tension: as read [N].
        output: of the controller [%].
        setpoint: of the controller [N].
        line_speed: of the web [m/s].
        diameter: of the roll [m].
        automatic: 1 in automatic, 0 in manual [-].
        start: time of the first sample in the trend [s].
        logged_every: interval at which the logger took its samples [s]; what is fast folds there.
        mode_inferred: whether `automatic` was read off the output, for want of a record.
        warnings: what was done to the trend.
    """

    interval: float
    tension: Array
    output: Array
    setpoint: Array
    line_speed: Array
    diameter: Array
    automatic: Array
    start: float = 0.0
    logged_every: float = 0.0
    mode_inferred: bool = False
    warnings: tuple[str, ...] = ()

    @property
    def duration(self) -> float:
        """Length of the record [s]."""
        return self.interval * self.tension.size

    @property
    def time(self) -> Array:
        """Of each sample, in the trend's own time, shape (n,) [s]."""
        return np.asarray(self.start + self.interval * np.arange(self.tension.size))

    @property
    def mean_tension(self) -> float:
        """Mean reading [N]."""
        return float(self.tension.mean())

    def knows(self, column: str) -> bool:
        """Return whether a column is known.

        Args:
            column: its name, such as "diameter".
        """
        return bool(np.isfinite(getattr(self, column)).all())

    def moves(self, column: str) -> bool:
        """Return whether a column is known and not constant.

        Args:
            column: its name, such as "output".
        """
        values = getattr(self, column)
        return self.knows(column) and bool(np.ptp(values) > 1e-9 * max(np.abs(values).max(), 1e-9))


def as_record(
    trend: Trend,
    scenario: Scenario | None = None,
    *,
    diameter: float | None = None,
    line_speed: float | None = None,
) -> Record:
    """Return a trend on an even grid, with what is given besides it.

    Args:
        trend: recorded or simulated; only time and tension are needed.
        scenario: the machine; a pull roll's diameter comes from it.
        diameter: of the roll, where the trend does not tell [m].
        line_speed: of the web, where the trend does not tell [m/s].

    Raises:
        ValueError: the trend is too short, has no usable time or tension, or is unevenly sampled.
    """
    for name, value in (("diameter", diameter), ("line_speed", line_speed)):
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} {value}: must be a finite number above 0")
    time = np.asarray(trend.time, dtype=float)
    tension = np.asarray(trend.tension, dtype=float)
    if time.size < FEWEST_SAMPLES:
        raise ValueError(
            f"the trend has {time.size} samples: at least {FEWEST_SAMPLES} are needed, better "
            "some hundred, over ten swings or more"
        )
    if not (np.isfinite(time).all() and np.all(np.diff(time) > 0.0)):
        raise ValueError("time must be finite and increase from sample to sample")
    for name in ("tension", "output", "setpoint", "line_speed", "diameter", "automatic"):
        values = np.asarray(getattr(trend, name), dtype=float)
        if values.shape != time.shape:
            raise ValueError(f"{name} has the shape {values.shape}, time has {time.shape}")
        if np.any(np.abs(values[np.isfinite(values)]) > LARGEST):
            raise ValueError(f"{name} has values beyond {LARGEST:g}: check its unit")
    diameters = np.asarray(trend.diameter, dtype=float)
    if np.any((diameters > 0.0) & (diameters < SMALLEST)):
        raise ValueError(f"diameter has values below {SMALLEST:g} m: check its unit")
    if not np.isfinite(tension).all():
        raise ValueError(
            f"tension has {int(np.sum(~np.isfinite(tension)))} values that are no numbers: "
            "import the file with import_trend, which fills short holes"
        )
    columns = {
        name: _filled(time, np.asarray(getattr(trend, name), dtype=float), held=name in _HELD)
        for name in ("output", "setpoint", "line_speed", "diameter", "automatic")
    }
    interval, even, warnings = _even_grid(time)
    if np.any(columns["diameter"] <= 0.0):
        columns["diameter"] = np.full(time.size, np.nan)
        warnings = (*warnings, "a recorded diameter of 0 or less counts as not recorded")
    if even is not None:
        tension = np.interp(even, time, tension)
        columns = {
            name: _on_grid(even, time, values, held=name in _HELD)
            for name, values in columns.items()
        }
        time = even
    known_diameter = _known_diameter(scenario, diameter)
    if known_diameter is not None:
        columns["diameter"] = _given(columns["diameter"], known_diameter)
    if scenario is not None and np.isfinite(columns["diameter"]).all():
        low, high = diameter_range(scenario)
        least, most = columns["diameter"].min(), columns["diameter"].max()
        if least < low * (1.0 - OFF_THE_ROLL) or most > high * (1.0 + OFF_THE_ROLL):
            recorded = f"{1e3 * least:.4g} mm to {1e3 * most:.4g} mm"
            own = f"{1e3 * low:.4g} mm to {1e3 * high:.4g} mm"
            warnings = (
                *warnings,
                f"the diameter is {recorded}, the roll of this machine {own}: is it the right one?",
            )
    if line_speed is not None:
        columns["line_speed"] = _given(columns["line_speed"], line_speed)
    output_known = bool(np.isfinite(columns["output"]).all())
    inferred = output_known and not bool(np.isfinite(columns["automatic"]).all())
    if inferred:
        columns["automatic"] = _mode_of(columns["output"])
        warnings = (*warnings, "no mode is recorded: taken as manual where the output rests")
    record = Record(
        interval=interval, tension=tension, start=float(time[0]), logged_every=interval,
        mode_inferred=inferred, warnings=warnings, **columns,
    )  # fmt: skip
    return _running(record, time)


# Columns that keep their value until they change; between samples others go in straight lines.
_HELD = ("automatic",)


def _known_diameter(scenario: Scenario | None, diameter: float | None) -> float | None:
    if diameter is None and scenario is not None:
        low, high = diameter_range(scenario)
        return high if low == high else None
    return diameter


def _given(values: Array, value: float) -> Array:
    """A value given by hand counts only where the record has none."""
    return values if np.isfinite(values).all() else np.full(values.size, value)


def _filled(time: Array, values: Array, *, held: bool) -> Array:
    """Fill holes in a column; a column with more holes than values counts as unknown."""
    known = np.isfinite(values)
    if known.all():
        return values
    if known.mean() < 0.5:
        return np.full(values.size, np.nan)
    return _on_grid(time, time[known], values[known], held=held)


def _on_grid(grid: Array, time: Array, values: Array, *, held: bool) -> Array:
    if held:
        at = np.clip(np.searchsorted(time, grid, side="right") - 1, 0, time.size - 1)
        return values[at]
    return np.asarray(np.interp(grid, time, values))


def _mode_of(output: Array) -> Array:
    """Return 1 where the output moves as in automatic, 0 where it rests for long, shape (n,)."""
    rests = np.diff(output, prepend=output[0]) == 0.0
    moves = output.size - int(rests.sum())
    if moves < FEWEST_MOVES:
        return np.zeros(output.size)
    starts, ends = runs_of(rests)
    if not starts.size:
        return np.ones(output.size)
    # A slow scan or a coarse output rests in automatic, too, but not much longer than is usual …
    before_each = np.concatenate([ends - starts, np.zeros(max(moves - starts.size, 0))])
    longest = max(RESTS, LONGER * float(np.quantile(before_each, 0.9)))
    automatic = np.ones(output.size)
    # … and an output that comes to its limit again and again rests there.
    at = output[starts]
    again = np.zeros(at.size, dtype=bool)
    for limit in (output.min(), output.max()):
        there = at == limit
        again |= there & (np.count_nonzero(there) > 2)
    by_hand = (ends - starts > longest) & ~again
    for start, end in zip(starts[by_hand], ends[by_hand], strict=True):
        automatic[start:end] = 0.0
    return automatic


def _even_grid(time: Array) -> tuple[float, Array | None, tuple[str, ...]]:
    """Return (interval [s], an even grid if it is needed, what to say about it)."""
    steps = np.diff(time)
    interval = float(np.median(steps))
    off = float(np.abs(steps / interval - 1.0).max())
    whole = (time[-1] - time[0]) / interval
    if off < ROUNDING and abs(whole - (time.size - 1)) < 0.5:
        return float((time[-1] - time[0]) / (time.size - 1)), None, ()
    late = float(np.mean(np.abs(steps / interval - 1.0) > MOST_SCATTER))
    if late > 0.02 or steps.max() > 5.0 * interval:
        raise ValueError(
            f"the samples are uneven: {100.0 * late:.0f} % of the intervals are more than "
            f"{100.0 * MOST_SCATTER:.0f} % off the usual {interval:.3g} s, the longest is "
            f"{steps.max():.3g} s; log at a fixed interval, or import the file with import_trend"
        )
    count = max(int(whole + 1e-9) + 1, 2)
    grid = time[0] + interval * np.arange(count)
    note = f"the samples were brought onto an even grid of {interval:.3g} s"
    return interval, grid[grid <= time[-1] + 1e-9 * interval], (note,)


def _running(record: Record, time: Array) -> Record:
    """Return the longest part of a record in which the web runs and is taut."""
    if record.knows("line_speed"):
        runs = record.line_speed > max(STANDS, 0.02 * float(record.line_speed.max()))
        if not runs.any():
            if record.line_speed.min() < -STANDS:
                raise ValueError("the line speed is negative in the record: check its sign")
            raise ValueError("the line stands in the whole record: record while the web runs")
        record = _longest(record, time, runs, "the line runs without a stop")
        time = record.time
    level = float(np.quantile(record.tension, 0.75))
    taut = np.abs(record.tension) > SLACK * level
    if level > 0.0 and _longest_run(~taut) > max(LOST * taut.size, FEWEST_LOST):
        record = _longest(record, time, taut, "the web is taut")
    return record


def runs_of(flags: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return starts and ends of the runs of True, each of shape (m,).

    Args:
        flags: shape (n,) [-].
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return edges[::2], edges[1::2]


def _longest_run(flags: NDArray[np.bool_]) -> int:
    starts, ends = runs_of(flags)
    return int((ends - starts).max()) if starts.size else 0


def _longest(record: Record, time: Array, keep: NDArray[np.bool_], while_what: str) -> Record:
    """Return the longest part of a record in which something holds, with a note if that is less."""
    if keep.all():
        return record
    starts, ends = runs_of(keep)
    at = int(np.argmax(ends - starts))
    part = slice(int(starts[at]), int(ends[at]))
    if part.stop - part.start < FEWEST_SAMPLES:
        raise ValueError(
            f"there are only {part.stop - part.start} samples at a stretch in which {while_what}: "
            "too short to judge"
        )
    note = (
        f"only the {record.interval * (part.stop - part.start):.3g} s are judged in which "
        f"{while_what}"
    )
    return replace(
        record,
        tension=record.tension[part],
        output=record.output[part],
        setpoint=record.setpoint[part],
        line_speed=record.line_speed[part],
        diameter=record.diameter[part],
        automatic=record.automatic[part],
        start=float(time[part.start]),
        warnings=(*record.warnings, note),
    )
