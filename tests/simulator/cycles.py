"""How the tests that watch a tension loop swing by itself make, cut and measure a cycle."""

import math
from dataclasses import replace

import numpy as np

from simulator import simulate
from simulator.torque_devices import FrictionBrake
from tuning.gains import Gains
from tuning.margins import loop_margins

SINE, SQUARE, TRIANGLE = 1 / math.sqrt(2), 1.0, 1 / math.sqrt(3)


def braked(scenario, **brake):
    """The machine with a smooth friction brake of the same size, but for what is given."""
    device = scenario.torque_device
    same = {
        name: getattr(device, name)
        for name in ("full_torque", "residual_torque", "lag", "dead_time")
    }
    return replace(scenario, torque_device=FrictionBrake(**same, **brake))


def with_gains(scenario, Kc, Ti):
    return replace(scenario, controller=replace(scenario.controller, Kc=Kc, Ti=Ti))


def run(scenario, plan=(), **at):
    return simulate(scenario, plan, noise=False, runout=False, **at)


def rises(time, values):
    """Times at which a signal rises through its mean, on a straight line between samples [s]."""
    x = values - values.mean()
    at = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0))
    return time[at] - x[at] * (time[at + 1] - time[at]) / (x[at + 1] - x[at])


def whole_cycles(trend, values):
    """The part of a trend from a rise through the mean to the last one, and the period [s]."""
    up = rises(trend.time, values)
    assert up.size > 3, "no cycle"
    period = np.diff(up)
    assert period.std() < 0.03 * period.mean(), "no regular cycle"
    return trend.between(up[0], up[-1] - 1e-9), float(period.mean())


def form(values):
    """rms over half of peak to peak: 1 for a square wave, 1/sqrt 2 sine, 1/sqrt 3 triangle."""
    return float(values.std() / (0.5 * np.ptp(values)))


def correlation(first, second, shift):
    """Correlation of two cycles [-], the second taken some samples later, round and round."""
    a, b = first - first.mean(), np.roll(second - second.mean(), -shift)
    return float(np.mean(a * b) / (a.std() * b.std()))


def first_harmonic(time, values, period):
    angle = 2 * math.pi * time / period
    columns = np.column_stack([np.cos(angle), np.sin(angle), np.ones_like(angle)])
    (c, s, _), *_ = np.linalg.lstsq(columns, values, rcond=None)
    return math.hypot(c, s)


def stability_limit(plant, scan_time):
    """Integral gain at which integral action alone is at its limit [%/(% s)]."""
    start = 1e-3
    margins = loop_margins(plant, Gains.integral_only(start), scan_time=scan_time)
    return start * margins.gain_margin
