"""Kernel of the oxygen balance: nonlinear Gauss-Seidel in flow order, accelerated by Anderson mixing."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.oxygen import node_oxygen
from pilesim.base.compiled import compiled
from pilesim.matter.biology import oxygen_factor
from pilesim.solver.flow import advection_stencil

DEPTH = 4  # Anderson history


class OxygenTerms(NamedTuple):
    """Coefficients of one oxygen solve, arrays over count + 1 nodes."""

    diffusion: np.ndarray  # (count + 1, 8) mol s-1 m-1
    diffusion_total: np.ndarray
    uptake: np.ndarray  # mol s-1 m-1 at full oxygen
    half: np.ndarray  # half saturation, 1
    storage: np.ndarray  # mol s-1 m-1, gas amount over time step; 0 when not stored
    previous: np.ndarray  # mole fraction at the start of the step


@compiled
def _sweep(order: Any, neighbours: Any, upstream: Any, advection: Any, advection_total: Any, terms: Any, edges: Any,
           outflow: Any, oxygen: Any) -> None:
    for i in range(order.size):
        n = order[i]
        supply = edges.gas_film_oxygen[n] + terms.storage[n] * terms.previous[n]
        if outflow[n] < 0.0:
            supply -= outflow[n] * edges.oxygen_in[n]
        for d in range(8):
            supply += terms.diffusion[n, d] * oxygen[neighbours[n, d]]
        for d in range(4):
            supply += advection[n, d] * oxygen[neighbours[n, d]] + advection[n, 4 + d] * oxygen[upstream[n, d]]
        loss = advection_total[n] + terms.diffusion_total[n] + edges.gas_film[n] + terms.storage[n]
        oxygen[n] = node_oxygen(supply, loss, terms.uptake[n], terms.half[n])


@compiled
def oxygen_budget(pile_count: int, terms: Any, edges: Any, outflow: Any, oxygen: Any, factor: Any) -> Any:
    """Oxygen from outside, used, and added to storage [mol s-1 m-1]; `factor` gets the Monod factor of each node."""
    supplied = 0.0
    used = 0.0
    stored = 0.0
    for n in range(pile_count):
        factor[n] = oxygen_factor(oxygen[n], terms.half[n])
        used += terms.uptake[n] * factor[n]
        stored += terms.storage[n] * (oxygen[n] - terms.previous[n])
        supplied += edges.gas_film_oxygen[n] - edges.gas_film[n] * oxygen[n]
        if edges.is_open[n]:
            supplied -= outflow[n] * (edges.oxygen_in[n] if outflow[n] < 0.0 else oxygen[n])
    return supplied, used, stored


@compiled
def solve_oxygen(order: Any, neighbours: Any, upstream: Any, x: Any, z: Any, east: Any, north: Any, outflow: Any,
                 terms: Any, edges: Any, pile_count: int, reaction_tolerance: float, balance_tolerance: float,
                 most: int, oxygen: Any, factor: Any) -> int:
    """Solve the oxygen balance in place of `oxygen`; returns the sweeps used, or -1 when `most` did not do.

    Stops when the reaction of one sweep changes by less than `reaction_tolerance` of the whole and supply minus
    storage meets reaction within `balance_tolerance`. Limiter ratios are frozen after five sweeps.

    Parameters
    ----------
    factor : (count + 1,) array
        Overwritten with the Monod factor of each node [1].
    """
    count = oxygen.size - 1
    advection = np.zeros((count + 1, 8))
    total = np.zeros(count + 1)
    before = np.empty(pile_count)
    residual = np.empty(pile_count)
    old_residual = np.empty(pile_count)
    old_result = np.empty(pile_count)
    d_residual = np.zeros((DEPTH, pile_count))
    d_result = np.zeros((DEPTH, pile_count))
    kept = 0
    oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
    for iteration in range(most):
        if iteration < 5:
            advection_stencil(neighbours, upstream, x, z, east, north, outflow, oxygen, pile_count, advection, total)
        for n in range(pile_count):
            before[n] = oxygen[n]
        _sweep(order, neighbours, upstream, advection, total, terms, edges, outflow, oxygen)
        moved = 0.0
        for n in range(pile_count):
            residual[n] = oxygen[n] - before[n]
            moved += terms.uptake[n] * abs(oxygen_factor(oxygen[n], terms.half[n]) - factor[n])
        supplied, used, stored = oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
        scale = max(used, abs(supplied), 1e-300)
        if moved <= reaction_tolerance * scale and abs(supplied - used - stored) <= balance_tolerance * scale:
            return iteration + 1
        if iteration >= 5:
            kept = _mix(iteration - 5, kept, pile_count, oxygen, residual, old_residual, old_result, d_residual,
                        d_result)
        for n in range(pile_count):
            old_residual[n] = residual[n]
    return -1


@compiled
def _mix(turn: int, kept: int, pile_count: int, oxygen: Any, residual: Any, old_residual: Any, old_result: Any,
         d_residual: Any, d_result: Any) -> int:
    """Anderson mixing of the fixed-point iteration; `oxygen` holds the sweep's result and is replaced."""
    if turn > 0:
        slot = (turn - 1) % DEPTH
        for n in range(pile_count):
            d_residual[slot, n] = residual[n] - old_residual[n]
            d_result[slot, n] = oxygen[n] - old_result[n]
        kept = min(kept + 1, DEPTH)
    for n in range(pile_count):
        old_result[n] = oxygen[n]
    if kept == 0:
        return kept
    normal = np.zeros((kept, kept))
    right = np.zeros(kept)
    for a in range(kept):
        for n in range(pile_count):
            right[a] += d_residual[a, n] * residual[n]
        for b in range(a + 1):
            s = 0.0
            for n in range(pile_count):
                s += d_residual[a, n] * d_residual[b, n]
            normal[a, b] = s
            normal[b, a] = s
    for a in range(kept):
        normal[a, a] *= 1.0 + 1e-10
        normal[a, a] += 1e-300
    gamma = np.linalg.solve(normal, right)
    for n in range(pile_count):
        value = oxygen[n]
        for a in range(kept):
            value -= gamma[a] * d_result[a, n]
        if 0.0 <= value <= 1.0:
            oxygen[n] = value
    return kept
