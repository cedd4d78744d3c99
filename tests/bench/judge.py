"""Ratios of a session, its targets beside what was found, and the table that is printed."""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np

Record = dict[str, Any]
BUSY = 0.7  # load average before the session
LATER = "no weather file comes with the project; by hand 1.6 of IDA (DEVELOPERS)"


def seconds(entry: Record | None, key: str = "cpu_seconds") -> float | None:
    """Median of an entry's seconds; None where it was not measured."""
    if not entry or key not in entry:
        return None
    value = entry[key]
    return float(median(value)) if isinstance(value, list) else float(value)


def ratio(one: float | None, other: float | None) -> float | None:
    """One over the other; None where either is missing."""
    return one / other if one is not None and other else None


def contest(record: Record, name: str) -> Record | None:
    """An entry of the contest."""
    found: Record | None = record.get("contest", {}).get(name)
    return found


def at_both_ends(record: Record, name: str) -> float | None:
    """CPU seconds of one contestant on R1: the median of its runs at the begin and at the end of the session."""
    runs = [*((contest(record, name) or {}).get("cpu_seconds", [])),
            *record.get("drift", {}).get(name, {}).get("cpu_seconds", [])]
    return float(median(runs)) if runs else None


def of_pilesim(record: Record, name: str) -> float | None:
    """CPU seconds of a contestant over pilesim's on 60 x 50 cells over the same span; None where pilesim did not run that."""
    entry, whole = contest(record, name) or {}, contest(record, "pilesim_60") or {}
    if entry.get("days") == whole.get("days"):
        return ratio(at_both_ends(record, name), at_both_ends(record, "pilesim_60"))
    same = entry if "_as_" in name else contest(record, f"pilesim_60_as_{name}") or {}
    return ratio(seconds(entry), seconds(same)) if same.get("days") == entry.get("days") else None


def drift(record: Record) -> float | None:
    """IDA at the end of the session over IDA at its begin."""
    return ratio(seconds(record.get("drift", {}).get("ida")), seconds(contest(record, "ida")))


def grids(record: Record, problem: str) -> np.ndarray:
    """(grids, 3) of nodes, CPU seconds and steps of a problem, in the order of nodes."""
    points = [(entry["nodes"], seconds(entry), entry["steps"]) for entry in record.get("growth", {}).values()
              if entry.get("problem") == problem and seconds(entry)]
    return np.array(sorted(points), dtype=float).reshape(-1, 3)


def exponent(record: Record, problem: str, per_step: bool = False, last: int = 0) -> float | None:
    """Slope of log CPU seconds (of the run, or per step) against log nodes; needs three grids.

    Over all grids, or over the `last` finest only.
    """
    points = grids(record, problem)
    if len(points) < 3:
        return None
    points = points[-last:]
    nodes, cpu, steps = np.log(points).T
    return float(np.polyfit(nodes, cpu - steps if per_step else cpu, 1)[0])


def largest(errors: dict[str, list[float]] | None, column: int, days: tuple[str, ...] = ()) -> float | None:
    """Largest absolute error of a column, over all days or those named."""
    values = [abs(pair[column]) for day, pair in (errors or {}).items() if not days or day in days]
    return max(values) if values else None


def _of_ida(record: Record, part: str, name: str) -> float | None:
    own = at_both_ends(record, name) if part == "contest" else seconds(record.get(part, {}).get(name))
    return ratio(own, at_both_ends(record, "ida"))


def _start(name: str) -> Callable[[Record], float | None]:
    return lambda record: seconds(record.get("start", {}).get(name), "wall_seconds")


def _time_error(column: int, days: tuple[str, ...]) -> Callable[[Record], float | None]:
    return lambda record: largest(record.get("time_error", {}).get("r1 60 x 50", {}).get("errors"), column, days)


def _pair_error(column: int) -> Callable[[Record], float | None]:
    return lambda record: largest((contest(record, "pilesim_pair") or {}).get("errors"), column)


def _rms(name: str) -> Callable[[Record], float | None]:
    def found(record: Record) -> float | None:
        rms = record.get("time_error", {}).get(name, {}).get("rms")
        return max(rms.values()) if rms else None
    return found


def _pair_of_van_leer(record: Record) -> float | None:
    return ratio(seconds(contest(record, "pilesim_pair_as_van_leer")), seconds(contest(record, "van_leer")))


def _ensemble(record: Record) -> float | None:
    run = record.get("ensemble", {}).get("run")
    return run["wall_seconds"] / run["median_alone"] * 200.0 / run["members"] if run else None


def _memory_growth(record: Record) -> float | None:
    run = record.get("ensemble", {}).get("run")
    return run["megabytes_end"] / run["megabytes_early"] if run else None


