"""What happens to a pile while it stands: the tables [[event]]."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from pilesim.base.errors import ScenarioError
from pilesim.inputs.records import Turn
from pilesim.inputs.schema import EVENT
from pilesim.inputs.values import read_value

_CLOSEST = 3600.0       # [s] between turns
MOST_TURNS = 100


def read_turns(tables: object) -> tuple[Turn, ...]:
    """Turns in the order of their times.

    Raises
    ------
    ScenarioError
        For a bad value, turns less than an hour apart, or more than a hundred.
    """
    turns: list[Turn] = []
    for number, table in enumerate(tables if isinstance(tables, list) else [], 1):
        where = f"event {number}"
        raw = table.get("time")
        times = raw if isinstance(raw, list) else [raw]
        if not times:
            raise ScenarioError(f"{where}.time", "an empty list", "a time such as '3 day', or a list of them")
        for time in times:
            values: dict[str, Any] = {key: read_value(spec, time if key == "time" else table.get(key), f"{where}.{key}")
                                      for key, spec in EVENT.items()}
            del values["kind"], values["cover"]
            turns.append(Turn(**values))
    turns.sort(key=lambda turn: turn.time)
    if len(turns) > MOST_TURNS:
        raise ScenarioError("event", f"{len(turns)} turns", f"at most {MOST_TURNS}")
    for first, second in pairwise(turns):
        if second.time - first.time < _CLOSEST:
            raise ScenarioError("event", f"turns at {first.time / 86400.0:.4g} and {second.time / 86400.0:.4g} day",
                                "turns at least an hour apart")
    return tuple(turns)
