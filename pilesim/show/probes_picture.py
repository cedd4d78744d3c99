"""probes.png: where probes should stand, on one A4 page to print, upright, readable in grey, with room to write readings."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from pilesim.assess.probe_plan import Probe, ProbePlan
from pilesim.base.units import from_si
from pilesim.show import page, style
from pilesim.show.cautions import MODEL_LIMITS, SHORT_CAUTIONS
from pilesim.show.half_section import HalfSection, half_section
from pilesim.show.probes_text import HEADS, probe_rows, probe_sentences
from pilesim.show.section_paint import FieldLook, draw_colour_bar, draw_field, draw_outline, in_length_unit
from pilesim.show.sheet_picture import HEIGHT, WIDTH, _heading, _notes, _write

_LEFT, _RIGHT, _MAP_TOP, _TALLEST = 0.55, 7.72, 10.65, 3.2  # [inches]
_BAR, _BAR_ROOM, _ROW, _BODY = 0.13, 0.75, 0.27, 7.8  # [inches]; the last: [points]
_PLACES = (0.0, 0.4, 1.12, 1.96, 2.46, 3.54, 4.2, 4.94)  # [inches] of the columns
_WRITE = (5.45, 6.03, 6.6)  # [inches] of the boxes to write in
_AROUND = 0.12  # [m] of ground and air shown
_LEVELS = np.arange(20.0, 80.1, 5.0)  # [degC]


def probes_figure(dataset: xr.Dataset, plan: ProbePlan, units: str = "metric") -> Figure:
    """The page: map of what is held with the numbered places, table with boxes for readings, sentences, cautions."""
    with style.picture_style():
        figure = page.new_figure(WIDTH, HEIGHT)
        _write(figure, _LEFT, 11.27, page.one_line(f"Probe map: {dataset.attrs.get('title', 'pile')}", 76), 13.0, bold=True)
        _write(figure, _LEFT, 11.05, f"pilesim {dataset.attrs.get('pilesim_version', '')} · held for the time of "
               f"'{plan.rule.words(units)}' · white line: the rule met · value ±numerical error", _BODY)
        bottom = _map(figure, dataset, plan, units)
        at = _table(figure, plan, bottom - 0.62, units)
        _heading(figure, "What it means", _LEFT, at - 0.36, _RIGHT)
        at = _notes(figure, probe_sentences(plan, units), _LEFT, at - 0.56, _RIGHT - _LEFT)
        _heading(figure, "Cautions", _LEFT, at - 0.18, _RIGHT)
        _notes(figure, [*SHORT_CAUTIONS, MODEL_LIMITS], _LEFT, at - 0.38, _RIGHT - _LEFT)
    return figure


def _map(figure: Figure, dataset: xr.Dataset, plan: ProbePlan, units: str) -> float:
    """The section with its probes; returns the height of its lower edge [inches]."""
    section = half_section(dataset)
    right = section.half_width + _AROUND
    left = -right if section.mirrored else min(0.0, float(section.x[np.unique(section.pile)].min())) - _AROUND
    low, high = -_AROUND, section.top + _AROUND
    wide = _RIGHT - _LEFT - _BAR_ROOM - 0.35
    tall = min(wide * (high - low) / (right - left), _TALLEST)
    wide = tall * (right - left) / (high - low)
    limits, label = style.shown([left, right, low, high], "m", units)
    axes = page.place_axes(figure, _LEFT + 0.35, _MAP_TOP - tall, wide, tall)
    axes.set(xlim=limits[:2], ylim=limits[2:], aspect="equal", xlabel=f"distance from the axis [{label}]",
             ylabel=f"height [{label}]")
    draw_outline(axes, section, units)
    values, unit = style.shown(plan.held - 273.15, "degC", units)
    levels = style.shown(_LEVELS, "degC", units)[0]
    level = float(style.shown([from_si(plan.rule.alternatives[0].temperature, "K", "degC")], "degC", units)[0][0])
    look = FieldLook(f"held [{unit}]", style.TEMPERATURE_MAP, levels, level, "", "solid", "rule line")
    draw_field(axes, section, section.pile, values, look, units)
    for number, probe in enumerate(plan.probes, 1):
        _mark(axes, section, probe, str(number), units)
    _mark(axes, section, plan.core, "core", units)
    draw_colour_bar(page.place_axes(figure, _LEFT + 0.35 + wide + 0.12, _MAP_TOP - tall, _BAR, tall), look)
    return _MAP_TOP - tall


def _mark(axes: Axes, section: HalfSection, probe: Probe, name: str, units: str) -> None:
    """A tip with its name and the shortest way in; the other flank gets the same, as one cannot know which is colder."""
    core = name == "core"
    tips = [np.array([[probe.x, probe.z], probe.foot])]
    if section.mirrored and probe.x > 1e-6:
        tips.append(tips[0] * np.array([-1.0, 1.0]))
    for line in tips:
        drawn = in_length_unit(line, units)
        if not core:
            stem = axes.plot(*drawn.T, color="white", linewidth=1.3, zorder=8)[0]
            stem.set_path_effects(style.casing(2.8, style.INK))
        tip = axes.plot(*drawn[0], marker="s" if core else "o", markersize=8.5, markerfacecolor="white",
                        markeredgecolor=style.INK, markeredgewidth=1.0, zorder=9, linestyle="none")[0]
        tip.set_gid("probe")
        if core:
            text = axes.annotate("core", drawn[0], (8, 0), textcoords="offset points", fontsize=8, va="center", zorder=10)
            text.set_path_effects(style.casing(2.4))
        else:
            axes.text(drawn[0, 0], drawn[0, 1], name, fontsize=6.8, fontweight="bold", ha="center", va="center", zorder=10)


def _table(figure: Figure, plan: ProbePlan, top: float, units: str) -> float:
    """The places, what the model says, and three boxes a probe for dates and readings; returns where it ends [inches]."""
    _heading(figure, "Where to probe, and what the model says there", _LEFT, top, _RIGHT)
    at = top - 0.22
    heads = ("", *HEADS[1:6], "rule met", *HEADS[7:])
    for head, place in zip(heads, _PLACES, strict=True):
        _write(figure, _LEFT + place, at, head, 7.2)
    for place in _WRITE:
        _write(figure, _LEFT + place, at, "date:", 7.2)
    for row in probe_rows(plan, units):
        at -= _ROW
        for k, (cell, place) in enumerate(zip(row, _PLACES, strict=True)):
            _write(figure, _LEFT + place, at, cell, _BODY, bold=k == 0)
        for place in _WRITE:
            left, low = _LEFT + place, at - 0.07
            figure.add_artist(Line2D([x / WIDTH for x in (left, left + 0.52, left + 0.52, left, left)],
                                     [y / HEIGHT for y in (low, low, low + 0.22, low + 0.22, low)], color=style.FAINT,
                                     linewidth=0.7))
    return at
