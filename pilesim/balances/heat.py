"""Heat: stored enthalpy of a node, per section length, relative to liquid water and solids at 0 degC.

    dE/dt = conduction + enthalpy carried by gas, diffusing vapour and liquid + respiration

E is piecewise linear in temperature: liquid above 0 degC, freezing evenly over the range below, ice under it.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled, compiled_part


@compiled_part
def frozen_share(temperature: float, c: Any) -> float:
    """Share of the water that is ice [1] at `temperature` [K]."""
    return min(max((c.celsius_zero - temperature) / c.freezing_range, 0.0), 1.0)


@compiled
def stored_enthalpy(temperature: float, water: float, ground_water: float, dry_capacity: float, c: Any) -> float:
    """Enthalpy of a node [J m-1].

    Parameters
    ----------
    temperature : float
        [K].
    water : float
        Water and ice of pile materials [kg m-1].
    ground_water : float
        Freezable water of the ground; its sensible heat is part of `dry_capacity` [kg m-1].
    dry_capacity : float
        Heat capacity of solids, and of the ground as a whole [J K-1 m-1].
    """
    warmth = temperature - c.celsius_zero
    if warmth >= 0.0:
        return (dry_capacity + c.water_heat_capacity * water) * warmth
    freezing = max(warmth, -c.freezing_range)
    below = warmth - freezing
    return ((dry_capacity + c.water_heat_capacity * water) * freezing
            + c.latent_heat_of_fusion * (water + ground_water) * freezing / c.freezing_range
            + (dry_capacity + c.ice_heat_capacity * water) * below)


@compiled
def apparent_heat_capacity(temperature: float, water: float, ground_water: float, dry_capacity: float,
                           c: Any) -> float:
    """Temperature derivative of `stored_enthalpy` [J K-1 m-1]."""
    warmth = temperature - c.celsius_zero
    if warmth >= 0.0:
        return dry_capacity + c.water_heat_capacity * water
    if warmth >= -c.freezing_range:
        return (dry_capacity + c.water_heat_capacity * water
                + c.latent_heat_of_fusion * (water + ground_water) / c.freezing_range)
    return dry_capacity + c.ice_heat_capacity * water


@compiled
def enthalpy_of_water(temperature: float, c: Any) -> float:
    """Enthalpy of water or ice in place [J kg-1]: derivative of `stored_enthalpy` with water."""
    warmth = temperature - c.celsius_zero
    if warmth >= 0.0:
        return c.water_heat_capacity * warmth
    freezing = max(warmth, -c.freezing_range)
    return ((c.water_heat_capacity + c.latent_heat_of_fusion / c.freezing_range) * freezing
            + c.ice_heat_capacity * (warmth - freezing))


@compiled
def temperature_of(stored: float, water: float, ground_water: float, dry_capacity: float, c: Any) -> float:
    """Temperature [K] that stores `stored` [J m-1]: the inverse of `stored_enthalpy`."""
    wet = dry_capacity + c.water_heat_capacity * water
    if stored >= 0.0:
        return c.celsius_zero + stored / wet
    freezing = wet + c.latent_heat_of_fusion * (water + ground_water) / c.freezing_range
    if stored >= -freezing * c.freezing_range:
        return c.celsius_zero + stored / freezing
    rest = stored + freezing * c.freezing_range
    return c.celsius_zero - c.freezing_range + rest / (dry_capacity + c.ice_heat_capacity * water)


@compiled
def stored_enthalpies(temperature: Any, water: Any, ground_water: Any, dry_capacity: Any, out: Any, c: Any) -> None:
    """`stored_enthalpy` of every node, written to `out`."""
    for n in range(out.size):
        out[n] = stored_enthalpy(temperature[n], water[n], ground_water[n], dry_capacity[n], c)


@compiled
def temperatures_of(stored: Any, water: Any, ground_water: Any, dry_capacity: Any, out: Any, c: Any) -> None:
    """`temperature_of` every node, written to `out`; 0 degC where nothing stores heat."""
    for n in range(out.size):
        out[n] = c.celsius_zero
        if dry_capacity[n] + water[n] > 0.0:
            out[n] = temperature_of(stored[n], water[n], ground_water[n], dry_capacity[n], c)
