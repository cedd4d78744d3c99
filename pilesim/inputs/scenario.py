"""The scenario: a TOML file turned into frozen records, checked for syntax, units and ranges.

Flow: `load` reads a file and what it extends (layers), `_build` turns every key into SI (schema, values), and
`checks` compares keys with one another. Checks that need property laws follow when the pile is built.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pilesim.inputs import checks, layers
from pilesim.inputs.events import read_turns
from pilesim.inputs.laws import chosen_constants
from pilesim.inputs.layers import bundled
from pilesim.inputs.library import cover_library
from pilesim.inputs.recipe import RECIPE_KEYS, read_recipe
from pilesim.inputs.records import (
    BaseLayer,
    ColdSnap,
    Cover,
    FileWeather,
    Ground,
    Laws,
    Limits,
    Mix,
    MixFromIngredients,
    MonthlyWeather,
    Pile,
    Run,
    Site,
    Start,
    Turn,
    Weather,
)
from pilesim.inputs.schema import SCHEMA, SUBTABLES
from pilesim.inputs.template import template
from pilesim.inputs.values import read_months, read_value
from pilesim.inputs.weather_files import read_once

__all__ = [
    "BaseLayer", "ColdSnap", "Cover", "FileWeather", "Ground", "Laws", "Limits", "Mix", "MixFromIngredients",
    "MonthlyWeather", "Pile", "Run", "Scenario", "Site", "Start", "Turn", "Weather",
    "bundled", "from_text", "load", "set_values", "template",
]


@dataclass(frozen=True, slots=True)
class Scenario:
    """One experiment: everything `simulate` needs, SI and kelvin inside.

    `tables` holds the values as typed, after `extends`. Equality compares the values, not how they were
    typed, and neither the file's name nor the title.
    """

    name: str = field(compare=False)
    title: str = field(compare=False)
    site: Site
    weather: Weather | MonthlyWeather | FileWeather
    pile: Pile
    cover: Cover
    base_layer: BaseLayer
    mix: Mix | MixFromIngredients
    start: Start
    ground: Ground
    run: Run
    limits: Limits
    laws: Laws
    turns: tuple[Turn, ...]
    tables: dict[str, object] = field(compare=False, repr=False)

    def with_(self, **changes: object) -> Scenario:
        """A new scenario with dotted keys changed: ``scenario.with_(**{"pile.base_width": "7 m"})``.

        Raises
        ------
        ScenarioError
            If a key is unknown, a value bad, or the whole no longer consistent.
        """
        return set_values(self, changes)

    def text(self) -> str:
        """TOML text that loads to an equal scenario; complete in itself, without `extends` or comments."""
        return layers.write(self.tables)


def load(path_or_name: str | os.PathLike[str]) -> Scenario:
    """Read a scenario from a path (ends in .toml or has a separator) or by the bare name of a bundled one.

    Raises
    ------
    ScenarioError
        One line: where, what was given, what is allowed, what to do.
    """
    if not isinstance(path_or_name, (str, os.PathLike)):
        raise TypeError(f"load() takes a path or a name, not {type(path_or_name).__name__}")
    path = layers.find_file(path_or_name)
    return _build(path.stem, layers.read_chain(path))


def from_text(text: str, name: str) -> Scenario:
    """The scenario that :meth:`Scenario.text` wrote, as results keep it.

    Raises
    ------
    ScenarioError
        If the text is not one.
    """
    return _build(name, layers.parse(text.encode("utf-8"), name))


def set_values(scenario: Scenario, values: Mapping[str, object]) -> Scenario:
    """`scenario` with dotted keys replaced (``{"cover.thickness": "8 in"}``), checked again as a whole.

    All values of one call are one layer: of `side_slope` and `crest_width` it may hold one, which replaces
    the scenario's other.
    """
    layer = layers.overrides_as_layer(dict(values))
    return _build(scenario.name, layers.merge(scenario.tables, layer))


def _build(name: str, tables: dict[str, object]) -> Scenario:
    weather, values = None, {}
    for table in SCHEMA:
        if table == "weather":
            weather = _read_weather(_keys(tables, table))
        else:
            values[table] = _read_table(table, tables.get(table))
    assert weather is not None
    if isinstance(weather, FileWeather):
        _take_station(values["site"], weather, _keys(tables, "site"))
    pile = values["pile"]
    if pile["shape"] == "slab" and "height" not in _keys(tables, "pile"):
        pile["height"] = checks.SLAB_HEIGHT
    if pile["shape"] == "column" and "base_width" not in _keys(tables, "pile"):
        pile["base_width"] = checks.COLUMN_WIDTH
    if pile["shape"] == "polygon":
        checks.size_from_outline(pile, tables)
    _take_cover_material(values["cover"], _keys(tables, "cover"))
    del values["base_layer"]["material"]
    mix, choice = _read_mix(values["mix"], tables), Laws(**values["laws"])
    if isinstance(mix, MixFromIngredients):
        mix = replace(mix, constants=tuple(chosen_constants(choice).items()))
    scenario = Scenario(
        name=name, title=str(tables.get("title", name)),
        site=Site(**values["site"]), weather=weather, pile=Pile(**pile),
        cover=Cover(**values["cover"]), base_layer=BaseLayer(**values["base_layer"]),
        mix=mix, start=Start(**values["start"]), ground=Ground(**values["ground"]),
        run=Run(**values["run"]),
        limits=Limits(**values["limits"]), laws=choice, tables=tables,
        turns=read_turns(tables.get("event"), values["cover"]["thickness"] > 0.0),
    )
    s = scenario
    checks.refuse_weather(s.weather, s.start)
    checks.refuse_inconsistent(s.pile, s.cover, s.base_layer, s.mix, s.run, tables)
    return scenario


def _keys(tables: Mapping[str, object], name: str) -> Mapping[str, object]:
    table = tables.get(name)
    return table if isinstance(table, dict) else {}


def _take_station(site: dict[str, Any], weather: FileWeather, typed: Mapping[str, object]) -> None:
    """Elevation and latitude of the weather station where the site has none typed."""
    for key, value in (("elevation", weather.hours.elevation), ("latitude", weather.hours.latitude)):
        if key not in typed and value is not None:
            site[key] = value


def _take_cover_material(cover: dict[str, Any], typed: Mapping[str, object]) -> None:
    """Put the properties of the cover's material where none are typed."""
    material = cover_library()[cover.pop("material")]
    cover.update({key: figure.value for key, figure in material.figures.items() if key not in typed})


