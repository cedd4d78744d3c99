"""The window of cover leakance as numbers: the best one, the acceptable range, and whether the best one moves.

Too tight a cover starves the core, too leaky a one leaves cold edges. Between the designs that were run both shares
are taken as linear in log(leakance); a design without numbers is a gap, and gaps are not bridged.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class LeakanceRange:
    """A stretch of leakance [m] in which both shares are acceptable.

    low_open, high_open : the stretch ends where the designs end, so that it may go on beyond
    """

    low: float
    high: float
    low_open: bool
    high_open: bool


def best_leakance(leakance: np.ndarray, cold: np.ndarray, starved: np.ndarray) -> tuple[float, float, bool]:
    """Leakance that minimises the larger of two risks, both linear in log(leakance) between the designs run.

    Parameters
    ----------
    leakance : (n,) array [m]
        Ascending and finite; NaN where a design failed.
    cold, starved : (n,) arrays
        In any common unit. A design with NaN is a gap and is not bridged.

    Returns
    -------
    leakance, risk : float
        NaN where no design has both risks.
    at_edge : bool
        The best is a design without a neighbour on one side: designs not run may be better.
    """
    place = np.log10(leakance)
    ok = _complete(leakance, cold, starved)
    lone = ~(np.append(False, ok[:-1]) & np.append(ok[1:], False))
    candidates = [(max(cold[k], starved[k]), place[k], bool(lone[k])) for k in np.flatnonzero(ok)]
    for k in np.flatnonzero(ok[:-1] & ok[1:]):
        before, after = cold[k] - starved[k], cold[k + 1] - starved[k + 1]
        if before * after < 0.0:  # the two risks cross between these designs
            share = before / (before - after)
            candidates.append(
                (cold[k] + share * (cold[k + 1] - cold[k]), place[k] + share * (place[k + 1] - place[k]), False)
            )
    if not candidates:
        return np.nan, np.nan, False
    risk, at, at_edge = min(candidates)
    return float(10.0**at), float(risk), at_edge


def risk_span(
    leakance: np.ndarray, cold: np.ndarray, starved: np.ndarray, cold_error: np.ndarray, starved_error: np.ndarray
) -> tuple[float, float]:
    """Smallest larger risk [%] with both errors taken off, and with both added; 0 to 100."""
    senses = (-1.0, 1.0)
    found = [best_leakance(leakance, cold + sense * cold_error, starved + sense * starved_error)[1] for sense in senses]
    low, high = np.clip(found, 0.0, 100.0)
    return float(low), float(high)


def acceptable_ranges(
    leakance: np.ndarray, cold: np.ndarray, starved: np.ndarray, limits: tuple[float, float]
) -> list[LeakanceRange]:
    """Where both risks are at or below their limits, both linear in log(leakance) between the designs run.

    Parameters
    ----------
    leakance, cold, starved : (n,) arrays
        As for :func:`best_leakance`.
    limits : (cold, starved)
        In the unit of the risks.

    Returns
    -------
    list of LeakanceRange
        Ascending; empty where nothing is acceptable.
    """
    place = np.log10(leakance)
    ok = _complete(leakance, cold, starved)
    merged: list[list[float]] = []
    for start, end in _pieces(place, cold - limits[0], starved - limits[1], ok):
        if merged and start <= merged[-1][1]:  # they share the design between them
            merged[-1][1] = max(end, merged[-1][1])
        else:
            merged.append([start, end])
    here = np.flatnonzero(ok)
    tightest = [place[k] for k in here if k == 0 or not ok[k - 1]]  # of each unbroken row of designs
    leakiest = [place[k] for k in here if k == len(ok) - 1 or not ok[k + 1]]
    return [
        LeakanceRange(float(10.0**start), float(10.0**end), start in tightest, end in leakiest) for start, end in merged
    ]


def _complete(leakance: np.ndarray, cold: np.ndarray, starved: np.ndarray) -> np.ndarray:
    return np.isfinite(cold) & np.isfinite(starved) & np.isfinite(np.log10(leakance))


def _pieces(place: np.ndarray, cold: np.ndarray, starved: np.ndarray, ok: np.ndarray) -> Iterator[tuple[float, float]]:
    """Acceptable stretches of log10(leakance), design by design and gap by gap; risks are given above their limits."""
    for k in map(int, np.flatnonzero(ok)):
        if cold[k] <= 0.0 and starved[k] <= 0.0:
            yield float(place[k]), float(place[k])
        if k + 1 == len(ok) or not ok[k + 1]:
            continue
        first, last = 0.0, 1.0
        for before, after in ((cold[k], cold[k + 1]), (starved[k], starved[k + 1])):
            if before > 0.0 and after > 0.0:
                last = -1.0
            elif before > 0.0:
                first = max(first, before / (before - after))
            elif after > 0.0:
                last = min(last, before / (before - after))
        if first <= last:
            yield _between(place, k, first), _between(place, k, last)


def _between(place: np.ndarray, k: int, share: float) -> float:
    """The place `share` of the way from design k to the next; exactly theirs at both ends."""
    return float(place[k + 1] if share == 1.0 else place[k] + share * (place[k + 1] - place[k]))


def span_of_best(
    leakance: np.ndarray, cold: np.ndarray, starved: np.ndarray, cold_error: np.ndarray, starved_error: np.ndarray
) -> tuple[float, float]:
    """Lowest and highest best leakance [m] when both shares [%] are wrong by their errors, in opposite senses.

    An end is 0 or infinite where the best design is the tightest or the leakiest one run, as the best may lie beyond;
    both ends are NaN where there is no best or it stands beside a gap.
    """
    ends = []
    ok = _complete(leakance, cold, starved)
    tightest, leakiest = (np.nanmin(leakance[ok]), np.nanmax(leakance[ok])) if ok.any() else (np.nan, np.nan)
    for sense in (1.0, 0.0, -1.0):
        moved = np.clip(cold + sense * cold_error, 0.0, 100.0), np.clip(starved - sense * starved_error, 0.0, 100.0)
        best, _, at_edge = best_leakance(leakance, *moved)
        if at_edge and not ok.all():
            return np.nan, np.nan
        if at_edge and np.isclose(best, tightest, rtol=1e-9, atol=0.0):
            ends += [0.0, best]
        elif at_edge and np.isclose(best, leakiest, rtol=1e-9, atol=0.0):
            ends += [best, np.inf]
        else:
            ends.append(best)
    return (np.nan, np.nan) if np.isnan(ends).any() else (float(min(ends)), float(max(ends)))


def shown_direction(first: tuple[float, float], last: tuple[float, float]) -> int:
    """1 if the best leakance rises from `first` to `last` beyond its numerical error, -1 if it falls, 0 if neither."""
    if first[1] < last[0]:
        return 1
    return -1 if last[1] < first[0] else 0
