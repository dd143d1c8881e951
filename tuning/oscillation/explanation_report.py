"""An explanation printed for people."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from simulator.cautions import ADVICE
from simulator.units import METRIC, UnitSystem, sensible
from tuning.loop_health import health_in_words
from tuning.oscillation.answer_words import WORTH_SAYING, answer_in_words, per_cent
from tuning.oscillation.causes import CAUSES, NONE
from tuning.oscillation.explain import Explanation
from tuning.oscillation.remedy import LoopRemedy


def print_explanation(
    explanation: Explanation,
    out: Console,
    *,
    notes: tuple[str, ...] = (),
    remedy: LoopRemedy | None = None,
    units: UnitSystem = METRIC,
) -> None:
    """Print why the tension oscillates and what to do next.

    Args:
        explanation: of a record.
        out: where to print.
        notes: what the import did to the file.
        remedy: gains that hold, where the loop is the cause.
        units: the reader's.
    """
    out.print(f"\n[bold]{answer_in_words(explanation, units)}[/bold]\n")
    top = explanation.causes[0]
    chosen = next((one for one in explanation.causes if one.cause == explanation.verdict), top)
    out.print(f"Check next: {chosen.next_check}")
    if explanation.next_recording and explanation.next_recording not in chosen.next_check:
        out.print(f"A recording that would tell: {explanation.next_recording}")
    if explanation.verdict != NONE:
        out.print(f"What usually helps: {CAUSES[explanation.verdict].remedy}")
    table = Table(title="What speaks for and against", title_justify="left")
    for name, justify in (
        ("cause", "left"),
        ("chance", "right"),
        ("for", "left"),
        ("against", "left"),
    ):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    for one in explanation.causes:
        if one.score >= WORTH_SAYING:
            table.add_row(
                one.cause, per_cent(one.score), "; ".join(one.evidence),
                "; ".join(one.against),
            )  # fmt: skip
    out.print(table)
    for other in explanation.others:
        out.print(
            f"Beside it: {sensible(other.oscillation.frequency)} Hz, "
            f"{units.text(other.oscillation.amplitude, 'tension')}: {other.cause} "
            f"({per_cent(other.score)})"
        )
    if remedy is not None:
        out.print(_remedy(remedy, units))
    _list(out, "Could not be checked", explanation.not_checked)
    _list(out, "The loop in numbers", health_in_words(explanation.health))
    _list(out, "About the record", (*notes, *explanation.warnings))
    out.print(f"\n{ADVICE}")


def _remedy(remedy: LoopRemedy, units: UnitSystem) -> str:
    before, after = remedy.margins_before, remedy.margins_after
    was = f"Ms {before.Ms:.2f}" if before.stable else "unstable"
    return (
        f"Gains at work: Kc {remedy.before.Kc:.4g}, Ti {remedy.before.Ti:.4g} s ({was}). For the "
        f"whole roll: Kc {remedy.after.Kc:.4g}, Ti {remedy.after.Ti:.4g} s (Ms {after.Ms:.2f} "
        f"here). In simulation the web's tension then swings by "
        f"{units.text(remedy.swing_after, 'tension')} rms instead of "
        f"{units.text(remedy.swing_before, 'tension')}."
    )


def _list(out: Console, title: str, lines: tuple[str, ...]) -> None:
    if lines:
        out.print(f"\n{title}:")
        for line in lines:
            # A column may be named "PV [N]", which is no markup.
            out.print(f"  - {line}", soft_wrap=True, markup=False)
