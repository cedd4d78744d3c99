"""What happens to a pile while it stands: the tables [[event]]."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from pilesim.base.errors import ScenarioError
from pilesim.inputs.records import Turn
from pilesim.inputs.schema import EVENT
from pilesim.inputs.values import read_value

_CLOSEST, _DAY = 3600.0, 86400.0  # [s], the first between turns
MOST_TURNS = 100


def read_turns(tables: object, covered: bool) -> tuple[Turn, ...]:
    """Turns in the order of their times; `covered`: whether the pile is built with a cover.

    Raises
    ------
    ScenarioError
        For a bad value, turns less than an hour apart, more than a hundred, or a cover that is not there.
    """
    found: list[tuple[Turn, str, bool]] = []  # with the name of its table, and whether that speaks of the cover
    for number, table in enumerate(tables if isinstance(tables, list) else [], 1):
        where = f"event {number}"
        raw = table.get("time")
        times = raw if isinstance(raw, list) else [raw]
        if not times:
            raise ScenarioError(f"{where}.time", "an empty list", "a time such as '3 day', or a list of them")
        for time in times:
            values: dict[str, Any] = {key: read_value(spec, time if key == "time" else table.get(key), f"{where}.{key}")
                                      for key, spec in EVENT.items()}
            del values["kind"]
            found.append((Turn(**values), where, "cover" in table))
    found.sort(key=lambda one: one[0].time)
    turns = tuple(turn for turn, _, _ in found)
    if len(turns) > MOST_TURNS:
        raise ScenarioError("event", f"{len(turns)} turns", f"at most {MOST_TURNS}")
    for first, second in pairwise(turns):
        if second.time - first.time < _CLOSEST:
            raise ScenarioError("event", f"turns at {first.time / _DAY:.4g} and {second.time / _DAY:.4g} day",
                                "turns at least an hour apart")
    _check_cover(found, covered)
    return turns


def _check_cover(found: Sequence[tuple[Turn, str, bool]], covered: bool) -> None:
    """Refuse what cannot be done with a cover: it is off once, and only what is moved can be mixed."""
    off: Turn | None = None
    for turn, where, speaks in found:
        if off is not None and speaks:
            raise ScenarioError(f"{where}.cover", f"'{turn.cover}' on day {turn.time / _DAY:.4g}", "no such key there",
                                f"The cover is {off.cover} on day {off.time / _DAY:.4g} and cannot come back or go again; "
                                "give later turns an [[event]] of their own without the key.")
        if turn.cover == "put back":
            continue
        if not covered:
            raise ScenarioError(f"{where}.cover", f"'{turn.cover}'", "no such key without a cover",
                                "Give cover.thickness, or take the key away.")
        if turn.cover == "mixed in" and (turn.mixing != "throughout" or turn.share < 1.0):
            how = f"'mixed in' with mixing '{turn.mixing}' and share {100 * turn.share:.4g} percent"
            raise ScenarioError(f"{where}.cover", how, "'mixed in' with mixing 'throughout' and share 100 percent",
                                "What is not moved cannot take up cover; or have it 'taken away'.")
        off = turn