def _memory(record: Record) -> float | None:
    entries = [entry for name, entry in record.get("growth", {}).items() if "megabytes" in entry]
    return max(entry["megabytes"] for entry in entries) if entries else None


# what, unit, at most, stretch, whether it is a ratio of one session (may be asserted), how to find it
TARGETS: tuple[tuple[str, str, float, float | None, bool, Callable[[Record], float | None]], ...] = (
    ("R1, 60 x 50, of IDA's CPU", "1", 1 / 40, 1 / 100, True, lambda r: _of_ida(r, "contest", "pilesim_60")),
    ("R1, time error of mean temperature", "K", 0.05, None, False, _time_error(0, ())),
    ("R1, time error of oxygen, days 1 and 3", "%", 0.5, None, False, _time_error(1, ("1", "3"))),
    ("R1, time error of oxygen, later", "%", 0.05, None, False, _time_error(1, ("10", "30"))),
    ("R1, two grids, of BDF van Leer's CPU", "1", 1 / 300, None, True, _pair_of_van_leer),
    ("R1, two grids, error of mean temperature", "K", 0.15, None, False, _pair_error(0)),
    ("R1, two grids, error of oxygen used", "%", 0.8, None, False, _pair_error(1)),
    ("full physics, 5 cm, 30 days, of IDA's CPU", "1", 1 / 2, 1 / 5, True, lambda r: _of_ida(r, "growth", "full 5 cm")),
    ("full physics, 10 cm, 30 days, of IDA's CPU", "1", 1 / 12, 1 / 30, True, lambda r: _of_ida(r, "growth", "full 10 cm")),
    ("full physics, 5 cm, time error, rms", "K", 0.05, None, False, _rms("full 5 cm")),
    ("full physics, 10 cm, time error, rms", "K", 0.05, None, False, _rms("full 10 cm")),
    ("one year, hourly weather, 10 cm, of IDA's CPU", "1", 2.0, 1.0, True, lambda r: None),
    ("200 members, wall over the median's CPU", "1", 115.0, 60.0, True, _ensemble),
    ("growth with nodes, R1, exponent", "1", 1.35, None, True, lambda r: exponent(r, "r1")),
    ("growth with nodes, full physics, exponent", "1", 1.5, None, True, lambda r: exponent(r, "full")),
    ("memory of one run", "MB", 400.0, None, False, _memory),
    ("memory of a process, all members over a fifth", "1", 1.1, None, True, _memory_growth),
    ("pilesim --help", "s", 0.5, None, False, _start("help")),
    ("import pilesim", "s", 0.7, None, False, _start("import")),
    ("first compilation of all", "s", 40.0, None, False, _start("compilation")),
    ("later runs, to the first step", "s", 1.5, None, False, _start("first_step")),
)


def judge(record: Record) -> list[Record]:
    """Every target with what was found; ``holds`` is None where nothing was measured, or only with --quick."""
    rows = []
    for what, unit, limit, stretch, is_ratio, find in TARGETS:
        value = find(record)
        holds = None if value is None or record["options"]["quick"] else bool(value <= limit)
        rows.append({"what": what, "unit": unit, "limit": limit, "stretch": stretch, "ratio": is_ratio, "found": value,
                     "holds": holds})
    return rows


def missed_ratios(record: Record) -> list[str]:
    """Targets that are ratios of this session and do not hold."""
    return [row["what"] for row in record["targets"] if row["ratio"] and row["holds"] is False]


def number(value: float | None) -> str:
    """Three digits."""
    return "–" if value is None else f"{value:.3g}"


def share_text(value: float | None) -> str:
    """A ratio below 1 as 1/n."""
    return f"1/{1 / value:.3g}" if value is not None and 0 < value < 0.95 else number(value)


def _contest_lines(record: Record) -> list[str]:
    lines = [f"{'R1, 30 days or as said':44s}{'CPU s':>8s}{'of IDA':>9s}{'x pilesim':>10s}{'error K':>9s}{'error %':>9s}"
             f"{'MB':>6s}"]
    own = contest(record, "pilesim_60") or {}
    for name, entry in record.get("contest", {}).items():
        if "cpu_seconds" not in entry or "_as_" in name:
            continue
        cpu, whole, times = at_both_ends(record, name), entry["days"] == own.get("days"), of_pilesim(record, name)
        label = entry["label"] + ("" if whole else f", {entry['days']:g} days")
        of_ida = share_text(_of_ida(record, "contest", name)) if whole else "–"
        lines.append(f"{label:44s}{cpu:8.2f}{of_ida:>9s}{number(times):>10s}"
                     f"{largest(entry['errors'], 0):9.3f}{largest(entry['errors'], 1):9.2f}{entry.get('megabytes', 0):6.0f}")
    if len(lines) == 1:
        return []
    pair, slow = contest(record, "pilesim_pair_as_van_leer"), contest(record, "van_leer")
    if pair and slow:
        lines.append(f"over {slow['days']:g} days the two grids take {seconds(pair):.2f} CPU s, "
                     f"{share_text(ratio(seconds(pair), seconds(slow)))} of BDF with van Leer")
    lines.append("error: largest of the report days run, against the grid-converged answer (known to 0.06 K, 0.4 %)")
    if contest(record, "fipy"):
        lines.append("FiPy's upwind error, downwards on day 3, and its time error, upwards, partly cancel: see peer_fipy.py")
    return lines


