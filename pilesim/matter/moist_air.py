"""Moist air and pore gas on the basis of dry gas: saturation, enthalpy, concentration, transport properties.

All functions take scalars in SI units and the run-time record ``c`` (constants, options, site pressure) last.
Saturation pressure is by far the dearest law of a node visit, so beds read it from a table that the record carries.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pilesim.base.compiled import compiled, compiled_part

TABLE_PER_KELVIN = 2  # intervals; a cubic through values and slopes at their ends is within 3e-9 of the law
TABLE_BELOW = 80  # K below 0 degC where the table starts
TABLE_SIZE = TABLE_PER_KELVIN * (TABLE_BELOW + 120)
TABLE_SHAPE = (TABLE_SIZE, 4)


@compiled
def saturation_pressure(temperature: float, c: Any) -> float:
    """Saturation pressure of water vapour over liquid water [Pa] at `temperature` [K]. Source: Huang2018."""
    t = temperature - c.celsius_zero
    return math.exp(
        c.saturation_a - c.saturation_b / (t + c.saturation_c) - c.saturation_e * math.log(t + c.saturation_d)
    )


@compiled
def ice_saturation_pressure(temperature: float, c: Any) -> float:
    """Saturation pressure of water vapour over ice [Pa] at `temperature` [K]. Source: Huang2018."""
    t = temperature - c.celsius_zero
    return math.exp(c.ice_saturation_a - c.ice_saturation_b / (t + c.ice_saturation_c)
                    - c.ice_saturation_e * math.log(t + c.ice_saturation_d))


@compiled
def bed_saturation_pressure(temperature: float, c: Any) -> float:
    """Saturation pressure in a wet bed [Pa]: over ice below 0 degC, else over water."""
    if temperature < c.celsius_zero:
        return ice_saturation_pressure(temperature, c)
    return saturation_pressure(temperature, c)


@compiled
def saturation_pressure_slope(temperature: float, saturation: float, c: Any) -> float:
    """Temperature derivative [Pa K-1] of `saturation` = bed_saturation_pressure(`temperature` [K])."""
    if temperature < c.celsius_zero:
        return _ice_slope(temperature, saturation, c)
    return _water_slope(temperature, saturation, c)


@compiled_part
def _ice_slope(temperature: float, saturation: float, c: Any) -> float:
    t = temperature - c.celsius_zero
    return saturation * (c.ice_saturation_b / (t + c.ice_saturation_c) ** 2
                         - c.ice_saturation_e / (t + c.ice_saturation_d))


@compiled_part
def _water_slope(temperature: float, saturation: float, c: Any) -> float:
    t = temperature - c.celsius_zero
    return saturation * (c.saturation_b / (t + c.saturation_c) ** 2 - c.saturation_e / (t + c.saturation_d))


@compiled
def fill_saturation_table(c: Any) -> None:
    """Write the cubics of `bed_saturation_pressure` to ``c.saturation_table``: by powers of the part of an interval.

    No interval reaches across 0 degC, where the law has a kink.
    """
    width = 1.0 / TABLE_PER_KELVIN
    for i in range(TABLE_SIZE):
        low = c.celsius_zero + (i - TABLE_BELOW * TABLE_PER_KELVIN) * width
        if low < c.celsius_zero:
            a, b = ice_saturation_pressure(low, c), ice_saturation_pressure(low + width, c)
            u, v = _ice_slope(low, a, c) * width, _ice_slope(low + width, b, c) * width
        else:
            a, b = saturation_pressure(low, c), saturation_pressure(low + width, c)
            u, v = _water_slope(low, a, c) * width, _water_slope(low + width, b, c) * width
        c.saturation_table[i, 0] = a
        c.saturation_table[i, 1] = u
        c.saturation_table[i, 2] = 3.0 * (b - a) - 2.0 * u - v
        c.saturation_table[i, 3] = 2.0 * (a - b) + u + v


@compiled
def tabled_saturation(temperature: float, c: Any) -> tuple[float, float]:
    """`bed_saturation_pressure` [Pa] and its slope [Pa K-1] from the record's table; from the law outside it."""
    place = (temperature - c.celsius_zero) * TABLE_PER_KELVIN + TABLE_BELOW * TABLE_PER_KELVIN
    if not 0.0 <= place < TABLE_SIZE:
        exact = bed_saturation_pressure(temperature, c)
        return exact, saturation_pressure_slope(temperature, exact, c)
    i = np.uint32(place)
    part = place - i
    row = c.saturation_table
    first, second, third = row[i, 1], row[i, 2], row[i, 3]
    value = row[i, 0] + part * (first + part * (second + part * third))
    return value, (first + part * (2.0 * second + 3.0 * part * third)) * TABLE_PER_KELVIN


