"""Reading one name or one value of a scenario file against the schema."""

from __future__ import annotations

import datetime
import re

from pilesim.base.constants import CONSTANTS
from pilesim.base.errors import ScenarioError
from pilesim.base.units import from_si, to_si
from pilesim.inputs.rules import default_rule, read_rule
from pilesim.inputs.schema import (
    EVENT,
    FEEDSTOCK,
    FEEDSTOCK_WORDS,
    LATER,
    LATER_KEYS,
    LATER_TABLES,
    OPEN_WORDS,
    SCHEMA,
    SUBTABLES,
    TOP_KEYS,
    Key,
    suggestion,
)

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")


def refuse_unknown_names(tables: dict[str, object]) -> None:
    """Refuse unknown tables and keys, and those that arrive later; values are not looked at."""
    for name, table in tables.items():
        if name in TOP_KEYS:
            if not isinstance(table, str):
                raise ScenarioError(name, repr(table), "text in quotes")
            continue
        if name in LATER_TABLES:
            raise ScenarioError(name, "", f"one of {', '.join(SCHEMA)}", f"'{name}' {LATER}.")
        if name == "feedstock":
            _refuse_unknown_feedstock_keys(table)
            continue
        if name == "event":
            _refuse_unknown_event_keys(table)
            continue
        if name not in SCHEMA:
            allowed = (*TOP_KEYS, *SCHEMA, "feedstock", "event")
            expected = f"one of {', '.join(allowed)}"
            raise ScenarioError(name, _shown(table), expected, suggestion(name, allowed))
        if not isinstance(table, dict):
            raise ScenarioError(name, _shown(table), f"a table, written as [{name}] with its keys below")
        for key, value in table.items():
            inner = SUBTABLES.get(name, {}).get(key)
            if inner is None:
                _refuse_unknown_key(name, key, value, SCHEMA[name])
            elif isinstance(value, dict):
                for part, item in value.items():
                    _refuse_unknown_key(f"{name}.{key}", part, item, inner)
            else:
                raise ScenarioError(f"{name}.{key}", repr(value),
                                    f"a table, written as [{name}.{key}] with its keys below")


def _refuse_unknown_feedstock_keys(table: object) -> None:
    for name, inner in table.items() if isinstance(table, dict) else [("", table)]:
        where = f"feedstock.{name}" if name else "feedstock"
        if not isinstance(inner, dict):
            raise ScenarioError(where, repr(inner), "a table for each feedstock, written as [feedstock.\"NAME\"]")
        for key, item in inner.items():
            if key in FEEDSTOCK_WORDS and not isinstance(item, str):
                raise ScenarioError(f"{where}.{key}", repr(item), "text in quotes")
            if key not in FEEDSTOCK_WORDS:
                _refuse_unknown_key(where, key, item, FEEDSTOCK)


def _refuse_unknown_event_keys(table: object) -> None:
    if not isinstance(table, list) or not all(isinstance(one, dict) for one in table):
        raise ScenarioError("event", "a list" if isinstance(table, list) else _shown(table),
                            "a table for each event, written as [[event]] with its keys below")
    for number, one in enumerate(table, 1):
        for key, value in one.items():
            _refuse_unknown_key(f"event {number}", key, value, EVENT)


def _refuse_unknown_key(table: str, key: str, value: object, allowed: dict[str, Key]) -> None:
    where = f"{table}.{key}"
    if key in LATER_KEYS.get(table, ()):
        raise ScenarioError(where, _shown(value), f"one of {', '.join(allowed)}", f"'{key}' {LATER}.")
    if key not in allowed:
        raise ScenarioError(where, _shown(value), f"one of {', '.join(allowed)}", suggestion(key, allowed))


def _shown(value: object) -> str:
    return "a table" if isinstance(value, dict) else repr(value)


def read_value(key: Key, raw: object, where: str) -> object:
    """The value of one key in SI, checked against its range; `raw` None gives the default.

    Raises
    ------
    ScenarioError
        Naming `where`, what was given and what is allowed.
    """
    if raw is None:
        return _default(key, where)
    if key.kind == "rule":
        return read_rule(raw, where)
    if isinstance(raw, dict):
        raise ScenarioError(where, "a table", "one value")
    if key.kind == "points":
        return _read_points(raw, where)
    if key.kind == "text":
        if not isinstance(raw, str):
            raise ScenarioError(where, repr(raw), "text in quotes")
        return raw
    if key.kind == "ingredients":
        return split_ingredients(raw, where)
    if isinstance(raw, list):
        advice = "Lists of 12 are for weather.kind = 'monthly'." if where.startswith("weather.") else ""
        raise ScenarioError(where, "a list", "one value", advice)
    if key.kind == "word":
        return _read_word(key, raw, where)
    if key.kind == "flag":
        return _read_flag(raw, where)
    if key.kind == "date":
        return _read_date(raw, where)
    value = to_si(raw, key.unit, where)
    _refuse_outside(key, value, raw, where)
    return value


