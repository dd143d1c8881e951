"""Growth and push of a warm shaft, against printed material data, a worked answer and limits."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.shaft_growth import MATERIALS, Material, shaft_growth, side_force_reading

# Callister & Rethwisch, Fundamentals of Materials Science and Engineering, 3rd ed., appendix B:
# the columns in US units of tables B.2 [1e6 psi] and B.6 [1e-6/°F], which the module does not use.
PRINTED = {
    "steel": (30.0, 6.5),
    "stainless steel": (28.0, 9.6),
    "aluminium": (10.0, 13.1),
    "cast iron": (16.4, 6.3),
}
# A second book (Hibbeler, Mechanics of Materials, table of average properties): A-36 steel,
# stainless 304, aluminium 6061-T6, gray cast iron; [GPa], [1e-6/°C], printed to two digits. Its
# cast iron is of a softer grade, so only its expansion is compared.
SECOND = {
    "steel": (200.0, 12.0),
    "stainless steel": (193.0, 17.0),
    "aluminium": (68.9, 24.0),
    "cast iron": (None, 12.0),
}
PSI = 6894.757293168  # [Pa], exact to all digits shown


@pytest.mark.parametrize("name", MATERIALS)
def test_materials_are_as_printed(name):
    modulus, expansion = PRINTED[name]
    assert MATERIALS[name].modulus == pytest.approx(modulus * 1e6 * PSI, rel=0.01)
    assert MATERIALS[name].expansion == pytest.approx(expansion * 1.8e-6, rel=0.01)
    assert "tables B.2 and B.6" in MATERIALS[name].source
    modulus, expansion = SECOND[name]
    assert MATERIALS[name].expansion == pytest.approx(expansion * 1e-6, rel=0.06)
    if modulus:
        assert MATERIALS[name].modulus == pytest.approx(modulus * 1e9, rel=0.04)


def test_steel_is_within_the_standard_for_gauge_blocks():
    # ISO 3650: (11.5 ± 1.0)e-6/K for steel gauge blocks; from memory.
    assert abs(MATERIALS["steel"].expansion - 11.5e-6) <= 1.0e-6


# Published answer to problem 19.25a of Callister & Rethwisch, Materials Science and Engineering:
# a brass rod of 0.35 m, 97 GPa, 20e-6/K, held rigid from 15 °C to 85 °C: 135.8 MPa compressive.
def test_stress_of_a_rod_held_rigid():
    brass = Material("brass", 20e-6, 97e9, "the problem")
    found = shaft_growth(length=0.35, warmer_by=70.0, material=brass, diameter=0.02)
    assert found.rigid_force / (math.pi * 0.01**2) == pytest.approx(135.8e6, rel=1e-6)


def test_by_hand():
    # 1 m of steel 20 K warmer: 0.234 mm; on 1000 mm² 11.7e-6 * 20 * 207e9 * 1e-3 = 48 438 N.
    diameter = math.sqrt(4e-3 / math.pi)
    found = shaft_growth(length=1.0, warmer_by=20.0, material="steel", diameter=diameter)
    assert found.growth == pytest.approx(0.234e-3)
    assert found.rigid_force == pytest.approx(48_438.0)
    assert found.force == found.rigid_force
    # Ends of 207e6 N/m each are together half as stiff as the bar: a third of the force stays.
    soft = shaft_growth(
        length=1.0, warmer_by=20.0, material="steel", diameter=diameter, side_stiffness=207e6
    )
    assert soft.force == pytest.approx(48_438.0 / 3.0)
    assert soft.rigid_force == pytest.approx(48_438.0)


@given(
    length=st.floats(0.2, 5.0),
    warmer=st.floats(-100.0, 100.0),
    diameter=st.floats(0.01, 0.3),
    hollow=st.floats(0.0, 0.95),
    stiffness=st.floats(1e4, 1e12),
    name=st.sampled_from(sorted(MATERIALS)),
)
def test_ends_and_shaft_share_the_growth(length, warmer, diameter, hollow, stiffness, name):
    found = shaft_growth(
        length=length, warmer_by=warmer, material=name, diameter=diameter,
        bore=hollow * diameter, side_stiffness=stiffness,
    )  # fmt: skip
    area = 0.25 * math.pi * diameter**2 * (1.0 - hollow**2)
    squeezed = found.force * length / (MATERIALS[name].modulus * area)
    given_way = 2.0 * found.force / stiffness
    assert squeezed + given_way == pytest.approx(found.growth, rel=1e-9, abs=1e-18)
    assert abs(found.force) <= abs(found.rigid_force) * (1.0 + 1e-12)


def test_euler_load_by_hand():
    # pi² E I / L², d = 20 mm, L = 2 m: I = 7.854e-9 m⁴, 207 GPa: 4011.5 N.
    found = shaft_growth(length=2.0, warmer_by=1.0, material="steel", diameter=0.02)
    assert found.buckling_force == pytest.approx(math.pi**3 * 207e9 * 0.02**4 / 64.0 / 4.0)
    assert found.buckling_force == pytest.approx(4011.5, rel=1e-3)
    # A bore of half the diameter takes a sixteenth of I away.
    hollow = shaft_growth(length=2.0, warmer_by=1.0, material="steel", diameter=0.02, bore=0.01)
    assert hollow.buckling_force == pytest.approx(15.0 / 16.0 * found.buckling_force)


def test_warnings():
    slim = {"length": 2.0, "material": "steel", "diameter": 0.02}
    hot, mild = (shaft_growth(warmer_by=dt, **slim, side_stiffness=1e9) for dt in (30.0, 3.0))
    assert any("bows out" in warning for warning in hot.warnings)
    assert mild.warnings == ()
    rigid = shaft_growth(warmer_by=3.0, **slim)
    assert any("upper bound" in warning for warning in rigid.warnings)
    # Getting colder pulls, which bows nothing.
    assert shaft_growth(warmer_by=-30.0, **slim, side_stiffness=1e9).warnings == ()


def test_reading_of_a_side_force(film):
    # 180° of wrap: 2 N of load a newton of tension. 1000 N at 1°: 17.45 N on each of two cells.
    cell = replace(film.load_cell, wrap_angle=math.pi)
    one = math.radians(1.0)
    assert side_force_reading(cell, 1000.0, tilt=one) == pytest.approx(17.452406)
    assert side_force_reading(cell, 1000.0, tilt=0.0) == 0.0
    single = replace(cell, cells=1)
    assert side_force_reading(single, 1000.0, tilt=one) == pytest.approx(17.452406 / 2.0)
    with pytest.raises(ValueError, match="tilt"):
        side_force_reading(cell, 1.0, tilt=1.6)


@pytest.mark.parametrize(
    "name, value",
    [
        ("length", 0.0),
        ("warmer_by", math.nan),
        ("diameter", -1.0),
        ("bore", 0.05),
        ("side_stiffness", 0.0),
    ],
)
def test_odd_arguments_are_refused_by_name(name, value):
    fine = {"length": 1.0, "warmer_by": 10.0, "material": "steel", "diameter": 0.05}
    with pytest.raises(ValueError, match=name):
        shaft_growth(**(fine | {name: value}))


def test_an_unknown_material_is_answered_with_the_list():
    with pytest.raises(KeyError, match="stainless steel"):
        shaft_growth(length=1.0, warmer_by=1.0, material="wood", diameter=0.1)


def test_a_slender_shaft_bows_before_it_pushes_harder():
    # Steel of 10 mm over 2 m: Euler's pi² E I/L² = 250.7 N; 20 K and rigid ends would make 3.8 kN.
    slender = shaft_growth(length=2.0, warmer_by=20.0, material="steel", diameter=0.01)
    assert slender.push == pytest.approx(math.pi**3 * 207e9 * 0.01**4 / (64.0 * 4.0))
    stout = shaft_growth(length=1.0, warmer_by=1.0, material="steel", diameter=0.1)
    assert stout.push == stout.force
