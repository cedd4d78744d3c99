"""What the commands print: measures of one run, the table of designs with a closing sentence, progress."""

from __future__ import annotations

import json
import math
import shutil
import sys
import textwrap
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from pilesim.assess.errors import AS_BUILT, RESIDUALS
from pilesim.base.constants import CONSTANTS
from pilesim.base.units import format_number
from pilesim.result import Measure, Summary
from pilesim.show.cautions import CAUTIONS, MODEL_LIMITS, gathered
from pilesim.show.findings import hot_and_aerobic
from pilesim.show.tie_words import best_sentence, plume_sentence, tie_sentences
from pilesim.show.values import estimate, held_rule, shown, value_with_error
from pilesim.study.table import SEPARATOR, rows
from pilesim.study.ties import WORSE, rank_text, ranks, stretch

if TYPE_CHECKING:
    import xarray as xr

    from pilesim.study.widths import WidthRun

_NEVER = "not reached"
_SECONDS_BETWEEN_LINES = 10.0
_MOST_NAMED = 12  # designs named in a sentence
UNTRUSTED = ("The errors of this run (±…?) are not to be trusted: so permeable and wide a mix convects in plumes that "
             "no grid settles.")
_STARVED = ("anaerobic_fraction_peak", "anaerobic_fraction_day_14")

# measure and heading (a line break where a narrow table may break it)
_COLUMNS: tuple[tuple[str, str], ...] = (
    ("cold_edge_fraction", "cold\nedges"),
    ("anaerobic_fraction_day_14", "starved\nday 14"),
    ("days_to_aerobic", "days to\naerobic"),
    ("peak_temperature", "peak"),
    ("water_loss", "water\nloss"),
    ("cover_leakance", "leakance"),
    ("mix_mass", "mix"),
    ("cover_volume", "cover"),
)
_TONNES = {"kg m-1": (1e-3, "t m-1"), "kg": (1e-3, "t")}  # for metric tables; "kg" is that of a whole round heap


def _shown(name: str, value: float | None, error: float | None, unit: str, system: str, trusted: bool) -> tuple[str, str]:
    """Text and unit of one measure; amounts as built have no error, what the budgets leave is one."""
    number, spread, label = shown(value, error, unit, system)
    if name in RESIDUALS:
        return format_number(number), label
    as_text = value_with_error if name in AS_BUILT else estimate
    return as_text(number, spread, trusted), label


# ------------------------------------------------------------------------------------------------- one run
def print_run(summary: Summary, title: str, system: str) -> None:
    """The measures of a run as a table, then its messages and the cautions."""
    print(title)
    print(f"scenario {summary.scenario}, pilesim {summary.version}, value ±numerical error\n")
    if not summary.errors_trusted:
        print_lines([UNTRUSTED, ""])
    _print_table(["measure", "value", "unit", "meaning"], list(_run_lines(summary, system)))
    if summary.messages:
        print_lines(["", "Messages:", *(f"- {text}" for text in summary.messages)])
    print_lines(["", *caution_lines()])


def _run_lines(summary: Summary, system: str) -> Iterator[list[str]]:
    for name, measure in summary.measures.items():
        if not isinstance(measure.value, dict):
            yield [name, *_measure_cells(name, measure, measure.value, measure.error, summary, system), measure.meaning]
            continue
        yield [name, "", "", measure.meaning]
        errors = measure.error if isinstance(measure.error, dict) else {}
        for zone, value in measure.value.items():
            yield [f"  {zone}", *_measure_cells(name, measure, value, errors.get(zone), summary, system), ""]


def _measure_cells(name: str, measure: Measure, value: Any, error: Any, summary: Summary, system: str) -> list[str]:
    if value is None:
        return [_NEVER if name.startswith("days_to_") else "-", ""]
    return list(_shown(name, value, error, measure.unit, system, summary.errors_trusted))


def aligned(lines: Sequence[Sequence[str]]) -> list[str]:
    """Columns padded to the same width, two spaces between."""
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines]


