"""A roll of film in closed loop, every layer of it: machine time over the time that it takes.

    python tests/benchmarks/full_roll.py

First an hour from full roll on, then the whole roll down to its core, at running speed, with noise,
runout and the roll building down as in life (`time_compression` 1). The gains are the benchmark's
own at full roll, and fall with the diameter, as the gain of the machine rises.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
from film_case import film_unwind, in_words, print_table, timed

from simulator import Scenario, simulate
from simulator.machine import diameter_range, web_on_roll
from simulator.sensing_and_control import ScheduledGains

HOUR = 3600.0
HEAD = ("film unwind, closed loop", "machine time", "takes", "ratio", "diameter", "tension in all")


def scheduled(film: Scenario) -> Scenario:
    """Return the film unwind with gains in proportion to the diameter."""
    c = film.controller
    core, full = diameter_range(film)
    assert c.Kc is not None and c.Ti is not None
    points = [ScheduledGains(diameter=d, Kc=c.Kc * d / full, Ti=c.Ti) for d in (full, core)]
    return replace(film, controller=replace(c, schedule=tuple(points)))


def main() -> None:
    film = scheduled(film_unwind())
    full = diameter_range(film)[1]
    whole = web_on_roll(film, full) / film.run.line_speed
    rows = []
    for name, duration, every in (("an hour", HOUR, 1), ("full roll to core", whole, 10)):
        run = partial(
            simulate, film, duration=duration, automatic=True, time_compression=1.0,
            record_every=every,
        )  # fmt: skip
        run()
        took, trend = min((timed(run) for _ in range(5)), key=lambda result: result[0])
        spread = f"{trend.tension.min():.0f} to {trend.tension.max():.0f} N"
        shrunk = f"{1e3 * trend.diameter[0]:.0f} to {1e3 * trend.diameter[-1]:.0f} mm"
        rows.append(
            [name, f"{duration:.0f} s", in_words(took), f"{duration / took:.0f}", shrunk, spread]
        )
        assert np.all(np.diff(trend.diameter) <= 0.0)
        for warning in trend.warnings:
            print(f"{name}: {warning}")
    print_table(HEAD, rows)


if __name__ == "__main__":
    main()
