"""The pretune report as readable text: tables with a sentence before each that says what it is."""

from __future__ import annotations

import math

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from simulator.cautions import ADVICE, CAUTIONS
from simulator.load_cell_words import answers
from simulator.machine import named_diameters, reading_of
from simulator.speed_advice import round_up
from simulator.speed_change import RampTension
from simulator.trend import SLACK_WEB, WEB_BREAK
from simulator.units import METRIC, sensible
from tuning.handover import Handover
from tuning.pretune import SETPOINT_OFF, Pretune
from tuning.tables import (
    form_rows,
    gains_in_words,
    kind_rows,
    model_in_words,
    number,
    schedule_in_words,
    schedule_rows,
)
from tuning.tolerance_words import sentences


def print_report(result: Pretune, console: Console, *, schedule: bool = False) -> None:
    """Print the whole report.

    Args:
        result: of `pretune`.
        console: to print on.
        schedule: whether to print the gain schedule, not only what it would buy [-].
    """
    scenario = result.scenario
    _heading(scenario.title, console)
    if scenario.note:
        _say(scenario.note, console)
    _say(f"Recommended: {gains_in_words(result.design.gains)}. {result.verdict.headline}", console)
    console.print()
    parts = [_load_cell, _points, _step_test, _rules, _recommended, _kinds, _schedule]
    if schedule and result.design.schedule.entries:
        parts.append(_schedule_points)
    elif result.design.schedule.worth_it:
        parts[-1] = _schedule_offered
    if result.tolerance is not None:
        parts.append(_tolerance)
    for part in (*parts, _speed_changes, _handover):
        part(result, console)
        console.print()
    if result.warnings:
        _heading("Watch out", console)
        for warning in result.warnings:
            _say(f"- {warning}", console)
        console.print()
    _heading("Before you go to the machine", console)
    for line in CAUTIONS:
        _say(f"- {line}", console)
    _say(ADVICE, console)


def _load_cell(result: Pretune, console: Console) -> None:
    _heading("Load cells", console)
    for answer in answers(result.load_cell, result.scenario, METRIC):
        _say(
            f"{answer.question} {answer.short[:1].upper()}{answer.short[1:]}. {answer.why}", console
        )
    advice = result.load_cell.calibration.rope_advice
    if result.load_cell.calibration.mass > 0.0:
        _say(f"{advice[:1].upper()}{advice[1:]}.", console)
    _say(f"With the recommended gains: {' '.join(result.gain_errors.words)}", console)


def _points(result: Pretune, console: Console) -> None:
    table = _table("Manual output that holds the tension, and the machine there", console)
    for heading in (
        "roll", "diameter\nmm", "line\nm/min", "output\n%", "torque\nN·m", "slip power\nW",
        "N per %", "gain\n%/%", "swing\nHz", "damping\n-", "turns\nHz",
    ):  # fmt: skip
        table.add_column(heading, justify="left" if heading == "roll" else "right")
    for p in result.points:
        point, plant = p.point, p.plant
        table.add_row(
            p.name,
            f"{1000.0 * point.diameter:.0f}",
            f"{60.0 * point.line_speed:.3g}",
            f"{point.output:.1f}" + ("" if point.reachable else " (out of reach)"),
            f"{point.torque:.3g}",
            f"{point.slip_power:.3g}",
            f"{point.tension_per_percent:.3g}",
            f"{plant.static_gain:.3g}",
            f"{plant.natural_frequency / (2.0 * math.pi):.3g}",
            f"{plant.damping_ratio:.2g}",
            f"{p.roll_frequency:.2g}",
        )
    console.print(table)
    if all(p.point.reachable for p in result.points):
        _say(
            f"For {result.scenario.run.tension:.4g} N{_tapered(result)}: put the controller in "
            "manual, set the output, wait until the tension is steady; the display then shows "
            f"{reading_of(result.scenario, result.points[0].point.tension):.4g} N.",
            console,
        )
    else:
        _say("The tension is out of reach at some points: see Watch out before going on.", console)


def _tapered(result: Pretune) -> str:
    """How far a taper takes the tension down."""
    if result.scenario.controller.taper == 0.0:
        return ""
    return f" at the core, tapered to {result.points[0].point.tension:.4g} N at the full roll"


def _step_test(result: Pretune, console: Console) -> None:
    test = result.step_test
    _heading("Step test", console)
    if test is None:
        _say(f"None, because {result.no_step_test}.", console)
        return
    _say(
        f"{test.step:+.3g} % in manual at {METRIC.text(test.diameter, 'diameter')}: "
        f"{model_in_words(test.fit.best)} (fit {test.fit.fit_percent:.0f} %).",
        console,
    )


def _rules(result: Pretune, console: Console) -> None:
    table = _table("What the tuning rules ask for, judged on this machine", console)
    table.add_column("rule")
    for heading in ("Kc", "Ti s", "Td s", "Ms"):
        table.add_column(heading, justify="right")
    table.add_column("over the whole roll")
    given = [judged for judged in result.rules if judged.suggestion.gains is not None]
    for judged in given:
        gains, here = judged.suggestion.gains, judged.here
        if gains is None or here is None:
            continue
        table.add_row(
            judged.suggestion.rule.name + (" *" if judged.suggestion.warnings else ""),
            number(gains.Kc),
            number(gains.Ti),
            number(gains.Td or None),
            number(here.Ms) if here.stable else "unstable",
            judged.verdict(),
        )
    console.print(table)
    _say(
        "Ms is where the step test was made; * marks a reservation, such as a model outside the "
        f"rule's range. {len(result.rules) - len(given)} more rules give no gains here. --json has "
        "every reservation, reason, source and margin.",
        console,
    )


