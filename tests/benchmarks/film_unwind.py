"""A minute of the film unwind in closed loop, against solvers and against the same loop in C.

    python tests/benchmarks/film_unwind.py

All run the same minute: manual, to automatic, a setpoint step, a change of line speed, the roll out
of round. scipy and python-control try four methods and many tolerances; of those exact enough the
fastest counts, and is timed again. "Exact enough" is said twice: as exact as `simulate` in use,
and 0.01 % of the tension range, to which `simulate` may take its longest steps, too. About three
minutes.
"""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from c_loop import built
from film_case import (
    Arguments,
    Array,
    best_of,
    film_unwind,
    fresh,
    in_words,
    kernel_arguments,
    print_table,
    run_minute,
    timed,
)
from with_solvers import in_one_piece, scan_by_scan

from simulator import Scenario, Trend, run_kernel
from simulator.simulation import LONGEST_SHARE, STEP_SHARE

METHODS = ("RK45", "DOP853", "LSODA", "Radau")
TOLERANCES = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 1e-6, 1e-7, 1e-8, 5e-9, 1e-9, 1e-10)
TIGHT = 1e-11
# As exact as another: its error is at most so many times as large.
ALIKE = 2.0
PRACTICAL = 1e-4  # of the tension range
# Of a column's largest value: beyond this the loop in C is another loop, and no ratio is printed.
SAME = 1e-6
HEAD = ("takes", "over simulate", "largest error")
Solver = Callable[[str, float], Array]


class Try(NamedTuple):
    """One method at one tolerance."""

    method: str
    tolerance: float
    took: float  # [s]
    error: float  # [N]


def tries(solver: Solver, truth: Array, enough: float) -> list[Try]:
    """Return all methods at falling tolerances, each until its error is small enough [N]."""
    made: list[Try] = []
    for method in METHODS:
        for tolerance in TOLERANCES:
            try:
                took, readings = timed(partial(solver, method, tolerance))
            except (RuntimeError, ValueError):
                continue  # so loose that the method loses its way
            error = float(np.abs(readings - truth).max())
            made.append(Try(method, tolerance, took, error))
            print(f"    {method} at {tolerance:.0e}: {in_words(took)}, error {error:.1e} N")
            if error <= enough or took > 20.0:
                break
    return made


def fastest(name: str, solver: Solver, made: list[Try], enough: float) -> tuple[str, float, float]:
    """Return (what it is, time [s], error [N]) of the fastest try that is exact enough [N]."""
    good = sorted((a for a in made if a.error <= enough), key=lambda a: a.took)[:3]
    again = [(best_of(3, partial(solver, a.method, a.tolerance)), a) for a in good]
    took, best = min(again)
    return f"{name}, {best.method} at {best.tolerance:.0e}", took, best.error


def error_of(trend: Trend, truth: Array) -> float:
    """Return the largest error of the reading in a trend [N]."""
    return float(np.abs(trend.tension - truth).max())


def main() -> None:
    film = film_unwind()
    full_scale = film.controller.tension_range
    truth = run_minute(film, step_share=0.02).tension
    error = error_of(run_minute(film), truth)
    error_long = error_of(run_minute(film, step_share=LONGEST_SHARE), truth)
    enough, practical = ALIKE * error, PRACTICAL * full_scale
    arguments = kernel_arguments(lambda: run_minute(film))
    steps = int(arguments[6].size * arguments[8][:, 1].sum())
    print(f"{arguments[6].size} scans, {steps} steps; truth has steps 20 times finer")

    def ours(share: float) -> float:
        return best_of(100, lambda: run_minute(film, step_share=share))

    took, took_long = ours(STEP_SHARE), ours(LONGEST_SHARE)
    rows, long_rows = (
        [("simulate", took, error)],
        [("simulate, longest steps", took_long, error_long)],
    )
    scipys, controls = scan_by_scan(arguments), in_one_piece(film, arguments)
    exact = controls("DOP853", TIGHT)
    for name, solver, solution in (
        ("scipy", scipys, truth),
        ("python-control", controls, exact),
    ):
        print(f"{name}:")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            made = tries(solver, solution, enough)
            rows.append(fastest(name, solver, made, enough))
            long_rows.append(fastest(name, solver, made, practical))
        # Again, so that a busy moment of the computer does not meet one side only.
        took, took_long = min(took, ours(STEP_SHARE)), min(took_long, ours(LONGEST_SHARE))
    apart = 100.0 * float(np.abs(exact - truth).max()) / full_scale
    print(f"    it has neither sampling nor play: up to {apart:.1g} % of range from simulate")
    rows[0], long_rows[0] = ("simulate", took, error), (long_rows[0][0], took_long, error_long)

    for head, part in (("as exact as simulate in use", rows), ("to 0.01 % of range", long_rows)):
        texts = [[what, in_words(t), f"{t / part[0][1]:.0f}", f"{e:.0e} N"] for what, t, e in part]
        print()
        print_table((head, *HEAD), texts)
    print()
    against_c(film, arguments)


def against_c(film: Scenario, arguments: Arguments) -> None:
    """Print how long the compiled kernel and the loop in C take for the same arguments."""
    ours = fresh(arguments)
    run_kernel.run(*ours)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for options in (("-O3",), ("-O3", "-march=native")):
            loop = built(Path(folder), *options)
            if loop is None:
                print("no gcc here: the loop in C is left out")
                return
            theirs = fresh(arguments)
            loop(*theirs)
            apart = largest_difference(ours[14], theirs[14])
            if not apart <= SAME:
                print(f"C {' '.join(options)} differs by {apart:.0e} of a column's largest: no row")
                continue
            # In turns, so that a busy moment of the computer meets both.
            took = kernel_took = simulate_took = np.inf
            for _ in range(8):
                took = min(took, shortest(loop, arguments))
                kernel_took = min(kernel_took, shortest(run_kernel.run, arguments))
                simulate_took = min(simulate_took, best_of(10, lambda: run_minute(film)))
            times = (in_words(took), in_words(kernel_took), in_words(simulate_took))
            ratios = (f"{kernel_took / took:.2f}", f"{simulate_took / took:.2f}")
            rows.append([f"C {' '.join(options)}", *times, *ratios, f"{apart:.0e}"])
    head = (
        "the same loop",
        "C",
        "kernel",
        "simulate",
        "kernel/C",
        "simulate/C",
        "trends differ by",
    )
    print_table(head, rows)


def largest_difference(a: Array, b: Array) -> float:
    """Return the largest difference of two recordings, each column over its largest value."""
    return float((np.abs(a - b).max(axis=0) / np.abs(a).max(axis=0)).max())


def shortest(run: Callable[..., None], arguments: Arguments) -> float:
    """Return the time of the fastest of ten runs [s], without the making of their arguments."""
    return min(timed(partial(run, *fresh(arguments)))[0] for _ in range(10))


if __name__ == "__main__":
    main()
