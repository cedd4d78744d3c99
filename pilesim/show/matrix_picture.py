"""Two varied keys: matrices of designs, cold edges beside starved core beside the worse of the two."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Colormap, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from pilesim.show import page, style
from pilesim.show.risk_table import UNKNOWN, Risks, VariedKey, acceptable_shares
from pilesim.show.window import COVER_DIMS
from pilesim.study.ties import Stretch, tied_with_best

_CLIMATE = ("weather_", "site_", "start_", "ground_")  # given by the place and the season, not chosen
_CHARACTER = 0.078  # [inches] width of a character of a tick label
_ABOVE, _XLABEL, _NOTE = 0.32, 0.50, 0.26  # [inches]
_READABLE, _ROOMY = (0.30, 0.18), (0.62, 0.38)  # [inches] a cell that takes a number, a number and a note


def _matrix_keys(risks: Risks) -> tuple[int, int]:
    """(row key, column key): the cover on columns, else the key with more values."""
    covers = [key.dim in COVER_DIMS for key in risks.keys]
    if covers[0] != covers[1]:
        column = covers.index(True)
    else:
        column = int(len(risks.keys[1].texts) >= len(risks.keys[0].texts))
    return 1 - column, column


def _measures(risks: Risks, width: float) -> tuple[float, float, float, float]:
    """Left margin, width of one matrix, its height, and room below it for tick labels [inches]."""
    rows, columns = (risks.keys[k] for k in _matrix_keys(risks))
    left = 0.62 + _CHARACTER * max(len(text) for text in rows.texts)
    each = (width - left - 0.3 - 2 * 0.30) / 3
    turned = _turned(columns, each / len(columns.texts))
    below = _XLABEL + (0.75 * _CHARACTER * max(len(text) for text in columns.texts) if turned else 0.0)
    return left, each, len(rows.texts) * float(np.clip(4.2 / len(rows.texts), 0.20, 0.52)), below


def _turned(columns: VariedKey, cell: float) -> bool:
    return cell < _CHARACTER * max(len(text) for text in columns.texts) + 0.06


def matrices_height(risks: Risks, width: float) -> float:
    """Height of the block [inches]."""
    _, _, tall, below = _measures(risks, width)
    return _ABOVE + tall + below + _NOTE


def draw_matrices(figure: Figure, risks: Risks, bottom: float) -> None:
    """Three matrices from `bottom` [inches] upwards; the best design, or the best per climate, framed."""
    row, column = _matrix_keys(risks)
    keys = risks.keys[row], risks.keys[column]
    width = float(figure.get_figwidth())
    left, each, tall, below = _measures(risks, width)
    cell = each / len(keys[1].texts), tall / len(keys[0].texts)

    def turned(values: np.ndarray) -> np.ndarray:
        return values.T if row == 1 else values

    cold, starved, failed = turned(risks.cold), turned(risks.starved), turned(risks.failed)
    worse, colder = turned(risks.worse), cold >= starved
    worse_colours = np.where(colder[..., None], _colours(worse, style.COLD_MAP), _colours(worse, style.STARVED_MAP))
    limits = acceptable_shares()
    verdicts = np.where(colder, "cold", "starved")
    verdicts = np.where((cold <= limits[0]) & (starved <= limits[1]), "ok", verdicts)
    panels = (
        ("Cold edges [% of the mix]", cold, _colours(cold, style.COLD_MAP), _errors(turned(risks.cold_error))),
        (
            f"Starved: {risks.starved_words} [% of the mix]",
            starved,
            _colours(starved, style.STARVED_MAP),
            _errors(turned(risks.starved_error)),
        ),
        ("The worse of the two [% of the mix]", worse, worse_colours, verdicts),
    )
    framed, tied, words = _framed(keys, worse, *_stretches(risks, row == 1))
    for k, (title, values, colours, notes) in enumerate(panels):
        axes = page.place_axes(figure, left + k * (each + 0.30), bottom + below + _NOTE, each, tall)
        _matrix(axes, values, colours, notes, failed, cell)
        axes.set_title(title, fontweight="bold", fontsize=9)
        _labels(axes, keys, cell[0], k == 0)
        for at in framed:
            _frame(axes, at, 2.6, "-", "best design")
        for at in tied:
            _frame(axes, at, 1.6, (0, (2, 1.5)), "tied with the best")
    figure.text(left / width, (bottom + 0.06) / figure.get_figheight(), words, fontsize=8.5, parse_math=False)
    if not _fits(cell, _READABLE):
        _share_scale(figure, bottom)


def _frame(axes: Axes, at: tuple[int, int], width: float, dash: Any, gid: str) -> None:
    inset = 0.0 if dash == "-" else 0.03
    axes.add_patch(Rectangle((at[1] - 0.5 + inset, at[0] - 0.5 + inset), 1 - 2 * inset, 1 - 2 * inset, fill=False, gid=gid,
                             edgecolor=style.INK, linewidth=width, linestyle=dash, zorder=5, clip_on=False))


def _stretches(risks: Risks, turned: bool) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest worse share of each design within its errors, as the matrices are laid out."""
    found = risks.stretches()
    ends = (np.array([getattr(one, end) for one in found]).reshape(risks.worse.shape) for end in ("low", "high"))
    low, high = ((values.T if turned else values) for values in ends)
    return low, high


