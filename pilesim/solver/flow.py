"""Kernels of the gas flow: pressure by banded factors, edge fluxes, flow order, advection stencil."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pilesim.balances.airflow import buoyancy, gas_mobility
from pilesim.balances.surface import EdgeArrays
from pilesim.base.compiled import compiled, compiled_part, inlined
from pilesim.section.grid import GROUND
from pilesim.section.operators import Mesh
from pilesim.solver.band import PAD, factor_symmetric, solve_symmetric

_FIRST, _SECOND = (0, 0, 0, 1, 1, 2), (1, 2, 3, 2, 3, 3)  # corners of the pairs of a quad
NARROW = 40  # reach of an oxygen band up to which each node has a row of its own: there rows of four save no time


@dataclass(frozen=True, slots=True)
class FlowPlan:
    """Numbering of the pressure unknowns and work space.

    Attributes
    ----------
    quads : (k,) int
        Permeable quads.
    unknown : (count + 1,) int
        Number of the pressure unknown of each node, -1 where p' is given or there is none.
    pressure : (count + 1,) float
        p' [Pa]; holds the given values, the unknown ones are overwritten.
    band, factored, right : arrays
        Work space: factors by lower columns, the conductance of quads that they hold for, right-hand side.
    number : (pile_count,) int
        Row of each pile node in the oxygen band; two by two nodes share one where it would be wide.
    oxygen_band, oxygen_right, oxygen_age, oxygen_share : arrays
        Work space of the oxygen solve.
    """

    quads: np.ndarray
    unknown: np.ndarray
    pressure: np.ndarray
    band: np.ndarray
    factored: np.ndarray
    right: np.ndarray
    number: np.ndarray
    oxygen_band: np.ndarray
    oxygen_right: np.ndarray
    oxygen_age: np.ndarray
    oxygen_share: np.ndarray


def plan_flow(mesh: Mesh, edges: EdgeArrays) -> FlowPlan:
    """Number the unknowns of pressure and of the oxygen correction along the shorter logical direction, so that bands are
    narrow; of oxygen two by two nodes together where it would still be wide (`NARROW`)."""
    pile = np.arange(mesh.pile_count)
    row, column = mesh.row[pile], mesh.column[pile]
    by_column = np.unique(row).size <= np.unique(column).size
    along, across = (column, row) if by_column else (row, column)
    order = np.lexsort((across, along))
    fixed = edges.is_fixed[pile].copy()
    if order.size and not fixed.any():
        fixed[order[0]] = True  # a closed box: one value is free
    unknown = np.full(mesh.count + 1, -1)
    free = order[~fixed[order]]
    unknown[free] = np.arange(free.size)
    quads = np.flatnonzero(mesh.quad_material != GROUND)
    numbers = unknown[mesh.quad_nodes[quads]]
    high = numbers.max(axis=1)
    low = np.where(numbers >= 0, numbers, free.size + 1).min(axis=1)
    width = int(np.max(np.where(high >= 0, high - low, 0))) if free.size else 0
    band = np.zeros((free.size, width + 1 + PAD))
    number = np.empty(pile.size, dtype=np.int64)
    number[order] = np.arange(pile.size)
    if _reach(number, mesh.quad_nodes[quads]) > NARROW:
        place = along // 2 * (across.max() + 1) + across // 2
        number = np.unique(place, return_inverse=True)[1].astype(np.int64)
    reach = _reach(number, mesh.quad_nodes[quads])
    rows = int(number.max(initial=-1)) + 1
    return FlowPlan(quads, unknown, edges.pressure.copy(), band, np.full(mesh.quad_material.size, -1.0),
                    np.zeros(free.size), number, np.zeros((rows, 2 * reach + 1 + 2 * PAD), np.float32),
                    np.zeros((2, rows), np.float32), np.full(1, -1), np.ones(1))


def _reach(number: np.ndarray, quad_nodes: np.ndarray) -> int:
    """How many rows of a band the corners of a quad are apart, at most, when node n has the row `number`[n]."""
    rows = number[quad_nodes]
    return int(np.max(rows.max(axis=1) - rows.min(axis=1))) if len(rows) else 0


def stretch_ratios(mesh: Mesh) -> np.ndarray:
    """Distance to the east, west, north and south neighbour over that from there to the next: (count + 1, 4) [1]."""
    ratio = np.ones((mesh.count + 1, 4))
    for side in range(4):
        near, far = mesh.neighbours[:, side], mesh.upstream[:, side]
        there = (near < mesh.pile_count) & (far < mesh.pile_count)
        own, near, far = np.flatnonzero(there), near[there], far[there]
        ratio[own, side] = (np.hypot(mesh.x[own] - mesh.x[near], mesh.z[own] - mesh.z[near])
                            / np.hypot(mesh.x[near] - mesh.x[far], mesh.z[near] - mesh.z[far]))
    return ratio


@compiled_part
def gas_mobilities(temperature: Any, activity: Any, pile_count: int, mobility: Any, c: Any) -> None:
    """Mobility n_d / mu of every pile node, written to `mobility`."""
    for n in range(pile_count):
        mobility[n] = gas_mobility(temperature[n], activity[n], c)


@compiled_part
def gas_lifts(temperature: Any, activity: Any, oxygen: Any, pile_count: int, lift: Any, c: Any) -> None:
    """Buoyancy of every pile node, written to `lift`."""
    for n in range(pile_count):
        lift[n] = buoyancy(temperature[n], activity[n], oxygen[n], c)


@compiled_part
def quad_means(quads: Any, quad_nodes: Any, quad_material: Any, by_material: Any, factor: Any, out: Any) -> None:
    """Mean over the corners of `by_material`[own material, node] x `factor`[node], written to `out` at `quads`."""
    for k in range(quads.size):
        q = quads[k]
        m = quad_material[q]
        s = 0.0
        for corner in range(4):
            n = quad_nodes[q, corner]
            s += by_material[m, n] * factor[n]
        out[q] = 0.25 * s


@compiled_part
def _assemble(quads: Any, quad_nodes: Any, quad_pairs: Any, conductance: Any, unknown: Any, band: Any) -> None:
    band[:, :] = 0.0
    for k in range(quads.size):
        q = quads[k]
        for p in range(6):
            a, b = unknown[quad_nodes[q, _FIRST[p]]], unknown[quad_nodes[q, _SECOND[p]]]
            w = conductance[q] * quad_pairs[q, p]
            if a >= 0:
                band[a, 0] += w
            if b >= 0:
                band[b, 0] += w
            if a >= 0 and b >= 0:
                band[min(a, b), abs(a - b)] -= w


@compiled_part
def _driven(quads: Any, quad_nodes: Any, quad_pairs: Any, conductance: Any, unknown: Any, pressure: Any,
            right: Any) -> None:
    """Add what given pressures push into the free nodes."""
    for k in range(quads.size):
        q = quads[k]
        for p in range(6):
            a, b = quad_nodes[q, _FIRST[p]], quad_nodes[q, _SECOND[p]]
            w = conductance[q] * quad_pairs[q, p]
            if unknown[a] >= 0 and unknown[b] < 0:
                right[unknown[a]] += w * pressure[b]
            elif unknown[b] >= 0 and unknown[a] < 0:
                right[unknown[b]] += w * pressure[a]


@inlined
def _edge_fluxes(form: Any, q: int, bottom: float, top: float, left: float, right: float) -> Any:
    """The symmetric 4 x 4 form of quad `q` times its edge differences: bottom, top, left, right."""
    return (
        form[q, 0] * bottom + form[q, 1] * top + form[q, 2] * left + form[q, 3] * right,
        form[q, 1] * bottom + form[q, 4] * top + form[q, 5] * left + form[q, 6] * right,
        form[q, 2] * bottom + form[q, 5] * top + form[q, 7] * left + form[q, 8] * right,
        form[q, 3] * bottom + form[q, 6] * top + form[q, 8] * left + form[q, 9] * right,
    )


@inlined
def _lifts(a: int, b: int, c: int, d: int, lift: Any, z: Any) -> Any:
    """Buoyancy along the bottom, top, left and right edge of the quad with corners a, b (below) and c, d [Pa]."""
    return (0.5 * (lift[a] + lift[b]) * (z[b] - z[a]), 0.5 * (lift[c] + lift[d]) * (z[d] - z[c]),
            0.5 * (lift[a] + lift[c]) * (z[c] - z[a]), 0.5 * (lift[b] + lift[d]) * (z[d] - z[b]))


@compiled
def solve_flow(quads: Any, quad_nodes: Any, quad_pairs: Any, quad_form: Any, conductance: Any, lift: Any, z: Any,
               unknown: Any, pressure: Any, source: Any, is_open: Any, band: Any, factored: Any, right: Any, east: Any,
               north: Any, outflow: Any) -> None:
    """Pressure, then fluxes of dry gas [mol s-1 m-1].

    Parameters
    ----------
    conductance : (quads,) array
        K n_d / mu of each quad.
    lift : (count + 1,) array
        Buoyancy [N m-3].
    source : (count + 1,) array
        Gas made at each node [mol s-1 m-1].
    factored : (quads,) array
        Conductance whose factors `band` holds; they are kept while it does not change.
    east, north : (count + 1,) arrays
        Overwritten: flux from each node to its east and north neighbour.
    outflow : (count + 1,) array
        Overwritten: gas leaving through the outer edge at open nodes, negative where it enters.
    """
    given = False
    for n in range(unknown.size):
        outflow[n] = source[n]  # holds what each node has to give until the fluxes are known
        given = given or (unknown[n] < 0 and pressure[n] != 0.0)
    for k in range(quads.size):
        q = quads[k]
        a, b, c, d = quad_nodes[q, 0], quad_nodes[q, 1], quad_nodes[q, 2], quad_nodes[q, 3]
        bottom, top, left, rim = _lifts(a, b, c, d, lift, z)
        bottom, top, left, rim = _edge_fluxes(quad_form, q, bottom, top, left, rim)
        w = conductance[q]
        outflow[a] -= w * (bottom + left)
        outflow[b] += w * (bottom - rim)
        outflow[c] += w * (left - top)
        outflow[d] += w * (top + rim)
    if right.size:
        for n in range(unknown.size):
            if unknown[n] >= 0:
                right[unknown[n]] = outflow[n]
        if given:
            _driven(quads, quad_nodes, quad_pairs, conductance, unknown, pressure, right)
        same = True
        for k in range(quads.size):
            same = same and conductance[quads[k]] == factored[quads[k]]
        if not same:
            _assemble(quads, quad_nodes, quad_pairs, conductance, unknown, band)
            factor_symmetric(band)
            for q in range(factored.size):
                factored[q] = conductance[q]
        solve_symmetric(band, right)
    for n in range(unknown.size):
        if unknown[n] >= 0:
            pressure[n] = right[unknown[n]]
        east[n] = 0.0
        north[n] = 0.0
        outflow[n] = source[n]
    for k in range(quads.size):
        q = quads[k]
        a, b, c, d = quad_nodes[q, 0], quad_nodes[q, 1], quad_nodes[q, 2], quad_nodes[q, 3]
        bottom, top, left, rim = _lifts(a, b, c, d, lift, z)
        bottom, top, left, rim = _edge_fluxes(
            quad_form, q, pressure[b] - pressure[a] - bottom, pressure[d] - pressure[c] - top,
            pressure[c] - pressure[a] - left, pressure[d] - pressure[b] - rim)
        w = conductance[q]
        east[a] -= w * bottom
        east[c] -= w * top
        north[a] -= w * left
        north[b] -= w * rim
        outflow[a] += w * (bottom + left)
        outflow[b] += w * (rim - bottom)
        outflow[c] += w * (top - left)
        outflow[d] -= w * (top + rim)
    for n in range(unknown.size):
        if not is_open[n]:
            outflow[n] = 0.0


@compiled_part
def flow_order(neighbours: Any, east: Any, north: Any, pile_count: int, order: Any, degree: Any) -> None:
    """Pile nodes with upstream nodes first (breadth first); closed eddies are cut where they are met.

    Parameters
    ----------
    order : (pile_count,) int array
        Overwritten.
    degree : (count + 1,) int array
        Work space.
    """
    degree[:] = 0
    for n in range(pile_count):
        for d in (0, 2):
            m = neighbours[n, d]
            flux = east[n] if d == 0 else north[n]
            if m < pile_count:
                if flux > 0.0:
                    degree[m] += 1
                elif flux < 0.0:
                    degree[n] += 1
    filled = 0
    for n in range(pile_count):
        if degree[n] == 0:
            order[filled] = n
            degree[n] = -1
            filled += 1
    done = 0
    seed = 0
    while done < pile_count:
        if done == filled:
            while degree[seed] < 0:
                seed += 1
            order[filled] = seed
            degree[seed] = -1
            filled += 1
        n = order[done]
        done += 1
        for d in range(4):
            m = neighbours[n, d]
            if m >= pile_count:
                continue
            if d == 0:
                flux = east[n]
            elif d == 1:
                flux = -east[m]
            elif d == 2:
                flux = north[n]
            else:
                flux = -north[m]
            if flux > 0.0 and degree[m] > 0:
                degree[m] -= 1
                if degree[m] == 0:
                    order[filled] = m
                    degree[m] = -1
                    filled += 1


@inlined
def _van_leer(down: float, up: float, stretch: float) -> float:
    """Ratio k of the face value from the differences ahead and behind, both over the length ahead."""
    if down * up <= 0.0:
        return 0.0
    return stretch * down / (down + up)


@compiled
def advection_stencil(neighbours: Any, upstream: Any, stretches: Any, east: Any, north: Any, outflow: Any,
                      carried: Any, companion: Any, spread: Any, made: Any, outside: Any, pile_count: int,
                      stencil: Any, total: Any) -> None:
    """Second-order limited upwind weights of div(N carried), in upstream-implicit form.

    The face value is c_U + k (c_U - c_UU) with the van Leer ratio k taken from the present field `carried`, or the
    smaller one of a `companion` that rides on the same weights and must not be overdrawn either;
    without a second upstream node it leans from the upstream value towards the mean of both ends where gas enters from
    outside, as far as diffusion `spread` and what is `made` there feed it (or the node would give more than it has), else it
    is the upstream value (along a closed wall or an axis the gradient across it vanishes). Net supply to a node is
    sum(stencil x neighbours and second neighbours) - total x own value + inflow from outside.

    Parameters
    ----------
    stretches : (count + 1, 4) array
        See :func:`stretch_ratios`.
    spread : (count + 1, 8) array
        Diffusive conductance towards the neighbours, in the unit of the fluxes.
    made : (count + 1,) array
        Rate at which each node makes or uses what is carried, in its unit times that of the fluxes.
    outside : (count + 1,) array
        Value of what is carried in entering gas.
    stencil : (count + 1, 8) array
        Overwritten: weights of the east, west, north, south neighbours, then of those beyond.
    total : (count + 1,) array
        Overwritten: weight of the node itself, outflow through the outer edge included.
    """
    stencil[:, :] = 0.0
    for n in range(pile_count):
        total[n] = max(outflow[n], 0.0)
    for n in range(pile_count):
        for axis in (0, 2):
            flux = east[n] if axis == 0 else north[n]
            other = neighbours[n, axis]
            if flux == 0.0 or other >= pile_count:
                continue
            if flux > 0.0:
                u, d, side, ahead = n, other, axis + 1, axis  # u lies to the west or south of d
            else:
                u, d, side, ahead = other, n, axis, axis + 1
                flux = -flux
            beyond = upstream[d, side]
            if beyond >= pile_count:
                share = 0.0
                if outflow[u] < 0.0:
                    step = max(abs(outside[u] - carried[d]), 1e-300)
                    share = min(0.5, (max(spread[d, side], 0.0) + made[u] / step) / flux)
                stencil[d, side] += (1.0 - share) * flux
                total[d] -= share * flux
                total[u] += (1.0 - share) * flux
                stencil[u, ahead] -= share * flux
                continue
            stretch = stretches[d, side]
            k = min(_van_leer(carried[d] - carried[u], stretch * (carried[u] - carried[beyond]), stretch),
                    _van_leer(companion[d] - companion[u], stretch * (companion[u] - companion[beyond]), stretch))
            stencil[d, side] += flux * (1.0 + k)
            stencil[d, 4 + side] -= flux * k
            total[u] += flux * (1.0 + k)
            stencil[u, side] += flux * k
