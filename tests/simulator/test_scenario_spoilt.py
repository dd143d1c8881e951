"""Whatever is done to a scenario file, it is read or refused in plain lines."""

from dataclasses import replace
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import (
    ScenarioError,
    read_scenario,
    scenario_text,
    with_values,
)

FILM = (
    (Path(__file__).resolve().parents[2] / "scenarios" / "film_unwind.toml")
    .read_bytes()
    .decode("utf-8")
)
LINES = FILM.splitlines()
JUNK_TEXT = """\
nan inf -inf 1e400 -1 0 true [] {} [[]] 1979-05-27 07:32:00 0x10 1_000 [1,2] {a='b'} '' "m" "1"
"nan\\u0020m" "1e400m" "-1m" "0m" "1parsec" "1kg" "1N" "1s" "1%" "9**9**9m" "1m**9**9" "1,5m" "\\n"
"\\u0000m" "clutch" "pull\\u0020roll" "1e99N·m"
"""
JUNK = st.one_of(
    st.sampled_from(JUNK_TEXT.split()),
    st.text(max_size=20),
    st.text(max_size=20).map(repr),
    st.floats().map(repr),
    st.integers().map(str),
)
HEADERS = [line for line in LINES if line.startswith("[")]
INSERTED = st.one_of(
    st.sampled_from([line for line in LINES if line]),
    st.sampled_from(HEADERS),
    st.tuples(
        st.sampled_from(["clutch", "kind", "roll", "source", '"a\\nb"', "a.b", "x"]), JUNK
    ).map(" = ".join),
    st.text(max_size=30),
)


@st.composite
def spoilt(draw):
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        how = draw(st.sampled_from(["drop", "value", "key", "repeat", "insert", "swap"]))
        key, equals, _ = lines[at].partition(" = ")
        if how == "drop" and len(lines) > 1:
            del lines[at]
        elif how == "value" and equals:
            lines[at] = f"{key} = {draw(JUNK)}"
        elif how == "key":
            lines[at] = draw(st.text(max_size=12)) + equals + lines[at][len(key) + len(equals) :]
        elif how == "repeat":
            lines.insert(at, lines[at])
        elif how == "insert":
            lines.insert(at, draw(INSERTED))
        elif how == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
    return "\n".join(lines)


def read_or_refused(text):
    """Read a text; a refusal must be faults of one line each, and nothing else."""
    try:
        scenario = read_scenario(text, name="spoilt.toml")
    except ScenarioError as error:
        assert error.faults
        lines = str(error).splitlines()
        assert len(lines) == len(error.faults) == len(set(lines))
        assert all(line.startswith("spoilt.toml: ") and len(line) < 1000 for line in lines)
        return
    assert read_scenario(scenario_text(scenario)) == scenario
    assert isinstance(hash(scenario), int)
    assert all(scenario.warnings) or scenario.warnings == ()
    # What is read can be written anew, and changed.
    assert read_scenario(scenario_text(replace(scenario, source=""))) == scenario
    assert with_values(scenario, {"controller.Kc": 0.5}).controller.Kc == 0.5


@settings(max_examples=300, deadline=None)
@given(spoilt())
def test_a_spoilt_file_is_read_or_refused(text):
    read_or_refused(text)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_spoilt_bytes_are_read_or_refused(data):
    raw = bytearray(FILM.encode())
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    read_or_refused(bytes(raw))


@settings(max_examples=50, deadline=None)
@given(st.one_of(st.text(max_size=200), st.binary(max_size=200)))
def test_anything_is_read_or_refused(text):
    read_or_refused(text)


PLACES = """\
web.width span[1].length roller[1].load_cell zone torque_device.kind span roll.diameter
controller.Ti web title span[0].length title.x span[1]
"""
KEYS = st.one_of(st.sampled_from(PLACES.split()), st.text(max_size=10))
VALUES = st.one_of(
    st.none(), st.booleans(), st.floats(), st.integers(), st.text(max_size=10),
    st.sampled_from(["1 m", "2 s", "clutch", "rewind", "-5 N", "nan m"]),
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(KEYS, VALUES, max_size=4))
def test_any_change_is_made_or_refused(changes):
    scenario = read_scenario(FILM)
    try:
        new = with_values(scenario, changes)
    except ScenarioError as error:
        assert error.faults and len(str(error).splitlines()) == len(error.faults)
    else:
        assert read_scenario(scenario_text(new)) == new
    assert scenario_text(scenario) == FILM