def _print_table(heads: list[str], cells: list[list[str]], keys: int = 0) -> None:
    """Boxed on a terminal, plain aligned columns elsewhere.

    A table too wide for the terminal is printed as two, each with the first `keys` columns, if that helps.
    """
    longest = [
        max(len(word) for line in [heads, *cells] for word in line[i].split() or [""]) for i in range(len(heads))
    ]
    fits = sum(longest) + len(longest) <= shutil.get_terminal_size().columns
    if sys.stdout.isatty() and not fits and keys and len(heads) > keys + 1:
        middle = (keys + len(heads) + 1) // 2
        for part in (slice(keys, middle), slice(middle, None)):
            _print_table(heads[:keys] + heads[part], [line[:keys] + line[part] for line in cells], keys)
            print()
        return
    if not sys.stdout.isatty() or not fits:
        print("\n".join(aligned([[head.replace(".\n", ".").replace("\n", " ") for head in heads], *cells])))
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    boxed = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for head, width in zip(heads, longest, strict=True):
        boxed.add_column(Text(head), min_width=width)
    for line in cells:
        boxed.add_row(*(Text(cell) for cell in line))
    Console(markup=False, highlight=False).print(boxed)


def print_lines(lines: Sequence[str]) -> None:
    """Lines as they are in a pipe, wrapped between words on a terminal."""
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    for line in lines:
        print(textwrap.fill(line, width, subsequent_indent="  ", break_on_hyphens=False) if width else line)


def caution_lines() -> list[str]:
    """The limits of the model and the usual cautions, one a line."""
    return [MODEL_LIMITS, "Cautions:", *(f"- {text}" for text in CAUTIONS)]


# --------------------------------------------------------------------------------------------- many designs
def print_comparison(table: xr.Dataset, system: str) -> None:
    """The table of designs (boxed on a terminal, plain in a pipe), the closing sentences, the cautions."""
    designs = rows(table)
    keys = list(json.loads(table.attrs["vary"]))
    heads, cells = _comparison_cells(table, designs, keys, system)
    print(f"{table.attrs['title']}: {len(designs)} designs, value ±numerical error")
    _print_table(heads, cells, len(keys))
    print_lines([f"failed: {design_name(row, keys)}: {row['message']}" for row in designs if row["status"] != "ok"])
    print()
    print_lines(verdict(designs, keys, table.attrs))
    _print_ties(designs, keys)
    _print_windows(table, system)
    print_lines(hot_and_aerobic(designs, lambda row: design_name(row, keys), _listed, table.attrs))
    said = [row["message"].split(SEPARATOR) for row in designs if row["status"] == "ok"]
    print_lines(
        [
            f"- {text} ({sum(not members.isdisjoint(row) for row in said)} of {len(designs)} designs)"
            for text, members in gathered(json.loads(table.attrs["messages"]))
        ]
    )
    print_lines(["", *caution_lines()])


def _print_ties(designs: list[dict[str, Any]], keys: list[str]) -> None:
    """What the errors do not tell apart, measure by measure, and which designs may be the best."""

    def name(row: dict[str, Any]) -> str:
        return design_name(row, keys)

    if sum(row["status"] == "ok" for row in designs) > 1:
        print_lines([best_sentence(designs, name, _listed), *tie_sentences(designs, name)])
    if plume_sentence(designs):
        print_lines([plume_sentence(designs)])


def _print_windows(table: xr.Dataset, system: str) -> None:
    """Best leakance and acceptable range of each window of cover leakance, and which way the best one moves."""
    from pilesim.show.window import window_cells

    heads, cells, sentences = window_cells(table, system)
    if cells:
        print("\nWindow of cover leakance (permeability over thickness):")
        _print_table(heads, cells)
        print_lines([*sentences, ""])


def _comparison_cells(
    table: xr.Dataset, designs: list[dict[str, Any]], keys: list[str], system: str
) -> tuple[list[str], list[list[str]]]:
    columns = [column for column in _COLUMNS if column[0] in table]
    heads, cells = [key.replace(".", ".\n") for key in keys], [[row[key] for key in keys] for row in designs]
    for name, heading in columns:
        unit, label = str(table[name].attrs["units"]), ""
        factor, unit = _TONNES.get(unit, (1.0, unit)) if system == "metric" else (1.0, unit)
        for row, line in zip(designs, cells, strict=True):
            if math.isnan(row[name]):
                line.append(_NEVER if name.startswith("days_to_") and row["status"] == "ok" else "-")
                continue
            trusted = bool(row["errors_trusted"])
            text, label = _shown(name, row[name] * factor, row[f"{name}_error"] * factor, unit, system, trusted)
            line.append(text)
        heads.append(f"{heading}\n[{label}]" if label else heading)
    places = ranks([stretch(row, WORSE) for row in designs])
    for row, line, place in zip(designs, cells, places, strict=True):
        line += [rank_text(place), row["status"]]
    return [*heads, "rank by\nworse share", "status"], cells


