"""widths.png: the starved share of the mix day by day for several base widths, and the narrowest and widest in section."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pilesim.assess.measures import AEROBIC_SHARE
from pilesim.show import page, style
from pilesim.show.gas_paths import gas_paths
from pilesim.show.half_section import half_section
from pilesim.show.section_paint import (
    FieldLook,
    draw_colour_bar,
    draw_field,
    draw_outline,
    draw_paths,
    in_length_unit,
    legend_entries,
)
from pilesim.show.section_picture import oxygen_look
from pilesim.show.widths_text import conclusion, exceptions, never_clears, never_starves, outcome, width_label
from pilesim.study.widths import WidthRun

_LEFT, _RIGHT, _GAP, _CURVES, _TALLEST = 0.75, 0.95, 0.45, 3.1, 2.4  # [inches] the last two: heights of curves, sections
_COLUMN = {1: 9.6, 2: 6.3, 3: 4.9, 4: 4.2}  # [inches] width of a panel by the number of scenarios
_TITLE, _HEAD, _AXIS, _UNDER, _FOOT, _LINE = 0.40, 0.55, 0.55, 0.42, 0.78, 0.21  # [inches]
_ONE_ROW_LEGEND, _PER_INCH, _DAY_ROOM = 12.5, 14.0, 0.8  # [inches]; characters an inch above a panel; [inches]
_GROUND, _AIR, _CHARACTER = 0.25, 0.15, 0.072  # [m] shown below and around the pile; [inches] of a character of text
_DASHES = ("-", (0, (7, 1.5)), (0, (4, 1.5, 1, 1.5)), (0, (2, 1)))
_NAMED_AT = (0.5, 0.6, 0.42, 0.7, 0.8, 0.9)  # shares at which a falling curve may be named
_BOLD, _NAME = 0.105, 0.22  # [inches] of a character of a name; height of a name


def widths_figure(runs: Sequence[WidthRun], units: str = "metric") -> Figure:
    """Curves of the starved share, a panel a scenario, above oxygen sections of its narrowest and widest pile.

    Parameters
    ----------
    runs : sequence of WidthRun
        As returned by ``pilesim.study.widths.vary_widths``.
    units : {"metric", "us"}

    Raises
    ------
    ScenarioError
        For an unknown unit system.
    """
    groups = [[run for run in runs if run.scenario == name] for name in dict.fromkeys(run.scenario for run in runs)]
    each = _COLUMN[len(groups)]
    width = _LEFT + len(groups) * each + (len(groups) - 1) * _GAP + _RIGHT
    with style.picture_style():
        scale = _scale([run.section for run in runs if run.section is not None], each)
        words = [line for text in conclusion(runs, units) for line in textwrap.wrap(text, int(width / _CHARACTER))]
        legend = 0.0 if scale is None else 0.25 if width > _ONE_ROW_LEGEND else 0.45
        below = _FOOT + legend + _LINE * len(words)
        sections = 0.0 if scale is None else _UNDER + _rows(groups) * scale.row
        tall = below + sections + _AXIS + _CURVES + _HEAD + _TITLE
        figure = page.new_figure(width, tall)
        for column, group in enumerate(groups):
            left = _LEFT + column * (each + _GAP)
            axes = page.place_axes(figure, left, tall - _TITLE - _HEAD - _CURVES, each, _CURVES)
            _draw_curves(axes, group, each, units)
            axes.set_ylabel("" if column else "starved share of the mix [%]")
            axes.tick_params(labelleft=not column)
        if scale is not None:
            _draw_sections(figure, groups, scale, below + _UNDER, each, units)
        for number, line in enumerate(words):
            up = below - 0.18 - _LINE * (number + 1)
            figure.text(0.12 / width, up / tall, line, fontsize=10, parse_math=False, va="bottom")
        _frame(figure, runs, units)
    return figure


def _frame(figure: Figure, runs: Sequence[WidthRun], units: str) -> None:
    """Title and footer; the cautions of all runs together."""
    sections = [run.section for run in runs if run.section is not None]
    failed = [f"{run.title}, {width_label(run, units)}: {run.failure}" for run in runs if run.failure]
    said = list(dict.fromkeys([*failed, *(text for run in runs for text in run.messages)]))
    said.sort(key=lambda text: "not to be trusted" not in text)
    attrs = dict(sections[0].attrs) if sections else {}
    attrs["messages"] = json.dumps(said)
    limits = " or ".join(style.number_text(limit) for limit in sorted({run.limit for run in runs}))
    title = f"How wide? Starved share of the mix (below {limits} % oxygen) of piles that differ in base width only"
    page.title_and_footer(figure, title, attrs, units, page.warning_line(attrs))


# ------------------------------------------------------------------------------------------------- curves
def look_of(number: int, count: int) -> style.LineStyle:
    """The narrowest pile lightest, the widest darkest, neighbours dashed differently."""
    shade = style.STARVED_MAP(0.48 + 0.52 * (number / max(count - 1, 1)))
    red, green, blue, _ = (round(255 * part) for part in shade)
    return style.LineStyle(f"#{red:02x}{green:02x}{blue:02x}", _DASHES[number % len(_DASHES)], 2.2)


def _draw_curves(axes: Axes, group: Sequence[WidthRun], each: float, units: str) -> None:
    """The starved share of every pile of one scenario, named on the curve, its day of clearing marked with its error."""
    level = 100.0 * AEROBIC_SHARE
    end = max((float(run.days[-1]) for run in group if run.days.size), default=1.0)
    axes.set(xlim=(0.0, end), ylim=(0.0, 100.0))
    axes.axhline(level, color=style.INK, linewidth=0.9, linestyle=(0, (1, 1.2)), zorder=1.5)
    for number, run in enumerate(group):
        if run.failure:
            continue
        look = look_of(number, len(group))
        axes.plot(run.days, 100.0 * run.share, color=look.colour, linestyle=look.dash, linewidth=look.width, gid="width")
        if run.share_error.size:
            low, high = (np.clip(run.share + sense * run.share_error, 0.0, 1.0) for sense in (-1.0, 1.0))
            band = axes.fill_between(run.days, 100.0 * low, 100.0 * high, color=look.colour, alpha=0.2, linewidth=0)
            band.set_gid("error band")
    _name_curves(axes, group, units)
    _mark_days(axes, group, level, end / each)
    shown = [float(run.section["time"]) for run in group if run.section is not None]
    if shown:
        axes.axvline(shown[0], color=style.FAINT, linewidth=1.0, zorder=1)
        text = f"day {style.number_text(shown[0])}: sections below"
        side = "right" if shown[0] > 0.6 * end else "left"
        placed = axes.annotate(text, (shown[0], 100.0), (-4 if side == "right" else 4, -2), textcoords="offset points")
        placed.set(ha=side, va="top", fontsize=8, color="#5b626b")
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    axes.grid(axis="y", color="#e6e8eb", linewidth=0.6)
    axes.set_xlabel("time since build [days]")
    without = exceptions(group, units)
    words = f"dots: less than {level:.0f} % is starved from then on; bands: error"
    words += f" ({without})" if without else ""
    page.note(axes, page.one_line(words, int(_PER_INCH * each)), 4, size=8.5)
    page.note(axes, page.one_line(group[0].title, int(0.8 * _PER_INCH * each)), 17, size=10.5, bold=True)


def _mark_days(axes: Axes, group: Sequence[WidthRun], level: float, per_inch: float) -> None:
    """A dot with its numerical error where each pile clears, and the day beside it, upright if dots are close."""
    marked = [
        (k, run) for k, run in enumerate(group) if not (run.failure or never_starves(run) or never_clears(run))
    ]
    days = sorted(run.measures["days_to_aerobic"][0] for _, run in marked)
    close = bool(len(days) > 1 and np.diff(days).min() < _DAY_ROOM * per_inch)
    for number, run in marked:
        colour, (value, error) = look_of(number, len(group)).colour, run.measures["days_to_aerobic"]
        axes.errorbar([value], [level], xerr=None if np.isnan(error) else [error], color=colour, marker="o",
                      markersize=6, markeredgecolor="white", markeredgewidth=0.8, capsize=3, elinewidth=1.4,
                      zorder=4)  # fmt: skip
        text = axes.annotate(outcome(run), (value, level), (4, 6), textcoords="offset points", color=colour, fontsize=8.5)
        text.set(rotation=90 if close else 0, fontweight="bold", va="bottom", zorder=5, path_effects=style.casing(3.0))


def _name_curves(axes: Axes, group: Sequence[WidthRun], units: str) -> None:
    """The width on each curve, where it falls through a share at which no other name stands, or at its highest point."""
    (_, end), box = axes.get_xlim(), axes.get_window_extent()
    across, up = box.width / axes.figure.dpi / end, box.height / axes.figure.dpi  # [inches] a day, the whole axis
    taken: list[tuple[float, float, float]] = []  # [inches] centre, centre, half of the width
    for number, run in enumerate(group):
        if run.failure:
            continue
        text = width_label(run, units)
        half = 0.5 * (_BOLD * len(text) + 0.08)
        for level in _NAMED_AT:
            day, share = _falls_through(run, level)
            x, y = day * across, share * up
            if not any(abs(x - a) < half + wide and abs(y - b) < _NAME for a, b, wide in taken):
                break
        taken.append((x, y, half))
        name = axes.annotate(text, (day, 100.0 * share), fontsize=10, fontweight="bold", ha="center", va="center")
        name.set(color=look_of(number, len(group)).colour, zorder=5)
        name.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 1.5})
        if x + half > box.width / axes.figure.dpi:
            name.set(ha="right")


def _falls_through(run: WidthRun, level: float) -> tuple[float, float]:
    """Day on which the share falls through `level` for good, and that level; its highest point if it never does."""
    above = np.flatnonzero(run.share >= level)
    if not above.size or above[-1] == len(run.share) - 1:
        k = int(np.argmax(run.share)) if not above.size else len(run.share) - 1
        return float(run.days[k]), float(run.share[k]) + (0.06 if not above.size else 0.0)
    k = int(above[-1])
    part = (run.share[k] - level) / (run.share[k] - run.share[k + 1])
    return float(run.days[k] + part * (run.days[k + 1] - run.days[k])), level


# ------------------------------------------------------------------------------------------------- sections
def _text_of(group: Sequence[WidthRun], pile: xr.Dataset, units: str) -> str:
    run = next(run for run in group if run.section is pile)
    limit, share = style.number_text(run.limit), 100.0 * float(pile["anaerobic_share"])
    day = style.number_text(float(pile["time"]))
    error = 100.0 * float(pile["error_of_anaerobic_share"]) if "error_of_anaerobic_share" in pile else np.nan
    spread = f" ±{max(error, 1.0):.0f}{'' if run.errors_trusted else '?'}" if np.isfinite(error) else ""
    return f"base {width_label(run, units)}, day {day}: {share:.0f}{spread} % of the mix below {limit} % oxygen"


@dataclass(frozen=True, slots=True)
class _Scale:
    """What all sections share: half the width shown and the highest point [m]; height of an axes [inches]; look."""

    half: float
    top: float
    height: float
    look: FieldLook

    @property
    def row(self) -> float:
        """One section with its text [inches]."""
        return self.height + 0.36


def _scale(piles: Sequence[xr.Dataset], each: float) -> _Scale | None:
    """One scale for all sections, as large as a column lets the widest be; None without sections."""
    if not piles:
        return None
    shapes = [half_section(pile) for pile in piles]
    top = max(shape.top for shape in shapes) + _AIR
    widest = max(shape.half_width for shape in shapes) + 2 * _AIR
    half = max(widest, 0.5 * each * (top + _GROUND) / _TALLEST)
    return _Scale(half, top, each * (top + _GROUND) / (2 * half), oxygen_look(piles[0]))


def _draw_section(axes: Axes, pile: xr.Dataset, scale: _Scale, text: str, units: str) -> None:
    """One pile with its outline, oxygen, anaerobic line and gas paths."""
    section, look = half_section(pile), oxygen_look(pile)
    limits, _ = style.shown([-scale.half, scale.half, -_GROUND, scale.top], "m", units)
    axes.set(xlim=limits[:2], ylim=limits[2:], aspect="equal")
    level = np.flatnonzero(section.z[section.ground].min(axis=1) > -1e-6)  # not the sides of the ground computed
    draw_outline(axes, replace(section, ground=section.ground[level]), units)
    axes.axhline(0.0, color=style.INK, linewidth=0.9, zorder=0.5)
    draw_field(axes, section, section.pile, pile["oxygen"].values, look, units)
    paths = gas_paths(section, pile["gas_velocity_x"].values, pile["gas_velocity_z"].values)
    draw_paths(axes, [in_length_unit(path, units) for path in paths], section.mirrored)
    page.note(axes, text, 4, size=8.5, bold=True)
    axes.xaxis.set_major_locator(MaxNLocator(8, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(3, integer=True))


def _draw_sections(
    figure: Figure, groups: Sequence[Sequence[WidthRun]], scale: _Scale, bottom: float, each: float, units: str
) -> None:
    """A column of sections for each scenario, and the colour bar beside them, upwards from `bottom` [inches]."""
    _, label = style.shown(0.0, "m", units)
    rows = _rows(groups)
    for column, group in enumerate(groups):
        piles = [run.section for run in group if run.section is not None]
        for row, pile in enumerate(piles):
            at = bottom + (rows - 1 - row) * scale.row
            axes = page.place_axes(figure, _LEFT + column * (each + _GAP), at, each, scale.height)
            _draw_section(axes, pile, scale, _text_of(group, pile, units), units)
            last = row == len(piles) - 1
            axes.tick_params(labelbottom=last, labelleft=column == 0)
            axes.set_xlabel(f"distance from the axis [{label}]" if last else "")
            axes.set_ylabel("" if column else f"height [{label}]")
    bar = page.place_axes(
        figure, figure.get_figwidth() - _RIGHT + 0.15, bottom, 0.14, (rows - 1) * scale.row + scale.height
    )
    draw_colour_bar(bar, scale.look)
    page.legend_below(figure, legend_entries(None, scale.look), 6 if figure.get_figwidth() > _ONE_ROW_LEGEND else 3)


def _rows(groups: Sequence[Sequence[WidthRun]]) -> int:
    return max(sum(run.section is not None for run in group) for group in groups)
