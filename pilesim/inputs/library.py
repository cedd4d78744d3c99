"""Materials as data: feedstocks and covers that come with the package, and feedstocks that a scenario adds.

Every number of a material is a `Figure`: the value, its range, its source and how well it is known.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.sources import SOURCES
from pilesim.inputs.schema import FEEDSTOCK, SCHEMA, Key, suggestion
from pilesim.inputs.values import read_value

CONFIDENCE = ("secondary copy", "recalled", "computed", "adjusted", "no source", "guess", "given")
CAN_BE_COMPUTED = ("carbon", "lignin", "slow_fraction")     # a feedstock of one's own may leave them out
WATER = "water"
_ROUND_OFF = 1e-9


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a material, SI: value, range, source (a key of the bibliography, or "given") and confidence."""

    value: float
    low: float
    high: float
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Feedstock:
    """A material that loads are made of; every number is a :class:`Figure`.

    moisture (wet basis); nitrogen, carbon, volatile solids (of dry matter); lignin, fast and slow fraction (of volatile
    solids) [1]; bulk density, loose and moist [kg m-3]; particle size as an Ergun fit would give it [m]; compaction
    [m-1]; rates at the best conditions [s-1]; oxygen demand [kg kg-1]; respiratory quotient [1].
    """

    name: str
    description: str
    moisture: Figure
    nitrogen: Figure
    carbon: Figure
    volatile_solids: Figure
    lignin: Figure
    bulk_density: Figure
    particle_size: Figure
    compaction: Figure
    fast_fraction: Figure
    fast_rate: Figure
    slow_fraction: Figure
    slow_rate: Figure
    oxygen_demand: Figure
    respiratory_quotient: Figure


@dataclass(frozen=True, slots=True)
class CoverMaterial:
    """A material for covers: its figures by key of ``[cover]`` and what thickness practice asks of it (text)."""

    name: str
    description: str
    thickness: str
    figures: dict[str, Figure]


@cache
def feedstock_library() -> dict[str, Feedstock]:
    """The feedstocks that come with the package, by name, and plain water."""
    found = {WATER: _water()}
    for name, table in _read("feedstocks.toml").items():
        figures = {key: _figure(spec, table[key], f"feedstock '{name}'.{key}") for key, spec in FEEDSTOCK.items()}
        found[name] = Feedstock(name=name, description=str(table["description"]), **figures)
    return found


@cache
def cover_library() -> dict[str, CoverMaterial]:
    """The cover materials, by name; the default one, whose numbers are in the constants registry, first."""
    specs, default = SCHEMA["cover"], SCHEMA["cover"]["material"].words[0]
    own = {key: spec.constant for key, spec in specs.items() if spec.constant and key != "thickness"}
    found = {default: CoverMaterial(default, "finished compost, unscreened: chunky enough to let air through",
                                    "0.15 to 0.23 m", {key: _from_registry(name) for key, name in own.items()})}
    for name, table in _read("covers.toml").items():
        figures = {key: _figure(specs[key], raw, f"cover '{name}'.{key}") for key, raw in table.items()
                   if key not in ("description", "thickness")}
        found[name] = CoverMaterial(name, str(table["description"]), str(table["thickness"]), figures)
    return found


def known_feedstocks(tables: Mapping[str, object]) -> dict[str, Feedstock]:
    """The library and what ``[feedstock.NAME]`` of a scenario adds to it or changes in it.

    A table that says ``like = "NAME"``, or that bears the name of a library feedstock, changes only what it gives; any
    other must give every property but carbon, and of lignin and the slow fraction one.

    Raises
    ------
    ScenarioError
        Naming the feedstock and the key.
    """
    found = dict(feedstock_library())
    own = tables.get("feedstock")
    for name, table in (own.items() if isinstance(own, dict) else ()):
        found[name] = _own(name, table, found)
    return found


def _own(name: str, table: Mapping[str, object], found: Mapping[str, Feedstock]) -> Feedstock:
    where = f"feedstock.{name}"
    if name == WATER:
        raise ScenarioError(where, "a table", "another name", "Water is water.")
    if name != name.strip() or not name or any(sign in name for sign in ",;.") or " of " in name:
        raise ScenarioError(where, "a table", "a name without comma, semicolon, point or the word 'of'")
    like = table.get("like")
    if like is not None and (like not in found or like == WATER):
        raise ScenarioError(f"{where}.like", repr(like), "the name of a feedstock", _meant(str(like), found))
    base = found[str(like)] if like is not None else found.get(name)
    figures: dict[str, Figure] = {}
    for key, spec in FEEDSTOCK.items():
        raw = table.get(key)
        if raw is not None:
            value = read_value(spec, raw, f"{where}.{key}")
            assert isinstance(value, float | int)
            figures[key] = Figure(float(value), float(value), float(value), "given", "given")
        elif base is None and (key not in CAN_BE_COMPUTED or (key == "slow_fraction" and "lignin" not in table)):
            raise ScenarioError(f"{where}.{key}", "nothing", f"a value ({spec.meaning})",
                                "Give it, or take the rest from a known feedstock with like = \"NAME\".")
    text = str(table.get("description", base.description if base and like is None else f"own feedstock, like {like}"))
    if base is None:
        figures.setdefault("carbon", _computed_carbon(figures["volatile_solids"]))
        figures.setdefault("lignin", Figure(0.0, 0.0, 1.0, "Guess", "guess"))
        figures.setdefault("slow_fraction", _computed_slow(figures["lignin"].value, figures["fast_fraction"].value))
        feedstock = Feedstock(name=name, description=str(table.get("description", "own feedstock")), **figures)
    else:
        feedstock = replace(base, name=name, description=text, **figures)
    _refuse_impossible(feedstock, where)
    return feedstock


