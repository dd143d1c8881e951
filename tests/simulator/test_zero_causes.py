"""Ranking of what keeps a zero from returning: every answer tells, none proves."""

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.zero_causes import SMALL_TESTS, SPEAKS, ZERO_CAUSES, rank_zero_causes

ANSWERS = st.dictionaries(st.sampled_from(sorted(SMALL_TESTS)), st.booleans())


def keys(answers):
    return [ranked.cause.key for ranked in rank_zero_causes(answers)]


def test_without_evidence_the_cheapest_check_comes_first():
    found = rank_zero_causes({})
    assert [ranked.cause for ranked in found] == list(ZERO_CAUSES)
    assert found[0].cause.key == "friction"  # a few turns by hand
    assert found[-1].cause.key == "surface"  # roller and cell come off for it
    assert all(ranked.score == 0 and "yet" in ranked.words for ranked in found)


# Common practice, no source: which cause people look for after each answer.
@pytest.mark.parametrize(
    "answers, first",
    [
        ({"turning_helps": True}, "friction"),
        ({"same_each_time": False}, "friction"),
        ({"cable_changes_it": True}, "cable"),
        ({"wanders_when_warm": True}, "heat"),
        ({"bolts_change_it": True}, "bolts"),
        ({"was_hit": True}, "damaged"),
        ({"stays_with_channel": True}, "amplifier"),
        ({"returns_slowly": True}, "creep"),
        ({"bolts_change_it": True, "same_each_time": False, "turning_helps": False}, "bottoming"),
        ({"turning_helps": False, "cable_changes_it": False, "sides_differ": True,
          "same_each_time": True, "bolts_change_it": False}, "level"),
        ({"sides_differ": False, "wanders_when_warm": True, "turning_helps": True}, "heat"),
    ],
)  # fmt: skip
def test_answers_bring_a_cause_to_the_front(answers, first):
    found = keys(answers)
    if first == "heat" and len(answers) > 1:
        assert found.index("heat") < 2  # two lines of evidence against friction's one
    elif first == "bottoming":
        assert found.index("bottoming") < found.index("friction")
    else:
        assert found[0] == first


@pytest.mark.parametrize(
    "answers, last",
    [
        ({"turning_helps": False}, "friction"),
        ({"cable_changes_it": False}, "cable"),
        ({"wanders_when_warm": False}, "heat"),
        ({"bolts_change_it": False}, "bolts"),
        ({"was_hit": False}, "damaged"),
        ({"stays_with_channel": False}, "amplifier"),
        ({"returns_slowly": False}, "creep"),
    ],
)
def test_answers_send_a_cause_to_the_back(answers, last):
    assert keys(answers)[-1] == last


@pytest.mark.parametrize("test", SMALL_TESTS)
@pytest.mark.parametrize("answer", [True, False])
def test_every_answer_tells_something(test, answer):
    found = rank_zero_causes({test: answer})
    assert any(ranked.evidence_for or ranked.evidence_against for ranked in found)
    said = {text for ranked in found for text in ranked.evidence_for + ranked.evidence_against}
    assert said == {SMALL_TESTS[test].yes if answer else SMALL_TESTS[test].no}


def test_every_cause_can_be_spoken_for_and_against():
    for cause in ZERO_CAUSES:
        speaks = [pair for table in SPEAKS.values() for pair in [table.get(cause.key, (0, 0))]]
        assert any(max(pair) > 0 for pair in speaks), cause.key
        assert any(min(pair) < 0 for pair in speaks), cause.key


def test_the_table_names_only_what_there_is():
    assert set(SPEAKS) == set(SMALL_TESTS)
    known = {cause.key for cause in ZERO_CAUSES}
    assert all(set(table) <= known for table in SPEAKS.values())
    assert len(known) == len(ZERO_CAUSES)


@given(ANSWERS)
def test_nothing_is_claimed_and_nothing_lost(answers):
    found = rank_zero_causes(answers)
    assert sorted(keys(answers)) == sorted(cause.key for cause in ZERO_CAUSES)
    assert [ranked.score for ranked in found] == sorted(
        (ranked.score for ranked in found), reverse=True
    )
    order = [cause.key for cause in ZERO_CAUSES]
    for one, other in itertools.pairwise(found):
        if one.score == other.score:
            assert order.index(one.cause.key) < order.index(other.cause.key)
    for ranked in found:
        assert not re.search(r"\b(certain|surely|proves?|is the cause|must be)\b", ranked.words)
        assert bool(ranked.evidence_for or ranked.evidence_against) == ("yet" not in ranked.words)


@given(ANSWERS, st.randoms())
def test_the_order_of_answers_does_not_matter(answers, random):
    turned = list(answers.items())
    random.shuffle(turned)
    assert rank_zero_causes(dict(turned)) == rank_zero_causes(answers)


def test_evidence_for_and_against_in_words():
    by_key = {one.cause.key: one for one in rank_zero_causes({"turning_helps": True})}
    assert by_key["friction"].evidence_for == ("turning the roller brings the reading back",)
    assert by_key["friction"].words == "may be it: check it early"
    assert by_key["bolts"].evidence_against == ("turning the roller brings the reading back",)
    assert by_key["bolts"].words == "less likely by these tests"
    both = {one.cause.key: one for one in
            rank_zero_causes({"same_each_time": False, "turning_helps": False})}  # fmt: skip
    assert both["friction"].words == "these tests leave it open"


def test_an_unknown_test_is_answered_with_the_list():
    with pytest.raises(ValueError, match="turning_helps") as error:
        rank_zero_causes({"full_moon": True})
    assert "full_moon" in str(error.value)
