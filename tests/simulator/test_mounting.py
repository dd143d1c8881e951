"""The mounting checklist: whole, in the order of the work, and safe first."""

import re
from dataclasses import astuple

import pytest

from simulator.cautions import CAUTIONS
from simulator.mounting import MOUNTING_CAUTIONS, MOUNTING_STEPS

TITLES = [step.title for step in MOUNTING_STEPS]


def at(word):
    (found,) = [i for i, title in enumerate(TITLES) if word in title.lower()]
    return found


def test_the_order_of_the_work():
    order = ["safe", "flat", "holes", "way round", "centred", "bolts in passes", "strain",
             "bearing free", "level", "cables", "calibrate"]  # fmt: skip
    places = [at(word) for word in order]
    assert places == sorted(places)
    assert places[0] == 0 and places[-1] == len(MOUNTING_STEPS) - 1


# What the trade has on the list, common practice, no source: where it is to be found.
@pytest.mark.parametrize(
    "words, title",
    [
        ("lock", "safe"), ("start", "safe"), ("slings", "safe"), ("straightedge", "flat"),
        ("square", "holes"), ("resultant", "way round"), ("arrow", "way round"),
        ("middle of the web", "centred"), ("crosswise", "bolts in passes"),
        ("torque", "bolts in passes"), ("depth", "too long"), ("caps loose", "strain"),
        ("float", "bearing free"), ("parallel", "level"), ("loop", "cables"),
        ("power", "cables"), ("zero", "calibrate"),
    ],
)  # fmt: skip
def test_each_point_has_its_place(words, title):
    step = MOUNTING_STEPS[at(title)]
    assert words in " ".join(astuple(step)).lower()


def test_zero_before_span():
    text = MOUNTING_STEPS[-1].what_to_do
    assert text.index("set zero") < text.index("set the span") < text.rindex("zero again")


def test_every_step_is_whole():
    assert len(set(TITLES)) == len(TITLES)
    for step in MOUNTING_STEPS:
        for text in astuple(step)[1:]:
            assert text[0].isupper() and text.endswith("."), text
        assert len({step.what_to_do, step.why, step.done_when}) == 3


@pytest.mark.parametrize("words", ["locked out", "rated", "manual", "under a hung", "Local codes"])
def test_cautions_are_given(words):
    assert any(words in line for line in MOUNTING_CAUTIONS)


def test_cautions_do_not_say_again_what_is_shown_anyway():
    def parts(line):
        return set(re.findall(r"[a-z]{4,}", line.lower()))

    for line in MOUNTING_CAUTIONS:
        for other in CAUTIONS:
            shared = len(parts(line) & parts(other)) / min(len(parts(line)), len(parts(other)))
            assert shared < 0.6, (line, other)
