"""The command that estimates without simulating. Everything heavy is imported inside it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pilesim.cli.commands import app
from pilesim.cli.options import ESTIMATE_FILES, Debug, Force, Out, ScenarioName, Set, Units


@app.command()
def estimate(
    scenario: ScenarioName,
    result: Annotated[
        Path | None,
        typer.Option("--result", metavar="FOLDER", help="A finished run (folder or result.nc) to set beside the estimates."),
    ] = None,
    inside: Annotated[
        str | None,
        typer.Option("--inside", metavar="TEMPERATURE",
                     help="Temperature of the mix, such as '65 degC'.  [default: that of the scenario's rule]"),
    ] = None,
    out: Out = None,
    force: Force = False,
    set_: Set = None,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Estimate draught, heat, oxygen, water, warm-up and frost by formulas, without simulating: estimate.csv.

    \b
    Example: pilesim estimate reference_pile --result out/reference_pile-run
    """
    from pilesim.base.units import format_value
    from pilesim.estimate.against import beside
    from pilesim.estimate.pile import pile_of
    from pilesim.estimate.rows import estimates
    from pilesim.result import write_text
    from pilesim.show.estimate_text import conditions, estimate_csv, estimate_lines, heading, temperature_inside
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import caution_lines, print_lines
    from pilesim.study.choose import choose_scenario

    chosen = choose_scenario(scenario, set_)
    temperature = temperature_inside(inside, chosen)
    folder = out or Path("out") / f"{chosen.name}-estimate"
    check_folder(folder, ESTIMATE_FILES, force)
    pile = pile_of(chosen)
    found, run, said = estimates(pile, temperature), None, []
    if result is not None:
        from pilesim.show.sheet_text import open_run

        dataset = open_run(result)
        run = beside(dataset, pile, temperature, str(result))
        said = heading(dataset, chosen)
    with delivery(folder, ESTIMATE_FILES) as place:
        write_text(estimate_csv(found, run), place / "estimate.csv")
    print(chosen.title)
    print_lines([conditions(pile, temperature, units), *said, ""])
    for block in estimate_lines(found, format_value(temperature - pile.c.celsius_zero, "degC", units), run, units):
        print_lines([*block, ""])
    print_lines([*caution_lines(), ""])
    print(folder / ESTIMATE_FILES[0])
