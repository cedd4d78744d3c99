"""Kernels of the heat and water balances: flow-ordered Gauss-Seidel sweeps and the conservative rates.

Every node is solved for temperature and water together; neighbours enter with their latest values. The rates repeat
the same sums without solving, so what one node gives the other receives and budgets close to round-off.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.heat import apparent_heat_capacity, enthalpy_of_water, stored_enthalpy
from pilesim.balances.substrate import heat_of, implicit_oxidation
from pilesim.balances.water import metabolic_water
from pilesim.base.compiled import compiled, inlined
from pilesim.matter.bed import water_activity
from pilesim.matter.biology import temperature_factor
from pilesim.matter.moist_air import moist_enthalpy, vapour_enthalpy, vapour_ratio
from pilesim.solver.liquid import liquid_flow


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

    neighbours: np.ndarray  # (count + 1, 8)
    upstream: np.ndarray  # (count + 1, 4)
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
# vapour through the film, heat of respiration; then water: vapour with gas, through the film, made; leachate, its heat.
TOTALS = ("air_film", "ground_film", "gas_enthalpy", "vapour_film_heat", "respiration_heat", "gas_vapour",
          "vapour_film", "metabolic", "leachate", "leachate_heat")


@compiled
def refresh_gas(stage: Any, terms: Any, pile_count: int, c: Any) -> None:
    """Vapour ratio and enthalpy of the pore gas from the iterate's temperature and water."""
    temperature, water, ratio, enthalpy, dry_mass = (
        stage.temperature, stage.water, stage.ratio, stage.enthalpy, terms.dry_mass)
    for n in range(pile_count):
        activity = 1.0
        if dry_mass[n] > 0.0:
            activity, _ = water_activity(water[n] / dry_mass[n], c)
        ratio[n], _, _ = vapour_ratio(temperature[n], activity, c)
        enthalpy[n] = moist_enthalpy(temperature[n], ratio[n], c)


@inlined
def _arriving(n: int, neighbours: Any, upstream: Any, conduction: Any, vapour: Any, advection: Any, temperature: Any,
              ratio: Any, enthalpy: Any, diffusion_enthalpy: float, heat: float, film_vapour: float,
              water: float) -> Any:
    """Heat [W m-1] and water [kg s-1 m-1] arriving at a pile node: from its neighbours, `heat` and `water` given."""
    diffusing = film_vapour
    for d in range(8):
        m = neighbours[n, d]
        heat += conduction[n, d] * temperature[m]
        diffusing += vapour[n, d] * ratio[m]
    heat += diffusion_enthalpy * diffusing
    water += diffusing
    for d in range(4):
        m = neighbours[n, d]
        b = upstream[n, d]
        heat += advection[n, d] * enthalpy[m] + advection[n, 4 + d] * enthalpy[b]
        water += advection[n, d] * ratio[m] + advection[n, 4 + d] * ratio[b]
    return heat, water


@inlined
def _oxidation(fast: float, slow: float, cover: float, k_fast: float, k_slow: float, k_cover: float,
               temperature: float, step: float, c: Any) -> Any:
    """Substrate oxidised at a node [kg s-1 m-1] and its temperature derivative."""
    if k_fast + k_slow + k_cover <= 0.0:
        return 0.0, 0.0
    factor, slope = temperature_factor(temperature, c)
    a, a_gain = implicit_oxidation(fast, k_fast * factor, step)
    b, b_gain = implicit_oxidation(slow, k_slow * factor, step)
    d, d_gain = implicit_oxidation(cover, k_cover * factor, step)
    return a + b + d, (a_gain * k_fast + b_gain * k_slow + d_gain * k_cover) * slope


@inlined
def _stop_at_kink(start: float, aim: float, zero: float, span: float) -> float:
    """`aim`, or a hair beyond the first kink of the enthalpy (0 degC and `span` below) on the way from `start`."""
    upper, lower, hair = zero, zero - span, 1e-9
    if aim < start:
        if start > upper > aim:
            return upper - hair
        if start > lower > aim:
            return lower - hair
    else:
        if start < lower < aim:
            return lower + hair
        if start < upper < aim:
            return upper + hair
    return aim


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


