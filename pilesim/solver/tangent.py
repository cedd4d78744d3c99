"""Linear model of one node: temperature, water and pore gas as functions of the heat and water that arrive.

A node's balances are nonlinear in its temperature and water only through laws that bend little over the changes of one
stage. Their tangent is taken once a stage, in a loop without dependence between nodes; sweeps then cost little more than
fetching the neighbours. Where a sweep leaves the tangent's reach the node is solved by Newton's method and its tangent
taken anew.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pilesim.balances.heat import apparent_heat_capacity, enthalpy_of_water, stored_enthalpy
from pilesim.balances.substrate import heat_of, implicit_oxidation
from pilesim.balances.water import metabolic_water
from pilesim.base.compiled import compiled_part, inlined
from pilesim.matter.bed import water_activity
from pilesim.matter.biology import temperature_factor
from pilesim.matter.moist_air import moist_enthalpy, vapour_enthalpy, vapour_ratio

# columns: temperature and enthalpy of gas, each as constant, per heat, per water arriving, the lowest and highest temperature
# for which they hold: all that dry gas asks for, in one line of memory; for moist gas then water and vapour ratio likewise,
# the least water, and one to fill the second line
DRY_TANGENT, TANGENT = 8, 16
REACH = 0.3  # K
LEAST_WATER = 0.9  # of the water at the tangent's point


@inlined
def _oxidation(fast: float, slow: float, cover: float, k_fast: float, k_slow: float, k_cover: float,
               temperature: float, step: float, c: Any) -> Any:
    """Substrate oxidised at a node [kg s-1 m-1] and its temperature derivative."""
    if k_fast + k_slow + k_cover <= 0.0:
        return 0.0, 0.0
    factor, slope = temperature_factor(temperature, c)
    a, a_gain, b, b_gain, d, d_gain = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if k_fast > 0.0:
        a, a_gain = implicit_oxidation(fast, k_fast * factor, step)
    if k_slow > 0.0:
        b, b_gain = implicit_oxidation(slow, k_slow * factor, step)
    if k_cover > 0.0:
        d, d_gain = implicit_oxidation(cover, k_cover * factor, step)
    return a + b + d, (a_gain * k_fast + b_gain * k_slow + d_gain * k_cover) * slope


@inlined
def _balances(t: float, w: float, dry_mass: float, dry_capacity: float, ground_water: float, stored_from: float,
              water_from: float, own_y: float, own_t: float, own_n: float, fast: float, slow: float, cover: float,
              k_fast: float, k_slow: float, k_cover: float, rate: float, step: float, c: Any) -> Any:
    """What must arrive to hold a node at temperature `t` and water `w`: heat, water, their four slopes; then the gas.

    Returns
    -------
    tuple of float
        Heat [W m-1], water [kg s-1 m-1], slopes of heat with t and w, of water with t and w; vapour ratio and its
        slopes; enthalpy of gas and its slopes.
    """
    y, y_t, y_w = 0.0, 0.0, 0.0
    if c.moist > 0.0:
        activity, bend = 1.0, 0.0
        if dry_mass > 0.0:
            activity, bend = water_activity(w / dry_mass, c)
            bend /= dry_mass
        y, y_t, y_w = vapour_ratio(t, activity, c)
        y_w *= bend
    latent = vapour_enthalpy(t, c)
    h = moist_enthalpy(t, y, c)
    h_t = c.dry_air_molar_mass * c.dry_air_heat_capacity + c.vapour_heat_capacity * y + latent * y_t
    burnt, burnt_t = _oxidation(fast, slow, cover, k_fast, k_slow, k_cover, t, step, c)
    made, made_t = metabolic_water(burnt, c), metabolic_water(burnt_t, c)
    warm = c.water_heat_capacity * (t - c.celsius_zero)
    diffusion = c.vapour_diffusion_enthalpy * own_y
    heat = ((stored_enthalpy(t, w, ground_water, dry_capacity, c) - stored_from) * rate + own_n * h + own_t * t
            + diffusion * y - heat_of(burnt, c) - warm * made)
    water = (w - water_from) * rate + (own_n + own_y) * y - made
    heat_t = (apparent_heat_capacity(t, w, ground_water, dry_capacity, c) * rate + own_n * h_t + own_t + diffusion * y_t
              - heat_of(burnt_t, c) - c.water_heat_capacity * made - warm * made_t)
    heat_w = c.moist * (enthalpy_of_water(t, c) * rate + (own_n * latent + diffusion) * y_w)
    water_t = (own_n + own_y) * y_t - made_t
    water_w = rate + (own_n + own_y) * y_w
    return heat, water, heat_t, heat_w, water_t, water_w, y, y_t, y_w, h, h_t, latent * y_w


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


@compiled_part
def linearise(first: int, last: int, terms: Any, stage: Any, edges: Any, rate: float, step: float, tangent: Any,
              c: Any) -> None:
    """Linear models of the pile nodes from `first` to before `last` at the stage's iterate; their gas is made to match.

    Parameters
    ----------
    rate, step : float
        One over the implicit step [s-1], and the step [s].
    tangent : (pile_count, TANGENT) array, of dry gas (pile_count, DRY_TANGENT)
        Overwritten.
    """
    # arrays are named here once: taking them from a tuple inside the loop costs more than the arithmetic
    temperature, water, ratio, enthalpy = stage.temperature, stage.water, stage.ratio, stage.enthalpy
    stored_from, water_from, pools = stage.stored_from, stage.water_from, stage.substrate_from
    liquid_water, liquid_heat = stage.liquid_water, stage.liquid_heat
    conduction_total, vapour_total, advection_total = terms.conduction_total, terms.vapour_total, terms.advection_total
    inflow, environment, dry_mass = terms.inflow, terms.environment, terms.dry_mass
    dry_capacity, ground_water = terms.dry_capacity, terms.ground_water
    film, film_heat, gas_film, film_vapour = edges.film, edges.film_heat, edges.gas_film, edges.gas_film_vapour
    enthalpy_in, vapour_in, meets = edges.enthalpy_in, edges.vapour_in, edges.meets
    moist, upper, lower = c.moist, c.celsius_zero, c.celsius_zero - c.freezing_range
    for n in range(first, last):
        t, w = temperature[n], water[n]
        own_y, own_t, from_outside, water_from_outside = vapour_total[n], conduction_total[n], 0.0, 0.0
        if meets[n]:  # few nodes do, and the others need not fetch what is nothing
            own_y += gas_film[n]
            own_t += film[n]
            from_outside = film_heat[n] + inflow[n] * enthalpy_in[n] + c.vapour_diffusion_enthalpy * film_vapour[n]
            water_from_outside = film_vapour[n] + inflow[n] * vapour_in[n]
        need_heat, need_water, heat_t, heat_w, water_t, water_w, y, y_t, y_w, h, h_t, h_w = _balances(
            t, w, dry_mass[n], dry_capacity[n], ground_water[n], stored_from[n], water_from[n],
            own_y, own_t, advection_total[n], pools[n, 0], pools[n, 1], pools[n, 2], environment[n, 0], environment[n, 1],
            environment[n, 2], rate, step, c)
        # what comes from outside and with liquid arrives whatever the neighbours are
        excess_heat = from_outside + liquid_heat[n] - need_heat
        excess_water = water_from_outside + liquid_water[n] - need_water
        scale = 1.0 / (heat_t * water_w - heat_w * water_t)
        t_heat, t_water = water_w * scale, -heat_w * scale
        w_heat, w_water = -moist * water_t * scale, moist * heat_t * scale
        move_t = t_heat * excess_heat + t_water * excess_water
        move_w = w_heat * excess_heat + w_water * excess_water
        tangent[n, 0], tangent[n, 1], tangent[n, 2] = t + move_t, t_heat, t_water
        tangent[n, 3] = h + h_t * move_t + h_w * move_w
        tangent[n, 4], tangent[n, 5] = h_t * t_heat + h_w * w_heat, h_t * t_water + h_w * w_water
        low, high = t - REACH, t + REACH
        low = max(low, upper if t >= upper else (lower if t >= lower else low))
        high = min(high, high if t >= upper else (upper if t >= lower else lower))
        tangent[n, 6], tangent[n, 7] = low, high
        if moist > 0.0:
            tangent[n, 8], tangent[n, 9], tangent[n, 10] = w + move_w, w_heat, w_water
            tangent[n, 11] = y + y_t * move_t + y_w * move_w
            tangent[n, 12], tangent[n, 13] = y_t * t_heat + y_w * w_heat, y_t * t_water + y_w * w_water
            tangent[n, 14] = LEAST_WATER * w
        ratio[n] = max(y, 0.0)
        enthalpy[n] = h


@compiled_part
def settle(n: int, heat: float, water: float, terms: Any, stage: Any, edges: Any, rate: float, step: float, tangent: Any,
           c: Any) -> None:
    """Solve node `n` by Newton's method for the `heat` and `water` that arrive, and take its tangent anew."""
    temperature, contents = stage.temperature, stage.water
    heat += (edges.film_heat[n] + terms.inflow[n] * edges.enthalpy_in[n] + stage.liquid_heat[n]
             + c.vapour_diffusion_enthalpy * edges.gas_film_vapour[n])
    water += edges.gas_film_vapour[n] + terms.inflow[n] * edges.vapour_in[n] + stage.liquid_water[n]
    for _ in range(4):
        t, w = temperature[n], contents[n]
        need_heat, need_water, heat_t, heat_w, water_t, water_w, _, _, _, _, _, _ = _balances(
            t, w, terms.dry_mass[n], terms.dry_capacity[n], terms.ground_water[n], stage.stored_from[n],
            stage.water_from[n], terms.vapour_total[n] + edges.gas_film[n], terms.conduction_total[n] + edges.film[n],
            terms.advection_total[n], stage.substrate_from[n, 0], stage.substrate_from[n, 1], stage.substrate_from[n, 2],
            terms.environment[n, 0], terms.environment[n, 1], terms.environment[n, 2], rate, step, c)
        lack_heat, lack_water = heat - need_heat, water - need_water
        determinant = heat_t * water_w - heat_w * water_t
        aim = t + min(max((water_w * lack_heat - heat_w * lack_water) / determinant, -10.0), 10.0)
        temperature[n] = _stop_at_kink(t, aim, c.celsius_zero, c.freezing_range)
        contents[n] = max(w + c.moist * (heat_t * lack_water - water_t * lack_heat) / determinant, 0.1 * w)
        if abs(temperature[n] - t) < REACH and temperature[n] == aim:
            break
    linearise(np.int64(n), np.int64(n) + 1, terms, stage, edges, rate, step, tangent, c)
