"""Kernels of the heat and water balances: flow-ordered Gauss-Seidel sweeps and the conservative rates.

Every node is solved for temperature and water together; neighbours enter with their latest values. The rates repeat
the same sums without solving, so what one node gives the other receives and budgets close to round-off.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pilesim.balances.heat import stored_enthalpy
from pilesim.balances.substrate import heat_of, implicit_oxidation
from pilesim.balances.water import metabolic_water
from pilesim.base.compiled import compiled, inlined
from pilesim.matter.bed import drainage_potential, water_activity
from pilesim.matter.biology import temperature_factor
from pilesim.matter.moist_air import moist_enthalpy, vapour_ratio


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
    for n in range(pile_count):
        activity = 1.0
        if terms.dry_mass[n] > 0.0:
            activity, _ = water_activity(stage.water[n] / terms.dry_mass[n], c)
        stage.ratio[n], _, _ = vapour_ratio(stage.temperature[n], activity, c)
        stage.enthalpy[n] = moist_enthalpy(stage.temperature[n], stage.ratio[n], c)


@compiled
def _liquid_flow(frame: Any, capillary: Any, pore_volume: Any, stage: Any, pile_count: int, saturation: Any,
                 potential: Any, totals: Any, c: Any) -> None:
    """Liquid water and its heat arriving at each node by capillarity and drainage; leachate to `totals`.

    Parameters
    ----------
    capillary : (count + 1, 8) array
        Conductance for saturation [kg s-1 m-1].
    pore_volume : (count + 1,) array
        [m2].
    saturation, potential : (count + 1,) arrays
        Work space.
    """
    wet = False
    for n in range(pile_count):
        saturation[n] = 0.0
        potential[n] = 0.0
        if pore_volume[n] > 0.0:
            saturation[n] = stage.water[n] / (c.water_density * pore_volume[n])
            potential[n] = drainage_potential(pore_volume[n] / frame.volume[n], saturation[n], c)
            wet = wet or potential[n] > 0.0
    leachate = 0.0
    leachate_heat = 0.0
    for n in range(pile_count):
        water = 0.0
        heat = 0.0
        own = stage.temperature[n] - c.celsius_zero
        for d in range(8):
            m = frame.neighbours[n, d]
            if m >= pile_count:
                continue
            moved = capillary[n, d] * (saturation[m] - saturation[n])
            if wet:
                drop = frame.pair_drop[n, d]
                moved -= drop * potential[n] if drop > 0.0 else drop * potential[m]
            water += moved
            heat += moved * 0.5 * (stage.temperature[m] - c.celsius_zero + own)
        if wet:
            lost = frame.floor_length[n] * potential[n]
            leachate += lost
            leachate_heat += lost * own
            water -= lost
            heat -= lost * own
        stage.liquid_water[n] = c.moist * water
        stage.liquid_heat[n] = c.moist * c.water_heat_capacity * heat
    totals[8] = -c.moist * leachate
    totals[9] = -c.moist * c.water_heat_capacity * leachate_heat


@inlined
def _arriving(n: int, frame: Any, terms: Any, stage: Any, edges: Any, c: Any) -> Any:
    """Heat [W m-1] and water [kg s-1 m-1] arriving at a pile node from neighbours and from outside."""
    heat = edges.film_heat[n] + terms.inflow[n] * edges.enthalpy_in[n] + stage.liquid_heat[n]
    water = edges.gas_film_vapour[n]
    for d in range(8):
        m = frame.neighbours[n, d]
        heat += terms.conduction[n, d] * stage.temperature[m]
        water += terms.vapour[n, d] * stage.ratio[m]
    heat += c.vapour_diffusion_enthalpy * water
    water += terms.inflow[n] * edges.vapour_in[n] + stage.liquid_water[n]
    for d in range(4):
        m = frame.neighbours[n, d]
        b = frame.upstream[n, d]
        heat += terms.advection[n, d] * stage.enthalpy[m] + terms.advection[n, 4 + d] * stage.enthalpy[b]
        water += terms.advection[n, d] * stage.ratio[m] + terms.advection[n, 4 + d] * stage.ratio[b]
    return heat, water


@inlined
def _oxidation(n: int, temperature: float, terms: Any, stage: Any, step: float, c: Any) -> Any:
    """Substrate oxidised at a node [kg s-1 m-1] and its temperature derivative."""
    if terms.environment[n, 0] == 0.0 and terms.environment[n, 1] == 0.0 and terms.environment[n, 2] == 0.0:
        return 0.0, 0.0
    factor, slope = temperature_factor(temperature, c)
    total = 0.0
    total_slope = 0.0
    for pool in range(3):
        k = terms.environment[n, pool]
        burnt, gain = implicit_oxidation(stage.substrate_from[n, pool], k * factor, step)
        total += burnt
        total_slope += gain * k * slope
    return total, total_slope


@compiled
def sweep(order: Any, frame: Any, terms: Any, stage: Any, edges: Any, count: int, step: float, c: Any) -> float:
    """One Gauss-Seidel sweep in flow order over the pile, then over the ground.

    Parameters
    ----------
    order : (pile_count,) int array
    step : float
        Implicit weight times time step [s].

    Returns
    -------
    float
        Weighted rms change of temperature [K].
    """
    change = 0.0
    rate = 1.0 / step
    pile_count = order.size
    for i in range(pile_count):
        n = order[i]
        heat, water = _arriving(n, frame, terms, stage, edges, c)
        own_y = terms.vapour_total[n] + edges.gas_film[n]
        own_t = terms.conduction_total[n] + edges.film[n]
        own_n = terms.advection_total[n]
        start = stage.temperature[n]
        for _ in range(2):
            t, w = stage.temperature[n], stage.water[n]
            activity, bend = 1.0, 0.0
            if terms.dry_mass[n] > 0.0:
                activity, bend = water_activity(w / terms.dry_mass[n], c)
                bend /= terms.dry_mass[n]
            y, y_t, y_a = vapour_ratio(t, activity, c)
            y_w = y_a * bend
            latent = c.latent_heat_of_vaporisation + c.vapour_heat_capacity * (t - c.celsius_zero)
            h = moist_enthalpy(t, y, c)
            h_t = c.dry_air_molar_mass * c.dry_air_heat_capacity + c.vapour_heat_capacity * y + latent * y_t
            burnt, burnt_t = _oxidation(n, t, terms, stage, step, c)
            made = metabolic_water(burnt, c)
            warm = c.water_heat_capacity * (t - c.celsius_zero)
            e = stored_enthalpy(t, w, terms.dry_capacity[n], c)
            diffusion = c.vapour_diffusion_enthalpy * own_y
            fault_e = ((e - stage.stored_from[n]) * rate - heat + own_n * h + own_t * t + diffusion * y
                       - heat_of(burnt, c) - warm * made)
            fault_w = (w - stage.water_from[n]) * rate - water + (own_n + own_y) * y - made
            e_t = ((terms.dry_capacity[n] + c.water_heat_capacity * w) * rate + own_n * h_t + own_t + diffusion * y_t
                   - heat_of(burnt_t, c) - c.water_heat_capacity * made - warm * metabolic_water(burnt_t, c))
            e_w = warm * rate + (own_n * latent + diffusion) * y_w
            w_t = (own_n + own_y) * y_t - metabolic_water(burnt_t, c)
            w_w = rate + (own_n + own_y) * y_w
            determinant = e_t * w_w - e_w * w_t
            dt = (e_w * fault_w - w_w * fault_e) / determinant
            dw = (w_t * fault_e - e_t * fault_w) / determinant
            dt = min(max(dt, -10.0), 10.0)
            stage.temperature[n] = t + dt
            stage.water[n] = max(w + c.moist * dw, 0.1 * w)
            y += y_t * dt + y_w * (stage.water[n] - w)
            if abs(dt) < 0.3:
                break
        stage.ratio[n] = max(y, 0.0)
        stage.enthalpy[n] = moist_enthalpy(stage.temperature[n], stage.ratio[n], c)
        change += frame.weight[n] * (stage.temperature[n] - start) ** 2
    for n in range(pile_count, count):
        heat = edges.film_heat[n] + stage.stored_from[n] * rate + c.celsius_zero * terms.dry_capacity[n] * rate
        for d in range(8):
            heat += terms.conduction[n, d] * stage.temperature[frame.neighbours[n, d]]
        stage.temperature[n] = heat / (terms.dry_capacity[n] * rate + terms.conduction_total[n] + edges.film[n])
    return np.sqrt(change)


@compiled
def _stage_rates(frame: Any, terms: Any, stage: Any, edges: Any, outflow: Any, pile_count: int, count: int,
                 step: float, stored: Any, water: Any, burnt: Any, totals: Any, c: Any) -> None:
    """Conservative rates at the stage's iterate, written to the last arrays before `c` (see :class:`Rates`)."""
    totals[:8] = 0.0
    for n in range(pile_count):
        heat, arriving = _arriving(n, frame, terms, stage, edges, c)
        t, y = stage.temperature[n], stage.ratio[n]
        own_y = terms.vapour_total[n] + edges.gas_film[n]
        factor, _ = temperature_factor(t, c)
        total = 0.0
        for pool in range(3):
            burnt[n, pool], _ = implicit_oxidation(stage.substrate_from[n, pool], terms.environment[n, pool] * factor,
                                                   step)
            total += burnt[n, pool]
        made = metabolic_water(total, c)
        release = heat_of(total, c) + made * c.water_heat_capacity * (t - c.celsius_zero)
        stored[n] = (heat - terms.advection_total[n] * stage.enthalpy[n] + release
                     - (terms.conduction_total[n] + edges.film[n]) * t - c.vapour_diffusion_enthalpy * own_y * y)
        water[n] = arriving - (terms.advection_total[n] + own_y) * y + made
        ground = edges.ground_film_heat[n] - edges.ground_film[n] * t
        totals[0] += edges.film_heat[n] - edges.film[n] * t - ground
        totals[1] += ground
        totals[3] += c.vapour_diffusion_enthalpy * (edges.gas_film_vapour[n] - edges.gas_film[n] * y)
        totals[4] += release
        totals[6] += edges.gas_film_vapour[n] - edges.gas_film[n] * y
        totals[7] += made
        if edges.is_open[n]:
            leaving = max(outflow[n], 0.0)
            totals[2] += terms.inflow[n] * edges.enthalpy_in[n] - leaving * stage.enthalpy[n]
            totals[5] += terms.inflow[n] * edges.vapour_in[n] - leaving * y
    for n in range(pile_count, count):
        heat = edges.film_heat[n] - (terms.conduction_total[n] + edges.film[n]) * stage.temperature[n]
        for d in range(8):
            heat += terms.conduction[n, d] * stage.temperature[frame.neighbours[n, d]]
        stored[n] = heat
        totals[1] += edges.film_heat[n] - edges.film[n] * stage.temperature[n]


