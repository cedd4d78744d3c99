"""The design sheet in words: titled blocks of rows, and the sentences that say what limits the pile.

The same blocks are printed on the screen and drawn on the page.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pilesim.assess.design import Amount, amounts, by_day, flow, flow_days, heat_flows, refuse_without_flows, water_totals
from pilesim.base.errors import ScenarioError
from pilesim.base.units import check_unit_system, from_si, to_display
from pilesim.build import crest_width
from pilesim.inputs.scenario import Scenario, from_text
from pilesim.result import errors_trusted, read_result
from pilesim.show.screen import UNTRUSTED, aligned, caution_lines, print_lines
from pilesim.show.sheet_words import judgement
from pilesim.show.values import estimate, value_with_error

if TYPE_CHECKING:
    import xarray as xr

_SHOWN = {  # unit of the Dataset -> metric unit and its label, US unit and its label
    "m": ("m", "m", "ft", "ft"),
    "m3 m-1": ("m3 m-1", "m3 per m", "yd3 ft-1", "yd3 per ft"),
    "m3": ("m3", "m3", "yd3", "yd3"),
    "kg m-1": ("tonne m-1", "t per m", "short_ton ft-1", "short ton per ft"),
    "kg": ("tonne", "t", "short_ton", "short ton"),
    "kg m-3": ("kg m-3", "kg/m3", "lb yd-3", "lb/yd3"),
    "kg s-1 m-1": ("kg h-1 m-1", "kg/h per m", "lb h-1 ft-1", "lb/h per ft"),
    "kg s-1": ("kg h-1", "kg/h", "lb h-1", "lb/h"),
    "W m-1": ("W m-1", "W per m", "Btu h-1 ft-1", "Btu/h per ft"),
    "W": ("W", "W", "Btu h-1", "Btu/h"),
    "W m-1 K-1": ("W m-1 K-1", "W/(m K)", "Btu h-1 ft-1 delta_degF-1", "Btu/(h ft degF)"),
    "W m-2 K-1": ("W m-2 K-1", "W/(m2 K)", "Btu h-1 ft-2 delta_degF-1", "Btu/(h ft2 degF)"),
}
_SMALL_MASS = {"kg m-1": ("kg m-1", "kg per m", "lb ft-1", "lb per ft"), "kg": ("kg", "kg", "lb", "lb")}
_SLOPED = ("trapezoid", "ridge", "round")
_ENDLESS = ("column", "slab", "round")  # shapes whose amounts are not multiplied by a length
HEAT_NAMES = {
    "heat_released": "respiration",
    "heat_conducted_to_air": "through the surface film to the air",
    "heat_carried_by_gas": "carried off by gas and vapour",
    "heat_to_ground": "into the ground",
    "heat_with_leachate": "with draining water and rain",
    "heat_stored": "stored in mix, cover, base layer",
    "balance": "left over (must be 0)",
}


@dataclass(frozen=True, slots=True)
class Block:
    """A titled table. Notes are sentences under it."""

    title: str
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole design sheet: heading lines, blocks by name, sentences on what limits the pile."""

    title: str
    facts: tuple[str, ...]
    sizes: Block
    amounts: Block
    flows: Block
    cover: Block
    limits: tuple[str, ...]


def shown(value: float, unit: str, units: str, small_mass: bool = False) -> tuple[float, str]:
    """`value` in the unit of the sheet and the label of that unit; mass in tonnes unless `small_mass`.

    Raises
    ------
    ScenarioError
        For an unknown unit system.
    """
    check_unit_system(units)
    table = _SHOWN | _SMALL_MASS if small_mass else _SHOWN
    if unit not in table:
        return to_display(value, unit, units)
    metric, metric_label, us, us_label = table[unit]
    target, label = (metric, metric_label) if units == "metric" else (us, us_label)
    return from_si(value, unit, target), label


def plain(value: float) -> str:
    """A number for a table: whole from a hundred on, else three significant digits, small ones fewer; "-" for NaN."""
    size = abs(value)
    if math.isnan(value):
        return "-"
    digits = 3 if size >= 0.01 else 2 if size >= 1e-3 else 1
    text = f"{value:.0f}" if size >= 99.95 else f"{float(f'{value:.{digits}g}'):.6g}"
    return "0" if float(text) == 0.0 else text


def length_text(value: float, units: str) -> str:
    """A length to the centimetre or the tenth of a foot: "5.20 m", "17.1 ft"; small ones to a hundredth of a foot."""
    number, label = shown(value, "m", units)
    return f"{number:.2f} {label}" if units == "metric" or number < 2.0 else f"{number:.1f} {label}"


def open_run(path: Path) -> xr.Dataset:
    """The Dataset of a finished run, from its result.nc or the folder that holds it.

    Raises
    ------
    ScenarioError
        If there is none, or if it lacks what the sheet shows.
    """
    try:
        file = path / "result.nc" if path.is_dir() else path
        found = file.is_file()
    except OSError:  # such as a name longer than the system takes
        found = False
    if not found:
        raise ScenarioError("RESULT", repr(str(path)), "a result.nc or the folder that holds it",
                            "Make one with: pilesim run SCENARIO.")
    dataset = read_result(file)
    refuse_without_flows(dataset, str(file))
    return dataset


