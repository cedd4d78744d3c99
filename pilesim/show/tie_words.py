"""Which designs of a comparison the errors do not tell apart, in sentences for the screen and the picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from pilesim.base.constants import CONSTANTS
from pilesim.base.units import format_number
from pilesim.show.values import value_with_error
from pilesim.study.ties import RANKED, Tie, order_of, stretch, tied_with_best, ties

Row = dict[str, Any]
_MOST_TIES = 3  # named for one measure; the best ranks first
_DAYS = " days"


def tie_sentences(designs: Sequence[Row], name: Callable[[Row], str], most: int = _MOST_TIES) -> list[str]:
    """For each ranked measure: the neighbours in rank that the errors do not tell apart; or that all are.

    Parameters
    ----------
    designs : sequence of dict
        Rows of the table of designs.
    name : callable
        Words for one design.
    most : int
        Pairs to name for one measure; the rest are counted.

    Returns
    -------
    list of str
        Empty where fewer than two designs have a value.
    """
    out = []
    for measure, words in RANKED.items():
        stretches = [stretch(row, measure) for row in designs]
        count = len(order_of(stretches))
        if count < 2:
            continue
        found = ties(stretches)
        if not found:
            out.append(f"Ranked by {words}, all {count} designs are told apart.")
            continue
        unit = _DAYS if measure.startswith("days_") else ""
        texts = [_pair(tie, designs, name, unit) for tie in found[:most]]
        left = len(found) - most
        more = f"; and {left} more pair{'s' if left > 1 else ''} of neighbours in rank" if left > 0 else ""
        out.append(f"In {words} the grid cannot tell apart: {'; '.join(texts)}{more}.")
    return out


def _pair(tie: Tie, designs: Sequence[Row], name: Callable[[Row], str], unit: str) -> str:
    first, second = name(designs[tie.first]), name(designs[tie.second])
    spread = value_with_error(tie.difference, tie.error) if tie.error > 0.0 else "0 (both grids)"
    return f"{first} and {second} differ by {spread}{unit}"


def best_sentence(designs: Sequence[Row], name: Callable[[Row], str], listed: Callable[[list[str]], str]) -> str:
    """Which designs may have the smallest worse share; "" where none has one."""
    stretches = [stretch(row, "worse_share") for row in designs]
    order = order_of(stretches)
    if not order:
        return ""
    tied = set(tied_with_best(stretches))
    names = [name(designs[k]) for k in order if k in tied]
    if len(names) == 1:
        return f"Smallest worse share, beyond the errors: {names[0]}." if len(order) > 1 else ""
    return f"Tied for the smallest worse share within their errors: {listed(names)}."


def plume_sentence(designs: Sequence[Row]) -> str:
    """How many designs have errors that mean nothing; "" if none."""
    count = sum(row["status"] == "ok" and not int(row.get("errors_trusted", 1)) for row in designs)
    if not count:
        return ""
    level = format_number(CONSTANTS["plume_permeability"].value)
    return (f"Not to be trusted (±…?): the errors of {count} of {len(designs)} designs, whose mix of {level} m2 or more "
            "convects in plumes that no grid settles; they are told apart from no other design.")
