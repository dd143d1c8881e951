"""Which column is what: from names in common use, then from the numbers, else left out."""

import numpy as np
import pytest

from simulator.trend_columns import UNITS, guess_uses, guess_with_notes
from simulator.trend_text import read_table

N = 30


def table(columns):
    """A file of columns: name → cells or a function of the row."""
    cells = [[str(c(k) if callable(c) else c) for c in columns.values()] for k in range(N)]
    text = "\n".join(map(";".join, [list(columns), *cells]))
    return read_table(text.encode(), name="t")


def uses(columns):
    return {u.quantity: (list(columns)[u.column], u.unit) for u in guess_uses(table(columns))}


def rising(k):
    return k / 10


def wave(k):
    return 150 + k % 5


def test_the_projects_own_columns():
    own = {
        "time_s": rising, "tension_N": wave, "output_percent": 50, "setpoint_N": 150,
        "line_speed_m_per_s": 2.5, "diameter_m": 0.8, "automatic": 1,
    }  # fmt: skip
    found, notes = guess_with_notes(table(own))
    assert [(u.column, u.quantity, u.unit) for u in found] == [
        (0, "time", "s"), (1, "tension", "N"), (2, "output", "%"), (3, "setpoint", "N"),
        (4, "line speed", "m/s"), (5, "diameter", "m"), (6, "automatic", "1 in automatic"),
    ]  # fmt: skip
    assert notes == ()


@pytest.mark.parametrize(
    "name, quantity, unit",
    [
        ("Tension [kN]", "tension", "kN"), ("Tension N", "tension", "N"), ("F / daN", "tension",
        "daN"), ("UnwindTensionPV (lbf)", "tension", "lbf"), ("PV", "tension", "N"),
        ("Process Value", "tension", "N"), ("TEN1_ACT_N", "tension", "N"),
        ("Zugkraft in N", "tension", "N"), ("Unwind.Tension.PV", "tension", "N"),
        ("Load cell, lbs", "tension", "lbf"), ("Tension, %", "tension", "% of range"),
        ("web tension actual value", "tension", "N"),
    ],
)  # fmt: skip
def test_names_of_tension(name, quantity, unit):
    assert uses({"t": rising, name: wave})[quantity] == (name, unit)


@pytest.mark.parametrize(
    "name, value, quantity, unit",
    [
        ("SP", 150, "setpoint", "N"), ("Tension Setpoint (lbf)", 30, "setpoint", "lbf"),
        ("Sollwert", 150, "setpoint", "N"), ("TensionRef_kN", 0.15, "setpoint", "kN"),
        ("OP", 40, "output", "%"), ("CO %", 40, "output", "%"), ("MV", 40, "output", "%"),
        ("Controller output [mA]", 12, "output", "4..20 mA"), ("Brake V", 4, "output", "0..10 V"),
        ("output", 0.4, "output", "0..1"), ("Stellgröße [%]", 40, "output", "%"),
        ("Line speed (fpm)", 490, "line speed", "ft/min"), ("v", 2.5, "line speed", "m/s"),
        ("WebSpeed", 150, "line speed", "m/min"), ("Speed m/min", 15, "line speed", "m/min"),
        ("Dia", 800, "diameter", "mm"), ("Roll diameter [in]", 31, "diameter", "in"),
        ("Roll radius (mm)", 400, "diameter", "mm radius"), ("diameter", 0.8, "diameter", "m"),
        ("Durchmesser mm", 800, "diameter", "mm"), ("diam", 31, "diameter", "in"),
        ("Mode", "AUTO", "automatic", "1 in automatic"), ("A/M", "M", "automatic",
        "1 in automatic"), ("Auto", "true", "automatic", "1 in automatic"),
        ("Manual", 0, "automatic", "1 in manual"), ("auto_manual", 1, "automatic",
        "1 in automatic"),
    ],
)  # fmt: skip
def test_names_of_the_others(name, value, quantity, unit):
    assert uses({"t": rising, "tension_N": wave, name: value})[quantity] == (name, unit)


@pytest.mark.parametrize(
    "name, value",
    [
        ("Motor speed [rpm]", 100), ("roll speed", 5), ("tension error", 1), ("Tension limit", 1),
        ("Kp", 2), ("Brake pressure [bar]", 2), ("Speed [km/h]", 5), ("Output [l/min]", 40),
        ("output", 13824), ("Mode", 3), ("Mode", "running"), ("remark", "ok"),
        ("tension setpoint [N/m]", 150),
    ],
)  # fmt: skip
def test_what_is_none_of_them_is_left_out(name, value):
    found = uses({"t": rising, "tension_N": wave, name: value})
    assert set(found) == {"time", "tension"}


