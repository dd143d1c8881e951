"""How long the first simulation takes: where it must be compiled, and from the cache on disk.

    python tests/benchmarks/compile_time.py

Each run is a process of its own. The compiler has an empty cache first, then the one just filled.
The second call in a process needs no compiler at all.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from film_case import in_words, print_table

RUNS = 3
FIRST_AND_SECOND = """
import time
begin = time.perf_counter()
from film_case import film_unwind, run_minute, timed
film = film_unwind()
loaded = time.perf_counter() - begin
print(loaded, timed(lambda: run_minute(film))[0], timed(lambda: run_minute(film))[0])
"""


def fresh_process(cache: Path) -> tuple[float, float, float]:
    """Return times [s] of a new process: imports and scenario, first call, second call."""
    here = str(Path(__file__).parent)
    path = os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        [sys.executable, "-c", FIRST_AND_SECOND], capture_output=True, text=True, check=True,
        env={**os.environ, "NUMBA_CACHE_DIR": str(cache), "PYTHONPATH": path},
    )  # fmt: skip
    loaded, first, second = map(float, done.stdout.split())
    return loaded, first, second


def main() -> None:
    empty: list[tuple[float, float, float]] = []
    filled: list[tuple[float, float, float]] = []
    for _ in range(RUNS):
        with tempfile.TemporaryDirectory() as folder:
            empty.append(fresh_process(Path(folder)))
            filled.append(fresh_process(Path(folder)))
    rows = [
        ["imports, reading a scenario", in_words(min(run[0] for run in empty + filled))],
        ["first call, compiled", in_words(min(run[1] for run in empty))],
        ["first call, from the cache", in_words(min(run[1] for run in filled))],
        ["second call", in_words(min(run[2] for run in empty + filled))],
    ]
    print_table((f"a minute of the film unwind, best of {RUNS}", "takes"), rows)


if __name__ == "__main__":
    main()
