"""Will these gains hold on the machine as it really is? Many machines within stated tolerances.

Each machine is drawn by its own row of random numbers, from the seed and its index, and judged on
its own: full roll, half and core, at line and at crawl speed, on the exact sampled plant. So the
bits do not depend on how the work is cut into chunks, on how many processes or computers of one
kind share it, or on how many machines are asked for.

The manual output is that of the true tension, whatever a load cell with an error reads.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import closing
from dataclasses import dataclass
from importlib import import_module
from multiprocessing import get_context
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from simulator import Scenario, kernel
from simulator.machine import kernel_machine, named_diameters, running_tension
from simulator.operating_point import steady_state
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.margins import MOST_DELAY_STATES, SOUND_MS, closed_loop_modes
from tuning.plant_bank import PlantBank, plant_bank
from tuning.step_kernel import highest_after_step
from tuning.tolerance_results import Place, ToleranceStudy
from tuning.tolerances import DEFAULT_TOLERANCES, Tolerance, drawn_machine, varied

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]

# Fewer machines than this tell nothing.
LEAST_SAMPLES, MOST_SAMPLES, MOST_WORKERS = 20, 1_000_000, 64
# Machines judged between two looks at the progress.
CHUNK = 50
# A step response is followed for so many of its slowest time constants, and scans at most.
TIME_CONSTANTS, MOST_SCANS = 8.0, 20_000
# More draws made anew than this share of all, and the tolerances are not what was asked for [-].
REDRAWN_WARNED = 0.01


@dataclass(frozen=True)
class _Job:
    """Everything that a process needs to judge machines of a study."""

    scenario: Scenario
    tolerances: tuple[Tolerance, ...]
    gains: tuple[Gains, ...]  # at each place
    places: tuple[Place, ...]
    tensions: tuple[float, ...]  # wanted at each place [N]; no tolerance touches them
    scans: tuple[int, ...]  # that a step response is followed for, at each place
    seed: int


class _Verdict(NamedTuple):
    """One machine, or a chunk of them: a row a machine."""

    deviations: Array
    Ms: Array
    overshoot: Array
    output: Array
    reachable: NDArray[np.bool_]
    redrawn: NDArray[np.int64]


# (index of the first machine, verdicts) of one chunk after the other, in any order.
_Judged = Generator[tuple[int, _Verdict], None, None]


def tolerance_study(
    scenario: Scenario,
    gains: Gains | None = None,
    *,
    tolerances: Iterable[Tolerance] = DEFAULT_TOLERANCES,
    samples: int = 1000,
    seed: int = 0,
    ms_limit: float = SOUND_MS,
    progress: Progress | None = None,
    workers: int | None = None,
    client: Any = None,
    chunk: int = CHUNK,
) -> ToleranceStudy:
    """Judge gains on many machines within stated tolerances.

    With more than one worker a script needs its `if __name__ == "__main__":`, as always where
    Python starts further processes.

    Args:
        scenario: the machine as it is thought to be.
        gains: the same at every diameter; if left out, those in the scenario's controller, which
            may follow the diameter.
        tolerances: how well its numbers are known.
        samples: machines to draw, 20 or more.
        seed: of the random numbers, 0 or more [-].
        ms_limit: largest sensitivity wanted, above 1 [-].
        progress: called with (done, total) machines after each chunk.
        workers: processes on this computer; this one alone if left out.
        client: of a Dask cluster (`distributed.Client`) that does the work instead.
        chunk: machines that a process judges between two calls of `progress`.

    Raises:
        ValueError: an argument is out of range, the scenario has no gains, or the tolerances leave
            hardly a machine that a scenario allows.
    """
    _check(samples=samples, seed=seed, ms_limit=ms_limit, workers=workers, chunk=chunk)
    if client is not None and workers is not None:
        raise ValueError(f"workers {workers}: must be left out where a client does the work")
    wanted = tuple(tolerances)
    names = [one.name for one in wanted]
    if len(set(names)) < len(names):
        raise ValueError(f"tolerances {', '.join(names)}: each may be given once")
    chosen = varied(scenario, wanted)
    places = study_places(scenario)
    each = tuple(gains or gains_as_set(scenario, place.diameter) for place in places)
    tensions = tuple(running_tension(scenario, place.diameter) for place in places)
    scans = _scans(scenario, each, places)
    job = _Job(scenario, chosen, each, places, tensions, scans, seed)

    starts = range(0, samples, chunk)
    pieces = [(job, start, min(chunk, samples - start)) for start in starts]
    judged: _Judged
    if client is not None:
        judged = _on_cluster(client, pieces)
    elif workers is None or workers == 1:
        judged = ((start, _chunk(job, start, count)) for job, start, count in pieces)
    else:
        judged = _in_processes(workers, pieces)
    rows: dict[int, _Verdict] = {}
    done = 0
    # Closed at once where `progress` raises: the work that is left is called off.
    with closing(judged):
        for start, verdict in judged:
            rows[start] = verdict
            done += len(verdict.Ms)
            if progress is not None:
                progress(done, samples)
    in_order = [rows[start] for start in starts]
    together = _Verdict(*(np.concatenate(part) for part in zip(*in_order, strict=True)))
    return _study(job, together, wanted, ms_limit=ms_limit)


def study_places(scenario: Scenario) -> tuple[Place, ...]:
    """Return the operating points that machines are judged at: named diameters, both speeds.

    Args:
        scenario: the machine.
    """
    run = scenario.run
    speeds = {"line speed": run.line_speed, "crawl speed": run.crawl_speed}
    if run.line_speed == run.crawl_speed:
        del speeds["crawl speed"]
    return tuple(
        Place(name, at, diameter, speed)
        for name, diameter in named_diameters(scenario).items()
        for at, speed in speeds.items()
    )


def _check(*, samples: int, seed: int, ms_limit: float, workers: int | None, chunk: int) -> None:
    if not LEAST_SAMPLES <= samples <= MOST_SAMPLES:
        raise ValueError(f"samples {samples}: must lie between {LEAST_SAMPLES} and {MOST_SAMPLES}")
    if seed < 0:
        raise ValueError(f"seed {seed}: must be 0 or more")
    if not (ms_limit > 1.0 and math.isfinite(ms_limit)):
        raise ValueError(f"ms_limit {ms_limit}: must be above 1")
    if workers is not None and not 1 <= workers <= MOST_WORKERS:
        raise ValueError(f"workers {workers}: must lie between 1 and {MOST_WORKERS}")
    if chunk < 1:
        raise ValueError(f"chunk {chunk}: must be 1 or more")


def _bank(scenario: Scenario, places: tuple[Place, ...]) -> PlantBank:
    run = scenario.run
    speeds = {"line speed": run.line_speed, "crawl speed": run.crawl_speed}
    return plant_bank(scenario, [(place.diameter, speeds[place.at]) for place in places])


def _scans(
    scenario: Scenario, gains: tuple[Gains, ...], places: tuple[Place, ...]
) -> tuple[int, ...]:
    """How many scans a step response is followed for: the same for all machines of a study."""
    found = []
    bank = _bank(scenario, places)
    for plant, one in zip(bank.sampled, gains, strict=True):
        size = 1.0
        if plant.delay <= MOST_DELAY_STATES:
            size = float(np.abs(closed_loop_modes(plant, one)).max())
        slowest = -1.0 / math.log(size) if 0.0 < size < 1.0 else math.inf
        found.append(int(min(plant.delay + 10.0 + TIME_CONSTANTS * slowest, MOST_SCANS)))
    return tuple(found)


def _judge(job: _Job, scenario: Scenario) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Return (Ms, overshoot [%], manual output [%], reachable) of one machine at each place."""
    bank = _bank(scenario, job.places)
    gains = job.gains
    # One set for all is judged in one go, which is quicker.
    Ms, _ = bank.severity(gains[0] if len(set(gains)) == 1 else gains)
    overshoot = np.full(len(bank), np.inf)
    for i in np.flatnonzero(np.isfinite(Ms)):
        # The tension itself is the reading before its filter: T = y + Tf dy/dt.
        plant = bank.plants[i]
        web = plant.C + scenario.load_cell.filter_time * plant.C[-1] * plant.A[-1]
        highest = highest_after_step(bank.sampled[i], gains[i], scans=job.scans[i], watched=web)
        overshoot[i] = 100.0 * max(highest - 1.0, 0.0)
    m = kernel_machine(scenario, runout=False)
    c = scenario.controller
    output, reachable = np.empty(len(bank)), np.empty(len(bank), dtype=bool)
    for place, (diameter, speed) in enumerate(bank.points):
        tension = job.tensions[place]
        state = steady_state(m, diameter=diameter, line_speed=speed, tension=tension)
        locked = (
            m.device == kernel.CLUTCH and m.overdrive * speed / m.core_radius <= state.roll_speed
        )
        output[place] = state.output
        reachable[place] = c.output_low <= state.output <= c.output_high and not locked
    return Ms, overshoot, output, reachable


