"""Each observation by made-up findings: the sign of its value, and words that say the same."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simulator import load_scenario
from tests.conftest import ROOT
from tuning.gains import Gains
from tuning.oscillation import frequency_evidence as frequency
from tuning.oscillation import loop_evidence as loop
from tuning.oscillation import shape_evidence as shape
from tuning.oscillation.causes import CAUSES
from tuning.oscillation.cross import Coherence
from tuning.oscillation.detection import Oscillation
from tuning.oscillation.evidence import JUDGES, evidence
from tuning.oscillation.findings import Findings
from tuning.oscillation.load_oscillation import LoadOscillations
from tuning.oscillation.loop_seen import LoopSeen
from tuning.oscillation.machine_frequencies import MachineFrequency
from tuning.oscillation.odd_or_even import OddOrEven
from tuning.oscillation.orders import Following
from tuning.oscillation.piece_of_evidence import NOTHING, opposite
from tuning.oscillation.record import Record
from tuning.oscillation.regularity import Regularity
from tuning.oscillation.spectrum import Peak
from tuning.oscillation.wave_shape import WaveShape

F, N, H = 1.2, 2000, 0.05
FILM = load_scenario(ROOT / "scenarios" / "film_unwind.toml")
FOIL = load_scenario(ROOT / "scenarios" / "foil_unwind.toml")
ROW = np.full(N, np.nan)
PEAK = Peak(F, 3.0, 1.1, 1.3, 0.0, 0.6, -12.0, -8.0)
FLAT = np.zeros(0)


def wave(third=0.0, harmonics=(3.0, 0.1, 0.1, 0.0, 0.0), swiftness=0.31, triangularity=0.0):
    return WaveShape(harmonics[0], np.array(harmonics), third, 0.01, 0.0, 0.01, 0.0,
                     triangularity, 0.0, swiftness, FLAT, FLAT, FLAT, F, 0.0, 99, 0.1)  # fmt: skip


def made(**given):
    """Findings of one swing of 3 N at 1.2 Hz in 100 N, nothing else known unless given."""
    columns = {
        name: given.pop(name, ROW) for name in ("output", "setpoint", "line_speed", "diameter")
    }
    record = Record(H, np.full(N, 100.0), automatic=np.ones(N), **columns)
    record = replace(record, mode_inferred=given.pop("mode_inferred", False))
    peak = replace(PEAK, **given.pop("peak", {}))
    found = Oscillation("time", peak, peak.frequency, peak.frequency)
    scenario = given.pop("scenario", None)
    return replace(Findings(record, scenario, found, np.full(N, 3.0)), **given)


def line(kind, at, spread=0.005, name="it"):
    one = MachineFrequency(name, kind, np.array([at]), np.array([spread * at]), {1: 0.7, 2: 0.3})
    return {"machine": (one,)}


def seen(Ms=1.5, outside=1.0, least=1.0, at=F):
    one = np.array([1.0])
    return {"loop": LoopSeen(Gains(0.1, 0.5), "scenario", at * one, 0.1 * one, Ms * one,
                             outside * one, least * one)}  # fmt: skip


def goes(share, coherence=0.95, pieces=16):
    return Coherence(coherence, 0.2, pieces, 0.01, 0.01, 3.0, share * 3.0, 300.0, 0.0)


def follows(**given):
    return {"following": Following(**given)}


MODE = {"automatic": 0.0}
CASES = {
    "at its turn": (frequency.matched("roll"), line("roll", F), +1, "is the turn"),
    "at twice its turn": (frequency.matched("roll"), line("roll", 0.6), +1, "2 times the turn"),
    "off its turn": (frequency.matched("roll"), line("roll", 1.5), -1, "is not the turn"),
    "off its swing": (frequency.matched("swing"), line("swing", 5.0, 0.1), -1, "hardly"),
    "nothing has it": (frequency.no_part, line("roll", 3.0), +1, "no turn that is known"),
    "something has it": (frequency.no_part, line("roll", F), -1, "is one that"),
    "the loop's own": (frequency.loop_frequency, seen(), +1, "itself would swing"),
    "not the loop's": (frequency.loop_frequency, seen(at=6.0), -1, "not at"),
    "follows turns": (
        frequency.follows_turns, follows(angle_over_time=9.0, angle_over_length=5.0), +1,
        "follows the turns",
    ),
    "length as well": (
        frequency.follows_turns, follows(angle_over_time=9.0, angle_over_length=-5.0), -1,
        "does not follow the turns",
    ),
    "follows length": (
        frequency.follows_length, follows(length_over_time=9.0, angle_over_length=-5.0), +1,
        "follows the line speed",
    ),
    "turns, not length": (
        frequency.follows_length, follows(length_over_time=9.0, angle_over_length=5.0), -1,
        "not follow the line speed alone",
    ),
    "not the diameter": (
        frequency.follows_length, follows(angle_over_length=-5.0), +1, "roll's diameter",
    ),
    "stays": (frequency.stays, follows(length_over_time=-8.0), +1, "stays"),
    "does not stay": (frequency.stays, follows(length_over_time=8.0), -1, "moves"),
    "usual": (frequency.usual_pace, {}, +1, "usual"),
    "a little slow": (frequency.usual_pace, {"peak": {"frequency": 0.6}}, +1, "usual"),
    "slow": (frequency.usual_pace, {"peak": {"frequency": 0.05}}, -1, "slow"),
    "below the swing": (frequency.slow, line("swing", 20.0), +1, "slower than"),
    "above the swing": (frequency.slow, line("swing", 0.5), -1, "faster than"),
    "light": (
        frequency.lightly_damped,
        {"scenario": FILM, "swing_damping": np.array([0.02]), **line("swing", F)}, +1, "0.02",
    ),
    "heavy": (
        frequency.lightly_damped,
        {"scenario": FILM, "swing_damping": np.array([0.5]), **line("swing", F)}, -1, "0.5",
    ),
    "less damped": (
        frequency.less_damped,
        {"swing_damping": np.array([0.1]), "regularity": Regularity(0.8, 5, 9, 0.97, 0.94, 0.01)},
        +1, "by 0.01 of critical",
    ),
    "its own damping": (
        frequency.less_damped,
        {"swing_damping": np.array([0.05]), "regularity": Regularity(0.8, 5, 9, 0.8, 0.7, 0.05)},
        -1, "alone by 0.05",
    ),
    "automatic": (loop.automatic, {"automatic": 1.0}, +1, "in automatic"),
    "manual": (loop.automatic, MODE, -1, "in manual"),
    "in manual": (loop.not_automatic, MODE, +1, "in manual"),
    "larger in automatic": (loop.stops_in_manual, {"mode_ratio": 2.0}, +1, "times as large"),
    "as large in manual": (loop.stops_in_manual, {"mode_ratio": 0.0}, -1, "times as large"),
    "goes on": (loop.goes_on_in_manual, {"mode_ratio": 0.1}, +1, "times as large"),
    "feeds itself": (loop.sustains_itself, seen(outside=0.1), +1, "only 10 %"),
    "from outside": (loop.sustains_itself, seen(outside=1.4), -1, "from outside the loop"),
    "may feed itself": (loop.least_outside, seen(least=0.1), +1, "may feed it"),
    "can not": (loop.least_outside, seen(least=0.9), -1, "can't feed it"),
    "tight": (loop.margins, seen(Ms=6.0), +1, "above 2 it rings"),
    "Ms of 2.5": (loop.margins, seen(Ms=2.5), +1, "above 2"),
    "sound": (loop.margins, seen(Ms=1.4), -1, "Ms is 1.4"),
    "unstable": (loop.margins, seen(Ms=20.0), +1, "unstable"),
    "works": (
        loop.output_works,
        {"output": np.full(N, 40.0), "output_shape": 2.0}, +1, "times as far",
    ),
    "brake": (loop.can_stick, {"scenario": FILM}, +1, "may stick"),
    "motor": (loop.can_stick, {"scenario": FOIL}, -1, "hardly sticks"),
    "speed goes with it": (loop.moved, {"speed": goes(0.95)}, +1, "goes with the recorded line"),
    "speed does not": (loop.moved, {"speed": goes(0.2, 0.1)}, -1, ""),
    "speed gives way": (
        loop.moved, {"speed": goes(0.95), "speed_share": 0.05, "automatic": 1.0}, -1, "",
    ),
    "setpoint": (
        loop.moved, {"setpoint_": goes(0.95), "setpoint_together": True, "automatic": 1.0}, +1,
        "goes with the recorded setpoint",
    ),
    "setpoint in manual": (
        loop.moved, {"setpoint_": goes(0.95), "setpoint_together": True, **MODE}, -1, "",
    ),
    "enough": (loop.speed_enough, {"speed_share": 1.1}, +1, "110 %"),
    "too little": (loop.speed_enough, {"speed_share": 0.1}, -1, "10 %"),
    "chance": (shape.by_chance, {"peak": {"false_alarm": -2.5}}, +1, "may be chance"),
    "no chance": (shape.by_chance, {"peak": {"false_alarm": -4.0}}, -1, "no such peak"),
    "regular": (shape.irregular, {"regularity": Regularity(0.8, 5.0, 9, 0.9, 0.81, 0.03)}, -1,
                "regularly"),
    "irregular": (shape.irregular, {"regularity": Regularity(0.8, 0.4, 9, 0.3, 0.1, 0.3)}, +1,
                  "irregularly"),
    "forgets": (shape.dies_away, {"regularity": Regularity(0.8, 1.0, 9, 0.5, 0.25, 0.2)}, +1,
                "25 % of it"),
    "goes on and on": (shape.dies_away, {"regularity": Regularity(0.8, 9.0, 9, 0.99, 0.98, 0.0)},
                       -1, "98 % of it"),
    "faint": (shape.faint, {"peak": {"share": 0.02}}, +1, "2 %"),
    "most of it": (shape.faint, {"peak": {"share": 0.9}}, -1, "90 %"),
    "strict": (shape.sharp, {}, +1, "strict line, as of"),
    "blurred": (shape.sharp, {"peak": {"line": 0.0}}, -1, "no strict line"),
    "comes and goes": (shape.comes_and_goes, {"unevenness": 0.6}, +1, "comes and goes"),
    "steady": (shape.comes_and_goes, {"unevenness": 0.05}, -1, "steady"),
    "square": (shape.square, {"reading": wave(third=0.3)}, +1, "like a square"),
    "no square": (shape.square, {"reading": wave()}, -1, "no square"),
    "swift": (shape.swift, {"reading": wave(swiftness=0.8)}, +1, "80 %"),
    "triangle": (shape.triangular, {"output_": wave(third=-0.11)}, +1, "like a triangle"),
    "no triangle": (shape.triangular, {"output_": wave(third=0.1)}, -1, "no triangle"),
    "a quarter apart": (shape.quarter, {"lag": OddOrEven(0.9, 0.9, 0.1, 1.0, "odd")}, +1,
                        "are a quarter"),
    "not a quarter apart": (shape.quarter, {"lag": OddOrEven(0.0, 0.1, 1.0, 1.0, "even")}, -1,
                            "are not a quarter"),
    "multiples": (shape.harmonics, {"reading": wave(harmonics=(3.0, 1.5, 0.9, 0, 0))}, +1,
                  "no sine"),
    "sine": (shape.harmonics, {"reading": wave()}, -1, "nearly a sine"),
    "keeps coming": (shape.keeps_coming,
                     {"loads": LoadOscillations(FLAT, FLAT, 1.0, 40, 20.0, 30.0)}, +1, "1 %"),
    "few": (shape.few_swings, {"peak": {"frequency": 0.03}}, +1, "3 swings"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_value_and_words_say_the_same(name):
    judge, given, sign, words = CASES[name]
    given = dict(given)
    if "output_" in given:
        given |= {"output": np.full(N, 40.0)}
    findings = made(**{k: v for k, v in given.items() if not k.endswith(("_", "_shape"))})
    if "setpoint_" in given:
        findings = replace(findings, setpoint=given["setpoint_"])
    if "output_" in given:
        findings = replace(findings, output=given["output_"])
    if "output_shape" in given:
        moved = wave(harmonics=(given["output_shape"], 0, 0, 0, 0))
        findings = replace(findings, reading=wave(), output=moved, automatic=1.0)
    found = judge(findings)
    assert math.copysign(1.0, found.value) == sign and abs(found.value) > 0.1
    assert words in found.words
    turned = opposite(judge)(findings)
    assert (turned.value, turned.words) == (-found.value, found.words)


def test_a_tenth_of_a_match_is_worth_less_the_more_bodies_there_are():
    """A frequency that one of ten bodies has is less of a surprise than that of the only one."""
    one = line("roller", F)["machine"]
    far = tuple(line("roller", at)["machine"][0] for at in np.geomspace(3.0, 9.0, 9))
    alone, among = (frequency.match(made(machine=all_), all_) for all_ in (one, one + far))
    assert alone - among == pytest.approx(math.log(10.0), abs=0.05)


UNKNOWN = {
    "turn", "swing", "mains", "folded", "follows turns", "follows length", "frequency", "margins",
    "sustains itself", "square", "triangle", "quarter", "device", "enough", "damping",
    "stops in manual", "both modes",
}  # fmt: skip


def test_what_is_not_known_says_nothing():
    for cause, own in evidence(made()).items():
        for name, piece in own.items():
            if name in UNKNOWN:
                assert piece == NOTHING, (cause, name)


def test_a_mode_read_off_the_output_is_half_as_sure():
    sure, less = (
        loop.automatic(made(automatic=0.0, mode_inferred=inferred)) for inferred in (False, True)
    )
    assert less.value == pytest.approx(0.5 * sure.value)
    assert "seems" in less.words


def test_a_peak_that_may_be_chance_keeps_nothing_coming():
    loads = LoadOscillations(FLAT, FLAT, 1.0, 40, 20.0, 30.0)
    assert shape.keeps_coming(made(loads=loads, peak={"false_alarm": -0.5})) == NOTHING


def test_every_cause_has_evidence():
    assert list(JUDGES) != [] and set(JUDGES) == set(CAUSES)
