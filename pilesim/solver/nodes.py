"""Kernels of the heat and water balances: flow-ordered Gauss-Seidel sweeps and the conservative rates.

Every node is solved for temperature and water together; neighbours enter with their latest values. A stage is made
linear once (solver/tangent.py); a node that a sweep takes out of the tangent's reach is solved in full. The rates repeat
the same sums without solving, so what one node gives the other receives and budgets close to round-off.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.substrate import heat_of, implicit_oxidation
from pilesim.balances.water import metabolic_water
from pilesim.base.compiled import compiled_part, inlined
from pilesim.matter.bed import water_activity
from pilesim.matter.biology import temperature_factor
from pilesim.matter.moist_air import moist_enthalpy, vapour_ratio
from pilesim.solver.gather import beyond, diagonal, near
from pilesim.solver.liquid import liquid_flow
from pilesim.solver.tangent import DRY_TANGENT, TANGENT, linearise, settle


class Terms(NamedTuple):
    """Coefficients held over one pass of a step; arrays over count + 1 nodes, stencils with 8 columns."""

    conduction: np.ndarray  # W K-1 m-1
    conduction_total: np.ndarray
    vapour: np.ndarray  # mol s-1 m-1, diffusion
    vapour_total: np.ndarray
    advection: np.ndarray  # mol s-1 m-1
    advection_total: np.ndarray
    inflow: np.ndarray  # mol s-1 m-1 entering from outside
    environment: np.ndarray  # (count + 1, 3) s-1, rate of each pool but for temperature
    dry_mass: np.ndarray  # kg m-1, for the water activity
    dry_capacity: np.ndarray  # J K-1 m-1
    ground_water: np.ndarray  # kg m-1
    growth: np.ndarray  # limits of the growth of the activity but for temperature [1]


class Frame(NamedTuple):
    """What stays fixed through a run; arrays over count + 1 nodes."""

    neighbours: np.ndarray  # (count + 1, 8) uint32: unsigned indices need no look at their sign
    upstream: np.ndarray  # (count + 1, 4) uint32
    stretches: np.ndarray  # (count + 1, 4), see :func:`pilesim.solver.flow.stretch_ratios`
    reach: int  # neighbours that conductances reach: 4 where every cell is a rectangle, else 8
    pair_drop: np.ndarray  # (count + 1, 8) unit conductance times height above the neighbour [m]
    floor_length: np.ndarray  # m, floor through which leachate leaves
    volume: np.ndarray  # m2, bulk volume of the pile's materials
    weight: np.ndarray  # of the norms, sums to one


class Stage(NamedTuple):
    """One implicit stage: start values and the latest iterate."""

    temperature: np.ndarray  # K
    water: np.ndarray  # kg m-1
    ratio: np.ndarray  # kg mol-1, vapour per dry gas
    enthalpy: np.ndarray  # J mol-1, of moist gas
    stored_from: np.ndarray  # J m-1
    water_from: np.ndarray
    substrate_from: np.ndarray  # (count + 1, 3) kg m-1
    liquid_water: np.ndarray  # kg s-1 m-1, net liquid arriving
    liquid_heat: np.ndarray  # W m-1


class Rates(NamedTuple):
    """Conservative rates of one stage."""

    stored: np.ndarray  # W m-1
    water: np.ndarray  # kg s-1 m-1
    burnt: np.ndarray  # (count + 1, 3) kg s-1 m-1
    totals: np.ndarray  # see TOTALS


# Slots of Rates.totals, all into the section: heat by film from air and from ground, enthalpy with gas and with
# vapour through the film, heat of respiration; then water: vapour with gas, through the film, made; leachate, its heat;
# rain and meltwater taken up, its heat (in the kernels part of the film: step.py takes them apart).
TOTALS = ("air_film", "ground_film", "gas_enthalpy", "vapour_film_heat", "respiration_heat", "gas_vapour",
          "vapour_film", "metabolic", "leachate", "leachate_heat", "rain", "rain_heat")


@compiled_part
def pore_gas(temperature: Any, water: Any, dry_mass: Any, pile_count: int, ratio: Any, enthalpy: Any, c: Any) -> None:
    """Vapour ratio and enthalpy of the pore gas at `temperature` and `water`, written to `ratio` and `enthalpy`."""
    for n in range(pile_count):
        ratio[n] = 0.0
        if c.moist > 0.0:
            activity = 1.0
            if dry_mass[n] > 0.0:
                activity, _ = water_activity(water[n] / dry_mass[n], c)
            ratio[n], _, _ = vapour_ratio(temperature[n], activity, c)
        enthalpy[n] = moist_enthalpy(temperature[n], ratio[n], c)


@inlined
def _ground_temperature(heat: float, loss: float, water: float, capacity: float, rate: float, c: Any) -> float:
    """Solve rate E(T) + loss T = heat for a node of ground; E is piecewise linear, so each piece is exact."""
    zero, span = c.celsius_zero, c.freezing_range
    at_zero = loss * zero
    if heat >= at_zero:
        return zero + (heat - at_zero) / (capacity * rate + loss)
    freezing = capacity + c.latent_heat_of_fusion * water / span
    if heat >= at_zero - (freezing * rate + loss) * span:
        return zero + (heat - at_zero) / (freezing * rate + loss)
    rest = heat - at_zero + (freezing * rate + loss) * span
    return zero - span + rest / (capacity * rate + loss)


@compiled_part
def _sweep_pile(order: Any, first: int, neighbours: Any, upstream: Any, weight: Any, reach: int, conduction: Any,
                vapour: Any, advection: Any, temperature: Any, water: Any, ratio: Any, enthalpy: Any, tangent: Any,
                diffusion_enthalpy: float, moist: bool) -> Any:
    """Move the nodes of `order` from place `first` on along their tangents, until one leaves the reach of its own.

    Returns
    -------
    tuple
        Place of that node, or the number of nodes; heat and water arriving at it; weighted sum of squared changes of
        temperature [K2]; the largest change [K].
    """
    change = 0.0
    worst = 0.0
    for i in range(first, order.size):
        n = order[i]
        heat = (near(n, conduction, temperature, neighbours) + near(n, advection, enthalpy, neighbours)
                + beyond(n, advection, enthalpy, upstream))
        arriving = 0.0
        if reach > 4:
            heat += diagonal(n, conduction, temperature, neighbours)
        if moist:
            arriving = near(n, vapour, ratio, neighbours) + diagonal(n, vapour, ratio, neighbours)
            heat += diffusion_enthalpy * arriving
            arriving += near(n, advection, ratio, neighbours) + beyond(n, advection, ratio, upstream)
        t = tangent[n, 0] + tangent[n, 1] * heat + tangent[n, 2] * arriving
        if not tangent[n, 6] < t < tangent[n, 7]:
            return i, heat, arriving, change, worst
        if moist:
            w = tangent[n, 8] + tangent[n, 9] * heat + tangent[n, 10] * arriving
            y = tangent[n, 11] + tangent[n, 12] * heat + tangent[n, 13] * arriving
            if w < tangent[n, 14] or y < 0.0:
                return i, heat, arriving, change, worst
            water[n] = w
            ratio[n] = y
        moved = t - temperature[n]
        temperature[n] = t
        enthalpy[n] = tangent[n, 3] + tangent[n, 4] * heat + tangent[n, 5] * arriving
        change += weight[n] * moved**2
        worst = max(worst, abs(moved))
    return order.size, 0.0, 0.0, change, worst


@compiled_part
def _sweep_ground(pile_count: int, frame: Any, terms: Any, stage: Any, edges: Any, rate: float, c: Any) -> float:
    """One sweep over the nodes of ground alone; the largest change of temperature [K]."""
    neighbours, conduction, conduction_total = frame.neighbours, terms.conduction, terms.conduction_total
    dry_capacity, ground_water = terms.dry_capacity, terms.ground_water
    temperature, stored_from, film, film_heat = stage.temperature, stage.stored_from, edges.film, edges.film_heat
    worst = 0.0
    for n in range(pile_count, temperature.size - 1):
        heat = film_heat[n] + stored_from[n] * rate
        for d in range(8):
            heat += conduction[n, d] * temperature[neighbours[n, d]]
        start = temperature[n]
        temperature[n] = _ground_temperature(heat, conduction_total[n] + film[n], ground_water[n], dry_capacity[n], rate, c)
        worst = max(worst, abs(temperature[n] - start))
    return worst


@compiled_part
def sweep(order: Any, frame: Any, terms: Any, stage: Any, edges: Any, tangent: Any, step: float, worst_share: float,
          c: Any) -> float:
    """One Gauss-Seidel sweep in flow order over the pile, then over the ground.

    Parameters
    ----------
    order : (pile_count,) uint32 array
    tangent : (pile_count, TANGENT or DRY_TANGENT) array
        Linear models of the nodes (see :func:`pilesim.solver.tangent.linearise`); rewritten where they reach too short.
    step : float
        Implicit weight times time step [s].

    Returns
    -------
    float
        The larger of the weighted rms change of temperature and `worst_share` of the largest change [K]: a thin
        surface node outside the norm must settle too, for its fluxes enter the update.
    """
    change, worst = 0.0, 0.0
    done = np.int64(0)  # a number written out would have the kernels below compiled for it alone
    while done < order.size:
        done, heat, arriving, more, farthest = _sweep_pile(
            order, done, frame.neighbours, frame.upstream, frame.weight, frame.reach, terms.conduction, terms.vapour,
            terms.advection, stage.temperature, stage.water, stage.ratio, stage.enthalpy, tangent,
            c.vapour_diffusion_enthalpy, c.moist > 0.0)
        change += more
        worst = max(worst, farthest)
        if done < order.size:
            n = order[done]
            start = stage.temperature[n]
            settle(n, heat, arriving, terms, stage, edges, 1.0 / step, step, tangent, c)
            moved = stage.temperature[n] - start
            change += frame.weight[n] * moved**2
            worst = max(worst, abs(moved))
            done += 1
    worst = max(worst, _sweep_ground(order.size, frame, terms, stage, edges, 1.0 / step, c))
    return max(np.sqrt(change), worst_share * worst)


@compiled_part
def _stage_rates(frame: Any, terms: Any, stage: Any, edges: Any, outflow: Any, pile_count: int,
                 step: float, stored: Any, water: Any, burnt: Any, totals: Any, c: Any) -> None:
    """Conservative rates at the stage's iterate, written to the last arrays before `c` (see :class:`Rates`)."""
    neighbours, upstream, reach = frame.neighbours, frame.upstream, frame.reach
    conduction, conduction_total = terms.conduction, terms.conduction_total
    vapour, vapour_total = terms.vapour, terms.vapour_total
    advection, advection_total, inflow = terms.advection, terms.advection_total, terms.inflow
    environment = terms.environment
    diffusion_enthalpy, moist = c.vapour_diffusion_enthalpy, c.moist > 0.0
    temperature, ratio, enthalpy, pools = stage.temperature, stage.ratio, stage.enthalpy, stage.substrate_from
    liquid_water, liquid_heat = stage.liquid_water, stage.liquid_heat
    film, film_heat, gas_film, film_vapour = edges.film, edges.film_heat, edges.gas_film, edges.gas_film_vapour
    ground_film, ground_film_heat = edges.ground_film, edges.ground_film_heat
    enthalpy_in, vapour_in, meets = edges.enthalpy_in, edges.vapour_in, edges.meets
    air, floor, carried, film_vapour_heat = 0.0, 0.0, 0.0, 0.0  # slots of TOTALS, in its order
    respired, gas_vapour, film_water, metabolic = 0.0, 0.0, 0.0, 0.0
    for n in range(pile_count):
        heat = (near(n, conduction, temperature, neighbours) + near(n, advection, enthalpy, neighbours)
                + beyond(n, advection, enthalpy, upstream))
        arriving = 0.0
        if reach > 4:
            heat += diagonal(n, conduction, temperature, neighbours)
        if moist:
            arriving = near(n, vapour, ratio, neighbours) + diagonal(n, vapour, ratio, neighbours)
            heat += diffusion_enthalpy * arriving
            arriving += near(n, advection, ratio, neighbours) + beyond(n, advection, ratio, upstream)
        t, y = temperature[n], ratio[n]
        heat += liquid_heat[n]
        arriving += liquid_water[n]
        own_t, own_y = conduction_total[n], vapour_total[n]
        if meets[n]:
            heat += film_heat[n] + inflow[n] * enthalpy_in[n] + diffusion_enthalpy * film_vapour[n]
            arriving += film_vapour[n] + inflow[n] * vapour_in[n]
            own_t += film[n]
            own_y += gas_film[n]
            ground = ground_film_heat[n] - ground_film[n] * t
            air += film_heat[n] - film[n] * t - ground
            floor += ground
            film_vapour_heat += diffusion_enthalpy * (film_vapour[n] - gas_film[n] * y)
            film_water += film_vapour[n] - gas_film[n] * y
            leaving = max(outflow[n], 0.0)
            carried += inflow[n] * enthalpy_in[n] - leaving * enthalpy[n]
            gas_vapour += inflow[n] * vapour_in[n] - leaving * y
        total = 0.0
        if environment[n, 0] + environment[n, 1] + environment[n, 2] > 0.0:
            factor, _ = temperature_factor(t, c)
            for pool in range(3):
                burnt[n, pool] = 0.0
                if environment[n, pool] > 0.0:
                    burnt[n, pool], _ = implicit_oxidation(pools[n, pool], environment[n, pool] * factor, step)
                    total += burnt[n, pool]
        else:
            for pool in range(3):
                burnt[n, pool] = 0.0
        made = metabolic_water(total, c)
        release = heat_of(total, c) + made * c.water_heat_capacity * (t - c.celsius_zero)
        stored[n] = (heat - advection_total[n] * enthalpy[n] + release - own_t * t
                     - c.vapour_diffusion_enthalpy * own_y * y)
        water[n] = arriving - (advection_total[n] + own_y) * y + made
        respired += release
        metabolic += made
    for n in range(pile_count, temperature.size - 1):
        heat = film_heat[n] - (conduction_total[n] + film[n]) * temperature[n]
        for d in range(8):
            heat += conduction[n, d] * temperature[neighbours[n, d]]
        stored[n] = heat
        floor += film_heat[n] - film[n] * temperature[n]
    totals[0], totals[1], totals[2], totals[3] = air, floor, carried, film_vapour_heat
    totals[4], totals[5], totals[6], totals[7] = respired, gas_vapour, film_water, metabolic


