"""The project's own scenarios: saved without loss, said to be invented, none of them doubtful."""

from dataclasses import replace
from pathlib import Path

import pytest

from simulator import load_scenario, read_scenario, save_scenario, scenario_text

SCENARIOS = sorted((Path(__file__).resolve().parents[2] / "scenarios").glob("*.toml"))


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_saving_loses_nothing(path, tmp_path):
    scenario = load_scenario(path)
    save_scenario(scenario, tmp_path / "copy.toml")
    assert (tmp_path / "copy.toml").read_text(encoding="utf-8") == path.read_text(encoding="utf-8")
    assert load_scenario(tmp_path / "copy.toml") == scenario


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_a_scenario_without_its_text_is_written_in_full(path):
    bare = replace(load_scenario(path), source="")
    assert read_scenario(scenario_text(bare)) == bare


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_it_says_that_it_is_invented_and_what_to_expect(path):
    scenario = load_scenario(path)
    assert "nvented" in scenario.note
    assert "Expect:" in path.read_text(encoding="utf-8")
    if path.stem.endswith("_worn"):
        assert "mend regulator, valve or brake" in " ".join(scenario.warnings)
    else:
        assert scenario.warnings == ()


def test_a_scenario_changed_in_python_is_saved_as_changed(film):
    changed = replace(film, web=replace(film.web, thickness=30e-6))
    assert read_scenario(scenario_text(changed)).web.thickness == pytest.approx(30e-6)
