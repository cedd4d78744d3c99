"""turning.png: what share of the material had how much heat in two piles, turned or standing, and their course."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from pilesim.show import page, style
from pilesim.show.turning_text import five_sentences
from pilesim.study.turning import Exposure

LOOKS = (style.LineStyle(style.STARVED, (0, (6, 1.5)), 2.2), style.LineStyle(style.COLD, "-", 2.2))
_LEFT, _WIDE, _TALL, _GAP, _ROW_GAP, _TOP, _FOOT, _LINE = 0.75, 4.6, 2.3, 0.95, 0.95, 0.95, 1.15, 0.19  # [inches]
_SHARES = (("share_rule", "meets the rule"), ("survivors", "E. coli that\nsurvive"),
           ("anaerobic_days", "time short\nof oxygen"), ("water_loss", "water lost"))
_CHARACTER = 0.066  # [inches] of a character of text


def turning_figure(found: Sequence[Exposure], alike: bool, units: str = "metric") -> Figure:
    """Exposure over all material and what is uncertain above, the course of the mean temperature and of the starved share
    below, the five sentences under them.

    Parameters
    ----------
    found : two Exposures
    alike : bool
        Whether both piles are of one mix.
    units : {"metric", "us"}
    """
    with style.picture_style():
        width = _LEFT + 2 * _WIDE + _GAP + 0.35
        words = [line for text in five_sentences(found, alike, units)
                 for line in textwrap.wrap(style.as_printed(text), int(width / _CHARACTER), subsequent_indent="    ")]
        below = _FOOT + _LINE * len(words) + 0.1
        figure = page.new_figure(width, below + 0.45 + 2 * _TALL + _ROW_GAP + _TOP)
        rows = [below + 0.45 + _TALL + _ROW_GAP, below + 0.45]
        panels = [page.place_axes(figure, _LEFT + k * (_WIDE + _GAP), row, _WIDE, _TALL) for row in rows for k in (0, 1)]
        _exposed(panels[0], [(one.hours, one.hours_coarse) for one in found])
        panels[0].set_xlabel(f"hours at {'131 °F' if units == 'us' else '55 °C'} or more")
        page.note(panels[0], "Hours hot, over all of the material", 5, 9.5, bold=True)
        _ranges(panels[1], found)
        _courses(panels[2], panels[3], found, units)
        for number, line in enumerate(words):
            up = below - 0.08 - _LINE * (number + 1)
            figure.text(0.12 / width, up / figure.get_figheight(), line, fontsize=8.8, parse_math=False, va="bottom")
        page.legend_below(figure, _legend(found), 3)
        title = f"{found[0].title} — {found[1].title}"
        page.title_and_footer(figure, title, found[0].attrs, units, "No statement of compliance; settling, lumps that do "
                              "not mix, ends, rain, snow and ammonia are not modelled")
    return figure


def _exposed(axes: Axes, values: Sequence[tuple[np.ndarray, np.ndarray]]) -> None:
    """Share of the material with at least so much, with the difference of the grids as a band."""
    levels = np.linspace(0.0, 100.0, 401)
    for (fine, coarse), look in zip(values, LOOKS, strict=True):
        one, other = (np.quantile(each, 1.0 - levels / 100.0) for each in (fine, coarse))
        axes.fill_betweenx(levels, np.minimum(one, other), np.maximum(one, other), color=look.colour, alpha=0.22, linewidth=0)
        axes.plot(one, levels, color=look.colour, linestyle=look.dash, linewidth=look.width, gid="exposure")
    axes.set(ylim=(0.0, 101.0), ylabel="share with at least so many [%]")
    axes.set_xlim(0.0, None)



def _ranges(axes: Axes, found: Sequence[Exposure]) -> None:
    """Four shares: the run with its numerical error, and how far it goes with the uncertain inputs moved."""
    for row, (name, _) in enumerate(_SHARES):
        for k, (one, look) in enumerate(zip(found, LOOKS, strict=True)):
            factor = 100.0 / float(one.days[-1]) if name == "anaerobic_days" else 100.0
            place, (value, error) = row + 0.16 * (2 * k - 1), one.measures[name]
            low, high = (factor * end for end in one.ranges[name])
            axes.plot([low, high], [place, place], color=look.colour, linewidth=5.5, alpha=0.35,
                      solid_capstyle="butt", gid="range")
            axes.errorbar([factor * value], [place], xerr=[factor * error], color=look.colour, marker="os"[k], markersize=5,
                          capsize=3, linewidth=1.2)
    axes.set(xlim=(0.0, 100.0), ylim=(len(_SHARES) - 0.5, -0.5), xlabel="[%]")
    axes.set_yticks(range(len(_SHARES)), [words for _, words in _SHARES])
    page.note(axes, "Numerical error, and uncertain inputs moved", 5, 9.5, bold=True)


def _courses(warm: Axes, air: Axes, found: Sequence[Exposure], units: str) -> None:
    """Mean temperature with its turns, and the starved share."""
    for one, look, top in zip(found, LOOKS, (0.96, 0.89), strict=True):    # of the height of the panel
        mean, label = style.shown(one.temperature, "degC", units)
        spread = one.temperature_error * (1.8 if units == "us" else 1.0)
        warm.fill_between(one.days, mean - spread, mean + spread, color=look.colour, alpha=0.22, linewidth=0)
        warm.plot(one.days, mean, color=look.colour, linestyle=look.dash, linewidth=look.width, gid="temperature")
        air.plot(one.days, 100.0 * one.starved, color=look.colour, linestyle=look.dash, linewidth=look.width, gid="starved")
        warm.plot(one.turn_days, [top] * len(one.turn_days), transform=warm.get_xaxis_transform(), marker="v", markersize=6,
                  color=look.colour, linestyle="none", gid="turned")
    end = max(float(one.days[-1]) for one in found)
    rule = float(style.shown([55.0], "degC", units)[0][0])
    warm.axhline(rule, color=style.INK, linewidth=0.9, linestyle=(0, (1, 1.2)))
    warm.set(xlim=(0.0, end), xlabel="day", ylabel=f"mean of the mix [{label}]")
    air.set(xlim=(0.0, end), ylim=(0.0, 100.0), xlabel="day", ylabel="below the oxygen limit [%]")
    page.note(warm, "Temperature", 5, 9.5, bold=True)
    page.note(air, "Short of oxygen, running daily mean", 5, 9.5, bold=True)


def _legend(found: Sequence[Exposure]) -> list[Line2D | Patch]:
    entries: list[Line2D | Patch] = [
        Line2D([], [], color=look.colour, linewidth=look.width, label=page.one_line(one.title, 60))
        for one, look in zip(found, LOOKS, strict=True)]
    for entry, look in zip(entries, LOOKS, strict=True):
        entry.set(linestyle=look.dash)
    entries.append(Patch(color=style.FAINT, alpha=0.35, label="difference from the grid of twice the cell"))
    entries.append(Patch(color=style.FAINT, alpha=0.6, label="top right: permeability ×3, air met in turning ×4 either way"))
    entries.append(Line2D([], [], color=style.INK, marker="v", linestyle="none", label="turned; dotted: 55 °C"))
    return entries
