"""How long 10,000 machines within the usual tolerances take, in processes of their own.

    python tests/benchmarks/tolerance_10000.py [machines] [processes]

The starting of the processes is part of the time. Processor time is told besides, for a computer
that has something else to do (0 where the system does not count that of other processes). It looks
as well whether the bits are those of the same study in this process alone, on the first machines.
"""

from __future__ import annotations

import os
import sys

from film_case import SCENARIO, in_words, print_table, timed

from simulator import load_scenario
from tuning.gains import Gains
from tuning.tolerance_study import tolerance_study
from tuning.tolerance_words import sentences

MACHINES, ALIKE = 10_000, 200
GAINS = Gains(Kc=0.065, Ti=0.2)
HEAD = ("film unwind, six places", "processes", "machines", "takes", "processor time", "a machine")


def processor_time() -> float:
    """Return the processor time of this process and of those that it has ended [s]."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def main(machines: int = MACHINES, processes: int = os.cpu_count() or 1) -> None:
    film = load_scenario(SCENARIO)
    # Compiled, and read from the disk, before the clock starts.
    tolerance_study(film, GAINS, samples=20)
    begun = processor_time()
    alone, here = timed(lambda: tolerance_study(film, GAINS, samples=ALIKE))
    between = processor_time()
    took, study = timed(lambda: tolerance_study(film, GAINS, samples=machines, workers=processes))
    spent = (between - begun, processor_time() - between)
    rows = [
        [
            name, f"{count}", f"{judged}", in_words(wall), in_words(cpu),
            f"{1e3 * cpu / judged:.2f} ms",
        ]
        for name, count, judged, wall, cpu in (
            ("alone", 1, ALIKE, alone, spent[0]),
            ("together", processes, machines, took, spent[1]),
        )
    ]  # fmt: skip
    print_table(HEAD, rows)
    assert study.Ms[:ALIKE].tobytes() == here.Ms.tobytes(), "the bits differ"
    assert study.overshoot[:ALIKE].tobytes() == here.overshoot.tobytes(), "the bits differ"
    print("the first machines are the same, bit for bit", *sentences(study), sep="\n")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))
