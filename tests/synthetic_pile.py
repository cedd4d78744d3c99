"""Synthetic results in the layout of a pilesim Dataset: smooth made-up fields, no physics.

Nothing here is a simulation; it tests pictures. The section is a trapezoid with cover, base layer and
ground on a sloped grid whose upper right index block is empty, so that NaN coordinates, nodes shared by two
materials and missing fields are all present.
"""

import itertools
import json

import numpy as np
import xarray as xr

NONE, MIX, COVER, BASE, GROUND = range(5)
ZONES = ("toe", "floor", "crest", "flank", "core")
SCENARIO_TEXT = '[run]\ncell = "0.10 m"\n'


def sloped_grid(cell=0.2, height=2.0, half_base=2.6, half_crest=0.9, cover=0.2, base=0.2):
    """Vertices x, z (nj, ni) [m] and zone (nj - 1, ni - 1) of a covered half trapezoid over ground."""
    across, beside = max(2, round(half_base / cell)), 6
    cover_cells = max(2, round(cover / cell)) if cover else 0
    base_rows, mix_rows = (max(1, round(base / cell)) if base else 0), max(2, round(height / cell))
    slope = (half_base - half_crest) / height
    top = height + base
    outer_shift = cover * (np.hypot(1.0, slope))
    below = -3.0 * (np.arange(8, 0, -1) / 8.0) ** 2
    levels = np.concatenate(
        [
            below,
            [0.0],
            base * np.arange(1, base_rows + 1) / max(base_rows, 1),
            base + height * np.arange(1, mix_rows + 1) / mix_rows,
            top + cover * np.arange(1, cover_cells + 1) / max(cover_cells, 1),
        ]
    )
    ground_rows, columns = len(below), across + cover_cells + beside
    x, z = np.full((len(levels), columns + 1), np.nan), np.full((len(levels), columns + 1), np.nan)
    for j, level in enumerate(levels):
        inner = half_base - slope * (max(level, 0.0) - base)
        outer = inner + outer_shift
        last = columns if j <= ground_rows else across + cover_cells
        x[j, : across + 1] = inner * np.linspace(0, 1, across + 1)
        x[j, across : across + cover_cells + 1] = np.linspace(inner, outer, cover_cells + 1)
        if last == columns:
            x[j, across + cover_cells :] = outer + 3.0 * (np.arange(beside + 1) / beside) ** 1.5
        z[j, : last + 1] = level
    zone = np.full((len(levels) - 1, columns), NONE, dtype=np.int8)
    zone[:ground_rows] = GROUND
    pile = zone[ground_rows:, : across + cover_cells]
    pile[:] = COVER
    pile[: base_rows + mix_rows, :across] = MIX
    pile[:base_rows, :across] = BASE
    return x, z, zone


def _depth(x, z, half_outer, slope_length):
    """Rough distance below the outer surface [m]: flank and crest planes only."""
    flank = (half_outer - x - slope_length * z) / np.hypot(1.0, slope_length)
    return np.clip(np.minimum(flank, np.nanmax(z) - z), 0.0, None)


def _fields(x, z, in_gas, days, air):
    half_outer, top = np.nanmax(np.where(in_gas, x, np.nan)), np.nanmax(z)
    depth = _depth(x, z, half_outer, 0.85)
    ground = 10.0 + (air - 10.0) * np.exp(np.clip(z, None, 0) / 0.4) * (x > half_outer)
    rise = 1.0 / (1.0 + np.exp(-(days - 1.5 - 5.0 * depth) / 1.2))
    skin = 1.0 - np.exp(-(depth + 0.02) / 0.15)
    pile = air + (20.0 - air) * skin * np.exp(-days / 4) + (67.0 - air) * rise * skin * (0.55 + 0.45 * z / top)
    floor = np.where(x <= half_outer, np.exp(np.clip(z, None, 0) / 0.5), 0.0)
    temperature = np.where(z > 0, pile, ground + (pile - ground) * floor * 0.6)
    oxygen = np.where(in_gas, 20.95 * np.exp(-depth / (0.25 + 0.09 * days)), np.nan)
    speed = 9e-4 * (1.0 - np.exp(-days / 3))
    velocity_x = np.where(in_gas, -speed * x / top, np.nan)
    velocity_z = np.where(in_gas, speed * np.clip(z, 0, None) / top, np.nan)
    return {"temperature": temperature, "oxygen": oxygen, "gas_velocity_x": velocity_x, "gas_velocity_z": velocity_z}


def synthetic_dataset(times=None, *, air=10.0, cell=0.2, cover=0.2, base=0.2, freezing_modelled="false"):
    """A made-up Dataset with the dims, names, units and attributes of a result; air [degC], times [d]."""
    times = np.arange(0.0, 30.5, 0.5) if times is None else np.asarray(times, dtype=float)
    x, z, zone = sloped_grid(cell, cover=cover, base=base)
    in_gas = np.zeros(x.shape, dtype=bool)
    for j, i in itertools.product((0, 1), (0, 1)):
        in_gas[j : j + zone.shape[0], i : i + zone.shape[1]] |= (zone != NONE) & (zone != GROUND)
    fields = [_fields(x, z, in_gas, day, air) for day in times]
    units = {"temperature": "degC", "oxygen": "percent", "gas_velocity_x": "m s-1", "gas_velocity_z": "m s-1"}
    data = {name: (("time", "z", "x"), np.stack([f[name] for f in fields]), {"units": unit}) for name, unit in units.items()}
    data |= _history(times, air)
    data["zone"] = (
        ("z_cell", "x_cell"),
        zone,
        {"flag_values": np.arange(5, dtype=np.int8), "flag_meanings": "none mix cover base ground"},
    )
    attrs = {
        "title": "Synthetic fields, not a simulation",
        "scenario": SCENARIO_TEXT,
        "scenario_name": "synthetic",
        "pilesim_version": "0.0.0",
        "freezing_modelled": freezing_modelled,
        "messages": json.dumps([]),
        "rule_temperature_degC": 55.0,
        "rule_duration_days": 3.0,
        "anaerobic_oxygen_percent": 5.0,
        "section": "half",
        "shape": "trapezoid",
        "base_layer_edge": "closed",
        "elevation_m": 0.0,
    }
    coords = {
        "time": ("time", times, {"units": "days since build"}),
        "mix_zone": list(ZONES),
        "height": (("z", "x"), z, {"units": "m"}),
        "distance": (("z", "x"), x, {"units": "m"}),
    }
    return xr.Dataset(data, coords=coords, attrs=attrs)


