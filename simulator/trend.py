"""A recorded or simulated run: what the trend recorder sees, and what it can't see.

A trend file is CSV with a header: `time_s, tension_N, output_percent` and, where known,
`setpoint_N, line_speed_m_per_s, diameter_m, automatic` (0/1).
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# File column and attribute; one list serves reading and writing.
_COLUMNS = {
    "time_s": "time",
    "tension_N": "tension",
    "output_percent": "output",
    "setpoint_N": "setpoint",
    "line_speed_m_per_s": "line_speed",
    "diameter_m": "diameter",
    "automatic": "automatic",
}
# Marks that the simulation sets where the web is lost.
WEB_BREAK, SLACK_WEB = "web break", "slack web"
_NEEDED = ("time_s", "tension_N", "output_percent")


@dataclass(frozen=True, eq=False)
class Trend:
    """One run, sampled; every array has shape (n,) but `span_tension`.

    Attributes:
        time: from the start of the run [s].
        tension: as the controller reads it [N].
        output: of the controller [%].
        setpoint: of the controller [N]; nan where unknown.
        line_speed: of the web at the nip [m/s]; nan where unknown.
        diameter: of the roll [m]; nan where unknown.
        automatic: whether the controller was in automatic [-]; 1, 0 or nan where unknown.
        web_tension: true tension at the load cell [N]; empty for a recorded trend.
        torque: of the torque device at the roll [N m]; empty for a recorded trend.
        roll_speed: of the roll [rad/s]; empty for a recorded trend.
        slip_power: heat made in a brake or clutch [W]; empty for a motor or a recorded trend.
        temperature_rise: of that device over its surroundings [K]; empty where the scenario does
            not say how it warms.
        span_tension: from the roll to the nip, shape (n, spans) [N]; empty for a recorded trend.
        events: (time [s], what happened) for each planned action and whatever else is worth a mark.
        warnings: what a reader should know.
    """

    time: Array
    tension: Array
    output: Array
    setpoint: Array
    line_speed: Array
    diameter: Array
    automatic: Array
    web_tension: Array = field(default_factory=lambda: np.zeros(0))
    torque: Array = field(default_factory=lambda: np.zeros(0))
    roll_speed: Array = field(default_factory=lambda: np.zeros(0))
    slip_power: Array = field(default_factory=lambda: np.zeros(0))
    temperature_rise: Array = field(default_factory=lambda: np.zeros(0))
    span_tension: Array = field(default_factory=lambda: np.zeros((0, 0)))
    events: tuple[tuple[float, str], ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def web_lost(self) -> str:
        """How the web was lost first, "web break" or "slack web"; empty if it held."""
        return next((text for _, text in self.events if text in (WEB_BREAK, SLACK_WEB)), "")

    def between(self, start: float, end: float) -> Trend:
        """Return the part of the trend from a start to an end [s], both included.

        Args:
            start: first time kept [s].
            end: last time kept [s].
        """
        keep = (self.time >= start) & (self.time <= end)

        def cut(values: Array) -> Array:
            return values[keep] if values.size else values

        return Trend(
            time=self.time[keep],
            tension=self.tension[keep],
            output=self.output[keep],
            setpoint=self.setpoint[keep],
            line_speed=self.line_speed[keep],
            diameter=self.diameter[keep],
            automatic=self.automatic[keep],
            web_tension=cut(self.web_tension),
            torque=cut(self.torque),
            roll_speed=cut(self.roll_speed),
            slip_power=cut(self.slip_power),
            temperature_rise=cut(self.temperature_rise),
            span_tension=cut(self.span_tension),
            events=tuple(e for e in self.events if start <= e[0] <= end),
            warnings=self.warnings,
        )

    def to_csv(self) -> str:
        """Return the trend file's text; columns that are unknown throughout are left out."""
        known = {
            column: getattr(self, name)
            for column, name in _COLUMNS.items()
            if column in _NEEDED or not np.all(np.isnan(getattr(self, name)))
        }
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(known)
        for row in zip(*known.values(), strict=True):
            writer.writerow([repr(float(value)) for value in row])
        return out.getvalue()


def read_trend(text: str, *, name: str = "trend") -> Trend:
    """Read a trend file written with the column names above.

    Args:
        text: the file's text.
        name: what to call the file in an error.

    Raises:
        ValueError: a needed column is missing, a cell is not a number, or time does not increase.
    """
    reader = csv.reader(io.StringIO(text.lstrip("\ufeff")))
    try:
        rows = [row for row in reader if row]
    except csv.Error as error:
        raise ValueError(f"{name}, line {reader.line_num}: {error}") from None
    if not rows:
        raise ValueError(f"{name}: is empty; it needs a header with {', '.join(_NEEDED)}")
    header = [column.strip() for column in rows[0]]
    missing = [column for column in _NEEDED if column not in header]
    if missing:
        raise ValueError(
            f"{name}: column {', '.join(missing)} is missing; the header has "
            f"{', '.join(header) or 'nothing'}, it may have {', '.join(_COLUMNS)}"
        )
    values: dict[str, list[float]] = {column: [] for column in header if column in _COLUMNS}
    for number, row in enumerate(rows[1:], start=2):
        if len(row) != len(header):
            raise ValueError(
                f"{name}, line {number}: {len(row)} cells, the header has {len(header)}"
            )
        for column, cell in zip(header, row, strict=True):
            if column in values:
                try:
                    values[column].append(float(cell) if cell.strip() else float("nan"))
                except ValueError:
                    raise ValueError(
                        f"{name}, line {number}, {column} = {cell[:40]!r}: must be a number"
                    ) from None
    n = len(rows) - 1
    arrays = {
        attribute: np.array(values.get(column, [float("nan")] * n))
        for column, attribute in _COLUMNS.items()
    }
    for column in _NEEDED:
        bad = np.flatnonzero(~np.isfinite(arrays[_COLUMNS[column]]))
        if bad.size:
            raise ValueError(f"{name}, line {bad[0] + 2}, {column}: must be a finite number")
    if n < 2 or np.any(np.diff(arrays["time"]) <= 0.0):
        raise ValueError(f"{name}: time_s must increase from line to line, over two lines at least")
    return Trend(
        time=arrays["time"],
        tension=arrays["tension"],
        output=arrays["output"],
        setpoint=arrays["setpoint"],
        line_speed=arrays["line_speed"],
        diameter=arrays["diameter"],
        automatic=arrays["automatic"],
    )
