"""Kernel of the oxygen balance: nonlinear Gauss-Seidel in flow order with banded Newton corrections."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.oxygen import node_oxygen
from pilesim.base.compiled import compiled, inlined
from pilesim.matter.biology import oxygen_factor
from pilesim.solver.flow import advection_stencil

DAMPED_FROM = 15  # sweeps: whole Newton corrections that have not settled by then run in circles
MOST_RENEWALS = 3  # of the limiter in one solve
IDLE_SHARE = 0.01  # a dead pile uses nothing: its balance is measured against this share of what the draught carries


class OxygenTerms(NamedTuple):
    """Coefficients of one oxygen solve, arrays over count + 1 nodes."""

    diffusion: np.ndarray  # (count + 1, 8) mol s-1 m-1
    diffusion_total: np.ndarray
    uptake: np.ndarray  # mol s-1 m-1 at full oxygen
    half: np.ndarray  # half saturation, 1
    storage: np.ndarray  # mol s-1 m-1, gas amount over time step; 0 when not stored
    previous: np.ndarray  # mole fraction at the start of the step


@compiled
def _combine(advection: Any, advection_total: Any, terms: Any, edges: Any, outflow: Any, near: Any, own: Any,
             given: Any) -> None:
    """Join advection and diffusion: weights of the eight neighbours and of the node itself, and what is given."""
    for n in range(own.size):
        for d in range(8):
            near[n, d] = terms.diffusion[n, d]
        for d in range(4):
            near[n, d] += advection[n, d]
        own[n] = advection_total[n] + terms.diffusion_total[n] + edges.gas_film[n] + terms.storage[n]
        given[n] = edges.gas_film_oxygen[n] + terms.storage[n] * terms.previous[n]
        if outflow[n] < 0.0:
            given[n] -= outflow[n] * edges.oxygen_in[n]


@inlined
def _arriving(n: int, neighbours: Any, upstream: Any, near: Any, advection: Any, given: Any, oxygen: Any) -> float:
    """Oxygen arriving at a node [mol s-1 m-1]."""
    supply = given[n]
    for d in range(8):
        supply += near[n, d] * oxygen[neighbours[n, d]]
    for d in range(4):
        supply += advection[n, 4 + d] * oxygen[upstream[n, d]]
    return supply


@compiled
def _sweep(order: Any, neighbours: Any, upstream: Any, near: Any, advection: Any, own: Any, given: Any, uptake: Any,
           half: Any, oxygen: Any) -> bool:
    """One sweep in flow order; True when frozen limiter ratios left a node less than nothing."""
    overdrawn = False
    for i in range(order.size):
        n = order[i]
        supply = _arriving(n, neighbours, upstream, near, advection, given, oxygen)
        overdrawn = overdrawn or supply < 0.0
        oxygen[n] = node_oxygen(supply, own[n], uptake[n], half[n])
    return overdrawn


@compiled
def oxygen_budget(pile_count: int, terms: Any, edges: Any, outflow: Any, oxygen: Any, factor: Any) -> Any:
    """Oxygen from outside (net), used, added to storage, and entering with gas (gross) [mol s-1 m-1].

    `factor` gets the Monod factor of each node.
    """
    supplied = 0.0
    used = 0.0
    stored = 0.0
    gross = 0.0
    for n in range(pile_count):
        factor[n] = oxygen_factor(oxygen[n], terms.half[n])
        used += terms.uptake[n] * factor[n]
        stored += terms.storage[n] * (oxygen[n] - terms.previous[n])
        supplied += edges.gas_film_oxygen[n] - edges.gas_film[n] * oxygen[n]
        if edges.is_open[n]:
            supplied -= outflow[n] * (edges.oxygen_in[n] if outflow[n] < 0.0 else oxygen[n])
            gross -= min(outflow[n], 0.0) * edges.oxygen_in[n]
    return supplied, used, stored, gross


@compiled
def _fill_band(neighbours: Any, east: Any, north: Any, outflow: Any, terms: Any, edges: Any, oxygen: Any, number: Any,
               band: Any) -> None:
    """First-order upwind Jacobian of the balance, rows by `number`, its diagonal in the middle column."""
    band[:, :] = 0.0
    middle = band.shape[1] // 2
    for n in range(number.size):
        row = number[n]
        bottom = max(oxygen[n], 0.0) + terms.half[n]
        band[row, middle] += (max(outflow[n], 0.0) + terms.diffusion_total[n] + edges.gas_film[n] + terms.storage[n]
                              + terms.uptake[n] * terms.half[n] / (bottom * bottom))
        for d in range(8):
            m = neighbours[n, d]
            if m < number.size:
                band[row, middle + number[m] - row] -= terms.diffusion[n, d]
        for d in (0, 2):
            m = neighbours[n, d]
            if m >= number.size:
                continue
            flux = east[n] if d == 0 else north[n]
            other = number[m]
            if flux > 0.0:
                band[row, middle] += flux
                band[other, middle + row - other] -= flux
            else:
                band[other, middle] -= flux
                band[row, middle + other - row] += flux


@compiled
def _factor_band(band: Any) -> None:
    """LU factors of a diagonally dominant band in place, without pivoting."""
    size = band.shape[0]
    middle = band.shape[1] // 2
    for k in range(size):
        pivot = 1.0 / band[k, middle]
        reach = min(middle, size - 1 - k)
        for i in range(1, reach + 1):
            w = band[k + i, middle - i] * pivot
            if w != 0.0:
                band[k + i, middle - i] = w
                target = band[k + i, middle - i + 1 : middle - i + 1 + reach]
                source = band[k, middle + 1 : middle + 1 + reach]
                for j in range(reach):
                    target[j] -= w * source[j]


@compiled
def _substitute_band(band: Any, right: Any) -> None:
    size = band.shape[0]
    middle = band.shape[1] // 2
    for k in range(size):
        s = right[k]
        reach = min(middle, k)
        row = band[k, middle - reach : middle]
        solved = right[k - reach : k]
        for j in range(reach):
            s -= row[j] * solved[j]
        right[k] = s
    for k in range(size - 1, -1, -1):
        s = right[k]
        reach = min(middle, size - 1 - k)
        row = band[k, middle + 1 : middle + 1 + reach]
        solved = right[k + 1 : k + 1 + reach]
        for j in range(reach):
            s -= row[j] * solved[j]
        right[k] = s / band[k, middle]


@compiled
def _correct(neighbours: Any, upstream: Any, near: Any, advection: Any, own: Any, given: Any, uptake: Any, half: Any,
             number: Any, band: Any, right: Any, weight: float, oxygen: Any) -> None:
    """Newton correction of `oxygen` with `weight`: second-order residual, first-order factors."""
    for n in range(number.size):
        supply = _arriving(n, neighbours, upstream, near, advection, given, oxygen)
        right[number[n]] = supply - own[n] * oxygen[n] - uptake[n] * oxygen_factor(oxygen[n], half[n])
    _substitute_band(band, right)
    for n in range(number.size):
        oxygen[n] = max(oxygen[n] + weight * right[number[n]], min(0.1 * oxygen[n], oxygen[n]))


@compiled
def solve_oxygen(order: Any, neighbours: Any, upstream: Any, x: Any, z: Any, east: Any, north: Any, outflow: Any,
                 terms: Any, edges: Any, number: Any, band: Any, right: Any, ready: Any, reaction_tolerance: float,
                 balance_tolerance: float, most: int, oxygen: Any, factor: Any) -> int:
    """Solve the oxygen balance in place of `oxygen`; returns the sweeps used, or -1 when `most` did not do.

    Gauss-Seidel in flow order settles the sharp fronts; where eddies or diffusion make it slow, a Newton correction
    with banded factors takes the smooth rest. Stops when the reaction changes by less than `reaction_tolerance` of
    the whole in a sweep and supply minus storage meets reaction within `balance_tolerance`. Limiter ratios are frozen
    on the predicted field, and renewed on the settled one if that leaves a node less than nothing: never on a field on
    its way, which depends on the order of the sweeps.

    Parameters
    ----------
    number : (pile_count,) int array
        Row of each node in the band.
    band, right : arrays
        Work space; factors are kept from call to call while they serve.
    ready : (1,) bool array
        Whether `band` holds factors.
    factor : (count + 1,) array
        Overwritten with the Monod factor of each node [1].
    """
    count = oxygen.size - 1
    pile_count = order.size
    advection = np.zeros((count + 1, 8))
    total = np.zeros(count + 1)
    near = np.zeros((count + 1, 8))
    own = np.zeros(count + 1)
    given = np.zeros(count + 1)
    oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
    taken = terms.uptake * factor
    renewals = 0
    renew = True
    for iteration in range(most):
        if renew:
            advection_stencil(neighbours, upstream, x, z, east, north, outflow, oxygen, oxygen, terms.diffusion, taken,
                              edges.oxygen_in, pile_count, advection, total)
            _combine(advection, total, terms, edges, outflow, near, own, given)
        if iteration >= 1:
            if not ready[0] or iteration % 6 == 5:
                _fill_band(neighbours, east, north, outflow, terms, edges, oxygen, number, band)
                _factor_band(band)
                ready[0] = True
            _correct(neighbours, upstream, near, advection, own, given, terms.uptake, terms.half, number, band, right,
                     0.5 if iteration > DAMPED_FROM else 1.0, oxygen)
        overdrawn = _sweep(order, neighbours, upstream, near, advection, own, given, terms.uptake, terms.half, oxygen)
        moved = 0.0
        for n in range(pile_count):
            moved += terms.uptake[n] * abs(oxygen_factor(oxygen[n], terms.half[n]) - factor[n])
        supplied, used, stored, gross = oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
        scale = max(used, abs(supplied), IDLE_SHARE * gross, 1e-300)
        renew = False
        if moved <= reaction_tolerance * scale and abs(supplied - used - stored) <= balance_tolerance * scale:
            if not overdrawn or renewals == MOST_RENEWALS:
                return iteration + 1
            renew = True
            renewals += 1
    return -1
