"""The command line: parse, call, print. Everything heavy is imported inside the commands."""

from __future__ import annotations

import os
import shlex
import signal
import sys
import threading
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pilesim.inputs.scenario import Scenario

RUN_FILES = ("result.nc", "summary.json", "section.png", "history.png")
SHEET_FILES = ("sheet.png",)
COMPARE_FILES = ("comparison.nc", "comparison.csv", "comparison_units.csv", "comparison.png")

_MOST_TRIED = 1000  # designs, in search of one that makes the scenario consistent
_OK, _FAILURE, _BAD_INPUT, _INTERRUPTED = 0, 1, 2, 130
_COMMAND_LINE_ERROR = typer.BadParameter.__mro__[2]  # base of every usage error, wherever typer keeps it

app = typer.Typer(name="pilesim", add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)

ScenarioName = Annotated[
    str,
    typer.Argument(metavar="SCENARIO", help="A .toml file, or the name of a bundled scenario such as reference_pile."),
]
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


def _print_version(wanted: bool) -> None:
    if wanted:
        import pilesim

        print(f"pilesim {pilesim.__version__}")
        raise typer.Exit


@app.callback()
def _pilesim(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop."),
    ] = False,
) -> None:
    """Heat, oxygen and moisture in covered, passively aerated compost piles: compare designs before building.

    \b
    Example: pilesim run reference_pile
    """


