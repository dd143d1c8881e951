"""What a scenario file means, and that nothing is lost when it is written or changed."""

import dataclasses
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import (
    ScenarioError,
    load_scenario,
    read_scenario,
    save_scenario,
    scenario_text,
    with_values,
)
from simulator.scenario import PullRoll, Roller, Run, Scenario, Span, Web, WoundRoll
from simulator.sensing_and_control import Controller, LoadCell
from simulator.torque_devices import Clutch, FrictionBrake, ParticleBrake, TorqueMotor

EXAMPLE = (Path(__file__).parent / "example.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def example():
    return read_scenario(EXAMPLE, name="example.toml")


def changed(old, new, text=EXAMPLE):
    assert text.count(old) >= 1
    return text.replace(old, new, 1)


def built():
    """The same machine as the example, in Python and in SI."""
    return Scenario(
        title="25 um polyester film, unwound against a pneumatic disc brake",
        note="Invented machine; every number is made up for the demonstration.",
        zone="unwind",
        web=Web(
            material="polyester film",
            width=1.0,
            thickness=25e-6,
            modulus=4e9,
            density=1390.0,
            retardation_time=0.003,
            breaking_tension=900.0,
        ),
        run=Run(
            tension=150.0,
            line_speed=2.5,
            crawl_speed=10 / 60,
            acceleration_time=20.0,
            stop_time=4.0,
            far_tension=120.0,
        ),
        roll=WoundRoll(
            core_diameter=0.089,
            full_diameter=0.8,
            core_inertia=0.05,
            bearing_drag=0.5,
            viscous_drag=0.05,
            runout=1e-4,
        ),
        span=(Span(length=1.4), Span(length=1.6)),
        roller=(Roller(diameter=0.12, inertia=0.012, drag=0.02, load_cell=True),),
        torque_device=FrictionBrake(
            full_torque=200.0,
            residual_torque=2.0,
            lag=0.25,
            dead_time=0.05,
            breakaway_ratio=1.1,
            stribeck_speed=0.5,
            hysteresis=0.5,
            continuous_heat=1500.0,
            gear_ratio=1.0,
        ),
        load_cell=LoadCell(
            # 2 pi/3 to the last digit: math.radians(120) is one off.
            wrap_angle=2.0943951023931954923,
            bisector_angle=math.radians(-90),
            sensing_angle=math.radians(-90),
            roller_mass=14.0,
            rated_load=500.0,
            cells=2,
            filter_time=0.1,
            noise=0.5,
        ),
        controller=Controller(tension_range=300.0, scan_time=0.02, Kc=0.06, Ti=0.3),
    )


# --- what is read


def test_a_file_means_what_it_says_in_si(example):
    assert example == built()
    assert hash(example) == hash(built())
    assert example.warnings == ()


def test_bytes_text_and_byte_order_mark_read_alike(example):
    assert read_scenario(EXAMPLE.encode()) == example
    assert read_scenario("\ufeff" + EXAMPLE) == example
    assert read_scenario(b"\xef\xbb\xbf" + EXAMPLE.encode()) == example


@pytest.mark.parametrize(
    ("kind", "zone", "section"),
    [
        ("particle brake", "unwind", ParticleBrake),
        ("torque motor", "unwind", TorqueMotor),
        ("torque motor", "rewind", TorqueMotor),
        ("clutch", "rewind", Clutch),
    ],
)
def test_device_is_told_by_its_kind(kind, zone, section):
    text = changed('zone = "unwind"', f'zone = "{zone}"')
    text = changed('kind = "friction brake"', f'kind = "{kind}"', text)
    for key in (
        "breakaway_ratio = 1.1\n",
        'stribeck_speed = "0.5 rad/s"\n',
        'hysteresis = "0.5 %"\n',
    ):
        text = changed(key, "", text)
    assert type(read_scenario(text).torque_device) is section


def test_roll_is_told_by_its_keys(scenario):
    assert isinstance(scenario.roll, PullRoll if scenario.zone == "pull roll" else WoundRoll)


# --- what is written


def test_saving_gives_back_every_character(tmp_path):
    for text in (EXAMPLE, EXAMPLE.replace("\n", "\r\n"), "# first\n\n" + EXAMPLE + "\n# last"):
        path = tmp_path / "kept.toml"
        path.write_bytes(text.encode())
        save_scenario(load_scenario(path), path)
        assert path.read_bytes() == text.encode()


def test_a_scenario_built_in_python_is_written_without_loss(tmp_path):
    path = tmp_path / "built.toml"
    save_scenario(built(), path)
    assert load_scenario(path) == built()
    assert 'thickness = "2.5e-05 m"' in path.read_text()


def test_what_is_not_given_is_not_written(example):
    bare = replace(
        example,
        web=replace(example.web, breaking_tension=None),
        controller=replace(example.controller, Kc=None, Ti=None),
    )
    text = scenario_text(bare)
    assert "breaking_tension" not in text and "Kc" not in text
    assert read_scenario(text) == bare


@settings(max_examples=60, deadline=None)
@given(
    width=st.floats(0.1, 20.0),
    length=st.floats(0.02, 500.0),
    angle=st.floats(-6.28, 6.28),
    hysteresis=st.floats(0.0, 50.0),
    noise=st.floats(0.0, 1e5),
    title=st.text(min_size=1, max_size=80),
    note=st.text(max_size=80),
)
def test_any_numbers_and_words_come_back(width, length, angle, hysteresis, noise, title, note):
    base = built()
    scenario = replace(
        base,
        title=title,
        note=note,
        web=replace(base.web, width=width),
        span=(Span(length=length), Span(length=1.0), Span(length=length)),
        roller=(*base.roller, Roller(diameter=0.1, inertia=0.01)),
        torque_device=replace(base.torque_device, hysteresis=hysteresis),
        load_cell=replace(base.load_cell, bisector_angle=angle, sensing_angle=angle, noise=noise),
    )
    assert read_scenario(scenario_text(scenario)) == scenario


# --- values changed, comments kept


def test_a_change_changes_that_value_alone(example):
    new = with_values(
        example,
        {"roll.full_diameter": "900 mm", "span[2].length": "2 m", "controller.Kc": 0.1},
    )
    assert (new.roll.full_diameter, new.span[1].length, new.controller.Kc) == (0.9, 2.0, 0.1)
    expected = changed('full_diameter = "800 mm"', 'full_diameter = "900 mm"')
    expected = changed('length = "1.6 m"', 'length = "2 m"', expected)
    assert scenario_text(new) == changed("Kc = 0.06", "Kc = 0.1", expected)


def test_comments_beside_a_changed_value_stay(example):
    new = with_values(example, {"run.tension": "160 N"})
    line = next(line for line in scenario_text(new).splitlines() if line.startswith("tension ="))
    assert line == 'tension = "160 N"                     # wanted running tension'


def test_a_key_is_added_and_taken_out(example):
    new = with_values(example, {"controller.output_rate": "5 %/s", "controller.Kc": None})
    assert (new.controller.output_rate, new.controller.Kc) == (5.0, None)
    again = with_values(new, {"controller.output_rate": None, "controller.Kc": 0.06})
    assert again == example


def test_no_change_is_no_change(example):
    assert scenario_text(with_values(example, {})) == EXAMPLE


def test_a_scenario_built_in_python_can_be_changed():
    assert with_values(built(), {"web.width": "1.2 m"}).web.width == 1.2


def test_a_bad_change_says_everything_and_leaves_the_scenario(example):
    with pytest.raises(ScenarioError) as caught:
        with_values(
            example,
            {"roll.full_diameter": "80 mm", "web.width": "wide", "run.crawl_speed": "900 m/min"},
        )
    assert {fault.key for fault in caught.value.faults} == {
        "roll.core_diameter",
        "web.width",
        "run.crawl_speed",
    }
    assert scenario_text(example) == EXAMPLE
    assert example == built()


@pytest.mark.parametrize(
    "key",
    ["span[0].length", "span[3].length", "span[-1].length", "span.length", "span[1]", "title.x",
     "web.width.x", "nothing.x", "", ".", "web.", "a b", "web[1].width", "roll.full diameter"],
)  # fmt: skip
@pytest.mark.parametrize("value", ["1 m", None, 1.0])
def test_a_place_that_is_not_there(example, key, value):
    with pytest.raises(ScenarioError) as caught:
        with_values(example, {key: value})
    (fault,) = caught.value.faults
    assert fault.key == key and fault.allowed == "no such place"


def test_all_places_that_are_not_there(example):
    with pytest.raises(ScenarioError) as caught:
        with_values(example, {"a.b": 1, "span[9].length": "1 m", "web.width": [1]})
    assert len(caught.value.faults) == 3


# --- built in Python


def test_in_python_a_quantity_is_a_float_in_si(example):
    assert replace(example.web, modulus=5e9).modulus == 5e9
    assert replace(example.web, width=2).width == 2.0
    assert isinstance(replace(example.web, width=2).width, float)


@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0, 0.0, 1e9, 10**400, True, None, [1.0]])
def test_in_python_limits_hold_too(example, value):
    with pytest.raises(ValueError, match="width"):
        replace(example.web, width=value)


