"""The command as a user runs it: a readable report, clean JSON, one clear refusal."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tuning.cli import app

ROOT = Path(__file__).resolve().parents[2]
FILM = ROOT / "scenarios" / "film_unwind.toml"


def steadyspan(*arguments, cwd=ROOT):
    return subprocess.run(
        [sys.executable, "-m", "tuning", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        timeout=120,
        check=False,
    )


def test_report_is_readable():
    done = steadyspan("pretune", FILM)
    assert done.returncode == 0, done.stderr
    for words in ("Manual output", "Step test", "tuning rules", "Recommended gains", "Hand-over",
                  "Watch out", "local codes", "Invented machine"):  # fmt: skip
        assert words in done.stdout, words
    assert max(len(line) for line in done.stdout.splitlines()) <= 140


def test_a_title_in_brackets_is_printed_as_it_is(tmp_path):
    path = tmp_path / "odd.toml"
    title = "Line [/b] 3 [spare]"
    path.write_text(
        FILM.read_text(encoding="utf-8").replace("Film unwind, friction brake", title),
        encoding="utf-8",
    )
    done = CliRunner().invoke(app, ["pretune", str(path)])
    assert done.exit_code == 0, done.output
    assert title in done.stdout


def test_json_is_one_object_and_nothing_else():
    done = steadyspan("pretune", FILM, "--json")
    assert done.returncode == 0
    data = json.loads(done.stdout)
    assert data["zone"] == "unwind"


@pytest.mark.parametrize(
    "content, says",
    [
        (b"", "is empty"),
        (b"\x00\xff\xfe\x01", "is not text"),
        (b"hello", "is not TOML"),
        (FILM.read_bytes().replace(b'"1000 mm"', b'"1000 kg"').replace(b'"4 GPa"', b'"nan GPa"'),
         "web.modulus"),
    ],
)  # fmt: skip
def test_a_broken_scenario_gets_one_clear_message_and_exit_code_2(tmp_path, content, says):
    path = tmp_path / "broken.toml"
    path.write_bytes(content)
    done = CliRunner().invoke(app, ["pretune", str(path)])
    assert done.exit_code == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert all(line.startswith("broken.toml") for line in done.stderr.strip().splitlines())


def test_a_missing_file(tmp_path):
    done = CliRunner().invoke(app, ["pretune", str(tmp_path / "none.toml")])
    assert done.exit_code == 2 and "no such file" in done.stderr


def test_a_machine_that_can_not_be_tuned_says_why(tmp_path):
    text = FILM.read_text(encoding="utf-8")
    text = text.replace("breakaway_ratio = 1.1", "breakaway_ratio = 2.0")
    text = text.replace('"0.05 rad/s"', '"0.5 rad/s"')
    path = tmp_path / "sticky.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(app, ["pretune", str(path)])
    assert done.exit_code == 2
    assert "not stable in manual" in done.stderr
    assert "Traceback" not in done.stderr


def test_limit_schedule_and_tolerance_on_request(tmp_path):
    plain = CliRunner().invoke(app, ["pretune", str(FILM)])
    asked = CliRunner().invoke(
        app, ["pretune", str(FILM), "--ms", "1.3", "--schedule", "--tolerance", "30"]
    )
    assert plain.exit_code == asked.exit_code == 0
    assert "--schedule prints its points" in plain.stdout and "straight lines" in asked.stdout
    assert "machines within" in asked.stdout and "machines within" not in plain.stdout
    assert "Ms is 1.30 at most" in asked.stdout


def test_tolerance_in_json():
    done = CliRunner().invoke(app, ["pretune", str(FILM), "--tolerance", "30", "--json"])
    assert done.exit_code == 0
    study = json.loads(done.stdout)["tolerance"]
    assert study["samples"] == 30
    assert 0.0 <= study["within_limit"]["low"] <= study["within_limit"]["share"] <= 1.0


@pytest.mark.parametrize(
    "options", [["--ms", "5"], ["--ms", "nan"], ["--tolerance", "-3"], ["--tolerance", "1"]]
)
def test_options_out_of_range_are_refused(options):
    done = CliRunner().invoke(app, ["pretune", str(FILM), *options])
    assert done.exit_code == 2
    assert done.stderr.startswith(options[0])
    assert done.stdout == ""


def test_a_step_test_that_can_not_be_made_leaves_the_rest(tmp_path):
    """A supply that sticks at 40 % lets go only at a step that would be all of the tension."""
    text = FILM.read_text(encoding="utf-8")
    text = text.replace("[torque_device]", '[torque_device]\nsticking = "40 %"')
    path = tmp_path / "stuck.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(app, ["pretune", str(path)])
    assert done.exit_code == 0, done.stderr
    assert "None, because" in done.stdout
    assert "Recommended gains" in done.stdout and "Hand-over" in done.stdout
