"""Wind at the outer surface: convection in thin air, vapour film, speed near the ground, pressure on the flanks.

Scalars in SI units, the run-time record ``c`` (constants, site pressure) last.
"""

from __future__ import annotations

import math
from typing import Any

from pilesim.base.compiled import compiled, compiled_part
from pilesim.matter.moist_air import oxygen_diffusivity


@compiled
def convective_film(wind_speed: float, c: Any) -> float:
    """Convective heat transfer coefficient [W m-2 K-1] in `wind_speed` [m s-1], radiation not included.

    2.8 + 3.0 v, above the wind law's limit with its power. In thin air the still part falls with pressure to the 2/3
    (free convection), the wind's part to the 0.8 (forced). Source: Watmuff1977, McAdams1954, Incropera.
    """
    thinner = c.pressure / c.standard_pressure
    still = c.convective_still_air_coefficient * thinner**c.natural_pressure_exponent
    forced = c.convective_wind_coefficient * min(wind_speed, c.wind_law_limit) * thinner**c.convection_pressure_exponent
    return (still + forced) * (max(wind_speed, c.wind_law_limit) / c.wind_law_limit) ** c.wind_exponent


@compiled
def air_conductivity(temperature: float, c: Any) -> float:
    """Thermal conductivity of air [W m-1 K-1] at `temperature` [K]. Source: Lemmon2004."""
    return c.air_conductivity * (temperature / c.diffusivity_reference_temperature) ** c.air_conductivity_exponent


@compiled
def lewis_number(temperature: float, c: Any) -> float:
    """Thermal over vapour diffusivity of dry air [1] at `temperature` [K]; pressure cancels."""
    density = c.pressure * c.dry_air_molar_mass / (c.gas_constant * temperature)
    thermal = air_conductivity(temperature, c) / (density * c.dry_air_heat_capacity)
    return thermal / (c.vapour_diffusivity_ratio * oxygen_diffusivity(temperature, c))


@compiled
def vapour_film(film: float, temperature: float, c: Any) -> float:
    """Mass transfer coefficient of water vapour [m s-1] that goes with the convective `film` [W m-2 K-1].

    Source: Incropera (Chilton and Colburn): h / (rho c_p) over the Lewis number to the 2/3.
    """
    density = c.pressure * c.dry_air_molar_mass / (c.gas_constant * temperature)
    return film / (density * c.dry_air_heat_capacity * lewis_number(temperature, c) ** c.lewis_exponent)


@compiled
def wind_at_height(speed: float, measured_at: float, wanted: float, c: Any) -> float:
    """Wind [m s-1] at the height `wanted` [m] from `speed` [m s-1] at `measured_at` [m], over short grass.

    Source: FAO56, logarithmic profile; heights above 0.1 m, lower ones count as 0.1 m's zero.
    """
    low = math.log(max(1.0, c.roughness_factor * wanted - c.roughness_offset))
    return speed * low / math.log(c.roughness_factor * measured_at - c.roughness_offset)


@compiled_part
def _by_slope(slope: float, at_30: float, at_45: float, at_60: float, at_75: float, c: Any) -> float:
    place = min(3.0, max(0.0, (slope - c.pressure_table_start) / c.pressure_table_step))
    if place <= 1.0:
        return at_30 + place * (at_45 - at_30)
    if place <= 2.0:
        return at_45 + (place - 1.0) * (at_60 - at_45)
    return at_60 + (place - 2.0) * (at_75 - at_60)


@compiled
def pressure_coefficient(angle: float, slope: float, c: Any) -> float:
    """Wind pressure over dynamic pressure [1] on a flank of `slope` [rad].

    Parameters
    ----------
    angle : float
        Between where the wind comes from and where the flank faces [rad]: 0 is windward, pi is lee.

    Source: EN1991-1-4 for wind across and along the ridge; between them with the squared cosine, a guess that has the
    right values and symmetry. Roofs on walls, not piles: expect the sign and the size, not the second digit.
    """
    across = math.cos(angle)
    if across >= 0.0:
        facing = _by_slope(slope, c.windward_pressure_30, c.windward_pressure_45, c.windward_pressure_60,
                           c.windward_pressure_75, c)
    else:
        facing = _by_slope(slope, c.lee_pressure_30, c.lee_pressure_45, c.lee_pressure_60, c.lee_pressure_75, c)
    return c.side_pressure + across * across * (facing - c.side_pressure)


@compiled
def wind_pressure(speed: float, coefficient: float, density: float) -> float:
    """Pressure [Pa] on a flank in wind of `speed` [m s-1] at the pile's height, air of `density` [kg m-3]. Bernoulli."""
    return coefficient * 0.5 * density * speed * speed
