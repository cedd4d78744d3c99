"""Snow on a slope: what falls and stays, how it settles, insulates, darkens and melts, from above and from below.

One layer per place, amounts per area of the slope. Energy counts from ice at 0 degC, so ``heat`` is below zero in cold
snow and its liquid water stands apart. Wind drift, sublimation and refreezing in part of the layer are left out.
Scalars in SI units, the record ``c`` last.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from pilesim.base.compiled import compiled, compiled_part


class Snow(NamedTuple):
    """Snow at one place: ice and liquid water in it [kg m-2], heat [J m-2, not above 0], density [kg m-3], albedo [1]."""

    ice: float
    water: float
    heat: float
    density: float
    albedo: float


class Melt(NamedTuple):
    """What a step of snow gives away: water to the cover [kg m-2], heat left over when no snow is left [J m-2]."""

    runoff: float
    surplus: float


@compiled
def snow_share(air_temperature: float, c: Any) -> float:
    """Share of precipitation that falls as snow [1] at `air_temperature` [K]. Source: USACE1956."""
    share = (c.rain_only_temperature - air_temperature) / (c.rain_only_temperature - c.snow_only_temperature)
    return min(1.0, max(0.0, share))


@compiled
def fresh_snow_density(air_temperature: float, c: Any) -> float:
    """Density of fresh snow [kg m-3]; above 0 degC as at 0 degC. Source: Hedstrom1998."""
    t = min(0.0, air_temperature - c.celsius_zero)
    return c.fresh_snow_density_cold + c.fresh_snow_density_gain * math.exp(t / c.fresh_snow_density_scale)


@compiled
def staying_share(slope: float, c: Any) -> float:
    """Share of falling snow that stays on a `slope` [rad]. Source: EN1991-1-3 (roofs), relative to a flat one."""
    return min(1.0, max(0.0, (c.snow_slides_off - slope) / (c.snow_slides_off - c.snow_slides_from)))


@compiled
def fall_on_slope(fall: float, slope: float, c: Any) -> float:
    """Snow that stays per area of the slope [kg m-2 s-1] from `fall` per horizontal area."""
    return fall * math.cos(slope) * staying_share(slope, c)


@compiled
def snow_conductivity(density: float, c: Any) -> float:
    """Effective thermal conductivity of snow [W m-1 K-1]. Source: Calonne2011."""
    return c.snow_conductivity_0 + density * (c.snow_conductivity_1 + density * c.snow_conductivity_2)


@compiled
def snow_resistance(mass: float, density: float, c: Any) -> float:
    """Thermal resistance [m2 K W-1] of `mass` [kg m-2] of snow."""
    return mass / (density * snow_conductivity(density, c))


@compiled
def settled_density(density: float, wet: bool, step: float, c: Any) -> float:
    """Density [kg m-3] after `step` [s]: tends to that of settled dry or of wet snow, never falls. Source: Verseghy1991."""
    limit = c.wet_snow_density if wet else c.settled_snow_density
    if density >= limit:
        return density
    return limit + (density - limit) * math.exp(-c.snow_settling_rate * step)


@compiled
def albedo_after(albedo: float, fallen: float, wet: bool, step: float, c: Any) -> float:
    """Albedo of snow after `step` [s] in which `fallen` [kg m-2] of fresh snow came. Source: Douville1995."""
    if wet:
        aged = c.old_snow_albedo + (albedo - c.old_snow_albedo) * math.exp(-c.wet_snow_darkening * step)
    else:
        aged = max(c.old_snow_albedo, albedo - c.cold_snow_darkening * step)
    return aged + (c.fresh_snow_albedo - aged) * min(1.0, fallen / c.snow_renewal)


@compiled
def snow_surface_temperature(base: float, resistance: float, film: float, outside: float, c: Any) -> float:
    """Temperature of the snow's surface [K], at most 0 degC.

    base : of what it lies on [K]; resistance of the snow [m2 K W-1]; film : to outside, radiation included [W m-2 K-1];
    outside : temperature that stands for air, sky and sun together [K]. Steady conduction, exact.
    """
    free = (base + resistance * film * outside) / (1.0 + resistance * film)
    return min(free, c.celsius_zero)


@compiled
def melt_from_below(gain: float, surface: float, resistance: float, c: Any) -> float:
    """Melt at the snow's base [kg m-2 s-1]: heat from the pile that the snow does not conduct away.

    gain : heat that arrives from below [W m-2]; surface : temperature of the snow's surface [K]; resistance of the snow
    [m2 K W-1]. The base is at 0 degC while it melts. Steady conduction, exact.
    """
    away = max(0.0, c.celsius_zero - surface) / resistance
    return max(0.0, gain - away) / c.latent_heat_of_fusion


@compiled_part
def _fallen(snow: Snow, fall: float, rain: float, air_temperature: float, step: float, c: Any) -> Snow:
    """The snow with what fell in the step, before any heat: fresh and old volumes add."""
    fresh, wet = fall * step, rain * step
    t = air_temperature - c.celsius_zero
    brought = fresh * c.ice_heat_capacity * min(t, 0.0) + wet * c.water_heat_capacity * max(t, 0.0)
    density = snow.density
    if fresh > 0.0:
        density = (snow.ice + fresh) / (snow.ice / snow.density + fresh / fresh_snow_density(air_temperature, c))
    return Snow(snow.ice + fresh, snow.water + wet, snow.heat + brought, density, snow.albedo)


@compiled_part
def _settle_energy(ice: float, water: float, heat: float, c: Any) -> tuple[float, float, float, float]:
    """Ice, water, heat and surplus of snow whose heat may be above 0 while ice is left, or below 0 while water is."""
    if heat > 0.0:
        melted = min(ice, heat / c.latent_heat_of_fusion)
        return ice - melted, water + melted, 0.0, heat - melted * c.latent_heat_of_fusion
    frozen = min(water, -heat / c.latent_heat_of_fusion)
    return ice + frozen, water - frozen, min(0.0, heat + frozen * c.latent_heat_of_fusion), 0.0


@compiled
def snow_after(snow: Snow, fall: float, rain: float, air_temperature: float, above: float, below: float, surface: float,
               step: float, c: Any) -> tuple[Snow, Melt]:
    """Snow after `step` [s]; water and energy balance exactly.

    Parameters
    ----------
    snow : Snow
        Before; with no ice its density does not count.
    fall, rain : float
        That stay on the slope [kg m-2 s-1].
    air_temperature : float
        Of what falls [K].
    above : float
        Net gain of the snow's upper side from air, sky and sun [W m-2].
    below : float
        Heat from the pile into the snow's base [W m-2].
    surface : float
        Temperature of the snow's surface [K], for what the snow conducts away from its base.
    """
    with_fall = _fallen(snow, fall, rain, air_temperature, step, c)
    ice, drained = with_fall.ice, 0.0
    base_heat = below * step
    if ice > 0.0:
        rate = melt_from_below(below, surface, snow_resistance(ice, with_fall.density, c), c)
        drained = min(ice, rate * step)
        ice -= drained
        base_heat -= drained * c.latent_heat_of_fusion
    ice, water, heat, surplus = _settle_energy(ice, with_fall.water, with_fall.heat + above * step + base_heat, c)
    kept = min(water, c.snow_holding_share * ice)
    wet = kept > 0.0
    if ice <= 0.0:
        return Snow(0.0, 0.0, 0.0, with_fall.density, snow.albedo), Melt(drained + water, surplus + heat)
    density = settled_density(with_fall.density, wet, step, c)
    albedo = albedo_after(snow.albedo, fall * step, wet, step, c)
    return Snow(ice, kept, heat, density, albedo), Melt(drained + water - kept, surplus)
