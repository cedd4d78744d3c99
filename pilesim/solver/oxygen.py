"""Kernel of the oxygen balance: nonlinear Gauss-Seidel in flow order with banded Newton corrections."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.oxygen import node_oxygen
from pilesim.base.compiled import compiled, compiled_part, inlined
from pilesim.matter.biology import oxygen_factor
from pilesim.solver.band import factor_general, solve_general
from pilesim.solver.flow import advection_stencil

LEAST_SHARE, MOST_SHARE = 0.3, 3.0  # of a correction that is taken, whatever two of them say
FIRST_REFRESH, REFRESHED = 6, 10  # sweeps: when old factors have not done it by then, they are made anew, and so on
TIRED, WORN = 5, 4  # sweeps that factors took, and solves since they were made, from which the next solve makes new ones
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


@compiled_part
def _pack(order: Any, neighbours: Any, upstream: Any, reach: int, advection: Any, advection_total: Any, terms: Any,
          edges: Any, outflow: Any, rows: Any, places: Any) -> None:
    """Gather the balance of each node into one row, in flow order: sweeps then read memory straight on.

    A row of `rows` is what is given, the coefficient of the node itself, uptake and half saturation, then the weights of
    four neighbours, of the four beyond them, and of the four diagonal ones; `places` are the nodes that these belong to.
    """
    diffusion, diffusion_total, storage, previous = (
        terms.diffusion, terms.diffusion_total, terms.storage, terms.previous)
    uptake, half = terms.uptake, terms.half
    film, film_oxygen, oxygen_in, meets = edges.gas_film, edges.gas_film_oxygen, edges.oxygen_in, edges.meets
    for i in range(order.size):
        n = order[i]
        rows[i, 0] = storage[n] * previous[n]
        rows[i, 1] = advection_total[n] + diffusion_total[n] + storage[n]
        if meets[n]:
            rows[i, 0] += film_oxygen[n] - min(outflow[n], 0.0) * oxygen_in[n]
            rows[i, 1] += film[n]
        rows[i, 2] = uptake[n]
        rows[i, 3] = half[n]
        for d in range(4):
            rows[i, 4 + d] = diffusion[n, d] + advection[n, d]
            rows[i, 8 + d] = advection[n, 4 + d]
            places[i, d] = neighbours[n, d]
            places[i, 4 + d] = upstream[n, d]
        if reach > 4:
            for d in range(4):
                rows[i, 12 + d] = diffusion[n, 4 + d]
                places[i, 8 + d] = neighbours[n, 4 + d]


@inlined
def _near(i: int, rows: Any, places: Any, oxygen: Any) -> float:
    """Oxygen that arrives at the node of row `i` [mol s-1 m-1], but for diagonal neighbours."""
    return (rows[i, 0] + rows[i, 4] * oxygen[places[i, 0]] + rows[i, 5] * oxygen[places[i, 1]]
            + rows[i, 6] * oxygen[places[i, 2]] + rows[i, 7] * oxygen[places[i, 3]]
            + rows[i, 8] * oxygen[places[i, 4]] + rows[i, 9] * oxygen[places[i, 5]]
            + rows[i, 10] * oxygen[places[i, 6]] + rows[i, 11] * oxygen[places[i, 7]])


@inlined
def _diagonal(i: int, rows: Any, places: Any, oxygen: Any) -> float:
    return (rows[i, 12] * oxygen[places[i, 8]] + rows[i, 13] * oxygen[places[i, 9]]
            + rows[i, 14] * oxygen[places[i, 10]] + rows[i, 15] * oxygen[places[i, 11]])


@compiled_part
def _sweep(order: Any, reach: int, rows: Any, places: Any, oxygen: Any, factor: Any) -> Any:
    """One sweep in flow order; `factor` gets the Monod factors.

    Returns
    -------
    tuple
        True when frozen limiter ratios left a node less than nothing; oxygen used [mol s-1 m-1], and by how much that
        changed: the sum over nodes of its size, against the use that `factor` held.
    """
    overdrawn, used, moved = False, 0.0, 0.0
    for i in range(order.size):
        supply = _near(i, rows, places, oxygen)
        if reach > 4:  # not within a helper: a branch there makes numba lock its arrays
            supply += _diagonal(i, rows, places, oxygen)
        overdrawn = overdrawn or supply < 0.0
        n = order[i]
        uptake, half = rows[i, 2], rows[i, 3]
        own = node_oxygen(supply, rows[i, 1], uptake, half)
        now = oxygen_factor(own, half)
        moved += uptake * abs(now - factor[n])
        used += uptake * now
        oxygen[n] = own
        factor[n] = now
    return overdrawn, used, moved


@compiled
def oxygen_budget(pile_count: int, terms: Any, edges: Any, outflow: Any, oxygen: Any, factor: Any) -> Any:
    """Oxygen from outside (net), used, added to storage and entering with gas (gross) [mol s-1 m-1].

    `factor` gets the Monod factor of each node.
    """
    uptake, half, storage, previous = terms.uptake, terms.half, terms.storage, terms.previous
    film, film_oxygen, oxygen_in, meets = edges.gas_film, edges.gas_film_oxygen, edges.oxygen_in, edges.meets
    supplied = 0.0
    used = 0.0
    stored = 0.0
    gross = 0.0
    for n in range(pile_count):
        now = oxygen_factor(oxygen[n], half[n])
        factor[n] = now
        used += uptake[n] * now
        stored += storage[n] * (oxygen[n] - previous[n])
        if meets[n]:
            supplied += film_oxygen[n] - film[n] * oxygen[n]
            supplied -= outflow[n] * (oxygen_in[n] if outflow[n] < 0.0 else oxygen[n])
            gross -= min(outflow[n], 0.0) * oxygen_in[n]
    return supplied, used, stored, gross


@compiled_part
def _fill_band(neighbours: Any, east: Any, north: Any, outflow: Any, terms: Any, edges: Any, oxygen: Any, number: Any,
               band: Any) -> None:
    """Transpose of the first-order upwind Jacobian of the balance, rows by `number`, its diagonal in the middle column.

    Nodes of one number are summed, with half of the diffusion between them and those of another.
    """
    diffusion, diffusion_total, storage = terms.diffusion, terms.diffusion_total, terms.storage
    uptake, half, film = terms.uptake, terms.half, edges.gas_film
    band[:, :] = 0.0
    middle = band.shape[1] // 2
    reduced = 0.5 if band.shape[0] < number.size else 1.0  # rows of two by two nodes lie twice as far apart
    for n in range(number.size):
        row = number[n]
        bottom = max(oxygen[n], 0.0) + half[n]
        band[row, middle] += (max(outflow[n], 0.0) + diffusion_total[n] + film[n] + storage[n]
                              + uptake[n] * half[n] / (bottom * bottom))
        for d in range(8):
            m = neighbours[n, d]
            if m < number.size:
                part = reduced if number[m] != row else 1.0
                band[number[m], middle + row - number[m]] -= part * diffusion[n, d]
                band[row, middle] -= (1.0 - part) * diffusion[n, d]
        for d in (0, 2):
            m = neighbours[n, d]
            if m >= number.size:
                continue
            flux = east[n] if d == 0 else north[n]
            other = number[m]
            if flux > 0.0:
                band[row, middle] += flux
                band[row, middle + other - row] -= flux
            else:
                band[other, middle] -= flux
                band[other, middle + row - other] += flux


@compiled_part
def _correct(order: Any, reach: int, rows: Any, places: Any, number: Any, band: Any, right: Any, share: Any, again: bool,
             oxygen: Any) -> None:
    """Newton correction of `oxygen`: second-order residual, first-order factors.

    Nodes that share a row of the band are moved alike, by what their balances lack together.

    Factors of another moment leave a mode that every correction overshoots, or falls short of, by the same part. So only a
    `share` is taken, learnt from this correction and the last where it is made `again`: the one that would have made the
    last do (Aitken's extrapolation, on the component along their difference).
    """
    now, before = right
    now[:] = 0.0
    for i in range(order.size):
        n = order[i]
        supply = _near(i, rows, places, oxygen)
        if reach > 4:
            supply += _diagonal(i, rows, places, oxygen)
        own = oxygen[n]
        now[number[n]] += supply - rows[i, 1] * own - rows[i, 2] * oxygen_factor(own, rows[i, 3])
    solve_general(band, now)
    if again:
        shift, square = 0.0, 0.0
        for i in range(now.size):
            change = now[i] - before[i]
            shift -= before[i] * change
            square += change * change
        if square > 0.0:
            share[0] = min(max(share[0] * shift / square, LEAST_SHARE), MOST_SHARE)
    weight = share[0]
    for i in range(now.size):
        before[i] = now[i]
    for n in range(number.size):
        oxygen[n] = max(oxygen[n] + weight * now[number[n]], min(0.1 * oxygen[n], oxygen[n]))


@compiled_part
def solve_oxygen(order: Any, neighbours: Any, upstream: Any, stretches: Any, reach: int, east: Any, north: Any,
                 outflow: Any, terms: Any, edges: Any, number: Any, band: Any, right: Any, age: Any, share: Any,
                 reaction_tolerance: float, balance_tolerance: float, most: int, oxygen: Any, factor: Any) -> Any:
    """Solve the oxygen balance in place of `oxygen`.

    Gauss-Seidel in flow order settles the sharp fronts; where eddies or diffusion make it slow, a Newton correction
    with banded factors takes the smooth rest, before the first sweep if there are factors of an earlier solve. On a fine
    grid the smooth rest is one of patches: four nodes share a row: an eighth to solve for, a fourteenth to factor. Stops
    when the reaction changes by less than `reaction_tolerance` of the whole in a sweep and supply minus storage meets
    reaction within `balance_tolerance`. Limiter ratios are frozen on the predicted field, and renewed on the settled one
    if that leaves a node less than nothing: never on a field on its way, which depends on the order of the sweeps.

    Parameters
    ----------
    reach : int
        Neighbours that diffusion reaches: 4 where every cell is a rectangle, else 8.
    number : (pile_count,) int array
        Row of each node in the band (see :class:`pilesim.solver.flow.FlowPlan`).
    band, right : arrays
        Work space, `right` for two corrections; factors are kept from call to call while they serve.
    age : (1,) int array
        Solves since the factors in `band` were made; -1 when there are none that serve.
    share : (1,) array
        Share of a correction taken, kept like the factors [1].
    factor : (count + 1,) array
        Overwritten with the Monod factor of each node [1].

    Returns
    -------
    tuple
        Sweeps used, or -1 when `most` did not do; oxygen from outside, and used [mol s-1 m-1].
    """
    count = oxygen.size - 1
    pile_count = order.size
    advection = np.empty((count + 1, 8))
    total = np.empty(count + 1)
    rows = np.empty((pile_count, 8 + reach))
    places = np.empty((pile_count, 4 + reach), dtype=np.uint32)
    supplied, used, stored, gross = oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
    scale = max(abs(supplied), IDLE_SHARE * gross, 1e-300)
    taken, uptake = np.empty(count + 1), terms.uptake
    for n in range(count + 1):
        taken[n] = uptake[n] * factor[n]
    renewals, corrections = 0, 0
    renew = True
    for iteration in range(most):
        if renew:
            advection_stencil(neighbours, upstream, stretches, east, north, outflow, oxygen, oxygen, terms.diffusion, taken,
                              edges.oxygen_in, pile_count, advection, total)
            _pack(order, neighbours, upstream, reach, advection, total, terms, edges, outflow, rows, places)
        if iteration >= 1 or age[0] >= 0:
            if age[0] < 0 or iteration % REFRESHED == FIRST_REFRESH:
                _fill_band(neighbours, east, north, outflow, terms, edges, oxygen, number, band)
                factor_general(band)
                age[0] = 0
                share[0] = 1.0
            _correct(order, reach, rows, places, number, band, right, share, corrections > 0, oxygen)
            corrections += 1
        overdrawn, used, moved = _sweep(order, reach, rows, places, oxygen, factor)
        renew = False
        if moved > reaction_tolerance * max(used, scale):
            continue
        supplied, used, stored, gross = oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
        scale = max(abs(supplied), IDLE_SHARE * gross, 1e-300)
        whole = max(used, scale)
        if moved <= reaction_tolerance * whole and abs(supplied - used - stored) <= balance_tolerance * whole:
            if not overdrawn or renewals == MOST_RENEWALS:
                tired = iteration + 1 >= TIRED and age[0] >= WORN
                age[0] = -1 if tired or age[0] < 0 else age[0] + 1
                return iteration + 1, supplied, used
            renew = True
            renewals += 1
            corrections = 0
    supplied, used, stored, gross = oxygen_budget(pile_count, terms, edges, outflow, oxygen, factor)
    return -1, supplied, used