@compiled_part
def solve_stage(order: Any, back: Any, frame: Any, terms: Any, capillary: Any, pore_volume: Any, stage: Any, edges: Any,
                outflow: Any, step: float, span: float, limit: float, worst_share: float, most: int, drain: bool,
                saturation: Any, potential: Any, rates: Any, c: Any) -> int:
    """Iterate one stage until a sweep changes temperature by less than `limit` [K] (see :func:`sweep`); fill its rates.

    `step` is the implicit weight times the time step, `span` the time step itself [s]; `drain` asks for liquid flow from the
    stage's iterate, else what it holds of an earlier pass stands.

    Returns
    -------
    int
        Sweeps used.
    """
    pile_count = order.size
    if c.moist > 0.0 and drain:
        liquid_flow(frame, capillary, pore_volume, stage, pile_count, span, saturation, potential, rates.totals, c)
    tangent = np.empty((pile_count, TANGENT if c.moist > 0.0 else DRY_TANGENT))
    linearise(np.int64(0), pile_count, terms, stage, edges, 1.0 / step, step, tangent, c)
    sweeps = 0
    while sweeps < most:
        sweeps += 1
        if sweep(order if sweeps % 2 else back, frame, terms, stage, edges, tangent, step, worst_share, c) < limit:
            break
    _stage_rates(frame, terms, stage, edges, outflow, pile_count, step, rates.stored, rates.water, rates.burnt,
                 rates.totals, c)
    return sweeps


@compiled_part
def coupling_defect(neighbours: Any, east: Any, north: Any, outflow: Any, enthalpy: Any, enthalpy_in: Any, is_open: Any,
                    pile_count: int, out: Any) -> None:
    """Heat [W m-1] that a change of flow (`east`, `north`, `outflow`) would have brought to each node, written to `out`."""
    for n in range(pile_count):
        own = enthalpy[n]
        change = 0.0
        m = neighbours[n, 0]
        if m < pile_count:
            change -= 0.5 * east[n] * (enthalpy[m] - own)
        m = neighbours[n, 1]
        if m < pile_count:
            change += 0.5 * east[m] * (enthalpy[m] - own)
        m = neighbours[n, 2]
        if m < pile_count:
            change -= 0.5 * north[n] * (enthalpy[m] - own)
        m = neighbours[n, 3]
        if m < pile_count:
            change += 0.5 * north[m] * (enthalpy[m] - own)
        if is_open[n]:
            change -= 0.5 * outflow[n] * (enthalpy_in[n] - own)
        out[n] = change
