"""section.png: the pile in cross-section at a few times, temperature above, oxygen and gas paths below."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pilesim.show import page, style
from pilesim.show.gas_paths import gas_paths
from pilesim.show.half_section import HalfSection, half_section
from pilesim.show.section_paint import (
    FieldLook,
    draw_colour_bar,
    draw_field,
    draw_outline,
    draw_paths,
    in_length_unit,
    legend_entries,
)

WANTED_DAYS = (1.0, 3.0, 7.0, 14.0)  # shown when the run has them, and always the last output
GROUND_SHOWN, AIR_SHOWN = 0.5, 0.15  # [m] of ground below and air around the pile
_PANEL_WIDTH, _NARROWEST, _TALLEST, _NARROWEST_FIGURE = 2.72, 2.5, 3.4, 8.2  # [inches]
_LEFT, _RIGHT, _GAP, _ONE_ROW_LEGEND = 0.62, 0.85, 0.16, 12.5  # [inches]
_STEP = {"metric": 5.0, "us": 10.0}  # of the temperature colours


def chosen_times(times: np.ndarray) -> list[int]:
    """Indices of the output times to draw: those nearest days 1, 3, 7 and 14, and the last.

    Runs too short for three of them are drawn at up to four evenly spaced outputs.
    """
    times = np.asarray(times, dtype=float)
    last = len(times) - 1
    wanted = [day for day in WANTED_DAYS if day < times[last]]
    chosen = sorted({int(np.argmin(np.abs(times - day))) for day in wanted} | {last})
    if len(chosen) < 3:
        chosen = sorted({int(k) for k in np.linspace(min(1, last), last, 4).round()})
    return chosen


def section_figure(dataset: xr.Dataset, units: str = "metric") -> Figure:
    """Sections of temperature (with the rule line) and of oxygen (with the anaerobic line and gas paths).

    Parameters
    ----------
    dataset : xarray.Dataset
        As returned by ``pilesim.simulate`` or opened from result.nc.
    units : {"metric", "us"}

    Raises
    ------
    ScenarioError
        For an unknown unit system.
    """
    section = half_section(dataset)
    times = chosen_times(dataset["time"].values)
    with style.picture_style():
        figure, rows, bars = _panels(section, len(times), units)
        looks = _temperature_look(dataset, times, units), oxygen_look(dataset)
        for above, below, k in zip(rows[0], rows[1], times, strict=True):
            now = dataset.isel(time=k)
            lies = half_section(now)  # a cover may be off by then
            for axes in (above, below):
                draw_outline(axes, lies, units)
            _temperature_panel(above, lies, now, looks[0], units)
            _oxygen_panel(below, lies, now, looks[1], units)
            above.tick_params(labelbottom=False)
        for bar, look in zip(bars, looks, strict=True):
            draw_colour_bar(bar, look)
        entries = legend_entries(*looks, with_ground=len(section.ground) > 0)
        page.legend_below(figure, entries, 6 if figure.get_figwidth() > _ONE_ROW_LEGEND else 3)
        title = f"{dataset.attrs.get('title', 'Pile')}: cross-section"
        warning = page.warning_line(dataset.attrs)
        page.title_and_footer(figure, title, dataset.attrs, units, warning)
    return figure


def _panels(section: HalfSection, count: int, units: str) -> tuple[Figure, list[list[Axes]], list[Axes]]:
    """Two rows of equal-aspect panels sized from the shape of the pile, and a place for each colour bar."""
    right = section.half_width + (2 * AIR_SHOWN if section.mirrored else 0.0)
    left = -right if section.mirrored else min(0.0, float(section.x[np.unique(section.pile)].min()))
    low, high = -GROUND_SHOWN, section.top + AIR_SHOWN
    fitting = (_NARROWEST_FIGURE - _LEFT - _RIGHT - (count - 1) * _GAP) / count
    height = min(max(_PANEL_WIDTH, fitting) * (high - low) / (right - left), _TALLEST)
    width = height * (right - left) / (high - low)
    slot = max(width, _NARROWEST)
    total_width = max(_LEFT + count * slot + (count - 1) * _GAP + _RIGHT, _NARROWEST_FIGURE)
    below, second_title = (1.30 if total_width > _ONE_ROW_LEGEND else 1.50), 0.38
    figure = page.new_figure(total_width, 0.90 + 2 * height + second_title + below)
    limits, label = style.shown([left, right, low, high], "m", units)
    rows, bars = [], []
    for bottom in (below + second_title + height, below):
        places = [(_LEFT + k * (slot + _GAP), bottom, width, height) for k in range(count)]
        row = [page.place_axes(figure, *place) for place in places]
        for axes in row:
            axes.set(xlim=limits[:2], ylim=limits[2:], aspect="equal")
            axes.xaxis.set_major_locator(MaxNLocator(max(2, min(7, round(2.2 * width))), integer=True))
            axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
            axes.tick_params(labelleft=axes is row[0])
        row[0].set_ylabel(f"height [{label}]")
        rows.append(row)
        bars.append(page.place_axes(figure, places[-1][0] + slot + 0.14, bottom, 0.13, height))
    middle = rows[1][(count - 1) // 2]
    middle.set_xlabel(f"distance from the axis [{label}]" if section.mirrored else f"distance [{label}]")
    return figure, rows, bars


def _temperature_look(dataset: xr.Dataset, times: list[int], units: str) -> FieldLook:
    """Colour steps over the range of the times drawn, the rule temperature included."""
    rule, unit = style.shown(dataset.attrs["rule_temperature_degC"], "degC", units)
    fields, _ = style.shown(dataset["temperature"].isel(time=times).values, "degC", units)
    step = _STEP[units]
    first = np.floor(min(np.nanmin(fields), float(rule) - step) / step)
    last = np.ceil(max(np.nanmax(fields), float(rule) + 0.5 * step) / step)
    return FieldLook(
        label=f"temperature [{unit}]",
        ramp=style.TEMPERATURE_MAP,
        levels=step * np.arange(first, last + 1),
        limit=float(rule),
        limit_text=f"{style.number_text(float(rule))} {unit}",
        dash="solid",
        gid="rule line",
    )


def oxygen_look(dataset: xr.Dataset) -> FieldLook:
    """Colour steps of one percent, and the anaerobic limit of the run."""
    limit = float(dataset.attrs["anaerobic_oxygen_percent"])
    return FieldLook(
        label="oxygen [%]",
        ramp=style.OXYGEN_MAP,
        levels=np.arange(0.0, 22.0),
        limit=limit,
        limit_text=f"{style.number_text(limit)} %",
        dash="dashed",
        gid="oxygen line",
    )


def _temperature_panel(axes: Axes, section: HalfSection, now: xr.Dataset, look: FieldLook, units: str) -> None:
    values, unit = style.shown(now["temperature"].values, "degC", units)
    draw_field(axes, section, section.solid, values, look, units)
    mean, _ = style.shown(float(now["mean_temperature"]), "degC", units)
    share = 100.0 * float(now["share_above_rule_temperature"])
    spread = _beside(now, "mean_temperature", "degC", units), _beside(now, "share_above_rule_temperature", "1", units)
    words = f"mix: mean {float(mean):.0f}{spread[0]} {unit}, {share:.0f}{spread[1]} % above {look.limit_text}"
    page.note(axes, words, 4, size=7.5)
    page.note(axes, f"day {style.number_text(float(now['time']))}", 15, size=10, bold=True)


def _oxygen_panel(axes: Axes, section: HalfSection, now: xr.Dataset, look: FieldLook, units: str) -> None:
    draw_field(axes, section, section.pile, now["oxygen"].values, look, units)
    velocities = now["gas_velocity_x"].values, now["gas_velocity_z"].values
    paths = gas_paths(section, *velocities)
    draw_paths(axes, [in_length_unit(path, units) for path in paths], section.mirrored)
    speed = np.hypot(*velocities)
    fastest, unit = style.shown(np.max(speed[np.isfinite(speed)], initial=0.0), "m s-1", units)
    gas = f"gas to {style.number_text(float(f'{float(fastest):.2g}'))} {unit}" if paths else "gas still"
    share = 100.0 * float(now["anaerobic_share"])
    spread = _beside(now, "anaerobic_share", "1", units)
    page.note(axes, f"mix: {share:.0f}{spread} % below {look.limit_text} oxygen; {gas}", 4, size=7.5)


def _beside(now: xr.Dataset, name: str, unit: str, units: str) -> str:
    """`` ±2``: the numerical error of a number drawn, at that hour; "" if the result does not hold it."""
    if f"error_of_{name}" not in now:
        return ""
    zero, spread = style.shown([0.0, float(now[f"error_of_{name}"])], unit, units)[0]
    size = float(spread - zero)
    return f" ±{size:.0f}" if size >= 0.95 else f" ±{max(size, 0.1):.1f}"
