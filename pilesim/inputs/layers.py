"""Scenario files as nested dicts: reading TOML, following `extends`, merging layers, writing TOML."""

from __future__ import annotations

import copy
import datetime
import json
import os
import tomllib
from numbers import Integral, Real
from pathlib import Path

from pilesim.base.errors import ScenarioError
from pilesim.inputs.rules import inlined_rule
from pilesim.inputs.schema import SCHEMA, SUBTABLES, suggestion
from pilesim.inputs.values import refuse_unknown_names

Tables = dict[str, object]
_LARGEST_FILE = 1_000_000       # bytes; a scenario has a few thousand
_DEEPEST_CHAIN = 20             # files that may extend one another
_MATERIAL_KEEPS = ("material", "thickness", "edge", "valve", "deep_temperature")    # no material properties
_RECIPE_KEEPS = ("ingredients", "bucket", "volume_loss")                            # no properties of a mix


def bundled() -> dict[str, Path]:
    """Names and paths of the scenarios that come with the package (or with the checkout), sorted."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "scenarios_data", package.parent / "scenarios"):
        if folder.is_dir():
            return {path.stem: path for path in sorted(folder.glob("*.toml"))}
    return {}


def find_file(path_or_name: str | os.PathLike[str], beside: Path | None = None,
              where: str = "scenario") -> Path:
    """The file meant: a path if it ends in .toml or has a separator, else the name of a bundled scenario."""
    text = os.fspath(path_or_name)
    looks_like_path = text.lower().endswith(".toml") or "/" in text or os.sep in text
    if looks_like_path or isinstance(path_or_name, os.PathLike):
        return (beside / text) if beside else Path(text)
    names = bundled()
    if text in names:
        return names[text]
    allowed = "a path ending in .toml or one of " + ", ".join(names)
    raise ScenarioError(where, repr(text), allowed, suggestion(text, names))


def read_file(path: Path) -> Tables:
    """One TOML file as nested dicts, names checked, `extends` not followed."""
    where, allowed = str(path), "a scenario file in TOML (UTF-8 text)"
    try:
        if path.is_dir():
            raise ScenarioError(where, "", allowed, "This is a folder.")
        if not path.exists():
            raise ScenarioError(where, "", allowed, "There is no such file.")
        if not path.is_file():
            raise ScenarioError(where, "", allowed, "This is not a regular file.")
        with path.open("rb") as stream:
            content = stream.read(_LARGEST_FILE + 1)
    except (OSError, ValueError) as why:
        if isinstance(why, ScenarioError):
            raise
        reason = getattr(why, "strerror", None) or str(why)
        raise ScenarioError(where, "", allowed, f"It cannot be read: {reason}.") from None
    if len(content) > _LARGEST_FILE:
        raise ScenarioError(where, "", allowed, f"It is larger than {_LARGEST_FILE // 1000} kB.")
    tables = parse(content, where)
    _inline_rule(tables, path.parent)
    _place_weather(tables, path.parent)
    return tables


def _inline_rule(tables: Tables, folder: Path) -> None:
    """Put the rule in place of the file that `limits.rule` may name, so that the scenario is complete in itself."""
    limits = tables.get("limits")
    if isinstance(limits, dict) and "rule" in limits:
        limits["rule"] = _plain(inlined_rule(limits["rule"], folder))


def _place_weather(tables: Tables, folder: Path) -> None:
    """Make the path of a weather file whole, seen from the file that names it, and say its kind."""
    weather = tables.get("weather")
    if isinstance(weather, dict) and isinstance(weather.get("path"), str):
        weather["path"] = str((folder / str(weather["path"])).absolute())
        weather.setdefault("kind", "file")


def parse(content: bytes, where: str) -> Tables:
    """TOML text as nested dicts, names checked; `where` is the file name for messages."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        raise ScenarioError(where, "", "a scenario file in TOML (UTF-8 text)",
                            f"Byte {why.start} is not UTF-8; save the file as UTF-8.") from None
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as why:
        reason = "it is nested too deeply" if isinstance(why, RecursionError) else str(why)
        raise ScenarioError(where, "", "valid TOML", f"The reader says: {reason}.") from None
    refuse_unknown_names(tables)
    _refuse_two_outlines(tables)
    return {name: _plain(value) for name, value in tables.items()}


def read_chain(path: Path) -> Tables:
    """A file with everything it extends merged under it; the result has no `extends`."""
    chain: list[Path] = []
    layers: list[Tables] = []
    next_path: Path | None = path
    while next_path is not None:
        try:
            layer = read_file(next_path)
        except ScenarioError as why:
            if not chain:
                raise
            advice = f"{why.advice} It is what {chain[-1].name} extends.".strip()
            raise ScenarioError(why.where, why.given, why.allowed, advice) from None
        real = next_path.resolve()
        if real in chain or len(chain) >= _DEEPEST_CHAIN:
            advice = f"This one does not: {' -> '.join(p.name for p in [*chain, real])}."
            raise ScenarioError(str(path), "", "a chain of 'extends' that ends", advice)
        chain.append(real)
        parent = layer.pop("extends", None)
        layers.append(_with_feedstocks(layer, next_path))
        next_path = None if parent is None else find_file(str(parent), next_path.parent, "extends")
    merged: Tables = {}
    for layer in reversed(layers):
        merged = merge(merged, layer)
    return merged


