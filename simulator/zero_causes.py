"""Where the zero does not return: what may be behind it, ranked by small tests at the machine.

Each test's answer speaks for some causes and against others (`SPEAKS`): 2 strongly, 1 somewhat,
below 0 against. A cause's score is the sum over the answers; without any, what is cheapest to check
comes first. The score orders the work and proves nothing: only the check beside a cause does.

Common practice of the trade, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class ZeroCause:
    """What may keep a zero from returning.

    Attributes:
        key: short name.
        name: for people.
        why: it moves the zero.
        check: what to look at, with the machine locked out wherever hands go near the roller.
    """

    key: str
    name: str
    why: str
    check: str


@dataclass(frozen=True)
class RankedCause:
    """A cause and what the tests say about it.

    Attributes:
        cause: itself.
        score: sum of what the answers speak for it, less what they speak against it.
        evidence_for: answers that speak for it, in words.
        evidence_against: answers that speak against it, in words.
        words: how it stands; never more than likely.
    """

    cause: ZeroCause
    score: int
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class SmallTest:
    """A question that is answered at the machine in a minute or two.

    Attributes:
        question: to be answered with yes or no.
        yes: what the answer yes says, in words.
        no: what the answer no says.
    """

    question: str
    yes: str
    no: str


# The cheapest to check first.
ZERO_CAUSES = (
    ZeroCause(
        "friction",
        "friction that holds a load",
        "Stiff bearings, seals or a rope that rubs hold the roller where the last load left it.",
        "Turn the roller a few turns by hand and read again; feel whether it turns freely.",
    ),
    ZeroCause(
        "cable",
        "cable, plug or shield",
        "A bad contact, moisture or a taut cable adds to a signal of millivolts.",
        "Move cable and plugs one by one while someone reads; look for water, a crushed sheath, a "
        "taut loop; swap the two cells' cables and see whether the offset goes along.",
    ),
    ZeroCause(
        "creep",
        "creep of a cell under a load that stays",
        "A cell, or what it is glued with, goes on giving under a lasting load and comes back as "
        "slowly.",
        "Leave the weight on for some minutes and watch, then leave it off as long; compare with "
        "the creep on the data sheet.",
    ),
    ZeroCause(
        "amplifier",
        "amplifier or its supply",
        "A supply that wanders or a channel that drifts moves the reading with no load moved.",
        "Swap the two cells' plugs at the amplifier and see whether the offset stays with the "
        "channel; measure the excitation.",
    ),
    ZeroCause(
        "damaged",
        "a cell that was overloaded",
        "A jam, a drop or a knock beyond what it bears bends a cell for good: its zero stays off, "
        "often far.",
        "Take the load off the cell, compare its bare signal with the zero balance and its bridge "
        "resistances with those on the data sheet; replace it if they are off.",
    ),
    ZeroCause(
        "bolts",
        "bolts tightened unevenly",
        "Uneven bolts clamp strain into the cell; each load lets some of it go.",
        "Loosen all bolts of a cell and tighten them crosswise in passes to the maker's torque, "
        "the roller held.",
    ),
    ZeroCause(
        "bottoming",
        "a bolt or stop that touches the cell's beam",
        "What touches the beam takes load past it, and does not let go at the same place.",
        "Compare bolt lengths with thread depths; push a feeler gauge through the cell's gap; look "
        "for dirt in it.",
    ),
    ZeroCause(
        "level",
        "roller out of level or out of parallel",
        "A crooked roller pushes on its cells from the side, and moves a little with each load.",
        "Put a machinist's level on the roller, and measure its distance to the next one at both "
        "ends.",
    ),
    ZeroCause(
        "heat",
        "both bearings fixed, so that heat pushes on the cells",
        "A shaft grows as it gets warm; held at both ends it pushes the cells apart.",
        "Look whether one bearing can float; read cold and warm and compare.",
    ),
    ZeroCause(
        "surface",
        "mounting surface that is not flat",
        "A cell bolted to a crooked face is bent, and settles anew after each load.",
        "With roller and cell off, lay a straightedge and feeler gauges over the face; look for "
        "paint, burrs and shims.",
    ),
)

SMALL_TESTS = {
    "turning_helps": SmallTest(
        "Turned a few turns by hand, does the reading come back?",
        "turning the roller brings the reading back",
        "turning the roller does not bring the reading back",
    ),
    "cable_changes_it": SmallTest(
        "Does moving cable and plugs change the reading?",
        "moving cable and plugs changes the reading",
        "moving cable and plugs changes nothing",
    ),
    "same_each_time": SmallTest(
        "Pressed by hand along the web's pull and then against it, does the roller come to rest at "
        "the same offset each time?",
        "the offset is the same after pressing either way",
        "the offset depends on which way the roller was pressed last",
    ),
    "returns_slowly": SmallTest(
        "Left alone for some minutes, does the reading creep back by itself?",
        "the reading creeps back by itself",
        "the reading stays where it is",
    ),
    "stays_with_channel": SmallTest(
        "With the two cells' plugs swapped at the amplifier, does the offset stay with the "
        "channel?",
        "the offset stays with the channel",
        "the offset goes with the cell",
    ),
    "was_hit": SmallTest(
        "Was there a jam, a drop or a hard knock since the zero was last right?",
        "there was a jam, a drop or a knock",
        "there was no jam, drop or knock",
    ),
    "sides_differ": SmallTest(
        "Do left and right cell, read apart, show different offsets?",
        "left and right show different offsets",
        "left and right show the same offset",
    ),
    "wanders_when_warm": SmallTest(
        "Does the reading wander while the machine warms up, and come back when it cools?",
        "the reading wanders with warmth",
        "the reading does not wander with warmth",
    ),
    "bolts_change_it": SmallTest(
        "Does loosening the bolts and tightening them in passes change the offset?",
        "loosening and tightening the bolts changes the offset",
        "loosening and tightening the bolts changes nothing",
    ),
}

# For each test and cause what the answers yes and no speak for it; what is not named speaks 0.
SPEAKS: dict[str, dict[str, tuple[int, int]]] = {
    "turning_helps": {
        "friction": (2, -2), "damaged": (-1, 0), "creep": (-1, 0), "amplifier": (-1, 0),
        "cable": (-1, 0), "bolts": (-1, 0), "bottoming": (-1, 0),
        "surface": (-1, 0),
    },
    "cable_changes_it": {
        "cable": (2, -2), "friction": (-1, 0), "bolts": (-1, 0), "bottoming": (-1, 0),
        "surface": (-1, 0), "level": (-1, 0),
    },
    "same_each_time": {
        "friction": (-2, 2), "bottoming": (-1, 1), "bolts": (1, -1), "surface": (1, -1),
        "level": (1, 0),
    },
    "returns_slowly": {
        "creep": (2, -2), "heat": (1, 0), "damaged": (-1, 0), "bolts": (-1, 0), "friction": (-1, 0),
    },
    "stays_with_channel": {
        "amplifier": (2, -2), "cable": (-1, 1), "damaged": (-2, 1), "bolts": (-2, 1),
        "bottoming": (-2, 1), "surface": (-2, 1), "creep": (-2, 1), "friction": (-2, 0),
        "level": (-1, 0), "heat": (-1, 0),
    },
    "was_hit": {
        "damaged": (2, -2), "bolts": (1, 0), "level": (1, 0),
    },
    "sides_differ": {
        "damaged": (1, -1), "amplifier": (1, -1), "bolts": (1, -1), "bottoming": (1, -1),
        "cable": (1, -1), "level": (1, -1),
        "surface": (1, 0), "heat": (-1, 1),
    },
    "wanders_when_warm": {
        "heat": (2, -2), "surface": (1, 0), "bolts": (1, 0), "cable": (1, 0),
    },
    "bolts_change_it": {
        "bolts": (2, -2), "surface": (2, -1), "bottoming": (1, -1), "cable": (-1, 0),
        "friction": (-1, 0),
    },
}  # fmt: skip


def rank_zero_causes(answers: Mapping[str, bool]) -> tuple[RankedCause, ...]:
    """Return all causes, the likeliest first; among equals the cheapest to check first.

    Args:
        answers: to some of `SMALL_TESTS`, True for yes; what was not tried is left out.

    Raises:
        ValueError: an answer to a test that is not known; names those that are.
    """
    unknown = [key for key in answers if key not in SMALL_TESTS]
    if unknown:
        raise ValueError(
            f"unknown tests {', '.join(map(repr, unknown))}; known: {', '.join(SMALL_TESTS)}"
        )
    ranked = [_judged(cause, answers) for cause in ZERO_CAUSES]
    return tuple(sorted(ranked, key=lambda one: -one.score))  # stable


def _judged(cause: ZeroCause, answers: Mapping[str, bool]) -> RankedCause:
    speaks_for, against, score = [], [], 0
    for key, test in SMALL_TESTS.items():
        if key not in answers:
            continue
        yes, no = SPEAKS[key].get(cause.key, (0, 0))
        speaks, text = (yes, test.yes) if answers[key] else (no, test.no)
        score += speaks
        if speaks > 0:
            speaks_for.append(text)
        elif speaks < 0:
            against.append(text)
    words = "nothing speaks for or against it yet"
    if speaks_for or against:
        words = "may be it: check it early" if score > 0 else "less likely by these tests"
        if score == 0:
            words = "these tests leave it open"
    return RankedCause(cause, score, tuple(speaks_for), tuple(against), words)
