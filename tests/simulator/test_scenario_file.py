"""Scenario files: nothing is lost, every fault is named, nothing else ever happens."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simulator import (
    Scenario,
    ScenarioError,
    load_scenario,
    read_scenario,
    save_scenario,
    scenario_text,
    with_values,
)
from simulator.scenario import quantities

SCENARIOS = sorted((Path(__file__).resolve().parents[2] / "scenarios").glob("*.toml"))
FILM = next(path for path in SCENARIOS if path.stem == "film_unwind").read_text(encoding="utf-8")


def faults_of(text: str | bytes) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        read_scenario(text, name="x.toml")
    lines = [str(fault) for fault in caught.value.faults]
    assert lines and all("\n" not in line and line.startswith("x.toml") for line in lines)
    return lines


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_saving_loses_nothing(path, tmp_path):
    scenario = load_scenario(path)
    save_scenario(scenario, tmp_path / "copy.toml")
    assert (tmp_path / "copy.toml").read_text(encoding="utf-8") == path.read_text(encoding="utf-8")
    assert load_scenario(tmp_path / "copy.toml") == scenario
    assert "nvented" in scenario.note


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_a_scenario_without_its_text_is_written_in_full(path):
    bare = replace(load_scenario(path), source="")
    assert read_scenario(scenario_text(bare)) == bare


def test_a_scenario_changed_in_python_is_saved_as_changed():
    scenario = read_scenario(FILM)
    changed = replace(scenario, web=replace(scenario.web, thickness=30e-6))
    assert read_scenario(scenario_text(changed)).web.thickness == pytest.approx(30e-6)


def test_scenarios_compare_and_hash_by_what_they_are():
    a, b = read_scenario(FILM), read_scenario("# another comment\n" + FILM)
    assert a == b and hash(a) == hash(b)


def test_changing_a_value_keeps_the_comments():
    scenario = read_scenario(FILM)
    changed = with_values(scenario, {"roll.full_diameter": "31.5 in", "span[2].length": "2 m"})
    assert changed.roll.full_diameter == pytest.approx(0.8001)
    assert changed.span[1].length == 2.0
    assert scenario_text(changed).startswith(FILM.splitlines()[0])
    assert with_values(changed, {"controller.Kc": None}).controller.Kc is None
    assert scenario.roll.full_diameter == 0.8


def test_a_change_that_can_not_be_is_refused_with_all_its_faults():
    scenario = read_scenario(FILM)
    with pytest.raises(ScenarioError) as caught:
        with_values(scenario, {"roll.core_diameter": "2 m", "web.width": "wide"})
    assert len(caught.value.faults) == 2
    with pytest.raises(ScenarioError, match="no such place"):
        with_values(scenario, {"span[9].length": "2 m"})


BROKEN = {
    "wrong unit": ('width = "1000 mm"', 'width = "1000 kg"', r"web\.width = '1000 kg': .*use mm"),
    "no unit": (
        'width = "1000 mm"',
        "width = 1000",
        r"web\.width = 1000: must be text with a unit",
    ),
    "missing key": ('width = "1000 mm"', "", r"web\.width: is missing: width of the web"),
    "extra key": ("[web]", "[web]\ncolour = 3", r"web\.colour = 3: is not known here"),
    "near miss": ("modulus", "moduls", r"web\.moduls.*did you mean modulus"),
    "core above roll": ('"89 mm"', '"890 mm"', r"core_diameter = '890 mm': must be smaller"),
    "zero modulus": ('"4 GPa"', '"0 GPa"', r"web\.modulus = '0 GPa': must lie between"),
    "not a number": ('"4 GPa"', '"nan GPa"', r"web\.modulus = 'nan GPa': must start with a number"),
    "float nan": ("gear_ratio = 1", "gear_ratio = nan", r"gear_ratio = nan: must lie between"),
    "whole number": ("cells = 2", "cells = 2.5", r"load_cell\.cells = 2\.5: must be"),
    "zone": ('zone = "unwind"', 'zone = "sideways"', r"zone = 'sideways': must be 'unwind'"),
    "device": ('"friction brake"', '"rubber band"', r"kind = 'rubber band': must be"),
    "wrong device": (
        'zone = "unwind"',
        'zone = "rewind"',
        r"kind = 'friction brake': must be clutch",
    ),
    "no load cell": ("load_cell = true", "load_cell = false", r"load_cell = true on exactly one"),
    "too few rollers": ('[[span]]\nlength = "1.4 m"\n', "", r"span: must be 2 to 20"),
    "crawl": ('"15 m/min"', '"500 m/min"', r"crawl_speed = '500 m/min': must not be above"),
    "sideways cell": (
        'sensing_angle = "-90 deg"',
        'sensing_angle = "0 deg"',
        r"must not be square",
    ),
    "output limits": (
        "scan_time",
        'output_low = "100 %"\nscan_time',
        r"output_low = '100 %': must be",
    ),
    "breaks at once": ('"1800 N"', '"100 N"', r"run\.tension = '150 N': must be below"),
    "section as value": ("[run]", "[[run]]", r"run = a list: must be a table"),
    "title": ("title = ", "title = 7 #", r"title = 7: must be text in quotes"),
}


@pytest.mark.parametrize("old, new, says", BROKEN.values(), ids=BROKEN)
def test_each_fault_is_named(old, new, says):
    assert old in FILM
    lines = faults_of(FILM.replace(old, new, 1))
    assert any(re.search(says, line) for line in lines), lines


def test_all_faults_at_once():
    text = FILM
    for name in (
        "wrong unit",
        "near miss",
        "core above roll",
        "no load cell",
        "crawl",
        "whole number",
    ):
        old, new, _ = BROKEN[name]
        text = text.replace(old, new, 1)
    lines = faults_of(text)
    for part in ("web.width", "web.modulus", "web.moduls", "roll", "roller", "run.crawl", "cells"):
        assert any(f"x.toml: {part}" in line or part in line for line in lines), (part, lines)


@pytest.mark.parametrize(
    "text, says",
    [
        ("", "is empty"),
        ("  \n\n", "is empty"),
        ("this is a letter to my aunt", "is not TOML"),
        (b"\x00\x01\x02\xff\xfe", "is not text"),
        (b"PK\x03\x04\x14\x00\x08\xff", "is not text"),
        (FILM + FILM, "is not TOML"),
        ("x" * 2_000_000, "larger than 1 MB"),
    ],
)
def test_what_is_no_scenario_at_all(text, says):
    lines = faults_of(text)
    assert len(lines) == 1 and says in lines[0]


def test_a_missing_file_and_a_folder(tmp_path):
    for path in (tmp_path / "nowhere.toml", tmp_path):
        with pytest.raises(ScenarioError) as caught:
            load_scenario(path)
        assert len(caught.value.faults) == 1


def test_a_byte_order_mark_is_no_fault():
    assert isinstance(read_scenario(b"\xef\xbb\xbf" + FILM.encode()), Scenario)


def test_doubts_are_warnings_not_faults():
    assert read_scenario(FILM).warnings == ()
    near = read_scenario(FILM.replace('"1800 N"', '"300 N"'))
    assert any("breaking tension" in warning for warning in near.warnings)
    small = read_scenario(FILM.replace('rated_load = "500 N"', 'rated_load = "50 N"'))
    assert any("rated for" in warning for warning in small.warnings)


JUNK = st.one_of(
    st.sampled_from(
        [
            '""',
            '"nan m"',
            '"-1 mm"',
            '"1e300 mm"',
            '"0 N"',
            "nan",
            "inf",
            "-1",
            "true",
            "[]",
            "{}",
            '"1 kg"',
            '"1 m"',
            '"x"',
            "1e400",
            "0x10",
            "1979-05-27",
            '"1,5 mm"',
            "[[1]]",
            '"1 %"',
        ]
    ),  # fmt: skip
    st.text(max_size=20).map(lambda text: f'"{text}"'),
    st.integers(-(10**30), 10**30).map(str),
)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_mangled_file_loads_or_is_refused_in_plain_lines(data):
    lines = FILM.splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        what = data.draw(st.sampled_from(["drop", "double", "value", "key", "insert", "swap"]))
        if what == "drop":
            lines[at] = ""
        elif what == "double":
            lines.insert(at, lines[at])
        elif what == "value" and "=" in lines[at]:
            lines[at] = lines[at].split("=")[0] + "= " + data.draw(JUNK)
        elif what == "key" and "=" in lines[at]:
            lines[at] = data.draw(st.sampled_from(["kind", "diameter", "a.b", "x", "source"])) + (
                " =" + lines[at].split("=", 1)[1]
            )
        elif what == "insert":
            lines.insert(at, data.draw(st.text(max_size=30)))
        elif what == "swap":
            lines[at], lines[0] = lines[0], lines[at]
    try:
        assert isinstance(read_scenario("\n".join(lines)), Scenario)
    except ScenarioError as error:
        assert error.faults
        assert all(str(fault).strip() and "\n" not in str(fault) for fault in error.faults)


@settings(max_examples=60, deadline=None)
@given(junk=st.binary(max_size=300))
def test_any_bytes_load_or_are_refused(junk):
    with pytest.raises(ScenarioError):
        read_scenario(junk)


def test_every_physical_value_has_unit_meaning_and_limits():
    scenario = read_scenario(FILM)
    for section in (scenario.web, scenario.run, scenario.roll, scenario.torque_device):
        for name, quantity in quantities(type(section)).items():
            assert quantity.meaning and quantity.low < quantity.high, name
