"""Assemble the Dataset of a run: fields, history, measures with errors, provenance. DEVELOPERS.md lists its contents."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from pilesim.assess.errors import history_errors
from pilesim.assess.fields import FIELDS, Recorder, on_section
from pilesim.assess.measures import MEASURES, Values, as_whole, halves
from pilesim.assess.recipe import stored_cover, stored_recipe
from pilesim.assess.shares import ZONES
from pilesim.assess.watch import RATES, Watch
from pilesim.base.constants import CONSTANTS, constants_as_data
from pilesim.build import Problem, cover_conductivity, outside_air
from pilesim.inputs.laws import chosen_laws
from pilesim.inputs.records import MixFromIngredients
from pilesim.inputs.scenario import Scenario
from pilesim.matter.mix import derive, settled_mix
from pilesim.section.grid import BASE, COVER, MIX
from pilesim.solver.march import DAY, Tally

if TYPE_CHECKING:
    import xarray as xr

_WIDE = 4.0  # base width over height: the meaning of "wide" in `convects_in_plumes`
PER_METRE = ("mix_volume", "mix_mass", "cover_volume")  # measures
_HISTORY: dict[str, tuple[str, str, float, bool]] = {  # unit, meaning, offset, per metre of the whole pile
    "mean_temperature": ("degC", "mean temperature of the mix", -273.15, False),
    "share_above_rule_temperature": ("1", "share of the mix at or above the rule temperature", 0.0, False),
    "anaerobic_share": ("1", "share of the mix below the anaerobic oxygen limit, running daily mean", 0.0, False),
    "anoxic_share": ("1", "share of the mix below 1 percent oxygen, running daily mean", 0.0, False),
    "air_intake": ("kg s-1 m-1", "dry air entering", 0.0, True),
    "heat_released": ("W m-1", "heat of respiration", 0.0, True),
    "heat_conducted_to_air": ("W m-1", "heat lost through the surface film", 0.0, True),
    "heat_carried_by_gas": ("W m-1", "heat lost with gas and vapour", 0.0, True),
    "heat_to_ground": ("W m-1", "heat taken up by the ground or passing through it", 0.0, True),
    "heat_stored": ("W m-1", "heat taken up by mix, cover (while it is there) and base layer", 0.0, True),
    "heat_with_leachate": ("W m-1", "heat lost with draining water less what rain brings, above water at 0 degC", 0.0, True),
    "water_carried_by_gas": ("kg s-1 m-1", "water lost with gas through the outer surface", 0.0, True),
    "water_lost_by_film": ("kg s-1 m-1", "water lost by diffusion through the surface film", 0.0, True),
    "metabolic_water": ("kg s-1 m-1", "water made by respiration", 0.0, True),
    "leachate": ("kg s-1 m-1", "water draining through the floor", 0.0, True),
    "rain_taken_up": ("kg s-1 m-1", "rain and meltwater taken up by the surface", 0.0, True),
    "snow_on_pile": ("kg m-1", "snow lying on the pile, as water", 0.0, True),
    "heat_unaccounted": ("J m-1", "heat that the budget cannot account for so far", 0.0, True),
    "water_unaccounted": ("kg m-1", "water that the budget cannot account for so far", 0.0, True),
    "capped_share": ("1", "share of the mix whose gain of permeability is at its cap", 0.0, False),
    "mix_water": ("kg m-1", "water of the mix, and of a cover once it is mixed in", 0.0, True),
    "mix_dry_matter": ("kg m-1", "dry matter of the mix, and of a cover once it is mixed in", 0.0, True),
}


def convects_in_plumes(scenario: Scenario) -> bool:
    """Whether so permeable and wide a mix convects in plumes that no grid settles: its error bars mean nothing then."""
    pile, permeability = scenario.pile, settled_mix(scenario.mix).permeability
    return permeability >= CONSTANTS["plume_permeability"].value and pile.base_width >= _WIDE * pile.height


def make_dataset(problem: Problem, watch: Watch, recorder: Recorder, tally: Tally, values: Values, errors: Values,
                 messages: Sequence[str], version: str, partner: tuple[Problem, Watch] | None = None) -> xr.Dataset:
    """Dataset of a finished run; `errors` come from the run on the coarse grid, and so do those of the history: `partner`."""
    import xarray as xr

    grid = problem.grid
    times = np.array(recorder.wanted)
    data: dict[str, Any] = {}
    for name, (unit, meaning) in FIELDS.items():
        section = on_section(problem, np.stack(recorder.kept[name]))
        data[name] = (("time", "z", "x"), section, {"units": unit, "long_name": meaning, "cell_measures": "area: mix_area"})
    data["zone"] = (("z_cell", "x_cell"), grid.material.astype(np.int8), {
        "flag_values": np.arange(5, dtype=np.int8), "flag_meanings": "none mix cover base ground",
        "long_name": "material of each cell as built"})
    if tally.cover_off and problem.uncovered:
        data["zone_uncovered"] = (("z_cell", "x_cell"), problem.uncovered.grid.material.astype(np.int8), {
            **data["zone"][2], "long_name": "material of each cell once the cover is off",
            "from_day": (tally.cover_off.time + problem.record.turn_time) / DAY})
    data |= _history(problem, watch, times)
    if partner is not None:
        _add_errors(data, _history(*partner, times))
    if watch.scenario.cover.thickness > 0.0:
        data["cover_conductivity"] = ((), cover_conductivity(watch.scenario.cover, problem.record), {
            "units": "W m-1 K-1", "long_name": "thermal conductivity of the cover as built, vapour diffusion left out"})
    for name, (unit, meaning) in MEASURES.items():
        if name in PER_METRE:
            unit, meaning = as_whole(unit, meaning, grid.axisymmetric)
        dims = ("mix_zone",) if np.ndim(values[name]) else ()
        data[name] = (dims, values[name], {"units": unit, "long_name": meaning})
        data[f"{name}_error"] = (dims, errors[name], {
            "units": unit, "long_name": f"numerical error of {name}: difference from the grid of twice the cell, time steps"})
    coords: dict[str, Any] = {
        "time": ("time", times / DAY, {"units": "day", "long_name": "time since the pile was built"}),
        "mix_zone": list(ZONES),
    }
    for name, values_of_nodes, meaning in (
        ("height", problem.mesh.z[:-1], "height above ground"), ("distance", problem.mesh.x[:-1], "distance from the axis"),
    ):
        section = on_section(problem, values_of_nodes)
        coords[name] = (("z", "x"), section, {"units": "m", "long_name": meaning, "bounds": f"{name}_bounds"})
        coords[f"{name}_bounds"] = (("z", "x", "corner"), _bounds(section))
    for name, material in (("mix_area", MIX), ("cover_area", COVER), ("base_area", BASE)):
        area = on_section(problem, problem.mesh.volume[material, :-1])
        coords[name] = (("z", "x"), area, {
            "units": "m3" if grid.axisymmetric else "m2",
            "long_name": f"{'volume' if grid.axisymmetric else 'area'} of {name[:-5]} at each node as built"})
    if tally.cover_off and problem.uncovered:
        bare = problem.uncovered.on_built(problem.uncovered.mesh.volume[MIX])[:-1]
        coords["mix_area_uncovered"] = (("z", "x"), on_section(problem, bare), {
            "units": coords["mix_area"][2]["units"], "long_name": "mix at each node once the cover is off",
            "from_day": data["zone_uncovered"][2]["from_day"]})
    return xr.Dataset(data, coords, _attributes(watch, tally, values, messages, version))


def _bounds(section: np.ndarray) -> np.ndarray:
    """Corners of the control volume around each vertex, (nz, nx, 4): the centres of the cells around it, or the middle
    of an outer edge, or the vertex itself at an outer corner."""
    padded = np.pad(section, 1, mode="edge")
    around = np.stack([padded[:-1, :-1], padded[:-1, 1:], padded[1:, :-1], padded[1:, 1:]])
    known = np.isfinite(around)
    total = np.where(known, around, 0.0).sum(axis=0)
    centre = np.divide(total, known.sum(axis=0), out=np.full(total.shape, np.nan), where=known.any(axis=0))
    corners = np.stack([centre[:-1, :-1], centre[:-1, 1:], centre[1:, 1:], centre[1:, :-1]], axis=-1)
    return np.where(np.isfinite(section)[..., None], corners, np.nan)


def _history(problem: Problem, watch: Watch, times: np.ndarray) -> dict[str, Any]:
    steps = np.array(watch.times)
    whole = halves(problem)
    data: dict[str, Any] = {}
    for name, (unit, meaning, offset, extensive) in _HISTORY.items():
        series = (np.array(watch.series[name]) + offset) * (whole if extensive else 1.0)
        if extensive:
            unit, meaning = as_whole(unit, meaning, problem.grid.axisymmetric)
        data[name] = ("time", np.interp(times, steps, series), {"units": unit, "long_name": meaning})
        if name in RATES or name == "air_intake":
            data[name][2]["mean_over_run"] = _mean_over_run(steps, series, name in RATES)
    air = [outside_air(problem, watch.scenario, time, time) for time in times]
    for name, value, unit, meaning in (
        ("air_temperature", [a.temperature - problem.record.celsius_zero for a in air], "degC", "air temperature"),
        ("air_pressure", [problem.record.pressure] * times.size, "Pa", "air pressure"),
        ("relative_humidity", [a.humidity for a in air], "1", "relative humidity of the air"),
        ("wind_speed", [a.wind_speed for a in air], "m s-1", "wind speed"),
    ):
        data[name] = ("time", np.array(value), {"units": unit, "long_name": meaning})
    empty = watch.pieces.zone_node_weight.sum(axis=1) == 0.0
    for name, rows, factor, offset, unit in (
        ("zone_temperature", watch.zone_temperature, 1.0, -problem.record.celsius_zero, "degC"),
        ("zone_oxygen", watch.zone_oxygen, 100.0, 0.0, "percent"),
    ):
        table = factor * np.array(rows) + offset
        values = np.stack([np.interp(times, steps, table[:, k]) for k in range(len(ZONES))], axis=1)
        values[:, empty] = np.nan
        data[name] = (("time", "mix_zone"), values, {"units": unit, "long_name": f"mean {name[5:]} of each zone of the mix"})
    return data


def _add_errors(data: dict[str, Any], coarse: dict[str, Any]) -> None:
    """Put `error_of_<name>` beside each curve of the history, and `mean_over_run_error` to each mean."""
    curves = [*_HISTORY, "zone_temperature", "zone_oxygen"]
    found = history_errors({name: data[name][1] for name in curves}, {name: coarse[name][1] for name in curves})
    for name, values in found.items():
        dims, _, labels = data[name]
        unit = "K" if labels["units"] == "degC" else labels["units"]
        data[f"error_of_{name}"] = (dims, values, {
            "units": unit, "long_name": f"numerical error of {name}: difference from the grid of twice the cell"})
        if "mean_over_run" in labels:
            labels["mean_over_run_error"] = abs(labels["mean_over_run"] - coarse[name][2]["mean_over_run"])


def _mean_over_run(steps: np.ndarray, series: np.ndarray, of_steps: bool) -> float:
    """Mean in time, not of outputs; `of_steps`: values are means over the step they end, else at its end."""
    total = np.diff(steps) @ series[1:] if of_steps else np.trapezoid(series, steps)
    return float(total / (steps[-1] - steps[0]))


def _attributes(watch: Watch, tally: Tally, values: Values, messages: Sequence[str], version: str) -> dict[str, Any]:
    scenario = watch.scenario
    zero = CONSTANTS["celsius_zero"].value
    attributes: dict[str, Any] = {
        "Conventions": "CF-1.11", "title": scenario.title, "scenario": scenario.text(), "scenario_name": scenario.name,
        "pilesim_version": version, "constants": json.dumps(constants_as_data()), "freezing_modelled": "true",
        "messages": json.dumps(list(messages)),
        "rule_temperature_degC": scenario.limits.rule_temperature - zero,
        "rule_duration_days": scenario.limits.rule_duration / DAY,
        "rule": scenario.limits.rule.id,
        "anaerobic_oxygen_percent": 100.0 * scenario.limits.anaerobic_oxygen,
        "section": scenario.pile.section, "shape": scenario.pile.shape,
        "base_layer_edge": scenario.base_layer.edge, "elevation_m": scenario.site.elevation,
        "cell_m": scenario.run.cell, "solver_steps": tally.steps,
        "budget_errors": json.dumps({k: float(np.asarray(values[f"budget_error_{k}"])) for k in ("heat", "oxygen", "water")}),
        "numerical_error": "each measure has <name>_error: |value at the run's cell - value at twice the cell|, and what "
                           "time steps add; null where only one of the two grids reached it",
        "errors_trusted": "false" if convects_in_plumes(scenario) else "true",
        "iteration_defect_K": float(np.asarray(values["iteration_defect_temperature"])),
    }
    attributes["laws"] = json.dumps({key: asdict(law) for key, law in chosen_laws(scenario.laws).items()})
    attributes["cover_material"] = stored_cover(scenario.tables)
    if scenario.turns:
        attributes["turn_days"] = json.dumps([turn.time / DAY for turn in scenario.turns])
    if tally.cover_off:
        attributes["cover_off"] = json.dumps(asdict(tally.cover_off))
    if isinstance(scenario.mix, MixFromIngredients):
        attributes["recipe"] = stored_recipe(derive(scenario.mix))
    if scenario.start.date is not None:
        attributes["start_date"] = scenario.start.date.isoformat()
    return attributes