def print_widths(runs: Sequence[WidthRun], system: str) -> None:
    """A row per pile, then the conclusion as in the picture, failures and cautions."""
    from pilesim.show.widths_text import conclusion, outcome

    heads = ["scenario", "base width", "until less than a tenth is starved", "starved at most", "starved on day 14"]
    cells = [[run.scenario, run.width_text, outcome(run),
              *(estimate(*run.measures[name], run.errors_trusted) for name in _STARVED)] for run in runs]
    _print_table(heads, cells)
    print()
    print_lines(conclusion(runs, system))
    print_lines([f"failed: {run.scenario}, pile.base_width {run.width_text}: {run.failure}" for run in runs if run.failure])
    if any(not run.errors_trusted for run in runs):
        print_lines([UNTRUSTED.replace("this run", "these piles")])
    print_lines([f"- {text}" for text in dict.fromkeys(text for run in runs for text in run.messages)])
    print_lines(["", *caution_lines()])


def design_name(row: dict[str, Any], keys: Sequence[str]) -> str:
    """``pile.height 2 m, cover.thickness 0.2 m``."""
    return ", ".join(f"{key} {row[key]}" for key in keys)


def verdict(designs: Sequence[dict[str, Any]], keys: Sequence[str], attrs: dict[str, Any]) -> list[str]:
    """Plain sentences: which designs leave cold edges, which starve, both, neither; with the limits."""
    cold_limit = CONSTANTS["acceptable_cold_edge_share"].value
    starved_limit = CONSTANTS["acceptable_anaerobic_share"].value
    groups: dict[str, list[str]] = {"cold": [], "starved": [], "both": [], "neither": [], "unknown": []}
    for row in designs:
        cold, starved = (row.get(name, math.nan) for name in ("cold_edge_fraction", "anaerobic_fraction_day_14"))
        if row["status"] != "ok":
            continue
        if math.isnan(cold) or math.isnan(starved):
            kind = "unknown"
        elif cold > cold_limit:
            kind = "both" if starved > starved_limit else "cold"
        else:
            kind = "starved" if starved > starved_limit else "neither"
        near = not row.get("errors_trusted", 1) or any(
            not math.isnan(share) and not abs(share - limit) > row.get(f"{name}_error", math.nan)
            for name, share, limit in (
                ("cold_edge_fraction", cold, cold_limit),
                ("anaerobic_fraction_day_14", starved, starved_limit),
            )
        )
        groups[kind].append(design_name(row, keys) + (" (within its error of a limit)" if near else ""))
    oxygen = f"{attrs['anaerobic_oxygen_percent']:g} % oxygen on day 14"
    texts = {
        "cold": f"Leave cold edges (more than {100.0 * cold_limit:.0f} % of the mix never {held_rule(attrs)})",
        "starved": f"Starve (more than {100.0 * starved_limit:.0f} % of the mix below {oxygen})",
        "both": "Do both",
        "neither": "Do neither",
        "unknown": "Cannot be judged (the run is shorter than 14 days)",
    }
    shown = [kind for kind in texts if groups[kind] or kind in ("cold", "starved", "neither")]
    return [f"{texts[kind]}: {_listed(groups[kind])}." for kind in shown if any(groups.values())]


def _listed(names: list[str]) -> str:
    more = len(names) - _MOST_NAMED
    text = "; ".join(names[:_MOST_NAMED]) or "none"
    return text + (f"; and {more} more, see comparison.csv" if more > 0 else "")


# ------------------------------------------------------------------------------------------------- progress
@contextmanager
def progress_on_stderr(label: str) -> Iterator[Callable[[float], None]]:
    """A function that takes the done fraction: a bar on a terminal, elsewhere a line every ten seconds."""
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task(label, total=1.0)
            yield lambda fraction: bar.update(task, completed=fraction)
        return
    start = last = time.monotonic()

    def line(fraction: float) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= _SECONDS_BETWEEN_LINES:
            last = now
            print(f"{label}: {fraction:.0%} after {now - start:.0f} s", file=sys.stderr, flush=True)

    yield line