def test_in_python_contradictions_are_refused_too(example):
    with pytest.raises(ValueError, match="crawl_speed must not be above"):
        replace(example, run=replace(example.run, crawl_speed=3.0))
    with pytest.raises(ValueError, match="core_diameter must be smaller"):
        WoundRoll(core_diameter=0.5, full_diameter=0.4, core_inertia=1.0)
    with pytest.raises(ValueError, match="colour"):
        Span(length=1.0, colour="red")


def test_a_scenario_is_frozen_and_can_be_a_key(example):
    with pytest.raises(dataclasses.FrozenInstanceError):
        example.zone = "rewind"
    with pytest.raises(dataclasses.FrozenInstanceError):
        example.web.width = 2.0
    assert {example: 1}[built()] == 1
    assert "source" not in repr(example)


# --- doubtful machines


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("web.breaking_tension", "400 N", "breaking tension"),
        ("load_cell.rated_load", "100 N", "rated"),
        ("controller.tension_range", "3 kN", "10 %"),
    ],
)
def test_a_doubtful_machine_is_read_with_a_warning(example, key, value, says):
    (warning,) = with_values(example, {key: value}).warnings
    assert says in warning


def test_load_on_the_cells_by_hand(example):
    # 120° wrap: 2 T sin 60° = 1.732 T straight down, and 14 kg · 9.80665 m/s² the same way.
    load = math.sqrt(3) * 150.0 + 14 * 9.80665
    enough = with_values(example, {"load_cell.rated_load": f"{load / 2 + 0.01} N"})
    too_small = with_values(example, {"load_cell.rated_load": f"{load / 2 - 0.01} N"})
    assert not enough.warnings and too_small.warnings
