"""sheet.png: the design sheet on one A4 page, upright, readable when printed in grey."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.textpath import TextPath
from matplotlib.ticker import MaxNLocator

from pilesim.assess.design import SINKS, by_day, course
from pilesim.inputs.scenario import from_text
from pilesim.show import page, style
from pilesim.show.cautions import MODEL_LIMITS, SHORT_CAUTIONS
from pilesim.show.sheet_drawing import draw_section
from pilesim.show.sheet_text import HEAT_NAMES, Block, Sheet, shown

WIDTH, HEIGHT = 8.27, 11.69  # [inches] A4 upright
_LEFT, _RIGHT = 0.55, 7.72  # [inches] margins a printer leaves alone
_DRAWING_TOP, _BOTTOM, _TALLEST_DRAWING, _AFTER_DRAWING, _BETWEEN = 11.0, 0.32, 3.4, 0.22, 0.17  # [inches]
_BODY, _SMALL = 7.8, 7.2  # [points]
_COLUMN = 0.405  # [inches] of the table of flows
_LINE = 0.150  # [inches] between lines of the body
_LOOKS = {
    "heat_released": style.LineStyle(style.INK, "-", 2.2),
    "heat_carried_by_gas": style.LineStyle("#3c4148", (0, (6, 1.5)), 1.4),
    "heat_conducted_to_air": style.LineStyle("#5a6068", (0, (4, 1.5, 1, 1.5)), 1.4),
    "heat_to_ground": style.LineStyle("#5a6068", (0, (1, 1)), 1.6),
    "heat_stored": style.LineStyle("#8d939b", "-", 1.2),
}
_SHORT = {"heat_released": "respiration", "heat_carried_by_gas": "gas and vapour", "heat_conducted_to_air": "film to air",
          "heat_to_ground": "ground", "heat_stored": "stored"}


def sheet_figure(dataset: xr.Dataset, sheet: Sheet, units: str) -> Figure:
    """The page: section with dimensions, amounts, cover, air and heat, what limits it, cautions.

    Parameters
    ----------
    dataset : xarray.Dataset
        A finished run.
    sheet : Sheet
        Its words, in the same unit system.
    units : {"metric", "us"}
    """
    scenario = from_text(str(dataset.attrs["scenario"]), str(dataset.attrs["scenario_name"]))
    with style.picture_style():
        needed = -_words(page.new_figure(WIDTH, HEIGHT), dataset, sheet, 0.0, units)
        room = min(_DRAWING_TOP - _BOTTOM - needed, _TALLEST_DRAWING)  # what the words leave for the drawing
        figure = page.new_figure(WIDTH, HEIGHT)
        _write(figure, _LEFT, 11.27, page.one_line(sheet.title, 76), 13.0, bold=True)
        _write(figure, _LEFT, 11.07, page.one_line(" · ".join(sheet.facts) + " · value ±numerical error", 134), _BODY)
        tall = room - _AFTER_DRAWING
        draw_section(page.place_axes(figure, _LEFT, _DRAWING_TOP - tall, _RIGHT - _LEFT, tall), dataset, scenario, units)
        _words(figure, dataset, sheet, _DRAWING_TOP - room, units)
    return figure


def _words(figure: Figure, dataset: xr.Dataset, sheet: Sheet, top: float, units: str) -> float:
    """All below the drawing, from `top` [inches] downwards; returns the height of the last line."""
    below = min(_table(figure, sheet.amounts, _LEFT, top, (0.0, 1.62, 1.70, 3.05, 3.13), 4.1),
                _table(figure, sheet.cover, 5.0, top, (0.0, 1.22), 2.72, ragged=True))
    below = _air_and_heat(figure, dataset, sheet.flows, below - _BETWEEN, units)
    below = _sentences(figure, sheet.limits, below - _BETWEEN)
    _heading(figure, "Cautions", _LEFT, below - _BETWEEN, _RIGHT)
    warning = page.warning_line(dataset.attrs)
    notes = [*([f"Of this run: {warning}"] if warning else []), *SHORT_CAUTIONS, MODEL_LIMITS]
    return _notes(figure, notes, _LEFT, below - _BETWEEN - 0.19, _RIGHT - _LEFT) + _LINE


def _write(figure: Figure, left: float, bottom: float, text: str, size: float, bold: bool = False,
           right: bool = False) -> None:
    """Text on its baseline at a place in inches."""
    figure.text(left / WIDTH, bottom / HEIGHT, style.as_printed(text), fontsize=size, fontweight="bold" if bold else "normal",
                parse_math=False, ha="right" if right else "left", va="baseline")


def _heading(figure: Figure, text: str, left: float, top: float, right: float) -> None:
    _write(figure, left, top, text, 9.0, bold=True)
    line = Line2D([left / WIDTH, right / WIDTH], [(top - 0.045) / HEIGHT] * 2, color=style.INK, linewidth=0.6)
    figure.add_artist(line)


def _table(figure: Figure, block: Block, left: float, top: float, columns: Sequence[float], wide: float,
           ragged: bool = False) -> float:
    """A block at `left`, `top` [inches]; returns the height its last line stands at.

    `columns` are places from `left`: names, then number (right-aligned) and unit in turn; `ragged`: all to the left.
    """
    _heading(figure, block.title, left, top, left + wide)
    at = top - 0.20
    for row in block.rows:
        for k, (cell, place) in enumerate(zip(row, columns, strict=False)):
            _write(figure, left + place, at, cell, _BODY, right=not ragged and k % 2 == 1)
        at -= _LINE
    return _notes(figure, block.notes, left, at, wide)


@cache
def _width(word: str, size: float, bold: bool) -> float:
    """Width of a word and the blank after it [inches]."""
    font = FontProperties(family=["DejaVu Sans"], weight="bold" if bold else "normal")
    end = TextPath((0.0, 0.0), f"{word} .", size=size, prop=font).get_extents().x1
    return float(end - TextPath((0.0, 0.0), ".", size=size, prop=font).get_extents().x1) / 72.0


def _wrapped(text: str, wide: float, size: float, bold: bool = False) -> list[str]:
    """`text` in lines of at most `wide` [inches], broken between words."""
    lines, room = [""], wide
    for word in style.as_printed(text).split():
        room -= _width(word, size, bold)
        if room < 0.0 and lines[-1]:
            lines.append("")
            room = wide - _width(word, size, bold)
        lines[-1] = f"{lines[-1]} {word}".lstrip()
    return lines


def _notes(figure: Figure, notes: Sequence[str], left: float, at: float, wide: float) -> float:
    """Wrapped sentences in small type, from `at` downwards."""
    for note in notes:
        for line in _wrapped(note, wide, _SMALL):
            _write(figure, left, at, line, _SMALL)
            at -= _LINE * _SMALL / _BODY
    return at


def _air_and_heat(figure: Figure, dataset: xr.Dataset, block: Block, top: float, units: str) -> float:
    """Heat over time on the left, the table beside it, notes below both."""
    tall, start = 1.72, 4.1
    _heading(figure, block.title, _LEFT, top, _RIGHT)
    _heat_lines(page.place_axes(figure, _LEFT + 0.40, top - 0.26 - tall, 1.98, tall), dataset, units)
    heads, rows = block.rows[0], block.rows[1:]
    count = len(heads) - 2
    places = [_RIGHT - (count - 1 - k) * _COLUMN for k in range(count)]
    at = top - 0.24
    for place, head in zip(places, heads[2:], strict=True):
        _write(figure, place, at, head, _SMALL, right=True)
    for row in rows:
        if row is rows[0] or row[1] != rows[rows.index(row) - 1][1]:
            at -= _LINE
            _write(figure, start, at, f"[{row[1]}]", _SMALL)
        at -= _LINE
        for place, cell in zip(places, row[2:], strict=True):
            _write(figure, place, at, cell, _BODY, right=True)
        _write(figure, start, at, _short_name(row[0]), _BODY)
    return min(_notes(figure, block.notes, start, at - 0.21, _RIGHT - start), top - 0.26 - tall - 0.45)


def _short_name(name: str) -> str:
    """The name of a row as it stands in the picture; losses with their sign."""
    short = {HEAT_NAMES[key]: f"- {text}" for key, text in _SHORT.items() if key != "heat_released"}
    short |= {HEAT_NAMES["heat_with_leachate"]: "- leachate", HEAT_NAMES["balance"]: "= left over"}
    return short.get(name, name)


def _heat_lines(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    """Heat of respiration and where it goes; the start is left out, and the first day, in which the surface settles, may
    leave the axes."""
    days = dataset["time"].values
    shown_from = 1 if len(days) > 2 else 0
    settled = days >= min(1.0, 0.1 * days[-1])
    ends, low, high, label = [], 0.0, 0.0, ""
    axes.axhline(0.0, color=style.FAINT, linewidth=0.6)
    for name in ("heat_released", *(sink for sink in SINKS if sink in _LOOKS)):
        unit = str(dataset[name].attrs["units"])
        factor, label = shown(1.0, unit, units)
        values, look = factor * course(dataset, name), _LOOKS[name]
        axes.plot(days[shown_from:], values[shown_from:], color=look.colour, linestyle=look.dash, linewidth=look.width)
        band = factor * course(dataset, f"error_of_{name}")[shown_from:]
        axes.fill_between(days[shown_from:], values[shown_from:] - band, values[shown_from:] + band, color=look.colour,
                          alpha=0.15, linewidth=0)
        low, high = min(low, values[settled].min()), max(high, values[settled].max())
        ends.append((float(values[-1]), _SHORT[name], look.colour))
    edge = 0.05 * (high - low)
    axes.set(xlim=(0.0, days[-1]), ylim=(low - edge, high + edge or 1.0))
    axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.set_xlabel("time since built [d]", fontsize=_BODY, labelpad=2)
    axes.tick_params(labelsize=_SMALL)
    page.note(axes, f"heat [{label}]{', daily means' if by_day(dataset) else ''}", 3, size=_BODY)
    page.label_ends(axes, ends)


def _sentences(figure: Figure, sentences: Sequence[str], top: float) -> float:
    _heading(figure, "What limits it", _LEFT, top, _RIGHT)
    at = top - 0.20
    for k, sentence in enumerate(sentences):
        for line in _wrapped(sentence, _RIGHT - _LEFT, _BODY, bold=k == 0):
            _write(figure, _LEFT, at, line, _BODY, bold=k == 0)
            at -= _LINE
        at -= 0.025
    return at