def _framed(
    keys: tuple[VariedKey, VariedKey], worse: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[list[tuple[int, int]], list[tuple[int, int]], str]:
    """Cells to frame, cells tied with them, and what that means: the best design, or the best for each value of a climate
    key; tied are those that may be the best within the errors."""
    climate = [k for k, key in enumerate(keys) if key.dim.startswith(_CLIMATE)]
    if len(climate) == 1:
        lines = [[(j, i) if climate == [0] else (i, j) for i in range(worse.shape[1 - climate[0]])]
                 for j in range(worse.shape[climate[0]])]
        words = f"Framed: for each {keys[climate[0]].words}, the design whose worse share is smallest"
    else:
        lines = [list(np.ndindex(worse.shape))]
        words = "Framed: the design whose worse share is smallest"
    best, tied = [], []
    for line in lines:
        known = [at for at in line if np.isfinite(worse[at])]
        if known:
            best.append(min(known, key=lambda at: float(worse[at])))
            stretches = [Stretch(float(worse[at]), float(low[at]), float(high[at])) for at in known]
            tied += [known[k] for k in tied_with_best(stretches) if known[k] != best[-1]]
    words += "; dashed: tied with it within the errors" if tied else ", beyond the errors"
    text = f"{words}. ± is the numerical error (±0: none found, ±?: not known)."
    return best, tied, text if best else "No design has both shares."


def _colours(values: np.ndarray, ramp: Colormap) -> np.ndarray:
    return ramp(np.nan_to_num(values) / 100.0)


def _errors(errors: np.ndarray) -> np.ndarray:
    def text(error: float) -> str:
        if error >= UNKNOWN or np.isnan(error):
            return "±?"
        if error <= 0:
            return "±0"
        return f"±{error:.0f}" if error >= 1 else f"±{max(error, 0.1):.1f}"

    return np.vectorize(text, otypes=[object])(errors)


def _matrix(
    axes: Axes, values: np.ndarray, colours: np.ndarray, notes: np.ndarray, failed: np.ndarray, cell: tuple[float, float]
) -> None:
    """Coloured cells with numbers and notes where there is room; failed and undefined ones hatched."""
    axes.imshow(colours, aspect="auto", interpolation="nearest")
    roomy, readable = _fits(cell, _ROOMY), _fits(cell, _READABLE)
    for j, i in np.ndindex(values.shape):
        if not np.isfinite(values[j, i]):
            axes.add_patch(Rectangle((i - 0.5, j - 0.5), 1, 1, zorder=2, **style.HATCH))
            word = "failed" if failed[j, i] else "undefined"
            if cell[0] >= 0.08 * len(word):
                axes.text(i, j, word, ha="center", va="center", fontsize=7.5, zorder=3, path_effects=style.casing(3.0))
        elif readable:
            ink = "white" if style.dark(colours[j, i]) else style.INK
            lift = 0.17 if roomy and notes[j, i] else 0.0
            axes.text(
                i,
                j - lift,
                f"{values[j, i]:.0f}",
                ha="center",
                va="center",
                fontsize=9 if roomy else 7.5,
                color=ink,
                zorder=3,
            )
            if roomy:
                axes.text(i, j + 0.24, str(notes[j, i]), ha="center", va="center", fontsize=7, color=ink, zorder=3)


def _fits(cell: tuple[float, float], need: tuple[float, float]) -> bool:
    return cell[0] >= need[0] and cell[1] >= need[1]


def _share_scale(figure: Figure, bottom: float) -> None:
    """A small 0 to 100 % scale where cells are too small for numbers; the two ramps share its lightness."""
    axes = page.place_axes(figure, figure.get_figwidth() - 3.0, bottom + 0.07, 2.6, 0.09)
    scale = figure.colorbar(
        ScalarMappable(Normalize(0, 100), style.GREY_MAP),
        cax=axes,
        orientation="horizontal",
        ticks=[0, 50, 100],
        format="%d %%",
    )
    scale.ax.tick_params(labelsize=6.5, top=True, labeltop=True, bottom=False, labelbottom=False, length=2, pad=1)


def _labels(axes: Axes, keys: tuple[VariedKey, VariedKey], cell: float, first: bool) -> None:
    rows, columns = keys
    axes.set_xticks(range(len(columns.texts)), columns.texts, rotation=90 if _turned(columns, cell) else 0)
    axes.set_yticks(range(len(rows.texts)), rows.texts if first else [""] * len(rows.texts))
    axes.tick_params(length=0)
    axes.set_xlabel(columns.label)
    if first:
        axes.set_ylabel(rows.label)
    axes.set_xticks(np.arange(0.5, len(columns.texts) - 1), minor=True)
    axes.set_yticks(np.arange(0.5, len(rows.texts) - 1), minor=True)
    axes.grid(which="minor", color="white", linewidth=1.2)
    axes.tick_params(which="minor", length=0)
    axes.set_axisbelow(False)
    for spine in axes.spines.values():
        spine.set_visible(False)