def read_months(key: Key, raw: object, where: str) -> tuple[float, ...]:
    """Twelve monthly values in SI; one value counts for every month, except for a key that has no default.

    Raises
    ------
    ScenarioError
        Naming `where` and, for one bad value of a list, its month.
    """
    allowed = "a list of 12 values, January to December"
    if isinstance(raw, list):
        if len(raw) != len(MONTHS):
            raise ScenarioError(where, f"a list of {len(raw)}", allowed)
        texts, places = raw, [f"{where} ({month})" for month in MONTHS]
        for text, place in zip(texts, places, strict=True):
            if isinstance(text, list):
                raise ScenarioError(place, "a list", "one value")
    else:
        if key.required and not isinstance(raw, dict):
            raise ScenarioError(where, "nothing" if raw is None else repr(raw), allowed)
        texts, places = [raw] * len(MONTHS), [where] * len(MONTHS)
    values = [read_value(key, text, place) for text, place in zip(texts, places, strict=True)]
    return tuple(value if isinstance(value, float) else 0.0 for value in values)


def _default(key: Key, where: str) -> object:
    if key.required:
        raise ScenarioError(where, "nothing", f"a value ({key.meaning})", "This key has no default; add it.")
    if key.constant:
        return CONSTANTS[key.constant].value
    if key.kind == "word":
        return key.words[0]
    if key.kind == "flag":
        return False
    if key.kind == "rule":
        return default_rule()
    return key.default


def _refuse_outside(key: Key, value: float, raw: object, where: str) -> None:
    shown = from_si(value, key.unit, key.shown)
    slack = 1e-9 * max(abs(key.low), abs(key.high))         # round-off of the unit conversion only
    if key.low - slack <= shown <= key.high + slack:
        return
    unit = f" {key.shown}" if key.shown else ""
    advice = ""
    is_bare = not any(word in str(raw) for word in ("percent", "%"))
    if key.shown == "percent" and is_bare and 1.0 < value <= key.high:
        advice = f"Write '{value:g} percent' or {value / 100:g}."
    raise ScenarioError(where, repr(raw), f"a value from {key.low:g}{unit} to {key.high:g}{unit}", advice)


def _read_word(key: Key, raw: object, where: str) -> str:
    allowed = f"one of {', '.join(key.words)}" if len(key.words) > 1 else f"'{key.words[0]}'"
    if isinstance(raw, str) and raw in key.words:
        return raw
    if isinstance(raw, str) and raw in key.later:
        raise ScenarioError(where, repr(raw), allowed, f"'{raw}' {LATER}.")
    if where.split(".")[-1] in OPEN_WORDS and isinstance(raw, str):
        advice = suggestion(raw, key.words) or "Give the properties one by one instead."
        raise ScenarioError(where, repr(raw), allowed, advice)
    raise ScenarioError(where, repr(raw), allowed, suggestion(raw, key.words) if isinstance(raw, str) else "")


def _read_flag(raw: object, where: str) -> bool:
    if raw is True or raw == "true":
        return True
    if raw is False or raw == "false":
        return False
    raise ScenarioError(where, repr(raw), "true or false")


def _read_date(raw: object, where: str) -> datetime.date:
    allowed = "a date such as '2025-11-30' (year-month-day)"
    if isinstance(raw, datetime.date) and not isinstance(raw, datetime.datetime):
        return raw
    if not isinstance(raw, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", raw):
        raise ScenarioError(where, repr(raw) if isinstance(raw, str) else str(raw), allowed)
    try:
        return datetime.date.fromisoformat(raw)
    except ValueError as why:
        raise ScenarioError(where, repr(raw), allowed, f"{str(why).capitalize()}.") from None


def _read_points(raw: object, where: str) -> tuple[tuple[float, float], ...]:
    """A list of 'x, z' texts as points [m]."""
    allowed = 'a list of points with units, such as ["2.6 m, 0 m", "0 m, 2 m"]'
    if not isinstance(raw, (list, tuple)) or not all(isinstance(point, str) for point in raw):
        raise ScenarioError(where, repr(raw), allowed, "Each point is one text: distance from the axis, height.")
    points = []
    for k, point in enumerate(raw, 1):
        parts = point.split(",")
        if len(parts) != 2:
            raise ScenarioError(where, f"point {k}, {point!r}", "two lengths, such as '2.6 m, 0 m'")
        x, z = (to_si(part.strip(), "m", f"{where}, point {k}") for part in parts)
        points.append((x, z))
    return tuple(points)


def split_ingredients(raw: object, where: str) -> tuple[str, ...]:
    """A list of texts, or one text with semicolons between, as texts; what they say is not looked at."""
    allowed = 'a list such as ["4 buckets of coarse yard trimmings", "1 bucket of dairy manure"]'
    parts = raw.split(";") if isinstance(raw, str) else raw
    if not isinstance(parts, (list, tuple)) or not all(isinstance(part, str) and part.strip() for part in parts):
        raise ScenarioError(where, repr(raw), allowed, "In one text, put semicolons between the ingredients.")
    if not parts:
        raise ScenarioError(where, repr(raw), allowed, "The list is empty.")
    return tuple(part.strip() for part in parts)
