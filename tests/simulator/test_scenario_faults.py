"""Every fault of a scenario file is named in one line, and all of them at once."""

import dataclasses
import math
import re
from pathlib import Path

import pytest

from simulator import ScenarioError, load_scenario, read_scenario, with_values
from simulator.errors import Fault
from simulator.quantity import quantities
from simulator.scenario import PullRoll, Roller, Run, Span, Web, WoundRoll
from simulator.sensing_and_control import Controller, LoadCell
from simulator.torque_devices import Clutch, FrictionBrake, ParticleBrake, TorqueMotor

EXAMPLE = (Path(__file__).parent / "example.toml").read_text(encoding="utf-8")


def changed(old, new, text=EXAMPLE):
    assert text.count(old) >= 1
    return text.replace(old, new, 1)


def faults_of(text, name="example.toml"):
    with pytest.raises(ScenarioError) as caught:
        read_scenario(text, name=name)
    lines = str(caught.value).splitlines()
    assert lines == [str(fault) for fault in caught.value.faults]
    assert all(line.startswith(f"{name}: ") for line in lines)
    return caught.value.faults


# --- the whole file at fault


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        (b"", "is empty"),
        (" \n\t\n", "is empty"),
        (b"\xff\xfe\x00", "not text in UTF-8"),
        (EXAMPLE.encode("utf-16"), "not text in UTF-8"),
        ("Größe".encode("latin-1"), "not text in UTF-8"),
        (b"\x7fELF\x00\x00", "not text in UTF-8"),
        ("title = '\ud800'", "not text in UTF-8"),
        (b"#" * 1_000_001, "larger than 1 MB"),
        ("hello", "is not TOML"),
        ("title = 1\nzone 2\n", "line 2"),
        (changed("[controller]", "[controller"), "line 64"),
        ("a = " + "[" * 50_000, "nested too deep"),
        ("a = " + "{a = " * 50_000, "nested too deep"),
        ("a = " + "9" * 5_000, "too many digits"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_scenario(text, says):
    (fault,) = faults_of(text)
    assert fault.key == ""
    assert says in fault.allowed


def test_a_line_number_is_given_for_a_key_given_twice():
    text = changed('width = "1000 mm"\n', 'width = "1000 mm"\nwidth = "1 m"\n')
    (fault,) = faults_of(text)
    line = text.splitlines().index('width = "1 m"') + 1
    assert f"line {line}" in fault.allowed and "once" in fault.allowed
    (fault,) = faults_of(changed("[run]", "[web]"))
    assert "once" in fault.allowed


@pytest.mark.parametrize("name", ["missing.toml", "folder", "a\0b", "x" * 5000])
def test_a_file_that_cannot_be_read(tmp_path, name):
    (tmp_path / "folder").mkdir()
    with pytest.raises(ScenarioError) as caught:
        load_scenario(tmp_path / name)
    (fault,) = caught.value.faults
    assert len(str(fault).splitlines()) == 1


def test_a_file_is_called_by_its_name(tmp_path):
    path = tmp_path / "odd.toml"
    path.write_text(changed('"800 mm"', '"80 mm"'), encoding="utf-8")
    with pytest.raises(ScenarioError, match=r"^odd.toml: roll.core_diameter = '89 mm': must be"):
        load_scenario(path)


# --- one value at fault


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('"1000 mm"', "1.0", "web.width", "must be text with a unit (mm, m"),
        ('"1000 mm"', "true", "web.width", "must be text with a unit (mm, m"),
        ('"1000 mm"', "[1]", "web.width", "must be text with a unit (mm, m"),
        ('"1000 mm"', "nan", "web.width", "must be text with a unit (mm, m"),
        ('"1000 mm"', "1979-05-27", "web.width", "must be text with a unit (mm, m"),
        ('"1000 mm"', '"1000"', "web.width", "needs a unit: mm, m"),
        ('"1000 mm"', '"1000 kg"', "web.width", "not a unit for this; use mm, m"),
        ('"1000 mm"', '"1000 mn"', "web.width", "not understood; use mm, m"),
        ('"1000 mm"', '"1,0 m"', "web.width", "decimal point"),
        ('"1000 mm"', '"nan m"', "web.width", "must start with a number"),
        ('"1000 mm"', '"1e9 m"', "web.width", "must lie between 1 mm and 20 m"),
        ('"1000 mm"', '"-1 m"', "web.width", "must lie between 1 mm and 20 m"),
        ('"4 GPa"', '"0 GPa"', "web.modulus", "must lie between"),
        ('"120 deg"', '"1 deg"', "load_cell.wrap_angle", "between 5 deg and 350 deg"),
        ('"0.5 rad/s"', '"0.5 Hz"', "torque_device.stribeck_speed", "use rad/s, rpm"),
        ("gear_ratio = 1", "gear_ratio = 0", "torque_device.gear_ratio", "between 0.01 and 1000"),
        ("gear_ratio = 1", "gear_ratio = inf", "torque_device.gear_ratio", "between 0.01 and 1000"),
        ("gear_ratio = 1", "gear_ratio = nan", "torque_device.gear_ratio", "between 0.01 and 1000"),
        ("gear_ratio = 1", 'gear_ratio = "1"', "torque_device.gear_ratio", "must be a number"),
        ("gear_ratio = 1", "gear_ratio = true", "torque_device.gear_ratio", "must be a number"),
        ("cells = 2", "cells = 2.5", "load_cell.cells", "whole number"),
        ("cells = 2", "cells = 0", "load_cell.cells", "must be 1 or more"),
        ("cells = 2", "cells = 5", "load_cell.cells", "must be 4 or less"),
        ("load_cell = true", "load_cell = 1", "roller[1].load_cell", "true or false"),
        ('title = "25', 'title = ""#', "title", "must not be empty"),
        ('"1.6 m"', '"1.6 s"', "span[2].length", "use mm, m"),
        ('"unwind"', '"sideways"', "zone", "'unwind', 'rewind' or 'pull roll'"),
        ('"unwind"', "[]", "zone", "'unwind', 'rewind' or 'pull roll'"),
        ('"friction brake"', '"drum brake"', "torque_device.kind", '"friction brake" or "particle'),
        ('"friction brake"', "3", "torque_device.kind", '"friction brake" or "particle'),
        ('"friction brake"', "[]", "torque_device.kind", '"friction brake" or "particle'),
        ('kind = "friction brake"', "", "torque_device.kind", 'is missing: must be "friction'),
        ('width = "1000 mm"', "", "web.width", "is missing: width of the web; write a number and"),
        ('zone = "unwind"', "", "zone", "is missing"),
        ("[web]", "[web]\ncolour = 1", "web.colour", "is not known here; known: width"),
        ("title", "source = 'x'\ntitle", "source", "is not known here; known: title"),
        ("title", "clutch = 1\ntitle", "clutch", "is not known here; known: title"),
        ("hysteresis", "clutch = 1\nhysteresis", "torque_device.clutch", "is not known here"),
        ("hysteresis", "overdrive = 1\nhysteresis", "torque_device.overdrive", "is not known"),
        ("title", '"a\\nb" = 1\ntitle', r"'a\nb'", "is not known here"),
    ],
)
def test_one_value_at_fault(old, new, key, says):
    (fault,) = faults_of(changed(old, new))
    assert fault.key == key
    assert says in fault.allowed


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('core_diameter = "89 mm"', 'core_diameter = "0.9 m"', "roll.core_diameter", "800 mm"),
        ('runout = "0.1 mm"', 'runout = "30 mm"', "roll.runout", "quarter of core_diameter"),
        ('"2 N m"', '"200 N m"', "torque_device.residual_torque", "below full_torque 200 N m"),
        ('stribeck_speed = "0.5 rad/s"', "", "torque_device.stribeck_speed", "is needed"),
        (
            'output_low = "0 %"',
            'output_low = "100 %"',
            "controller.output_low",
            "below output_high",
        ),
        (
            'sensing_angle = "-90 deg"',
            'sensing_angle = "1 deg"',
            "load_cell.sensing_angle",
            "square",
        ),
        ('"10 m/min"', '"151 m/min"', "run.crawl_speed", "line_speed"),
        ('tension_range = "300 N"', 'tension_range = "149 N"', "run.tension", "tension_range"),
        ('"900 N"', '"150 N"', "run.tension", "breaking_tension"),
        ('[[span]]\nlength = "1.6 m"', "", "span", "2"),
        ('length = "1.6 m"', 'length = "1.6 m"\n[[span]]\nlength = "1 m"', "roller", "one fewer"),
        ("load_cell = true", "load_cell = false", "roller", "exactly one"),
        ("load_cell = true", "", "roller", "exactly one"),
        ('"unwind"', '"pull roll"', "roll", "diameter and inertia"),
        ('"unwind"', '"rewind"', "torque_device.kind", "clutch or torque motor"),
    ],
)
def test_values_that_contradict_each_other(old, new, key, says):
    faults = faults_of(changed(old, new))
    assert any(fault.key == key and says in fault.allowed for fault in faults)


