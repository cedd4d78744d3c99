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
from pilesim.base.compiled import compiled
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
def liquid_flow(neighbours: Any, capillary: Any, pair_drop: Any, floor_length: Any, porosity_volume: Any,
                volume: Any, stage: Any, pile_count: int, saturation: Any, potential: Any, c: Any) -> float:
    """Liquid water and its heat arriving at each node by capillarity and drainage; returns the leachate.

    Parameters
    ----------
    capillary : (count + 1, 8) array
        Conductance for saturation [kg s-1 m-1].
    pair_drop : (count + 1, 8) array
        Unit conductance times height above the neighbour [m], for drainage.
    floor_length : (count + 1,) array
        Length of floor through which leachate leaves [m].
    porosity_volume, volume : (count + 1,) arrays
        Pore and bulk volume of each node [m2].

    Returns
    -------
    float
        Water leaving through the floor [kg s-1 m-1].
    """
    wet = False
    for n in range(pile_count):
        saturation[n] = 0.0
        potential[n] = 0.0
        if porosity_volume[n] > 0.0:
            saturation[n] = stage.water[n] / (c.water_density * porosity_volume[n])
            potential[n] = drainage_potential(porosity_volume[n] / volume[n], saturation[n], c)
            wet = wet or potential[n] > 0.0
    leachate = 0.0
    for n in range(pile_count):
        water = 0.0
        heat = 0.0
        own = stage.temperature[n] - c.celsius_zero
        for d in range(8):
            m = neighbours[n, d]
            if m >= pile_count:
                continue
            moved = capillary[n, d] * (saturation[m] - saturation[n])
            level = 0.5 * (stage.temperature[m] - c.celsius_zero + own)
            if wet:
                drop = pair_drop[n, d]
                fall = -drop * potential[n] if drop > 0.0 else -drop * potential[m]
                moved += fall
            water += moved
            heat += moved * level
        if wet and floor_length[n] > 0.0:
            lost = floor_length[n] * potential[n]
            leachate += lost
            water -= lost
            heat -= lost * own
        stage.liquid_water[n] = c.moist * water
        stage.liquid_heat[n] = c.moist * c.water_heat_capacity * heat
    return c.moist * leachate


@compiled
def _arriving(n: int, neighbours: Any, upstream: Any, terms: Any, stage: Any, edges: Any, c: Any) -> Any:
    """Heat [W m-1] and water [kg s-1 m-1] arriving at a pile node from neighbours and from outside."""
    heat = edges.film_heat[n] + terms.inflow[n] * edges.enthalpy_in[n] + stage.liquid_heat[n]
    water = edges.gas_film_vapour[n]
    for d in range(8):
        m = neighbours[n, d]
        heat += terms.conduction[n, d] * stage.temperature[m]
        water += terms.vapour[n, d] * stage.ratio[m]
    heat += c.vapour_diffusion_enthalpy * water
    water += terms.inflow[n] * edges.vapour_in[n] + stage.liquid_water[n]
    for d in range(4):
        m = neighbours[n, d]
        b = upstream[n, d]
        heat += terms.advection[n, d] * stage.enthalpy[m] + terms.advection[n, 4 + d] * stage.enthalpy[b]
        water += terms.advection[n, d] * stage.ratio[m] + terms.advection[n, 4 + d] * stage.ratio[b]
    return heat, water


@compiled
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
def sweep(order: Any, neighbours: Any, upstream: Any, terms: Any, stage: Any, edges: Any, count: int, weight: Any,
          step: float, c: Any) -> float:
    """One Gauss-Seidel sweep in flow order over the pile, then over the ground.

    Parameters
    ----------
    order : (pile_count,) int array
    weight : (count + 1,) array
        Weights of the norm; they sum to one.
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
        heat, water = _arriving(n, neighbours, upstream, terms, stage, edges, c)
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
        change += weight[n] * (stage.temperature[n] - start) ** 2
    for n in range(pile_count, count):
        heat = edges.film_heat[n] + stage.stored_from[n] * rate + c.celsius_zero * terms.dry_capacity[n] * rate
        for d in range(8):
            heat += terms.conduction[n, d] * stage.temperature[neighbours[n, d]]
        stage.temperature[n] = heat / (terms.dry_capacity[n] * rate + terms.conduction_total[n] + edges.film[n])
    return np.sqrt(change)


@compiled
def stage_rates(neighbours: Any, upstream: Any, terms: Any, stage: Any, edges: Any, pile_count: int, count: int,
                step: float, stored: Any, water: Any, burnt: Any, totals: Any, c: Any) -> None:
    """Conservative rates at the stage's iterate.

    Parameters
    ----------
    stored : (count + 1,) array
        Overwritten: rate of stored enthalpy [W m-1].
    water : (count + 1,) array
        Overwritten: rate of water [kg s-1 m-1].
    burnt : (count + 1, 3) array
        Overwritten: oxidation of each pool [kg s-1 m-1].
    totals : (8,) array
        Overwritten, all into the section: heat by film from air, heat by film from ground, enthalpy with gas, with
        diffusing vapour, heat of respiration and its water, vapour with gas, vapour by film, metabolic water.
    """
    totals[:] = 0.0
    for n in range(pile_count):
        heat, arriving = _arriving(n, neighbours, upstream, terms, stage, edges, c)
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
    for n in range(pile_count, count):
        heat = edges.film_heat[n] - (terms.conduction_total[n] + edges.film[n]) * stage.temperature[n]
        for d in range(8):
            heat += terms.conduction[n, d] * stage.temperature[neighbours[n, d]]
        stored[n] = heat
        totals[1] += edges.film_heat[n] - edges.film[n] * stage.temperature[n]


@compiled
def edge_gas_totals(outflow: Any, stage: Any, edges: Any, pile_count: int, totals: Any) -> None:
    """Add enthalpy (slot 2) and vapour (slot 5) carried in by gas through the outer edge to `totals`."""
    for n in range(pile_count):
        if edges.is_open[n]:
            flow = outflow[n]
            if flow < 0.0:
                totals[2] -= flow * edges.enthalpy_in[n]
                totals[5] -= flow * edges.vapour_in[n]
            else:
                totals[2] -= flow * stage.enthalpy[n]
                totals[5] -= flow * stage.ratio[n]


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
