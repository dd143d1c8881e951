"""Whole trend files: what was written comes back, whatever the way of writing; faults in words."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Action, simulate
from simulator.trend_columns import ColumnUse
from simulator.trend_import import import_trend

N = 60
OWN = ("time", "tension", "output", "setpoint", "line_speed", "diameter", "automatic")


def text(header, row, count=N):
    return "\n".join([header, *(row(k) for k in range(count))]) + "\n"


def tension(k):
    return 150.0 + 20.0 * np.sin(0.7 * k)


def read(header, row, count=N, **options):
    return import_trend(text(header, row, count).encode(), name="t.csv", **options)


def test_the_projects_own_file_comes_back(film):
    trend = simulate(film, [Action(1.0, "automatic")], duration=3.0)
    result = import_trend(trend.to_csv().encode())
    for name in OWN:
        np.testing.assert_allclose(
            getattr(result.trend, name), getattr(trend, name), rtol=1e-9, atol=1e-9
        )
    assert len(result.notes) == 1 and "no sample missing" in result.notes[0]


def test_only_time_and_tension_are_needed():
    trend = read("time_s,tension_N", lambda k: f"{k / 10},{tension(k)}").trend
    for name in OWN[2:]:
        assert np.isnan(getattr(trend, name)).all() and getattr(trend, name).shape == (N,)


FORMATS = {
    "s": ("Time [s]", lambda s: f"{s:.3f}"),
    "ms": ("Time [ms]", lambda s: f"{1000 * s:.0f}"),
    "min": ("Time [min]", lambda s: f"{s / 60:.9f}"),
    "epoch s": ("Time", lambda s: f"{1714543200 + s:.3f}"),
    "epoch ms": ("Timestamp", lambda s: f"{1714543200000 + 1000 * s:.0f}"),
    "iso": ("Time", lambda s: str(np.datetime64("2024-05-31T23:59:58.000") + int(1000 * s + 0.5))),
    "d.m.y": ("Time", lambda s: _day(s, "{2}.{1}.{0} {3}")),
    "m/d/y": ("Time", lambda s: _day(s, "{1}/{2}/{0} {3}")),
    "clock": ("Time", lambda s: _day(s, "{3}")),
}


def _day(s, form):
    stamp = str(np.datetime64("2024-05-31T23:59:58.000") + int(1000 * s + 0.5))
    return form.format(*stamp[:10].split("-"), stamp[11:])


@settings(max_examples=120, deadline=None)
@given(
    form=st.sampled_from(sorted(FORMATS)),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    unit=st.sampled_from([("N", 1.0), ("kN", 1e-3), ("lbf", 1 / 4.4482216152605)]),
    own_line=st.booleans(),
    preamble=st.integers(0, 4),
    quoted=st.booleans(),
    interval=st.sampled_from([0.01, 0.05, 0.1, 0.25]),
    count=st.integers(12, 80),
    seed=st.integers(0, 99),
)
def test_a_trend_written_in_any_way_comes_back(
    form, separator, decimal, encoding, end, unit, own_line, preamble, quoted, interval, count, seed
):
    random = np.random.default_rng(seed)
    values = random.normal(150.0, 30.0, count)
    output = random.uniform(0.0, 100.0, count)
    automatic = np.arange(count) >= count // 2
    name, write = FORMATS[form]
    quoted = quoted or separator == decimal
    units = ["s" if "[" in name else "", unit[0], "%", ""]
    names = [name, "Tension", "Controller output", "Mode °"]
    head = [names, units] if own_line else None
    if head is None:
        names[1:3] = [f"Tension ({unit[0]})", "Controller output (%)"]
        head = [names]
    elif "[" in name:
        names[0] = "Time"
        units[0] = name.split("[")[1][:-1]
    rows = []
    for k in range(count):
        stamp = write(k * interval)
        plain = form in ("s", "ms", "min", "epoch s", "epoch ms")
        cells = [stamp.replace(".", decimal) if plain else stamp]
        cells += [f"{x:.7f}".replace(".", decimal) for x in (values[k] * unit[1], output[k])]
        rows.append([*cells, "AUTO" if automatic[k] else "MAN"])
    mark = '"' if quoted else ""
    lines = ["Invented recorder"] * preamble
    lines += [separator.join(mark + cell + mark for cell in cells) for cells in head + rows]
    result = import_trend((end.join(lines) + end).encode(encoding), name="t")
    assert result.interval == pytest.approx(interval, rel=1e-6)
    np.testing.assert_allclose(result.trend.time, np.arange(count) * interval, atol=1e-6)
    np.testing.assert_allclose(result.trend.tension, values, atol=1e-3)
    np.testing.assert_allclose(result.trend.output, output, atol=1e-4)
    assert np.array_equal(result.trend.automatic, automatic)


@settings(max_examples=120, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["0.1", "0.2", "1e300", "-5", "nan", "12:00:01", "x", "1.5.24", ""]),
            st.sampled_from(["150", "1e308", "-1e308", "Bad", "", "0", "1,5"]),
            st.sampled_from(["A", "M", "1", "", "?"]),
        ),
        min_size=1,
        max_size=40,
    ),
    st.booleans(),
)
def test_any_rows_are_used_or_refused(rows, counted):
    body = [f"{k / 10 if counted else a};{b};{c}" for k, (a, b, c) in enumerate(rows)]
    try:
        result = import_trend("\n".join(["time;tension;mode", *body]).encode(), name="t")
    except ValueError as error:
        assert all(line.startswith("t: ") for line in str(error).splitlines())
    else:
        assert np.isfinite(result.trend.tension).all() and result.trend.time[0] == 0.0
        np.testing.assert_allclose(np.diff(result.trend.time), result.interval, rtol=1e-9)


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_refused_with_the_files_name(data):
    with pytest.raises(ValueError, match=r"^odd: "):
        import_trend(data, name="odd")


def test_a_clock_past_midnight():
    result = read("Time,Tension [N]", lambda k: f"{(86370 + k) // 3600 % 24:02d}:"
                  f"{(86370 + k) // 60 % 60:02d}:{(86370 + k) % 60:02d},{tension(k)}")  # fmt: skip
    assert result.interval == 1.0 and result.trend.time[-1] == N - 1
    assert "the clock passes midnight 1 time: counted on" in result.notes


def test_date_clock_and_milliseconds_in_three_columns():
    result = read(
        "Date;Time;ms;Tension N",
        lambda k: f"01.05.2024;06:00:{k // 20:02d};{50 * (k % 20)};{tension(k):.6f}",
    )
    assert result.interval == pytest.approx(0.05)
    assert [use.unit for use in result.uses] == ["date", "clock time", "ms", "N"]
    np.testing.assert_allclose(result.trend.tension, [tension(k) for k in range(N)], atol=1e-6)


def test_ten_rows_a_second_under_one_stamp():
    result = read("Time,Tension N", lambda k: f"06:00:{k // 10:02d},{tension(k)}")
    assert result.interval == 0.1
    np.testing.assert_allclose(result.trend.tension, [tension(k) for k in range(N)], rtol=1e-12)


def test_missing_tension_is_filled_or_a_gap():
    result = read(
        "time_s,tension_N", lambda k: f"{k / 10},{'Bad' if k in (5, 6, 30, 31, 32, 33) else k}"
    )
    np.testing.assert_allclose(result.trend.tension, np.arange(30), atol=1e-9)
    said = "; ".join(result.notes)
    assert "6 rows without tension left out" in said
    assert "2 missing samples filled" in said and "52 % of the rows" in said  # 28 of 54


def test_slow_columns_are_held_or_joined():
    trend = read(
        "time_s,tension_N,setpoint_N,diameter_m,line_speed_m_per_s,automatic",
        lambda k: (
            f"{k / 10},{tension(k)},"
            + (f"{100 + k},{0.8 - k / 1000},2.5,{k // 30}" if k % 10 == 0 else ",,,")
        ),
    ).trend
    assert trend.setpoint.tolist() == [100.0 + k // 10 * 10 for k in range(N)]
    np.testing.assert_allclose(trend.diameter[:51], 0.8 - np.arange(51) / 1000, rtol=1e-12)
    assert np.all(trend.diameter[51:] == 0.75) and np.all(trend.line_speed == 2.5)
    assert trend.automatic.tolist() == [0.0] * 30 + [1.0] * 30


def test_a_long_hole_in_the_output_stays_unknown():
    result = read(
        "time_s,tension_N,output_percent",
        lambda k: f"{k / 10},{tension(k)},{'' if k in (3, 4) or 20 <= k < 30 else k}",
    )
    unknown = np.flatnonzero(np.isnan(result.trend.output))
    assert unknown.tolist() == list(range(20, 30)) and result.trend.output[3] == pytest.approx(3.0)
    assert "output is unknown in 10 samples" in result.notes


@pytest.mark.parametrize(
    "on, off",
    [("1", "0"), ("true", "false"), ("TRUE", "FALSE"), ("AUTO", "MAN"), ("Auto", "Manual"),
     ("A", "M"), ("on", "off"), ("yes", "no"), ("Automatic", "Hand")],
)  # fmt: skip
def test_automatic_and_manual(on, off):
    row = lambda k: f"{k / 10},{tension(k)},{on if k >= 20 else off}"  # noqa: E731
    assert read("t,tension N,Auto", row).trend.automatic.tolist() == [0.0] * 20 + [1.0] * 40
    uses = [ColumnUse(0, "time", "s"), ColumnUse(1, "tension", "N")]
    uses.append(ColumnUse(2, "automatic", "1 in manual"))
    inverted = read("t,tension N,Auto", row, uses=uses).trend.automatic
    # A word that names the mode means it, whatever 1 means.
    says_mode = on.lower() in ("auto", "a", "automatic")
    assert inverted[0] == (0.0 if says_mode else 1.0)


def test_chosen_columns_and_units():
    uses = [
        ColumnUse(0, "time", "ms"), ColumnUse(1, "tension", "4..20 mA of range"),
        ColumnUse(2, "diameter", "in radius"), ColumnUse(3, "line speed", "ft/min"),
    ]  # fmt: skip
    trend = read(
        "a,b,c,d", lambda k: f"{20 * k},{8 if k else 12},10,600", uses=uses, tension_range=600.0
    ).trend
    assert trend.tension[0] == pytest.approx(300.0) and trend.tension[1] == pytest.approx(150.0)
    assert trend.diameter[0] == pytest.approx(0.508) and trend.line_speed[0] == pytest.approx(3.048)


def test_no_times_but_an_interval():
    result = read("tension_N,x", lambda k: f"{tension(k)},1", interval=0.25)
    assert result.interval == 0.25 and result.trend.time[-1] == pytest.approx(0.25 * (N - 1))
    counted = read("Sample,Tension", lambda k: f"{k if k < 30 else k + 2},{k}", interval=0.5)
    assert counted.trend.time[-1] == pytest.approx(0.5 * (N + 1))


def test_a_constant_tension_is_noted():
    assert "tension never changes from 150 N" in " ".join(
        read("time_s,tension_N", lambda k: f"{k / 10},150").notes
    )


def test_a_signal_that_is_renewed_more_slowly_than_written_is_noted():
    result = read("time_s,tension_N", lambda k: f"{k / 10:.1f},{tension(k // 5)}", 400)
    assert "every 5th row: the signal is renewed every 0.5 s" in " ".join(result.notes)


@pytest.mark.parametrize(
    "header, row, says",
    [
        ("a,b,c", lambda k: f"{tension(k)},{k % 3},1", ["no column is known to be tension; choose "
         "one of a, b, c", "no column is known to be time"]),
        ("time_s,tension [PLI]", lambda k: f"{k},{tension(k)}", ["multiply it by the width"]),
        ("time_s,tension_%", lambda k: f"{k},{tension(k)}", ["tension_% as tension in % of range: "
         "give the tension range"]),
        ("time_s,tension_N", lambda k: f"{k ** 3 / 10},{tension(k)}", ["log at a fixed interval"]),
        ("Tag,Time,Value", lambda k: f"{'abc'[k % 3]}.PV,{k // 3},{tension(k)}", ["Tag names 3 "
         "signals by turns (a.PV, b.PV, c.PV)"]),
    ],
)  # fmt: skip
def test_refused_with_every_reason(header, row, says):
    with pytest.raises(ValueError) as caught:
        read(header, row)
    lines = str(caught.value).splitlines()
    assert len(lines) == len(says)
    for line, part in zip(lines, says, strict=True):
        assert line.startswith("t.csv: ") and part in line


def test_faults_in_what_is_chosen_are_listed_at_once():
    uses = [
        ColumnUse(0, "time", "clock time"), ColumnUse(1, "tension", "PLI"),
        ColumnUse(9, "output", "%"), ColumnUse(2, "diameter", "m"), ColumnUse(0, "colour", "m"),
    ]  # fmt: skip
    with pytest.raises(ValueError) as caught:
        read("t,F,note", lambda k: f"{k},{k},ok", uses=uses, interval=-1.0, tension_range=0.0)
    said = str(caught.value)
    for part in (
        "t as clock time: holds numbers, such as '0'", "F as tension in 'PLI': use N, kN",
        "column 9 for output: the file has t, F, note", "'colour' is no quantity",
        "note as diameter in m: holds text, such as 'ok'", "interval = -1 s: must be from",
        "tension range = 0 N: must be above",
    ):  # fmt: skip
        assert part in said
    assert len(said.splitlines()) == 7


def test_an_empty_tension_is_refused():
    uses = [ColumnUse(0, "time", "s"), ColumnUse(1, "tension", "N")]
    with pytest.raises(ValueError, match=r"t\.csv: tension has no number in any row"):
        read("time,tension,x", lambda k: f"{k},,1", uses=uses)
