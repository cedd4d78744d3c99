"""The sun on a slope: where it stands, what it gives above the air, and what a flank receives of it.

Angles in radians: `day` counts from 1 on 1 January, `azimuth` and `aspect` run clockwise from north, `hour_angle` is zero
at solar noon and positive after it, `slope` is from the horizontal. Positions here serve the monthly climate (within 1.3
degrees); hourly files use an exact algorithm (`matter/hourly.py`). Scalars, and the constants `c` last.
"""

from __future__ import annotations

import math
from typing import Any

from pilesim.base.compiled import compiled


@compiled
def inverse_squared_distance(day: float, c: Any) -> float:
    """Inverse squared distance to the sun over its mean [1]. Source: FAO56."""
    return 1.0 + c.orbit_eccentricity * math.cos(2.0 * math.pi * day / c.days_per_year)


@compiled
def declination(day: float, c: Any) -> float:
    """Declination of the sun [rad]. Source: FAO56."""
    return c.declination_amplitude * math.sin(2.0 * math.pi * day / c.days_per_year - c.declination_phase)


@compiled
def sunset_hour_angle(latitude: float, sun_declination: float) -> float:
    """Hour angle of sunset [rad], 0 in the polar night and pi in the midnight sun. Source: FAO56, spherical geometry."""
    return math.acos(min(1.0, max(-1.0, -math.tan(latitude) * math.tan(sun_declination))))


@compiled
def sun_direction(latitude: float, sun_declination: float, hour_angle: float) -> tuple[float, float]:
    """Sine of the sun's altitude [1] and its azimuth [rad, 0 to 2 pi]. Source: spherical geometry, exact."""
    across = math.cos(sun_declination)
    up = math.sin(latitude) * math.sin(sun_declination) + math.cos(latitude) * across * math.cos(hour_angle)
    east = -across * math.sin(hour_angle)
    north = math.sin(sun_declination) * math.cos(latitude) - across * math.sin(latitude) * math.cos(hour_angle)
    return up, math.atan2(east, north) % (2.0 * math.pi)


@compiled
def mean_sin_altitude(latitude: float, sun_declination: float, start: float, end: float) -> float:
    """Mean over the hour angles from `start` to `end` [rad, -pi to pi] of the sun's altitude's sine, 0 by night. Exact."""
    sunset = sunset_hour_angle(latitude, sun_declination)
    first, last = min(max(start, -sunset), sunset), min(max(end, -sunset), sunset)
    steady = math.sin(latitude) * math.sin(sun_declination) * (last - first)
    turning = math.cos(latitude) * math.cos(sun_declination) * (math.sin(last) - math.sin(first))
    return (steady + turning) / (end - start)


@compiled
def clear_day_clearness(elevation: float, c: Any) -> float:
    """Share of the extraterrestrial sun that a day without cloud brings to `elevation` [m]. Source: FAO56."""
    return c.clear_sky_clearness + c.clear_sky_clearness_slope * elevation


@compiled
def clearness_of_range(daily_range: float, elevation: float, c: Any) -> float:
    """Share of the extraterrestrial sun that reaches the ground, from the `daily_range` of the air [K].

    At most that of a day without cloud. Source: FAO56 (Hargreaves). It is what the range alone tells: against two typical
    years of cold inland sites the monthly sun was between 10 percent too low and 45 percent too high (December).
    """
    return min(c.clearness_per_root_range * math.sqrt(max(daily_range, 0.0)), clear_day_clearness(elevation, c))


@compiled
def diffuse_share(clearness: float, c: Any) -> float:
    """Share of the global sun that comes from the whole sky, at `clearness`, global over extraterrestrial. Erbs1982."""
    if clearness <= c.diffuse_low_clearness:
        return 1.0 - c.diffuse_low_slope * max(clearness, 0.0)
    if clearness > c.diffuse_high_clearness:
        return c.diffuse_clear
    k = clearness
    return c.diffuse_0 + k * (c.diffuse_1 + k * (c.diffuse_2 + k * (c.diffuse_3 + k * c.diffuse_4)))


@compiled
def split_global(global_horizontal: float, sin_altitude: float, day: float, c: Any) -> tuple[float, float]:
    """Beam on a plane facing the sun and diffuse on a horizontal one [W m-2] from the global sun [W m-2].

    With the sun lower than `lowest_sun` all of it counts as diffuse, else global = diffuse + beam x sin_altitude exactly;
    the beam is never more than through a clear sky. Source: Erbs1982.
    """
    if sin_altitude <= c.lowest_sun:
        return 0.0, global_horizontal
    facing = c.solar_constant * inverse_squared_distance(day, c)
    share = 1.0 - diffuse_share(min(global_horizontal / (facing * sin_altitude), 1.0), c)
    beam = min(share * global_horizontal / sin_altitude, (1.0 - c.diffuse_clear) * facing)
    return beam, global_horizontal - beam * sin_altitude


@compiled
def incidence(sin_altitude: float, azimuth: float, slope: float, aspect: float) -> float:
    """Cosine of the angle between the sun and the slope's normal; 0 where the sun does not reach it. Exact."""
    if sin_altitude <= 0.0:
        return 0.0
    flat = math.sqrt(max(0.0, 1.0 - sin_altitude * sin_altitude))
    return max(0.0, sin_altitude * math.cos(slope) + flat * math.sin(slope) * math.cos(azimuth - aspect))


@compiled
def sky_view(slope: float) -> float:
    """Share of the half space above a slope that is sky [1]; the rest is ground. Exact for a horizontal surrounding."""
    return 0.5 * (1.0 + math.cos(slope))


@compiled
def sun_on_slope(beam: float, diffuse: float, sin_altitude: float, azimuth: float, slope: float, aspect: float,
                 albedo: float) -> float:
    """Sun that falls on a slope [W m-2 of its surface].

    Parameters
    ----------
    beam : float
        On a plane facing the sun [W m-2].
    diffuse : float
        On a horizontal plane [W m-2]; the sky is taken as equally bright everywhere.
    albedo : float
        Of the ground beside the slope [1].

    Source: isotropic sky; exact for it.
    """
    view = sky_view(slope)
    ground = albedo * (diffuse + beam * max(sin_altitude, 0.0))
    return beam * incidence(sin_altitude, azimuth, slope, aspect) + view * diffuse + (1.0 - view) * ground
