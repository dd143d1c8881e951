"""Screen Oscillation: invented troubles, files of all sorts, every state that a reader meets."""

from dataclasses import replace

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from simulator import Trend, scenario_text
from simulator.machine import diameter_range
from simulator.screens import bench
from simulator.units import METRIC, US_CUSTOMARY
from tests.tuning.shown import fine, text_of
from tuning.loop_health import health_in_words, loop_health
from tuning.oscillation import answer_words
from tuning.oscillation.causes import CANNOT_TELL, LOOP, NONE, RINGING, ROLL
from tuning.oscillation.detection import Oscillation
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.invented import invented_record, invented_troubles
from tuning.oscillation.spectrum import Peak
from tuning.screens import answers, oscillation, oscillation_answers, trend_upload


@pytest.fixture(autouse=True)
def no_paint(monkeypatch):
    """The pictures have their own tests."""
    monkeypatch.setattr(bench, "show_figure", lambda figure, *, alt: None)
    monkeypatch.setattr(oscillation_answers, "picture", lambda *_: (b"", ""))
    monkeypatch.setattr(bench, "show_picture", lambda png, *, alt: None)


def opened(scenario, *, source="", trouble="", units="", file=None):
    app = AppTest.from_string(
        "from tuning.screens import oscillation\noscillation.page()\n", default_timeout=30
    )
    app.session_state["scenario"] = scenario
    for key, value in {"oscillation.source": source, "oscillation.trouble": trouble,
                       "units": units}.items():  # fmt: skip
        if value:
            app.session_state[key] = value
    fine(app.run())
    return app if file is None else upload(app, *file)


def upload(app, name, data):
    return fine(app.file_uploader[0].set_value((name, data, "text/csv")).run())


def recorded(scenario, name, data):
    return opened(scenario, source=oscillation.RECORDED, file=(name, data))


def swinging(*, rows=1500, frequency=1.5, seed=1):
    """Time [s], tension [N] and output [%] of a plain swing in noise."""
    t = 0.02 * np.arange(rows)
    noise = np.random.default_rng(seed).normal(0.0, 0.5, (2, rows))
    swing = np.sin(2.0 * np.pi * frequency * t)
    return t, 150.0 + 4.0 * swing + noise[0], 40.0 - swing + 0.1 * noise[1]


def blank_trend(time, tension):
    """A trend of which nothing but the tension is known."""
    return Trend(time=time, tension=tension, **{
        name: np.full(time.size, np.nan)
        for name in ("output", "setpoint", "line_speed", "diameter", "automatic")
    })  # fmt: skip


def csv_of(header, *columns, separator=",", decimal="."):
    rows = [
        separator.join(f"{v:.3f}".replace(".", decimal) for v in row)
        for row in zip(*columns, strict=True)
    ]
    return "\n".join([header, *rows, ""]).encode()


def named(app, label):
    """Return the select boxes of a line of the form: column and unit."""
    return [box for box in app.selectbox if box.label in (label, f"{label}, unit")]


def typed(app, label):
    return next(box for box in app.number_input if box.label.startswith(label))


def submit(app):
    return fine(next(b for b in app.button if b.label == "Use these columns").click().run())


# --- invented records -------------------------------------------------------------------------


def test_opens_for_every_machine_with_an_answer(scenario):
    app = opened(scenario)
    assert not app.error and not app.warning
    said = text_of(app)
    assert "Check first:" in said and "Next:" in said and "Invented:" in said
    assert any("Before you go to the machine" in e.label for e in app.expander)
    assert app.get("download_button")


def test_every_trouble_of_a_worn_machine(worn):
    for trouble in invented_troubles(worn):
        app = opened(worn, trouble=trouble)
        assert not app.error
        assert "For it:" in text_of(app) or "Nothing in this record" in text_of(app)


def test_a_machine_that_cannot_have_the_trouble_looks_at_another(film, laminate):
    app = opened(film, trouble="torque device sticking")
    app.session_state["scenario"] = laminate
    fine(app.run())
    assert not app.error and "Check first:" in text_of(app)


def test_us_readers_see_no_newtons(film):
    said = text_of(opened(film, units=US_CUSTOMARY.name))
    assert "lbf" in said
    assert " N " not in said and " N." not in said and "m/s" not in said


def test_without_the_machine_less_is_known(film):
    app = opened(film)
    fine(app.toggle[0].set_value(False).run())
    assert "it takes the machine as a scenario" in text_of(app)
    assert "machine's own frequencies" not in " ".join(s.value for s in app.subheader)