def _chunk(job: _Job, start: int, count: int) -> _Verdict:
    """Judge some machines, each on its own."""
    rows = []
    # Small matrices gain nothing from threads, and lose a lot where processes share the cores.
    with threadpool_limits(1, "blas"):
        for index in range(start, start + count):
            scenario, deviations, redrawn = drawn_machine(
                job.scenario, job.tolerances, seed=job.seed, index=index
            )
            rows.append((deviations, *_judge(job, scenario), redrawn))
    return _Verdict(*(np.array(part) for part in zip(*rows, strict=True)))


def _in_processes(workers: int, pieces: list[tuple[_Job, int, int]]) -> _Judged:
    """Judge chunks in processes of their own; started afresh, for a fork with threads may hang."""
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
    try:
        futures = {pool.submit(_chunk, *piece): piece[1] for piece in pieces}
        for future in as_completed(futures):
            yield futures[future], future.result()
    finally:
        pool.shutdown(cancel_futures=True)


def _on_cluster(client: Any, pieces: list[tuple[_Job, int, int]]) -> _Judged:
    """Judge chunks on a Dask cluster; the chunks of a worker that dies go to another one."""
    # Only here: nobody without a cluster needs it.
    completed: Any = import_module("distributed").as_completed

    # The job goes along with every chunk: what is scattered ahead is lost with its worker.
    futures = client.map(_chunk, *zip(*pieces, strict=True), pure=False)
    started = {future.key: piece[1] for future, piece in zip(futures, pieces, strict=True)}
    try:
        for future in completed(futures):
            yield started[future.key], future.result()
    finally:
        client.cancel(futures)


