"""Two ways to treat one mix, on one footing: what all of the material went through, turned or left standing.

Each pile is simulated as it is, and again with what nobody knows moved: the permeability of the mix three times either way,
and where it is turned the air that the material meets four times either way.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from pilesim.assess.exposure import ROUND_OFF, dose, progress
from pilesim.assess.histories import History, read_histories
from pilesim.assess.hygiene import coli_reductions
from pilesim.assess.parcels import Parcels
from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError, StepFailed, one_line
from pilesim.inputs.scenario import Scenario, from_text
from pilesim.matter.mix import settled_mix
from pilesim.result import write_text
from pilesim.study.executor import available_workers, run_jobs
from pilesim.study.warm import ensure_compiled

HOUR, DAY = 3600.0, 86400.0
COLDEST = 0.05  # of the material: the part that is named the coldest
PERMEABILITY_FACTOR, AIR_FACTOR = 3.0, 4.0  # either way; what is uncertain of a mix, and a guess
_LOST = "its process died; most often memory ran out: use a larger run.cell"
MEASURES = {
    "share_rule": "share of the material that meets the rule of the scenario",
    "hours_median": "hours at 55 degC or more of half of the material",
    "hours_coldest": "hours at 55 degC or more that all but the coldest twentieth of the material exceeds",
    "hottest_coldest": "degC, highest temperature that all but the coldest twentieth of the material has seen",
    "survivors": "share of heat-shocked E. coli O157:H7 that survives, mean over the material, as far as was measured",
    "anaerobic_days": "days below the anaerobic oxygen limit, mean over the mix",
    "water_loss": "share of the initial water of the mix that is lost",
    "dry_matter_loss": "share of the initial dry matter of the mix that is lost",
}


@dataclass(frozen=True, slots=True)
class Exposure:
    """What the material of one pile went through.

    Attributes
    ----------
    turn_days : tuple of float
        Of the turns that happened.
    measures : dict
        Value and numerical error of each of `MEASURES`: difference from the grid of twice the cell, and what the chance of
        parcels adds.
    ranges : dict
        Smallest and largest value with the uncertain inputs moved, the run itself among them.
    moved : tuple of (str, dict)
        What was moved, and the measures then.
    hours, reductions : (n,) arrays
        At 55 degC or more [h], tenfold reductions of heat-shocked E. coli, of parcels of equal dry matter, ascending;
        `hours_coarse` the same on the grid of twice the cell.
    days, temperature, temperature_error, starved : (k,) arrays
        Mean of the mix [degC], share below the anaerobic limit as running daily mean.
    """

    name: str
    title: str
    turn_days: tuple[float, ...]
    measures: dict[str, tuple[float, float]]
    ranges: dict[str, tuple[float, float]]
    moved: tuple[tuple[str, dict[str, float]], ...]
    hours: np.ndarray
    hours_coarse: np.ndarray
    reductions: np.ndarray
    days: np.ndarray
    temperature: np.ndarray
    temperature_error: np.ndarray
    starved: np.ndarray
    rule: str
    attrs: dict[str, str] = field(default_factory=dict)
    messages: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Job:
    pile: int
    what: str
    scenario: Scenario


def check_piles(scenarios: Sequence[Scenario]) -> None:
    """Refuse what cannot be set side by side.

    Raises
    ------
    ScenarioError
        For any but two piles of two names.
    """
    names = [scenario.name for scenario in scenarios]
    if len(names) != 2 or names[0] == names[1]:
        raise ScenarioError("SCENARIO", " ".join(names), "two scenarios of two names", "Or none, for the bundled pair.")


def told_apart(first: Exposure, second: Exposure, name: str) -> int:
    """1 or -1 where the first or the second pile has more of a measure whichever way an input is moved, and by more than the
    sum of their errors; 0 where that cannot be said. What both have moved is moved in both at once."""
    (one, error), (other, wider) = first.measures[name], second.measures[name]
    moved = dict(first.moved), dict(second.moved)
    differences = [one - other]
    for what in {*moved[0], *moved[1]}:
        pair = [side[what][name] if what in side else base for side, base in zip(moved, (one, other), strict=True)]
        differences.append(pair[0] - pair[1])
    sign = 1 if one > other else -1
    return sign if abs(one - other) > error + wider and all(sign * d > 0.0 for d in differences) else 0


def same_mix(scenarios: Sequence[Scenario]) -> bool:
    """Whether all piles are of one mix."""
    mixes = [settled_mix(scenario.mix) for scenario in scenarios]
    return all(mix == mixes[0] for mix in mixes)


def set_side_by_side(scenarios: Sequence[Scenario], workers: int | None = None,
                     progress_: Callable[[float], None] | None = None,
                     announce: Callable[[str], None] | None = None) -> list[Exposure]:
    """Simulate each pile and what is moved of it, in parallel processes; exposures in the order of `scenarios`.

    Raises
    ------
    StepFailed
        If a pile itself cannot be simulated; a run with an input moved that fails is left out and named in the messages.
    """
    check_piles(scenarios)
    ensure_compiled(announce)
    jobs = [job for number, scenario in enumerate(scenarios) for job in _jobs(number, scenario)]
    jobs.sort(key=lambda job: job.what != "")
    done: dict[int, Exposure | str] = {}
    run_jobs(_run, dict(enumerate(jobs)), workers or available_workers(), done.__setitem__,
             lambda index: done.update({index: _LOST}), progress_)
    return [_together(number, jobs, done) for number in range(len(scenarios))]


def _jobs(number: int, scenario: Scenario) -> list[_Job]:
    """The pile as it is, and with what is uncertain moved."""
    out = [_Job(number, "", scenario)]
    permeability = settled_mix(scenario.mix).permeability
    for word, factor in (("divided by", 1.0 / PERMEABILITY_FACTOR), ("times", PERMEABILITY_FACTOR)):
        moved = scenario.with_(**{"mix.permeability": f"{permeability * factor:.6g} m2"})
        out.append(_Job(number, f"permeability of the mix {word} {PERMEABILITY_FACTOR:g}", moved))
    if scenario.turns:
        for word, factor in (("divided by", 1.0 / AIR_FACTOR), ("times", AIR_FACTOR)):
            out.append(_Job(number, f"air met in turning {word} {AIR_FACTOR:g}", _with_air(scenario, factor)))
    return out


def _with_air(scenario: Scenario, factor: float) -> Scenario:
    """The scenario with more or less air met in its turns, written out so that a result holds what was run."""
    events = [{"time": f"{turn.time:.9g} s", "mixing": turn.mixing, "share": turn.share, "loosening": turn.loosening,
               "air_exchanged": factor * turn.air_exchanged, **({} if turn.cover == "put back" else {"cover": turn.cover})}
              for turn in scenario.turns]
    lines = [line for line in scenario.text().splitlines() if not line.startswith("event = ")]
    tables = "\n".join("\n[[event]]\n" + "\n".join(f'{key} = "{value}"' for key, value in event.items()) for event in events)
    return from_text("\n".join(lines) + "\n" + tables + "\n", scenario.name)


def _run(job: _Job, report: Callable[[float], None]) -> Exposure | str:
    """One run in a worker process, or why there is none."""
    try:
        return exposure(job.scenario, report)
    except (ScenarioError, StepFailed) as why:
        return str(why)
    except Exception as why:  # a defect in one run must not take the others along
        return one_line(f"{type(why).__name__}: {why}")


def exposure(scenario: Scenario, report: Callable[[float], None] | None = None) -> Exposure:
    """Simulate one pile and say what its material went through; its ranges are those of this run alone."""
    from pilesim.study.run import simulate

    dataset = simulate(scenario, progress=report)
    _, fine, coarse = read_histories(dataset)
    parcels = fine.parcels(), coarse.parcels()
    days = float(dataset["time"][-1])
    hours = [_hours(one) for one in parcels]
    reductions = [coli_reductions(one.times, one.temperatures, shocked=True) for one in parcels]
    met = [progress(one.times, one.temperatures, scenario.limits.rule) >= 1.0 - ROUND_OFF for one in parcels]
    hottest = [one.temperatures.max(axis=0) - CONSTANTS["celsius_zero"].value for one in parcels]
    chances = [_of_material(*columns) for columns in zip(met, hours, hottest, reductions, strict=True)]
    halves = [_of_material(*(column[k::2] for column in (met[0], hours[0], hottest[0], reductions[0]))) for k in (0, 1)]
    measures = {name: (value, abs(value - chances[1][name]) + 0.5 * abs(halves[0][name] - halves[1][name]))
                for name, value in chances[0].items()}
    mean, error = (float(dataset[f"anaerobic_fraction_mean{end}"]) for end in ("", "_error"))
    measures["anaerobic_days"] = days * mean, days * error
    for name in ("water_loss", "dry_matter_loss"):
        measures[name] = float(dataset[name]), float(dataset[f"{name}_error"])
    return Exposure(
        scenario.name, scenario.title, tuple(t.time / DAY for t in scenario.turns if t.time < scenario.run.duration),
        measures, {name: (value, value) for name, (value, _) in measures.items()}, (),
        np.sort(hours[0]), np.sort(hours[1]), np.sort(reductions[0]),
        *_curves(fine, coarse), _starved(dataset, fine), scenario.limits.rule.words(),
        {key: str(dataset.attrs[key]) for key in ("pilesim_version", "scenario", "section", "shape")},
        tuple(json.loads(dataset.attrs["messages"])))


def _hours(parcels: Parcels) -> np.ndarray:
    """Time [h] of each parcel at 55 degC or more."""
    level = CONSTANTS["hygiene_temperature"].value
    return dose(parcels.times, parcels.temperatures, np.array([level, 2.0 * level]), np.full(2, 1.0 / HOUR))


def _of_material(met: np.ndarray, hours: np.ndarray, hottest: np.ndarray, reductions: np.ndarray) -> dict[str, float]:
    return {"share_rule": float(met.mean()), "hours_median": float(np.median(hours)),
            "hours_coldest": float(np.quantile(hours, COLDEST)), "hottest_coldest": float(np.quantile(hottest, COLDEST)),
            "survivors": float(np.mean(10.0**-reductions))}


def _curves(fine: History, coarse: History) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days, mean temperature of the mix [degC] and its difference from the coarse grid, at the steps of the fine one."""
    means = [history.mean() - CONSTANTS["celsius_zero"].value for history in (fine, coarse)]
    return fine.times / DAY, means[0], np.abs(means[0] - np.interp(fine.times, coarse.times, means[1]))


