"""Draw a session of the bench: ``python tests/bench/plot.py RESULTS.json PICTURE.png``."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from bench.judge import at_both_ends, contest, exponent, grids, is_busy, largest, number, of_pilesim, share_text
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pilesim.show.style import ACCEPTABLE, COLD, FAINT, INK, STARVED, WARNING, picture_style

Record = dict[str, Any]
OWN, PEER = COLD, STARVED
NAMES = {"ida": "IDA, upwind", "bdf": "scipy BDF, upwind", "van_leer": "scipy BDF, van Leer", "fipy": "FiPy, upwind",
         "pilesim_30": "pilesim, 30 × 25", "pilesim_60": "pilesim, 60 × 50", "pilesim_pair": "pilesim, both grids",
         "pilesim_60_as_fipy": "pilesim, 60 × 50", "pilesim_60_as_van_leer": "pilesim, 60 × 50"}
BEFORE = ("ida", "van_leer", "fipy", "pilesim_60")  # contestants whose name stands left of their mark


def contest_points(record: Record) -> list[tuple[str, float, float, float]]:
    """(name, CPU seconds over pilesim's on 60 x 50 over the same span, error [K], days) of every contestant."""
    out: list[tuple[str, float, float, float]] = []
    for name in NAMES:
        entry = contest(record, name)
        if not entry or "cpu_seconds" not in entry:
            continue
        if "_as_" in name and any(shown.startswith(name.split("_as_")[0]) and days == entry["days"]
                                  for shown, _, _, days in out):
            continue  # this span is shown already
        times, error = of_pilesim(record, name), largest(entry["errors"], 0)
        if times and error:
            out.append((name, times, error, entry["days"]))
    return out


def nothing(axes: Axes) -> None:
    """Say that a part of the session was not run."""
    axes.set_axis_off()
    axes.text(0.5, 0.5, "not run in this session", transform=axes.transAxes, ha="center", color=FAINT)


def draw_contest(axes: Axes, record: Record) -> None:
    """Error against cost; both axes logarithmic, better is down and left."""
    points = contest_points(record)
    if not points:
        nothing(axes)
        return
    full = max(days for *_, days in points)
    for name, times, error, days in points:
        own = name.startswith("pilesim")
        colour = OWN if own else PEER
        axes.plot(times, error, marker="o" if own else "s", color=colour, markersize=6, linestyle="none",
                  markerfacecolor=colour if days == full else "white")
        label = NAMES[name] + ("" if days == full else f", {days:g} days")
        before = name in BEFORE
        low = -6 if name == "pilesim_pair" else 0  # its mark lies close under that of the fine grid alone
        axes.annotate(label, (times, error), (-7 if before else 7, low), textcoords="offset points", fontsize=8,
                      ha="right" if before else "left", va="center", color=colour)
    axes.set(xscale="log", yscale="log", xlabel="CPU time over that of pilesim on 60 × 50, same span",
             ylabel="largest error of the mean temperature (K)")
    axes.axhspan(1e-9, 0.06, color=FAINT, alpha=0.15, linewidth=0)
    lows, highs = min(p[2] for p in points), max(p[2] for p in points)
    axes.set_ylim(min(lows, 0.06) / 2.5, highs * 2)
    axes.text(0.02, 0.02, "hollow: a shorter span, where every error is smaller\n"
              "shaded: the answer itself is not known better", transform=axes.transAxes, fontsize=7.5, color=INK)
    times = [point[1] for point in points]
    axes.set_xlim(min(times) / 5.0, max(times) * 3.0)  # room for a label on the left
    axes.set_title(f"R1, {full:g} days, against its converged answer")


def draw_growth(axes: Axes, record: Record) -> None:
    """CPU seconds of thirty days against nodes, with the fitted powers."""
    if not any(len(grids(record, problem)) for problem in ("r1", "full")):
        nothing(axes)
        return
    for problem, name, colour, marker, dash in (("r1", "R1", OWN, "o", "-"), ("full", "full physics", STARVED, "^", "--")):
        points = grids(record, problem)
        if not len(points):
            continue
        axes.plot(points[:, 0], points[:, 1], marker, color=colour)
        power = exponent(record, problem)
        if power is None:
            continue
        level = np.mean(np.log(points[:, 1]) - power * np.log(points[:, 0]))
        ends = points[[0, -1], 0]
        axes.plot(ends, np.exp(level) * ends**power, dash, color=colour, linewidth=1.2,
                  label=f"{name}, nodes to the {number(power)}")
    ida = at_both_ends(record, "ida")
    if ida:
        axes.axhline(ida, color=INK, linewidth=0.9, linestyle=(0, (1, 1.2)))
        axes.text(0.02, ida, "IDA on R1, 60 × 50 cells", transform=axes.get_yaxis_transform(), fontsize=7.5, va="bottom")
    axes.set(xscale="log", yscale="log", xlabel="nodes", ylabel="CPU time of 30 days (s)")
    axes.set_title("pilesim: cost against nodes")
    axes.legend(loc="lower right")


def row_text(row: Record) -> str:
    """Found and asked in figures."""
    show = share_text if row["ratio"] and row["limit"] <= 0.5 else number
    unit = "" if row["unit"] == "1" else f" {row['unit']}"
    return f"{show(row['found'])}, asked {show(row['limit'])}{unit}"


def draw_targets(axes: Axes, record: Record) -> None:
    """What was found over what was asked; left of 1 the target holds."""
    rows = [row for row in record["targets"] if row["found"]][::-1]
    for place, row in enumerate(rows):
        share = row["found"] / row["limit"]
        axes.plot([1.0, share], [place, place], color=FAINT, linewidth=1.0, zorder=1)
        good = share <= 1.0
        axes.text(1.01, place, row_text(row), transform=axes.get_yaxis_transform(), va="center", fontsize=8)
        axes.plot(share, place, marker="o" if good else "X", color=ACCEPTABLE if good else WARNING, markersize=6, zorder=3)
        if row["stretch"]:
            axes.plot(row["stretch"] / row["limit"], place, marker="|", color=INK, markersize=9, zorder=2)
    axes.axvline(1.0, color=INK, linewidth=0.9)
    axes.set_yticks(range(len(rows)), [row["what"] for row in rows])
    axes.set(xscale="log", xlabel="found over asked: left of the line the target holds (| stretch)")
    axes.tick_params(axis="y", length=0)
    axes.set_title("Targets")


def main(words: list[str]) -> None:
    """Read the JSON, draw, write the picture."""
    if len(words) != 2:
        raise SystemExit(__doc__)
    record = json.loads(Path(words[0]).read_text(encoding="utf-8"))
    machine = record["machine"]
    with picture_style():
        figure = Figure(figsize=(10.5, 8.2), layout="constrained")
        upper, lower = figure.subfigures(2, 1, height_ratios=(1.0, 1.05))
        left, right = upper.subplots(1, 2)
        draw_contest(left, record)
        draw_growth(right, record)
        draw_targets(lower.subplots(), record)
        quick = "QUICK RUN, NUMBERS MEAN NOTHING. " if record["options"]["quick"] else ""
        quick += "BUSY MACHINE, TIMES MEAN LITTLE. " if is_busy(record) else ""
        figure.suptitle(f"{quick}One session on one core of {machine['processor']}, {record['date']} UTC, pilesim "
                        f"{machine['pilesim']} at {machine['commit']}", fontsize=8.5, x=0.01, ha="left", color=INK)
        figure.savefig(words[1], dpi=130)


if __name__ == "__main__":
    main(sys.argv[1:])