def test_a_loop_too_tight_gets_gains_that_hold(film):
    app = opened(film, trouble=LOOP)
    assert "the loop is tuned too tight" in text_of(app)
    assert "Full roll to core" in text_of(app)
    fine(app.toggle(key="oscillation.remedy").set_value(True).run())
    table = app.dataframe[0].value
    assert list(table[""]) == ["at work", "for the whole roll"]
    before, after = (float(text) for text in table["Ms here"])
    assert before > 10.0 and after < 2.0
    # Without a machine none can be worked out, and the screen says what it takes.
    fine(app.toggle[0].set_value(False).run())
    assert not app.error


def test_another_record_of_a_machine_works_out_no_gains_anew(film, monkeypatch):
    asked = []
    real = answers.design
    # A machine that no test has asked about, or its gains were there before.
    machine = replace(film, title="Film unwind, once more")
    monkeypatch.setattr(
        answers, "design", lambda *given, **more: asked.append(given) or real(*given, **more)
    )
    app = opened(machine, trouble=LOOP)
    fine(app.toggle(key="oscillation.remedy").set_value(True).run())
    first = app.dataframe[0].value
    fine(app.number_input(key="oscillation.seed").set_value(2).run())
    second = app.dataframe[0].value
    assert list(first["gains"]) == list(second["gains"]) and asked == [(machine,)]


def test_without_gains_that_hold_it_says_why(film, monkeypatch):
    why = "no gains keep the limits at every diameter"
    monkeypatch.setattr(oscillation_answers, "designed", lambda *_: why)
    app = opened(film, trouble=LOOP)
    fine(app.toggle(key="oscillation.remedy").set_value(True).run())
    assert f"No gains can be offered: {why}" in text_of(app) and not app.dataframe


def test_large_shares_are_no_powers_of_ten(film):
    time = 0.1 * np.arange(600)
    # A sine of amplitude A has a standard deviation of A/√2: twice that, 141 % of its mean here.
    trend = blank_trend(time, 100.0 + 100.0 * np.sin(2.0 * np.pi * 0.5 * time))
    said = " ".join(health_in_words(loop_health(trend)))
    assert "varies by 141 % of its mean of 100 N" in said and "e+" not in said


def test_a_quiet_record_is_quiet(film):
    app = opened(film, trouble=NONE)
    said = text_of(app)
    assert "the tension does not oscillate beyond its noise" in said
    assert "What usually helps" not in " ".join(s.value for s in app.subheader)
    assert "either side of its mean" not in said


def test_a_record_that_cannot_tell_says_what_would(film, monkeypatch):
    real = explain_oscillation(invented_record(film, ROLL), film)
    same = tuple(replace(one, score=1.0 / len(real.causes)) for one in real.causes)
    unsure = replace(real, causes=same, verdict=CANNOT_TELL, next_recording="Record at 2.5 m/s.")
    monkeypatch.setattr(oscillation_answers, "explained", lambda *_: unsure)
    app = opened(film)
    said = text_of(app)
    assert "This record can't tell" in said and not app.error and not app.warning
    assert "The recording that would tell: Record at 150 m/min." in said.replace("**", "")
    assert "bring it here" in said


# --- files ------------------------------------------------------------------------------------


def test_no_file_yet_says_what_to_record(film):
    app = opened(film, source=oscillation.RECORDED)
    assert not app.error and "ten swings" in text_of(app)
    assert "Check first" not in text_of(app)
    # Another machine misleads, so it is not used unasked.
    assert not app.toggle[0].value


def test_a_file_of_semicolons_and_decimal_commas(film):
    t, y, u = swinging()
    app = recorded(film, "Zug.csv", csv_of("Zeit [s];Zugkraft [N];Output [%]", t, y, u,
                                           separator=";", decimal=","))  # fmt: skip
    said = text_of(app)
    assert not app.error and not app.warning
    assert "1500 rows in 30 s, a sample every 20 ms" in said
    assert "tension from Zugkraft [N]" in said and "decimal comma" in said
    assert "1.50 Hz" in said and "Check" in said


def test_clock_times_in_utf_16(film):
    t, y, _ = swinging(rows=600)
    rows = [
        f"14:03:{int(s):02d}.{round(1000 * (s % 1)):03d}\t{n:.2f}"
        for s, n in zip(t, y, strict=True)
    ]
    text = "\r\n".join(["Time\tTension (N)", *rows])
    app = recorded(film, "trend.txt", text.encode("utf-16"))
    assert not app.error and not app.warning
    assert "UTF-16" in text_of(app) and "1.50 Hz" in text_of(app)


