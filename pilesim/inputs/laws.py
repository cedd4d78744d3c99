"""Named choices where the literature conflicts: what each option of [laws] replaces in the registry, its source and why."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pilesim.base.constants import CONSTANTS
from pilesim.base.sources import SOURCES
from pilesim.inputs.records import Laws


@dataclass(frozen=True, slots=True)
class Law:
    """One option: registry values it replaces (SI), the key of its source, and the argument for it."""

    name: str
    constants: Mapping[str, float]
    source: str
    why: str


@cache
def laws() -> dict[str, dict[str, Law]]:
    """The options of each key of ``[laws]``, the default first."""
    with (Path(__file__).parent / "laws.toml").open("rb") as stream:
        tables = tomllib.load(stream)
    found = {key: {name: Law(name, {c: float(v) for c, v in table["constants"].items()}, table["source"], table["why"])
                   for name, table in options.items()} for key, options in tables.items()}
    for key, options in found.items():
        for law in options.values():
            if law.source not in SOURCES or not set(law.constants) <= set(CONSTANTS):
                raise KeyError(f"laws.{key} '{law.name}' names an unknown source or constant")
    return found


def chosen_laws(choice: Laws) -> dict[str, Law]:
    """The option that a scenario chose for each key."""
    return {key: options[getattr(choice, key)] for key, options in laws().items()}


def chosen_constants(choice: Laws) -> dict[str, float]:
    """Registry values [SI] that the options of a scenario replace."""
    return {name: value for law in chosen_laws(choice).values() for name, value in law.constants.items()}
