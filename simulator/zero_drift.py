"""A zero that wanders: what the display shows, and what the web gets.

Of a tension T the controller reads (1 + e) T + z + d t: e the gain error, z that of the zero, d its
drift, t the time. In manual the web keeps its tension and the display wanders with the zero. In
automatic integral action holds the display at the setpoint r, and the web wanders the other way,

    T(t) = (r - z - d t)/(1 + e)

until the output stands at one of its ends, the web goes slack, or it breaks; until then the display
shows none of it. All of it is so slow that the lag of the loop hardly counts.

The drift is counted in the time of the run and goes at the pace of life whatever a run's time
compression, so these runs hold the diameter and none is compressed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from simulator.cell_forces import web_tension
from simulator.machine import diameter_range, running_tension
from simulator.operating_point import operating_point
from simulator.scenario import Scenario
from simulator.simulation import simulate
from simulator.trend import SLACK_WEB, WEB_BREAK, Trend
from simulator.units import sensible

Array = NDArray[np.float64]

# Samples of a run's trend, at most about this many.
_SAMPLES = 4000
# What is read off the end of a run: a straight line through its last share, so that neither noise
# nor a hunting brake moves it [-].
_END = 0.05
# A web this far from what is wanted deserves a warning [%] (common practice, no source).
FAR_OFF = 5.0
# A display that moves by less than this looks steady, of the wanted tension [%].
STEADY = 1.0
# An output this near to its end stands there [%].
_AT_END = 1e-6


@dataclass(frozen=True, eq=False)
class DriftRun:
    """A run with a zero that wanders, at one diameter, without runout.

    Attributes:
        trend: of the run, with reading and true tension of the web.
        automatic: whether the controller was in automatic, else the output stayed where it was.
        diameter: of the roll, held [m].
        wanted: tension that the web should have at this diameter [N].
        zero: error of the zero at the start and at the end [N].
        gain_error: how much too high the reading is, of the tension [%].
        web: true tension of the web at the start and at the end [N].
        display: what the display shows at the start and at the end [N].
        expected: true tension at the end in closed form [N]: what the display asks for, as far as
            the output can make it; the wanted tension in manual. Whether the web bears it is not
            asked, nor what hysteresis, sticking or a deadband leave behind.
        slack_at: when a span of the web went slack [s]; nan if none did.
        broken_at: when the web broke [s]; nan if it did not.
        output_end_at: when the output came to one of its ends in automatic [s]; nan if never, or
            only once the web was lost.
            Times are as fine as the trend's samples, about 1 s in an hour.
        breaking_tension: of the web [N]; inf if the scenario gives none.
        words: what happened, in sentences.
        warnings: what a reader should know.
    """

    trend: Trend
    automatic: bool
    diameter: float
    wanted: float
    zero: tuple[float, float]
    gain_error: float
    web: tuple[float, float]
    display: tuple[float, float]
    expected: float
    slack_at: float
    broken_at: float
    output_end_at: float
    breaking_tension: float = math.inf
    words: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def shift(self) -> float:
        """How far the web ends above what is wanted [N]; below 0 where it gets too little."""
        return self.web[1] - self.wanted

    @property
    def shift_percent(self) -> float:
        """The same, of what is wanted [%]."""
        return 100.0 * self.shift / self.wanted


def drifting_run(
    scenario: Scenario,
    *,
    duration: float,
    zero_drift: float,
    zero_error: float | None = None,
    gain_error: float | None = None,
    diameter: float | None = None,
    line_speed: float | None = None,
    automatic: bool = True,
    noise: bool = False,
    seed: int = 0,
) -> DriftRun:
    """Run a machine for a time while the zero of its load cell wanders.

    In automatic it starts settled: the display at the setpoint, and the web where that puts it. In
    manual it starts with the web at the wanted tension.

    Args:
        scenario: the machine; in automatic with its gains set.
        duration: of the run [s]; an hour of the machine takes about half a second.
        zero_drift: how fast the zero wanders, in tension [N/s].
        zero_error: reading at no tension, at the start [N]; the scenario's own if left out.
        gain_error: how much too high the reading is, of the tension [%]; the scenario's own if left
            out.
        diameter: of the roll, held through the run [m]; full roll if left out.
        line_speed: of the web [m/s]; running speed if left out.
        automatic: whether the controller is in automatic, else the output stays where it is [-].
        noise: whether the reading has its noise [-].
        seed: of the noise [-].

    Raises:
        ValueError: no gains or no integral action for automatic, the diameter is not on this roll,
            or a number that can't be; also SimulationError, which is one.
    """
    if automatic:
        _check_gains(scenario)
    cell = scenario.load_cell
    zero = cell.zero_error if zero_error is None else zero_error
    gain = cell.gain_error if gain_error is None else gain_error
    for name, value in (("zero_drift", zero_drift), ("zero_error", zero), ("gain_error", gain)):
        if not math.isfinite(value):
            raise ValueError(f"{name} {value}: must be a finite number")
    machine = replace(
        scenario,
        load_cell=replace(cell, zero_drift=zero_drift, zero_error=zero, gain_error=gain),
    )
    D = diameter_range(scenario)[1] if diameter is None else diameter
    point = operating_point(machine, diameter=D, line_speed=line_speed)
    wanted = running_tension(machine, D)

    def asked(zero: float) -> float:
        return web_tension(replace(machine.load_cell, zero_error=zero), wanted)

    low, high = max(point.tension_low, 0.0), point.tension_high
    scans = duration / machine.controller.scan_time
    # Without runout: seen once in many scans, a ripple would show beats that are not there.
    trend = simulate(
        machine,
        duration=duration,
        diameter=D,
        line_speed=line_speed,
        tension=asked(zero) if automatic and asked(zero) > 0.0 else wanted,
        setpoint=machine.run.tension,
        automatic=automatic,
        noise=noise,
        seed=seed,
        runout=False,
        record_every=max(round(scans / _SAMPLES), 1),
    )
    at_end = zero + zero_drift * float(trend.time[-1])
    run = DriftRun(
        trend=trend,
        automatic=automatic,
        diameter=D,
        wanted=wanted,
        zero=(zero, at_end),
        gain_error=gain,
        web=_ends(trend, trend.web_tension),
        display=_ends(trend, trend.tension),
        expected=min(max(asked(at_end) if automatic else wanted, low), high),
        slack_at=_when(trend, SLACK_WEB),
        broken_at=_when(trend, WEB_BREAK),
        output_end_at=_output_end(machine, trend) if automatic else math.nan,
        breaking_tension=machine.web.breaking_tension or math.inf,
    )
    return replace(run, words=_words(run, machine), warnings=_warnings(run, machine))


def _check_gains(scenario: Scenario) -> None:
    c = scenario.controller
    if c.Kc is None and not c.schedule:
        raise ValueError(
            "controller.Kc: not given, so there are no gains for automatic; set gains first, or "
            "run in manual"
        )
    if not c.schedule and (c.Ti is None or c.Kc == 0.0):
        raise ValueError(
            "controller.Ti: without integral action nothing holds the reading at the setpoint; "
            "set gains with a Kc and a Ti, or run in manual"
        )


def _ends(trend: Trend, values: Array) -> tuple[float, float]:
    """First value, and the end of a straight line through the last ones; bare where web is lost."""
    n = max(round(_END * values.size), 2)
    if trend.web_lost or values.size < n:
        return float(values[0]), float(values[-1])
    time = trend.time[-n:] - trend.time[-1]
    return float(values[0]), float(np.polyfit(time, values[-n:], 1)[1])


def _when(trend: Trend, mark: str) -> float:
    return next((at for at, text in trend.events if text == mark), math.nan)


def _output_end(scenario: Scenario, trend: Trend) -> float:
    c = scenario.controller
    at_end = (trend.output <= c.output_low + _AT_END) | (trend.output >= c.output_high - _AT_END)
    lost = np.nanmin([_when(trend, SLACK_WEB), _when(trend, WEB_BREAK), math.inf])
    at = np.flatnonzero(at_end & (trend.time < lost))
    return float(trend.time[at[0]]) if at.size else math.nan


def _words(run: DriftRun, scenario: Scenario) -> tuple[str, ...]:
    web = f"the web {_way(run.web, run.wanted)}"
    display = f"the display {_way(run.display, run.wanted)}"
    mode = "automatic" if run.automatic else "manual"
    pair = (display, web) if run.automatic else (web, display)
    found = [f"In {mode} {pair[0]}; {pair[1]}."]
    if run.automatic and not run.trend.web_lost and abs(run.shift_percent) >= STEADY:
        side = "less" if run.shift < 0.0 else "more"
        found.append(
            f"That is {abs(run.shift_percent):.0f} % {side} than the "
            f"{_newtons(run.wanted, run.wanted)} that are wanted."
        )
    lost = np.nanmin([run.slack_at, run.broken_at, math.inf])
    if math.isfinite(run.output_end_at):
        i = int(np.flatnonzero(run.trend.time >= run.output_end_at)[0])
        c = scenario.controller
        low = run.trend.output[i] < 0.5 * (c.output_low + c.output_high)
        found.append(
            f"{_from(run.output_end_at)} the output stands at its {'lower' if low else 'upper'} "
            "end: the loop can do no more, and the display leaves the setpoint."
        )
    if math.isfinite(lost):
        how = "breaks" if run.broken_at <= lost else "goes slack"
        found.append(f"The web {how} after {_time(float(lost))}.")
    return tuple(found)


def _warnings(run: DriftRun, scenario: Scenario) -> tuple[str, ...]:
    found = list(run.trend.warnings)
    shows = abs(run.display[1] - run.display[0]) >= 0.01 * STEADY * run.wanted
    if run.automatic and abs(run.shift_percent) >= FAR_OFF and not shows:
        found.append(
            f"the web ends {abs(run.shift_percent):.0f} % off and the display shows nothing of it: "
            "only a look at the zero does, with the web off the roller"
        )
    c = scenario.controller
    if run.automatic and c.break_level is not None:
        level = 0.01 * c.break_level * c.tension_range
        if run.zero[1] >= level:
            found.append(
                f"at the end a lost web would read {sensible(run.zero[1])} N: not below the "
                f"{sensible(level)} N from which the controller takes it for broken, so it would "
                "not notice a web break"
            )
    return tuple(found)


def _way(ends: tuple[float, float], wanted: float) -> str:
    """Where something stays, or from where to where it goes."""
    start, end = (_newtons(value, wanted) for value in ends)
    if abs(ends[1] - ends[0]) < 0.01 * STEADY * wanted or start == end:
        return f"stays at {start}"
    return f"goes from {start} to {end}"


def _newtons(tension: float, wanted: float) -> str:
    """A tension to three digits of what is wanted: 150 N and 8 N, 60 N and 2.2 N."""
    decimals = max(2 - math.floor(math.log10(wanted)), 0)
    return f"{round(tension, decimals) + 0.0:.{decimals + 6}g} N"


def _from(at: float) -> str:
    return "From the start" if at == 0.0 else f"From {_time(at)} on"


def _time(at: float) -> str:
    return f"{at:.3g} s" if at < 120.0 else f"{at / 60.0:.3g} min"