def test_a_file_outlives_a_change_of_screen_until_it_is_forgotten(film):
    t, y, u = swinging()
    app = recorded(film, "kept.csv", csv_of("time_s,tension_N,output_percent", t, y, u))
    kept = app.session_state[trend_upload.FILE]
    again = AppTest.from_string(
        "from tuning.screens import oscillation\noscillation.page()\n", default_timeout=30
    )
    again.session_state["scenario"] = film
    again.session_state["oscillation.source"] = oscillation.RECORDED
    again.session_state[trend_upload.FILE] = kept
    fine(again.run())
    assert "From before: kept.csv" in text_of(again) and "1.50 Hz" in text_of(again)
    fine(again.button(key="trend.forget").click().run())
    assert "No file yet" in text_of(again)


def test_a_file_that_is_taken_away_is_forgotten(film):
    t, y, u = swinging()
    app = recorded(film, "gone.csv", csv_of("time_s,tension_N,output_percent", t, y, u))
    assert "1.50 Hz" in text_of(app)
    fine(app.file_uploader[0].set_value(None).run())
    assert "No file yet" in text_of(app) and "From before" not in text_of(app)
    assert trend_upload.FILE not in app.session_state


def test_a_refused_file_leaves_no_answer_of_the_file_before(film):
    t, y, u = swinging()
    app = recorded(film, "good.csv", csv_of("time_s,tension_N,output_percent", t, y, u))
    upload(app, "book.xlsx", b"PK\x03\x04" + bytes(range(256)) * 20)
    assert len(app.error) == 1 and "1.50 Hz" not in text_of(app)
    # The file that is wrong, what it is, and what to do.
    said = text_of(app)
    assert "book.xlsx can't be used" in said and "It is a spreadsheet" in said and "export" in said
    upload(app, "nothing.csv", b"")
    assert "nothing.csv can't be used" in text_of(app) and "It is empty" in text_of(app)


def test_a_description_of_a_machine_is_sent_to_its_place(film):
    text = scenario_text(film).encode()
    for name in ("film.toml", "film.txt"):
        app = recorded(film, name, text)
        assert len(app.error) == 1 and "machine file: open it at the left" in text_of(app)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n\n\n",
        b"This is a letter.\nIt has no table.\n",
        b"\x89PNG\r\n\x1a\n" + bytes(2000),
        b"PK\x03\x04" + bytes(range(256)) * 20,
        b"a,b\n1,2\n",
        b"time_s,tension_N\n" + b"nan,nan\n" * 50,
        b"time_s,tension_N\n" + b"1,150\n" * 200,
        b"time_s,tension_N\n" + b"1e999,-1e999\n" * 200,
        b"time_s,tension_N\n" + b"".join(b"%d,150\n" % k for k in range(200)),
        b"time_s,tension_N\n" + b"".join(b"%d,%d\n" % (k, k % 2) for k in range(7)),
        b'"' * 5000,
        b"," * 100_000,
        b"time_s,**tension_N** [x](http://example.org) $a$ :red[b] <b>\n" + b"1,2\n" * 30,
        "time_s;tension_N\n".encode("utf-16") + b"\xff" * 501,
        bytes(np.random.default_rng(0).integers(0, 256, 20_000, dtype=np.uint8)),
    ],
)  # fmt: skip
def test_hostile_files_end_in_words(film, data):
    app = recorded(film, "evil.csv", data)
    answered = [one for one in app.markdown if one.value.startswith("#### ")]
    assert len(app.error) + len(app.warning) + len(answered) == 1
    assert any("Before you go to the machine" in e.label for e in app.expander)


def test_a_file_that_is_no_table_says_what_to_do(film):
    app = recorded(film, "letter.txt", b"This is a letter.\nIt has no table.\n")
    assert len(app.error) == 1 and "export" in app.error[0].value
    assert not [b for b in app.button if b.label == "Use these columns"]


def test_columns_that_no_name_tells_are_asked_for(film):
    t, y, u = swinging()
    app = recorded(film, "x.csv", csv_of("alpha,beta,gamma", t, y, u))
    assert len(app.warning) == 1 and "tension" in app.warning[0].value
    column, unit = named(app, "Tension")
    column.set_value(1)
    unit.set_value("N")
    submit(app)
    assert not app.error and not app.warning
    assert "tension from beta" in text_of(app) and "1.50 Hz" in text_of(app)
    # And back to what the names tell, which is not enough.
    fine(next(b for b in app.button if b.label.startswith("Back to what")).click().run())
    assert len(app.warning) == 1