@pytest.mark.parametrize(
    "name, cell, unit",
    [
        ("t [ms]", lambda k: 20 * k, "ms"), ("Time", lambda k: 20 * k, "ms"),
        ("seconds", rising, "s"), ("time", lambda k: 1714543200 + k, "s"),
        ("time", lambda k: 1714543200000 + 10 * k, "ms"), ("min", rising, "min"),
        ("timestamp", lambda k: 1714543200000000 + k, "us"), ("Sample", lambda k: k, "samples"),
        ("Time", lambda k: f"45413.{k:05d}", "days"), ("x", rising, "s"),
        ("Uhrzeit", lambda k: f"06:00:{k:02d}", "clock time"),
        ("when", lambda k: f"2024-05-01 06:00:{k:02d}", "date and time"),
    ],
)  # fmt: skip
def test_times(name, cell, unit):
    named = {name: cell, "tension_N": wave}
    assert uses(named)["time"] == (name, unit)


def test_a_date_and_a_clock_in_two_columns():
    found = guess_uses(
        table({"Date": "01.05.2024", "Time": lambda k: f"6:00:{k:02d}", "Tension": wave})
    )
    assert [(u.column, u.unit) for u in found] == [(0, "date"), (1, "clock time"), (2, "N")]


def test_of_two_tensions_one_is_used_and_the_other_named():
    found, notes = guess_with_notes(table({"t": rising, "Tension 1": wave, "Tension 2": wave}))
    assert [u.column for u in found] == [0, 1]
    assert "tension: Tension 1 is used, Tension 2 not" in notes


def test_actual_value_goes_before_the_bare_name():
    columns = {"t": rising, "Tension": 1, "Tension PV": wave, "Tension SP": 150}
    assert uses(columns)["tension"][0] == "Tension PV"
    assert uses(columns)["setpoint"][0] == "Tension SP"


def test_without_names_the_numbers_tell_and_a_note_says_so():
    text = "\n".join(f"{wave(k)};{rising(k)};{7 + k % 3}" for k in range(N))
    found, notes = guess_with_notes(read_table(text.encode(), name="t"))
    assert [(u.column, u.quantity) for u in found] == [(0, "tension"), (1, "time")]
    assert "the first column that keeps rising" in " ".join(notes)
    assert "a guess" in " ".join(notes)


def test_with_names_that_say_nothing_tension_is_only_taken_if_one_column_is_left():
    assert uses({"t": rising, "A1": wave})["tension"] == ("A1", "N")
    assert "tension" not in uses({"t": rising, "A1": wave, "A2": wave})
    assert "tension" not in uses({"t": rising, "A1 [bar]": wave})


def test_tension_per_width_is_left_out_with_the_reason():
    found, notes = guess_with_notes(table({"t": rising, "Tension [PLI]": wave}))
    assert [u.quantity for u in found] == ["time"]
    assert "multiply it by the width" in " ".join(notes)


def test_an_empty_column_is_not_used():
    assert "output" not in uses({"t": rising, "tension": wave, "output": "", "x": 1})


def test_every_guess_is_a_choice_on_the_list():
    columns = {"t": rising, "tension": wave, "sp": 1, "op": 1, "speed": 1, "dia": 1, "auto": 1}
    found = guess_uses(table(columns))
    assert len(found) == 7
    assert all(u.unit in UNITS[u.quantity] for u in found)
    assert np.unique([u.column for u in found]).size == 7


@pytest.mark.parametrize(
    ("header", "quantity"),
    [
        ("Cmd", None),
        ("REF", None),
        ("Drive Ref", "output"),
        ("Torque ref [%]", "output"),
        ("Tension ref [N]", "setpoint"),
        ("Speed Ref [m/min]", "line speed"),
        ("Tension SP", "setpoint"),
    ],
)
def test_a_command_is_that_of_what_stands_beside_it(header, quantity):
    rows = "\n".join(f"{0.1 * k:.1f},{100 + k % 7},{40 + k % 3}" for k in range(30))
    table = read_table(f"Time [s],Tension [N],{header}\n{rows}\n".encode(), name="a.csv")
    found = {use.column: use.quantity for use in guess_uses(table)}
    assert found[1] == "tension"
    assert found.get(2) == quantity
