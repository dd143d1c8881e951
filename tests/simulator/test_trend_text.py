"""Bytes of a trend file → a table: dialects, encodings, headers, cells that are no numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.trend_text import read_table

TIMES = np.arange(12) * 0.1
TENSIONS = 150.0 + np.arange(12) * 1.25


def lines(separator=",", decimal=".", header="time,tension"):
    rows = [header.replace(",", separator)] if header else []
    rows += [
        f"{t:.1f};{f:.2f}".replace(".", decimal).replace(";", separator)
        for t, f in zip(TIMES, TENSIONS, strict=True)
    ]
    return "\n".join(rows) + "\n"


def check(data, **expected):
    table = read_table(data if isinstance(data, bytes) else data.encode(), name="t.csv")
    np.testing.assert_allclose(table.columns[0], TIMES, rtol=1e-12)
    np.testing.assert_allclose(table.columns[1], TENSIONS, rtol=1e-12)
    for name, value in expected.items():
        assert getattr(table, name) == value
    return table


DIALECTS = [(s, d) for s in (",", ";", "\t", "|", " ", "   ") for d in ".," if s != d]


@pytest.mark.parametrize("separator, decimal", DIALECTS)
def test_separators_and_decimal_signs(separator, decimal):
    table = check(lines(separator, decimal), decimal=decimal, header=("time", "tension"))
    assert table.separator == separator[0]
    assert table.preview[0] == ("0" + decimal + "0", "150" + decimal + "00")


def test_decimal_comma_in_quotes_between_commas():
    rows = [f'"{t:.1f}","{f:.2f}"'.replace(".", ",") for t, f in zip(TIMES, TENSIONS, strict=True)]
    check('"time","tension"\n' + "\n".join(rows), decimal=",", separator=",")


def test_decimal_comma_between_bare_commas_is_refused():
    with pytest.raises(
        ValueError, match=r"t\.csv: its rows have 4 cells and its header 2: .*comma"
    ):
        read_table(lines(",", ",").encode(), name="t.csv")


@pytest.mark.parametrize(
    "cell, decimal, value",
    [
        ("1.234,5", ",", 1234.5),
        ("1,234.5", ".", 1234.5),
        ("12.345.678,25", ",", 12345678.25),
        ("1 234,5", ",", 1234.5),
        ("1\u202f234\u202f567,5", ",", 1234567.5),
        ("1'234.5", ".", 1234.5),
        ("1234,5", ",", 1234.5),
        ("-1.234,5", ",", -1234.5),
        ("1,2345e3", ",", 1234.5),
    ],
)
def test_thousands(cell, decimal, value):
    rows = "".join(f"{k}{decimal}5;{cell}\n" for k in range(10))
    table = read_table(("time;tension\n" + rows).encode(), name="t.csv")
    assert np.all(table.columns[1] == value)


@pytest.mark.parametrize(
    "encode",
    [
        lambda text: text.encode("utf-8"),
        lambda text: text.encode("utf-8-sig"),
        lambda text: text.encode("utf-16"),
        lambda text: text.encode("utf-16-le"),
        lambda text: text.encode("utf-16-be"),
        lambda text: text.encode("utf-32"),
        lambda text: text.encode("cp1252"),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(encode, end):
    text = lines(header="time,tension °ß").replace("\n", end)
    check(encode(text), header=("time", "tension °ß"))


def test_no_header():
    table = check(lines(header=""), header=("column 1", "column 2"), has_header=False, first_line=1)
    assert "no header" in table.notes[0]


def test_preamble_and_a_line_of_units():
    text = "Recorder 7\nStart;2024-05-01 06:00:00\nOperator;N. N.\n\n"
    table = check(text + lines(";", header="Time,Tension\n[s],N"), rows=12, first_line=7)
    assert table.header == ("Time [s]", "Tension [N]")


def test_header_in_a_remark_and_remarks_among_the_rows():
    text = lines(header="# made up,\n# time,tension").splitlines()
    text.insert(6, "# web stopped, operator called")
    table = check("\n".join(text), header=("time", "tension"))
    assert table.notes == ("1 line of remarks among the rows left out",)


def test_a_heading_in_blanks():
    check(lines("  ", header="").replace("0.0", "Zeit in s   Zug in N\n0.0", 1),
          header=("Zeit in s", "Zug in N"))  # fmt: skip


def test_trailing_separators_and_empty_columns():
    text = "\n".join(line + ";;" for line in lines(";").splitlines())
    assert len(check(text).columns) == 2
    named = "\n".join(
        line + (";spare" if k == 0 else ";") for k, line in enumerate(lines(";").splitlines())
    )
    assert np.isnan(check(named).columns[2]).all()


def test_a_last_line_cut_short_is_left_out():
    table = check(lines() + "1.2")
    assert table.notes == ("the last line is cut short and left out",)


def test_lines_with_too_many_cells_are_left_out():
    text = lines().splitlines()
    text.insert(5, "0.35,1,2,3,4,5,6")
    assert "1 line with more than 2 cells left out" in check("\n".join(text)).notes


def test_zero_bytes_of_a_power_failure():
    assert "power fails" in check(lines().encode() + b"\0" * 5000).notes[0]


@pytest.mark.parametrize(
    "word", ["NaN", "Bad", "---", "#N/A", "Infinity", "", "-inf", "OVR", "1e999"]
)
def test_cells_that_are_no_number_are_missing(word):
    text = lines().replace("153.75", word)
    table = read_table(text.encode(), name="t.csv")
    assert np.flatnonzero(np.isnan(table.columns[1])).tolist() == [3]


def test_text_among_numbers_is_counted_and_shown():
    table = read_table(lines().replace("153.75", "OVR").encode(), name="t.csv")
    assert table.notes == ("1 row with text in tension, such as 'OVR' in line 5: taken as missing",)


def test_a_stray_quotation_mark_does_not_swallow_the_file():
    text = lines(";").splitlines()
    text = [line + ';"12 roll' if k == 4 else line + ";" for k, line in enumerate(text)]
    assert check("\n".join(text)).rows == 12


def test_a_unit_in_every_cell_goes_to_the_name():
    rows = "".join(f"{k * 20} ms;{150 + k},5 N\n" for k in range(10))
    table = read_table(("t;F\n" + rows).encode(), name="t.csv")
    assert table.header == ("t [ms]", "F [N]")
    assert table.columns[1].tolist() == [150.5 + k for k in range(10)]


def test_texts_stay_texts_and_formulas_are_not_evaluated():
    rows = "".join(f"{k},{150 + k},=1+1,true\n" for k in range(10))
    table = read_table(("t,F,x,auto\n" + rows).encode(), name="t.csv")
    assert set(table.columns[2]) == {"=1+1"} and set(table.columns[3]) == {"True"}


@pytest.mark.parametrize(
    "data, says",
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"PK\x03\x04 rest", "spreadsheet or zip.*export the trend as CSV"),
        (b"\x89PNG\r\n\x1a\n", "is a picture"),
        (b"%PDF-1.7", "is a PDF"),
        (bytes(range(256)) * 20, "is not text"),
        (b"just some words\nand more of them\n", "no table found"),
        (b'{"time": [1, 2], "tension": [3, 4]}', "no table found"),
        (b"a" * 200_000, "more than 100000 characters"),
        (b"1;2\n" * 2_000_002, "more than 2000000 rows"),
        (b"1;2\n" * 12_500_001, r"has 50 MB; at most 50 MB"),
        ((b"1;" * 300 + b"1\n") * 20, "has 301 columns; at most 200"),
    ],
)  # fmt: skip
def test_refused_with_one_clear_line(data, says):
    with pytest.raises(ValueError, match=says) as caught:
        read_table(data, name="odd\nname.csv")
    assert str(caught.value).startswith("odd name.csv: ") and "\n" not in str(caught.value)


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.binary(max_size=400), st.text(max_size=300).map(str.encode)))
def test_any_bytes_give_a_table_or_a_reason(data):
    try:
        table = read_table(data, name="x")
    except ValueError as error:
        assert str(error).startswith("x: ")
    else:
        assert len(table.columns) == len(table.header) and table.rows > 0


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.lists(
            st.sampled_from(
                [
                    "1",
                    "2,5",
                    "3.5",
                    "",
                    '"',
                    '"a',
                    "x",
                    "#",
                    "//",
                    "NaN",
                    "12:00",
                    "1.1.24",
                    "-",
                    "%",
                ]
            ),
            max_size=5,
        ),
        max_size=12,
    ),
    st.sampled_from([",", ";", "\t", "|", " "]),
)
def test_nearly_a_table_gives_a_table_or_a_reason(cells, separator):
    try:
        table = read_table("\n".join(map(separator.join, cells)).encode(), name="x")
    except ValueError as error:
        assert str(error).startswith("x: ")
    else:
        for column in table.columns:
            assert len(column) == table.rows
