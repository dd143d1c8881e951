"""The multinomial logit: probabilities, and the closed forms they must have."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tuning.oscillation import weights
from tuning.oscillation.causes import CAUSES
from tuning.oscillation.evidence import JUDGES
from tuning.oscillation.scores import BIAS, contributions, scores

VALUES = st.floats(-10.0, 10.0)


def test_two_causes_are_the_logistic_function():
    values = {"a": {"x": 2.0}, "b": {"y": 1.0}}
    table = {"a": {BIAS: 0.5, "x": 1.5}, "b": {BIAS: 0.0, "y": 0.5}}
    # l(a) = 3.5, l(b) = 0.5
    assert scores(values, table, doubt=0.0)["a"] == pytest.approx(
        1.0 / (1.0 + math.exp(-3.0)), rel=1e-14
    )
    assert contributions(values, table) == {"a": {"x": 3.0}, "b": {"y": 0.5}}


@given(st.lists(VALUES, min_size=3, max_size=3))
def test_scores_are_probabilities_and_weights_of_one_are_bayes(found):
    values = {str(i): {"x": value} for i, value in enumerate(found)}
    own = scores(values, {str(i): {BIAS: 0.0, "x": 1.0} for i in range(3)}, doubt=0.0)
    assert math.fsum(own.values()) == pytest.approx(1.0)
    total = math.fsum(math.exp(value) for value in found)
    for i, value in enumerate(found):
        assert own[str(i)] == pytest.approx(math.exp(value) / total)


def test_nothing_is_surer_than_the_doubt_leaves_it():
    weights = {str(i): {"x": 1.0} for i in range(9)}
    own = scores({str(i): {"x": 50.0 * (i == 0)} for i in range(9)}, weights, doubt=0.09)
    assert own["0"] == pytest.approx(0.91 + 0.01)
    assert own["5"] == pytest.approx(0.01)
    assert math.fsum(own.values()) == pytest.approx(1.0)


def test_huge_evidence_does_not_overflow():
    own = scores({"a": {"x": 1e5}, "b": {"x": -1e5}}, {"a": {"x": 1.0}, "b": {"x": 1.0}}, doubt=0.0)
    assert own == {"a": 1.0, "b": 0.0}


@pytest.mark.parametrize("table", [weights.WITH_SCENARIO, weights.WITHOUT_SCENARIO])
def test_each_piece_of_evidence_has_a_weight_and_none_speaks_backwards(table):
    assert list(table) == list(CAUSES)
    for cause, own in table.items():
        assert set(own) == {BIAS, *JUDGES[cause]}
        assert all(weight >= 0.0 for name, weight in own.items() if name != BIAS)
