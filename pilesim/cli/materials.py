"""The commands about materials: the recipe of a mix, and the libraries. Everything heavy is imported inside them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pilesim.cli.commands import app, load_figures
from pilesim.cli.options import MIX_FILES, Debug, Force, Out, ScenarioName, Set


@app.command()
def mix(
    scenario: ScenarioName,
    target: Annotated[
        list[str] | None,
        typer.Option("--target", metavar="NAME=VALUE",
                     help="Amounts that reach it: moisture, carbon_to_nitrogen, free_air_space (at least). Repeatable."),
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option("--keep", metavar="NAME", help="An ingredient whose amount stays. Repeatable."),
    ] = None,
    out: Out = None,
    force: Force = False,
    set_: Set = None,
    debug: Debug = False,
) -> None:
    """Show what the ingredients of a mix make, and the amounts that reach targets: mix.csv, mix.png.

    \b
    Example: pilesim mix buckets_of_trimmings --target "moisture=60 %" --target carbon_to_nitrogen=30
    """
    import pilesim
    from pilesim.matter.mix import derive
    from pilesim.result import write_text
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.mix_text import mix_csv, mix_lines, proportion_lines
    from pilesim.show.screen import caution_lines, print_lines
    from pilesim.study.aims import amounts_for, parse_targets, recipe_of
    from pilesim.study.choose import choose_scenario

    targets = parse_targets(target or [])
    chosen = choose_scenario(scenario, set_)
    recipe, height = recipe_of(chosen), chosen.pile.height
    derived = derive(recipe)
    found = amounts_for(chosen, targets, keep or []) if target else None
    folder = out or Path("out") / f"{chosen.name}-mix"
    check_folder(folder, MIX_FILES, force)
    figures = load_figures()
    with delivery(folder, MIX_FILES) as place:
        write_text(mix_csv(derived, recipe, height, found), place / "mix.csv")
        picture = figures.mix_figure(derived, recipe, chosen.title, str(pilesim.__version__), height, found)
        figures.save(picture, place / "mix.png")
    print(chosen.title)
    print_lines(mix_lines(derived, recipe, height))
    if found is not None:
        print_lines(["", *proportion_lines(found, targets, recipe)])
    print_lines(["", *caution_lines()])
    print()
    for name in MIX_FILES:
        print(folder / name)


@app.command()
def materials(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="A feedstock or a cover material.")] = None,
    debug: Debug = False,
) -> None:
    """List feedstocks and cover materials, or show one with range, source and confidence of every number.

    \b
    Example: pilesim materials "coarse yard trimmings"
    """
    from pilesim.show.materials_text import materials_text

    print(materials_text(name))