def test_a_wrong_mapping_is_one_message_and_loses_nothing(film):
    t, y, u = swinging()
    data = csv_of("time_s,tension_N,output_percent", t, y, u)
    data = data.replace(b",output_percent", b",output_percent,note")
    data = b"\n".join(line + (b",fine" if k else b"") for k, line in enumerate(data.split(b"\n")))
    app = recorded(film, "x.csv", data)
    assert not app.error
    column, _ = named(app, "Tension")
    column.set_value(3)
    submit(app)
    assert len(app.error) == 1 and "holds text" in app.error[0].value
    assert named(app, "Tension")[0].value == 3 and named(app, "Time")[0].value == 0
    named(app, "Tension")[0].set_value(1)
    submit(app)
    assert not app.error and "1.50 Hz" in text_of(app)


def test_a_column_used_twice_is_one_message(film):
    t, y, u = swinging()
    app = recorded(film, "x.csv", csv_of("time_s,tension_N,output_percent", t, y, u))
    named(app, "Tension")[0].set_value(0)
    submit(app)
    assert len(app.error) == 1 and "1.50 Hz" not in text_of(app)
    assert "time_s is chosen as time and as tension" in text_of(app)
    named(app, "Tension")[0].set_value(1)
    submit(app)
    assert not app.error and "1.50 Hz" in text_of(app)


def test_how_much_of_a_file_with_a_gap_is_explained(film):
    t, y, u = swinging(rows=1500)
    t = t + 2.0 * (np.arange(1500) >= 1000)
    said = text_of(recorded(film, "x.csv", csv_of("time_s,tension_N,output_percent", t, y, u)))
    # 1000 samples of 20 ms before the gap, which last 999 steps.
    assert "1500 rows. Explained are 20 s of it, 1000 samples, one every 20 ms" in said
    assert "1 gap" in said and "no sample missing" not in said


def test_tension_in_per_cent_takes_its_range_from_the_machine_or_from_the_reader(film):
    t, y, u = swinging()
    data = csv_of("t [s],Tension [%],Output [%]", t, y / 3.0, u)
    app = recorded(film, "x.csv", data)
    assert len(app.warning) == 1 and "range" in app.warning[0].value
    app.number_input[0].set_value(300.0)
    submit(app)
    assert "of its mean of 150 N" in text_of(app)
    app = recorded(film, "x.csv", data)
    fine(app.toggle[0].set_value(True).run())
    assert "100 % of tension is 300 N, the tension range of the machine" in text_of(app)


def test_rows_without_times_take_an_interval(film):
    _, y, u = swinging()
    app = recorded(film, "x.csv", csv_of("tension_N,output_percent", y, u))
    assert len(app.warning) == 1 and "time" in app.warning[0].value
    app.number_input[1].set_value(0.02)
    submit(app)
    assert not app.error and "1.50 Hz" in text_of(app)


def test_diameter_and_line_speed_can_be_typed(film, monkeypatch):
    asked = []
    real = oscillation_answers.explained
    monkeypatch.setattr(
        oscillation_answers, "explained", lambda *given: asked.append(given[2:4]) or real(*given)
    )
    t, y, u = swinging()
    app = recorded(film, "x.csv", csv_of("time_s,tension_N,output_percent", t, y, u))
    fine(typed(app, "Roll diameter").set_value(530.5).run())
    fine(typed(app, "Line speed").set_value(150.0).run())
    # Nothing is taken for known that nobody typed.
    assert not app.error and asked[0] == (None, None)
    assert asked[-1] == pytest.approx((0.5305, 2.5))
    # They outlive a change of units without rounding: 530.5 mm are 20.886 in (25.4 mm an inch).
    app.session_state["units"] = US_CUSTOMARY.name
    fine(app.run())
    assert typed(app, "Roll diameter").value == pytest.approx(20.8858)
    assert asked[-1] == pytest.approx((0.5305, 2.5), rel=1e-12)
    fine(typed(app, "Roll diameter").set_value(None).run())
    assert asked[-1][0] is None


