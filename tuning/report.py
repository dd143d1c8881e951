"""The pretune report as readable text: tables with a sentence before each that says what it is."""

from __future__ import annotations

import math

from rich.console import Console
from rich.table import Table

from simulator.units import sensible
from tuning.gains import in_all_forms
from tuning.margins import Margins
from tuning.pretune import Pretune

CAUTION = (
    "Before anyone tries this on a machine: rotating rolls and nips draw in hands and clothing, a "
    "roll and a taut web store energy, brakes get hot. The numbers above come from a model; start "
    "low, stay clear of the web; the machine's manual, local codes and licensed practice rule."
)


def print_report(result: Pretune, console: Console) -> None:
    """Print the whole report.

    Args:
        result: of `pretune`.
        console: to print on.
    """
    scenario = result.scenario
    console.print(f"[bold]{scenario.title}[/bold]", highlight=False)
    if scenario.note:
        console.print(scenario.note, highlight=False)
    console.print()
    for part in (_points, _step_test, _rules, _recommended, _handover):
        part(result, console)
        console.print()
    if result.warnings:
        console.print("[bold]Watch out[/bold]")
        for warning in result.warnings:
            console.print(f"- {warning}", highlight=False)
        console.print()
    console.print(CAUTION, highlight=False)


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
    tension = result.scenario.run.tension
    console.print(
        f"For {tension:.4g} N: put the controller in manual, set the output, wait until the "
        "tension is steady.",
        highlight=False,
    )


def _step_test(result: Pretune, console: Console) -> None:
    test, model = result.step_test, result.step_test.fit.best
    parts = [f"gain {model.gain:.3g} %/%", f"dead time {model.dead_time:.3g} s"]
    if model.time_constant:
        parts.insert(1, f"time constant {model.time_constant:.3g} s")
    if model.damping is not None:
        parts.append(f"damping {model.damping:.2g}")
    console.print(
        f"[bold]Step test[/bold] of {test.step:+.3g} % in manual at "
        f"{1000.0 * test.diameter:.0f} mm: {model.kind} model, {', '.join(parts)} "
        f"(fit {test.fit.fit_percent:.0f} %).",
        highlight=False,
    )


def _rules(result: Pretune, console: Console) -> None:
    table = _table("What the tuning rules ask for, judged on this machine", console)
    table.add_column("rule")
    for heading in ("Kc", "Ti s", "Td s", "Ms"):
        table.add_column(heading, justify="right")
    table.add_column("on this machine, everywhere")
    for judged in result.rules:
        gains = judged.suggestion.gains
        if gains is None:
            continue
        table.add_row(
            judged.suggestion.rule.name + (" *" if judged.suggestion.warnings else ""),
            f"{gains.Kc:.3g}",
            f"{gains.Ti:.3g}" if math.isfinite(gains.Ti) else "none",
            f"{gains.Td:.3g}",
            _ms(judged.here),
            judged.verdict,
        )
    console.print(table)
    without = sum(judged.suggestion.gains is None for judged in result.rules)
    console.print(
        "Ms is where the step test was made; * marks a reservation, such as a model outside the "
        f"rule's range. {without} more rules need a model that this step test does not give. "
        "--json has every reservation, source and margin.",
        highlight=False,
    )


def _recommended(result: Pretune, console: Console) -> None:
    design = result.design
    table = _table(
        "Recommended gains, the same from full roll to core, in each controller's terms", console
    )
    for heading in ("form", "term", "value", "unit", "formula"):
        table.add_column(heading, justify="right" if heading == "value" else "left")
    for row in in_all_forms(design.gains, result.scenario.controller.tension_range):
        table.add_row(
            row.form,
            row.symbol,
            "–" if row.value is None else sensible(row.value, 4),
            row.unit,
            row.formula,
        )
    console.print(table)
    worst = design.worst
    console.print(
        f"Ms is {worst.margins.Ms:.2f} at most (limit {design.ms_limit:.2g}), at "
        f"{1000.0 * worst.diameter:.0f} mm and {60.0 * worst.line_speed:.3g} m/min.",
        highlight=False,
    )
    if len(design.schedule) > 1:
        schedule = _table("Gains that follow the diameter, if the controller can", console)
        for heading in ("diameter mm", "Kc", "Ti s"):
            schedule.add_column(heading, justify="right")
        for entry in design.schedule:
            schedule.add_row(
                f"{1000.0 * entry.diameter:.0f}", f"{entry.gains.Kc:.3g}", f"{entry.gains.Ti:.3g}"
            )
        console.print(schedule)


def _handover(result: Pretune, console: Console) -> None:
    table = _table("Hand-over from manual to automatic, with the recommended gains", console)
    table.add_column("switch")
    for heading in ("tension bump\n%", "output bump\n%", "settles\ns"):
        table.add_column(heading, justify="right")
    for name, h in (
        ("as the controller is set, setpoint equal to the reading", result.handover),
        ("setpoint 10 % above the reading", result.handover_off),
        ("integral term not following the output in manual", result.handover_untracked),
    ):
        settles = "not in time" if math.isnan(h.settling) else f"{h.settling:.1f}"
        table.add_row(name, f"{h.tension_bump:.2g}", f"{h.output_bump:+.2g}", settles)
    console.print(table)
    console.print("Make the reading the setpoint, then switch to automatic.", highlight=False)


def _ms(margins: Margins | None) -> str:
    if margins is None:
        return ""
    return f"{margins.Ms:.2f}" if margins.stable else "unstable"


def _table(title: str, console: Console) -> Table:
    """Print a title on a line of its own (a table would fold it to its own width)."""
    console.print(f"[bold]{title}[/bold]")
    return Table(box=None, pad_edge=False)
