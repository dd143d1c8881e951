"""What a scenario may leave out: a nip, a schedule, heat, taper; and what is said about faults."""

from dataclasses import replace

import pytest

from simulator import ScenarioError, read_scenario, scenario_text, with_values
from simulator.scenario import Nip
from simulator.sensing_and_control import ScheduledGains

SCHEDULE = """
[[controller.schedule]]
diameter = "800 mm"
Kc = 0.2
Ti = "0.4 s"
[[controller.schedule]]
diameter = "100 mm"
Kc = 0.02
Ti = "0.1 s"
"""


def faults(text):
    with pytest.raises(ScenarioError) as caught:
        read_scenario(text, name="mine.toml")
    return [str(fault) for fault in caught.value.faults]


def test_a_nip_comes_and_goes_with_its_keys(film):
    assert film.nip is None
    with_nip = with_values(film, {"nip.diameter": "180 mm", "nip.runout": "0.02 mm"})
    assert with_nip.nip == Nip(diameter=0.18, runout=2e-5)
    assert read_scenario(scenario_text(with_nip)) == with_nip
    again = with_values(with_nip, {"nip.diameter": None, "nip.runout": None})
    assert again == film
    with pytest.raises(ScenarioError, match=r"nip\.diameter: is missing"):
        with_values(film, {"nip.runout": "0.02 mm"})


def test_a_nip_built_in_python_survives_the_file(film):
    made = replace(film, nip=Nip(diameter=0.2))
    assert read_scenario(scenario_text(made)) == made


def test_a_schedule_is_read(film):
    scenario = read_scenario(scenario_text(film) + SCHEDULE)
    assert scenario.controller.schedule == (
        ScheduledGains(0.8, 0.2, 0.4),
        ScheduledGains(0.1, 0.02, 0.1),
    )
    changed = with_values(scenario, {"controller.schedule[2].Kc": 0.03})
    assert changed.controller.schedule[1].Kc == 0.03


@pytest.mark.parametrize(
    "old, new, says",
    [
        ('Ti = "0.1 s"\n', "", "controller.schedule[2].Ti: is missing"),
        ('Ti = "0.1 s"', 'Ti = "0.1 m"', "controller.schedule[2].Ti"),
        ("Kc = 0.02", "Kp = 0.02", "controller.schedule[2].Kp"),
        ('"100 mm"', '"900 mm"', "must go from the full roll to the core"),
    ],
)
def test_a_fault_in_a_schedule_says_where(film, old, new, says):
    text = scenario_text(film) + SCHEDULE
    assert old in text
    assert any(says in line for line in faults(text.replace(old, new))), faults(
        text.replace(old, new)
    )


def test_one_point_is_no_schedule(film):
    one = SCHEDULE.split("[[controller.schedule]]\n")[1]
    (line,) = faults(scenario_text(film) + "[[controller.schedule]]\n" + one)
    assert "2 to 50 tables" in line


@pytest.mark.parametrize(
    "change, says",
    [
        ({"controller.taper": "20 %"}, "only a rewind is tapered"),
        ({"torque_device.thermal_time": "5 min"}, "continuous_rise: is needed"),
        ({"controller.break_output": "50 %"}, "break_level: is needed"),
        ({"controller.taper_shape": "round"}, "linear"),
        ({"torque_device.rotor_inertia": "1 kg m^2"}, "is not known here"),
    ],
)
def test_what_does_not_belong_together_is_refused(film, change, says):
    with pytest.raises(ScenarioError) as caught:
        with_values(replace(film, torque_device=replace(film.torque_device, continuous_heat=None)),
                    change)  # fmt: skip
    assert any(says in str(fault) for fault in caught.value.faults), caught.value.faults


def test_temperature_rises_read_in_kelvin_celsius_and_fahrenheit(film):
    heat = {"torque_device.thermal_time": "5 min"}
    rises = [
        with_values(film, {**heat, "torque_device.continuous_rise": text})
        for text in ("100 K", "100 degC", "180 degF", "180 °F")
    ]
    assert {scenario.torque_device.continuous_rise for scenario in rises} == {100.0}


def test_a_pull_roll_needs_no_schedule(laminate):
    points = ScheduledGains(0.3, 0.2, 0.4), ScheduledGains(0.2, 0.02, 0.1)
    with pytest.raises(ValueError, match="keeps its diameter"):
        replace(laminate, controller=replace(laminate.controller, schedule=points))


def test_a_high_break_level_is_doubted(film):
    high = replace(film, controller=replace(film.controller, break_level=45.0))
    assert any("would pass for a web break" in text for text in high.warnings)
