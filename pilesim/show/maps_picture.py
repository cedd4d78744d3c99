"""rules.png and hygiene.png: maps of the mix, one panel each, with the line that matters and where probes would stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from pilesim.assess.hygiene import LOG_LEVELS, Hygiene
from pilesim.assess.judge import Judgement
from pilesim.show import page, style
from pilesim.show.half_section import HalfSection, half_section
from pilesim.show.rules_text import percent
from pilesim.show.section_paint import FieldLook, draw_colour_bar, draw_field, draw_outline, in_length_unit

_PANEL, _LEFT, _GAP, _BAR, _ROW_GAP, _BOTTOM, _TOP = 4.6, 0.62, 1.25, 0.13, 0.95, 1.5, 0.9  # [inches]
_NARROWEST = 7.6  # [inches]
_AROUND = 0.15  # [m] of ground and air shown
_FULFILLED = FieldLook("share of it met [%]", style.COLD_MAP.reversed(), np.arange(0.0, 101.0, 10.0), 100.0, "met", "solid",
                       "met line")


@dataclass(frozen=True, slots=True)
class Panel:
    """One map. `values` (nz, nx), in the unit of `look`; `points` (n, 2) [m] with whether a probe there reads it met."""

    head: str
    line: str
    values: np.ndarray
    look: FieldLook
    points: np.ndarray | None = None
    met: np.ndarray | None = None


def rules_figure(dataset: xr.Dataset, found: Sequence[Judgement], units: str = "metric") -> Figure:
    """Where the mix meets each rule (at most four are drawn), and where probes would read it met."""
    panels = []
    for one in found[:4]:
        name = one.rule.id or "your own rule"
        turns = f"; asks for {one.rule.turns} turnings too" if one.rule.turns else ""
        places = (one.probes.points, one.probes.met) if one.probes else (None, None)
        panels.append(Panel(f"{name}: the model says {percent(one.share)} of the mix",
                            page.one_line(one.rule.words(units) + turns, 78), 100.0 * one.progress, _FULFILLED, *places))
    unseen = [one.rule.id for one in found[:4] if not one.rule.own and one.rule.seen != "official text"]
    warning = f"Words not seen in an official text: {', '.join(unseen)}" if unseen else ""
    return _maps(dataset, panels, f"{dataset.attrs.get('title', 'Pile')}: where a rule is met", units, warning)


def hygiene_figure(dataset: xr.Dataset, found: Hygiene, units: str = "metric") -> Figure:
    """Where the mix fulfils the sludge equation, where E. coli falls how far, and what two studies of seeds would say."""
    last = LOG_LEVELS[-1]
    coli = FieldLook("tenfold reductions", style.COLD_MAP.reversed(), np.linspace(0.0, last, 9), last, f"{last:g}", "solid",
                     "reduction line")
    panels = [
        Panel(f"Sludge equation: {percent(found.sludge)} of the mix", "40 CFR 503.32(a)(3), one unbroken stay",
              100.0 * found.sludge_map, _FULFILLED),
        Panel(f"E. coli O157:H7, heat-shocked: {last:g} tenfold in {percent(found.shocked[-1])}",
              "published decimal times, counted up to four reductions", found.shocked_map, coli),
    ]
    for one in (found.seeds[0], found.seeds[-1]):
        panels.append(Panel(f"Weed seeds: {one.yardstick.words(units).removesuffix(' altogether')} in {percent(one.share)}",
                            page.one_line(one.yardstick.instrument, 90),
                            100.0 * one.progress, _FULFILLED))
    title = f"{dataset.attrs.get('title', 'Pile')}: heat against pathogens and weed seeds"
    return _maps(dataset, panels, title, units, "Cold zones, tails and heat-shocked cells decide what survives, not the core")


def _maps(dataset: xr.Dataset, panels: Sequence[Panel], title: str, units: str, warning: str) -> Figure:
    section = half_section(dataset)
    right = section.half_width + (2 * _AROUND if section.mirrored else _AROUND)
    left = -right if section.mirrored else min(0.0, float(section.x[np.unique(section.pile)].min())) - _AROUND
    low, high = -_AROUND, section.top + _AROUND
    tall = min(_PANEL * (high - low) / (right - left), 4.0)
    wide = tall * (right - left) / (high - low)
    columns = min(2, len(panels))
    rows = -(-len(panels) // columns)
    slot = max(wide, 4.2)
    with style.picture_style():
        height = _BOTTOM + rows * tall + (rows - 1) * _ROW_GAP + _TOP
        figure = page.new_figure(max(_LEFT + columns * (slot + _GAP), _NARROWEST), height)
        limits, label = style.shown([left, right, low, high], "m", units)
        for number, panel in enumerate(panels):
            row, column = divmod(number, columns)
            place = _LEFT + column * (slot + _GAP), _BOTTOM + (rows - 1 - row) * (tall + _ROW_GAP)
            axes = page.place_axes(figure, *place, wide, tall)
            axes.set(xlim=limits[:2], ylim=limits[2:], aspect="equal")
            axes.xaxis.set_major_locator(MaxNLocator(6, integer=True))
            axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
            if column == 0:
                axes.set_ylabel(f"height [{label}]")
            if row == rows - 1:
                axes.set_xlabel(f"distance from the axis [{label}]" if section.mirrored else f"distance [{label}]")
            _draw(axes, section, panel, units)
            draw_colour_bar(page.place_axes(figure, place[0] + wide + 0.12, place[1], _BAR, tall), panel.look)
        page.legend_below(figure, _legend(panels), 3)
        page.title_and_footer(figure, title, dataset.attrs, units, warning)
    return figure


def _draw(axes: Axes, section: HalfSection, panel: Panel, units: str) -> None:
    draw_outline(axes, section, units)
    draw_field(axes, section, section.pile, panel.values, panel.look, units)
    page.note(axes, panel.line, 4, size=7.5)
    page.note(axes, panel.head, 15, size=9.5, bold=True)
    if panel.points is None or panel.met is None:
        return
    points = in_length_unit(panel.points, units)
    size = 7.0 if len(points) == 1 else 2.2
    for wanted in (True, False):
        some = points[panel.met == wanted]
        both = np.concatenate([some, some * np.array([-1.0, 1.0])]) if section.mirrored else some
        drawn = axes.plot(both[:, 0], both[:, 1], **_marker(wanted, size), zorder=8)
        drawn[0].set_gid("probes met" if wanted else "probes not met")


def _marker(met: bool, size: float) -> dict[str, Any]:
    return {"linestyle": "none", "marker": "o" if met else "s", "markersize": size, "markeredgecolor": style.INK,
            "markerfacecolor": "white" if met else style.WARNING, "markeredgewidth": 0.5}


def _legend(panels: Sequence[Panel]) -> list[Any]:
    line = Line2D([], [], color="white", linewidth=1.6, label="met (or reached) inside this line")
    line.set(path_effects=style.casing(3.4, style.INK))
    entries: list[Any] = [line, Line2D([], [], color=style.INK, linewidth=1.6, label="outer surface")]
    for met, words in ((True, "probe would read it met"), (False, "probe would not")):
        if any(panel.met is not None and bool((panel.met == met).any()) for panel in panels):
            entries.append(Line2D([], [], label=words, **_marker(met, 5.0)))
    return entries
