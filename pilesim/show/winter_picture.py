"""winter.png: a calendar of start weeks by design, shaded by the chance of failure, with days until hot; to print."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from pilesim.inputs.scenario import Scenario
from pilesim.show import page, style
from pilesim.show.cautions import SHORT_CAUTIONS
from pilesim.show.winter_text import advice_lines, day_text, days_text, decider_lines
from pilesim.study.winter import Decider, StartWeek

_CELL, _TALL, _LEFT, _RIGHT, _HEAD, _LINE, _FOOT = 0.88, 0.62, 1.75, 0.3, 0.6, 0.19, 0.15     # [inches]
_LEAST, _CHARACTERS = 8.6, 13.5     # [inches] width of the page; characters of text an inch
_DARK = 0.5     # chance of failure from which text is white


def winter_figure(scenario: Scenario, weeks: Sequence[StartWeek], deciders: Sequence[Decider], source: str) -> Figure:
    """Rows are designs, columns start weeks; a frame marks what passes in every year, dots what the error leaves open."""
    days = list(dict.fromkeys(w.month_day for w in weeks))
    designs = list(dict.fromkeys((w.width, w.cover) for w in weeks))
    width = max(_LEFT + _CELL * len(days) + _RIGHT, _LEAST)
    said = [*advice_lines(weeks), *decider_lines(deciders), "", *SHORT_CAUTIONS]
    lines = [line for text in said for line in (textwrap.wrap(style.as_printed(text), int(width * _CHARACTERS)) or [""])]
    head_lines = textwrap.wrap(
        f"Weather: {source}. In each box: days until 50 % and 95 % of the mix have reached 55 °C, the share left "
        "cold in the worst year, years that fail; ? has no result. Shade: chance of failure. Green: passes in every year. "
        "Dots: the numerical error leaves it open.".replace(" %", "\u00a0%"), int(width * _CHARACTERS * 0.93))
    below = _FOOT + _LINE * len(lines) + _TALL
    tall = below + _TALL * len(designs) + _HEAD + _LINE * len(head_lines)
    with style.picture_style():
        figure = page.new_figure(width, tall)
        axes = page.place_axes(figure, _LEFT, below, _CELL * len(days), _TALL * len(designs))
        axes.set(xlim=(0, len(days)), ylim=(len(designs), 0))
        axes.set_xticks(np.arange(len(days)) + 0.5, [day_text(day) for day in days])
        axes.set_yticks(np.arange(len(designs)) + 0.5, [f"base {base}\ncover {cover}" for base, cover in designs])
        axes.tick_params(length=0)
        for spine in axes.spines.values():
            spine.set_visible(False)
        for w in weeks:
            _draw(axes, days.index(w.month_day), designs.index((w.width, w.cover)), w)
        head = f"When to build: {scenario.title}"
        figure.text(0.15 / width, 1.0 - 0.28 / tall, head, fontsize=12.5, fontweight="bold", parse_math=False)
        for number, text in enumerate(head_lines):
            figure.text(0.15 / width, 1.0 - (0.52 + _LINE * number) / tall, text, fontsize=8.5, parse_math=False)
        for number, line in enumerate(lines):
            up = _FOOT + _LINE * (len(lines) - 1 - number)
            figure.text(0.15 / width, up / tall, line, fontsize=8.0, parse_math=False, va="bottom")
    return figure


def _draw(axes: page.Axes, column: int, row: int, w: StartWeek) -> None:
    shade = style.COLD_MAP(0.85 * w.chance)
    axes.add_patch(Rectangle((column + 0.03, row + 0.04), 0.94, 0.92, facecolor=shade, edgecolor="none"))
    inside = (column + 0.05, row + 0.06), 0.90, 0.88
    if w.passes:
        axes.add_patch(Rectangle(*inside, fill=False, edgecolor=style.ACCEPTABLE, linewidth=2.0))
    elif w.undecided and not w.failed:
        axes.add_patch(Rectangle(*inside, fill=False, edgecolor=style.INK, linewidth=1.2, linestyle=":"))
    colour = "white" if w.chance > _DARK else style.INK
    unit = "" if math.isnan(w.days_95) else " d"
    text = (f"{days_text(w.days_50)} / {days_text(w.days_95)}{unit}\n{100 * w.cold_worst:.0f} % cold\n"
            f"{w.failed} of {w.years} fail")
    if w.reason:
        text = "?\n" + text.splitlines()[-1]
    axes.text(column + 0.5, row + 0.5, text, ha="center", va="center", fontsize=7.2, color=colour, linespacing=1.15)