def design_sheet(dataset: xr.Dataset, units: str) -> Sheet:
    """All words and numbers of the sheet.

    Parameters
    ----------
    dataset : xarray.Dataset
        As returned by ``pilesim.simulate`` or read from result.nc.
    units : {"metric", "us"}
    """
    scenario = from_text(str(dataset.attrs["scenario"]), str(dataset.attrs["scenario_name"]))
    return Sheet(
        title=f"{dataset.attrs['title']}: design sheet",
        facts=_facts(dataset, units),
        sizes=_sizes(dataset, scenario, units),
        amounts=_amounts(dataset, scenario, units),
        flows=_flows(dataset, units),
        cover=_cover(dataset, scenario, units),
        limits=tuple(judgement(dataset, scenario, units)),
    )


def _facts(dataset: xr.Dataset, units: str) -> tuple[str, ...]:
    attrs, air = dataset.attrs, dataset["air_temperature"].values
    low, high = (to_display(float(value), "degC", units) for value in (air.min(), air.max()))
    span = f"{low[0]:.0f}" if high[0] - low[0] < 0.5 else f"{low[0]:.0f} to {high[0]:.0f}"
    elevation = shown(float(attrs["elevation_m"]), "m", units)
    built = [f"built {attrs['start_date']}"] if "start_date" in attrs else []
    return (f"scenario {attrs['scenario_name']}", f"pilesim {attrs['pilesim_version']}", *built,
            f"{float(dataset['time'][-1]):.4g} days", f"elevation {elevation[0]:.0f} {elevation[1]}",
            f"air {span} {low[1]}")


def _sizes(dataset: xr.Dataset, scenario: Scenario, units: str) -> Block:
    pile = scenario.pile
    lengths = [("base width of the mix", pile.base_width), ("crest width of the mix", crest_width(scenario)),
               ("height of the mix", pile.height), ("cover thickness", scenario.cover.thickness),
               ("base layer thickness", scenario.base_layer.thickness),
               ("overall width", float(dataset["overall_width"])), ("overall height", float(dataset["overall_height"]))]
    slope = side_slope(scenario)
    rows = [("shape", pile.shape)]
    for name, value in lengths:
        if slope is not None or not name.startswith("crest"):
            rows.append((name, length_text(value, units) if value > 0.0 else "none"))
        if slope is not None and name.startswith("height"):
            rows.append(("side slope", f"{math.degrees(slope):.0f} deg from the horizontal"))
    if pile.length is not None and pile.shape not in _ENDLESS:
        rows.append(("length", length_text(pile.length, units)))
    return Block("Sizes", tuple(rows))


def side_slope(scenario: Scenario) -> float | None:
    """Slope of straight flanks [rad]; None for shapes that have none."""
    pile = scenario.pile
    if pile.shape not in _SLOPED:
        return None
    return math.atan2(pile.height, 0.5 * (pile.base_width - crest_width(scenario)))


def _amounts(dataset: xr.Dataset, scenario: Scenario, units: str) -> Block:
    found, pile = amounts(dataset, scenario), scenario.pile
    names = {"mix_loose": "mix, loose", "mix_in_place": "mix, in place", "mix_wet": "mix, wet", "mix_dry": "mix, dry matter",
             "mix_water": "mix, water as built", "cover_volume": "cover, loose", "cover_wet": "cover, wet",
             "base_volume": "base layer, loose", "base_wet": "base layer, wet"}
    if scenario.cover.thickness == 0.0:
        names = {name: text for name, text in names.items() if not name.startswith("cover")}
    if scenario.base_layer.thickness == 0.0 or found["base_volume"].value == 0.0:
        names = {name: text for name, text in names.items() if not name.startswith("base")}
    long = pile.length if pile.shape not in _ENDLESS else None
    rows: list[tuple[str, ...]] = []
    for name, text in names.items():
        one = found[name]
        number, label = shown(one.value, one.unit, units)
        row: tuple[str, ...] = (text, plain(number), label)
        if long is not None:
            number, label = shown(one.value * long, one.unit.removesuffix(" m-1"), units)
            row = (*row, plain(number), label)
        rows.append(row)
    notes = ["Loose: wet mass over bulk density at the surface. The mix in place is denser by compaction."]
    if long is not None:
        notes.append(f"Whole pile: a prism {length_text(long, units)} long; its ends are not modelled.")
    elif pile.shape in ("column", "slab"):
        notes.append(f"Per metre of length of the part computed, {length_text(_strip(scenario), units)} "
                     f"{'wide' if pile.shape == 'column' else 'high'}: not a whole pile.")
    return Block("Amounts", tuple(rows), tuple(notes))


def _strip(scenario: Scenario) -> float:
    return scenario.pile.base_width if scenario.pile.shape == "column" else scenario.pile.height


