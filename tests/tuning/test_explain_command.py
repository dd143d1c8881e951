"""The command `steadyspan explain`: a file of any logger in, an answer or one clear message out."""

import json
import math

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.conftest import ROOT
from tuning.cli import app

FILM = str(ROOT / "scenarios" / "film_unwind.toml")
V, D = 2.0, 0.5


def ask(*arguments):
    return CliRunner().invoke(app, ["explain", *map(str, arguments)])


@pytest.fixture
def semicolons(tmp_path):
    """A file with decimal commas: tension once a turn of the roll, speed and diameter beside it."""
    t = 0.05 * np.arange(2400)
    turn = V / (math.pi * D)
    tension = 150.0 + 4.0 * np.cos(2.0 * math.pi * turn * t)
    tension += np.random.default_rng(1).standard_normal(t.size)
    lines = ["Time [s];PV 7 [N];Line speed [m/min];Roll diameter [mm];Mode"]
    lines += [
        f"{a:.2f};{b:.2f};{60 * V:.1f};{1e3 * D:.0f};MAN".replace(".", ",")
        for a, b in zip(t, tension, strict=True)
    ]
    path = tmp_path / "trend.csv"
    path.write_bytes("\r\n".join(lines).encode("utf-16"))
    return path


def test_a_file_of_a_logger_is_explained(semicolons):
    done = ask(semicolons, "--scenario", FILM, "--column", "tension=PV 7 [N]:N", "--json")
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert data["verdict"] == "roll out of round"
    assert data["oscillation"]["frequency_Hz"] == pytest.approx(V / (math.pi * D), rel=1e-3)
    assert data["oscillation"]["amplitude_N"] == pytest.approx(4.0, rel=0.1)
    assert data["record"]["interval_s"] == pytest.approx(0.05)
    assert data["causes"][0]["cause"] == data["verdict"]
    assert math.fsum(cause["score"] for cause in data["causes"]) == pytest.approx(1.0, abs=1e-3)


def test_the_report_says_what_to_check(semicolons):
    done = ask(semicolons, "--scenario", FILM, "--column", "tension=PV 7 [N]:N")
    assert done.exit_code == 0, done.output
    assert "roll out of round" in done.stdout
    assert "Check next:" in done.stdout
    assert "tension from 'PV 7 [N]' in N" in done.stdout
    assert "licensed practice" in done.stdout


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "CSV"),
        (b"time_s,tension_N,output_percent\n0,1,2\n1,2,3\n", "rows"),
    ],
)
def test_a_file_that_can_not_be_explained_ends_in_one_message(tmp_path, content, words):
    path = tmp_path / "odd.csv"
    path.write_bytes(content)
    done = ask(path, "--json")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert words in done.stderr
    assert "odd.csv" in done.stderr
    assert "Traceback" not in done.output


def test_faults_of_the_call_are_named(tmp_path, semicolons):
    assert "can't be read" in ask(tmp_path / "none.csv").stderr
    wrong = ask(semicolons, "--column", "tension=PV 9:N", "--column", "pull=PV 7 [N]:N")
    assert wrong.exit_code == 2
    assert "PV 9" in wrong.stderr and "'pull'" in wrong.stderr and "PV 7 [N]" in wrong.stderr
    assert "--diameter" in ask(semicolons, "--diameter", "0.5").stderr
    assert ask(semicolons, "--scenario", tmp_path / "none.toml").exit_code == 2