def test_a_clutch_cannot_hold_an_unwind(scenario):
    if isinstance(scenario.torque_device, Clutch):
        with pytest.raises(ScenarioError) as caught:
            with_values(scenario, {"zone": "unwind"})
        (fault,) = caught.value.faults
        assert fault.key == "torque_device.kind"
        assert "friction brake or particle brake or torque motor" in fault.allowed


def test_a_fault_across_keys_names_the_value_given():
    (fault,) = faults_of(changed('core_diameter = "89 mm"', 'core_diameter = "900 mm"'))
    assert str(fault) == (
        "example.toml: roll.core_diameter = '900 mm': must be smaller than full_diameter 800 mm"
    )


def test_an_unknown_key_is_answered_with_its_nearest():
    faults = faults_of(changed("thickness", "thicknes"))
    assert {fault.key for fault in faults} == {"web.thickness", "web.thicknes"}
    assert any("did you mean thickness?" in fault.allowed for fault in faults)


def test_one_wrong_key_does_not_make_another_kind_of_roll():
    faults = faults_of(changed("core_diameter", "diameter"))
    assert {fault.key for fault in faults} == {"roll.core_diameter", "roll.diameter"}


def test_all_faults_at_once():
    text = EXAMPLE
    for old, new in [
        ('"1000 mm"', '"1000 kg"'),
        ('density = "1390 kg/m^3"\n', ""),
        ('crawl_speed = "10 m/min"', 'crawl_speed = "999 m/min"'),
        ('core_diameter = "89 mm"', 'core_diameter = "900 mm"'),
        ('length = "1.6 m"', 'length = "1.6"\nlenght = 3'),
        ("load_cell = true", "load_cell = false"),
        ('lag = "250 ms"', 'lag = "250 min"'),
        ('bisector_angle = "-90 deg"', 'bisector_angle = "1e3 deg"'),
        ('output_high = "100 %"', 'output_high = "0 %"'),
    ]:
        text = changed(old, new, text)
    assert [fault.key for fault in faults_of(text)] == [
        "web.width",
        "web.density",
        "roll.core_diameter",
        "span[2].length",
        "span[2].lenght",
        "torque_device.lag",
        "load_cell.bisector_angle",
        "controller.output_low",
        "roller",
        "run.crawl_speed",
    ]