@compiled
def activity_of_air(temperature: float, humidity: float, c: Any) -> float:
    """Activity [1] of air of relative `humidity` [1], which by convention refers to water at any `temperature` [K]."""
    return humidity * saturation_pressure(temperature, c) / bed_saturation_pressure(temperature, c)


@compiled
def vapour_pressure(temperature: float, activity: float, c: Any) -> float:
    """Vapour pressure [Pa] over a bed of water `activity` [1]; kept below its largest share of the total pressure."""
    if c.moist <= 0.0:
        return 0.0
    return min(activity * tabled_saturation(temperature, c)[0], c.largest_vapour_share * c.pressure)


@compiled
def vapour_ratio(temperature: float, activity: float, c: Any) -> tuple[float, float, float]:
    """Water vapour per amount of dry gas and its derivatives.

    Parameters
    ----------
    temperature : float
        [K].
    activity : float
        Water activity (relative humidity in equilibrium with the bed) [1].

    Returns
    -------
    tuple of float
        Ratio [kg mol-1], its derivatives with temperature [kg mol-1 K-1] and with activity [kg mol-1].

    Source: Dalton's law; exact for ideal gases.
    """
    if c.moist <= 0.0:
        return 0.0, 0.0, 0.0
    saturation, climb = tabled_saturation(temperature, c)
    vapour = min(activity * saturation, c.largest_vapour_share * c.pressure)
    per_dry = 1.0 / (c.pressure - vapour)
    unit = c.water_molar_mass * per_dry
    gain = unit * c.pressure * per_dry
    return unit * vapour, gain * activity * climb, gain * saturation


@compiled
def vapour_enthalpy(temperature: float, c: Any) -> float:
    """Enthalpy of water vapour [J kg-1] above liquid water at 0 degC."""
    return c.latent_heat_of_vaporisation + c.vapour_heat_capacity * (temperature - c.celsius_zero)


@compiled
def moist_enthalpy(temperature: float, ratio: float, c: Any) -> float:
    """Enthalpy of moist gas [J per mol of dry gas] with `ratio` [kg vapour per mol]; zero for dry gas at 0 degC.

    Source: ASHRAE.
    """
    dry = c.dry_air_molar_mass * c.dry_air_heat_capacity * (temperature - c.celsius_zero)
    return dry + ratio * vapour_enthalpy(temperature, c)


@compiled
def dry_gas_concentration(temperature: float, vapour: float, c: Any) -> float:
    """Amount of dry gas per gas volume [mol m-3] at `vapour` pressure [Pa]."""
    return (c.pressure - vapour) / (c.gas_constant * temperature)


@compiled
def viscosity(temperature: float, c: Any) -> float:
    """Dynamic viscosity of air [Pa s]. Source: Sutherland."""
    return c.viscosity_coefficient * temperature * math.sqrt(temperature) / (temperature + c.viscosity_temperature)


@compiled
def humid_viscosity(temperature: float, vapour_fraction: float, c: Any) -> float:
    """Dynamic viscosity of humid air [Pa s] with `vapour_fraction` [mol per mol]. Source: Wilke1950.

    Saturated air at 60 degC is a tenth less viscous than dry air.
    """
    air = viscosity(temperature, c)
    if vapour_fraction <= 0.0:
        return air
    vapour = c.vapour_viscosity_at_zero + c.vapour_viscosity_slope * (temperature - c.celsius_zero)
    mass = c.water_molar_mass / c.dry_air_molar_mass
    root = math.sqrt(air / vapour * math.sqrt(mass))
    air_by_vapour = (1.0 + root) ** 2 / math.sqrt(8.0 * (1.0 + 1.0 / mass))
    vapour_by_air = (1.0 + 1.0 / root) ** 2 / math.sqrt(8.0 * (1.0 + mass))
    dry = 1.0 - vapour_fraction
    return air * dry / (dry + vapour_fraction * air_by_vapour) + vapour * vapour_fraction / (
        vapour_fraction + dry * vapour_by_air)


@compiled
def oxygen_diffusivity(temperature: float, c: Any) -> float:
    """Diffusivity of oxygen in free air [m2 s-1] at the site pressure. Source: Glinski1985, Monteith2013."""
    ratio = temperature / c.diffusivity_reference_temperature
    return c.oxygen_diffusivity * ratio**c.diffusivity_exponent * c.standard_pressure / c.pressure


@compiled
def dry_gas_molar_mass(oxygen: float, c: Any) -> float:
    """Molar mass of dry gas [kg mol-1] whose oxygen mole fraction fell to `oxygen` by respiration."""
    spent = c.ambient_oxygen - oxygen
    carbon_dioxide = c.ambient_carbon_dioxide + c.respiratory_quotient * spent
    return c.inert_gas_molar_mass + oxygen * (c.oxygen_molar_mass - c.inert_gas_molar_mass) + carbon_dioxide * (
        c.carbon_dioxide_molar_mass - c.inert_gas_molar_mass
    )