def _starved(dataset: object, fine: History) -> np.ndarray:
    share = dataset["anaerobic_share"]  # type: ignore[index]
    return np.interp(fine.times / DAY, share["time"].values, share.values)


def _together(number: int, jobs: Sequence[_Job], done: dict[int, Exposure | str]) -> Exposure:
    """A pile's own run with the ranges over the runs in which something was moved."""
    own = [(job, done[index]) for index, job in enumerate(jobs) if job.pile == number]
    main = next(found for job, found in own if not job.what)
    if isinstance(main, str):
        raise StepFailed(f"{jobs[number].scenario.name}: {main}")
    values = {job.what: {name: value for name, (value, _) in found.measures.items()}
              for job, found in own if job.what and isinstance(found, Exposure)}
    failed = tuple(f"Left out of the ranges of {main.name}, {job.what}: {found}"
                   for job, found in own if isinstance(found, str))
    ranges = {name: (min([value, *(v[name] for v in values.values())]), max([value, *(v[name] for v in values.values())]))
              for name, (value, _) in main.measures.items()}
    return replace(main, ranges=ranges, moved=tuple(values.items()), messages=(*main.messages, *failed))


def write_exposures(found: Sequence[Exposure], path: Path) -> None:
    """Write ``turning.csv``: a row per pile and run with its measures, then the spread of hours over the material."""
    quantiles = [1, 5, 10, 25, 50, 75, 90, 95, 99]
    heads = ["scenario", "moved", "turn_days"]
    heads += [column for name in MEASURES for column in (name, f"{name}_error", f"{name}_lowest", f"{name}_highest")]
    heads += [f"{kind}_percentile_{q}" for kind in ("hours", "reductions") for q in quantiles]
    lines: list[list[str]] = [heads]
    for one in found:
        numbers = [number for name in MEASURES for number in (*one.measures[name], *one.ranges[name])]
        spread = [float(np.quantile(values, q / 100.0)) for values in (one.hours, one.reductions) for q in quantiles]
        days = " ".join(f"{day:g}" for day in one.turn_days)
        lines.append([one.name, "", days, *(_number(value) for value in (*numbers, *spread))])
        for what, values in one.moved:
            cells = [cell for name in MEASURES for cell in (_number(values[name]), "", "", "")]
            lines.append([one.name, what, days, *cells, *[""] * len(spread)])
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(lines)
    write_text(out.getvalue(), path)


def _number(value: float) -> str:
    return "NaN" if math.isnan(value) else f"{value:.6g}"
