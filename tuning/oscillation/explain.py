"""Why does the tension oscillate: the causes of one recording, ranked, with evidence for each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from simulator import Scenario, Trend
from tuning.loop_health import LoopHealth, loop_health
from tuning.oscillation import weights
from tuning.oscillation.causes import CANNOT_TELL, CAUSES, NONE
from tuning.oscillation.detection import Oscillation, oscillations
from tuning.oscillation.evidence import evidence, values_of
from tuning.oscillation.findings import Findings, findings
from tuning.oscillation.next_steps import check_for, not_checked, recording_that_tells
from tuning.oscillation.piece_of_evidence import Evidence
from tuning.oscillation.record import Record, as_record
from tuning.oscillation.scores import contributions, scores
from tuning.oscillation.thinning import thinned

# A cause is named from this score on; below it the record can't tell [-].
SURE_ENOUGH = 0.45
# Evidence that moves a cause by less is not worth a line [nats].
WORTH_A_LINE = 0.25
# Oscillations beside the main one that are looked at, and the least of it that counts [-].
MOST_OTHERS, LEAST_OTHER = 3, 0.15


@dataclass(frozen=True)
class RankedCause:
    """One cause with what speaks for and against it.

    Attributes:
        cause: its name.
        score: chance that it is the main cause [-]; all scores together are 1.
        evidence: what speaks for it, strongest first.
        against: what speaks against it, strongest first.
        next_check: what to check first.
    """

    cause: str
    score: float
    evidence: tuple[str, ...]
    against: tuple[str, ...]
    next_check: str


@dataclass(frozen=True)
class OtherOscillation:
    """An oscillation beside the main one.

    Attributes:
        oscillation: what was seen.
        cause: the likeliest one, or "cannot tell".
        score: of it [-].
    """

    oscillation: Oscillation
    cause: str
    score: float


@dataclass(frozen=True, eq=False)
class Explanation:
    """Why the tension of one recording oscillates.

    Attributes:
        findings: what was measured about the main oscillation.
        causes: all of them, the likeliest first.
        verdict: name of the cause, "none", or "cannot tell" where no score is high enough.
        others: oscillations beside the main one.
        health: numbers about the loop.
        not_checked: what could not be checked, and what it would take.
        next_recording: the recording that would tell the likeliest causes apart; empty where
            nothing is left to tell.
        warnings: what a reader should know.
    """

    findings: Findings
    causes: tuple[RankedCause, ...]
    verdict: str
    others: tuple[OtherOscillation, ...]
    health: LoopHealth
    not_checked: tuple[str, ...]
    next_recording: str
    warnings: tuple[str, ...] = ()

    @property
    def record(self) -> Record:
        """The recording on its even grid."""
        return self.findings.record

    @property
    def present(self) -> bool:
        """Whether the tension oscillates at all."""
        return self.findings.oscillation is not None and self.score_of(NONE) < 0.5

    def score_of(self, cause: str) -> float:
        """Return the score of a cause [-].

        Args:
            cause: its name.
        """
        return next(one.score for one in self.causes if one.cause == cause)


def explain_oscillation(
    trend: Trend,
    scenario: Scenario | None = None,
    *,
    diameter: float | None = None,
    line_speed: float | None = None,
) -> Explanation:
    """Explain why the tension of a recorded trend oscillates.

    Args:
        trend: recorded or simulated; time and tension are needed, output, setpoint, line speed,
            diameter and mode help.
        scenario: the machine; with it every frequency of the machine is known.
        diameter: of the roll, where the trend does not tell [m].
        line_speed: of the web, where the trend does not tell [m/s].

    Raises:
        ValueError: the trend is too short, uneven, or has no numbers for time or tension.
    """
    record = thinned(as_record(trend, scenario, diameter=diameter, line_speed=line_speed))
    found = oscillations(record)
    main = findings(record, scenario, found[0] if found else None)
    judged = evidence(main)
    table = _weights(scenario)
    score = scores(values_of(judged), table)
    verdict = verdict_of(score)
    return Explanation(
        findings=main,
        causes=_ranked(main, judged, score, table),
        verdict=verdict,
        others=_others(record, scenario, found) if verdict != NONE else (),
        health=_health(trend, scenario),
        not_checked=not_checked(main),
        next_recording=recording_that_tells(main, score),
        warnings=record.warnings,
    )


def verdict_of(score: Mapping[str, float]) -> str:
    """Return the cause that is named: the likeliest, or "cannot tell" where none is sure enough.

    Args:
        score: of each cause [-].
    """
    likeliest = max(score, key=lambda cause: score[cause])
    return likeliest if score[likeliest] >= SURE_ENOUGH else CANNOT_TELL


def _health(trend: Trend, scenario: Scenario | None) -> LoopHealth:
    if scenario is None:
        return loop_health(trend)
    return loop_health(
        trend,
        dead_time=scenario.torque_device.dead_time + scenario.load_cell.dead_time,
        output_low=scenario.controller.output_low,
        output_high=scenario.controller.output_high,
    )


def _weights(scenario: Scenario | None) -> dict[str, dict[str, float]]:
    return weights.WITHOUT_SCENARIO if scenario is None else weights.WITH_SCENARIO


def _ranked(
    main: Findings,
    judged: dict[str, dict[str, Evidence]],
    score: dict[str, float],
    table: dict[str, dict[str, float]],
) -> tuple[RankedCause, ...]:
    added = contributions(values_of(judged), table)
    ranked = []
    for cause in sorted(CAUSES, key=lambda name: -score[name]):
        names = sorted(judged[cause], key=lambda name: -abs(added[cause][name]))
        said = [
            (judged[cause][name].words, added[cause][name])
            for name in names
            if abs(added[cause][name]) >= WORTH_A_LINE and judged[cause][name].words
        ]
        ranked.append(
            RankedCause(
                cause=cause,
                score=score[cause],
                evidence=tuple(dict.fromkeys(words for words, value in said if value > 0.0)),
                against=tuple(dict.fromkeys(words for words, value in said if value < 0.0)),
                next_check=check_for(cause, main, score),
            )
        )
    return tuple(ranked)


def _others(
    record: Record, scenario: Scenario | None, found: tuple[Oscillation, ...]
) -> tuple[OtherOscillation, ...]:
    others = []
    for one in found[1 : MOST_OTHERS + 1]:
        if one.amplitude < LEAST_OTHER * found[0].amplitude:
            continue
        score = scores(values_of(evidence(findings(record, scenario, one))), _weights(scenario))
        named = {cause: value for cause, value in score.items() if cause != NONE}
        cause = verdict_of(named)
        others.append(OtherOscillation(one, cause, score[cause]))
    return tuple(others)