def test_a_broken_section_hides_no_contradiction_between_the_others():
    text = changed('[web]\nmaterial = "polyester film"', "[web]\nmaterial = 1")
    text = changed('"unwind"', '"rewind"', text)
    assert {fault.key for fault in faults_of(text)} == {"web.material", "torque_device.kind"}


def test_a_flood_of_faults_is_cut_short():
    faults = faults_of("\n".join(f"k{i} = 1" for i in range(20_000)))
    assert len(faults) < 200
    assert "more faults" in faults[-1].allowed


def test_a_fault_is_one_line_whatever_it_holds():
    fault = Fault("a\nb.toml", "c\u2028d", "e\rf", "g\x0bh")
    assert str(fault).splitlines() == [str(fault)]


def test_only_a_motor_drives_the_other_way(foil):
    assert foil.torque_device.residual_torque == -1.0
    (fault,) = faults_of(changed('residual_torque = "2 N m"', 'residual_torque = "-2 N m"'))
    assert fault.key == "torque_device.residual_torque"


SECTIONS = [
    Web,
    Run,
    WoundRoll,
    PullRoll,
    Span,
    Roller,
    FrictionBrake,
    ParticleBrake,
    Clutch,
    TorqueMotor,
    LoadCell,
    Controller,
]


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.__name__)
def test_every_number_has_unit_limits_and_meaning(section):
    known = quantities(section)
    for field in dataclasses.fields(section):
        if re.search(r"\bfloat\b", str(field.type)):
            quantity = known[field.name]
            assert quantity.meaning and math.isfinite(quantity.low) and math.isfinite(quantity.high)
            assert quantity.low < quantity.high
            if isinstance(field.default, float):
                assert quantity.low <= field.default <= quantity.high


def test_a_dead_time_of_more_scans_than_any_machine_needs():
    text = EXAMPLE.replace('dead_time = "50 ms"', 'dead_time = "25 s"')
    assert text != EXAMPLE
    (fault,) = faults_of(text)
    assert fault.key == "controller.scan_time" and "1250 scans" in fault.allowed
