"""Air, sky and sun together at an outer surface: one film coefficient and one temperature that stand for them all.

So a surface that knows only a film and an outside temperature takes sun and sky without a change. Scalars in SI units,
the record ``c`` last; gains are positive INTO the surface.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled
from pilesim.matter.sky import net_longwave
from pilesim.matter.wind import convective_film


@compiled
def surface_gain(surface: float, air: float, wind_speed: float, sun: float, longwave: float, ground: float, slope: float,
                 absorptivity: float, emissivity: float, c: Any) -> float:
    """Heat gain of an outer surface from air, sun and sky, without evaporation [W m-2].

    Parameters
    ----------
    surface, air, ground : float
        Temperatures of the surface, of the air and of the ground beside it [K].
    wind_speed : float
        At the pile [m s-1].
    sun : float
        That falls on the surface [W m-2 of it].
    longwave : float
        From the sky on a horizontal plane [W m-2].
    slope : float
        From the horizontal [rad].
    absorptivity, emissivity : float
        Of the surface for sun and for longwave [1]; snow absorbs 1 - albedo.
    """
    convection = convective_film(wind_speed, c) * (air - surface)
    return convection + absorptivity * sun + net_longwave(surface, longwave, ground, slope, emissivity, c)


@compiled
def film_and_temperature(surface: float, air: float, wind_speed: float, sun: float, longwave: float, ground: float,
                         slope: float, absorptivity: float, emissivity: float, c: Any) -> tuple[float, float]:
    """Film coefficient [W m-2 K-1] and outside temperature [K] that stand for air, sun and sky near a `surface` temperature.

    film x (outside - T) is the gain and has its slope exactly at T = `surface`; a Newton step of the balance needs no more.
    Parameters as :func:`surface_gain`. Source: the sol-air temperature of handbooks of building physics.
    """
    film = convective_film(wind_speed, c) + 2.0 * 2.0 * emissivity * c.stefan_boltzmann * surface * surface * surface
    gain = surface_gain(surface, air, wind_speed, sun, longwave, ground, slope, absorptivity, emissivity, c)
    return film, surface + gain / film


@compiled
def compost_outside(surface: float, air: float, wind_speed: float, sun: float, longwave: float, ground: float, slope: float,
                    c: Any) -> tuple[float, float]:
    """:func:`film_and_temperature` of bare, damp compost."""
    return film_and_temperature(surface, air, wind_speed, sun, longwave, ground, slope, c.surface_absorptivity,
                                c.surface_emissivity, c)


@compiled
def snow_outside(surface: float, air: float, wind_speed: float, sun: float, longwave: float, ground: float, slope: float,
                 albedo: float, c: Any) -> tuple[float, float]:
    """:func:`film_and_temperature` of snow of `albedo` [1]."""
    return film_and_temperature(surface, air, wind_speed, sun, longwave, ground, slope, 1.0 - albedo, c.snow_emissivity, c)
