"""Units of recorded columns: against exact definitions and pint, and how people spell them."""

import numpy as np
import pint
import pytest

from simulator.trend_units import UNITS, is_unit, spelled_unit, to_si

# International yard and pound agreement of 1959 and standard gravity (CGPM 1901): exact.
EXACT = [
    ("tension", "lbf", 4.4482216152605),
    ("tension", "kgf", 9.80665),
    ("tension", "daN", 10.0),
    ("line speed", "ft/min", 0.3048 / 60.0),
    ("line speed", "m/min", 1.0 / 60.0),
    ("diameter", "in", 0.0254),
    ("diameter", "in radius", 0.0508),
    ("diameter", "mm radius", 0.002),
    ("time", "ms", 1e-3),
    ("time", "days", 86400.0),
]


@pytest.mark.parametrize("quantity, unit, factor", EXACT)
def test_exact_factors(quantity, unit, factor):
    assert to_si(np.ones(1), quantity, unit)[0] == pytest.approx(factor, rel=1e-15)


@pytest.mark.parametrize(
    "quantity, si",
    [("tension", "N"), ("setpoint", "N"), ("line speed", "m/s"), ("diameter", "m"), ("time", "s")],
)
def test_all_units_against_pint(quantity, si):
    registry = pint.UnitRegistry()
    plain = [u for u in UNITS[quantity] if " " not in u and u != "date" and u != "samples"]
    assert len(plain) >= 3
    for unit in plain:
        expected = registry.Quantity(3.0, unit).to(si).magnitude
        assert to_si(np.array([3.0]), quantity, unit)[0] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "unit, low, high", [("%", 0, 100), ("0..1", 0, 1), ("0..10 V", 0, 10), ("4..20 mA", 4, 20)]
)
def test_signals_span_the_output(unit, low, high):
    assert to_si(np.array([low, high, (low + high) / 2.0]), "output", unit).tolist() == [0, 100, 50]


@pytest.mark.parametrize(
    "unit, value", [("% of range", 25.0), ("0..10 V of range", 2.5), ("4..20 mA of range", 8.0)]
)
def test_a_share_of_the_range_needs_the_range(unit, value):
    assert to_si(np.array([value]), "tension", unit, 600.0)[0] == pytest.approx(150.0)
    with pytest.raises(ValueError, match="range is needed"):
        to_si(np.array([value]), "tension", unit)


@pytest.mark.parametrize(
    "text, quantity, unit",
    [
        ("[N]", "tension", "N"), ("lbs", "setpoint", "lbf"), ("kg", "tension", "kgf"),
        ("PLI", "tension", ""), ("N/m", "tension", ""), ("fpm", "line speed", "ft/min"),
        ("(m / min)", "line speed", "m/min"), ("m per s", "line speed", "m/s"),
        ("rpm", "line speed", ""), ("msec", "time", "ms"), ("N", "time", ""), ("mA", "output",
        "4..20 mA"),
    ],
)  # fmt: skip
def test_spellings(text, quantity, unit):
    assert spelled_unit(text, quantity) == unit
    assert is_unit(text)


@pytest.mark.parametrize("text", ["tension", "PV", "unwind 1", "f" * 29 + "!", "yy" * 15 + "x"])
def test_other_words_are_no_units(text):
    assert not is_unit(text)
