"""Steady draught, heat and oxygen of a section, solved to the last digit: the error of the grid and nothing else.

Darcy flow of one gas by the kernels of the flow, heat and oxygen by their limited advection stencil and the mesh's
forms, iterated to rest with sparse direct solves; no time, no moisture. All values are invented round numbers:

* mix permeability 1e-8 m2, cover's that over `contrast`; gas viscosity 1.8e-5 Pa s, density by temperature in the
  buoyancy alone; p' = 0 on the surface, floor and axis closed;
* heat: conductivity 0.40 (mix), 0.25 (cover) W m-1 K-1, gas 5000 J kg-1 K-1 (moist air's), film 15 W m-2 K-1 to air of
  268.15 K, release q (1 - (T - air) / 60 K) in the mix, q = 40 W m-3: it stops at 55 degC;
* oxygen: 0.28 kg m-3 in air, diffusivity 5e-6 (mix), 1.7e-6 (cover) m2 s-1, uptake 1e-5 c / (c + 0.02) kg m-3 s-1.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.linalg import spsolve

from pilesim.balances.physics import FULL, run_record
from pilesim.balances.surface import Boundary, gather_edges
from pilesim.section.grid import MIX, SectionGrid
from pilesim.section.operators import PAIRS, Mesh, build_mesh, gather_stencil
from pilesim.solver.flow import advection_stencil, plan_flow, solve_flow, stretch_ratios

AIR, AIR_OXYGEN, FILM, RELEASE, REACH = 268.15, 0.28, 15.0, 40.0, 60.0
DENSITY = 101325.0 * 0.02896 / (8.314 * AIR)  # kg m-3
GAS_HEAT, UPTAKE, HALF = 5000.0, 1e-5, 0.02
MIX_PERMEABILITY, VISCOSITY, GRAVITY = 1e-8, 1.8e-5, 9.81
FROZEN_AFTER = 20  # iterations with the limiter's ratio renewed: then it stays, so that the iteration can come to rest


def conduction(mesh: Mesh, mix: float, cover: float) -> csr_matrix:
    """Matrix of -div(k grad), (count, count)."""
    k = np.where(mesh.quad_material == MIX, mix, cover)
    rows, columns, values = [], [], []
    for number, (a, b, _, _) in enumerate(PAIRS):
        one, two, g = mesh.quad_nodes[:, a], mesh.quad_nodes[:, b], k * mesh.quad_pairs[:, number]
        rows += [one, two, one, two]
        columns += [one, two, two, one]
        values += [g, g, -g, -g]
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return coo_matrix(entries, shape=(mesh.count, mesh.count)).tocsr()


def advection(mesh: Mesh, east: np.ndarray, north: np.ndarray, outflow: np.ndarray, carried: np.ndarray, outside: float,
              spread: np.ndarray, made: np.ndarray) -> csr_matrix:
    """Matrix of div(u .) without what enters from `outside`, limiter ratios from `carried`."""
    n = mesh.count
    stencil, total = np.zeros((n + 1, 8)), np.zeros(n + 1)
    field = np.append(carried, 0.0)
    advection_stencil(mesh.neighbours, mesh.upstream, stretch_ratios(mesh), east, north, outflow, field, field, spread,
                      np.append(made, 0.0), np.full(n + 1, outside), mesh.pile_count, stencil, total)
    columns = np.concatenate([mesh.neighbours[:, :4], mesh.upstream], axis=1).astype(int)
    row, side = np.nonzero(stencil[:n])
    entries = (-stencil[row, side], (row, columns[row, side]))
    return (coo_matrix(entries, shape=(n, n)) + diags(total[:n])).tocsr()


def steady(grid: SectionGrid, contrast: float) -> dict[str, float]:
    """Heat lost [W m-1], mean excess temperature of the mix [K], oxygen used [kg s-1 m-1], air drawn in [m3 s-1 m-1]."""
    mesh = build_mesh(grid)
    n, node = mesh.count, mesh.node_at(grid.x.shape)
    record = run_record(FULL, pressure=101325.0, ambient_density=DENSITY, oxygen_demand=1.0, respiratory_quotient=1.0)
    open_edge = {"surface": Boundary(flow_open=True, temperature=AIR, heat_film=1.0)}
    edges = gather_edges(grid.edges, open_edge, frozenset(), node, mesh.x, mesh.z, record, grid.axisymmetric)
    length, volume = edges.film[:n], mesh.volume[MIX, :n]
    plan = plan_flow(mesh, edges)
    conductance = np.where(mesh.quad_material == MIX, 1.0, 1.0 / contrast) * MIX_PERMEABILITY / VISCOSITY
    east, north, outflow, none = (np.zeros(n + 1) for _ in range(4))
    heat = conduction(mesh, 0.40, 0.25) + diags(FILM * length + RELEASE / REACH * volume)
    rise, shape = np.full(n, 30.0), np.zeros(n)  # above the air
    for count in range(200):
        lift = np.append(GRAVITY * DENSITY * (1.0 - AIR / (AIR + rise)), 0.0)
        solve_flow(plan.quads, mesh.quad_nodes, mesh.quad_pairs, mesh.quad_form, conductance, lift, mesh.z, plan.unknown,
                   plan.pressure, none, edges.is_open, plan.band, plan.factored, plan.right, east, north, outflow)
        shape = rise.copy() if count <= FROZEN_AFTER else shape
        moved = advection(mesh, east, north, outflow, shape, 0.0, np.zeros((n + 1, 8)), np.full(n, np.inf))
        new = spsolve(heat + DENSITY * GAS_HEAT * moved, RELEASE * volume)
        change = np.abs(new - rise).max()
        rise = rise + 0.6 * (new - rise)
        if change < 1e-8:
            break
    assert change < 1e-8, "the draught did not come to rest"
    film = FILM / (DENSITY * 1005.0) * length
    feeding = np.zeros((n + 1, 8))
    diffusivity = np.where(mesh.quad_material == MIX, 5e-6, 1.7e-6)
    gather_stencil(mesh.quad_nodes, mesh.quad_pairs, diffusivity, feeding, np.zeros(n + 1))
    spread = conduction(mesh, 5e-6, 1.7e-6) + diags(film)
    oxygen = np.full(n, 0.5 * AIR_OXYGEN)
    for count in range(100):
        shape = oxygen.copy() if count <= FROZEN_AFTER else shape
        used = UPTAKE * volume * shape / (shape + HALF)
        carry = spread + advection(mesh, east, north, outflow, shape, AIR_OXYGEN, feeding, used)
        lack = carry @ oxygen + UPTAKE * volume * oxygen / (oxygen + HALF)
        lack -= (np.maximum(-outflow[:n], 0.0) + film) * AIR_OXYGEN
        step = spsolve((carry + diags(UPTAKE * volume * HALF / (oxygen + HALF) ** 2)).tocsc(), -lack)
        oxygen = np.maximum(oxygen + step, 1e-12)
        if np.abs(step).max() < 1e-12:
            break
    assert np.abs(step).max() < 1e-12, "oxygen did not come to rest"
    return {"heat": float(RELEASE * volume @ (1.0 - rise / REACH)), "temperature": float(volume @ rise / volume.sum()),
            "oxygen": float(UPTAKE * volume @ (oxygen / (oxygen + HALF))), "air": float(np.maximum(outflow, 0.0).sum())}
