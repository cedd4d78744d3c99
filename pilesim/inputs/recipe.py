"""Ingredients of a mix: "4 buckets of coarse yard trimmings" to an amount and a feedstock."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pilesim.base.errors import ScenarioError
from pilesim.base.units import to_si
from pilesim.inputs.library import WATER, Feedstock, find_feedstock, known_feedstocks
from pilesim.inputs.records import Ingredient, MixFromIngredients
from pilesim.inputs.schema import SCHEMA
from pilesim.inputs.values import split_ingredients

_BUCKETS = re.compile(r"\s*(?P<number>[0-9.eE+-]+)\s+buckets?\s*$")
_EXAMPLE = "an amount such as '4 buckets of straw', '3 m3 of straw', '12 yd3 of straw' or '2 t of straw'"
RECIPE_KEYS = ("ingredients", "bucket", "volume_loss")


def read_recipe(values: Mapping[str, Any], tables: Mapping[str, object]) -> MixFromIngredients:
    """The mix of ``[mix]`` with ingredients; what is not typed there is left to be derived.

    Parameters
    ----------
    values : mapping
        Every key of ``[mix]`` in SI, defaults filled in.
    tables : mapping
        The scenario as typed.

    Raises
    ------
    ScenarioError
        For an amount or a name that cannot be, or ingredients that make no mix.
    """
    typed = tables["mix"]
    assert isinstance(typed, dict)
    found = known_feedstocks(tables)
    ingredients = tuple(_ingredient(text, found) for text in split_ingredients(typed["ingredients"], "mix.ingredients"))
    _refuse_impossible(ingredients, typed, values["bucket"])
    given: dict[str, Any] = {key: values[key] if key in typed else None for key in SCHEMA["mix"] if key not in RECIPE_KEYS}
    return MixFromIngredients(ingredients, values["bucket"], values["volume_loss"], **given)


def _ingredient(text: str, found: Mapping[str, Feedstock]) -> Ingredient:
    where = "mix.ingredients"
    amount, of, name = text.partition(" of ")
    if not of or not name.strip():
        raise ScenarioError(where, repr(text), _EXAMPLE, "Write AMOUNT of NAME.")
    feedstock = find_feedstock(name.strip(), found, where)
    measure, value = _amount(amount, where, text)
    if value < 0.0:
        raise ScenarioError(where, repr(text), "an amount of 0 or more")
    return Ingredient(feedstock, value, measure)


def _amount(text: str, where: str, whole: str) -> tuple[str, float]:
    """Measure (mass, volume or buckets) and the amount in kg, m3 or buckets."""
    buckets = _BUCKETS.match(text)
    if buckets:
        return "buckets", to_si(buckets["number"], "1", where)
    reasons = []
    for measure, unit in (("mass", "kg"), ("volume", "m3")):
        try:
            return measure, to_si(text.strip(), unit, where)
        except ScenarioError as why:
            reasons.append(why)
    advice = next((why.advice for why in reasons if "ambiguous" in why.advice or "digits" in why.advice), "")
    raise ScenarioError(where, repr(whole), _EXAMPLE, advice) from None


def _refuse_impossible(ingredients: tuple[Ingredient, ...], typed: Mapping[str, object], bucket: float | None) -> None:
    where = "mix.ingredients"
    names = [item.feedstock.name for item in ingredients]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise ScenarioError(where, repr(twice), "every feedstock once", "Add its amounts up.")
    if not any(item.amount > 0.0 and item.feedstock.name != WATER for item in ingredients):
        raise ScenarioError(where, repr(typed["ingredients"]), "at least one feedstock besides water, in an amount above 0")
    measures = {item.measure for item in ingredients if item.amount > 0.0}
    if bucket is None and "buckets" in measures and len(measures) > 1:
        raise ScenarioError("mix.bucket", "nothing", "the volume of a heaped bucket, such as '2 m3'",
                            "Some ingredients are in buckets, others not.")
