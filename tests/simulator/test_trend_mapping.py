"""Which column is what, said in words."""

import pytest

from simulator.trend_import import import_trend
from simulator.trend_mapping import understood, uses_with
from simulator.trend_text import read_table

ROWS = "\n".join(f"{0.1 * k:.1f},{100 + k % 7},{40 + k % 3},{1.5}" for k in range(60))
DATA = f"t,PV 7,X: raw,line speed\n{ROWS}\n".encode()


def uses(*given):
    return uses_with(read_table(DATA, name="a.csv"), given)


def by_quantity(*given):
    return {use.quantity: (use.column, use.unit) for use in uses(*given)}


def test_what_is_said_is_taken_and_the_rest_is_guessed():
    found = by_quantity("tension=PV 7:lbf")
    assert found["tension"] == (1, "lbf")
    assert found["time"][0] == 0
    assert found["line speed"][0] == 3
    trend = import_trend(DATA, name="a.csv", uses=uses("tension=PV 7:lbf")).trend
    # The international pound-force, exactly.
    assert trend.tension[0] == pytest.approx(100.0 * 4.4482216152605)


def test_a_header_may_hold_a_colon_and_a_unit_may_be_left_out():
    assert by_quantity("tension=X: raw:N")["tension"] == (2, "N")
    assert by_quantity("tension=X: raw")["tension"] == (2, "N")


def test_a_quantity_can_be_struck_out():
    assert "line speed" not in by_quantity("tension=PV 7", "line speed=")


def test_a_units_common_spelling_is_known():
    assert by_quantity("tension=PV 7:lbs")["tension"] == (1, "lbf")


def test_what_was_understood_is_said():
    table = read_table(DATA, name="a.csv")
    said = understood(table, uses("tension=PV 7"))
    assert "tension from 'PV 7' in N" in said
    assert "not used: 'X: raw'" in said


def test_one_column_is_one_quantity():
    found = uses("output=line speed:%", "tension=PV 7")
    assert [use.quantity for use in found if use.column == 3] == ["output"]


def test_everything_that_is_wrong_is_named_at_once():
    with pytest.raises(ValueError) as told:
        uses("pull=PV 7", "tension=PV 9", "output=X: raw:bar", "diameter", "tension=PV 7")
    text = str(told.value)
    assert "said twice" in text and "must read" in text
    assert "'pull'" in text and "'tension=PV 9'" in text and "'bar'" in text
    assert "a.csv" in text and "'PV 7'" in text and "%" in text
