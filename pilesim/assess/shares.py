"""Shares of the mix above or below a level, with fields linear within cells (never node counts).

Each quad of the mix is cut into four triangles around its centre, where a field takes the mean of the corners.
Weights are initial dry matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pilesim.base.compiled import compiled
from pilesim.build import Problem
from pilesim.section.distance import distance_from_line
from pilesim.section.grid import MIX

ZONES = ("toe", "floor", "crest", "flank", "core")
TOE_DEPTH, TOE_HEIGHT, FLOOR_HEIGHT, SKIN_DEPTH = 0.2, 0.4, 0.3, 0.4  # m, definitions of the zones
CREST_ANGLE = np.radians(30.0)  # outward normal within this of vertical: crest
_SIDES = ((0, 1), (1, 3), (3, 2), (2, 0))  # corner pairs of the four triangles


@dataclass(frozen=True, slots=True)
class MixPieces:
    """Triangles of the mix: weights that sum to one, and zones.

    Attributes
    ----------
    quad_nodes : (quads, 4) int
    weight : (quads, 4) float
        Share of the initial dry matter in each triangle.
    zone : (quads, 4) int
        Index into `ZONES`.
    node_weight : (count + 1,) float
        Share of the initial dry matter of each node.
    zone_node_weight : (5, count + 1) float
        The same by zone, each row summing to one; zero rows for empty zones.
    """

    quad_nodes: np.ndarray
    weight: np.ndarray
    zone: np.ndarray
    node_weight: np.ndarray
    zone_node_weight: np.ndarray

    def zone_share(self) -> np.ndarray:
        """Share of the initial dry matter of the mix in each zone, (5,)."""
        return np.bincount(self.zone.ravel(), weights=self.weight.ravel(), minlength=len(ZONES))


def mix_pieces(problem: Problem) -> MixPieces:
    """Cut the mix of a problem into weighted triangles and assign their zones."""
    mesh = problem.mesh
    own = mesh.quad_material == MIX
    nodes = mesh.quad_nodes[own]
    x, z = mesh.x[nodes], mesh.z[nodes]
    cx, cz = x.mean(axis=1), z.mean(axis=1)
    area, tx, tz = (np.empty(nodes.shape) for _ in range(3))
    for k, (a, b) in enumerate(_SIDES):
        area[:, k] = 0.5 * ((x[:, a] - cx) * (z[:, b] - cz) - (x[:, b] - cx) * (z[:, a] - cz))
        tx[:, k], tz[:, k] = (x[:, a] + x[:, b] + cx) / 3, (z[:, a] + z[:, b] + cz) / 3
    dry = (problem.bed.organic + problem.bed.ash)[MIX]
    density = np.divide(dry, mesh.volume[MIX], out=np.zeros_like(dry), where=mesh.volume[MIX] > 0)
    if problem.grid.axisymmetric:
        area = area * 2.0 * np.pi * tx
    mass = np.abs(area) * density[nodes].mean(axis=1)[:, None]
    weight = mass / mass.sum()
    zone = _zones(problem, tx, tz)
    by_zone = np.zeros((len(ZONES), mesh.count + 1))
    for k, (a, b) in enumerate(_SIDES):
        for corner in range(4):  # a corner carries a third of its triangles, and a quarter of each centre's third
            part = weight[:, k] * ((corner in (a, b)) / 3.0 + 1.0 / 12.0)
            np.add.at(by_zone, (zone[:, k], nodes[:, corner]), part)
    total = by_zone.sum(axis=1, keepdims=True)
    scaled = np.divide(by_zone, total, out=np.zeros_like(by_zone), where=total > 0)
    return MixPieces(nodes, weight, zone, by_zone.sum(axis=0), scaled)


def pieces_mixed_in(problem: Problem) -> MixPieces | None:
    """Of the mix once its cover is mixed in, on the same nodes; None where no turn does that."""
    if not any(turn.cover == "mixed in" for turn in problem.turns) or problem.uncovered is None:
        return None
    return mix_pieces(problem.uncovered)


def _zones(problem: Problem, x: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Zone of points (x, z) [m] in the mix by distance from the cover and outward normal."""
    grid = problem.grid
    nearest, upward = distance_from_line(grid.mix_surface, x, z)
    height = z - grid.mix_base
    zone = np.full(x.shape, ZONES.index("core"))
    skin = nearest <= SKIN_DEPTH
    crest = upward >= np.cos(CREST_ANGLE)
    zone[skin & crest] = ZONES.index("crest")
    zone[skin & ~crest] = ZONES.index("flank")
    zone[height < FLOOR_HEIGHT] = ZONES.index("floor")
    zone[(nearest <= TOE_DEPTH) & (height < TOE_HEIGHT) & ~(skin & crest)] = ZONES.index("toe")
    return zone


@compiled
def _part_below(a: float, b: float, c: float, level: float) -> float:
    """Share of a triangle on which the linear field through corner values a, b, c is below `level`."""
    low = min(a, min(b, c))
    high = max(a, max(b, c))
    if level <= low:
        return 0.0
    if level > high:
        return 1.0
    middle = a + b + c - low - high
    if level <= middle:
        return (level - low) ** 2 / ((middle - low) * (high - low))
    return 1.0 - (high - level) ** 2 / ((high - middle) * (high - low))


@compiled
def _add_below(values: Any, level: float, quad_nodes: Any, weight: Any, zone: Any, out: Any) -> None:
    for q in range(quad_nodes.shape[0]):
        bl, br = values[quad_nodes[q, 0]], values[quad_nodes[q, 1]]
        tl, tr = values[quad_nodes[q, 2]], values[quad_nodes[q, 3]]
        centre = 0.25 * (bl + br + tl + tr)
        out[zone[q, 0]] += weight[q, 0] * _part_below(bl, br, centre, level)
        out[zone[q, 1]] += weight[q, 1] * _part_below(br, tr, centre, level)
        out[zone[q, 2]] += weight[q, 2] * _part_below(tr, tl, centre, level)
        out[zone[q, 3]] += weight[q, 3] * _part_below(tl, bl, centre, level)


def share_below(values: np.ndarray, level: float, pieces: MixPieces) -> float:
    """Share of the mix on which the nodal field `values` is below `level`."""
    out = np.zeros(len(ZONES))
    _add_below(values, level, pieces.quad_nodes, pieces.weight, pieces.zone, out)
    return float(out.sum())


def share_above(values: np.ndarray, level: float, pieces: MixPieces) -> float:
    """Share of the mix on which the nodal field `values` is at or above `level`."""
    return max(1.0 - share_below(values, level, pieces), 0.0)


def share_below_by_zone(values: np.ndarray, level: float, pieces: MixPieces) -> np.ndarray:
    """Share of each zone on which `values` is below `level`, (5,); NaN for empty zones."""
    out, total = np.zeros(len(ZONES)), np.zeros(len(ZONES))
    _add_below(values, level, pieces.quad_nodes, pieces.weight, pieces.zone, out)
    np.add.at(total, pieces.zone, pieces.weight)
    return np.divide(out, total, out=np.full(len(ZONES), np.nan), where=total > 0)


def level_exceeded_by(share: float, values: np.ndarray, pieces: MixPieces) -> float:
    """Level that the field `values` exceeds on `share` of the mix, to 1e-6 of the range."""
    own = values[np.unique(pieces.quad_nodes)]
    low, high = float(own.min()), float(own.max())
    for _ in range(40):
        level = 0.5 * (low + high)
        if share_above(values, level, pieces) > share:
            low = level
        else:
            high = level
    return 0.5 * (low + high)
