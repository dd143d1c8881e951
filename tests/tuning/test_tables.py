"""Tables and sentences: the right digits, a dash for what is not there."""

import csv
import io
import math
from dataclasses import replace

import pytest

from simulator.units import METRIC, US_CUSTOMARY
from tuning.design import KindOfControl, RollCase, RollDesign
from tuning.gain_schedule import GainSchedule, ScheduleEntry, ScheduleGain
from tuning.gains import Gains
from tuning.judged_rules import JudgedRule
from tuning.margins import Margins
from tuning.process_model import ProcessModel
from tuning.rules import RULES, Suggestion
from tuning.tables import (
    form_rows,
    gains_in_words,
    kind_rows,
    model_in_words,
    number,
    rule_rows,
    schedule_csv,
    schedule_in_words,
    schedule_rows,
    severity,
)

CALM = Margins(True, 1.5, 1.1, 3.0, 3.0, 60.0, 0.2, 1.0)
RINGING = Margins(True, 3.0, 2.5, 3.0, 1.5, 20.0, 0.1, 1.0)
UNSTABLE = Margins(False, 8.0, 8.0, 3.0, *[math.nan] * 4)
RULE = RULES["SIMC PI"]


def judged(here, worst):
    return JudgedRule(Suggestion(RULE, Gains(0.1, 2.0)), here, worst, ("core", 0.1, 2.5))


def test_numbers():
    assert [number(v) for v in (None, math.nan, math.inf, 0.012345, 1234.0)] == [
        "–", "–", "–", "0.0123", "1234",
    ]  # fmt: skip


def test_gains_in_words():
    assert gains_in_words(Gains(0.1, 2.0)) == "Kc 0.100 %/%, Ti 2.00 s"
    assert gains_in_words(Gains(0.1, math.inf, 0.5)).endswith("no integral action, Td 0.500 s")


def test_models_in_words():
    assert model_in_words(ProcessModel("first order", 0.8, 0.4, 0.25)) == (
        "first order: gain 0.800 %/%, time constant 0.400 s, dead time 0.250 s"
    )
    assert "damping 0.050" in model_in_words(ProcessModel("second order", 1.0, 0.1, 0.0, 0.05))
    assert "rises 0.200 %/s" in model_in_words(ProcessModel("integrating", 0.2, 0.0, 1.0))


def test_verdicts_are_in_the_readers_units():
    assert judged(CALM, CALM).verdict(METRIC) == "holds, Ms 1.50: core, 150 m/min"
    assert judged(CALM, RINGING).verdict(US_CUSTOMARY) == "rings, Ms 3.0: core, 492 ft/min"
    assert judged(CALM, UNSTABLE).verdict(METRIC) == "unstable: core, 150 m/min"
    assert judged(UNSTABLE, UNSTABLE).verdict(METRIC) == "unstable at the test already"
    nothing = JudgedRule(Suggestion(RULE, None, ("why",)), None, None, None)
    assert nothing.verdict(METRIC) == "no gains here"
    pairs = ((CALM, CALM), (CALM, RINGING), (CALM, UNSTABLE), (UNSTABLE, UNSTABLE))
    order = [severity(judged(*pair)) for pair in pairs] + [severity(nothing)]
    assert order == sorted(order)


def test_an_unstable_rule_shows_no_margins():
    row = rule_rows((judged(UNSTABLE, UNSTABLE),), METRIC)[0]
    assert {row["Ms here"], row["gain margin"], row["worst Ms"]} == {"–"}
    assert row["Kc [%/%]"] == "0.100"


def test_forms_show_a_dash_where_there_is_no_number():
    """A series form needs Ti of 4 Td or more; no integral action has no Ti."""
    rows = form_rows(Gains(2.0, 1.0, 0.5), tension_range=300.0)
    series = [row for row in rows if row["form"].startswith("series")]
    assert series and all(row["value"] == "–" and "not reachable" in row["how"] for row in series)
    rows = form_rows(Gains(0.2, math.inf), tension_range=300.0)
    assert {r["value"] for r in rows if r["symbol"] == "Ti"} == {"–"}
    # Proportional band 100/Kc: common practice.
    assert next(r["value"] for r in rows if r["symbol"] == "PB") == "500.0"


@pytest.fixture
def design():
    entries = (ScheduleEntry(0.8, Gains(0.3, 0.1)), ScheduleEntry(0.1, Gains(0.1, 0.2)))
    gained = (ScheduleGain(0.8, 12.0, 2.0), ScheduleGain(0.1, 2.0, 2.0))
    case = RollCase(0.1, 2.5, CALM)
    gains = Gains(0.1, 0.2)
    return RollDesign(
        gains=gains,
        kind="PI",
        ms_limit=1.6,
        noise_limit=0.2,
        worst=case,
        binds_integral=case,
        binds_proportional=None,
        kinds=(KindOfControl("PI", gains, 0.0123, False, "recommended"),),
        schedule=GainSchedule(entries, 1.55, gained),
        out_of_reach=(),
    )


def test_what_a_schedule_buys_is_said(design):
    # 2 of 12.
    assert "only 17 % of the error" in schedule_in_words(design, METRIC)
    assert "800 mm" in schedule_in_words(design, METRIC)
    little = replace(design.schedule, gained=(ScheduleGain(0.8, 2.2, 2.0),))
    assert "not worth" in schedule_in_words(replace(design, schedule=little), METRIC)
    assert "no gain schedule" in schedule_in_words(replace(design, schedule=GainSchedule()), METRIC)


def test_kinds_side_by_side(design):
    (row,) = kind_rows(design)
    assert row["control"] == "PI" and row["Kc/Ti [1/s]"] == "0.500"
    assert row["noise in output [% rms]"] == "0.012"


def test_schedule(design):
    rows = schedule_rows(design, US_CUSTOMARY)
    assert [row["diameter [in]"] for row in rows] == ["31.5", "3.94"]
    assert [row["Kc/Ti against one set"] for row in rows] == ["6.0 ×", "1.0 ×"]
    table = list(csv.DictReader(io.StringIO(schedule_csv(design))))
    assert [float(row["diameter_m"]) for row in table] == [0.8, 0.1]
    assert [(float(r["Kc"]), float(r["Ti_s"]), float(r["Td_s"])) for r in table] == [
        (0.3, 0.1, 0.0), (0.1, 0.2, 0.0),
    ]  # fmt: skip
