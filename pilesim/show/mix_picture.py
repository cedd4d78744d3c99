"""mix.png: where the recipe stands in the window of moisture, C:N and free air space, and which way each ingredient pulls."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from pilesim.assess.recipe import WINDOW, judgements, place, pulls
from pilesim.base.constants import CONSTANTS
from pilesim.inputs.records import MixFromIngredients
from pilesim.matter.mix import DerivedMix
from pilesim.matter.proportions import Proportions
from pilesim.show import page, style
from pilesim.show.style import ACCEPTABLE, ACCEPTABLE_PALE, COLD, INK

_WIDE, _PANEL, _TALL, _LEFT, _GAP = 11.0, 4.35, 3.6, 0.75, 0.95     # [inches]
_TITLE, _FOOT, _LINE, _CHARACTER = 0.62, 1.0, 0.2, 0.074            # [inches]
_COLOURS = ("#8c4a1f", "#2c6e8f", "#7a3b84", "#3d7d4b", "#b03a48", "#5b6b1f", "#455a9e", "#a07a12")
_MARKS = ("o", "s", "^", "D", "v", "P", "X", "h")
_LABEL = {"moisture": "moisture, wet basis [%]", "carbon_to_nitrogen": "C:N by mass", "free_air_space": "free air space [%]"}
_SCALE = {"moisture": 100.0, "carbon_to_nitrogen": 1.0, "free_air_space": 100.0}
_RATIOS = (3, 5, 7, 10, 15, 20, 25, 30, 35, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000)     # C:N written on the axis
_PAD = 0.12     # of an axis, around what must be seen


def mix_figure(derived: DerivedMix, mix: MixFromIngredients, title: str, version: str, height: float,
               found: Proportions | None = None) -> Figure:
    """Two panels, moisture against C:N and against free air space: the window, the recipe, an arrow for each ingredient.

    An arrow shows what a tenth of the batch's mass more of the ingredient does. `height` [m] of the mix is for the
    judgements below; `found` adds the amounts that were asked for.
    """
    arrows = pulls(derived, mix.volume_loss)
    aim = place(found.blend) if found is not None else None
    # each of many ingredients needs a mark of its own; more than there are marks repeat colours, never both
    looks = [(arrow.name, _COLOURS[k % len(_COLOURS)], _MARKS[k // len(_COLOURS) % len(_MARKS)])
             for k, arrow in enumerate(arrows)]
    lines = [line for text in judgements(derived, height) for line in textwrap.wrap(text, int(_WIDE / _CHARACTER))]
    legend = 0.24 * -(-(len(looks) + 3) // 4) + 0.1
    tall = _TITLE + _TALL + 0.6 + legend + _LINE * len(lines) + _FOOT
    with style.picture_style():
        figure = page.new_figure(_WIDE, tall)
        for column, name in enumerate(("carbon_to_nitrogen", "free_air_space")):
            left = _LEFT + column * (_PANEL + _GAP)
            axes = page.place_axes(figure, left, tall - _TITLE - _TALL, _PANEL, _TALL)
            ends = [arrow.after for arrow in arrows]
            _draw(axes, name, place(derived.blend), ends, looks, aim, _used(derived))
        handles = _legend(looks, aim is not None, bool(derived.given))
        figure.legend(handles=handles, loc="lower left", ncols=4, handlelength=1.6, borderaxespad=0.0,
                      bbox_to_anchor=(0.12 / _WIDE, (_FOOT + _LINE * len(lines) + 0.05) / tall))
        for number, line in enumerate(lines):
            up = _FOOT + _LINE * (len(lines) - 1 - number) - 0.12
            figure.text(0.12 / _WIDE, up / tall, line, fontsize=9, parse_math=False, va="bottom")
        attrs = {"pilesim_version": version}
        page.title_and_footer(figure, title, attrs, "metric",
                              "Library values are typical, not yours: measure moisture and bulk density of the loads.")
    return figure


def _used(derived: DerivedMix) -> dict[str, float] | None:
    """Where the mix stands with its given values, if moisture, density or volatile solids are given."""
    if not {"moisture", "bulk_density", "volatile_solids"} & set(derived.given):
        return None
    from pilesim.matter.mix import free_air_space

    used = derived.used
    return {"moisture": used.moisture, "carbon_to_nitrogen": derived.blend.carbon_to_nitrogen,
            "free_air_space": free_air_space(used.bulk_density, used.moisture, used.volatile_solids,
                                             derived.blend.c)}


def _draw(axes: Axes, name: str, here: Mapping[str, float], ends: Sequence[Mapping[str, float]],
          looks: Sequence[tuple[str, str, str]], aim: Mapping[str, float] | None, used: Mapping[str, float] | None) -> None:
    def point(values: Mapping[str, float]) -> tuple[float, float]:
        return _SCALE["moisture"] * values["moisture"], _SCALE[name] * values[name]

    low, high = ([_SCALE[key] * CONSTANTS[WINDOW[key][end]].value for key in ("moisture", name)] for end in (0, 1))
    axes.add_patch(Rectangle((low[0], low[1]), high[0] - low[0], high[1] - low[1], facecolor=ACCEPTABLE_PALE, alpha=0.6,
                             edgecolor=ACCEPTABLE, linewidth=1.0))
    seen = [tuple(low), tuple(high), point(here), *(point(end) for end in ends)]
    seen += [point(values) for values in (aim, used) if values is not None]
    _limit(axes, np.array(seen), log=name == "carbon_to_nitrogen")
    for end, (_, colour, mark) in zip(ends, looks, strict=True):
        axes.annotate("", point(end), point(here), arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.8,
                                                               "shrinkA": 0.0, "shrinkB": 3.0, "mutation_scale": 11})
        axes.plot(*point(end), mark, color=colour, markersize=4.5, zorder=4)
    axes.plot(*point(here), "o", color=INK, markersize=8, zorder=5)
    if used is not None:
        axes.plot(*point(used), "o", markerfacecolor="white", markeredgecolor=INK, markersize=8, zorder=6)
    if aim is not None:
        axes.plot(*point(aim), "*", color=COLD, markersize=14, zorder=6, markeredgecolor="white")
    axes.set_xlabel(_LABEL["moisture"])
    axes.set_ylabel(_LABEL[name])


def _limit(axes: Axes, seen: np.ndarray, log: bool) -> None:
    values = np.where(np.isfinite(seen), seen, np.nan)
    (left, bottom), (right, top) = np.nanmin(values, axis=0), np.nanmax(values, axis=0)
    span = _PAD * max(right - left, 5.0)
    axes.set_xlim(left - span, min(right + span, 100.0))
    if log:
        axes.set_yscale("log")
        pad = (top / bottom) ** _PAD
        axes.set_ylim(bottom / pad, top * pad)
        axes.yaxis.set_major_locator(FixedLocator(_RATIOS))
        axes.yaxis.set_minor_locator(NullLocator())
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        return
    span = _PAD * max(top - bottom, 5.0)
    axes.set_ylim(bottom - span, top + span)


def _legend(looks: Sequence[tuple[str, str, str]], aimed: bool, given: bool) -> list[Line2D | Patch]:
    handles: list[Line2D | Patch] = [
        Patch(facecolor=ACCEPTABLE_PALE, edgecolor=ACCEPTABLE, label="usual window"),
        Line2D([], [], color=INK, marker="o", linestyle="", markersize=8, label="the ingredients as given")]
    if given:
        handles.append(Line2D([], [], markeredgecolor=INK, markerfacecolor="white", marker="o", linestyle="", markersize=8,
                              label="with the given values"))
    if aimed:
        handles.append(Line2D([], [], color=COLD, marker="*", linestyle="", markersize=12, label="amounts for the targets"))
    return handles + [Line2D([], [], color=colour, marker=mark, linewidth=1.8, markersize=4.5, label=f"a tenth more {name}")
                      for name, colour, mark in looks]
