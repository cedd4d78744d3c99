"""Round heaps: volumes and areas of the frustum of a cone, conduction in cylinders and on the skewed grid of a heap.

Sources: volume of a frustum and Pappus's theorem (plane geometry); steady conduction in a hollow cylinder (logarithm) and
in a rod with heat sources (parabola), decay of the slowest mode of a cylinder by the first zero of the Bessel function
J0 (scipy.special.jn_zeros): classical solutions of the heat equation, derivable in a few lines.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import spsolve
from scipy.special import jn_zeros

from pilesim.balances.surface import half_edges
from pilesim.section.grid import BASE, COVER, MIX, SectionGrid, box_grid, section_grid
from pilesim.section.operators import PAIRS, Mesh, build_mesh
from pilesim.verify.check import Check, largest_error, order

EXACT = 1e-12
SOLID, PLANE = "solid geometry", "limit of a large radius"
CLASSICAL = "classical solution of the heat equation"


def conduction(mesh: Mesh) -> csr_matrix:
    """Matrix of -div(grad) for unit conductivity, sparse (count, count)."""
    rows, columns, values = [], [], []
    for k, (a, b, _, _) in enumerate(PAIRS):
        one, two, g = mesh.quad_nodes[:, a], mesh.quad_nodes[:, b], mesh.quad_pairs[:, k]
        rows += [one, two, one, two]
        columns += [one, two, two, one]
        values += [g, g, -g, -g]
    shape = (mesh.count, mesh.count)
    return coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=shape).tocsr()


def tube(inner: float, outer: float, cells: int) -> Mesh:
    """Hollow cylinder 1 m high."""
    x = np.linspace(inner, outer, cells + 1)
    return build_mesh(box_grid(x, np.linspace(0.0, 1.0, 4), np.full((3, cells), MIX), axisymmetric=True))


def solve(mesh: Mesh, held: np.ndarray, values: np.ndarray, source: float) -> np.ndarray:
    """Temperatures [K] with `held` nodes (bool) at `values` and `source` [W m-3] elsewhere."""
    matrix, right = conduction(mesh), source * mesh.volume[MIX, :-1]
    right = right - matrix @ np.where(held, values, 0.0)
    free = ~held
    out = np.where(held, values, 0.0)
    out[free] = spsolve(matrix[free][:, free], right[free])
    return out


def heap(refinement: int = 2, **changes: Any) -> SectionGrid:
    """Frustum 5.2 m wide and 2 m high with cover and base layer."""
    values = {"base_width": 5.2, "height": 2.0, "crest_width": 1.6, "cover_thickness": 0.2, "base_thickness": 0.2,
              "base_edge": "closed", "cell": 0.1, **changes}
    return section_grid(shape="round", refinement=refinement, **values)


def _frustum(low: float, high: float, tall: float) -> float:
    return math.pi * tall / 3.0 * (low**2 + low * high + high**2)


def volumes(crest: float) -> list[Check]:
    """Mix, base layer, the whole, and the overall width."""
    bottom, top, h = 2.6, 0.5 * crest, 2.0
    slope = math.atan2(h, bottom - top)
    solid = bottom + 0.2 / math.tan(slope)
    outer_low, outer_high = solid + 0.2 / math.sin(slope), top + 0.2 * math.tan(0.5 * slope)
    grid = heap(crest_width=crest)
    volume = build_mesh(grid).volume.sum(axis=1)
    pairs = ((volume[MIX], _frustum(bottom, top, h)), (volume[BASE], _frustum(solid, bottom, 0.2)),
             (volume[[MIX, COVER, BASE]].sum(), _frustum(outer_low, outer_high, 2.4)), (grid.overall_width, 2 * outer_low))
    return [largest_error(f"round heap, crest {crest:g} m: error of volumes and width", "exact", SOLID,
                          [got / true - 1.0 for got, true in pairs], EXACT)]


def turned_edges() -> list[Check]:
    """Lateral area of a frustum, pi (r1 + r2) times its slant, and its halves."""
    near, far = half_edges(np.array([[0.0, 2.0]]), np.array([2.0]), True)
    low, high = half_edges(np.array([[2.0, 1.0]]), np.array([3.0]), True)
    wrong = [near[0] / math.pi - 1.0, far[0] / (3 * math.pi) - 1.0, (low[0] + high[0]) / (9.0 * math.pi) - 1.0]
    return [largest_error("edges turned about the axis: error of areas", "exact", SOLID, wrong, EXACT)]


def far_from_the_axis() -> list[Check]:
    """At a radius of 1e6 m forms and volumes per 2 pi r are those of the plane."""
    x, z, cells = np.linspace(0, 1, 5), np.linspace(0, 1, 4), np.full((3, 4), MIX)
    plane, turned = build_mesh(box_grid(x, z, cells)), build_mesh(box_grid(x + 1e6, z, cells, axisymmetric=True))
    around = 2 * math.pi * 1e6
    forms = (turned.quad_pairs / around - plane.quad_pairs) / np.abs(plane.quad_pairs).max()
    sizes = (turned.volume / around - plane.volume) / plane.volume.max()
    return [largest_error("round section at a radius of 1e6 m: error of conductances", "exact", PLANE, forms, 3e-6),
            largest_error("round section at a radius of 1e6 m: error of volumes", "exact", PLANE, sizes, 3e-6)]


def hollow_cylinder() -> list[Check]:
    """Temperature ln(r / 0.5) between held faces."""
    errors = []
    for cells in (6, 12, 24):
        mesh = tube(0.5, 2.0, cells)
        r = mesh.x[:-1]
        exact = np.log(r / 0.5)
        held = np.isclose(r, 0.5) | np.isclose(r, 2.0)
        errors.append(np.abs(solve(mesh, held, exact, 0.0) - exact).max())
    name = "hollow cylinder"
    return [order(name, "exact", CLASSICAL, errors, 0.2),
            largest_error(f"{name}: error on 6 cells", "exact", CLASSICAL, errors[:1], 0.01, "K")]


def rods() -> list[Check]:
    """Heat sources and a held shell, T = (R2 - r2) / 4; held floor and top, T = z (1 - z) / 2: exact at the vertices."""
    mesh = tube(0.0, 1.5, 9)
    r = mesh.x[:-1]
    across = solve(mesh, np.isclose(r, 1.5), np.zeros_like(r), 1.0) - (1.5**2 - r**2) / 4.0
    grid = box_grid(np.array([0.0, 0.1, 0.4, 0.5, 1.2]), np.linspace(0.0, 1.0, 6), np.full((5, 4), MIX), axisymmetric=True)
    mesh = build_mesh(grid)
    z = mesh.z[:-1]
    upwards = solve(mesh, np.isclose(z, 0.0) | np.isclose(z, 1.0), np.zeros_like(z), 1.0) - 0.5 * z * (1.0 - z)
    return [largest_error("rod with a heat source, held at its shell: error", "exact", CLASSICAL, across, EXACT, "K"),
            largest_error("rod with a heat source, held at its ends: error", "exact", CLASSICAL, upwards, EXACT, "K")]


def cooling_cylinder() -> list[Check]:
    """Slowest decay rate (2.405 / R) squared."""
    true, errors = (jn_zeros(0, 1)[0] / 1.5) ** 2, []
    for cells in (5, 10, 20):
        mesh = tube(0.0, 1.5, cells)
        free = ~np.isclose(mesh.x[:-1], 1.5)
        matrix = conduction(mesh).toarray()[np.ix_(free, free)]
        errors.append(abs(eigh(matrix, np.diag(mesh.volume[MIX, :-1][free]), eigvals_only=True)[0] - true))
    name, source = "decay rate of a cooling cylinder", "first zero of the Bessel function J0 (scipy)"
    return [order(name, "exact", source, errors, 0.2),
            largest_error(f"{name}: relative error on 5 cells", "exact", source, [errors[0] / true], 0.05)]


def skewed_heap(crest: float) -> list[Check]:
    """z2 - r2 / 2 satisfies the heat equation; held on the outside, rms error on three grids."""
    errors = []
    for refinement in (1, 2, 4):
        grid = heap(refinement, crest_width=crest, with_ground=False)
        mesh = build_mesh(grid)
        r, z = mesh.x[:-1], mesh.z[:-1]
        exact = z**2 - 0.5 * r**2
        node = mesh.node_at(grid.x.shape)
        held = np.zeros(mesh.count, bool)
        for name in ("surface", "floor"):
            held[node[grid.edges[name][..., 0], grid.edges[name][..., 1]].ravel()] = True
        wrong = solve(mesh, held, exact, 0.0) - exact
        weight = mesh.volume[:, :-1].sum(axis=0)
        errors.append(math.sqrt(weight @ wrong**2 / weight.sum()))
    name = f"conduction on the grid of a round heap, crest {crest:g} m"
    return [order(name, "exact", CLASSICAL, errors, 0.3),
            largest_error(f"{name}: rms error of the finest", "exact", CLASSICAL, errors[-1:], 1e-3, "K")]


def closed_forms() -> list[Check]:
    """All of the above."""
    return [*(check for crest in (0.0, 0.1, 1.6) for check in volumes(crest)), *turned_edges(), *far_from_the_axis(),
            *hollow_cylinder(), *rods(), *cooling_cylinder(),
            *(check for crest in (0.0, 1.6) for check in skewed_heap(crest))]
