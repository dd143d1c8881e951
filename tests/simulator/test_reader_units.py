"""Sentences in the reader's units. Factors: 1 lbf = 4.4482216152605 N, 1 in = 25.4 mm, exact."""

import pytest

from simulator.reader_units import in_reader_units
from simulator.units import METRIC, US_CUSTOMARY


@pytest.mark.parametrize(
    ("text", "metric", "customary"),
    [
        ("setpoint 150 N", "setpoint 150 N", "setpoint 33.7 lbf"),
        ("line speed 2.5 m/s", "line speed 150 m/min", "line speed 492 ft/min"),
        ("89 mm, not 800 mm", "89 mm, not 800 mm", "3.5 in, not 31.5 in"),
        ("up to 12.5 N m here", "up to 12.5 N m here", "up to 9.22 lbf·ft here"),
        ("of its continuous 746 W.", "of its continuous 746 W.", "of its continuous 1 hp."),
        ("1.35e+03 N is a lot", "1.35e+03 N is a lot", "303 lbf is a lot"),
    ],
)
def test_quantities_are_turned(text: str, metric: str, customary: str) -> None:
    assert in_reader_units(text, METRIC) == metric
    assert in_reader_units(text, US_CUSTOMARY) == customary


@pytest.mark.parametrize("text", ["output 40 %", "5 Nm", "12 N/m", "at 3 s", "span 2 NW", ""])
def test_the_rest_is_left_alone(text: str) -> None:
    assert in_reader_units(text, US_CUSTOMARY) == text
