"""Checks between keys that need no physics: the outline closes, the cover fits, the run is affordable."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.inputs.polygon import mix_halves
from pilesim.inputs.records import (
    BaseLayer,
    Cover,
    FileWeather,
    Mix,
    MixFromIngredients,
    MonthlyWeather,
    Pile,
    Run,
    Start,
    Weather,
)
from pilesim.inputs.schema import SCHEMA
from pilesim.inputs.values import MONTHS

COLUMN_WIDTH = 1.0              # m; a column is computed per metre of its own width
SLAB_HEIGHT = 1.0               # m; a slab is computed per metre of its own height
LARGEST_GRID = 400_000          # nodes of the section without the ground
MOST_OUTPUTS = 20_000           # stored times
FEWEST_CELLS = 4                # fine cells across the half width and the height of the mix
_ZERO = CONSTANTS["celsius_zero"].value
RIDGE_SLOPE_SLACK = math.radians(0.1)   # a slope typed to a tenth of a degree agrees
_ROUND_OFF = 1e-9               # relative; only for limits that were typed with few digits


def refuse_inconsistent(pile: Pile, cover: Cover, base_layer: BaseLayer, mix: Mix | MixFromIngredients, run: Run,
                        tables: Mapping[str, object]) -> None:
    """Raise ScenarioError for the first keys that contradict each other; `tables` shows what was typed."""
    _check_outline(pile, tables)
    if pile.section == "full" and pile.shape in ("round", "column", "slab"):
        raise ScenarioError("pile.section", given(tables, "pile.section"), f"'half' for a {pile.shape}",
                            "Its other half can only be equal.")
    _check_cover(pile, cover, tables)
    _check_mix(mix, tables)
    _check_run(pile, cover, base_layer, run, tables)


def refuse_recipe_key(mix: Mapping[str, object]) -> None:
    """Raise ScenarioError where [mix] has a key that only a mix of ingredients knows."""
    for key in ("bucket", "volume_loss"):
        if key in mix:
            raise ScenarioError(f"mix.{key}", repr(mix[key]), "no such key without mix.ingredients",
                                "Remove it, or give the ingredients.")


def refuse_key_of_kind(key: str, weather: Mapping[str, object], kind: str) -> None:
    """Raise ScenarioError where weather of another kind has a key that only weather of `kind` knows."""
    if key in weather:
        value, own = weather[key], weather.get("kind", "constant")
        raise ScenarioError(f"weather.{key}", "a table" if isinstance(value, dict) else repr(value),
                            f"no such key for {own} weather", f"Remove it, or write kind = '{kind}'.")


def refuse_beside_file(weather: Mapping[str, object]) -> None:
    """Raise ScenarioError where weather of a file has no path, or keys that the file itself gives."""
    if "path" not in weather:
        raise ScenarioError("weather.path", "nothing", "the path of an EPW, TMY3 or CSV file",
                            "Weather of kind 'file' needs its file.")
    for key, value in weather.items():
        if key == "kind" and value != "file":
            raise ScenarioError("weather.kind", repr(value), "'file', or no such key, beside weather.path",
                                "Remove one of them.")
        if key not in ("kind", "path", "lapse", "drift_height"):
            raise ScenarioError(f"weather.{key}", "a table" if isinstance(value, dict) else repr(value),
                                "no such key beside weather.path", "The file gives it; remove the key.")


def refuse_weather(weather: Weather | MonthlyWeather | FileWeather, start: Start) -> None:
    """Raise ScenarioError where the weather lacks its date or goes beyond what the air can be."""
    if isinstance(weather, Weather):
        return
    if start.date is None:
        raise ScenarioError("start.date", "nothing", "a date such as '2025-11-30' (year-month-day)",
                            "Monthly weather needs the day of building." if isinstance(weather, MonthlyWeather) else
                            "Weather of a file needs the day of building.")
    if isinstance(weather, FileWeather):
        return
    key = SCHEMA["weather"]["air_temperature"]
    drop = weather.cold_snap.temperature_drop if weather.cold_snap is not None else 0.0
    for month, mean, span in zip(MONTHS, weather.air_temperature, weather.daily_range, strict=True):
        coldest, warmest = mean - 0.5 * span - drop - _ZERO, mean + 0.5 * span - _ZERO
        if coldest < key.low or warmest > key.high:
            raise ScenarioError("weather.daily_range", f"air from {coldest:g} to {warmest:g} degC in {month}",
                                f"air from {key.low:g} to {key.high:g} degC",
                                "Reduce daily_range, or the temperature_drop of the cold snap.")


def given(tables: Mapping[str, object], where: str) -> str:
    """The value of a dotted key as typed, or a note that it is the default."""
    table, key = where.split(".")
    values = tables.get(table)
    return repr(values[key]) if isinstance(values, dict) and key in values else "the default"


def size_from_outline(pile: dict[str, Any], tables: Mapping[str, object]) -> None:
    """Put base width and height of a polygon into the values of [pile]; raise ScenarioError if typed as well."""
    if pile["outline"] is None:
        raise ScenarioError("pile.outline", "nothing", "points from toe to axis, such as [\"2.6 m, 0 m\", \"0 m, 2 m\"]",
                            "A polygon needs its points.")
    for key in ("base_width", "height", "side_slope", "crest_width"):
        if pile[key] is not None:
            where = f"pile.{key}"
            raise ScenarioError(where, given(tables, where), "no such key for a polygon",
                                "Its outline sets all sizes; remove the key or change the points.")
    right, left = mix_halves(pile["outline"], pile["section"] == "full")
    for key, value in (("base_width", float(right[0, 0] + left[0, 0])), ("height", float(right[-1, 1]))):
        spec = SCHEMA["pile"][key]
        if not spec.low <= value <= spec.high:
            raise ScenarioError("pile.outline", f"a {key} of {value:g} m", f"{spec.low:g} to {spec.high:g} m")
        pile[key] = value


def _check_outline(pile: Pile, tables: Mapping[str, object]) -> None:
    if pile.outline is not None and pile.shape != "polygon":
        raise ScenarioError("pile.outline", f"points for a {pile.shape}", "no such key unless shape is 'polygon'",
                            "Remove the points or set pile.shape to 'polygon'.")
    if pile.shape == "polygon":
        return
    if pile.shape == "ridge":
        _check_ridge(pile, tables)
        return
    if pile.shape not in ("trapezoid", "round"):
        for key in ("side_slope", "crest_width"):
            if getattr(pile, key) is not None:
                where = f"pile.{key}"
                raise ScenarioError(where, given(tables, where), f"no such key for a {pile.shape}",
                                    "Its width and height set its sides; remove the key.")
        return
    half = 0.5 * pile.base_width
    if pile.side_slope is not None:
        highest = half * math.tan(pile.side_slope)
        if pile.height > highest * (1.0 + _ROUND_OFF):
            raise ScenarioError("pile.height", given(tables, "pile.height"), f"at most {_down(highest)} m",
                                "The flanks meet there; widen the base or steepen side_slope.")
    elif pile.crest_width is not None:
        _check_crest(pile, half, tables)
    else:
        raise ScenarioError("pile.side_slope", "nothing", "a value, or one for crest_width",
                            "A trapezoid needs one of the two, a round heap too.")


def _check_ridge(pile: Pile, tables: Mapping[str, object]) -> None:
    if pile.crest_width:
        raise ScenarioError("pile.crest_width", given(tables, "pile.crest_width"), "0 m, or no such key, for a ridge",
                            "A ridge has no crest; use a trapezoid for one.")
    slope, spec = math.atan2(pile.height, 0.5 * pile.base_width), SCHEMA["pile"]["side_slope"]
    if pile.side_slope is not None and abs(pile.side_slope - slope) > RIDGE_SLOPE_SLACK:
        raise ScenarioError("pile.side_slope", given(tables, "pile.side_slope"),
                            f"{math.degrees(slope):.1f} deg for this ridge, or no such key",
                            "Base width and height of a ridge fix its slope; leave one of the three out or change it.")
    if not spec.low <= math.degrees(slope) <= spec.high:
        half = 0.5 * pile.base_width
        low, high = (half * math.tan(math.radians(edge)) for edge in (spec.low, spec.high))
        raise ScenarioError("pile.height", given(tables, "pile.height"), f"a value from {_up(low)} m to {_down(high)} m",
                            f"Otherwise the flanks are not between {spec.low:g} deg and {spec.high:g} deg.")


def _check_crest(pile: Pile, half: float, tables: Mapping[str, object]) -> None:
    assert pile.crest_width is not None
    slope = SCHEMA["pile"]["side_slope"]
    narrowest = max(0.0, 2.0 * (half - pile.height / math.tan(math.radians(slope.low))))
    widest = 2.0 * (half - pile.height / math.tan(math.radians(slope.high)))
    if widest < 0.0:
        raise ScenarioError("pile.height", given(tables, "pile.height"),
                            f"at most {_down(half * math.tan(math.radians(slope.high)))} m",
                            f"Higher, the flanks would be steeper than {slope.high:g} deg; widen the base.")
    span = _ROUND_OFF * pile.base_width
    if not narrowest - span <= pile.crest_width <= widest + span:
        raise ScenarioError("pile.crest_width", given(tables, "pile.crest_width"),
                            f"a value from {_up(narrowest)} m to {_down(widest)} m",
                            f"Otherwise the flanks are not between {slope.low:g} deg and {slope.high:g} deg.")


def _least_extent(pile: Pile) -> float:
    """The smaller [m] of height and half width, of those that the shape computes."""
    if pile.shape == "column":
        return pile.height
    return 0.5 * pile.base_width if pile.shape == "slab" else min(pile.height, 0.5 * pile.base_width)


def _check_cover(pile: Pile, cover: Cover, tables: Mapping[str, object]) -> None:
    room = _least_extent(pile)
    if cover.thickness >= room:
        raise ScenarioError("cover.thickness", given(tables, "cover.thickness"), f"less than {_down(room)} m",
                            "The cover must be thinner than the mix is high and half as wide.")
    if cover.valve and cover.thickness == 0.0:
        raise ScenarioError("cover.valve", given(tables, "cover.valve"), "false, or no such key, without a cover",
                            "A cover of 0 m has no water to follow; give it a thickness.")


def _check_mix(mix: Mix | MixFromIngredients, tables: Mapping[str, object]) -> None:
    if mix.fast_fraction is None or mix.slow_fraction is None:
        return      # derived from the ingredients, and checked where that is done
    if mix.fast_fraction + mix.slow_fraction > 1.0 + _ROUND_OFF:
        raise ScenarioError("mix.fast_fraction", given(tables, "mix.fast_fraction"),
                            f"at most {100.0 * (1.0 - mix.slow_fraction):.4g} percent",
                            "Fast and slow fractions are shares of the same volatile solids.")


def _check_run(pile: Pile, cover: Cover, base_layer: BaseLayer, run: Run,
               tables: Mapping[str, object]) -> None:
    every = "run.output_every"
    if run.output_every > run.duration * (1.0 + _ROUND_OFF) and given(tables, every) != "the default":
        longest = run.duration / 86400.0
        raise ScenarioError(every, given(tables, every), f"at most the duration, {longest:g} day")
    if run.duration / run.output_every > MOST_OUTPUTS:
        shortest = run.duration / MOST_OUTPUTS / 60.0
        raise ScenarioError(every, given(tables, every), f"at least {_up(shortest)} minute",
                            f"More than {MOST_OUTPUTS} stored times would be written.")
    side = _least_extent(pile)
    if run.cell > side / FEWEST_CELLS * (1.0 + _ROUND_OFF):
        raise ScenarioError("run.cell", given(tables, "run.cell"), f"at most {_down(side / FEWEST_CELLS)} m",
                            f"The mix needs {FEWEST_CELLS} cells across its height and its half width.")
    smallest = _smallest_cell(pile, cover, base_layer)
    if run.cell < smallest:
        raise ScenarioError("run.cell", given(tables, "run.cell"), f"at least {_up(smallest)} m",
                            f"The grid would have more than {LARGEST_GRID} nodes.")


def _smallest_cell(pile: Pile, cover: Cover, base_layer: BaseLayer) -> float:
    """Cell at which the overall half section (base rows and cover included) has LARGEST_GRID nodes."""
    height = pile.height + base_layer.thickness + cover.thickness
    if pile.shape == "column":
        return height / LARGEST_GRID
    steep = math.sin(pile.side_slope) if pile.side_slope is not None else 1.0
    width = 0.5 * pile.base_width + cover.thickness / steep
    return math.sqrt(width * height / LARGEST_GRID)


def _down(value: float) -> str:
    """Three decimals, rounded down, so that the printed limit itself is accepted."""
    return f"{math.floor(value * 1000.0 + 1e-6) / 1000.0:g}"


def _up(value: float) -> str:
    """Four decimals, rounded up."""
    return f"{math.ceil(value * 10000.0 - 1e-6) / 10000.0:g}"