def _recommended(result: Pretune, console: Console) -> None:
    design = result.design
    table = _table("Recommended gains for the whole roll, in each controller's terms", console)
    _fill(table, form_rows(design.gains, tension_range=result.scenario.controller.tension_range))
    console.print(table)
    for problem in result.verdict.problems[1:]:
        _say(f"Also: {problem}.", console)
    if result.verdict.binding:
        _say(result.verdict.binding, console)
    _as_set(result, console)


def _kinds(result: Pretune, console: Console) -> None:
    table = _table("Integral, PI and PID control on this roll", console)
    _fill(table, kind_rows(result.design))
    console.print(table)


def _as_set(result: Pretune, console: Console) -> None:
    found = result.as_set
    if found is None:
        return
    place = f"{METRIC.text(found.worst.diameter, 'diameter')}, " + METRIC.text(
        found.worst.line_speed, "speed"
    )
    does = "are unstable" if math.isinf(found.worst.Ms) else f"have Ms {found.worst.Ms:.2f}"
    name = "The gain schedule" if found.scheduled else "The gains"
    _say(f"{name} in the scenario {does} at worst ({place}).", console)


def _schedule(result: Pretune, console: Console) -> None:
    _heading("Gains that follow the diameter", console)
    _say(schedule_in_words(result.design, METRIC), console)


def _schedule_offered(result: Pretune, console: Console) -> None:
    _schedule(result, console)
    _say("--schedule prints its points.", console)


def _schedule_points(result: Pretune, console: Console) -> None:
    table = _table(
        "Its points; the controller goes from one to the next on straight lines", console
    )
    _fill(table, schedule_rows(result.design, METRIC))
    console.print(table)


def _tolerance(result: Pretune, console: Console) -> None:
    study = result.tolerance
    if study is None:
        return
    _heading(f"{study.samples} machines within the tolerances of what is not known", console)
    for text in sentences(study):
        _say(text, console)


def _speed_changes(result: Pretune, console: Console) -> None:
    table = _table("Starts and stops: tension with the output held, or compensated", console)
    for heading in (
        "change", "in s", "roll", "output\n%", "needed\n%", "tension if\nheld N",
        "with 100 %\ncompensation N", "shortest\ns",
    ):  # fmt: skip
        table.add_column(heading, justify="left" if heading in ("change", "roll") else "right")
    for name, change in result.speed_changes:
        table.add_row(
            change.kind,
            f"{change.time:.3g}",
            name,
            f"{change.steady_output:.1f}",
            f"{change.output_needed:.1f}" + ("" if change.has_torque else " (out of reach)"),
            _ramp_tension(change.held),
            _ramp_tension(change.compensated),
            f"{round_up(change.least_time):g}" if math.isfinite(change.least_time) else "none",
        )
    console.print(table)
    worst = result.speed_changes[-len(named_diameters(result.scenario))][1]
    _say(f"{worst.kind[:1].upper()}{worst.kind[1:]} at {METRIC.text(worst.diameter, 'diameter')}: "
         f"{worst.advice}.", console)  # fmt: skip


def _ramp_tension(settled: RampTension) -> str:
    if settled.lost == SLACK_WEB:
        return "slack"
    shown = f"{settled.tension:.3g}"
    return f"{shown}, breaks" if settled.lost == WEB_BREAK else shown


def _handover(result: Pretune, console: Console) -> None:
    table = _table("Hand-over from manual to automatic, with the recommended gains", console)
    table.add_column("switch")
    for heading in ("tension bump\n%", "output bump\n%", "settles\ns"):
        table.add_column(heading, justify="right")
    switches: dict[str, Handover] = {
        "as the controller is set, setpoint equal to the reading": result.handover,
        f"setpoint {100.0 * SETPOINT_OFF:.0f} % above the reading": result.handover_off,
        "integral term not following the output in manual": result.handover_untracked,
    }
    for name, h in switches.items():
        settles = "not in time" if math.isnan(h.settling) else f"{h.settling:.1f}"
        table.add_row(name, _bump(h.tension_bump), _bump(h.output_bump), settles)
    console.print(table)
    if result.points[0].point.reachable:
        _say("Make the reading the setpoint, then switch to automatic.", console)


def _bump(value: float) -> str:
    return "0" if abs(value) < 0.05 else sensible(value, 2)


def _say(text: str, console: Console) -> None:
    console.print(text, highlight=False, markup=False)


def _heading(text: str, console: Console) -> None:
    console.print(f"[bold]{escape(text)}[/bold]", highlight=False)


def _fill(table: Table, rows: list[dict[str, str]]) -> None:
    for heading in rows[0]:
        table.add_column(escape(heading))
    for row in rows:
        table.add_row(*map(escape, row.values()))


def _table(title: str, console: Console) -> Table:
    """Print a title on a line of its own (a table would fold it to its own width)."""
    _heading(title, console)
    return Table(box=None, pad_edge=False)
