"""Air, sky and sun together at an outer surface: one film coefficient and one temperature that stand for them all.

So a surface that knows only a film and an outside temperature takes sun and sky without a change. Scalars in SI units,
the record ``c`` last; gains are positive INTO the surface.
"""

from __future__ import annotations

from typing import Any

from pilesim.base.compiled import compiled
from pilesim.matter.sky import net_longwave, radiative_film
from pilesim.matter.wind import convective_film


@compiled
def film_without_sky(wind_speed: float, air: float, c: Any) -> float:
    """Film coefficient [W m-2 K-1] of compost in `wind_speed` [m s-1] among surroundings as warm as the `air` [K].

    That of :func:`film_and_temperature` at the air's temperature, without sun and under a sky as warm as the air.
    """
    return convective_film(wind_speed, c) + radiative_film(air, air, c.surface_emissivity, c)


@compiled
def film_and_temperature(surface: float, air: float, convection: float, sun: float, longwave: float, slope: float,
                         absorptivity: float, emissivity: float, c: Any) -> tuple[float, float]:
    """Film coefficient [W m-2 K-1] and outside temperature [K] that stand for air, sun and sky near a `surface` temperature.

    film x (outside - T) is the gain and has its slope exactly at T = `surface`; a Newton step of the balance needs no more.

    Parameters
    ----------
    surface, air : float
        Temperatures of the surface and of the air [K]; the ground that a slope sees is as warm as the air.
    convection : float
        Convective film [W m-2 K-1].
    sun : float
        That falls on the surface [W m-2 of it].
    longwave : float
        From the sky on a horizontal plane [W m-2].
    slope : float
        From the horizontal [rad].
    absorptivity, emissivity : float
        Of the surface for sun and for longwave [1]; snow absorbs 1 - albedo.

    Source: the sol-air temperature of handbooks of building physics.
    """
    film = convection + radiative_film(surface, surface, emissivity, c)
    gain = (convection * (air - surface) + absorptivity * sun
            + net_longwave(surface, longwave, air, slope, emissivity, c))
    return film, surface + gain / film
