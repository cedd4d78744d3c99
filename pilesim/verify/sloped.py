"""Heat conduction on the sloped, skewed grid of a pile against manufactured steady fields (exact mathematics)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from pilesim.balances.surface import Boundary
from pilesim.build import Problem
from pilesim.section.grid import BASE, COVER, MIX, SectionGrid, section_grid
from pilesim.verify.check import Check, largest_error, order
from pilesim.verify.conduction import STILL, K
from pilesim.verify.reduced import reduced, run, tight

Field = Callable[[np.ndarray, np.ndarray], np.ndarray]
OUTLINES = {"trapezoid": 1.8, "narrow crest": 0.1}  # crest widths [m]; a narrow crest has corners of 180 degrees
INSIDE = np.array([0.5, 1.0])  # m; the section is convex


def sloped(crest: float, refinement: int) -> SectionGrid:
    """Half section 5.2 m wide and 2 m high with cover and base layer, 20 cm cells at refinement 1."""
    return section_grid(shape="trapezoid", base_width=5.2, height=2.0, crest_width=crest, cover_thickness=0.2,
                        base_thickness=0.2, base_edge="closed", cell=0.2, refinement=refinement, with_ground=False)


def exchanged(problem: Problem, film: float, field: Field, slope: Field, conductivity: float) -> np.ndarray:
    """Heat [W m-1] that a film on every outer edge must bring for `field` to be the solution: h u + k du/dn."""
    mesh, node = problem.mesh, problem.mesh.node_at(problem.grid.x.shape)
    heat = np.zeros(mesh.count + 1)
    for pair in np.concatenate([problem.grid.edges[name] for name in ("surface", "axis", "floor")]):
        ends = node[pair[:, 0], pair[:, 1]]
        place = np.array([mesh.x[ends], mesh.z[ends]])
        dx, dz = place[:, 1] - place[:, 0]
        normal = np.array([dz, -dx])  # its length is the edge's
        normal *= np.sign(normal @ (place.mean(axis=1) - INSIDE))
        heat[ends] += 0.5 * (film * math.hypot(dx, dz) * field(*place) + conductivity * normal @ slope(*place))
    return heat


def steady_error(crest: float, refinement: int, field: Field, slope: Field,
                 film: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Nodal error [K] of the steady temperature that has `field` as its exact solution, and the nodes' volumes."""
    every = (MIX, COVER, BASE)
    problem = reduced(sloped(crest, refinement), dict.fromkeys(("surface", "axis", "floor"), Boundary(heat_film=film)),
                      STILL, heat_capacity=dict.fromkeys(every, 1e3), conductivity=dict.fromkeys(every, K),
                      permeability=dict.fromkeys(every, 1e-20))
    exact = np.append(field(problem.mesh.x[:-1], problem.mesh.z[:-1]), 0.0)
    problem.edges.film_heat[:] = exchanged(problem, film, field, slope, K)
    problem.temperature[:] = exact  # the steady state is one and the same from any start
    state, _ = run(problem, 1e6, tight(1e5, iteration=1e-10))
    return (state.temperature - exact)[:-1], problem.pile_volume[:-1]


def linear_field(outline: str) -> list[Check]:
    """A linear temperature is harmonic and must come out exactly on any grid (patch test of finite elements)."""
    error, _ = steady_error(OUTLINES[outline], 1, lambda x, z: 300.0 + 3.0 * x - 7.0 * z,
                            lambda x, z: np.stack([3.0 + 0 * x, -7.0 + 0 * z]))
    return [largest_error(f"linear temperature on the sloped grid, {outline}: error", "exact",
                          "patch test of finite elements", error, 1e-8, "K")]


def harmonic_field(outline: str) -> list[Check]:
    """T = 300 K + 5 K cosh(1.5 z) sin(1.5 x + 0.5) with films on all sides: rms error on three grids."""
    w, errors = 1.5, []
    for refinement in (1, 2, 4):
        error, volume = steady_error(
            OUTLINES[outline], refinement, lambda x, z: 300.0 + 5.0 * np.cosh(w * z) * np.sin(w * x + 0.5),
            lambda x, z: 5.0 * w * np.stack([np.cosh(w * z) * np.cos(w * x + 0.5), np.sinh(w * z) * np.sin(w * x + 0.5)]))
        errors.append(math.sqrt(np.sum(volume * error**2) / volume.sum()))
    return [order(f"harmonic temperature on the sloped grid, {outline}", "exact", "manufactured solution", errors, 0.2)]


def fields() -> list[Check]:
    """Both fields on both outlines."""
    return [check for outline in OUTLINES for part in (linear_field, harmonic_field) for check in part(outline)]