def _history(times, air):
    days = times[:, None]
    pace = np.array([0.2, 0.45, 1.0, 0.9, 0.6])
    plateau = np.array([46.0, 57.0, 69.0, 66.0, 68.0])
    delay = np.array([5.0, 7.0, 2.5, 3.0, 7.5])
    zone_temperature = 20 + (plateau - 20) / (1 + np.exp(-(days - delay) * pace))
    zone_oxygen = 20.9 - 20 * np.exp(-(((days - 0.5 * delay) / (2 + 0.7 * delay)) ** 2))
    rise = 1 / (1 + np.exp(-(times - 8) / 2))
    series = {
        "mean_temperature": (zone_temperature.mean(axis=1), "degC"),
        "air_temperature": (air + 4 * np.sin(times), "degC"),
        "share_above_rule_temperature": (0.86 * rise, "1"),
        "anaerobic_share": (0.85 * np.exp(-(((times - 3) / 7) ** 2)), "1"),
        "anoxic_share": (0.7 * np.exp(-(((times - 2) / 5) ** 2)), "1"),
        "air_intake": (9e-4 * rise, "kg s-1 m-1"),
        "heat_released": (900 * np.exp(-(((times - 9) / 8) ** 2)) + 150, "W m-1"),
        "heat_conducted_to_air": (180 * rise + 20, "W m-1"),
        "heat_carried_by_gas": (500 * rise, "W m-1"),
        "heat_to_ground": (60 * rise, "W m-1"),
        "mix_water": (2300 * (1 - 0.18 * times / 30), "kg m-1"),
        "mix_dry_matter": (1650 * (1 - 0.08 * times / 30), "kg m-1"),
    }
    history = {name: ("time", values, {"units": unit}) for name, (values, unit) in series.items()}
    history["zone_temperature"] = (("time", "mix_zone"), zone_temperature, {"units": "degC"})
    history["zone_oxygen"] = (("time", "mix_zone"), zone_oxygen, {"units": "percent"})
    for name, (dims, values, labels) in list(history.items()):
        if name != "air_temperature":
            unit = "K" if labels["units"] == "degC" else labels["units"]
            history[f"error_of_{name}"] = (dims, 0.03 * np.abs(values), {"units": unit})
    return history


def synthetic_table(**keys):
    """A made-up comparison: one dim per varied key (SI values); shares follow cover leakance smoothly.

    `keys` maps a dim name (cover_permeability, cover_thickness, weather_air_temperature, ...) to its values.
    """
    si_units = {
        "cover_permeability": "m2",
        "cover_thickness": "m",
        "pile_base_width": "m",
        "pile_height": "m",
        "weather_air_temperature": "K",
        "mix_moisture": "1",
        "site_elevation": "m",
        "pile_side_slope": "rad",
    }
    shape = tuple(len(values) for values in keys.values())
    names = ("cold_edge_fraction", "anaerobic_fraction_day_14", "anaerobic_fraction_mean", "cover_leakance")
    arrays = {name: np.full(shape, np.nan) for name in names}
    for index in np.ndindex(shape):
        design = {key: values[i] for (key, values), i in zip(keys.items(), index, strict=True)}
        thickness = design.get("cover_thickness", 0.2)
        leakance = design.get("cover_permeability", 5e-10) / thickness if thickness else np.inf
        air = design.get("weather_air_temperature", 283.15)
        width = design.get("pile_base_width", 5.2)
        position = np.log10(min(leakance, 3e-8) / 3e-9) - (air - 273.15) / 90.0 - design.get("site_elevation", 0.0) / 9000.0
        cold = 1 / (1 + np.exp(-3.0 * position))
        starved = 1 / (1 + np.exp(4.0 * position - (width - 5.2)))
        values = (cold, starved, 0.8 * starved, np.nan if np.isinf(leakance) else leakance)
        for name, value in zip(names, values, strict=True):
            arrays[name][index] = value
    dims = tuple(keys)
    table = xr.Dataset(
        {name: (dims, values, {"units": "m" if name == "cover_leakance" else "1"}) for name, values in arrays.items()},
        coords={
            key: (key, list(values), {"units": si_units[key]} if key in si_units else {}) for key, values in keys.items()
        },
    )
    for name in names[:3]:
        table[f"{name}_error"] = (dims, 0.02 * np.ones(shape), {"units": "1"})
    table["status"] = (dims, np.full(shape, "ok", dtype=object))
    table["message"] = (dims, np.full(shape, "", dtype=object))
    table.attrs = {"title": "Synthetic comparison, not a simulation", "pilesim_version": "0.0.0", "scenario": SCENARIO_TEXT}
    return table


def fail_design(table, **index):
    """The table with one design failed: status, and NaN in every measure."""
    table = table.copy(deep=True)
    for name in table.data_vars:
        table[name].loc[index] = {"status": "failed", "message": "made up"}.get(name, np.nan)
    return table
