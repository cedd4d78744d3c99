"""The sheet a picture is drawn on: size, title, footer, notes, curve names, and saving it whole.

Pictures are plain ``matplotlib.figure.Figure`` objects: no pyplot, no window, no global state.
"""

from __future__ import annotations

import json
import tomllib
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from pilesim.base.errors import ScenarioError
from pilesim.base.units import to_si
from pilesim.result import replacing
from pilesim.show.cautions import gathered
from pilesim.show.style import FAINT, WARNING, as_printed, number_text, picture_style, shown

RESOLUTION = 150  # dots per inch of a saved picture
LONGEST_TITLE = 110  # characters
_BOLD_CHARACTER = 0.078  # [inches] width at 8 points


def one_line(text: object, longest: int = LONGEST_TITLE) -> str:
    """Any text as one line of at most `longest` characters."""
    line = " ".join(str(text).split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def new_figure(width: float, height: float) -> Figure:
    """An empty picture of the given size [inches]."""
    return Figure(figsize=(width, height), dpi=100)


def place_axes(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """New axes at a place given in inches from the lower left corner of the picture."""
    wide, tall = figure.get_size_inches()
    return figure.add_axes((left / wide, bottom / tall, width / wide, height / tall))


def title_and_footer(figure: Figure, title: object, attrs: Mapping[str, Any], system: str, warning: str = "") -> None:
    """Write the title, the version and grid cell, the caution, and an optional warning above them."""
    inch = 1.0 / figure.get_figheight()
    left = 0.12 / figure.get_figwidth()

    def write(up: float, text: str, **look: Any) -> None:
        figure.text(left, up * inch, text, parse_math=False, va="bottom", **look)

    top = figure.get_figheight() - 0.27
    write(top, one_line(title), fontsize=12, fontweight="bold")
    facts = [f"pilesim {attrs.get('pilesim_version', 'version unknown')}", *_cell_text(attrs, system)]
    if attrs.get("section") == "half" and attrs.get("shape") != "column":
        facts.append("half section computed, " + ("turned about the axis" if attrs.get("shape") == "round" else "mirrored"))
    write(0.08, " · ".join(facts), fontsize=7.5, color=FAINT)
    caution = (
        "Model result, not a measurement: confirm with probes; local codes and your regulator decide. "
        "Hot material, steam and gas can injure."
    )
    write(0.24, caution, fontsize=7.5)
    write(0.41, one_line(warning, int(figure.get_figwidth() / _BOLD_CHARACTER)), fontsize=8, color=WARNING, fontweight="bold")


def warning_line(attrs: Mapping[str, Any]) -> str:
    """The first caution of the run, and how many there are."""
    lines = [text for text, _ in gathered(json.loads(str(attrs.get("messages", "[]"))))]
    if len(lines) < 2:
        return "".join(lines)
    return f"1 of {len(lines)} cautions: {lines[0]}"


def _cell_text(attrs: Mapping[str, Any], system: str) -> list[str]:
    """The nominal node spacing from the scenario text, if it states one that can be read."""
    try:
        cell = tomllib.loads(str(attrs["scenario"]))["run"]["cell"]
        size, label = shown(to_si(cell, "m", "run.cell"), "m", system)
        return [f"grid cell {number_text(float(size))} {label}"]
    except (KeyError, TypeError, tomllib.TOMLDecodeError, ScenarioError):
        return []


def legend_below(figure: Figure, handles: Sequence[Line2D | Patch], columns: int) -> None:
    """Legend at the lower left, above the footer."""
    wide, tall = figure.get_size_inches()
    figure.legend(
        handles=list(handles),
        loc="lower left",
        ncols=columns,
        handlelength=2.2,
        columnspacing=1.5,
        bbox_to_anchor=(0.12 / wide, 0.60 / tall),
        borderaxespad=0.0,
    )


def note(axes: Axes, text: str, lift: float, size: float = 8.0, bold: bool = False) -> None:
    """Left-aligned text `lift` points above the axes, outside matplotlib's own title."""
    placed = axes.annotate(as_printed(text), (0, 1), (0, lift), xycoords="axes fraction", textcoords="offset points")
    placed.set(fontsize=size, fontweight="bold" if bold else "normal", va="bottom", parse_math=False)


def label_ends(axes: Axes, ends: Sequence[tuple[float, str, str]]) -> None:
    """Name the curves at the right edge of `axes`, in their colours, moved apart where they would overlap.

    `ends` holds (last value in data units, text, colour); call it when the limits of `axes` are final.
    """
    ends = [end for end in ends if np.isfinite(end[0])]
    low, high = axes.get_ylim()
    tall = axes.get_window_extent().height / axes.figure.dpi * 72.0  # [points]
    gap = 10.5 / tall
    order = sorted(ends, key=lambda end: end[0])
    true = np.clip([(end[0] - low) / (high - low) for end in order], 0.0, 1.0)
    for place, at, (_, text, colour) in zip(_spread(true, gap), true, order, strict=True):
        pointer = Line2D([1.0, 1.025], [at, place], color=colour, linewidth=0.8, clip_on=False)
        pointer.set_transform(axes.transAxes)
        axes.add_artist(pointer)
        name = axes.text(1.03, place, text, transform=axes.transAxes, color=colour, fontsize=8)
        name.set(va="center", parse_math=False)


def _spread(sorted_places: np.ndarray, gap: float) -> np.ndarray:
    """Places at least `gap` apart, as near the given ones as one upward and one downward sweep allow."""
    places = np.array(sorted_places, dtype=float)
    for k in range(1, len(places)):
        places[k] = max(places[k], places[k - 1] + gap)
    shift = max(0.0, (places[-1] - 1.0) if len(places) else 0.0)
    for k in range(len(places) - 1, -1, -1):
        limit = places[k] - shift if k == len(places) - 1 else places[k + 1] - gap
        places[k] = min(places[k], limit)
    return places


def save(figure: Figure, path: str | Path) -> Path:
    """Write `figure` as a PNG that appears complete or not at all, and return its path.

    Raises
    ------
    OSError
        If the folder is missing or cannot be written; no file is left behind.
    """
    with replacing(Path(path)) as temporary, picture_style(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")  # a title in any script
        figure.savefig(temporary, format="png", dpi=RESOLUTION, metadata={"Software": None})
    return Path(path)