@app.command()
def run(
    scenario: ScenarioName,
    out: Out = None,
    force: Force = False,
    set_: Set = None,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Simulate one pile: result.nc, summary.json, section.png, history.png.

    \b
    Example: pilesim run reference_pile --set "pile.height=1.8 m" --out low
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import print_run, progress_on_stderr
    from pilesim.study.warm import check_physically, ensure_compiled

    chosen = _load(scenario, set_)
    folder = out or Path("out") / f"{chosen.name}-run"
    check_folder(folder, RUN_FILES, force)
    figures = _figures()
    check_physically(chosen)
    ensure_compiled(_say)

    from pilesim.result import summarise, write_netcdf, write_summary
    from pilesim.study.run import simulate

    with progress_on_stderr(chosen.name) as progress:
        dataset = simulate(chosen, progress=progress)
    summary = summarise(dataset)
    with delivery(folder, RUN_FILES) as place:
        write_netcdf(dataset, place / "result.nc")
        write_summary(summary, place / "summary.json")
        figures.save(figures.section_figure(dataset, units), place / "section.png")
        figures.save(figures.history_figure(dataset, units), place / "history.png")
    print_run(summary, str(dataset.attrs["title"]), units)
    print()
    for name in RUN_FILES:
        print(folder / name)


@app.command()
def compare(
    scenario: ScenarioName,
    vary: Vary,
    workers: Workers = None,
    out: Out = None,
    force: Force = False,
    resume: Resume = False,
    set_: Set = None,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Simulate every combination of the varied values: comparison.csv, .nc, .png and comparison_units.csv.

    \b
    Example: pilesim compare reference_pile --vary "pile.base_width=4 m,5.2 m,7 m"
    """
    from pilesim.base.errors import ScenarioError
    from pilesim.show.folder import check_folder
    from pilesim.show.screen import print_comparison, progress_on_stderr
    from pilesim.study.compare import check_vary, parse_vary
    from pilesim.study.compare import compare as compare_designs
    from pilesim.study.store import FOLDER, count_members, remove_store

    asked = parse_vary(vary)
    check_vary(asked)
    chosen = _load(scenario, set_, asked)
    folder = out or Path("out") / f"{chosen.name}-compare"
    check_folder(folder, COMPARE_FILES, force, resume)
    figures = _figures()
    parts, was_there = folder / FOLDER, folder.exists()
    if force and parts.is_dir():
        remove_store(parts)
    try:
        with progress_on_stderr(chosen.name) as progress:
            table = compare_designs(chosen, asked, workers, progress, parts, _say)
        _write_comparison(table, folder, units, figures)
    except KeyboardInterrupt:
        kept = count_members(parts) if parts.is_dir() else 0
        _say(f"interrupted: {kept} finished designs are kept in {parts}; go on with: {_command_to_resume()}")
        raise typer.Exit(_INTERRUPTED) from None
    except ScenarioError:  # the folder holds another study
        raise
    except Exception:
        if count_members(parts) == 0:
            with suppress(OSError):
                remove_store(parts)
                if not was_there:
                    folder.rmdir()
        raise
    remove_store(parts)
    print_comparison(table, units)
    print(folder / "comparison.png")
    if not (table["status"] == "ok").any():
        _say("every design failed; the reasons stand in the table")
        raise typer.Exit(_FAILURE)


def _write_comparison(table: Any, folder: Path, units: str, figures: Any) -> None:
    from pilesim.result import write_netcdf
    from pilesim.show.folder import delivery
    from pilesim.study.table import write_csv, write_units

    with delivery(folder, COMPARE_FILES) as place:
        write_netcdf(table, place / "comparison.nc")
        write_csv(table, place / "comparison.csv")
        write_units(table, place / "comparison_units.csv")
        figures.save(figures.comparison_figure(table, units), place / "comparison.png")


@app.command()
def sheet(
    result: Annotated[Path, typer.Argument(metavar="RESULT", help="A result.nc, or the folder that holds it.")],
    out: Out = None,
    force: Force = False,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Print the design sheet of a finished run, and draw it on one page: sheet.png.

    \b
    Example: pilesim sheet out/reference_pile-run
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.sheet_text import design_sheet, open_run, print_sheet

    dataset = open_run(result)
    folder = out or Path("out") / f"{dataset.attrs['scenario_name']}-sheet"
    check_folder(folder, SHEET_FILES, force)
    figures, words = _figures(), design_sheet(dataset, units)
    with delivery(folder, SHEET_FILES) as place:
        figures.save(figures.sheet_figure(dataset, words, units), place / "sheet.png")
    print_sheet(words, dataset)
    print(f"\n{folder / 'sheet.png'}")


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write, such as my_pile.toml.")],
    debug: Debug = False,
) -> None:
    """Write a commented scenario to start from.

    \b
    Example: pilesim new my_pile.toml
    """
    from pilesim.base.errors import ScenarioError
    from pilesim.inputs.scenario import template
    from pilesim.result import write_text

    if file.exists() or file.is_symlink():
        raise ScenarioError("FILE", repr(str(file)), "a name that is not taken", "Choose another name.")
    if file.suffix != ".toml":
        raise ScenarioError("FILE", repr(str(file)), "a name that ends in .toml")
    if not file.parent.is_dir():
        raise ScenarioError("FILE", repr(str(file)), "a name in an existing folder", f"Make '{file.parent}' first.")
    try:
        write_text(template(), file)
    except OSError as why:
        raise ScenarioError("FILE", repr(str(file)), "a name in a folder that can be written", f"{why.strerror}.") from None
    print(file)


@app.command()
def constants(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="A name in full, or a part to search for.")] = None,
    unchecked: Annotated[
        bool,
        typer.Option("--unchecked", help="Only numbers whose place in the source is still to be checked."),
    ] = False,
    debug: Debug = False,
) -> None:
    """List the numbers the model uses, with unit, range and source.

    \b
    Example: pilesim constants mix_permeability
    """
    from pilesim.show.registry import constants_text

    print(constants_text(name, unchecked))


# ------------------------------------------------------------------------------------------------- shared
def _load(name: str, changes: Sequence[str] | None, vary: Mapping[str, Sequence[str]] | None = None) -> Scenario:
    """The scenario with its changes. If it is only consistent with values that are varied, with the first that fit."""
    from pilesim.base.errors import ScenarioError
    from pilesim.inputs.scenario import load, set_values
    from pilesim.study.compare import all_designs

    scenario = load(name)
    values: dict[str, str] = {}
    for change in changes or ():
        key, equals, text = change.partition("=")
        if not equals or not key.strip():
            raise ScenarioError("--set", repr(change), "KEY=VALUE such as 'pile.height=1.8 m'")
        values[key.strip()] = text.strip()
    if not values:
        return scenario
    with suppress(ScenarioError):
        return set_values(scenario, values)
    designs = list(islice(all_designs(vary or {}), _MOST_TRIED))
    for design in designs:
        with suppress(ScenarioError):
            return set_values(scenario, values | design)
    return set_values(scenario, values | designs[0])  # for its error


def _figures() -> Any:
    """The module that draws; loaded before anything is simulated, so that a bad MPLBACKEND shows at once."""
    import logging

    from pilesim.base.errors import ScenarioError

    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells about a read-only home at length
    try:
        from pilesim.show import figures
    except ValueError:
        backend = os.environ.get("MPLBACKEND")
        if backend is None:
            raise
        advice = "Unset it: pictures go to files."
        raise ScenarioError("MPLBACKEND", repr(backend), "a name that matplotlib knows", advice) from None
    return figures


def _command_to_resume() -> str:
    script = Path(sys.argv[0])
    program = f"{shlex.quote(sys.executable)} -m pilesim" if script.name == "__main__.py" else shlex.quote(str(script))
    if script.parent == Path() or str(script.parent) in os.environ.get("PATH", "").split(os.pathsep):
        program = script.name
    kept = [word for word in sys.argv[1:] if word not in ("--force", "--resume")]
    return f"{program} {shlex.join(kept)} --resume"


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _explain(why: BaseException) -> tuple[int, str]:
    """Exit code and the one line for an error."""
    from pilesim.base.errors import ScenarioError, StepFailed, one_line

    if isinstance(why, _COMMAND_LINE_ERROR):
        context = getattr(why, "ctx", None)
        command = context.command_path if context is not None else "pilesim"
        said = one_line(why.format_message()).rstrip(".")  # type: ignore[attr-defined]
        return _BAD_INPUT, f"{command}: {said}. See '{command} --help'."
    if isinstance(why, ScenarioError):
        return _BAD_INPUT, str(why)
    if isinstance(why, StepFailed):
        return _FAILURE, one_line(why)
    if isinstance(why, OSError):
        place = f"{why.filename}: " if why.filename else ""
        return _FAILURE, one_line(f"{place}{why.strerror or why}")
    if isinstance(why, MemoryError):
        return _FAILURE, "memory ran out: use a larger run.cell or fewer --workers"
    return _FAILURE, one_line(f"unexpected {type(why).__name__}: {why}. Please report it with what --debug shows.")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code: 0 done, 2 bad input, 1 failure, 130 interrupted."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job of a shell ignores it
    command = typer.main.get_command(app)
    try:
        if not words:
            allowed = ", ".join(_commands(command))
            _say(f"pilesim: no command given: expected one of {allowed}. See 'pilesim --help'.")
            return _BAD_INPUT
        with command.make_context("pilesim", words) as context:
            command.invoke(context)
        sys.stdout.flush()
    except typer.Exit as stop:
        return stop.exit_code
    except (KeyboardInterrupt, typer.Abort):
        _say("interrupted; nothing was written")
        return _INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _FAILURE
    except Exception as why:
        code, text = _explain(why)
        if "--debug" in words:
            import traceback

            traceback.print_exc()
        _say(text)
        return code
    return _OK


def _commands(command: Any) -> list[str]:
    return list(command.commands)
