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
from tuning.design import DEFAULT_MS
from tuning.margins import CALM_MS, RINGS_ABOVE
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
    out = Console()
    if not out.is_terminal:
        # A file or a pipe has no width; the tables need about this much.
        out = Console(width=140)
    print_report(result, out, schedule=schedule)


def _refuse(message: str) -> NoReturn:
    print(message, file=sys.stderr)
    raise typer.Exit(BAD_INPUT)


def main() -> None:
    """Run the command."""
    app()
