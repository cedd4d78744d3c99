"""The command that looks for a day to build in winter. Everything heavy is imported inside it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pilesim.cli.commands import app, load_figures
from pilesim.cli.options import BUDGET_FILES, WINTER_FILES, Debug, Force, Out, ScenarioName, Set, Workers, say


@app.command()
def winter(
    scenario: ScenarioName,
    weather: Annotated[
        Path | None, typer.Option("--weather", metavar="FILE", help="EPW, TMY3 or CSV; every year in it is one case."),
    ] = None,
    years: Annotated[
        int | None, typer.Option("--years", metavar="N", min=1, max=200, help="Made-up years about a monthly climate."),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Of the made-up years.")] = 1,
    first: Annotated[str, typer.Option("--first", metavar="MM-DD", help="First day of building.")] = "10-15",
    last: Annotated[str, typer.Option("--last", metavar="MM-DD", help="Last day of building.")] = "03-31",
    every: Annotated[int, typer.Option("--every", metavar="WEEKS", help="Weeks between starts.")] = 4,
    widths: Annotated[
        str | None, typer.Option("--widths", metavar="W1,W2,...", help="Base widths, narrow first.  [default: its own]"),
    ] = None,
    covers: Annotated[
        str | None, typer.Option("--covers", metavar="T1,T2,...", help="Covers, thin first.  [default: its own]"),
    ] = None,
    workers: Workers = None,
    out: Out = None,
    force: Force = False,
    set_: Set = None,
    debug: Debug = False,
) -> None:
    """Find when to build, how large and under what cover: winter.csv, winter.png, winter.txt.

    \b
    Example: pilesim winter cold_high_pile --weather year.epw --widths "4 m,5.2 m" --covers "10 cm,20 cm,30 cm"
    """
    import tempfile

    from pilesim.base.errors import ScenarioError
    from pilesim.result import write_text
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import print_lines, progress_on_stderr
    from pilesim.show.winter_text import what_to_do
    from pilesim.study import winter as study
    from pilesim.study.choose import choose_scenario
    from pilesim.study.compare import compare

    if weather is None and choose_scenario(scenario, set_).weather.kind == "constant":
        raise ScenarioError("--weather", "", "a weather file, or a scenario with monthly weather",
                            "Constant weather has no weeks to choose from.")
    if weather is not None and years is not None:
        raise ScenarioError("--years", str(years), "either --weather or --years", "A file brings its own years.")
    days = study.start_days(first, last, every)
    changes = [*(set_ or []), f"start.date=2001-{days[0][0]:02d}-{days[0][1]:02d}"]
    if weather is not None:
        changes.append(f"weather.path={weather}")
    chosen = choose_scenario(scenario, changes)
    folder = out or Path("out") / f"{chosen.name}-winter"
    check_folder(folder, WINTER_FILES, force)
    figures = load_figures()
    sizes = study.split_list("--widths", widths) or [f"{chosen.pile.base_width!r} m"]
    covering = study.split_list("--covers", covers) or [f"{chosen.cover.thickness!r} m"]
    with tempfile.TemporaryDirectory() as room:
        files = study.write_years(chosen, years, seed, Path(room)) if years is not None else []
        vary = study.plan(chosen, days, sizes, covering, files)
        with progress_on_stderr("winter") as progress:
            weeks = study.judge(compare(chosen, vary, workers, progress, announce=say))
        hard = study.hardest(weeks)
        with progress_on_stderr("unknowns") as progress:
            deciders = study.decide(study.scenario_of(chosen, hard, vary), workers, progress)
    source = study.source_of(chosen, years, seed)
    text = what_to_do(chosen, weeks, deciders, source)
    with delivery(folder, WINTER_FILES) as place:
        study.write_winter(weeks, place / "winter.csv")
        write_text(text, place / "winter.txt")
        figures.save(figures.winter_figure(chosen, weeks, deciders, source), place / "winter.png")
    print_lines(text.splitlines())
    print(folder / "winter.png")


@app.command()
def budget(
    results: Annotated[list[Path], typer.Argument(metavar="RESULT...", help="Up to four result.nc, or their folders.")],
    out: Out = None,
    force: Force = False,
    debug: Debug = False,
) -> None:
    """Show where the heat of finished runs goes, in W per m of pile, side by side: budget.png.

    \b
    Example: pilesim budget out/holds out/fails
    """
    from pilesim.show.budget_picture import explanation
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import print_lines
    from pilesim.show.sheet_text import open_run

    datasets = [open_run(path) for path in results]
    names = [path.name if path.is_dir() else path.parent.name for path in results]
    folder = out or Path("out") / "budget"
    check_folder(folder, BUDGET_FILES, force)
    figures = load_figures()
    with delivery(folder, BUDGET_FILES) as place:
        figures.save(figures.budget_figure(datasets, names), place / "budget.png")
    print_lines(explanation(datasets, names))
    print(folder / "budget.png")
