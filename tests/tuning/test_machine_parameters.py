"""Numbers of a machine that can be learned: names, limits and coordinates."""

import math

import pytest

from simulator import operating_point
from simulator.machine import roll_inertia
from tuning.machine_parameters import learnable, parameters, with_parameters


def test_every_number_can_be_written_and_read_back(scenario):
    for p in parameters(scenario, learnable(scenario)):
        for z in (-0.3, 0.0, 0.4):
            value = p.value_at(z)
            changed = with_parameters(scenario, {p.name: value})
            (again,) = parameters(changed, (p.name,))
            assert again.value == value
            if p.low < value < p.high:
                assert p.z_of(value) == pytest.approx(z, abs=1e-12)


def test_both_ends_of_every_search_make_a_machine(scenario):
    for p in parameters(scenario, learnable(scenario)):
        for end in (p.low, p.high):
            assert with_parameters(scenario, {p.name: end}) is not scenario


def test_slope_is_the_derivative_of_the_value(scenario):
    for p in parameters(scenario, learnable(scenario)):
        h = 1e-6
        slope = (p.value_at(0.1 + h) - p.value_at(0.1 - h)) / (2.0 * h)
        assert p.slope_at(0.1) == pytest.approx(slope, rel=1e-6)


def test_a_factor_is_its_logarithm(film):
    (p,) = parameters(film, ("web.modulus",))
    assert p.positive
    assert p.z_of(2.0 * film.web.modulus) == pytest.approx(math.log(2.0))


def test_full_torque_stays_above_the_residual_one(film):
    (p,) = parameters(film, ("torque_device.full_torque",))
    assert p.low > film.torque_device.residual_torque


def test_a_changed_machine_is_what_the_simulator_takes(film):
    """Half the torque above the residual takes twice the output above nothing."""
    device = film.torque_device
    half = device.residual_torque + 0.5 * (device.full_torque - device.residual_torque)
    weaker = with_parameters(film, {"torque_device.full_torque": half})
    before, after = (operating_point(machine, diameter=0.4).output for machine in (film, weaker))
    assert after == pytest.approx(2.0 * before)
    heavier = with_parameters(film, {"roll.core_inertia": 1.05, "web.density": film.web.density})
    gained = roll_inertia(heavier, 0.4) - roll_inertia(film, 0.4)
    assert gained == pytest.approx(1.0)


def test_wound_rolls_and_pull_rolls_have_their_own_inertia(film, laminate):
    assert "roll.core_inertia" in learnable(film) and "roll.inertia" not in learnable(film)
    assert "roll.inertia" in learnable(laminate) and "web.density" not in learnable(laminate)


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ((), "free is empty"),
        (("modulus",), "'modulus'.*allowed are web.modulus"),
        (("roll.inertia",), "roll.core_inertia"),
        (("web.modulus", "web.modulus"), "twice"),
        (("controller.Kc",), "allowed are"),
    ],
)
def test_other_names_are_refused_with_the_list(film, names, said):
    with pytest.raises(ValueError, match=said):
        parameters(film, names)


def test_values_out_of_limits_are_refused_by_the_scenario(film):
    with pytest.raises(ValueError, match="modulus"):
        with_parameters(film, {"web.modulus": 1.0})