@pytest.mark.parametrize("units", [METRIC, US_CUSTOMARY], ids=lambda units: units.name)
def test_a_diameter_that_the_roll_cannot_have_is_not_used(film, monkeypatch, units):
    asked = []
    real = oscillation_answers.explained
    monkeypatch.setattr(
        oscillation_answers, "explained", lambda *given: asked.append(given[1:3]) or real(*given)
    )
    t, y, u = swinging()
    app = recorded(film, "x.csv", csv_of("time_s,tension_N,output_percent", t, y, u))
    app.session_state["units"] = units.name
    fine(app.toggle[0].set_value(True).run())
    low, high = (units.show(value, "diameter") for value in diameter_range(film))
    for typed_in in (0.5 * low, 2.0 * high):
        fine(typed(app, "Roll diameter").set_value(typed_in).run())
        assert len(app.warning) == 1 and not app.error
        assert "The roll of this machine goes from" in app.warning[0].value
        assert f"{units.plain(high / units.factor('diameter'), 'diameter')}" in text_of(app)
        assert asked[-1] == (film, None)
    # Without the machine it may be any roll's.
    fine(app.toggle[0].set_value(False).run())
    assert not app.warning and asked[-1][1] == pytest.approx(2.0 * diameter_range(film)[1])
    fine(app.toggle[0].set_value(True).run())
    fine(typed(app, "Roll diameter").set_value(high).run())
    assert not app.warning and asked[-1][1] == pytest.approx(diameter_range(film)[1])


def test_a_record_too_short_to_judge_says_so(film):
    app = recorded(film, "x.csv", csv_of("time_s,tension_N", *swinging(rows=12)[:2]))
    assert len(app.error) == 1 and not app.exception


# --- words ------------------------------------------------------------------------------------


def test_chances_in_words_and_per_cent():
    words = answer_words.chance_in_words
    assert [words(p) for p in (0.93, 0.9, 0.8, 0.6, 0.3, 0.05)] == [
        "very likely", "very likely", "likely", "more likely than not", "possible", "unlikely",
    ]  # fmt: skip
    assert [answer_words.per_cent(p) for p in (0.9999, 0.93, 0.5, 0.001)] == [
        "over 99 %", "93 %", "50 %", "under 1 %",
    ]  # fmt: skip


def test_how_far_and_how_often_in_the_readers_units():
    peak = Peak(frequency=0.5, amplitude=8.8964432, low=0.4, high=0.6, width=0.1, share=0.9,
                false_alarm=-20.0, line=10.0)  # fmt: skip
    one = Oscillation("time", peak, 0.5, 0.5)
    # 1 lbf is 4.4482216 N; half a hertz is once in 2 s.
    said = answer_words.swing_in_words(one, 44.482216, US_CUSTOMARY)
    assert "2.0 lbf (20 % of the tension)" in said and "0.500 Hz, once in 2.00 s" in said
    moved = replace(one, axis="roll turns", lowest=0.4, highest=0.6)
    said = answer_words.swing_in_words(moved, 44.482216, METRIC)
    assert "0.400 to 0.600 Hz as the roll turns slower" in said
    moved = replace(moved, axis="web length")
    said = answer_words.swing_in_words(moved, 44.482216, METRIC)
    assert "0.400 to 0.600 Hz as the line runs slower" in said


def ranked(explanation, scores):
    """The explanation with these scores of causes, the rest shared out."""
    others = (1.0 - sum(scores.values())) / (len(explanation.causes) - len(scores))
    causes = [replace(one, score=scores.get(one.cause, others)) for one in explanation.causes]
    causes.sort(key=lambda one: -one.score)
    return replace(explanation, causes=tuple(causes), verdict=causes[0].cause)


def test_that_no_known_cause_fits_is_no_finding(film):
    real = explain_oscillation(invented_record(film, ROLL), film)
    said = answer_words.verdict_in_words(ranked(real, {CANNOT_TELL: 0.61}))
    assert said == "None of the known causes fits (61 %)."
    said = answer_words.verdict_in_words(ranked(real, {ROLL: 0.61}))
    assert said == "More likely than not (61 %): the roll is out of round."


def test_two_causes_are_open_and_what_tells_none_apart_is_said_once(film, monkeypatch):
    real = explain_oscillation(invented_record(film, ROLL), film)
    scores = {ROLL: 0.5, LOOP: 0.3, RINGING: 0.12}
    causes = tuple(
        replace(one, evidence=("it is a strict line", f"{one.cause} alone"), against=())
        for one in ranked(real, scores).causes
    )
    shown = replace(real, causes=causes, verdict=ROLL)
    monkeypatch.setattr(oscillation_answers, "explained", lambda *_: shown)
    app = opened(film)
    assert text_of(app).count("It is a strict line") == 1
    assert "strict line: a swing that keeps its frequency" in text_of(app).replace("*", "")
    less = next(e for e in app.expander if e.label.startswith("Less likely"))
    inside = " ".join(m.value for m in less.markdown)
    assert f"{RINGING} alone".capitalize() in inside
    assert f"{ROLL} alone".capitalize() not in inside
