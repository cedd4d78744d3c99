"""Discrete operators on the section grid: symmetric corner-metric forms, neighbour tables, volumes. No physics.

Unknowns sit at the vertices, materials in the cells. Each quadrilateral carries the quadratic form of its four edge
differences (bottom, top, left, right); fluxes follow from it, so they are conservative and symmetric by
construction, and on rectangles the form is the five-point scheme. A section turned about x = 0 weighs each corner with
2 pi times the radius of its quarter cell's centroid, which is exact for volumes and, on the axis, for areas.

Arrays over nodes have one extra slot at the end
(index ``count``) that stands for "no neighbour" and always holds zero weight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pilesim.base.compiled import compiled
from pilesim.section.grid import GROUND, NONE, SectionGrid

EAST, WEST, NORTH, SOUTH, NORTH_EAST, NORTH_WEST, SOUTH_EAST, SOUTH_WEST = range(8)
SMALL_JACOBIAN = 0.3  # below this share of the mean a corner is replaced by interior points
_CORNERS = ((0, 0), (0, 1), (1, 0), (1, 1))  # (dj, di) of the corners: bottom left, bottom right, top left, top right
_EDGE_ENDS = ((0, 1), (2, 3), (0, 2), (1, 3))  # tail and head corner of bottom, top, left, right
# corner pair -> direction from the first to the second, and back
PAIRS = ((0, 1, EAST, WEST), (0, 2, NORTH, SOUTH), (0, 3, NORTH_EAST, SOUTH_WEST),
         (1, 2, NORTH_WEST, SOUTH_EAST), (1, 3, NORTH, SOUTH), (2, 3, EAST, WEST))
_FORM_INDEX = ((0, 0), (0, 1), (0, 2), (0, 3), (1, 1), (1, 2), (1, 3), (2, 2), (2, 3), (3, 3))


@dataclass(frozen=True, slots=True)
class Mesh:
    """Compressed nodes of a section: those of the pile first, then those of the ground alone.

    Attributes
    ----------
    count, pile_count : int
        Nodes in all, nodes that touch a permeable cell.
    row, column : (count,) int
        Logical position (j, i) of each node.
    x, z : (count + 1,) float
        Coordinates [m].
    quad_nodes : (quads, 4) int
        Corner nodes: bottom left, bottom right, top left, top right.
    quad_material : (quads,) int
    quad_form : (quads, 10) float
        Upper triangle of the 4 x 4 form of edge differences, for unit conductivity.
    quad_pairs : (quads, 6) float
        Conductance between the corner pairs of `PAIRS`, for unit conductivity.
    flow_form, flow_pairs : (quads, 10), (quads, 6) float
        The same for gas, whose permeability may be larger across than upwards; for unit permeability upwards.
    quarter_volume, quarter_x, quarter_z : (quads, 4) float
        Quarter cells that belong to the corners: area [m2], or volume [m3] of a round heap, and centroid [m].
    neighbours : (count + 1, 8) int
    upstream : (count + 1, 4) int
        Second neighbour beyond the east, west, north and south one, within the pile.
    volume : (5, count + 1) float
        Area of each material at each node [m2] (volume per metre of length); volume [m3] in a round heap.
    """

    count: int
    pile_count: int
    row: np.ndarray
    column: np.ndarray
    x: np.ndarray
    z: np.ndarray
    quad_nodes: np.ndarray
    quad_material: np.ndarray
    quad_form: np.ndarray
    quad_pairs: np.ndarray
    flow_form: np.ndarray
    flow_pairs: np.ndarray
    quarter_volume: np.ndarray
    quarter_x: np.ndarray
    quarter_z: np.ndarray
    neighbours: np.ndarray
    upstream: np.ndarray
    volume: np.ndarray

    def node_at(self, shape: tuple[int, int]) -> np.ndarray:
        """Node number at each logical position, -1 where there is none."""
        table = np.full(shape, -1)
        table[self.row, self.column] = np.arange(self.count)
        return table


def build_mesh(grid: SectionGrid, across: Mapping[int, float] | None = None) -> Mesh:
    """Number the nodes of a grid and compute its forms, volumes and neighbour tables.

    `across` holds the permeability across over that upwards [1] of materials where it is not 1.
    """
    cells = np.argwhere(grid.material != NONE)
    material = grid.material[cells[:, 0], cells[:, 1]]
    number, row, column, pile_count = _number_nodes(grid, cells, material)
    count = row.size
    corners = np.array(_CORNERS)
    quad_nodes = number[cells[:, None, 0] + corners[:, 0], cells[:, None, 1] + corners[:, 1]]
    x = np.append(grid.x[row, column], 0.0)
    z = np.append(grid.z[row, column], 0.0)
    quarter_volume, quarter_x, quarter_z = _quarters(x[quad_nodes], z[quad_nodes])
    around = 2.0 * np.pi * quarter_x if grid.axisymmetric else np.ones_like(quarter_x)
    form = _forms(x[quad_nodes], z[quad_nodes], around)
    pairs = form @ _pair_weights()
    flow_form, flow_pairs = form, pairs
    if any(ratio != 1.0 for ratio in (across or {}).values()):
        ratios = np.array([(across or {}).get(number, 1.0) for number in material])
        flow_form = _forms(x[quad_nodes], z[quad_nodes], around, ratios)
        flow_pairs = flow_form @ _pair_weights()
    quarter_volume = quarter_volume * around
    volume = np.zeros((5, count + 1))
    np.add.at(volume, (material[:, None], quad_nodes), quarter_volume)
    neighbours, upstream = _neighbours(quad_nodes, material, count)
    return Mesh(count, pile_count, row, column, x, z, quad_nodes, material.astype(np.int64), form, pairs, flow_form,
                flow_pairs, quarter_volume, quarter_x, quarter_z, neighbours, upstream, volume)


def _number_nodes(grid: SectionGrid, cells: np.ndarray, material: np.ndarray) -> tuple[Any, ...]:
    touch = np.zeros(grid.x.shape, dtype=int)  # 0 none, 1 ground only, 2 pile
    for dj, di in _CORNERS:
        np.maximum.at(touch, (cells[:, 0] + dj, cells[:, 1] + di), np.where(material == GROUND, 1, 2))
    pile = np.argwhere(touch.T == 2)[:, ::-1]  # column by column
    ground = np.argwhere(touch.T == 1)[:, ::-1]
    order = np.concatenate([pile, ground])
    number = np.full(grid.x.shape, -1)
    number[order[:, 0], order[:, 1]] = np.arange(len(order))
    return number, order[:, 0].copy(), order[:, 1].copy(), len(pile)


def _metric(x: np.ndarray, z: np.ndarray, xi: float, eta: float,
            across: np.ndarray | float = 1.0) -> tuple[np.ndarray, ...]:
    """|b|^2, a.b, |a|^2 and J of each quad at logical position (xi, eta), for a conductivity `across` in x and 1 in z.

    From J grad p . k grad p with p_x = (p_xi b_z - p_eta a_z) / J and p_z = (p_eta a_x - p_xi b_x) / J.
    """
    ax = (1 - eta) * (x[:, 1] - x[:, 0]) + eta * (x[:, 3] - x[:, 2])
    az = (1 - eta) * (z[:, 1] - z[:, 0]) + eta * (z[:, 3] - z[:, 2])
    bx = (1 - xi) * (x[:, 2] - x[:, 0]) + xi * (x[:, 3] - x[:, 1])
    bz = (1 - xi) * (z[:, 2] - z[:, 0]) + xi * (z[:, 3] - z[:, 1])
    return bx * bx + across * bz * bz, ax * bx + across * az * bz, ax * ax + across * az * az, ax * bz - az * bx


def _form_at(x: np.ndarray, z: np.ndarray, points: tuple[float, float], around: np.ndarray,
             across: np.ndarray) -> np.ndarray:
    """Sum of the forms at four points of each quad, each weighed with `around` (quads, 4) of its corner."""
    form = np.zeros((len(_FORM_INDEX), len(x)))
    for row, eta in enumerate(points):
        for column, xi in enumerate(points):
            bb, ab, aa, jacobian = _metric(x, z, xi, eta, across)
            va, vb = (1 - eta, eta, 0.0, 0.0), (0.0, 0.0, 1 - xi, xi)
            share = around[:, 2 * row + column] / (4.0 * jacobian)
            for k, (i, j) in enumerate(_FORM_INDEX):
                for weight, part in ((va[i] * va[j], bb), (-va[i] * vb[j] - vb[i] * va[j], ab), (vb[i] * vb[j], aa)):
                    if weight:  # at a corner most are nothing
                        form[k] += weight * share * part
    return form.T


def _forms(x: np.ndarray, z: np.ndarray, around: np.ndarray, across: np.ndarray | None = None) -> np.ndarray:
    across = np.ones(len(x)) if across is None else across
    jacobians = np.stack([_metric(x, z, xi, eta)[3] for eta in (0, 1) for xi in (0, 1)])
    skew = jacobians.min(axis=0) < SMALL_JACOBIAN * jacobians.mean(axis=0)
    form = np.empty((len(x), len(_FORM_INDEX)))
    form[~skew] = _form_at(x[~skew], z[~skew], (0.0, 1.0), around[~skew], across[~skew])
    if skew.any():
        inner = 0.5 / np.sqrt(3.0)
        form[skew] = _form_at(x[skew], z[skew], (0.5 - inner, 0.5 + inner), around[skew], across[skew])
    return form


def _pair_weights() -> np.ndarray:
    """Conductance between each of `PAIRS` by each entry of a form: (10, 6)."""
    difference = np.zeros((4, 4))
    for edge, (tail, head) in enumerate(_EDGE_ENDS):
        difference[edge, tail], difference[edge, head] = -1, 1
    weights = np.empty((len(_FORM_INDEX), len(PAIRS)))
    for k, (row, column) in enumerate(_FORM_INDEX):
        form = np.zeros((4, 4))
        form[row, column] = form[column, row] = 1.0
        stiffness = difference.T @ form @ difference
        weights[k] = [-stiffness[a, b] for a, b, _, _ in PAIRS]
    return weights


def _quarters(x: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Area and centroid of the quarter (corner, edge mid, centre, edge mid) at each corner."""
    centre_x, centre_z = x.mean(axis=1), z.mean(axis=1)
    area, cx, cz = np.empty_like(x), np.empty_like(x), np.empty_like(x)
    ring = {0: (1, 2), 1: (3, 0), 3: (2, 1), 2: (0, 3)}  # next and previous corner, counterclockwise
    for corner, (after, before) in ring.items():
        px = np.stack([x[:, corner], (x[:, corner] + x[:, after]) / 2, centre_x, (x[:, corner] + x[:, before]) / 2])
        pz = np.stack([z[:, corner], (z[:, corner] + z[:, after]) / 2, centre_z, (z[:, corner] + z[:, before]) / 2])
        next_x, next_z = np.roll(px, -1, axis=0), np.roll(pz, -1, axis=0)
        cross = px * next_z - next_x * pz
        area[:, corner] = cross.sum(axis=0) / 2
        cx[:, corner] = ((px + next_x) * cross).sum(axis=0) / (6 * area[:, corner])
        cz[:, corner] = ((pz + next_z) * cross).sum(axis=0) / (6 * area[:, corner])
    return area, cx, cz