@compiled
def sweep(order: Any, frame: Any, terms: Any, stage: Any, edges: Any, count: int, step: float,
          worst_share: float, c: Any) -> float:
    """One Gauss-Seidel sweep in flow order over the pile, then over the ground.

    Parameters
    ----------
    order : (pile_count,) int array
    step : float
        Implicit weight times time step [s].

    Returns
    -------
    float
        The larger of the weighted rms change of temperature and `worst_share` of the largest change [K]: a thin
        surface node outside the norm must settle too, for its fluxes enter the update.
    """
    # arrays are named here once: taking them from a tuple inside the loop costs more than the arithmetic
    neighbours, upstream, weight = frame.neighbours, frame.upstream, frame.weight
    conduction, conduction_total = terms.conduction, terms.conduction_total
    vapour, vapour_total = terms.vapour, terms.vapour_total
    advection, advection_total, inflow = terms.advection, terms.advection_total, terms.inflow
    environment, dry_mass = terms.environment, terms.dry_mass
    dry_capacity, ground_water = terms.dry_capacity, terms.ground_water
    temperature, water, ratio, enthalpy = stage.temperature, stage.water, stage.ratio, stage.enthalpy
    stored_from, water_from, pools = stage.stored_from, stage.water_from, stage.substrate_from
    liquid_water, liquid_heat = stage.liquid_water, stage.liquid_heat
    film, film_heat, gas_film, film_vapour = edges.film, edges.film_heat, edges.gas_film, edges.gas_film_vapour
    enthalpy_in, vapour_in = edges.enthalpy_in, edges.vapour_in
    change = 0.0
    worst = 0.0
    rate = 1.0 / step
    pile_count = order.size
    for i in range(pile_count):
        n = order[i]
        heat, arriving = _arriving(
            n, neighbours, upstream, conduction, vapour, advection, temperature, ratio, enthalpy,
            c.vapour_diffusion_enthalpy, film_heat[n] + inflow[n] * enthalpy_in[n] + liquid_heat[n], film_vapour[n],
            inflow[n] * vapour_in[n] + liquid_water[n])
        own_y = vapour_total[n] + gas_film[n]
        own_t = conduction_total[n] + film[n]
        own_n = advection_total[n]
        diffusion = c.vapour_diffusion_enthalpy * own_y
        start = temperature[n]
        y = 0.0
        for _ in range(4):
            t, w = temperature[n], water[n]
            activity, bend = 1.0, 0.0
            if dry_mass[n] > 0.0:
                activity, bend = water_activity(w / dry_mass[n], c)
                bend /= dry_mass[n]
            y, y_t, y_a = vapour_ratio(t, activity, c)
            y_w = y_a * bend
            latent = vapour_enthalpy(t, c)
            h = moist_enthalpy(t, y, c)
            h_t = c.dry_air_molar_mass * c.dry_air_heat_capacity + c.vapour_heat_capacity * y + latent * y_t
            burnt, burnt_t = _oxidation(pools[n, 0], pools[n, 1], pools[n, 2], environment[n, 0], environment[n, 1],
                                        environment[n, 2], t, step, c)
            made, made_t = metabolic_water(burnt, c), metabolic_water(burnt_t, c)
            warm = c.water_heat_capacity * (t - c.celsius_zero)
            e = stored_enthalpy(t, w, ground_water[n], dry_capacity[n], c)
            fault_e = ((e - stored_from[n]) * rate - heat + own_n * h + own_t * t + diffusion * y - heat_of(burnt, c)
                       - warm * made)
            fault_w = (w - water_from[n]) * rate - arriving + (own_n + own_y) * y - made
            capacity = apparent_heat_capacity(t, w, ground_water[n], dry_capacity[n], c)
            e_t = (capacity * rate + own_n * h_t + own_t + diffusion * y_t
                   - heat_of(burnt_t, c) - c.water_heat_capacity * made - warm * made_t)
            e_w = enthalpy_of_water(t, c) * rate + (own_n * latent + diffusion) * y_w
            w_t = (own_n + own_y) * y_t - made_t
            w_w = rate + (own_n + own_y) * y_w
            determinant = e_t * w_w - e_w * w_t
            dt = min(max((e_w * fault_w - w_w * fault_e) / determinant, -10.0), 10.0)
            dw = (w_t * fault_e - e_t * fault_w) / determinant
            aim = t + dt
            dt = _stop_at_kink(t, aim, c.celsius_zero, c.freezing_range) - t
            temperature[n] = t + dt
            water[n] = max(w + c.moist * dw, 0.1 * w)
            y += y_t * dt + y_w * (water[n] - w)
            if abs(dt) < 0.3 and temperature[n] == aim:
                break
        ratio[n] = max(y, 0.0)
        enthalpy[n] = moist_enthalpy(temperature[n], ratio[n], c)
        change += weight[n] * (temperature[n] - start) ** 2
        worst = max(worst, abs(temperature[n] - start))
    for n in range(pile_count, count):
        heat = film_heat[n] + stored_from[n] * rate
        for d in range(8):
            heat += conduction[n, d] * temperature[neighbours[n, d]]
        start = temperature[n]
        temperature[n] = _ground_temperature(heat, conduction_total[n] + film[n], ground_water[n], dry_capacity[n], rate, c)
        worst = max(worst, abs(temperature[n] - start))
    return max(np.sqrt(change), worst_share * worst)


