"""Longwave exchange with the sky: dew point, emissivity and temperature of the sky, net gain of a slope.

Scalars in SI units, the run-time record ``c`` (constants, site pressure) last. Gains are positive INTO the surface.
"""

from __future__ import annotations

import math
from typing import Any

from pilesim.base.compiled import compiled
from pilesim.matter.moist_air import saturation_pressure
from pilesim.matter.sun import sky_view

_PASSES = 6     # of Newton's method on the logarithm: starts at 10 degC, exact to round-off from -60 to 60 degC


@compiled
def dew_point(vapour_pressure: float, c: Any) -> float:
    """Temperature [K] at which air of `vapour_pressure` [Pa] is saturated over water. Source: Huang2018, inverted."""
    wanted = math.log(vapour_pressure)
    t = c.celsius_zero
    for _ in range(_PASSES):
        u = t - c.celsius_zero
        slope = c.saturation_b / (u + c.saturation_c) ** 2 - c.saturation_e / (u + c.saturation_d)
        t -= (math.log(saturation_pressure(t, c)) - wanted) / slope
    return t


@compiled
def clear_sky_emissivity(dew_point_temperature: float, time_of_day: float, c: Any) -> float:
    """Emissivity of a sky without cloud [1]; thinner air radiates less.

    Parameters
    ----------
    dew_point_temperature : float
        Of the air near the ground [K].
    time_of_day : float
        Solar, since midnight, as share of a day [1].

    Source: Berdahl1984.
    """
    d = dew_point_temperature - c.celsius_zero
    daily = c.sky_emissivity_day * math.cos(2.0 * math.pi * time_of_day)
    return (c.sky_emissivity_0 + c.sky_emissivity_1 * d + c.sky_emissivity_2 * d * d + daily
            + c.sky_emissivity_pressure * (c.pressure - c.sky_reference_pressure))


@compiled
def cloudy_emissivity(clear: float, cloud: float, c: Any) -> float:
    """Emissivity of a sky with the share `cloud` [1] of opaque cloud, which radiates less the higher it stands.

    Source: Martin1984.
    """
    return clear + (1.0 - clear) * cloud * math.exp(-c.cloud_base / c.cloud_base_scale)


@compiled
def cloud_of_clearness(clearness: float, clear_day: float, c: Any) -> float:
    """Share of cloud [1] from the sun's `clearness` against that of a `clear_day`. Source: FAO56."""
    return min(1.0, max(0.0, c.cloud_clearness_slope * (1.0 - clearness / clear_day)))


@compiled
def sky_longwave(air_temperature: float, emissivity: float, c: Any) -> float:
    """Longwave radiation from the sky onto a horizontal plane [W m-2]."""
    return emissivity * c.stefan_boltzmann * air_temperature**2 * air_temperature**2


@compiled
def radiative_film(surface: float, outside: float, emissivity: float, c: Any) -> float:
    """Film coefficient [W m-2 K-1]: times `outside` - `surface` [K] it is the exact longwave gain. Exact factoring."""
    return emissivity * c.stefan_boltzmann * (surface**2 + outside**2) * (surface + outside)


@compiled
def net_longwave(surface: float, longwave: float, ground: float, slope: float, emissivity: float, c: Any) -> float:
    """Longwave gain of a slope [W m-2 of its surface].

    Parameters
    ----------
    surface, ground : float
        Temperatures of the slope and of the ground that it sees [K].
    longwave : float
        From the sky on a horizontal plane [W m-2].
    slope : float
        From the horizontal [rad].
    emissivity : float
        Of the slope [1]; the ground counts as black.
    """
    view = sky_view(slope)
    incoming = view * longwave + (1.0 - view) * c.stefan_boltzmann * ground**2 * ground**2
    return emissivity * (incoming - c.stefan_boltzmann * surface**2 * surface**2)
