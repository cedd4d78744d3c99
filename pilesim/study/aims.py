"""Targets of a recipe as typed on the command line, and the amounts that reach them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pilesim.base.constants import constant_record
from pilesim.base.errors import ScenarioError
from pilesim.base.units import to_si
from pilesim.inputs.library import find_feedstock, known_feedstocks
from pilesim.inputs.scenario import MixFromIngredients, Scenario
from pilesim.inputs.schema import SCHEMA, suggestion
from pilesim.matter.mix import masses_of
from pilesim.matter.proportions import Proportions, Targets, reach

RANGES = {"moisture": (0.05, 0.95), "carbon_to_nitrogen": (5.0, 300.0), "free_air_space": (0.05, 0.95)}


def recipe_of(scenario: Scenario) -> MixFromIngredients:
    """The ingredients of a scenario; raises ScenarioError if it has none."""
    if not isinstance(scenario.mix, MixFromIngredients):
        raise ScenarioError("mix.ingredients", "nothing",
                            f"amounts of feedstocks, such as {SCHEMA['mix']['ingredients'].example}",
                            "List the feedstocks with: pilesim materials.")
    return scenario.mix


def parse_targets(options: Sequence[str]) -> Targets:
    """``["moisture=58 %", "carbon_to_nitrogen=30"]`` as targets.

    Raises
    ------
    ScenarioError
        For an unknown name, one given twice, or a value that cannot be.
    """
    values: dict[str, float] = {}
    for option in options:
        name, equals, text = (part.strip() for part in option.partition("="))
        if not equals or name not in RANGES:
            raise ScenarioError("--target", repr(option), f"NAME=VALUE with NAME one of {', '.join(RANGES)}",
                                suggestion(name, RANGES))
        if name in values:
            raise ScenarioError("--target", repr(option), "every target once")
        values[name] = to_si(text, "1", f"--target {name}")
        low, high = RANGES[name]
        if not low <= values[name] <= high:
            scale, unit = (1.0, "") if name == "carbon_to_nitrogen" else (100.0, " percent")
            allowed = f"a value from {scale * low:g}{unit} to {scale * high:g}{unit}"
            raise ScenarioError(f"--target {name}", repr(text), allowed)
    return Targets(**values)


def amounts_for(scenario: Scenario, targets: Targets, keep: Sequence[str] = ()) -> Proportions:
    """The amounts of the scenario's ingredients nearest to its own that reach the targets.

    Raises
    ------
    ScenarioError
        If the scenario has no ingredients, or `keep` names one that it lacks.
    """
    mix = recipe_of(scenario)
    own = {item.feedstock.name: item.feedstock for item in mix.ingredients}
    for name in keep:
        find_feedstock(name, own, "--keep")
    masses = masses_of(mix.ingredients, mix.bucket)
    return reach(list(own.values()), np.asarray(masses), targets, mix.volume_loss, keep, known_feedstocks(scenario.tables),
                 constant_record(dict(mix.constants)))
