"""Which designs the numerical errors can tell apart, and the ranks that they allow.

A design is known to lie between value - error and value + error, no further. Two designs are told apart only if these
stretches do not meet, so the error of a difference is the sum of the two errors. Runs on like grids share part of their
error; the sum bounds the two-grid error of the difference whatever they share, as |a - b| <= |a| + |b|. A root of the sum
of squares would need errors that are independent, and they are not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

Row = Mapping[str, Any]
COLD, STARVED, WORSE = "cold_edge_fraction", "anaerobic_fraction_day_14", "worse_share"
RANKED = {  # measure, smaller is better: words
    COLD: "cold edges",
    STARVED: "the starved share on day 14",
    WORSE: "the worse of both shares",
    "days_to_aerobic": "days to aerobic",
}


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where a measure of a design lies: `low` <= `value` <= `high`; NaN throughout where it has no value."""

    value: float
    low: float
    high: float

    @property
    def known(self) -> bool:
        """Whether there is a value."""
        return not math.isnan(self.value)


@dataclass(frozen=True, slots=True)
class Tie:
    """Two designs, by index: neighbours in the order of a measure, not told apart; `error` of their difference."""

    first: int
    second: int
    difference: float
    error: float


def stretch(row: Row, measure: str) -> Stretch:
    """Where one measure of a design lies; anywhere if its error is unknown or not to be trusted."""
    if measure == WORSE:
        return _worse(stretch(row, COLD), stretch(row, STARVED))
    value, error = (float(row.get(name, math.nan)) for name in (measure, f"{measure}_error"))
    if row.get("status", "ok") != "ok" or math.isnan(value):
        return Stretch(math.nan, math.nan, math.nan)
    if math.isnan(error) or not int(row.get("errors_trusted", 1)):
        error = math.inf
    return Stretch(value, value - error, value + error)


def _worse(one: Stretch, other: Stretch) -> Stretch:
    """The larger of two; NaN if either is missing."""
    if not (one.known and other.known):
        return Stretch(math.nan, math.nan, math.nan)
    return Stretch(max(one.value, other.value), max(one.low, other.low), max(one.high, other.high))


def told_apart(one: Stretch, other: Stretch) -> bool:
    """Whether the difference of two designs is larger than its error."""
    return one.high < other.low or other.high < one.low


def ranks(stretches: Sequence[Stretch]) -> list[tuple[int, int]]:
    """Best and worst rank of each design that the errors allow, 1 the smallest value; (0, 0) without a value."""
    known = [one for one in stretches if one.known]
    out = []
    for one in stretches:
        if not one.known:
            out.append((0, 0))
            continue
        better = sum(other.high < one.low for other in known)
        worse = sum(other.low > one.high for other in known)
        out.append((1 + better, len(known) - worse))
    return out


def rank_columns(rows: Sequence[Row]) -> dict[str, list[int]]:
    """``<measure>_rank_best`` and ``_rank_worst`` of every ranked measure, a number a design."""
    columns: dict[str, list[int]] = {}
    for measure in RANKED:
        found = ranks([stretch(row, measure) for row in rows])
        columns[f"{measure}_rank_best"] = [best for best, _ in found]
        columns[f"{measure}_rank_worst"] = [worst for _, worst in found]
    return columns


def rank_text(rank: tuple[int, int]) -> str:
    """``2``, ``1-3 tie``, or ``-``."""
    if rank == (0, 0):
        return "-"
    return str(rank[0]) if rank[0] == rank[1] else f"{rank[0]}-{rank[1]} tie"


def order_of(stretches: Sequence[Stretch]) -> list[int]:
    """Designs that have a value, by index, smallest value first."""
    return sorted((k for k, one in enumerate(stretches) if one.known), key=lambda k: stretches[k].value)


def ties(stretches: Sequence[Stretch]) -> list[Tie]:
    """Neighbours in the order of values that are not told apart."""
    order = order_of(stretches)
    out = []
    for first, second in pairwise(order):
        one, other = stretches[first], stretches[second]
        if not told_apart(one, other):
            error = max(one.high - one.value, one.value - one.low) + max(other.high - other.value, other.value - other.low)
            out.append(Tie(first, second, other.value - one.value, error))
    return out


def tied_with_best(stretches: Iterable[Stretch]) -> list[int]:
    """Designs, by index, that may be the best one: their best rank is 1."""
    return [k for k, (best, _) in enumerate(ranks(list(stretches))) if best == 1]
