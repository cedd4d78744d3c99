"""The table of a comparison: a Dataset with one dimension for each varied key, rows, CSV files."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pilesim
from pilesim.base.units import from_si
from pilesim.inputs.scenario import Scenario
from pilesim.inputs.schema import key_of
from pilesim.result import ZONE_DIMENSION, write_text
from pilesim.study.ties import RANKED, rank_columns

if TYPE_CHECKING:
    import xarray as xr

SEPARATOR = " | "  # between the messages of one design
OTHER_UNITS = "Amounts of this design are left out: a round heap has totals, other piles have amounts per metre of length."


def table_of_designs(
    scenario: Scenario,
    vary: Mapping[str, Sequence[str]],
    values: Mapping[str, list[float] | list[str]],
    members: list[dict[str, Any]],
) -> xr.Dataset:
    import numpy as np
    import xarray as xr

    dims = [key.replace(".", "_") for key in values]
    shape = tuple(len(texts) for texts in values.values())
    data: dict[str, Any] = {}
    samples: dict[str, Any] = {}
    for member in members:  # where units differ, those of the first design that has numbers
        samples = member["measures"] | samples
    members = [_noted(member, samples) for member in members]
    for name, sample in (samples or _no_measures()).items():
        attrs = {"units": sample["unit"], "long_name": sample["meaning"]}
        zones = list(sample["value"]) if isinstance(sample["value"], dict) else None
        for suffix, part in (("", "value"), ("_error", "error")):
            numbers = np.array([_numbers(member["measures"].get(name), part, zones, sample["unit"]) for member in members])
            over = [*dims, ZONE_DIMENSION] if zones else dims
            labels = attrs if not suffix else attrs | {"long_name": f"numerical error of {name}"}
            data[name + suffix] = (over, numbers.reshape(shape + ((len(zones),) if zones else ())), labels)
            if zones:
                data[ZONE_DIMENSION] = zones
    for name, column in (
        ("status", [m["status"] for m in members]),
        ("message", [SEPARATOR.join(m["messages"]) for m in members]),
    ):
        data[name] = (dims, np.array(column, dtype=object).reshape(shape))
    trusted = np.array([m.get("errors_trusted", True) for m in members], dtype=np.int8).reshape(shape)
    data["errors_trusted"] = (dims, trusted, {"long_name": "0 where a mix convects in plumes and its errors mean nothing"})
    for key, dim in zip(values, dims, strict=True):
        spec = key_of(key)
        assert spec is not None  # checked before anything ran
        attrs = {"long_name": spec.meaning, "scenario_key": key}
        data[dim] = (
            dim,
            values[key],
            attrs | ({"units": spec.unit or "1"} if spec.kind == "quantity" else {}),
        )
        data[f"{dim}_text"] = (dim, np.array(list(vary[key]), dtype=object), {"long_name": f"{key} as typed"})
    coords = [*dims, *(f"{dim}_text" for dim in dims), *([ZONE_DIMENSION] if ZONE_DIMENSION in data else [])]
    return xr.Dataset(
        {name: entry for name, entry in data.items() if name not in coords},
        {name: data[name] for name in coords},
        _attributes(scenario, vary, members),
    )


def _noted(member: dict[str, Any], samples: dict[str, Any]) -> dict[str, Any]:
    """The design, with a message where some of its measures have other units than the table."""
    if all(measure["unit"] == samples[name]["unit"] for name, measure in member["measures"].items()):
        return member
    return member | {"messages": [*member["messages"], OTHER_UNITS]}


def _no_measures() -> dict[str, dict[str, Any]]:
    """What stands in the table when every design failed: each measure without a number."""
    from pilesim.assess.measures import MEASURES
    from pilesim.assess.shares import ZONES

    return {
        name: {"unit": unit, "meaning": meaning, "value": dict.fromkeys(ZONES) if name.endswith("by_zone") else None}
        for name, (unit, meaning) in MEASURES.items()
    }


def _numbers(measure: dict[str, Any] | None, part: str, zones: list[str] | None, unit: str) -> Any:
    """NaN for what has no number in `unit`: totals of a round heap do not stand beside amounts per metre."""
    value = measure[part] if measure and measure["unit"] == unit else None
    if zones:
        by_zone = value if isinstance(value, dict) else {}
        return [_number(by_zone.get(zone)) for zone in zones]
    return _number(value)


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _attributes(scenario: Scenario, vary: Mapping[str, Sequence[str]], members: list[dict[str, Any]]) -> dict[str, Any]:
    messages = list(dict.fromkeys(text for m in members if m["status"] == "ok" for text in m["messages"]))
    messages.sort(key=lambda text: "not to be trusted" not in text)  # first what concerns every number of a design
    limits = scenario.limits
    return {
        "title": scenario.title,
        "scenario": scenario.text(),
        "scenario_name": scenario.name,
        "pilesim_version": str(pilesim.__version__),
        "Conventions": "CF-1.11",
        "messages": json.dumps(messages),
        "vary": json.dumps({key: list(texts) for key, texts in vary.items()}),
        "rule_temperature_degC": from_si(limits.rule_temperature, "K", "degC"),
        "rule_duration_days": from_si(limits.rule_duration, "s", "day"),
        "anaerobic_oxygen_percent": from_si(limits.anaerobic_oxygen, "1", "percent"),
    }


def rows(table: xr.Dataset) -> list[dict[str, Any]]:
    """The designs one by one: varied keys as typed, status, message, every measure and its error."""
    vary = json.loads(table.attrs["vary"])
    dims = [key.replace(".", "_") for key in vary]
    columns = _columns(table)
    out = []
    for texts in product(*(enumerate(items) for items in vary.values())):
        index = {dim: number for dim, (number, _) in zip(dims, texts, strict=True)}
        row: dict[str, Any] = {key: text for key, (_, text) in zip(vary, texts, strict=True)}
        row |= {name: str(table[name].isel(index).item()) for name in ("status", "message")}
        row |= {name: float(table[variable].isel(index | where).item()) for name, variable, where in columns}
        row["errors_trusted"] = int(table["errors_trusted"].isel(index).item()) if "errors_trusted" in table else 1
        out.append(row)
    return out


def _columns(table: xr.Dataset) -> list[tuple[str, str, dict[str, int]]]:
    """Column name, variable and index by zone, measure by measure with the error behind."""
    columns = []
    for name in map(str, table.data_vars):
        if f"{name}_error" not in table:
            continue
        zones = [str(zone) for zone in table[ZONE_DIMENSION].values] if ZONE_DIMENSION in table[name].dims else None
        for number, label in enumerate(zones) if zones else ((None, ""),):
            where = {} if number is None else {ZONE_DIMENSION: number}
            stem = f"{name}_{label}" if label else name
            columns += [(stem, name, where), (f"{stem}_error", f"{name}_error", where)]
    return columns


def write_csv(table: xr.Dataset, path: Path) -> None:
    """Write ``comparison.csv``: UTF-8, one row for each design, numbers in full, NaN as ``NaN``.

    Behind the measures stand the ranks that the errors allow, best and worst: the same only where they are sure.
    """
    designs = rows(table)
    for number, row in enumerate(designs):
        row |= {name: column[number] for name, column in rank_columns(designs).items()}
    lines = [list(designs[0])]
    lines += [
        [
            "NaN" if isinstance(v, float) and math.isnan(v) else repr(v) if isinstance(v, float) else v
            for v in row.values()
        ]
        for row in designs
    ]
    write_text(_as_csv(lines), path)


def write_units(table: xr.Dataset, path: Path) -> None:
    """Write ``comparison_units.csv``: name, unit and meaning of every measure column."""
    lines = [["name", "unit", "meaning"]]
    lines += [
        [column, str(table[variable].attrs["units"]), str(table[variable].attrs["long_name"])]
        for column, variable, _ in _columns(table)
    ]
    lines.append(["errors_trusted", "1", "0 where a mix convects in plumes and its errors mean nothing"])
    for name in RANKED:
        for end, word in (("best", "best"), ("worst", "worst")):
            lines.append([f"{name}_rank_{end}", "1", f"{word} rank by {name} that the errors allow, 1 the smallest"])
    write_text(_as_csv(lines), path)


def _as_csv(lines: list[list[Any]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(lines)
    return out.getvalue()
