"""budget.png: where the heat of finished runs goes, in W per m of pile, side by side, and what tells them apart."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.figure import Figure

from pilesim.assess.design import Flow, heat_flows
from pilesim.base.errors import ScenarioError
from pilesim.result import errors_trusted
from pilesim.show import page, style
from pilesim.show.sheet_text import HEAT_NAMES
from pilesim.show.values import estimate

_WIDTH, _LEFT, _RIGHT, _BAR, _GAP, _TITLE, _WORDS, _LINE = 9.6, 2.75, 1.3, 0.24, 0.22, 0.45, 0.75, 0.2   # [inches]
_CHARACTERS = 12.5      # an inch
_LOOKS = (style.COLD_MAP(0.75), style.STARVED_MAP(0.55), style.GREY_MAP(0.5), style.COLD_MAP(0.35))
_NO_LOSS = ("heat_released", "heat_stored")
MOST_RUNS = len(_LOOKS)


def flows_of(dataset: xr.Dataset) -> list[Flow]:
    """Mean flows of heat over the run; leachate and rain only where there are any."""
    flows, _ = heat_flows(dataset, [])
    return [one for one in flows if one.name != "heat_with_leachate" or one.mean]


def explanation(datasets: Sequence[xr.Dataset], names: Sequence[str]) -> list[str]:
    """A sentence a run: what it makes, and which loss has grown most against the first run."""
    out = []
    first = {one.name: one.mean for one in flows_of(datasets[0])}
    made = first["heat_released"]
    for dataset, name in zip(datasets, names, strict=True):
        flows = {one.name: one.mean for one in flows_of(dataset)}
        cold = estimate(100.0 * float(dataset["cold_edge_fraction"]), 100.0 * float(dataset["cold_edge_fraction_error"]),
                        errors_trusted(dataset.attrs))
        text = f"{name}: {cold} % of the mix left cold; {flows['heat_released']:.0f} W per m made"
        if dataset is not datasets[0]:
            change = {key: value - first.get(key, 0.0) for key, value in flows.items() if key not in _NO_LOSS}
            worst = max(change, key=lambda key: change[key])
            stored = flows["heat_stored"]
            text += (f" ({flows['heat_released'] - made:+.0f}); of the losses the one {HEAT_NAMES[worst]} grows most, by "
                     f"{change[worst]:+.0f} W per m; {abs(stored):.0f} W per m "
                     f"{'go into' if stored >= 0.0 else 'come out of'} store")
        out.append(text + ".")
    return out


def budget_figure(datasets: Sequence[xr.Dataset], names: Sequence[str]) -> Figure:
    """Bars of the mean heat flows of up to four runs.

    Raises
    ------
    ScenarioError
        For more runs, or runs of unlike kind (a round heap beside a section).
    """
    if len(datasets) > MOST_RUNS:
        raise ScenarioError("RESULT", f"{len(datasets)} runs", f"at most {MOST_RUNS} runs")
    table = [flows_of(dataset) for dataset in datasets]
    if len({flows[0].unit for flows in table}) > 1:
        raise ScenarioError("RESULT", "a round heap beside a section", "runs whose heat counts per metre, or per heap, alike")
    kinds = [name for name in HEAT_NAMES if any(one.name == name for flows in table for one in flows)]
    lines = [line for text in explanation(datasets, names) for line in textwrap.wrap(text, int(_WIDTH * _CHARACTERS))]
    tall_of_bars = len(kinds) * (len(datasets) * _BAR + _GAP)
    below = _WORDS + _LINE * len(lines) + 0.55
    tall = below + tall_of_bars + _TITLE + 0.3
    with style.picture_style():
        figure = page.new_figure(_WIDTH, tall)
        axes = page.place_axes(figure, _LEFT, below, _WIDTH - _LEFT - _RIGHT, tall_of_bars)
        pitch = len(datasets) * _BAR + _GAP
        for number, (flows, look) in enumerate(zip(table, _LOOKS, strict=False)):
            by_name = {one.name: one for one in flows}
            for row, kind in enumerate(kinds):
                one = by_name.get(kind)
                if one is None:
                    continue
                place = row * pitch + number * _BAR + 0.5 * _GAP
                axes.barh(place, one.mean, height=0.9 * _BAR, align="edge", color=look, label="" if row else names[number])
                away, side = (-3, "right") if one.mean < 0.0 else (3, "left")
                axes.annotate(f"{one.mean:.0f}".replace("-", "−"), (one.mean, place + 0.45 * _BAR), (away, 0),
                              textcoords="offset points", ha=side, va="center", fontsize=8)
        axes.set_ylim(len(kinds) * pitch, 0.0)
        axes.margins(x=0.08)
        axes.set_yticks((np.arange(len(kinds)) + 0.5) * pitch, [HEAT_NAMES[kind] for kind in kinds])
        axes.tick_params(axis="y", length=0)
        axes.axvline(0.0, color=style.INK, linewidth=0.8)
        unit = table[0][0].unit.replace(" m-1", " per m")
        axes.set_xlabel(f"mean over the run [{unit}]; respiration is the sum of the others")
        axes.legend(loc="lower right")
        for number, line in enumerate(lines):
            up = _WORDS + _LINE * (len(lines) - 1 - number)
            figure.text(0.12 / _WIDTH, up / tall, line, fontsize=9, parse_math=False, va="bottom")
        attrs = datasets[0].attrs
        page.title_and_footer(figure, "Where the heat goes", attrs, "metric", page.warning_line(attrs))
    return figure
