"""The windows of cover leakance side by side, what their marks mean, and which way the best leakance moves."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from pilesim.base.constants import CONSTANTS
from pilesim.show import page, style
from pilesim.show.risk_table import Risks
from pilesim.show.window import Window, common_covers, leakance_text, movement_words, other_keys, scenario_cover
from pilesim.show.window_picture import draw_window, window_handles

MOST_WINDOWS, MOST_IN_GRID, _ACROSS = 8, 12, 4
_LEFT, _RIGHT, _GAP, _WINDOW = 0.75, 0.3, 0.25, 2.4  # [inches] margins, between windows, height of one
_HEADING, _LEGEND, _LINE, _CHARACTER = 0.30, 0.30, 0.17, 0.066  # [inches]
_THICKNESS = "cover_thickness"


@dataclass(frozen=True, slots=True)
class Block:
    """Windows to draw, `across` in a row, out of `total`; (leakance, letter) marks of each; lines of text."""

    windows: tuple[Window, ...]
    total: int
    across: int
    in_grid: bool
    marks: tuple[tuple[tuple[float, str], ...], ...]
    covers: tuple[str, ...]
    sentences: tuple[str, ...]

    @property
    def row_height(self) -> float:
        """One row of windows with its texts and axis [inches]."""
        lines = 1 if self.in_grid else len(self.windows[0].titles)
        return _WINDOW + 0.50 + 0.46 + 0.15 * lines

    @property
    def key_height(self) -> float:
        """Legend and names of covers [inches]."""
        return _LEGEND + _LINE * len(self.covers) + 0.06

    @property
    def height(self) -> float:
        """Of all [inches]."""
        rows = -(-len(self.windows) // self.across)
        return _HEADING + self.key_height + rows * self.row_height + _LINE * len(self.sentences) + 0.10


def plan_block(risks: Risks, windows: list[Window], attrs: Mapping[Any, Any], units: str, width: float) -> Block | None:
    """Choose and order the windows; None if there are none. With two other keys their values make a grid."""
    if not windows:
        return None
    counts = [len(key.texts) for key in other_keys(risks)]
    in_grid = len(counts) == 2 and min(counts) <= _ACROSS and len(windows) == counts[0] * counts[1] <= MOST_IN_GRID
    across, shown = min(_ACROSS, max(len(windows), 3)), windows
    if in_grid:
        column = int(counts[1] > counts[0]) if max(counts) <= _ACROSS else int(counts[1] <= _ACROSS)
        across = counts[column]
        shown = sorted(windows, key=lambda window: (window.at[1 - column], window.at[column]))
    elif len(windows) > MOST_WINDOWS:
        shown = [windows[int(k)] for k in np.linspace(0, len(windows) - 1, MOST_WINDOWS).round()]
    marks, covers = _covers(risks, shown, attrs, units)
    return Block(
        windows=tuple(shown),
        total=len(windows),
        across=across,
        in_grid=in_grid,
        marks=marks,
        covers=tuple(textwrap.wrap(covers, int(width / _CHARACTER))),
        sentences=tuple(movement_words(risks, windows)),
    )


def _covers(
    risks: Risks, windows: list[Window], attrs: Mapping[Any, Any], units: str
) -> tuple[tuple[tuple[tuple[float, str], ...], ...], str]:
    """Marks of the common covers for each window, and their names in one line."""
    covers = common_covers(attrs)
    letters = "ABCDEFGH"[: len(covers)]
    keys = other_keys(risks)
    at = next((k for k, key in enumerate(keys) if key.dim == _THICKNESS), None)
    thickness = scenario_cover(attrs)[1] or CONSTANTS[_THICKNESS].value
    varied = None if at is None else keys[at].si
    thicknesses = [thickness if at is None or varied is None else float(varied[window.at[at]]) for window in windows]
    marks = tuple(
        tuple((permeability / thick, letter) for (permeability, _), letter in zip(covers, letters, strict=True))
        if thick > 0.0
        else ()
        for thick in thicknesses
    )
    shown, unit = style.shown(thickness, "m", units)
    intro = f"Common covers, {style.number_text(float(shown))} {unit} thick: " if at is None else "Common covers: "
    names = [
        f"{letter} {name}, {leakance_text(permeability / thickness)}"
        if at is None
        else f"{letter} {name}, {style.number_text(permeability)} m²"
        for (permeability, name), letter in zip(covers, letters, strict=True)
    ]
    return marks, intro + "; ".join(names) + "."


def draw_block(figure: Figure, block: Block, bottom: float) -> None:
    """Heading, key, rows of windows and closing sentences, upwards from `bottom` [inches]."""
    width, tall = figure.get_size_inches()
    top = bottom + block.height
    note = f" ({len(block.windows)} of {block.total} shown)" if block.total > len(block.windows) else ""
    heading = f"Window of cover leakance (permeability over thickness){note}"
    figure.text(0.12 / width, (top - 0.06) / tall, heading, fontsize=10, fontweight="bold", va="top")
    draw_key(figure, block, top - _HEADING)
    start = top - _HEADING - block.key_height
    each = (width - _LEFT - _RIGHT - (block.across - 1) * _GAP) / block.across
    for k, (window, marks) in enumerate(zip(block.windows, block.marks, strict=True)):
        row, column = divmod(k, block.across)
        at = start - (row + 1) * block.row_height + 0.46
        axes = page.place_axes(figure, _LEFT + column * (each + _GAP), at, each, _WINDOW)
        draw_window(axes, window, marks, ", " if block.in_grid else "\n")
        if column:
            axes.tick_params(labelleft=False)
            axes.set_ylabel("")
        if k + block.across < len(block.windows):
            axes.set_xlabel("")
    for k, sentence in enumerate(block.sentences):
        up = bottom + 0.06 + _LINE * (len(block.sentences) - 1 - k)
        figure.text(0.12 / width, up / tall, sentence, fontsize=9, fontweight="bold", parse_math=False)


def draw_key(figure: Figure, block: Block, top: float) -> None:
    """What the marks mean and which cover each letter is, downwards from `top` [inches]."""
    width, tall = figure.get_size_inches()
    figure.legend(
        handles=window_handles(),
        loc="upper left",
        ncols=3,
        handlelength=2.2,
        columnspacing=1.8,
        borderaxespad=0.0,
        borderpad=0.0,
        bbox_to_anchor=(0.12 / width, (top - 0.04) / tall),
    )
    for k, line in enumerate(block.covers):
        figure.text(0.12 / width, (top - _LEGEND - _LINE * k) / tall, line, fontsize=8, va="top", parse_math=False)