def _neighbours(quad_nodes: np.ndarray, material: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    neighbours = np.full((count + 1, 8), count)
    inside = np.full((count + 1, 4), count)  # straight neighbours joined through a permeable cell
    for first, second, there, back in PAIRS:
        a, b = quad_nodes[:, first], quad_nodes[:, second]
        neighbours[a, there], neighbours[b, back] = b, a
        if there < 4:
            pile = material != GROUND
            inside[a[pile], there], inside[b[pile], back] = b[pile], a[pile]
    upstream = np.stack([inside[inside[:, d], d] for d in range(4)], axis=1)
    return neighbours.astype(np.uint32), upstream.astype(np.uint32)  # unsigned: kernels need not test for wrap-around


@compiled
def gather_stencil(quad_nodes: Any, quad_pairs: Any, conductivity: Any, stencil: Any, total: Any) -> None:
    """Eight-neighbour conductances of -div(k grad) from the quads.

    Parameters
    ----------
    conductivity : (quads,) array
        k of each quad.
    stencil : (count + 1, 8) array, total : (count + 1,) array
        Overwritten: conductance to each neighbour, and their sum.
    """
    stencil[:, :] = 0.0
    for q in range(quad_nodes.shape[0]):
        k = conductivity[q]
        a, b, c, d = quad_nodes[q, 0], quad_nodes[q, 1], quad_nodes[q, 2], quad_nodes[q, 3]
        w = k * quad_pairs[q, 0]
        stencil[a, 0] += w
        stencil[b, 1] += w
        w = k * quad_pairs[q, 1]
        stencil[a, 2] += w
        stencil[c, 3] += w
        w = k * quad_pairs[q, 2]
        stencil[a, 4] += w
        stencil[d, 7] += w
        w = k * quad_pairs[q, 3]
        stencil[b, 5] += w
        stencil[c, 6] += w
        w = k * quad_pairs[q, 4]
        stencil[b, 2] += w
        stencil[d, 3] += w
        w = k * quad_pairs[q, 5]
        stencil[c, 0] += w
        stencil[d, 1] += w
    for n in range(total.size):
        s = 0.0
        for k8 in range(8):
            s += stencil[n, k8]
        total[n] = s
