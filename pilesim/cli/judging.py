"""The commands that judge a finished run: time-temperature rules and hygiene. Everything heavy is imported inside them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from pilesim.cli.commands import app, load_figures
from pilesim.cli.options import HYGIENE_FILES, PROBES_FILES, RULES_FILES, Debug, Force, Out, ResultPath, Units, say


@app.command()
def rules(
    result: Annotated[
        Path | None,
        typer.Argument(metavar="[RESULT]", help="A result.nc, or the folder that holds it; without, rules are listed."),
    ] = None,
    rule: Annotated[
        list[str] | None,
        typer.Option("--rule", metavar="ID", help="A rule by its id. Repeatable.  [default: that of the run]"),
    ] = None,
    file: Annotated[Path | None, typer.Option("--file", metavar="FILE", help="Rules of your own, in TOML.")] = None,
    out: Out = None,
    force: Force = False,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """List time-temperature rules, or say what the model says of a finished run by them: rules.csv, rules.png.

    \b
    Example: pilesim rules out/reference_pile-run --rule us_ny
    """
    from pilesim.show import rules_list as text
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.screen import print_lines

    known = text.known_rules(file)
    chosen = text.chosen_rules(rule or [], known, result is not None)
    if result is None:
        in_full = [line for one in chosen for line in (*text.rule_in_full(one, units), "")]
        print_lines([*in_full, text.ASK] if chosen else text.rules_list(known, units))
        return
    dataset, scenario, fine, coarse = _opened(result)
    folder = out or Path("out") / f"{scenario.name}-rules"
    check_folder(folder, RULES_FILES, force)
    figures = load_figures()

    from pilesim.assess.judge import judge_all
    from pilesim.result import write_text
    from pilesim.show.rules_text import judgement_csv, judgement_lines, judgement_table

    asked = chosen or [scenario.limits.rule]
    others = [one for one in known.values() if one.alternatives and one not in asked]
    found = judge_all(fine, coarse, [*asked, *others])
    with delivery(folder, RULES_FILES) as place:
        write_text(judgement_csv(found), place / "rules.csv")
        figures.save(figures.rules_figure(dataset, found[: len(asked)], units), place / "rules.png")
    _print_head(dataset)
    for one in found[: len(asked)]:
        print_lines([*judgement_lines(one, units), ""])
    print("All rules, their temperature parts only:")
    print_lines([*judgement_table(found, units), "", text.ASK])
    _print_cautions_and_files(folder, RULES_FILES)


@app.command()
def hygiene(
    result: ResultPath,
    out: Out = None,
    force: Force = False,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Say what the heat of a finished run does to pathogens and weed seeds by published times: hygiene.png.

    \b
    Example: pilesim hygiene out/reference_pile-run
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.hygiene_text import hygiene_lines
    from pilesim.show.screen import print_lines

    dataset, scenario, fine, coarse = _opened(result)
    folder = out or Path("out") / f"{scenario.name}-hygiene"
    check_folder(folder, HYGIENE_FILES, force)
    figures = load_figures()

    from pilesim.assess.hygiene import hygiene as by_yardsticks

    found = by_yardsticks(fine, coarse)
    with delivery(folder, HYGIENE_FILES) as place:
        figures.save(figures.hygiene_figure(dataset, found, units), place / "hygiene.png")
    _print_head(dataset)
    print_lines(hygiene_lines(found, float(dataset["time"][-1]), units))
    _print_cautions_and_files(folder, HYGIENE_FILES)


@app.command()
def probes(
    result: ResultPath,
    count: Annotated[int, typer.Option("--count", metavar="N", help="Probes, 1 to 8.")] = 4,
    out: Out = None,
    force: Force = False,
    units: Units = "metric",
    debug: Debug = False,
) -> None:
    """Plan where probes should stand to catch the coldest material: probes.csv, and one A4 page to print: probes.png.

    \b
    Example: pilesim probes out/reference_pile-run --count 5
    """
    from pilesim.show.folder import check_folder, delivery
    from pilesim.show.probes_text import probe_csv, probe_sentences, probe_table
    from pilesim.show.screen import print_lines

    dataset, scenario, fine, coarse = _opened(result)
    folder = out or Path("out") / f"{scenario.name}-probes"
    check_folder(folder, PROBES_FILES, force)
    figures = load_figures()

    from pilesim.assess.probe_plan import plan_probes
    from pilesim.result import write_text

    plan = plan_probes(fine, coarse, scenario.limits.rule, count)
    with delivery(folder, PROBES_FILES) as place:
        write_text(probe_csv(plan), place / "probes.csv")
        figures.save(figures.probes_figure(dataset, plan, units), place / "probes.png")
    _print_head(dataset)
    print_lines([*probe_table(plan, units), "", *probe_sentences(plan, units)])
    _print_cautions_and_files(folder, PROBES_FILES)


def _opened(path: Path) -> tuple[Any, Any, Any, Any]:
    """Dataset, scenario and the histories of both grids of a finished run."""
    from pilesim.show.sheet_text import open_run
    from pilesim.study.warm import ensure_compiled

    dataset = open_run(path)
    ensure_compiled(say)

    from pilesim.assess.histories import read_histories

    return dataset, *read_histories(dataset, str(path))


def _print_head(dataset: Any) -> None:
    from pilesim.result import errors_trusted

    print(f"{dataset.attrs['title']}\nscenario {dataset.attrs['scenario_name']}, pilesim {dataset.attrs['pilesim_version']}, "
          "value ±numerical error\n")
    if json.loads(str(dataset.attrs.get("turn_days", "[]"))):
        print("Turned: shares are of material that is followed through the turns; maps and probes are of places as built.\n")
    if not errors_trusted(dataset.attrs):
        print("The numerical errors of this run are not to be trusted: see what 'pilesim run' said of it.\n")


def _print_cautions_and_files(folder: Path, names: tuple[str, ...]) -> None:
    from pilesim.show.screen import caution_lines, print_lines

    print_lines(["", *caution_lines(), ""])
    for name in names:
        print(folder / name)
