"""Whatever is dropped on it: an answer or one clear message, and nothing else."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Trend, load_scenario
from simulator.trend_import import import_trend
from tests.conftest import ROOT
from tuning import explain_oscillation
from tuning.oscillation.answer_words import answer_in_words
from tuning.oscillation.explanation_json import explanation_as_json

FILM = load_scenario(ROOT / "scenarios" / "film_unwind.toml")


def answered(trend, scenario=None, **given):
    """Explain a trend; what comes must be whole."""
    found = explain_oscillation(trend, scenario, **given)
    json.dumps(explanation_as_json(found), allow_nan=False)
    assert math.fsum(one.score for one in found.causes) == pytest.approx(1.0)
    assert answer_in_words(found)
    return found


def from_file(data):
    """An answer, or one message that names the file."""
    try:
        trend = import_trend(data, name="mess.csv").trend
        answered(trend)
    except ValueError as error:
        assert str(error)


@given(st.binary(max_size=3000))
@settings(max_examples=150, deadline=None)
def test_any_bytes(data):
    from_file(data)


CELLS = st.one_of(
    st.floats(-1e6, 1e6).map(repr),
    st.sampled_from(["", "NaN", "inf", "---", "#N/A", "1,5", "1.234,5", "12:30:01", "AUTO", "0"]),
)


@given(
    rows=st.lists(st.lists(CELLS, min_size=2, max_size=5), min_size=0, max_size=60),
    separator=st.sampled_from([",", ";", "\t", " "]),
    header=st.sampled_from(["", "time,tension", "Time [s];PV [N];OP [%];Mode", "x;y"]),
    encoding=st.sampled_from(["utf-8", "utf-16", "cp1252", "utf-8-sig"]),
)
@settings(max_examples=100, deadline=None)
def test_any_table(rows, separator, header, encoding):
    lines = [header, *(separator.join(row) for row in rows)]
    from_file("\n".join(lines).encode(encoding, errors="replace"))


def column(n):
    """A column of n values of some shape."""
    rng = np.random.default_rng(n)
    return st.one_of(
        st.just(np.full(n, np.nan)),
        st.floats(-1e5, 1e5).map(lambda value: np.full(n, value)),
        st.tuples(st.floats(1e-3, 1e4), st.floats(0.001, 0.5)).map(
            lambda pair: pair[0] * (1.5 + np.sin(2 * np.pi * pair[1] * np.arange(n)))
        ),
        st.floats(1e-6, 1e6).map(lambda size: size * rng.standard_normal(n)),
        st.floats(1e-3, 1e3).map(lambda size: np.round(size * rng.standard_normal(n).cumsum())),
        st.integers(0, n - 1).map(lambda at: (np.arange(n) >= at).astype(float)),
        st.integers(0, n - 1).map(lambda at: (np.arange(n) == at) * 1e3),
    )


@given(st.data())
@settings(max_examples=120, deadline=None)
def test_any_trend(data):
    n = data.draw(st.sampled_from([20, 33, 64, 257, 1000]), label="samples")
    interval = data.draw(st.sampled_from([1e-3, 0.02, 1.0, 3600.0]), label="interval")
    columns = [data.draw(column(n), label=name) for name in ("y", "u", "r", "v", "D", "auto")]
    trend = Trend(interval * np.arange(n), *columns)
    scenario = data.draw(st.sampled_from([None, FILM]))
    try:
        answered(trend, scenario)
    except ValueError as error:
        assert str(error)


@pytest.mark.parametrize("diameter", [9.2e-266, 5e-324, 1e-10])
def test_a_roll_smaller_than_an_atom_is_refused(diameter):
    n = 400
    nan, t = np.full(n, np.nan), 0.01 * np.arange(n)
    trend = Trend(t, 50.0 + np.sin(t), nan, nan, np.ones(n), np.full(n, diameter), nan)
    with pytest.raises(ValueError, match="check its unit"):
        explain_oscillation(trend)
