"""Property laws of a porous organic bed: pore space, conductivity, diffusion, permeability, water binding.

Scalars in SI units, the run-time record ``c`` last. Volumes and masses are per bulk volume unless said otherwise.
"""

from __future__ import annotations

import math
from typing import Any

from pilesim.base.compiled import compiled, compiled_part


@compiled
def total_porosity(organic: float, ash: float, c: Any) -> float:
    """Total porosity [1] of a bed with `organic` matter and `ash` [kg m-3]. Source: vanGinkel1999."""
    return 1.0 - organic / c.organic_particle_density - ash / c.ash_particle_density


@compiled
def air_filled_porosity(porosity: float, saturation: float, c: Any) -> float:
    """Free air space [1] at degree of `saturation` [1]; never below the smallest value the laws stand."""
    return max(porosity * (1.0 - saturation), c.smallest_air_filled_porosity)


@compiled
def dry_heat_capacity(organic: float, ash: float, c: Any) -> float:
    """Heat capacity [J K-1] of `organic` matter and `ash` [kg], without water."""
    return c.organic_heat_capacity * organic + c.ash_heat_capacity * ash


@compiled
def thermal_conductivity(porosity: float, saturation: float, frozen: float, c: Any) -> float:
    """Thermal conductivity [W m-1 K-1] without vapour diffusion, at `frozen` share of the water.

    Source: Johansen1975, linear in saturation (Ahn2009).
    """
    fluid = c.water_conductivity
    if frozen > 0.0:
        fluid = c.water_conductivity ** (1.0 - frozen) * c.ice_conductivity**frozen
    saturated = c.solid_conductivity ** (1.0 - porosity) * fluid**porosity
    return c.dry_bed_conductivity + (saturated - c.dry_bed_conductivity) * saturation


@compiled
def relative_gas_diffusivity(air: float, porosity: float, c: Any) -> float:
    """Effective over free-air diffusivity [1] at free air space `air`. Source: Moldrup2000."""
    return air**c.diffusion_porosity_exponent / porosity**c.diffusion_total_porosity_exponent


@compiled
def kozeny_carman(air: float, c: Any) -> float:
    """Dependence of permeability on free air space `air` [1]. Source: KozenyCarman."""
    return air**c.kozeny_numerator_exponent / (1.0 - air) ** c.kozeny_denominator_exponent


@compiled_part
def capillary_conductance(porosity: float, saturation: float, c: Any) -> float:
    """Liquid water moved per unit gradient of saturation [kg m-1 s-1]."""
    return c.water_density * porosity * c.capillary_diffusivity * saturation**c.capillary_exponent


@compiled
def drainage_potential(porosity: float, saturation: float, c: Any) -> float:
    """Downward flux of liquid water [kg m-2 s-1] above field capacity (free air space too small)."""
    excess = saturation - max(porosity - c.field_capacity_air_space, 0.0) / porosity
    return c.water_density * c.drainage_velocity * max(excess, 0.0)


@compiled
def water_activity(moisture: float, c: Any) -> tuple[float, float]:
    """Water activity [1] and its derivative at `moisture` [kg water per kg dry matter]. Tuned form."""
    if moisture >= c.moisture_of_full_activity:
        return 1.0, 0.0
    if moisture <= 0.0:
        return 0.0, 0.0
    power = c.water_activity_coefficient * moisture**c.water_activity_exponent
    rest = math.exp(-power)
    return 1.0 - rest, rest * power * c.water_activity_exponent / moisture
