"""The command `steadyspan`; also as `python -m tuning`."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from rich.console import Console

from simulator import ScenarioError, load_scenario
from simulator.units import parse_quantity
from tuning.design import DEFAULT_MS
from tuning.margins import CALM_MS, RINGS_ABOVE
from tuning.oscillation.causes import LOOP
from tuning.oscillation.explain import explain_oscillation
from tuning.oscillation.explanation_json import explanation_as_json
from tuning.oscillation.explanation_report import print_explanation
from tuning.oscillation.remedy import loop_remedy
from tuning.pretune import pretune
from tuning.pretune_json import as_json
from tuning.report import print_report
from tuning.tolerance_study import LEAST_SAMPLES, MOST_SAMPLES

BAD_INPUT = 2
# A second process takes longer to start than so many machines take to judge.
WORTH_PROCESSES = 500

app = typer.Typer(
    add_completion=False,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    help="Tune the tension loop of a web machine before anyone runs it.",
)


@app.callback()
def _commands() -> None:
    """Tune the tension loop of a web machine before anyone runs it."""


@app.command("pretune")
def pretune_command(
    scenario: Annotated[Path, typer.Argument(help="Machine description, a TOML file.")],
    as_data: Annotated[
        bool, typer.Option("--json", help="Print one JSON object instead of the report.")
    ] = False,
    ms: Annotated[
        float, typer.Option("--ms", help="Largest sensitivity Ms allowed, 1.2 (calm) to 2.0.")
    ] = DEFAULT_MS,
    schedule: Annotated[
        bool, typer.Option("--schedule", help="Print gains that follow the diameter, too.")
    ] = False,
    tolerance: Annotated[
        int,
        typer.Option(
            "--tolerance",
            metavar="N",
            help="Judge the gains on N machines within usual tolerances.",
        ),
    ] = 0,
) -> None:
    """Manual output, step test, gains and a checked hand-over for one machine."""
    if not CALM_MS <= ms <= RINGS_ABOVE:
        _refuse(f"--ms {ms:g}: must lie between {CALM_MS:g} and {RINGS_ABOVE:g}")
    if tolerance != 0 and not LEAST_SAMPLES <= tolerance <= MOST_SAMPLES:
        _refuse(
            f"--tolerance {tolerance}: must be 0 for none, or lie between {LEAST_SAMPLES} and "
            f"{MOST_SAMPLES} machines"
        )
    progress = Console(stderr=True)
    try:
        machine = load_scenario(scenario)
        with progress.status("starting") as status:
            result = pretune(
                machine,
                ms_limit=ms,
                tolerance_samples=tolerance,
                workers=os.cpu_count() if tolerance > WORTH_PROCESSES else None,
                progress=lambda message: status.update(f"{message} …"),
            )
    except ScenarioError as error:
        _refuse(str(error))
    except ValueError as error:
        _refuse(f"{scenario}: {error}")
    if as_data:
        print(json.dumps(as_json(result), indent=2, allow_nan=False))
        return
    print_report(result, _paper(), schedule=schedule)


@app.command("explain")
def explain_command(
    trend: Annotated[Path, typer.Argument(help="Recorded trend, a CSV file of any logger.")],
    scenario: Annotated[
        Path | None, typer.Option("--scenario", help="Machine description, a TOML file.")
    ] = None,
    as_data: Annotated[
        bool, typer.Option("--json", help="Print one JSON object instead of the report.")
    ] = False,
    columns: Annotated[
        list[str] | None,
        typer.Option(
            "--column",
            metavar="QUANTITY=HEADER:UNIT",
            help='Which column is what, such as "tension=PV 7:N"; may be given several times.',
        ),
    ] = None,
    interval: Annotated[
        str | None,
        typer.Option("--interval", help='From row to row, if the trend has no times: "50 ms".'),
    ] = None,
    tension_range: Annotated[
        str | None,
        typer.Option("--tension-range", help='What 100 % of tension is: "300 N".'),
    ] = None,
    diameter: Annotated[
        str | None,
        typer.Option("--diameter", help='Of the roll, if the trend lacks it: "420 mm".'),
    ] = None,
    line_speed: Annotated[
        str | None,
        typer.Option("--line-speed", help='Of the web, if the trend lacks it: "150 m/min".'),
    ] = None,
) -> None:
    """Why the tension of a recorded trend oscillates, and what to check first."""
    # Only here: the library that parses tables takes half a second to load.
    from simulator.trend_import import import_trend
    from simulator.trend_mapping import understood, uses_with
    from simulator.trend_text import read_table

    try:
        machine = None if scenario is None else load_scenario(scenario)
        full_scale = _quantity("--tension-range", tension_range, "N")
        if full_scale is None and machine is not None:
            full_scale = machine.controller.tension_range
        data = trend.read_bytes()
        uses = uses_with(read_table(data, name=str(trend)), columns) if columns else None
        imported = import_trend(
            data,
            name=str(trend),
            uses=uses,
            tension_range=full_scale,
            interval=_quantity("--interval", interval, "s"),
        )
        explanation = explain_oscillation(
            imported.trend,
            machine,
            diameter=_quantity("--diameter", diameter, "m"),
            line_speed=_quantity("--line-speed", line_speed, "m/s"),
        )
    except OSError as error:
        _refuse(f"{trend}: can't be read: {error.strerror}")
    except ScenarioError as error:
        _refuse(str(error))
    except ValueError as error:
        text = str(error)
        _refuse(text if text.startswith((str(trend), "--")) else f"{trend}: {text}")
    if as_data:
        print(json.dumps(explanation_as_json(explanation, notes=imported.notes), indent=2,
                         allow_nan=False))  # fmt: skip
        return
    remedy = loop_remedy(explanation) if explanation.verdict == LOOP else None
    notes = (understood(imported.table, imported.uses), *imported.notes)
    print_explanation(explanation, _paper(), notes=notes, remedy=remedy)


def _quantity(option: str, text: str | None, unit: str) -> float | None:
    if text is None:
        return None
    try:
        value = parse_quantity(text, unit)
    except ValueError as error:
        raise ValueError(f"{option} {text!r} {error}") from None
    if not value > 0.0:
        raise ValueError(f"{option} {text!r}: must be above 0")
    return value


def _paper() -> Console:
    out = Console()
    # A file or a pipe has no width; the tables need about this much.
    return out if out.is_terminal else Console(width=140)


def _refuse(message: str) -> NoReturn:
    print(message, file=sys.stderr)
    raise typer.Exit(BAD_INPUT)


def main() -> None:
    """Run the command."""
    app()
