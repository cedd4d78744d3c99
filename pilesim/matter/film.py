"""The wet outer surface: evaporation and condensation, rain that wets it and rain that runs off.

Fluxes per area of the surface; vapour leaves and heat enters positive. Scalars in SI units, the record ``c`` last.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled
from pilesim.matter.moist_air import bed_saturation_pressure, dry_gas_concentration, vapour_enthalpy


@compiled
def evaporation(surface: float, activity: float, air_temperature: float, air_vapour: float, mass_film: float,
                c: Any) -> float:
    """Water that leaves the surface [kg m-2 s-1]; negative is dew or frost.

    Parameters
    ----------
    surface : float
        Its temperature [K].
    activity : float
        Water activity of the surface [1]; 1 for free water or ice.
    air_temperature, air_vapour : float
        Of the air [K], [Pa].
    mass_film : float
        Mass transfer coefficient [m s-1].

    Source: on the basis of dry gas, as in the pile: film x dry-gas concentration x difference of vapour ratios.
    """
    dry = dry_gas_concentration(air_temperature, air_vapour, c)
    at_surface = min(activity * bed_saturation_pressure(surface, c), c.largest_vapour_share * c.pressure)
    difference = at_surface / (c.pressure - at_surface) - air_vapour / (c.pressure - air_vapour)
    return mass_film * dry * c.water_molar_mass * difference


@compiled
def heat_of_evaporation(surface: float, c: Any) -> float:
    """Heat that evaporation takes from the surface [J kg-1]: of vaporisation, below 0 degC of sublimation."""
    t = surface - c.celsius_zero
    if t < 0.0:
        return vapour_enthalpy(surface, c) - c.ice_heat_capacity * t + c.latent_heat_of_fusion
    return vapour_enthalpy(surface, c) - c.water_heat_capacity * t


@compiled
def film_after(film: float, rain: float, evaporated: float, step: float, c: Any) -> tuple[float, float, float, float]:
    """The water film after `step` [s], and where its water went.

    Parameters
    ----------
    film : float
        Water on the surface [kg m-2].
    rain : float
        Falling on it, condensation not included [kg m-2 s-1 of the slope's own area].
    evaporated : float
        Potential evaporation [kg m-2 s-1]; negative condenses.

    Returns
    -------
    tuple of float
        Film [kg m-2]; taken up by the cover, run off, evaporated over the step [kg m-2]. They balance exactly. What is
        there evaporates first, then the cover takes up water at its largest rate, what exceeds the film's capacity runs off.
    """
    there = film + rain * step
    gone = min(evaporated * step, there)
    there -= gone
    taken = min(there, c.cover_intake_rate * step)
    there -= taken
    kept = min(there, c.film_capacity)
    return kept, taken, there - kept, gone


@compiled
def heat_of_rain(rain: float, rain_temperature: float, surface: float, c: Any) -> float:
    """Heat that `rain` [kg m-2 s-1] brings to the surface [W m-2] by cooling to it; freezing is the surface's own matter."""
    return rain * c.water_heat_capacity * (rain_temperature - surface)