def _with_feedstocks(layer: Tables, path: Path) -> Tables:
    """The layer with the tables [feedstock.NAME] of the file it names as `feedstocks` laid under its own."""
    named = layer.pop("feedstocks", None)
    if named is None:
        return layer
    file = path.parent / str(named)
    try:
        library = read_file(file)
    except ScenarioError as why:
        advice = f"{why.advice} It is what 'feedstocks' of {path.name} names.".strip()
        raise ScenarioError(why.where, why.given, why.allowed, advice) from None
    strange = next((name for name in library if name != "feedstock"), None)
    if strange is not None:
        raise ScenarioError(str(file), f"[{strange}]", "tables [feedstock.\"NAME\"] only")
    return merge(library, layer)


def merge(under: Tables, over: Tables) -> Tables:
    """`over` laid on `under`, key by key; the more local of two rivals removes the other.

    Rivals: `side_slope` and `crest_width`; a `material` and the properties it stands for, `ingredients` too; a `shape`
    other than trapezoid and both slope keys; an `outline` and all sizes, and any other shape; another `kind` of weather
    and what the former kind gave.
    """
    out = copy.deepcopy(under)
    for name, value in over.items():
        if not isinstance(value, dict):
            out[name] = value
            continue
        table = out.setdefault(name, {})
        assert isinstance(table, dict)      # names were checked: only tables sit here
        for key in _removed_by(name, value, table):
            table.pop(key, None)
        for key, item in copy.deepcopy(value).items():
            inner = table.get(key)
            table[key] = {**inner, **item} if isinstance(item, dict) and isinstance(inner, dict) else item
    return out


def _removed_by(name: str, local: Tables, under: Tables) -> list[str]:
    if name == "limits":
        return ["rule"] if "rule" in local else []
    if name == "feedstock":
        return []
    if name == "weather":
        kind = SCHEMA[name]["kind"].words[0]
        changed = local.get("kind", under.get("kind", kind)) != under.get("kind", kind)
        return [key for key in under if key != "kind"] if changed else []
    if name == "pile":
        if "outline" in local:
            return ["base_width", "height", "side_slope", "crest_width"]
        shape = local.get("shape")
        other = ["outline"] if "shape" in local and shape != "polygon" else []
        if shape is not None and shape not in ("trapezoid", "round"):
            return [*other, *(key for key in ("side_slope", "crest_width") if key not in local)]
        if "side_slope" in local:
            return [*other, "crest_width"]
        if "crest_width" in local:
            return [*other, "side_slope"]
        return other
    if "ingredients" in local:
        return [key for key in SCHEMA[name] if key not in _RECIPE_KEEPS]
    if "material" in local:
        return [key for key in SCHEMA[name] if key not in _MATERIAL_KEEPS]
    return []


def _refuse_two_outlines(tables: Tables) -> None:
    pile = tables.get("pile")
    if isinstance(pile, dict) and "side_slope" in pile and "crest_width" in pile:
        raise ScenarioError("pile", "both side_slope and crest_width", "one of them",
                            "Together with base_width and height either fixes the other.")


def overrides_as_layer(overrides: dict[str, object]) -> Tables:
    """{"pile.height": "2 m"} as {"pile": {"height": "2 m"}}, names checked."""
    layer: Tables = {}
    for dotted, value in overrides.items():
        parts = str(dotted).split(".")
        if parts[0] == "feedstock" and len(parts) > 3:      # a name with points is refused with its own message
            parts = ["feedstock", ".".join(parts[1:-1]), parts[-1]]
        if parts == ["event"]:      # events are taken away as a whole; they come from a file
            if value not in ("none", []):
                raise ScenarioError("event", repr(value), "'none'", "Write events into a scenario file, as [[event]].")
            layer["event"] = []
            continue
        if parts == ["title"]:
            layer["title"] = value
            continue
        is_inner = len(parts) == 3 and (parts[0] == "feedstock" or parts[1] in SUBTABLES.get(parts[0], {}))
        if not (len(parts) == 2 or is_inner) or not all(parts):
            raise ScenarioError(str(dotted), repr(value), "a dotted key such as pile.base_width")
        table = layer.setdefault(parts[0], {})
        assert isinstance(table, dict)
        if is_inner:
            table = table.setdefault(parts[1], {})
        table[parts[-1]] = _plain(value)
    refuse_unknown_names(layer)
    _refuse_two_outlines(layer)
    _inline_rule(layer, Path())
    _place_weather(layer, Path())
    return layer


def _plain(value: object) -> object:
    """Values as text() can write them: dates as ISO text, numpy numbers as Python's; the rest untouched."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    if isinstance(value, bool) or not isinstance(value, Real):
        return value
    return int(value) if isinstance(value, Integral) else float(value)


def write(tables: Tables) -> str:
    """Nested dicts as TOML text, top keys first; the values must have passed validation."""
    lines = [f"{name} = {literal(value)}" for name, value in tables.items() if not isinstance(value, dict)]
    for name, table in tables.items():
        if isinstance(table, dict):
            plain = {key: value for key, value in table.items() if not isinstance(value, dict)}
            if plain or not table:
                lines += ["", f"[{name}]", *(f"{key} = {literal(value)}" for key, value in plain.items())]
            for inner, keys in table.items():
                if isinstance(keys, dict):
                    label = inner if inner.isidentifier() else literal(inner)
                    lines += ["", f"[{name}.{label}]", *(f"{key} = {literal(value)}" for key, value in keys.items())]
    return "\n".join(lines).lstrip("\n") + "\n"


def literal(value: object) -> str:
    """One value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(literal(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {literal(item)}" for key, item in value.items()) + "}"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
