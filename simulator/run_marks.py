"""What a run leaves: its trend, and a mark for everything in it that is worth one."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from simulator import run_kernel
from simulator.heat import gets_hot, rated_rise, steady_rise, temperature_rise
from simulator.machine import diameter_range, web_leaves_roll
from simulator.plan import Action
from simulator.scenario import Scenario
from simulator.trend import SLACK_WEB, WEB_BREAK, Trend
from simulator.web_slip import capstan_limits, tension_ratios

Array = NDArray[np.float64]
Found = list[tuple[float, str, str]]


def trend_of(
    scenario: Scenario,
    record: Array,
    *,
    actions: Sequence[Action],
    happened: Array,
    notes: tuple[str, ...],
    time_compression: float,
) -> Trend:
    """Return the trend of a run, with its marks and warnings.

    Args:
        scenario: the machine.
        record: rows as the kernel records them, shape (n, columns) [SI].
        actions: that were planned.
        happened: times of a web break and of the controller's hold on it [s]; nan if none.
        notes: warnings from before the run.
        time_compression: how much faster than life the roll built up or down [-].
    """
    time = record[:, run_kernel.TIME]
    spans = record[:, run_kernel.COLUMNS :]
    if not web_leaves_roll(scenario):
        spans = spans[:, ::-1]
    power = np.zeros(0)
    rise = np.zeros(0)
    if gets_hot(scenario):
        power = np.abs(record[:, run_kernel.TORQUE] * record[:, run_kernel.SLIP])
        # As all else, heat starts from where it has settled.
        start = steady_rise(scenario, float(power[0]))
        # … and where a roll runs through in fast motion, so does the heat.
        pace = max(time_compression, 1.0)
        rise = temperature_rise(scenario, pace * time, power, start=start)

    # (time, mark, warning)
    found: Found = _lost_web(time, spans, happened, actions)
    if time_compression > 0.0:
        found += _end_of_roll(scenario, time, record[:, run_kernel.DIAMETER])
    found += _slipping(scenario, time, spans, found)
    found += _too_hot(scenario, time, rise)
    found.sort()
    return Trend(
        time=time,
        tension=record[:, run_kernel.READING],
        output=record[:, run_kernel.OUTPUT],
        setpoint=record[:, run_kernel.SETPOINT_N],
        line_speed=record[:, run_kernel.LINE_SPEED],
        diameter=record[:, run_kernel.DIAMETER],
        automatic=record[:, run_kernel.IS_AUTOMATIC],
        web_tension=record[:, run_kernel.WEB_TENSION],
        torque=record[:, run_kernel.TORQUE],
        roll_speed=record[:, run_kernel.ROLL_SPEED],
        slip_power=power,
        temperature_rise=rise,
        span_tension=np.ascontiguousarray(spans),
        events=tuple(
            sorted([(a.at, str(a)) for a in actions] + [(at, mark) for at, mark, _ in found])
        ),
        warnings=(*notes, *(warning for _, _, warning in found if warning)),
    )


def _first(time: Array, condition: NDArray[np.bool_]) -> float:
    """Time of the first sample at which a condition holds [s]; nan if none."""
    at = np.flatnonzero(condition)
    return float(time[at[0]]) if at.size else math.nan


def _lost_web(time: Array, spans: Array, happened: Array, actions: Sequence[Action]) -> Found:
    found: Found = []
    broken, held = float(happened[run_kernel.BROKEN_AT]), float(happened[run_kernel.HELD_AT])
    breaks = [a.at for a in actions if a.what == "web break"] + [broken]
    gone = min((at for at in breaks if math.isfinite(at)), default=math.inf)
    slack = _first(time, np.any(spans <= 0.0, axis=1))
    if math.isfinite(slack) and slack < gone:
        found.append((slack, SLACK_WEB, f"the web went slack at {slack:.2f} s"))
    if math.isfinite(broken):
        found.append(
            (broken, WEB_BREAK, f"the web broke at {broken:.2f} s: its tension passed the limit")
        )
    if math.isfinite(held):
        reason = "" if gone <= held else ", though the web had not broken"
        found.append(
            (
                held,
                "held on web break",
                f"the controller took the web for broken at {held:.2f} s{reason}: it went to "
                "manual and holds its output",
            )
        )
    return found


def _end_of_roll(scenario: Scenario, time: Array, diameter: Array) -> Found:
    low, high = diameter_range(scenario)
    if web_leaves_roll(scenario):
        at, mark = _first(time, diameter <= low * (1.0 + 1e-9)), "roll empty"
    else:
        at, mark = _first(time, diameter >= high * (1.0 - 1e-9)), "roll full"
    if not at > 0.0:
        return []
    return [(at, mark, f"{mark} at {at:.4g} s: from there on the run holds the diameter")]


def _slipping(scenario: Scenario, time: Array, spans: Array, lost: Found) -> Found:
    """Where a roller can't hold the web; a web that is already lost slips everywhere."""
    end = min((at for at, _, _ in lost), default=math.inf)
    limits = capstan_limits(scenario)
    found: Found = []
    for name, ratio in tension_ratios(scenario, spans).items():
        at = _first(time, (ratio > limits[name]) & (time < end))
        if math.isfinite(at):
            most = float(ratio[time < end].max())
            found.append(
                (
                    at,
                    f"web slips on {name}",
                    f"the web slips on {name} from {at:.2f} s: its tensions are up to {most:.4g} "
                    f"to 1, friction holds {limits[name]:.4g} to 1",
                )
            )
    return found


def _too_hot(scenario: Scenario, time: Array, rise: Array) -> Found:
    if rise.size == 0:
        return []
    device, limit = scenario.torque_device.kind, rated_rise(scenario)
    at = _first(time, rise > limit * (1.0 + 1e-9))
    if not math.isfinite(at):
        return []
    return [
        (
            at,
            f"{device} too hot",
            f"the {device} is {limit:.3g} °C warmer than its surroundings at {at:.4g} s, as "
            f"warm as its continuous rating makes it, and goes on to {rise.max():.3g} °C",
        )
    ]