def _flows(dataset: xr.Dataset, units: str) -> Block:
    """Air and heat in one table, water in one line."""
    days = flow_days(dataset)
    air = flow(dataset, "air_intake", days)
    heat, rest = heat_flows(dataset, days)
    heat = [one for one in heat if one.name != "heat_with_leachate" or any((one.mean, *one.at))]
    trusted = errors_trusted(dataset.attrs)
    rows = [("", "", "mean", *(f"day {day:.4g}" for day in days), "±")]
    small = 1e-3 * max(abs(value) for value in (heat[0].mean, *heat[0].at))  # of the balance: as good as nought
    for one in (air, *heat, rest):
        numbers = [one.mean, *one.at]
        if one.name == "balance":
            numbers = [0.0 if abs(value) < 1e-6 * small else value for value in numbers]
        cells = [shown(value, one.unit, units) for value in numbers]
        name = HEAT_NAMES.get(one.name, "dry air in")
        spread = "" if one.name == "balance" else _two_digits(shown(one.error, one.unit, units)[0], trusted)
        rows.append((name, cells[0][1], *(plain(number) for number, _ in cells), spread))
    peak, label = shown(air.largest, air.unit, units)
    peak_text = estimate(peak, shown(air.largest_error, air.unit, units)[0], trusted)
    changes = estimate(float(dataset["air_changes"]), float(dataset["air_changes_error"]), trusted)
    of_columns = "over the day before" if by_day(dataset) else "values at that hour"
    notes = [f"Air: {changes} changes per hour of the gas-filled pores, mean over the run; most air "
             f"({peak_text} {label}) about day {air.largest_day:.0f}.",
             _water_line(dataset, units),
             f"Means are over the run, the other columns {of_columns}. Numerical errors: ± the largest of the row; shades."]
    if any(value < 0.0 for one in heat if one.name == "heat_conducted_to_air" for value in (one.mean, *one.at)):
        notes.insert(1, "Below 0 through the film: evaporation cools the surface below the air.")
    return Block("Air and heat", tuple(rows), tuple(notes))


def _two_digits(error: float, trusted: bool) -> str:
    """An error alone: two digits, with a question mark if it is not to be trusted."""
    number = float(f"{error:.2g}") if math.isfinite(error) else math.nan
    return "?" if math.isnan(number) else f"{number:.6g}{'' if trusted else '?'}"


def _water_line(dataset: xr.Dataset, units: str) -> str:
    totals: dict[str, Amount] = water_totals(dataset)
    trusted = errors_trusted(dataset.attrs)
    cells = {name: [shown(number, one.unit, units, small_mass=True) for number in (one.value, one.error)]
             for name, one in totals.items()}
    label = cells["lost"][0][1]
    lost, made, leached, rain = (value_with_error(value[0], error[0], trusted) for value, error in cells.values())
    wetting = f", {rain} rain and meltwater taken up" if totals["taken_up"].value else ""
    loss = estimate(100.0 * float(dataset["water_loss"]), 100.0 * float(dataset["water_loss_error"]), trusted)
    return (f"Water over the run [{label}]: {lost} lost as vapour, {made} made by respiration, {leached} leached{wetting}; "
            f"the mix loses {loss} % of its water.")


def _cover(dataset: xr.Dataset, scenario: Scenario, units: str) -> Block:
    cover = scenario.cover
    if cover.thickness == 0.0:
        return Block("Cover", (("cover", "none"),))
    conductivity = float(dataset["cover_conductivity"])
    through = shown(conductivity, "W m-1 K-1", units)
    conductance = shown(conductivity / cover.thickness, "W m-2 K-1", units)
    density = shown(cover.bulk_density, "kg m-3", units)
    rows = (("thickness", length_text(cover.thickness, units)),
            ("permeability", f"{cover.permeability:.2g} m2"),
            ("leakance", f"{cover.permeability / cover.thickness:.2g} m"),
            ("conductivity", f"{through[0]:.2g} {through[1]}"),
            ("heat conductance", f"{conductance[0]:.2g} {conductance[1]}"),
            ("bulk density, wet", f"{density[0]:.0f} {density[1]}"))
    return Block("Cover", rows, ("Leakance: permeability over thickness. Conductance: conductivity over thickness, "
                                        "as built; vapour adds to it when hot.",))


# ------------------------------------------------------------------------------------------------------------ screen
def print_sheet(sheet: Sheet, dataset: xr.Dataset) -> None:
    """The sheet as aligned text, the messages of the run, and the cautions."""
    print(sheet.title)
    print_lines([", ".join(sheet.facts) + "; value ±numerical error"])
    if not errors_trusted(dataset.attrs):
        print_lines([UNTRUSTED])
    for block in (sheet.sizes, sheet.amounts, sheet.flows, sheet.cover):
        print(f"\n{block.title}")
        print("\n".join(f"  {line}" for line in aligned(block.rows)))
        print_lines([f"  {note}" for note in block.notes])
    print_lines(["\nWhat limits it", *(f"- {sentence}" for sentence in sheet.limits)])
    messages = json.loads(str(dataset.attrs["messages"]))
    if messages:
        print_lines(["", "Messages:", *(f"- {text}" for text in messages)])
    print_lines(["", *caution_lines()])
