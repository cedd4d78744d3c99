"""Gas flow: density for buoyancy and mobility for Darcy's law, per node.

    div N = -(1 - RQ) R_O2,    N = n_d u,    u = -(K / mu) (grad p' - (rho_a - rho) g z^)

p' is the pressure above the hydrostatic column of ambient air; N is the flux of dry gas [mol m-2 s-1].
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled, compiled_part
from pilesim.matter.moist_air import dry_gas_concentration, dry_gas_molar_mass, humid_viscosity, vapour_pressure


@compiled
def gas_density(temperature: float, activity: float, oxygen: float, c: Any) -> float:
    """Density of pore gas [kg m-3] at `temperature` [K], water `activity` [1], `oxygen` mole fraction of dry gas [1]."""
    vapour = vapour_pressure(temperature, activity, c)
    spent = c.composition_in_density * (oxygen - c.ambient_oxygen)
    dry = dry_gas_concentration(temperature, vapour, c) * dry_gas_molar_mass(c.ambient_oxygen + spent, c)
    return dry + vapour * c.water_molar_mass / (c.gas_constant * temperature)


@compiled_part
def buoyancy(temperature: float, activity: float, oxygen: float, c: Any) -> float:
    """Upward force per volume of gas [N m-3] against the ambient column."""
    return c.gravity * (c.ambient_density - gas_density(temperature, activity, oxygen, c))


@compiled
def gas_mobility(temperature: float, activity: float, c: Any) -> float:
    """n_d / mu [mol m-3 Pa-1 s-1]: times permeability and pressure gradient it gives the flux of dry gas.

    In reduced physics of constant density both are the reference values.
    """
    if c.constant_density > 0.0:
        return c.reference_concentration / c.reference_viscosity
    vapour = vapour_pressure(temperature, activity, c)
    return dry_gas_concentration(temperature, vapour, c) / humid_viscosity(temperature, vapour / c.pressure, c)
