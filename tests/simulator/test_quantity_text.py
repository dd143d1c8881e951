"""Reading and showing quantities, against the exact definitions of the units."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.units import (
    METRIC,
    UNIT_SYSTEMS,
    US_CUSTOMARY,
    format_quantity,
    parse_quantity,
    readable,
    sensible,
)

# Exact by definition: NIST Special Publication 811, appendix B (from memory).
INCH, POUND, GRAVITY = 0.0254, 0.45359237, 9.80665
POUND_FORCE = 4.4482216152605


def test_definitions_agree_with_each_other():
    assert pytest.approx(POUND * GRAVITY, rel=1e-15) == POUND_FORCE


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        # NIST SP 811, appendix B, exact (from memory).
        ("1 in", "m", INCH),
        ("1 ft", "m", 0.3048),
        ("1 lbf", "N", POUND_FORCE),
        ("1 lb", "kg", POUND),
        ("1 ft/min", "m/s", 0.00508),
        ("1 lbf in", "N m", POUND_FORCE * INCH),
        ("1 lbf ft", "N m", POUND_FORCE * 12 * INCH),
        ("1 psi", "Pa", POUND_FORCE / INCH**2),
        ("1 lb ft^2", "kg m^2", POUND * 0.3048**2),
        ("1 lb/ft^3", "kg/m^3", POUND / 0.3048**3),
        # 1 hp is 550 ft·lbf/s.
        ("1 hp", "W", 550 * 0.3048 * POUND_FORCE),
        # 1 W is 44.2537 ft·lbf/min (handbook table, from memory, six digits).
        ("44.2537 ft lbf/min", "W", pytest.approx(1.0, rel=2e-6)),
        # In this trade a mil is a thousandth of an inch (common practice).
        ("1 mil", "m", INCH / 1000),
        ("2 mils", "m", INCH / 500),
        ("180 deg", "rad", math.pi),
        ("1 rev", "rad", 2 * math.pi),
        ("60 rpm", "rad/s", 2 * math.pi),
        ("1 deg/s", "rad/s", math.pi / 180),
        ("30 %/min", "%/s", 0.5),
        # Web tension by width: pounds per linear inch.
        ("1 PLI", "N/m", POUND_FORCE / INCH),
    ],
)
def test_units_by_definition(text, unit, expected):
    value = parse_quantity(text, unit)
    assert value == (
        pytest.approx(expected, rel=1e-15) if isinstance(expected, float) else expected
    )


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("25 um", "m", 25e-6),
        ("25 µm", "m", 25e-6),
        ("25 μm", "m", 25e-6),
        ("25um", "m", 25e-6),
        ("89 mm", "m", 0.089),
        ("0.1 mm", "m", 1e-4),
        ("150 m/min", "m/s", 2.5),
        ("4 GPa", "Pa", 4e9),
        ("250 ms", "s", 0.25),
        ("0.3 s", "s", 0.3),
        ("1.5 kW", "W", 1500.0),
        ("+.5 N", "N", 0.5),
        ("-1. N", "N", -1.0),
        ("2e-3 N", "N", 0.002),
        ("0 %", "%", 0.0),
        ("50%", "%", 50.0),
    ],
)
def test_decimal_text_gives_the_float_that_python_reads(text, unit, expected):
    # Not one digit is lost on the way: the factors are exact.
    assert parse_quantity(text, unit) == expected


@pytest.mark.parametrize(
    "text",
    ["2 N m", "2 N·m", "2 N*m", "2 N.m", "2 N-m", "2 Nm", "2 m N", "2 J", "2N m", " 2  N  m "],
)
def test_ways_to_write_a_torque(text):
    assert parse_quantity(text, "N m") == 2.0


@pytest.mark.parametrize("text", ["1 kg m^2", "1 kg m**2", "1 kg m2", "1 kg·m²", "1 kg-m^2"])
def test_ways_to_write_an_inertia(text):
    assert parse_quantity(text, "kg m^2") == 1.0


def test_both_ways_to_write_pound_feet():
    assert parse_quantity("3 lbf-ft", "N m") == parse_quantity("3 ft lbf", "N m")


@pytest.mark.parametrize("text", ["2 rad/s", "2 rad s^-1", "2 rad s-1", "2 rad/s^1"])
def test_ways_to_write_a_quotient(text):
    assert parse_quantity(text, "rad/s") == 2.0


def test_a_slash_divides_by_the_next_unit_only():
    assert parse_quantity("1 N/m s", "N s/m") == 1.0


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("", "m", "must start with a number"),
        ("m", "m", "must start with a number"),
        ("nan m", "m", "must start with a number"),
        ("inf m", "m", "must start with a number"),
        ("1", "m", "needs a unit: mm"),
        ("1,5 m", "m", "decimal point"),
        ("1.000,5 m", "m", "decimal point"),
        ("1_000 m", "m", "not understood"),
        ("1 000 m", "m", "not understood"),
        ("1e999 m", "m", "too large"),
        ("1e999999999999 m", "m", "too large"),
        ("1e308 km", "m", "too large"),
        ("1 furlongz", "m", "not understood; use mm"),
        ("1 GPA", "Pa", "not understood; use GPa"),
        ("1 kg", "m", "not a unit for this; use mm"),
        ("1 lb", "N", "not a unit for this; use N, kN, lbf"),
        ("1 lbf", "kg", "not a unit for this; use kg, lb"),
        ("1 N/m", "N", "not a unit for this"),
        ("1 m 5", "m", "not understood"),
        ("1 m^", "m", "not understood"),
        ("1 m/", "m", "not understood"),
        ("1 m/0", "m", "not understood"),
        ("1 m^0.5", "m", "not understood"),
        ("1 (m)", "m", "not understood"),
        ("1 m\nm", "m", "not a unit for this"),
        ("٣ m", "m", "must start with a number"),
        ("1 " + "m" * 100, "m", "longer than"),
    ],
)
def test_says_what_is_wrong(text, unit, says):
    with pytest.raises(ValueError, match=re.escape(says)):
        parse_quantity(text, unit)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("1 Hz", "rad/s"),  # would be wrong by 2 pi
        ("1 s^-1", "rad/s"),
        ("1 rad", "%"),
        ("5 %", "rad"),
        ("1 Hz", "%/s"),
        ("1 rad/s", "%/s"),
        ("1 m rad", "m"),
        ("1 rad rpm", "rad/s"),
        ("1 count", "rad"),
        ("1 dB", "%"),
        ("1 N m/rad", "N m"),
    ],
)
def test_angles_and_per_cent_are_not_plain_numbers(text, unit):
    with pytest.raises(ValueError, match="use"):
        parse_quantity(text, unit)


@pytest.mark.parametrize(
    "text",
    [
        "10**10**10 m",
        "1 m**9**9**9",
        "1 m^9^9^9",
        "1 m*9**9**9",
        "1 m/9**9**9",
        "1 m^(9**9**9)",
        "1e-99999999999999999999 m^9**9**9",
    ],
)
def test_nothing_is_ever_evaluated(text):
    # Evaluated, each of these would keep a computer busy for good.
    with pytest.raises(ValueError, match="not understood"):
        parse_quantity(text, "m")


@given(st.text(max_size=80), st.sampled_from(["m", "N m", "%", "rad/s", "kg/m^3"]))
def test_any_text_is_read_or_refused(text, unit):
    try:
        assert math.isfinite(parse_quantity(text, unit))
    except ValueError as error:
        assert len(str(error).splitlines()) == 1


UNIT_LIKE = st.text("0123456789.eE+-*/^ ()%°µmNkgsradinlbft²·", max_size=30)


@given(st.floats(-1e9, 1e9).map(repr), UNIT_LIKE)
def test_any_unit_is_read_or_refused(number, rest):
    try:
        assert math.isfinite(parse_quantity(f"{number} {rest}", "m"))
    except ValueError as error:
        assert "use" in str(error) or "decimal point" in str(error) or "needs a unit" in str(error)


SI_UNITS = ["m", "m/s", "N", "N m", "N m s", "Pa", "kg", "kg/m^3", "kg m^2", "s", "rad", "W", "%/s"]


@given(st.floats(-1e300, 1e300), st.sampled_from(SI_UNITS))
def test_written_in_full_a_float_comes_back(value, unit):
    assert parse_quantity(format_quantity(value, unit, digits=None), unit) == value


def test_digits_of_a_written_quantity():
    assert format_quantity(1234.5678, "N") == "1235 N"
    assert format_quantity(0.8, "m", digits=None) == "0.8 m"
    assert format_quantity(4e9, "Pa", digits=None) == "4000000000 Pa"


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (25e-6, "m", "25 um"),
        (0.8, "m", "800 mm"),
        (1.5, "m", "1.5 m"),
        (0.0, "m", "0 m"),
        (1e12, "Pa", "1000 GPa"),
        (math.pi / 2, "rad", "90 deg"),
        (0.02, "s", "20 ms"),
        (2.5, "m/s", "150 m/min"),
        (-40.0, "N m", "-40 N m"),
        (10.0, "", "10"),
    ],
)
def test_readable_picks_a_unit_of_the_right_size(value, unit, expected):
    assert readable(value, unit) == expected


KINDS = [entry[0] for entry in METRIC.units]


def test_both_systems_know_the_same_kinds():
    assert {entry[0] for entry in US_CUSTOMARY.units} == set(KINDS)


@pytest.mark.parametrize("system", UNIT_SYSTEMS, ids=lambda system: system.name)
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_shown_can_be_read_back(system, kind):
    si = next(entry[1] for entry in system.units if entry[0] == kind)
    written = f"{system.show(3.0, kind)!r} {system.unit(kind)}"
    assert parse_quantity(written, si) == pytest.approx(3.0, rel=1e-14)
    # The label that people see is understood too, so that a screen can be copied into a file.
    labelled = f"{system.show(3.0, kind)!r} {system.label(kind)}"
    assert parse_quantity(labelled, si) == pytest.approx(3.0, rel=1e-14)


@pytest.mark.parametrize(
    ("system", "value", "kind", "expected"),
    [
        (METRIC, 2.5, "speed", "150 m/min"),
        (METRIC, 25e-6, "thickness", "25.0 µm"),
        (METRIC, 123.4, "torque", "123 N·m"),
        (METRIC, 1500.0, "power", "1500 W"),
        (US_CUSTOMARY, 25.4e-6, "thickness", "1.00 mil"),
        (US_CUSTOMARY, 0.0762, "diameter", "3.00 in"),
        (US_CUSTOMARY, 10 * POUND_FORCE, "tension", "10.0 lbf"),
        (US_CUSTOMARY, 2.54, "speed", "500 ft/min"),
    ],
)
def test_text_for_people(system, value, kind, expected):
    assert system.text(value, kind) == expected


def test_text_of_what_is_not_known():
    assert METRIC.text(math.nan, "tension") == "–"
    with pytest.raises(KeyError, match="known: tension"):
        METRIC.label("colour")


@given(st.floats(1e-3, 9.9e5))
def test_sensible_digits_keep_the_value(value):
    text = sensible(value)
    assert "e" not in text
    assert float(text) == pytest.approx(value, rel=0.006)


def test_systems_are_frozen():
    with pytest.raises(AttributeError):
        METRIC.name = "other"
    assert hash(METRIC) != hash(US_CUSTOMARY)
