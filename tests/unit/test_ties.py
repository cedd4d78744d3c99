"""Which designs the errors tell apart: ranks against a brute-force reading of what the errors allow, and the sentences."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as some

from pilesim.show.tie_words import best_sentence, plume_sentence, tie_sentences
from pilesim.study.ties import (
    COLD,
    STARVED,
    WORSE,
    Stretch,
    rank_columns,
    rank_text,
    ranks,
    stretch,
    tied_with_best,
    ties,
    told_apart,
)

NAN = math.nan
QUARTERS = some.integers(0, 40).map(lambda k: k / 4.0)  # exact in binary: no round-off decides what meets
DESIGNS = some.lists(some.tuples(QUARTERS, QUARTERS), min_size=1, max_size=5)


def around(value, error):
    return Stretch(value, value - error, value + error)


def row(name, cold, starved=0.0, error=0.01, trusted=1, status="ok"):
    return {"name": name, "status": status, "errors_trusted": trusted, COLD: cold, f"{COLD}_error": error,
            STARVED: starved, f"{STARVED}_error": error}


@given(DESIGNS)
def test_ranks_are_those_of_every_order_the_errors_allow(designs):
    """Brute force: each design at either end of its stretch, or in the middle, in every combination; its place counted.
    Ranks found are the first and last place of any combination. Planted: one error only; a tie counted as a loss."""
    stretches = [around(*design) for design in designs]
    places = [set() for _ in stretches]
    for values in itertools.product(*((one.low, one.value, one.high) for one in stretches)):
        for k, value in enumerate(values):
            before = sum(other < value for j, other in enumerate(values) if j != k)
            level = sum(other == value for j, other in enumerate(values) if j != k)
            places[k] |= {before + 1, before + level + 1}
    assert ranks(stretches) == [(min(found), max(found)) for found in places]


@given(DESIGNS)
def test_told_apart_means_more_than_the_sum_of_the_errors(designs):
    """Also: ties are never told apart and their error is no less than their difference. Planted: the root of the sum of
    squares; the larger error alone."""
    stretches = [around(*design) for design in designs]
    for (one, (a, ea)), (other, (b, eb)) in itertools.combinations(zip(stretches, designs, strict=True), 2):
        assert told_apart(one, other) == told_apart(other, one) == (abs(a - b) > ea + eb)
    for tie in ties(stretches):
        assert 0.0 <= tie.difference <= tie.error


@given(QUARTERS, QUARTERS, QUARTERS, QUARTERS)
def test_the_worse_share_lies_where_any_reading_of_both_puts_it(cold, cold_error, starved, starved_error):
    """Planted: the error of the larger share alone: a smaller one with a large error may be the worse one."""
    found = stretch({COLD: cold, f"{COLD}_error": cold_error, STARVED: starved, f"{STARVED}_error": starved_error}, WORSE)
    readings = itertools.product((cold - cold_error, cold + cold_error), (starved - starved_error, starved + starved_error))
    ends = [max(reading) for reading in readings]
    assert (found.low, found.value, found.high) == (min(ends), max(cold, starved), max(ends))


def test_unknown_and_distrusted_errors_leave_every_rank_open():
    """A design without a value has no rank; one without an error, or in plumes, may be anywhere. Planted: an unknown error
    taken for none; failed designs ranked."""
    rows = [row("a", 0.1), row("b", 0.5), row("unknown", 0.9, error=NAN), row("plume", 0.9, trusted=0),
            row("none", NAN), row("failed", 0.2, status="failed")]
    found = ranks([stretch(one, COLD) for one in rows])
    assert found == [(1, 3), (2, 4), (1, 4), (1, 4), (0, 0), (0, 0)]
    assert [rank_text(place) for place in ((2, 2), (1, 3), (0, 0))] == ["2", "1-3 tie", "-"]
    columns = rank_columns(rows[:2])
    assert columns[f"{COLD}_rank_best"] == columns[f"{COLD}_rank_worst"] == [1, 2]
    assert columns["days_to_aerobic_rank_best"] == [0, 0], "no values"


def test_shares_that_stand_at_one_end_are_ties():
    """Two designs with all of the mix cold on both grids differ by nought with no error: a tie. Planted: `<=` for `<`."""
    same = around(1.0, 0.0)
    assert not told_apart(same, same) and ranks([same, same]) == [(1, 2), (1, 2)]


def test_neighbours_within_their_errors_are_named():
    """0.012 between two designs of error 0.01 each. Planted: the error of one of them written."""
    near = [row("A", 0.100), row("B", 0.112), row("C", 0.5)]
    cold, starved, worse = tie_sentences(near, lambda one: one["name"])
    assert cold == "In cold edges the grid cannot tell apart: A and B differ by 0.012 ±0.020."
    assert starved.startswith("In the starved share on day 14") and worse.startswith("In the worse of both shares")
    apart = [row("A", 0.1, 0.1), row("B", 0.3, 0.3)]
    assert tie_sentences(apart, lambda one: one["name"])[0] == "Ranked by cold edges, all 2 designs are told apart."
    many = [row(str(k), 0.1 + 0.001 * k) for k in range(6)]
    assert tie_sentences(many, lambda one: one["name"])[0].endswith("; and 2 more pairs of neighbours in rank.")
    assert tie_sentences([row("A", 0.1)], lambda one: one["name"]) == []


def test_designs_that_may_be_the_best_are_named_together():
    """Planted: the smallest value called the best whatever its error."""
    near, far = [row("A", 0.100), row("B", 0.112), row("C", 0.5)], [row("A", 0.1), row("B", 0.3)]
    said = [best_sentence(rows, lambda one: one["name"], " and ".join) for rows in (near, far)]
    assert said[0] == "Tied for the smallest worse share within their errors: A and B."
    assert said[1] == "Smallest worse share, beyond the errors: A."
    assert tied_with_best([around(1.0, 0.5), around(1.8, 0.5), around(3.0, 0.1)]) == [0, 1]


def test_plumes_are_counted_and_nothing_is_said_without_them():
    """Planted: failed designs counted."""
    assert plume_sentence([row("A", 0.1)]) == ""
    text = plume_sentence([row("A", 0.1, trusted=0), row("B", NAN, trusted=0, status="failed"), row("C", 0.2)])
    assert text.startswith("Not to be trusted") and "errors of 1 of 3 designs" in text


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_order_of_designs_changes_nothing(order):
    """Planted: neighbours in the table taken for neighbours in rank."""
    designs = [row("A", 0.100), row("B", 0.112), row("C", 0.130)]
    texts = tie_sentences([designs[k] for k in order], lambda one: one["name"])
    pairs = "A and B differ by 0.012 ±0.020; B and C differ by 0.018 ±0.020"
    assert texts[0] == f"In cold edges the grid cannot tell apart: {pairs}."