def _computed_carbon(solids: Figure) -> Figure:
    share = CONSTANTS["carbon_of_organic_matter"]
    return Figure(solids.value * share.value, solids.value * share.low, solids.value * share.high, share.source, "computed")


def _computed_slow(lignin: float, fast: float) -> Figure:
    """The degradable share that lignin leaves, less the fast fraction. Source: Chandler1980."""
    start, slope = CONSTANTS["degradable_intercept"], CONSTANTS["degradable_slope"]
    value, low, high = (max(a - b * lignin - fast, 0.0) for a, b in (
        (start.value, slope.value), (start.low, slope.high), (start.high, slope.low)))
    return Figure(value, low, high, slope.source, "computed")


def _refuse_impossible(feedstock: Feedstock, where: str) -> None:
    """Raise ScenarioError where shares of one whole exceed it."""
    pools = feedstock.fast_fraction.value + feedstock.slow_fraction.value
    if pools > 1.0 + _ROUND_OFF:
        raise ScenarioError(f"{where}.fast_fraction", f"{100 * feedstock.fast_fraction.value:.4g} percent",
                            f"at most {100 * (1 - feedstock.slow_fraction.value):.4g} percent",
                            "Fast and slow fractions are shares of the same volatile solids.")
    carbon, solids = feedstock.carbon.value, feedstock.volatile_solids.value
    if carbon > solids * CONSTANTS["carbon_of_organic_matter"].high + _ROUND_OFF:
        most = solids * CONSTANTS["carbon_of_organic_matter"].high
        raise ScenarioError(f"{where}.carbon", f"{100 * carbon:.4g} percent", f"at most {100 * most:.4g} percent",
                            f"Organic matter of {100 * solids:.4g} percent volatile solids holds no more carbon.")


def find_feedstock(name: str, found: Mapping[str, Feedstock], where: str) -> Feedstock:
    """The feedstock called `name`; raises ScenarioError with the closest names."""
    if name in found:
        return found[name]
    raise ScenarioError(where, repr(name), "a known feedstock", _meant(name, found))


def _meant(name: str, found: Mapping[str, Feedstock]) -> str:
    words = {word.rstrip("s") for word in name.lower().split()}
    parts = {known: {word.rstrip("s") for word in known.split()} for known in found}
    near = [known for known, own in parts.items() if words <= own] or [
        known for known, own in parts.items() if words & own - {"manure"}]
    closest = suggestion(name.lower(), found)
    if not near or (closest and not words <= parts[near[0]]):
        return f"{closest} List them with: pilesim materials. Add your own with [feedstock.\"NAME\"].".strip()
    return f"Is one of these meant: {', '.join(near[:4])}? Add your own with [feedstock.\"NAME\"]."


def _read(file: str) -> dict[str, dict[str, object]]:
    with (Path(__file__).parent / file).open("rb") as stream:
        return tomllib.load(stream)


def _figure(spec: Key, raw: object, where: str) -> Figure:
    """One figure of the files that come with the package; a mistake there is a KeyError or ValueError, not bad input."""
    assert isinstance(raw, dict)
    value, low, high = (float(read_value(spec, raw[part], where)) for part in ("value", "low", "high"))  # type: ignore[arg-type]
    if raw["source"] not in SOURCES or raw["confidence"] not in CONFIDENCE:
        raise KeyError(f"{where} names source '{raw['source']}', confidence '{raw['confidence']}'")
    if not low <= value <= high:
        raise ValueError(f"{where} = {value} lies outside {low} to {high}")
    return Figure(value, low, high, str(raw["source"]), str(raw["confidence"]))


def _from_registry(name: str) -> Figure:
    constant = CONSTANTS[name]
    confidence = {"Tuned": "guess", "Guess": "guess", "CommonPractice": "no source"}.get(constant.source, "recalled")
    return Figure(constant.value, constant.low, constant.high, constant.source, confidence)


def _water() -> Feedstock:
    none = Figure(0.0, 0.0, 0.0, "ExactMathematics", "computed")
    whole = Figure(1.0, 1.0, 1.0, "ExactMathematics", "computed")
    figures = dict.fromkeys(FEEDSTOCK, none) | {"moisture": whole, "bulk_density": _from_registry("water_density")}
    return Feedstock(name=WATER, description="from a hose or truck; it fills pores and adds no volume", **figures)
