"""The commands. Everything heavy is imported inside them."""

from __future__ import annotations

import os
import shlex
import sys
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any

import typer

from pilesim.cli.options import (
    COMPARE_FILES,
    FAILURE,
    INTERRUPTED,
    RUN_FILES,
    SHEET_FILES,
    VERIFY_FILES,
    WIDTHS_FILES,
    Debug,
    Force,
    Out,
    ResultPath,
    Resume,
    ScenarioName,
    Set,
    Units,
    Vary,
    Workers,
    say,
)

app = typer.Typer(name="pilesim", add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)


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
    from pilesim.study.choose import choose_scenario
    from pilesim.study.warm import check_physically, ensure_compiled

    chosen = choose_scenario(scenario, set_)
    folder = out or Path("out") / f"{chosen.name}-run"
    check_folder(folder, RUN_FILES, force)
    figures = load_figures()
    check_physically(chosen)
    ensure_compiled(say)

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
    from pilesim.study.choose import choose_scenario
    from pilesim.study.compare import check_vary, parse_vary
    from pilesim.study.compare import compare as compare_designs
    from pilesim.study.store import FOLDER, count_members, remove_store

    asked = parse_vary(vary)
    check_vary(asked)
    chosen = choose_scenario(scenario, set_, asked)
    folder = out or Path("out") / f"{chosen.name}-compare"
    check_folder(folder, COMPARE_FILES, force, resume)
    figures = load_figures()
    parts, was_there = folder / FOLDER, folder.exists()
    if force and parts.is_dir():
        remove_store(parts)
    try:
        with progress_on_stderr(chosen.name) as progress:
            table = compare_designs(chosen, asked, workers, progress, parts, say)
        _write_comparison(table, folder, units, figures)
    except KeyboardInterrupt:
        kept = count_members(parts) if parts.is_dir() else 0
        say(f"interrupted: {kept} finished designs are kept in {parts}; go on with: {_command_to_resume()}")
        raise typer.Exit(INTERRUPTED) from None
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
        say("every design failed; the reasons stand in the table")
        raise typer.Exit(FAILURE)


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
    result: ResultPath,
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
    figures, words = load_figures(), design_sheet(dataset, units)
    with delivery(folder, SHEET_FILES) as place:
        figures.save(figures.sheet_figure(dataset, words, units), place / "sheet.png")
    print_sheet(words, dataset)
    print(f"\n{folder / 'sheet.png'}")


@app.command()
def widths(
    scenarios: Annotated[
        list[str] | None,
        typer.Argument(metavar="[SCENARIO]...", help="By default reference_pile and reference_ordinary_pair."),
    ] = None,
    widths_: Annotated[str, typer.Option("--widths", metavar="W1,W2,...", help="Base widths.")] = "4 m,6 m,8 m,10 m",
    duration: Annotated[str, typer.Option("--duration", help="Simulated time.")] = "40 day",
    day: Annotated[str, typer.Option("--day", help="Of the sections.")] = "14 day",
    workers: Workers = None,
    out: Out = None,
    force: Force = False,
    set_: Set = None,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Show how wide a pile may be: the starved share day by day for several base widths: widths.png, widths.csv.

    \b
    Example: pilesim widths reference_pile --widths "4 m,6 m,8 m"
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import print_widths, progress_on_stderr
    from pilesim.study.choose import choose_scenario
    from pilesim.study.widths import parse_widths, piles, vary_widths, write_widths

    asked = parse_widths(widths_)
    names = scenarios or ["reference_pile", "reference_ordinary_pair"]
    chosen = [choose_scenario(name, set_, {"pile.base_width": asked}) for name in names]
    jobs = piles(chosen, asked, duration, day)
    folder = out or Path("out") / f"{chosen[0].name}-widths"
    check_folder(folder, WIDTHS_FILES, force)
    figures = load_figures()
    with progress_on_stderr("widths") as progress:
        runs = vary_widths(jobs, workers, progress, say)
    with delivery(folder, WIDTHS_FILES) as place:
        write_widths(runs, place / "widths.csv")
        figures.save(figures.widths_figure(runs, units), place / "widths.png")
    print_widths(runs, units)
    print(folder / "widths.png")
    if all(run.failure for run in runs):
        say("every pile failed; the reasons stand in the table")
        raise typer.Exit(FAILURE)


@app.command()
def verify(
    all_: Annotated[bool, typer.Option("--all", help="The slow checks too.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for verify.csv.  [default: ./out/verify]")
    ] = None,
    force: Force = False,
    debug: Debug = False,
) -> None:
    """Check the installed program against exact solutions and published values: verify.csv. Exit 1 if a check fails.

    \b
    Example: pilesim verify --all --out out/checks
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import progress_on_stderr
    from pilesim.study.warm import ensure_compiled

    folder = out or Path("out") / "verify"
    check_folder(folder, VERIFY_FILES, force)
    ensure_compiled(say)

    from pilesim.show.verify_text import verify_lines
    from pilesim.verify.cases import chosen
    from pilesim.verify.table import run_cases, write_checks

    with progress_on_stderr("verify") as progress:
        rows = run_cases(chosen(all_), progress)
    with delivery(folder, VERIFY_FILES) as place:
        write_checks(rows, place / "verify.csv")
    for text in verify_lines(rows):
        print(text)
    print(folder / "verify.csv")
    if any(row.status == "no" for row in rows):
        raise typer.Exit(FAILURE)


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
def load_figures() -> Any:
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
