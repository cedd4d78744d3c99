"""Heat: stored enthalpy of a node, per section length, relative to liquid water and solids at 0 degC.

    d/dt (C_dry + c_w W)(T - T0) = conduction + enthalpy carried by gas, diffusing vapour and liquid + respiration
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled


@compiled
def stored_enthalpy(temperature: float, water: float, dry_heat_capacity: float, c: Any) -> float:
    """Enthalpy [J m-1] of a node with `water` [kg m-1] and `dry_heat_capacity` [J K-1 m-1] at `temperature` [K]."""
    return (dry_heat_capacity + c.water_heat_capacity * water) * (temperature - c.celsius_zero)


@compiled
def temperature_of(enthalpy: float, water: float, dry_heat_capacity: float, c: Any) -> float:
    """Temperature [K] that stores `enthalpy` [J m-1]."""
    return c.celsius_zero + enthalpy / (dry_heat_capacity + c.water_heat_capacity * water)
