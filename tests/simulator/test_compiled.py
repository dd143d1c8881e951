"""An edit of the physics is never answered with code that was compiled before it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
RUN = """
import sys
import simulator
assert simulator.__file__.startswith(sys.argv[1]), simulator.__file__
film = simulator.load_scenario(sys.argv[2])
trend = simulator.simulate(film, duration=1.0, automatic=True, setpoint=200.0, noise=False)
print(trend.output.sum())
"""
# Integral action of the controller: `run_kernel` calls it from another file, so a cache that only
# looks at the file of what it keeps can't see this edit.
EDITED = "control_kernel.py"
BEFORE, AFTER = "Kc * h / Ti * error", "Kc * h / Ti * 2.0 * error"


def run_in(folder: Path) -> float:
    """What a new process makes of a run with the simulator and the cache in a folder."""
    scenario = ROOT / "scenarios" / "film_unwind.toml"
    environment = {
        **os.environ, "PYTHONPATH": str(folder), "NUMBA_CACHE_DIR": str(folder / "cache"),
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(folder), str(scenario)],
        cwd=folder, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return float(done.stdout)


def kept_in(folder: Path) -> dict[Path, int]:
    """Files of the cache, and when each was written."""
    files = (folder / "cache").rglob("*.nb?")
    return {file: file.stat().st_mtime_ns for file in files}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a copy of the simulator, without what was compiled of it."""
    ignored = shutil.ignore_patterns("__pycache__", "screens")
    shutil.copytree(ROOT / "simulator", tmp_path / "simulator", ignore=ignored)
    return tmp_path.resolve()


def test_the_cache_serves_the_same_physics_and_never_an_older_one(folder):
    first = run_in(folder)
    kept = kept_in(folder)
    assert kept, "nothing is kept, so this test says nothing"
    assert run_in(folder) == first
    assert kept_in(folder) == kept, "the second process compiled again"

    source = folder / "simulator" / EDITED
    text = source.read_text(encoding="utf-8")
    assert text.count(BEFORE) == 1
    source.write_text(text.replace(BEFORE, AFTER), encoding="utf-8")
    # Twice the integral action opens up towards a setpoint above the tension faster.
    assert run_in(folder) > first + 1.0