def _read_mix(values: dict[str, Any], tables: Mapping[str, object]) -> Mix | MixFromIngredients:
    if "ingredients" in _keys(tables, "mix"):
        return read_recipe(values, tables)
    checks.refuse_recipe_key(_keys(tables, "mix"))
    return Mix(**{key: value for key, value in values.items() if key not in RECIPE_KEYS})


def _read_weather(given: Mapping[str, object]) -> Weather | MonthlyWeather | FileWeather:
    specs = SCHEMA["weather"]
    kind = read_value(specs["kind"], given.get("kind"), "weather.kind")
    if kind == "file" or "path" in given:
        return _read_file_weather(given)
    rest: dict[str, Any] = {key: read_value(specs[key], given.get(key), f"weather.{key}")
                            for key in ("wind_direction", "drift_height")}
    checks.refuse_key_of_kind("lapse", given, "file")
    values: dict[str, Any] = {}
    if kind != "monthly":
        for key in ("daily_range", *SUBTABLES["weather"]):
            checks.refuse_key_of_kind(key, given, "monthly")
        for key in ("air_temperature", "relative_humidity", "wind_speed"):
            values[key] = read_value(specs[key], given.get(key), f"weather.{key}")
        return Weather("constant", **values, **rest)
    for key in ("air_temperature", "relative_humidity", "wind_speed", "daily_range"):
        values[key] = read_months(specs[key], given.get(key), f"weather.{key}")
    snap = given.get("cold_snap")
    cold_snap = None
    if isinstance(snap, dict):
        parts: dict[str, Any] = {
            key: read_value(spec, snap.get(key), f"weather.cold_snap.{key}")
            for key, spec in SUBTABLES["weather"]["cold_snap"].items()}
        cold_snap = ColdSnap(**parts)
    return MonthlyWeather("monthly", **values, cold_snap=cold_snap, **rest)


def _read_file_weather(given: Mapping[str, object]) -> FileWeather:
    specs = SCHEMA["weather"]
    checks.refuse_beside_file(given)
    values: dict[str, Any] = {key: read_value(specs[key], given.get(key), f"weather.{key}")
                              for key in ("path", "lapse", "drift_height")}
    return FileWeather("file", **values, hours=read_once(str(values["path"])))


def _read_table(name: str, table: object) -> dict[str, Any]:
    given = table if isinstance(table, dict) else {}
    shape = given.get("shape") if name == "pile" else None
    out = {}
    for key, spec in SCHEMA[name].items():
        optional = shape == "column" and key == "base_width"        # a column is per metre of its own width
        optional = optional or (shape == "slab" and key == "height")
        optional = optional or ((shape == "polygon" or "outline" in given) and key in ("base_width", "height"))
        spec = replace(spec, required=False) if optional else spec
        out[key] = read_value(spec, given.get(key), f"{name}.{key}")
    return out
