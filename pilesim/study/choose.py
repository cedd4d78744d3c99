"""The scenario a command was asked for, with the changes given on the command line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from itertools import islice

from pilesim.base.errors import ScenarioError
from pilesim.inputs.scenario import Scenario, load, set_values
from pilesim.study.compare import all_designs

_MOST_TRIED = 1000  # designs, in search of one that makes the scenario consistent


def choose_scenario(
    name: str, changes: Sequence[str] | None, vary: Mapping[str, Sequence[str]] | None = None
) -> Scenario:
    """The scenario with its changes ("KEY=VALUE"). If it is only consistent with values that are varied, with the first
    that fit.

    Raises
    ------
    ScenarioError
        If there is no such scenario, or a change is impossible with every varied value.
    """
    scenario = load(name)
    values: dict[str, str] = {}
    for change in changes or ():
        key, equals, text = change.partition("=")
        if not equals or not key.strip():
            raise ScenarioError("--set", repr(change), "KEY=VALUE such as 'pile.height=1.8 m'")
        values[key.strip()] = text.strip()
    if not values:
        return scenario
    with suppress(ScenarioError):
        return set_values(scenario, values)
    designs = list(islice(all_designs(vary or {}), _MOST_TRIED))
    for design in designs:
        with suppress(ScenarioError):
            return set_values(scenario, values | design)
    return set_values(scenario, values | designs[0])  # for its error