@compiled
def solve_stage(order: Any, frame: Any, terms: Any, capillary: Any, pore_volume: Any, stage: Any, edges: Any,
                outflow: Any, count: int, step: float, limit: float, most: int, saturation: Any, potential: Any,
                rates: Any, c: Any) -> int:
    """Iterate one stage until a sweep changes temperature by less than `limit` [K] rms; fill its rates.

    Returns
    -------
    int
        Sweeps used.
    """
    pile_count = order.size
    _liquid_flow(frame, capillary, pore_volume, stage, pile_count, saturation, potential, rates.totals, c)
    refresh_gas(stage, terms, pile_count, c)
    sweeps = 0
    while sweeps < most:
        sweeps += 1
        if sweep(order, frame, terms, stage, edges, count, step, c) < limit:
            break
    _stage_rates(frame, terms, stage, edges, outflow, pile_count, count, step, rates.stored, rates.water, rates.burnt,
                 rates.totals, c)
    return sweeps


@compiled
def coupling_defect(neighbours: Any, east: Any, north: Any, outflow: Any, stage: Any, edges: Any, capacity: Any,
                    pile_count: int, out: Any) -> None:
    """Warming rate [K s-1] that a change of flow (`east`, `north`, `outflow`) would have caused, written to `out`."""
    for n in range(pile_count):
        own = stage.enthalpy[n]
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
            change -= 0.5 * leaving * (stage.enthalpy[m] - own)
        if edges.is_open[n]:
            change -= 0.5 * outflow[n] * (edges.enthalpy_in[n] - own)
        out[n] = change / capacity[n]