@compiled
def _stage_rates(frame: Any, terms: Any, stage: Any, edges: Any, outflow: Any, pile_count: int, count: int,
                 step: float, stored: Any, water: Any, burnt: Any, totals: Any, c: Any) -> None:
    """Conservative rates at the stage's iterate, written to the last arrays before `c` (see :class:`Rates`)."""
    neighbours, upstream = frame.neighbours, frame.upstream
    conduction, conduction_total = terms.conduction, terms.conduction_total
    vapour, vapour_total = terms.vapour, terms.vapour_total
    advection, advection_total, inflow = terms.advection, terms.advection_total, terms.inflow
    environment = terms.environment
    temperature, ratio, enthalpy, pools = stage.temperature, stage.ratio, stage.enthalpy, stage.substrate_from
    liquid_water, liquid_heat = stage.liquid_water, stage.liquid_heat
    film, film_heat, gas_film, film_vapour = edges.film, edges.film_heat, edges.gas_film, edges.gas_film_vapour
    ground_film, ground_film_heat = edges.ground_film, edges.ground_film_heat
    enthalpy_in, vapour_in, is_open = edges.enthalpy_in, edges.vapour_in, edges.is_open
    totals[:8] = 0.0
    for n in range(pile_count):
        heat, arriving = _arriving(
            n, neighbours, upstream, conduction, vapour, advection, temperature, ratio, enthalpy,
            c.vapour_diffusion_enthalpy, film_heat[n] + inflow[n] * enthalpy_in[n] + liquid_heat[n], film_vapour[n],
            inflow[n] * vapour_in[n] + liquid_water[n])
        t, y = temperature[n], ratio[n]
        own_y = vapour_total[n] + gas_film[n]
        factor, _ = temperature_factor(t, c)
        total = 0.0
        for pool in range(3):
            burnt[n, pool], _ = implicit_oxidation(pools[n, pool], environment[n, pool] * factor, step)
            total += burnt[n, pool]
        made = metabolic_water(total, c)
        release = heat_of(total, c) + made * c.water_heat_capacity * (t - c.celsius_zero)
        stored[n] = (heat - advection_total[n] * enthalpy[n] + release - (conduction_total[n] + film[n]) * t
                     - c.vapour_diffusion_enthalpy * own_y * y)
        water[n] = arriving - (advection_total[n] + own_y) * y + made
        ground = ground_film_heat[n] - ground_film[n] * t
        totals[0] += film_heat[n] - film[n] * t - ground
        totals[1] += ground
        totals[3] += c.vapour_diffusion_enthalpy * (film_vapour[n] - gas_film[n] * y)
        totals[4] += release
        totals[6] += film_vapour[n] - gas_film[n] * y
        totals[7] += made
        if is_open[n]:
            leaving = max(outflow[n], 0.0)
            totals[2] += inflow[n] * enthalpy_in[n] - leaving * enthalpy[n]
            totals[5] += inflow[n] * vapour_in[n] - leaving * y
    for n in range(pile_count, count):
        heat = film_heat[n] - (conduction_total[n] + film[n]) * temperature[n]
        for d in range(8):
            heat += conduction[n, d] * temperature[neighbours[n, d]]
        stored[n] = heat
        totals[1] += film_heat[n] - film[n] * temperature[n]


@compiled
def solve_stage(order: Any, frame: Any, terms: Any, capillary: Any, pore_volume: Any, stage: Any, edges: Any,
                outflow: Any, count: int, step: float, span: float, limit: float, worst_share: float, most: int,
                saturation: Any, potential: Any, rates: Any, c: Any) -> int:
    """Iterate one stage until a sweep changes temperature by less than `limit` [K] (see :func:`sweep`); fill its rates.

    `step` is the implicit weight times the time step, `span` the time step itself [s].

    Returns
    -------
    int
        Sweeps used.
    """
    pile_count = order.size
    liquid_flow(frame, capillary, pore_volume, stage, pile_count, span, saturation, potential, rates.totals, c)
    refresh_gas(stage, terms, pile_count, c)
    sweeps = 0
    while sweeps < most:
        sweeps += 1
        if sweep(order, frame, terms, stage, edges, count, step, worst_share, c) < limit:
            break
    _stage_rates(frame, terms, stage, edges, outflow, pile_count, count, step, rates.stored, rates.water, rates.burnt,
                 rates.totals, c)
    return sweeps


@compiled
def coupling_defect(neighbours: Any, east: Any, north: Any, outflow: Any, stage: Any, edges: Any, capacity: Any,
                    pile_count: int, out: Any) -> None:
    """Warming rate [K s-1] that a change of flow (`east`, `north`, `outflow`) would have caused, written to `out`."""
    enthalpy, enthalpy_in, is_open = stage.enthalpy, edges.enthalpy_in, edges.is_open
    for n in range(pile_count):
        own = enthalpy[n]
        change = 0.0
        for d in range(4):
            m = neighbours[n, d]
            if m >= pile_count:
                continue
            if d == 0:
                leaving = east[n]
            elif d == 1:
                leaving = -east[m]
            elif d == 2:
                leaving = north[n]
            else:
                leaving = -north[m]
            change -= 0.5 * leaving * (enthalpy[m] - own)
        if is_open[n]:
            change -= 0.5 * outflow[n] * (enthalpy_in[n] - own)
        out[n] = change / capacity[n]
