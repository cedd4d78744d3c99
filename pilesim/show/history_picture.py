"""history.png: what the pile does in time, six panels over one axis of days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pilesim.result import errors_trusted
from pilesim.show import page, style

MEAN = style.LineStyle(style.INK, "-", 2.2)
AIR = style.LineStyle(style.FAINT, (0, (1, 1)), 1.2)


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of a panel: name at its end, values as drawn, look, and the numerical error of each value, if known."""

    name: str
    values: np.ndarray
    look: style.LineStyle
    error: np.ndarray | None = None


_BAND = "Bands: numerical error, the difference from the grid of twice the cell at the same hour."


def _error(dataset: xr.Dataset, name: str, unit: str, units: str) -> np.ndarray | None:
    """Numerical error of a curve as drawn; None if the result does not hold it."""
    if f"error_of_{name}" not in dataset:
        return None
    of_zones = "mix_zone" in dataset[f"error_of_{name}"].dims
    values = dataset[f"error_of_{name}"].transpose(*(("time", "mix_zone") if of_zones else ("time",))).values
    return style.shown(values, unit, units)[0] - style.shown(np.zeros(()), unit, units)[0]


def history_figure(dataset: xr.Dataset, units: str = "metric") -> Figure:
    """Temperature and oxygen by zone, shares of the mix, heat flows, air intake, and what is left of the mix.

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
    with style.picture_style():
        figure = page.new_figure(13.4, 8.6)
        grid = figure.add_gridspec(3, 2, left=0.055, right=0.895, top=0.905, bottom=0.122, hspace=0.34, wspace=0.45)
        panels = [figure.add_subplot(grid[row, column]) for row in range(3) for column in range(2)]
        for axes, draw in zip(panels, (_temperatures, _heat_flows, _oxygen, _air_intake, _shares, _remains), strict=True):
            draw(axes, dataset, units)
        for axes in panels[:4]:
            axes.tick_params(labelbottom=False)
        for axes in panels[4:]:
            axes.set_xlabel("time since build [days]")
        title = f"{dataset.attrs.get('title', 'Pile')}: history"
        warning = page.warning_line(dataset.attrs)
        page.title_and_footer(figure, title, dataset.attrs, units, warning)
        if "error_of_mean_temperature" in dataset:
            words = _BAND if errors_trusted(dataset.attrs) else f"{_BAND} Here it is not to be trusted."
            figure.text(0.12 / figure.get_figwidth(), 1.0 - 0.42 / figure.get_figheight(), words, fontsize=8)
    return figure


def _draw(
    axes: Axes,
    dataset: xr.Dataset,
    curves: Sequence[Curve],
    title: str,
    label: str,
    limits: tuple[float | None, float | None] = (None, None),
    level: tuple[float, str] | None = None,
) -> None:
    """Curves over days, named at their right ends, with an optional level line named there too."""
    days = dataset["time"].values.astype(float)
    marker = "o" if len(days) == 1 else None
    for curve in curves:
        axes.plot(
            days,
            curve.values,
            color=curve.look.colour,
            linestyle=curve.look.dash,
            linewidth=curve.look.width,
            marker=marker,
            label=curve.name,
        )
        if curve.error is not None:
            low, high = curve.values - curve.error, curve.values + curve.error
            axes.fill_between(days, low, high, color=curve.look.colour, alpha=0.2, linewidth=0, gid="error band")
    if level is not None:
        rule = style.RULE_STYLE
        axes.axhline(level[0], color=rule.colour, linestyle=rule.dash, linewidth=rule.width, label=level[1])
    end = float(days[-1]) if days[-1] > days[0] else float(days[0]) + 1.0
    axes.set_xlim(float(days[0]), end)
    axes.set_ylim(*_padded(axes.get_ylim(), limits))
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    axes.set_title(title, fontweight="bold")
    axes.set_ylabel(label)
    axes.grid(axis="both", color="#e6e8eb", linewidth=0.6)
    ends = [(_last(curve.values), curve.name, curve.look.colour) for curve in curves]
    page.label_ends(axes, ends + ([(level[0], level[1], style.RULE_STYLE.colour)] if level else []))


def _padded(automatic: tuple[float, float], limits: tuple[float | None, float | None]) -> tuple[float, float]:
    low = automatic[0] if limits[0] is None else limits[0]
    high = automatic[1] if limits[1] is None else limits[1]
    return low, high


def _last(values: np.ndarray) -> float:
    finite = values[np.isfinite(values)]
    return float(finite[-1]) if len(finite) else np.nan


def _zone_curves(dataset: xr.Dataset, name: str, unit: str, units: str) -> list[Curve]:
    values, _ = style.shown(dataset[name].transpose("time", "mix_zone").values, unit, units)
    zones, errors = [str(zone) for zone in dataset["mix_zone"].values], _error(dataset, name, unit, units)
    named = dict(zip(zones, values.T, strict=True))
    spread = {} if errors is None else dict(zip(zones, errors.T, strict=True))
    return [Curve(zone, named[zone], look, spread.get(zone)) for zone, look in style.ZONE_STYLES.items() if zone in named]


def _temperatures(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    rule, label = style.shown(float(dataset.attrs["rule_temperature_degC"]), "degC", units)
    mean, air = (style.shown(dataset[name].values, "degC", units)[0] for name in ("mean_temperature", "air_temperature"))
    curves = [
        *_zone_curves(dataset, "zone_temperature", "degC", units),
        Curve("mix, mean", mean, MEAN, _error(dataset, "mean_temperature", "degC", units)),
        Curve("outside air", air, AIR),
    ]
    _draw(
        axes,
        dataset,
        curves,
        "Temperature by zone of the mix",
        f"temperature [{label}]",
        level=(float(rule), f"rule {style.number_text(float(rule))} {label}"),
    )


def _oxygen(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    limit = float(dataset.attrs["anaerobic_oxygen_percent"])
    _draw(
        axes,
        dataset,
        _zone_curves(dataset, "zone_oxygen", "percent", units),
        "Oxygen in the pore gas by zone",
        "oxygen [%]",
        limits=(0.0, 21.5),
        level=(limit, f"limit {style.number_text(limit)} %"),
    )


def _shares(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    rule, label = style.shown(float(dataset.attrs["rule_temperature_degC"]), "degC", units)
    limit = style.number_text(float(dataset.attrs["anaerobic_oxygen_percent"]))
    looks = (
        (
            "share_above_rule_temperature",
            f"above {style.number_text(float(rule))} {label}",
            style.LineStyle("#c0392b", width=2.0),
        ),
        ("anaerobic_share", f"anaerobic, below {limit} %", style.LineStyle(style.STARVED, (0, (6, 1.5)), 2.0)),
        ("anoxic_share", "anoxic, below 1 %", style.LineStyle("#5b2406", (0, (2, 1)), 1.6)),
    )
    curves = [Curve(text, style.shown(dataset[name].values, "1", units)[0], look, _error(dataset, name, "1", units))
              for name, text, look in looks]
    _draw(axes, dataset, curves, "Share of the mix", "share of dry matter [%]", limits=(0.0, 100.0))


def _heat_flows(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    looks = (
        ("heat_released", "released in the pile", style.LineStyle("#c0392b", width=2.2)),
        ("heat_carried_by_gas", "carried out by gas", style.LineStyle("#4f7fb0", (0, (6, 1.5)))),
        ("heat_conducted_to_air", "conducted to air", style.LineStyle(style.INK, (0, (4, 1.5, 1, 1.5)))),
        ("heat_to_ground", "into the ground", style.LineStyle("#8a6d3b", (0, (2, 1)))),
    )
    shown = [style.shown(dataset[name].values, dataset[name].attrs.get("units", "W m-1"), units) for name, _, _ in looks]
    curves = [Curve(text, values, look, _error(dataset, name, dataset[name].attrs.get("units", "W m-1"), units))
              for (name, text, look), (values, _) in zip(looks, shown, strict=True)]
    axes.axhline(0.0, color=style.FAINT, linewidth=0.7)
    flows = np.array([curve.values for curve in curves])
    settled = flows[:, 1:] if flows.shape[1] > 2 else flows  # the jump of the first hours would flatten the rest
    low, high = np.nanmin(settled, initial=0.0), np.nanmax(settled, initial=0.0)
    margin = 0.06 * (high - low) or 1.0
    limits = float(low - margin), float(high + margin)
    cut = np.any((flows[:, 0] < limits[0]) | (flows[:, 0] > limits[1]))
    title = "Heat flows of the whole pile" + (" (start off the scale)" if cut else "")
    _draw(axes, dataset, curves, title, f"heat flow [{shown[0][1]}]", limits=limits)


def _air_intake(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    unit = dataset["air_intake"].attrs.get("units", "kg s-1 m-1")
    values, label = style.shown(dataset["air_intake"].values, unit, units)
    error = _error(dataset, "air_intake", unit, units)
    _draw(
        axes,
        dataset,
        [Curve("air drawn in", values, style.LineStyle("#2a8c9c", width=2.0), error)],
        "Air drawn in by the whole pile",
        f"dry air [{label}]",
        limits=(min(0.0, float(np.nanmin(values))), None),
    )


def _remains(axes: Axes, dataset: xr.Dataset, units: str) -> None:
    """Water and dry matter of the mix in percent of the start, with the amounts at the start."""
    looks = (
        ("mix_water", "water", style.LineStyle("#255092", width=2.0)),
        ("mix_dry_matter", "dry matter", style.LineStyle("#8a6d3b", (0, (6, 1.5)), 2.0)),
    )
    curves, starts = [], []
    for name, text, look in looks:
        unit = dataset[name].attrs.get("units", "kg m-1")
        amounts, label = style.shown(dataset[name].values, unit, units)
        error = _error(dataset, name, unit, units)
        start = amounts[0] if amounts[0] > 0 else np.nan
        curves.append(Curve(text, 100.0 * amounts / start, look, None if error is None else 100.0 * error / start))
        starts.append(f"{text} {amounts[0]:.0f}")
    mixed = '"mixed in"' in dataset.attrs.get("cover_off", "")
    lowest = float(np.nanmin([np.nanmin(curve.values, initial=100.0) for curve in curves]))
    _draw(
        axes,
        dataset,
        curves,
        f"Left of the mix{' and of the cover in it' if mixed else ''} (start: {', '.join(starts)} {label})",
        "left [% of the start]",
        limits=(min(90.0, 10.0 * np.floor(lowest / 10.0)), None),
    )
