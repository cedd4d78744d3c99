"""Compare designs: every combination of the varied scenario values, one table of measures.

Each design is one simulation in a worker process; only its measures come back. A design that fails, because
its geometry is impossible or its run does not converge, is a row with NaN, its status and the reason.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pilesim
from pilesim.base.errors import ScenarioError, StepFailed, one_line
from pilesim.base.units import to_si
from pilesim.inputs.scenario import Scenario
from pilesim.inputs.schema import key_of, known_keys
from pilesim.inputs.values import read_value, suggestion
from pilesim.study.executor import available_workers, run_jobs
from pilesim.study.store import open_store, save_member
from pilesim.study.table import table_of_designs
from pilesim.study.warm import ensure_compiled

if TYPE_CHECKING:
    import xarray as xr

LARGEST_STUDY = 20_000  # designs; more is a typing error, or weeks of computing

_LOST = "its process died; most often memory ran out: use fewer --workers or a larger run.cell"


def parse_vary(options: Sequence[str]) -> dict[str, list[str]]:
    """``["pile.height=1.5 m,2 m"]`` to ``{"pile.height": ["1.5 m", "2 m"]}``; quotes protect commas.

    Raises
    ------
    ScenarioError
        For a missing "=", blank or repeated values, a key given twice.
    """
    vary: dict[str, list[str]] = {}
    for option in options:
        key, equals, text = option.partition("=")
        key = key.strip()
        if not equals or not key:
            raise ScenarioError("--vary", repr(option), "KEY=VALUE,VALUE,... such as 'pile.height=1.5 m,2 m'")
        if key in vary:
            raise ScenarioError(
                "--vary",
                repr(option),
                f"every key once; '{key}' is given twice",
                "Put all its values into one option, separated by commas.",
            )
        vary[key] = _split(text)
    return vary


def _split(text: str) -> list[str]:
    quote = "'" if "'" in text and '"' not in text else '"'
    rows = list(csv.reader([text], quotechar=quote, skipinitialspace=True))
    return [item.strip() for item in rows[0]] if rows else [""]


def check_vary(vary: Mapping[str, Sequence[str]]) -> dict[str, list[float] | list[str]]:
    """The varied values in SI (words and dates as text), if every key is known and every value can be read.

    Whether a value is possible in a design is not looked at here.

    Raises
    ------
    ScenarioError
        Naming the key.
    """
    if not vary:
        raise ScenarioError("--vary", "", "at least one KEY=VALUE,VALUE,...")
    values = {key: _check_key(key, list(texts)) for key, texts in vary.items()}
    size = math.prod(len(texts) for texts in values.values())
    if size > LARGEST_STUDY:
        raise ScenarioError("--vary", f"{size} designs", f"at most {LARGEST_STUDY} designs", "Vary fewer values.")
    return values


def _check_key(key: str, texts: list[str]) -> list[float] | list[str]:
    spec = key_of(key)
    if spec is None:
        raise ScenarioError(key, "", "a scenario key such as 'pile.height'", suggestion(key, known_keys()))
    values: list[Any] = []
    for text in texts:
        if not isinstance(text, str) or not text:
            raise ScenarioError(key, repr(text), "values as text, none of them blank")
        value: Any = text
        if spec.kind == "quantity":
            value = to_si(text, spec.unit, key)
        else:
            read_value(spec, text, key)
        if value in values:
            raise ScenarioError(key, repr(text), "every value once", f"It equals '{texts[values.index(value)]}'.")
        values.append(value)
    if not values:
        raise ScenarioError(key, "nothing", "at least one value")
    return values


def all_designs(vary: Mapping[str, Sequence[str]]) -> Iterator[dict[str, str]]:
    """Every combination of the varied values as changes of the scenario; the last key varies fastest."""
    for texts in product(*vary.values()):
        yield dict(zip(vary, texts, strict=True))


def compare(
    scenario: Scenario,
    vary: Mapping[str, Sequence[str]],
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
    store: Path | None = None,
    announce: Callable[[str], None] | None = None,
) -> xr.Dataset:
    """Simulate every combination of the varied values.

    Parameters
    ----------
    scenario : Scenario
        What all designs share.
    vary : mapping of str to sequence of str
        Dotted scenario key to the texts to try, such as ``{"pile.base_width": ["5 m", "7 m"]}``.
    workers : int, optional
        Processes at once; by default one for each processor. The numbers do not depend on it.
    progress : callable, optional
        Called with the done fraction 0..1.
    store : Path, optional
        Folder that keeps finished designs. What it holds already is taken over, if it is of the same study.
    announce : callable, optional
        Called with one line of text before kernels are compiled.

    Returns
    -------
    xarray.Dataset
        One dimension for each key (``.`` becomes ``_``) with values in SI and, as ``<key>_text``, as typed;
        one variable for each measure and its ``<measure>_error``; ``status`` (ok, failed) and ``message``.
        NaN where a measure was never reached or the design failed.

    Raises
    ------
    ScenarioError
        If a key is unknown, a value cannot be read, or `store` belongs to another study.
    """
    values = check_vary(vary)
    if workers is not None and workers < 1:
        raise ScenarioError("workers", str(workers), "at least 1")
    designs = list(all_designs(vary))
    manifest = {
        "scenario": scenario.text(),
        "name": scenario.name,
        "version": str(pilesim.__version__),
        "vary": [[key, list(texts)] for key, texts in vary.items()],
    }
    members = open_store(Path(store), manifest) if store is not None else {}
    members = {index: member for index, member in members.items() if index < len(designs)}

    def keep(index: int, member: dict[str, Any]) -> None:
        members[index] = member
        if store is not None:
            save_member(Path(store), index, member)

    jobs = {}
    for index, design in enumerate(designs):
        if index not in members:
            try:
                jobs[index] = scenario.with_(**design)
            except ScenarioError as why:
                keep(index, _failed(str(why)))
    _simulate_all(
        jobs,
        len(designs),
        workers,
        keep,
        lambda index: members.update({index: _failed(_LOST)}),
        progress,
        announce,
    )
    return table_of_designs(scenario, vary, values, [members[index] for index in range(len(designs))])


def _simulate_all(
    jobs: dict[int, Scenario],
    total: int,
    workers: int | None,
    keep: Callable[[int, dict[str, Any]], None],
    lose: Callable[[int], None],
    progress: Callable[[float], None] | None,
    announce: Callable[[str], None] | None,
) -> None:
    if not jobs:
        return
    ensure_compiled(announce)  # so that no two processes compile at once
    done = total - len(jobs)

    def overall(fraction: float) -> None:
        if progress is not None:
            progress((done + fraction * len(jobs)) / total)

    run_jobs(run_design, jobs, workers or available_workers(), keep, lose, overall)


def run_design(scenario: Scenario, report: Callable[[float], None]) -> dict[str, Any]:
    """One design in a worker process: its measures as plain data, or why it failed."""
    from pilesim.result import summarise
    from pilesim.study.run import simulate

    try:
        summary = summarise(simulate(scenario, progress=report))
    except (ScenarioError, StepFailed) as why:
        return _failed(str(why))
    except Exception as why:  # a defect in one design must not take the others along
        return _failed(f"{type(why).__name__}: {why}")
    measures = {name: asdict(measure) for name, measure in summary.measures.items()}
    return {"status": "ok", "messages": summary.messages, "measures": measures, "errors_trusted": summary.errors_trusted}


def _failed(reason: str) -> dict[str, Any]:
    return {"status": "failed", "messages": [one_line(reason)], "measures": {}}