def _growth_lines(record: Record) -> list[str]:
    lines = []
    for name, entry in record.get("growth", {}).items():
        if "cpu_seconds" in entry:
            memory = f"{entry['megabytes']:6.0f} MB" if "megabytes" in entry else ""
            of_ida = share_text(_of_ida(record, "growth", name))
            lines.append(f"{name:18s}{entry['nodes']:8d} nodes{entry['steps']:6d} steps{seconds(entry):9.2f} CPU s"
                         f"{of_ida:>9s} of IDA{memory}")
    for problem, name in (("r1", "R1"), ("full", "full physics")):
        if exponent(record, problem) is not None:
            lines.append(f"CPU grows as nodes to the {number(exponent(record, problem))} on {name}, per step to the "
                         f"{number(exponent(record, problem, per_step=True))}; between the two finest grids to the "
                         f"{number(exponent(record, problem, last=2))}")
    changed = drift(record)
    if changed is not None:
        lines.append(f"IDA at the end of the session took {changed:.2f} of what it took at the begin")
    return lines


def _start_lines(record: Record) -> list[str]:
    lines = [f"{name:18s}{seconds(entry, 'wall_seconds'):8.2f} s{entry['cpu_seconds']:9.2f} CPU s"
             for name, entry in record.get("start", {}).items()]
    run = record.get("ensemble", {}).get("run")
    if run:
        low, high = run["spread"]
        lines.append(
            f"ensemble: {run['good']} of {run['members']} members on {run['workers']} processes and {run['cores']} cores: "
            f"{run['wall_seconds']:.1f} s wall, {run['cpu_in_workers']:.1f} CPU s (each {low:.2f} to {high:.2f}); the "
            f"median member takes {run['median_cpu_in_workers']:.2f} CPU s among others, {run['median_alone']:.2f} alone; "
            f"their CPU shared evenly would take {run['cpu_in_workers'] / run['workers']:.1f} s; "
            f"memory of a process {run['megabytes_early']:.0f} MB after a fifth, {run['megabytes_end']:.0f} MB at the end")
    return lines


def _target_lines(record: Record) -> list[str]:
    lines = [f"{'target':50s}{'at most':>9s}{'stretch':>9s}{'found':>9s}  holds"]
    words = {True: "yes", False: "NO", None: "not judged"}
    for row in record["targets"]:
        show = share_text if row["ratio"] and row["limit"] <= 0.5 else number
        unit = "" if row["unit"] == "1" else f" {row['unit']}"
        stretched = row["stretch"] and row["holds"] and row["found"] <= row["stretch"]
        answer = words[row["holds"]] + (" (the stretch too)" if stretched else "")
        if row["found"] is None and "hourly" in row["what"]:
            answer += f": {LATER}"
        stretch = show(row["stretch"]) if row["stretch"] else ""
        lines.append(f"{row['what'] + unit:50s}{show(row['limit']):>9s}{stretch:>9s}{show(row['found']):>9s}  {answer}")
    return lines


def is_busy(record: Record) -> bool:
    """Whether other work was running before the session began."""
    load = record["machine"].get("load_before")
    return bool(load) and load[0] > BUSY


def text(record: Record) -> str:
    """The session as a table for a terminal."""
    machine = record["machine"]
    head = (f"{machine['processor']}, {machine['cores']} cores, pinned to {machine['pinned_to']}, "
            f"python {machine['python']}, pilesim {machine['pilesim']} at {machine['commit']}, "
            f"session of {record['session_seconds']:.0f} s")
    parts = [[head], _contest_lines(record), _growth_lines(record), _start_lines(record), _target_lines(record)]
    if is_busy(record):
        parts.append([f"BUSY: the load was {machine['load_before'][0]:.1f} before the session began; its wall-clock seconds "
                      "mean nothing, its CPU seconds little"])
    if record["options"]["quick"]:
        parts.append(["QUICK: short spans; these numbers mean nothing"])
    return "\n\n".join("\n".join(lines) for lines in parts if lines)
