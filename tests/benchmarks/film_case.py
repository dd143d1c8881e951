"""What the benchmarks share: the film unwind's minute, what the kernel is given for it, a table."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from simulator import Scenario, Trend, load_scenario, run_kernel, simulate
from simulator.plan import Action

Array = NDArray[np.float64]
Arguments = tuple[Any, ...]
Result = TypeVar("Result")

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "film_unwind.toml"
MINUTE = 60.0
AUTOMATIC_AT = 2.0
PLAN = (
    Action(AUTOMATIC_AT, "automatic"),
    Action(20.0, "setpoint", 170.0),
    Action(40.0, "line speed", 2.0, over=5.0),
)


def film_unwind() -> Scenario:
    """Return the film unwind with the gains of the benchmark."""
    film = load_scenario(SCENARIO)
    return replace(film, controller=replace(film.controller, Kc=0.05, Ti=0.5))


def run_minute(scenario: Scenario, **settings: Any) -> Trend:
    """Run the closed loop for a minute: to automatic, a setpoint step, a change of line speed."""
    return simulate(scenario, PLAN, duration=MINUTE, noise=False, **settings)


def kernel_arguments(run: Callable[[], object]) -> Arguments:
    """Return what `simulate` hands to the compiled kernel in a run, as it was before the run."""
    kernel = run_kernel.run
    seen: list[Arguments] = []

    def look(*arguments: Any) -> None:
        seen.append(fresh(arguments))
        kernel(*arguments)

    try:
        run_kernel.run = look
        run()
    finally:
        run_kernel.run = kernel
    return seen[0]


def fresh(arguments: Arguments) -> Arguments:
    """Return the arguments with arrays of their own, for a run advances what it is given."""
    return tuple(a.copy() if isinstance(a, np.ndarray) else a for a in arguments)


def timed(run: Callable[[], Result]) -> tuple[float, Result]:
    """Return how long one run takes [s], and what it returns."""
    start = time.perf_counter()
    result = run()
    return time.perf_counter() - start, result


def best_of(runs: int, run: Callable[[], object]) -> float:
    """Return how long the fastest of some runs takes [s]: what else the computer does adds time."""
    return min(timed(run)[0] for _ in range(runs))


def in_words(duration: float) -> str:
    """Return a duration [s] with a unit that suits it."""
    return f"{1e3 * duration:.1f} ms" if duration < 1.0 else f"{duration:.2f} s"


def print_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print rows of text in columns: the first to the left, the numbers to the right."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    for row in (head, ["-" * width for width in widths], *rows):
        cells = [row[0].ljust(widths[0])]
        cells += [text.rjust(width) for text, width in zip(row[1:], widths[1:], strict=True)]
        print("  ".join(cells))
