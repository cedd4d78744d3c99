"""How wide may a pile be? The same pile on several base widths, and how its starved share changes day by day.

The side slope is held, so a wider base has a wider crest. Each pile is one simulation in a worker process; its curve
comes back, and of the narrowest and the widest one the oxygen section on one day.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pilesim.base.errors import ScenarioError, StepFailed, one_line
from pilesim.base.units import to_si
from pilesim.inputs.scenario import Scenario
from pilesim.result import errors_trusted, write_text
from pilesim.study.compare import check_vary, parse_vary
from pilesim.study.executor import available_workers, run_jobs
from pilesim.study.warm import ensure_compiled

if TYPE_CHECKING:
    import xarray as xr

FEWEST, MOST = 2, 8  # widths; more curves cannot be told apart
MOST_SCENARIOS = 4  # panels side by side
DAY = 86400.0
WIDTHLESS = ("column", "slab", "polygon")  # shapes whose base width cannot be varied alone
_OUTPUT_EVERY = 6 * 3600.0  # [s] at most: the curves are drawn from the outputs
_DRAWN = ("zone", "oxygen", "gas_velocity_x", "gas_velocity_z", "anaerobic_share", "error_of_anaerobic_share")
_MEASURES = ("days_to_aerobic", "anaerobic_fraction_peak", "anaerobic_fraction_day_14")
_LOST = "its process died; most often memory ran out: use fewer --workers or a larger run.cell"


@dataclass(frozen=True, slots=True)
class WidthRun:
    """One pile of one width.

    scenario, title : of the pile
    width, width_text : base width [m], and as typed
    days, share : (n,) arrays, day and share of the mix below the anaerobic limit as running daily mean, 0 to 1
    limit : the anaerobic limit [% oxygen]
    measures : value and numerical error of days_to_aerobic (NaN: not by the end, 0: never above a tenth),
        anaerobic_fraction_peak and anaerobic_fraction_day_14
    reach : mean distance from the axis of the starved mix over that of all mix, when the starved share has fallen to
        half its peak: below 1 the pile clears from its flanks inwards; NaN if it never falls so far
    section : the fields to draw on the chosen day, or None
    messages : cautions of the run
    failure : why there are no numbers, "" if there are
    share_error : (n,) array, numerical error of `share`
    errors_trusted : False where the errors mean nothing (plumes)
    """

    scenario: str
    title: str
    width: float
    width_text: str
    days: np.ndarray
    share: np.ndarray
    limit: float
    measures: dict[str, tuple[float, float]]
    reach: float
    section: xr.Dataset | None
    messages: tuple[str, ...]
    failure: str = ""
    share_error: np.ndarray = field(default_factory=lambda: np.zeros(0))
    errors_trusted: bool = True


@dataclass(frozen=True, slots=True)
class _Job:
    scenario: Scenario
    width_text: str
    section_day: float | None


def parse_widths(text: str) -> list[str]:
    """``"6 m,4 m"`` to ``["4 m", "6 m"]``.

    Raises
    ------
    ScenarioError
        For what is no width, a width given twice, fewer than 2 or more than 8 of them.
    """
    texts = parse_vary([f"pile.base_width={text}"])["pile.base_width"]
    if not FEWEST <= len(texts) <= MOST:
        raise ScenarioError("--widths", repr(text), f"{FEWEST} to {MOST} widths such as '4 m,6 m,8 m'")
    metres = check_vary({"pile.base_width": texts})["pile.base_width"]
    return [texts[k] for k in np.argsort(np.array(metres, dtype=float))]


def piles(scenarios: Sequence[Scenario], widths: Sequence[str], duration: str, day: str) -> list[_Job]:
    """Every scenario on every width, checked before anything runs; the day is kept of the narrowest and the widest.

    Raises
    ------
    ScenarioError
        If a pile of that width is impossible, the day lies outside the run, or a scenario has no width to vary.
    """
    names = [scenario.name for scenario in scenarios]
    if len(names) > MOST_SCENARIOS or len(set(names)) < len(names):
        raise ScenarioError("SCENARIO", " ".join(names), f"1 to {MOST_SCENARIOS} scenarios, every name once")
    chosen, end = to_si(day, "s", "--day"), to_si(duration, "s", "--duration")
    if not 0.0 < chosen <= end:
        raise ScenarioError("--day", repr(day), f"a time after the build and up to --duration, {duration}")
    jobs = []
    for scenario in scenarios:
        pile = scenario.pile
        if pile.shape in WIDTHLESS:
            raise ScenarioError("pile.shape", repr(pile.shape), "a shape that stands on a base width of its own")
        changes = {"run.duration": duration}
        if min(scenario.run.output_every, end) > _OUTPUT_EVERY:
            changes["run.output_every"] = f"{_OUTPUT_EVERY:g} s"
        if pile.crest_width is not None and pile.side_slope is None:  # the slope is held, not the crest
            run = 0.5 * (pile.base_width - pile.crest_width)
            changes["pile.side_slope"] = f"{math.degrees(math.atan2(pile.height, run)):.9g} deg"
        for width in widths:
            kept = chosen / DAY if width in (widths[0], widths[-1]) else None
            jobs.append(_Job(scenario.with_(**changes, **{"pile.base_width": width}), width, kept))
    return jobs


def vary_widths(
    jobs: Sequence[_Job],
    workers: int | None = None,
    progress: Callable[[float], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> list[WidthRun]:
    """Simulate the piles of :func:`piles`, the widest first, in parallel processes; results in the order of `jobs`."""
    ensure_compiled(announce)
    runs: dict[int, WidthRun] = {}
    order = sorted(range(len(jobs)), key=lambda k: -jobs[k].scenario.pile.base_width)
    run_jobs(
        run_width,
        {k: jobs[k] for k in order},
        workers or available_workers(),
        runs.__setitem__,
        lambda k: runs.update({k: _failed(jobs[k], _LOST)}),
        progress,
    )
    return [runs[k] for k in range(len(jobs))]


def run_width(job: _Job, report: Callable[[float], None]) -> WidthRun:
    """One pile in a worker process."""
    from pilesim.study.run import simulate

    try:
        dataset = simulate(job.scenario, progress=report)
    except (ScenarioError, StepFailed) as why:
        return _failed(job, str(why))
    except Exception as why:  # a defect in one pile must not take the others along
        return _failed(job, f"{type(why).__name__}: {why}")
    return width_run(job, dataset)


def width_run(job: _Job, dataset: xr.Dataset) -> WidthRun:
    """What is drawn and printed of one finished simulation."""
    import json

    days = dataset["time"].values.astype(float)
    limit = float(dataset.attrs["anaerobic_oxygen_percent"])
    section = None
    if job.section_day is not None:
        drawn = [*_DRAWN, *(["zone_uncovered"] if "zone_uncovered" in dataset else [])]
        section = dataset[drawn].isel(time=int(np.argmin(np.abs(days - job.section_day))))
        section.attrs = {name: value for name, value in dataset.attrs.items() if name != "constants"}
    return WidthRun(
        scenario=job.scenario.name,
        title=job.scenario.title,
        width=job.scenario.pile.base_width,
        width_text=job.width_text,
        days=days,
        share=dataset["anaerobic_share"].values.astype(float),
        limit=limit,
        measures={name: (float(dataset[name]), float(dataset[f"{name}_error"])) for name in _MEASURES},
        reach=_reach(dataset, limit),
        section=section,
        messages=tuple(json.loads(dataset.attrs["messages"])),
        share_error=dataset["error_of_anaerobic_share"].values.astype(float),
        errors_trusted=errors_trusted(dataset.attrs),
    )


def _failed(job: _Job, reason: str) -> WidthRun:
    scenario, nothing = job.scenario, np.zeros(0)
    unknown = dict.fromkeys(_MEASURES, (math.nan, math.nan))
    limit = 100.0 * scenario.limits.anaerobic_oxygen
    return WidthRun(scenario.name, scenario.title, scenario.pile.base_width, job.width_text, nothing, nothing, limit,
                    unknown, math.nan, None, (), one_line(reason))  # fmt: skip


def _reach(dataset: xr.Dataset, limit: float) -> float:
    """See `WidthRun`; each node counts with its area of mix."""
    share = dataset["anaerobic_share"].values
    falling = np.flatnonzero(share >= 0.5 * share.max())
    if share.max() <= 0.0 or falling[-1] == len(share) - 1:
        return math.nan
    then = dataset.isel(time=int(falling[-1]))
    oxygen, area, later = then["oxygen"].values, then["mix_area"], then.get("mix_area_uncovered")
    if later is not None and float(then["time"]) >= later.attrs["from_day"]:
        area = later
    area = np.nan_to_num(area.values)
    distance = np.nan_to_num(dataset["distance"].values)
    starved = np.where(oxygen < limit, area, 0.0)
    if starved.sum() <= 0.0:
        return math.nan
    return float((starved * distance).sum() / starved.sum() * area.sum() / (area * distance).sum())


def write_widths(runs: Sequence[WidthRun], path: Path) -> None:
    """Write ``widths.csv``: a row per pile with its measures, and its starved share with error on each whole day."""
    end = max((int(run.days[-1] + 1e-6) for run in runs if run.days.size), default=0)
    heads = ["scenario", "base_width", "status", "message"]
    heads += [column for name in _MEASURES for column in (name, f"{name}_error")] + ["errors_trusted"]
    heads += [f"anaerobic_share_day_{day}{suffix}" for day in range(end + 1) for suffix in ("", "_error")]
    lines: list[list[Any]] = [heads]
    for run in runs:
        numbers = [number for name in _MEASURES for number in run.measures[name]] + [float(run.errors_trusted)]
        daily = np.stack([_on_whole_days(run.days, values, end) for values in (run.share, run.share_error)], axis=1)
        numbers += daily.ravel().tolist()
        status = ["failed", run.failure] if run.failure else ["ok", " | ".join(run.messages)]
        texts = ["NaN" if math.isnan(number) else repr(float(number)) for number in numbers]
        lines.append([run.scenario, run.width_text, *status, *texts])
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(lines)
    write_text(out.getvalue(), path)


def _on_whole_days(days: np.ndarray, values: np.ndarray, end: int) -> np.ndarray:
    return np.interp(np.arange(end + 1), days, values) if values.size else np.full(end + 1, np.nan)
