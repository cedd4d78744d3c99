"""Follow parcels of the mix through turns, so that exposure is judged of the material and not of the places it passes.

Between turns a parcel has the temperature of its place. At a turn a share of the parcels, chosen by chance, change places
among themselves: throughout at random; outside in, the outermost with the innermost, in layers (as `solver/turning.py` moves
the fields). Parcels stand for equal dry matter as built; that a loosened pile holds a little more of it outside is left out.
A cover that is mixed in is no parcel: the mix spreads into where it lay.
Chance is seeded: the same scenario gives the same numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pilesim.assess.shares import ZONES, MixPieces
from pilesim.build import Problem
from pilesim.inputs.records import Turn
from pilesim.solver.turning import LAYERS, depth_of

PARCELS = 4000
SEED = 20260115
_SIDES = ((0, 1), (1, 3), (3, 2), (2, 0))  # corner pairs of the four triangles of a quad, as in `shares`


@dataclass(frozen=True, slots=True)
class Places:
    """Evenly weighted places in the mix: nodes (n, 4) and weights (n, 4) that give a field there, depth (n,) [m] below the
    outside of the mix, zone (n,), and where they are (n, 2) [m]."""

    nodes: np.ndarray
    weights: np.ndarray
    depth: np.ndarray
    zone: np.ndarray
    points: np.ndarray


@dataclass(frozen=True, slots=True)
class MixInPlace:
    """Where the mix lies: problem, pieces, its nodes (m,), and their temperatures (k, m) [K]."""

    problem: Problem
    pieces: MixPieces
    nodes: np.ndarray
    temperatures: np.ndarray


@dataclass(frozen=True, slots=True)
class Parcels:
    """Histories of parcels of equal dry matter.

    Attributes
    ----------
    times : (k,) float
        [s].
    temperatures : (k, n) float
        [K].
    zone : (n,) int
        In which each parcel lies at the end.
    """

    times: np.ndarray
    temperatures: np.ndarray
    zone: np.ndarray

    def share(self, met: np.ndarray) -> float:
        """Share of the material on which `met` (n,) holds."""
        return float(met.mean())

    def share_by_zone(self, met: np.ndarray) -> np.ndarray:
        """The same of what lies in each zone at the end, (5,); NaN for empty zones."""
        count = np.bincount(self.zone, minlength=len(ZONES))
        hits = np.bincount(self.zone, met.astype(float), minlength=len(ZONES))
        return np.divide(hits, count, out=np.full(len(ZONES), np.nan), where=count > 0)


def places_in(problem: Problem, pieces: MixPieces, count: int = PARCELS) -> Places:
    """Places that share the dry matter of the mix evenly: at equal steps along its triangles, by chance inside each."""
    chance = np.random.default_rng(SEED)
    ends = np.cumsum(pieces.weight.ravel())
    at = np.searchsorted(ends, (np.arange(count) + 0.5) / count * ends[-1])
    quad, side = np.divmod(np.minimum(at, ends.size - 1), 4)
    u, v = chance.random((2, count))
    u, v = np.where(u + v > 1.0, 1.0 - u, u), np.where(u + v > 1.0, 1.0 - v, v)
    weights = np.repeat(0.25 * (1.0 - u - v)[:, None], 4, axis=1)
    for number, (a, b) in enumerate(_SIDES):
        own = side == number
        weights[own, a] += u[own]
        weights[own, b] += v[own]
    nodes = pieces.quad_nodes[quad]
    x, z = ((field[nodes] * weights).sum(axis=1) for field in (problem.mesh.x, problem.mesh.z))
    return Places(nodes, weights, depth_of(problem, x, z), pieces.zone[quad, side], np.column_stack([x, z]))


def follow(places: Places, times: np.ndarray, at_places: np.ndarray, turns: Sequence[Turn], seed: int = SEED,
           later: tuple[Places, np.ndarray] | None = None) -> Parcels:
    """Histories of the parcels that start at `places`.

    Parameters
    ----------
    times, at_places : (k,) [s], (k, n) [K]
        Temperatures of the places; each turn that happened lies on one of the times.
    later : (Places, (k, n) array), optional
        The same once a cover is mixed in: as many places, evenly of the mix and what came into it.
    """
    chance = np.random.default_rng(seed)
    lies = np.arange(at_places.shape[1])
    out, begun = np.empty_like(at_places), 0
    for turn in turns:
        if turn.time >= times[-1]:
            break
        end = int(np.searchsorted(times, turn.time * (1.0 - 1e-12))) + 1
        out[begun:end] = at_places[begun:end][:, lies]
        begun, lies = end, _after(turn, lies, places, chance)
        if turn.cover == "mixed in" and later is not None:
            places, at_places = later
    out[begun:] = at_places[begun:][:, lies]
    return Parcels(times, out, places.zone[lies])


def _after(turn: Turn, lies: np.ndarray, places: Places, chance: np.random.Generator) -> np.ndarray:
    """Place of each parcel after a turn."""
    count = lies.size
    moved = chance.permutation(count)[: round(turn.share * count)]
    out = lies.copy()
    if turn.mixing == "throughout":
        out[moved] = lies[chance.permutation(moved)]
        return out
    inward = moved[np.argsort(places.depth[lies[moved]], kind="stable")]
    target = lies[inward][::-1].copy()
    for part in np.array_split(np.arange(target.size), LAYERS):
        target[part] = target[chance.permutation(part)]
    out[inward] = target
    return out


def parcels_of(problem: Problem, pieces: MixPieces, nodes: np.ndarray, times: np.ndarray, temperatures: np.ndarray,
               turns: Sequence[Turn], count: int = PARCELS, later: MixInPlace | None = None) -> Parcels:
    """Parcels of a run from the temperatures (k, m) [K] of the `nodes` (m,) of its mix; `later`: once a cover is in it."""
    found = []
    for at in (MixInPlace(problem, pieces, nodes, temperatures), *([] if later is None else [later])):
        places = places_in(at.problem, at.pieces, count)
        own = np.searchsorted(at.nodes, places.nodes)
        found.append((places, np.asarray(sum(at.temperatures[:, own[:, corner]] * places.weights[:, corner]
                                             for corner in range(4)))))
    return follow(found[0][0], times, found[0][1], turns, later=found[1] if later is not None else None)
