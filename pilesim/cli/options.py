"""Arguments and options that commands share, the files they write, and exit codes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

RUN_FILES = ("result.nc", "summary.json", "section.png", "history.png")
SHEET_FILES = ("sheet.png",)
COMPARE_FILES = ("comparison.nc", "comparison.csv", "comparison_units.csv", "comparison.png")
WIDTHS_FILES = ("widths.csv", "widths.png")
MIX_FILES = ("mix.csv", "mix.png")
ESTIMATE_FILES = ("estimate.csv",)
VERIFY_FILES = ("verify.csv",)
RULES_FILES = ("rules.csv", "rules.png")
BUDGET_FILES = ("budget.png",)
WINTER_FILES = ("winter.csv", "winter.png", "winter.txt")
HYGIENE_FILES = ("hygiene.png",)
TURNING_FILES = ("turning.csv", "turning.png")
PROBES_FILES = ("probes.csv", "probes.png")

OK, FAILURE, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130

ScenarioName = Annotated[
    str,
    typer.Argument(metavar="SCENARIO", help="A .toml file, or the name of a bundled scenario such as reference_pile."),
]
ResultPath = Annotated[Path, typer.Argument(metavar="RESULT", help="A result.nc, or the folder that holds it.")]
Out = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        help="Folder for the results, new or empty.  [default: ./out/<scenario>-<command>]",
    ),
]
Force = Annotated[bool, typer.Option("--force", help="Replace the files pilesim wrote in DIR; others stay.")]
Set = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change one scenario value, such as 'pile.height=1.8 m'. Repeatable; the last wins.",
    ),
]
Units = Annotated[
    Literal["metric", "us"],
    typer.Option("--units", help="For the screen and the pictures; files stay metric."),
]
Vary = Annotated[
    list[str],
    typer.Option(
        "--vary",
        metavar="KEY=V1,V2,...",
        help="A scenario key and the values to try. Repeatable: all combinations are simulated.",
    ),
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers",
        metavar="N",
        min=1,
        help="Processes at once; does not change the numbers.  [default: one for each processor]",
    ),
]
Resume = Annotated[
    bool,
    typer.Option("--resume", help="Go on with the finished designs of an interrupted comparison in DIR."),
]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")]


def say(text: str) -> None:
    """One line to stderr."""
    print(text, file=sys.stderr, flush=True)