def _study(
    job: _Job, rows: _Verdict, wanted: tuple[Tolerance, ...], *, ms_limit: float
) -> ToleranceStudy:
    scenario = job.scenario
    with threadpool_limits(1, "blas"):
        Ms, overshoot, output, _ = _judge(job, scenario)
    redrawn, samples = int(rows.redrawn.sum()), len(rows.Ms)
    warnings = []
    if redrawn > REDRAWN_WARNED * samples:
        warnings.append(
            f"{redrawn} of {redrawn + samples} draws were no machine that a scenario allows and "
            "were made anew: the tolerances reach into what is impossible"
        )
    idle = [one.words for one in wanted if one.percent > 0.0 and one not in job.tolerances]
    if idle:
        warnings.append(f"nothing to vary on this machine: {', '.join(idle)}")
    return ToleranceStudy(
        places=job.places,
        tolerances=job.tolerances,
        seed=job.seed,
        ms_limit=ms_limit,
        deviations=rows.deviations,
        Ms=rows.Ms,
        overshoot=rows.overshoot,
        output=rows.output,
        reachable=rows.reachable,
        nominal_Ms=Ms,
        nominal_overshoot=overshoot,
        nominal_output=output,
        output_low=scenario.controller.output_low,
        output_high=scenario.controller.output_high,
        redrawn=redrawn,
        warnings=tuple(warnings),
    )
