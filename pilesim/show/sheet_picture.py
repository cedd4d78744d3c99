"""sheet.png: the design sheet on one A4 page, upright, readable when printed in grey."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pilesim.assess.design import SINKS
from pilesim.inputs.scenario import from_text
from pilesim.show import page, style
from pilesim.show.cautions import MODEL_LIMITS, SHORT_CAUTIONS
from pilesim.show.sheet_drawing import draw_section
from pilesim.show.sheet_text import HEAT_NAMES, Block, Sheet, shown

WIDTH, HEIGHT = 8.27, 11.69  # [inches] A4 upright
_LEFT, _RIGHT = 0.55, 7.72  # [inches] margins a printer leaves alone
_BODY, _SMALL = 7.6, 7.0  # [points]
_LINE = 0.152  # [inches] between lines of the body
_CHARACTER = 0.0585  # [inches] mean width of a character of the body
_MOST_SENTENCE_LINES = 17
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
        figure = page.new_figure(WIDTH, HEIGHT)
        _write(figure, _LEFT, 11.30, page.one_line(sheet.title, 80), 13.0, bold=True)
        _write(figure, _LEFT, 11.10, page.one_line(" · ".join(sheet.facts) + " · value ±numerical error", 130), _BODY)
        draw_section(page.place_axes(figure, _LEFT, 8.28, _RIGHT - _LEFT, 2.75), dataset, scenario, units)
        below = min(_table(figure, sheet.amounts, _LEFT, 8.10, (0.0, 1.62, 1.70, 3.05, 3.13), 3.9),
                    _table(figure, sheet.cover, 5.05, 8.10, (0.0, 1.18), 2.65, ragged=True))
        below = _air_and_heat(figure, dataset, sheet.flows, below - 0.20, units)
        below = _sentences(figure, sheet.limits, below - 0.20)
        _cautions(figure, min(below - 0.20, 1.85))
    return figure


def _write(figure: Figure, left: float, bottom: float, text: str, size: float, bold: bool = False, right: bool = False) -> None:
    """Text on its baseline at a place in inches."""
    for plain, raised in (("m2", "m²"), ("m3", "m³"), ("ft2", "ft²"), ("yd3", "yd³"), (" degC", " °C"), (" degF", " °F"),
                          ("(h ft degF", "(h ft °F")):
        text = text.replace(plain, raised)
    figure.text(left / WIDTH, bottom / HEIGHT, text, fontsize=size, fontweight="bold" if bold else "normal", parse_math=False,
                ha="right" if right else "left", va="baseline")


def _heading(figure: Figure, text: str, left: float, top: float, right: float) -> None:
    _write(figure, left, top, text, 9.0, bold=True)
    figure.add_artist(page.Line2D([left / WIDTH, right / WIDTH], [(top - 0.045) / HEIGHT] * 2, color=style.INK, linewidth=0.6))


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


def _notes(figure: Figure, notes: Sequence[str], left: float, at: float, wide: float) -> float:
    """Wrapped sentences in small type, from `at` downwards."""
    for note in notes:
        for line in textwrap.wrap(note, int(wide / _CHARACTER * _BODY / _SMALL)):
            _write(figure, left, at, line, _SMALL)
            at -= _LINE * _SMALL / _BODY
    return at


def _air_and_heat(figure: Figure, dataset: xr.Dataset, block: Block, top: float, units: str) -> float:
    """Heat over time on the left, the table beside it, notes below both."""
    tall = 1.62
    _heading(figure, block.title, _LEFT, top, _RIGHT)
    _heat_lines(page.place_axes(figure, _LEFT + 0.42, top - 0.28 - tall, 2.0, tall - 0.05), dataset, units)
    start, names, last = 3.95, 3.95, _RIGHT
    heads, rows = block.rows[0], block.rows[1:]
    count = len(heads) - 2
    places = [last - (count - 1 - k) * 0.425 for k in range(count)]
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
        _write(figure, names, at, _short_name(row[0]), _BODY)
    return _notes(figure, block.notes, _LEFT, min(at, top - 0.28 - tall - 0.30) - 0.18, _RIGHT - _LEFT)


def _short_name(name: str) -> str:
    short = {HEAT_NAMES[key]: f"- {text}" for key, text in _SHORT.items() if key != "heat_released"}
    return short.get(name, {HEAT_NAMES["heat_with_leachate"]: "- leachate", HEAT_NAMES["balance"]: "= left over"}.get(name, name))


def _heat_lines(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    """Heat of respiration and where it goes; the first day, in which the surface settles, may leave the axes."""
    days = dataset["time"].values
    settled = days >= min(1.0, 0.1 * days[-1])
    ends, low, high, label = [], 0.0, 0.0, ""
    axes.axhline(0.0, color=style.FAINT, linewidth=0.6)
    for name in ("heat_released", *(sink for sink in SINKS if sink in _LOOKS)):
        unit = str(dataset[name].attrs["units"])
        factor, label = shown(1.0, unit, units)
        values, look = factor * dataset[name].values, _LOOKS[name]
        axes.plot(days, values, color=look.colour, linestyle=look.dash, linewidth=look.width)
        low, high = min(low, values[settled].min()), max(high, values[settled].max())
        ends.append((float(values[-1]), _SHORT[name], look.colour))
    axes.set(xlim=(0.0, days[-1] if days[-1] > 0 else 1.0), ylim=(low - 0.05 * (high - low), high + 0.05 * (high - low) or 1.0))
    axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.set_xlabel("time since built [d]", fontsize=_BODY, labelpad=2)
    axes.tick_params(labelsize=_SMALL)
    page.note(axes, f"heat [{label}]", 3, size=_BODY)
    page.label_ends(axes, ends)


def _sentences(figure: Figure, sentences: Sequence[str], top: float) -> float:
    _heading(figure, "What limits it", _LEFT, top, _RIGHT)
    at, lines = top - 0.21, []
    for k, sentence in enumerate(sentences):
        for line in textwrap.wrap(sentence, int((_RIGHT - _LEFT) / _CHARACTER), break_on_hyphens=False):
            lines.append((line, k == 0))
    for line, bold in lines:
        _write(figure, _LEFT, at, line, _BODY, bold=bold)
        at -= _LINE
    return at


def _cautions(figure: Figure, top: float) -> None:
    _heading(figure, "Cautions", _LEFT, top, _RIGHT)
    _notes(figure, (*SHORT_CAUTIONS, MODEL_LIMITS), _LEFT, top - 0.20, _RIGHT - _LEFT)


def lowest_text(figure: Figure) -> float:
    """Height [inches] of the lowest line of text, for checks."""
    return float(np.min([text.get_position()[1] for text in figure.texts])) * HEIGHT
