"""Units at the edge, against exact definitions and hostile text."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.units import METRIC, UNIT_SYSTEMS, US_CUSTOMARY, parse_quantity, sensible


# Exact by definition: 1 in = 25.4 mm, 1 lb = 0.45359237 kg, g = 9.80665 m/s² (NIST SP 811, appendix
# B, from memory).
@pytest.mark.parametrize(
    "text, unit, expected",
    [
        ("25 um", "m", 25e-6),
        ("25 µm", "m", 25e-6),
        ("1 mil", "m", 25.4e-6),
        ("31.5 in", "m", 0.8001),
        ("150 m/min", "m/s", 2.5),
        ("500 ft/min", "m/s", 2.54),
        ("1 lbf", "N", 4.4482216152605),
        ("1 PLI", "N/m", 4.4482216152605 / 0.0254),
        ("1 lbf ft", "N m", 4.4482216152605 * 0.3048),
        ("1 lb ft^2", "kg m^2", 0.45359237 * 0.3048**2),
        ("1 hp", "W", 550 * 0.3048 * 4.4482216152605),
        ("0.05 kg m^2", "kg m^2", 0.05),
        ("0.5 N·m", "N m", 0.5),
        ("4 GPa", "Pa", 4e9),
        ("-90 deg", "rad", -math.pi / 2),
        ("60 rpm", "rad/s", 2 * math.pi),
        ("0.5 %", "%", 0.5),
        ("5 %/s", "%/s", 5.0),
        ("1e-3 s", "s", 1e-3),
        (".5 s", "s", 0.5),
    ],
)
def test_reads_what_people_write(text, unit, expected):
    assert parse_quantity(text, unit) == pytest.approx(expected, rel=1e-12)


def test_slip_power_in_us_units():
    # 1 lbf·ft/min is 1/44.254 W.
    assert parse_quantity("1 lbf ft/min", "W") == pytest.approx(1 / 44.254, rel=1e-5)


@pytest.mark.parametrize(
    "text, says",
    [
        ("25", "needs a unit"),
        ("", "must start with a number"),
        ("about 25 um", "must start with a number"),
        ("25,5 mm", "decimal point"),
        ("25 kg", "not a unit for this"),
        ("25 wombat", "not understood"),
        ("nan m", "must start with a number"),
        ("inf m", "must start with a number"),
        ("10**10**10 m", "not understood"),
        ("1e999 m", "too large"),
        ("1 m/0", "not understood"),
        ("1 (((", "not understood"),
        ("1 m" + " m" * 100, "longer than"),
        ("2 °C", "not a unit for this"),
        ("2 °X", "not understood"),
        ("2 __import__", "not understood"),
    ],
)
def test_says_what_is_wrong(text, says):
    with pytest.raises(ValueError, match=says):
        parse_quantity(text, "m")


@given(text=st.text(max_size=70), unit=st.sampled_from(["m", "N", "%", "kg m^2", "rad"]))
def test_no_text_does_anything_but_read_or_refuse(text, unit):
    with contextlib.suppress(ValueError):
        assert math.isfinite(parse_quantity(text, unit))


@given(number=st.floats(-1e6, 1e6), unit=st.text(alphabet="mNkgs^*/. ()0123456789%µ", max_size=20))
def test_no_unit_does_anything_but_read_or_refuse(number, unit):
    with contextlib.suppress(ValueError):
        assert math.isfinite(parse_quantity(f"{number!r} {unit}", "m"))


@given(value=st.floats(1e-3, 1e6), system=st.sampled_from(UNIT_SYSTEMS))
def test_shown_and_read_back(value, system):
    for kind, si, unit, _ in system.units:
        shown = system.show(value, kind)
        assert parse_quantity(f"{shown!r} {unit}", si) == pytest.approx(value, rel=1e-12)


def test_text_has_sensible_digits():
    assert METRIC.text(0.8, "diameter") == "800 mm"
    assert METRIC.text(25e-6, "thickness") == "25.0 µm"
    assert US_CUSTOMARY.text(0.8001, "diameter") == "31.5 in"
    assert METRIC.text(float("nan"), "tension") == "–"
    assert sensible(0.0) == "0"
    assert sensible(12345.6) == "12346"


def test_an_unknown_kind_is_answered_with_the_known_ones():
    with pytest.raises(KeyError, match="tension"):
        METRIC.label("colour")
