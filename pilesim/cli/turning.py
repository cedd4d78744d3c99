"""The command that sets two piles, turned or standing, on one footing. Everything heavy is imported inside it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pilesim.cli.commands import app, load_figures
from pilesim.cli.options import TURNING_FILES, Debug, Force, Out, Set, Units, Workers, say

PAIR = ("windrow_turned", "covered_standing")


@app.command()
def turning(
    scenarios: Annotated[
        list[str] | None,
        typer.Argument(metavar="[SCENARIO SCENARIO]", help=f"By default {PAIR[0]} and {PAIR[1]}."),
    ] = None,
    workers: Workers = None,
    out: Out = None,
    force: Force = False,
    set_: Set = None,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Set two piles on one footing, turned or left standing: what all of the material goes through: turning.png, turning.csv.

    \b
    Example: pilesim turning winter_turned winter_standing
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import caution_lines, print_lines, progress_on_stderr
    from pilesim.show.turning_text import exposure_table, five_sentences, not_modelled
    from pilesim.study.choose import choose_scenario
    from pilesim.study.turning import check_piles, same_mix, set_side_by_side, write_exposures
    from pilesim.study.warm import check_physically

    chosen = [choose_scenario(name, set_) for name in scenarios or PAIR]
    check_piles(chosen)
    folder = out or Path("out") / f"{chosen[0].name}-turning"
    check_folder(folder, TURNING_FILES, force)
    figures = load_figures()
    for scenario in chosen:
        check_physically(scenario)
    with progress_on_stderr("turning") as progress:
        found = set_side_by_side(chosen, workers, progress, say)
    alike = same_mix(chosen)
    with delivery(folder, TURNING_FILES) as place:
        write_exposures(found, place / "turning.csv")
        figures.save(figures.turning_figure(found, alike, units), place / "turning.png")
    print_lines([*exposure_table(found, units), "", *five_sentences(found, alike, units), "", *not_modelled(found)])
    print_lines(["", *caution_lines(), ""])
    for name in TURNING_FILES:
        print(folder / name)
