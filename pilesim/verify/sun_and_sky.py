"""Sun and sky against worked examples, pvlib and other published laws.

FAO Irrigation and Drainage Paper 56: numbers of its worked examples from a copy (a public test suite that cites page
and example), the paper itself not at hand. pvlib: sun by the solar position algorithm, Erbs's law, plane-of-array sums.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pilesim.matter import sky, sun
from pilesim.matter.weather_years import horizontal_sun
from pilesim.verify.check import Check, largest_error, relative, worst_relative
from pilesim.verify.moist_air import HANDBOOK, handbook, kelvin, needs
from pilesim.verify.record import outer_record

FAO = "FAO Irrigation and Drainage Paper 56, worked example {} (from a copy)"
POSITION = "pvlib, solar position algorithm"
ERBS = "pvlib, Erbs et al. (1982)"
PLANE = "pvlib, isotropic sky"
LATITUDES = (-20.0, 0.0, 43.6, 65.0)       # degrees north


def above_the_air(latitude: float, c: Any) -> np.ndarray:
    """Sun on a horizontal plane at `latitude` [rad], had air no effect: (365,) means of days [W m-2], from a run's hours."""
    return np.asarray(horizontal_sun(latitude, np.ones(8760), c)[0].reshape(365, 24).mean(axis=1))


def worked_examples() -> list[Check]:
    """Examples 8 (20 degrees south, 3 September), 9 (length of that day) and 15 (a July). Tolerance: last digit."""
    c, latitude, day = outer_record(), math.radians(-20.0), 246.0
    tilt = sun.declination(day, c)
    sunset = sun.sunset_hour_angle(latitude, tilt)
    to_megajoule = 86400.0 / 1e6
    above = above_the_air(latitude, c)[int(day) - 1]
    clearness = sun.clearness_of_range(26.6 - 14.8, 200.0, c)
    rows = (
        ("inverse squared distance to the sun", 8, 0.985, sun.inverse_squared_distance(day, c), 5e-4, "1"),
        ("declination of the sun", 8, 0.120, tilt, 5e-4, "rad"),
        ("hour angle of sunset", 8, 1.527, sunset, 5e-4, "rad"),
        ("extraterrestrial sun of a day", 8, 32.2, to_megajoule * above, 0.05, "MJ m-2"),
        ("length of a day", 9, 11.7, 24.0 / math.pi * sunset, 0.05, "h"),
        ("sun from the daily range of the air", 15, 22.3, 40.6 * clearness, 0.05, "MJ m-2"),
    )
    return [Check(name, "external", FAO.format(example), expected, float(got), tolerance, unit)
            for name, example, expected, got, tolerance, unit in rows]


def _year_of_suns(latitude: float) -> tuple[Any, np.ndarray, np.ndarray]:
    """pvlib's table for every fifth day of 2026 by the hour; our direction (n, 3) at the same solar times; ours by day."""
    import pandas as pd
    from pvlib.solarposition import get_solarposition

    c = outer_record()
    days = pd.date_range("2026-01-01", periods=73, freq="5D", tz="UTC")
    times = days.repeat(24) + pd.to_timedelta(np.tile(np.arange(24) + 0.5, 73), unit="h")
    table = get_solarposition(times, latitude, 0.0)
    solar = times.hour.to_numpy() + times.minute.to_numpy() / 60.0 + table["equation_of_time"].to_numpy() / 60.0
    out = np.empty((times.size, 3))
    for k, (day, hour) in enumerate(zip(times.day_of_year, solar, strict=True)):
        tilt = sun.declination(float(day), c)
        up, azimuth = sun.sun_direction(math.radians(latitude), tilt, math.pi * (hour / 12.0 - 1.0))
        flat = math.sqrt(1.0 - up * up)
        out[k] = flat * math.sin(azimuth), flat * math.cos(azimuth), up
    return table, out, times.day_of_year.to_numpy()


def positions() -> list[Check]:
    """Direction of the sun at four latitudes through a year; the error is the declination's.

    Tolerance 1.3 degrees: what the two-term declination is off in October; a day's mean of the sun feels it by some percent.
    """
    worst = 0.0
    for latitude in LATITUDES:
        table, ours, _ = _year_of_suns(latitude)
        height, azimuth = (np.radians(table[name].to_numpy()) for name in ("elevation", "azimuth"))
        theirs = np.stack([np.cos(height) * np.sin(azimuth), np.cos(height) * np.cos(azimuth), np.sin(height)], axis=1)
        worst = max(worst, float(np.degrees(np.arccos(np.clip((ours * theirs).sum(axis=1), -1.0, 1.0))).max()))
    return [largest_error("direction of the sun: error", "external", POSITION, [worst], 1.3, "deg")]


def extraterrestrial() -> list[Check]:
    """Mean of the year above the air against pvlib's positions and Spencer's distance.

    Tolerance 2 %: the two-term declination is too low by up to a degree in the second half of the year, which takes 1.6 %
    at 65 degrees north; what the daily range tells of clearness is good to 10 % at best.
    """
    from pvlib.irradiance import get_extra_radiation

    c, rows = outer_record(), []
    for latitude in LATITUDES:
        table, _, days = _year_of_suns(latitude)
        theirs = np.maximum(np.sin(np.radians(table["elevation"].to_numpy())), 0.0) * np.asarray(get_extra_radiation(days))
        ours = above_the_air(math.radians(latitude), c)[days.astype(int) - 1].mean()
        rows.append((float(theirs.mean()), float(ours)))
    name = "extraterrestrial sun of a year, worst of four latitudes"
    return [worst_relative(name, "external", POSITION, rows, 0.02, "W m-2")]


def diffuse_shares() -> list[Check]:
    """Share of diffuse sun from overcast to clear, and both parts of the global sun.

    Tolerance 1e-9: the same law, at the clearness that pvlib finds; of the parts 1 %: distances to the sun differ by 0.1 %.
    """
    from pvlib.irradiance import erbs

    c, up = outer_record(), math.cos(math.radians(60.0))
    shares: list[tuple[float, float]] = []
    parts: list[tuple[float, float]] = []
    for total in np.linspace(20.0, 550.0, 64):
        found = erbs(total, 60.0, 100)
        shares.append((float(found["dhi"] / total), float(sun.diffuse_share(float(found["kt"]), c))))
        beam, diffuse = sun.split_global(float(total), up, 100.0, c)
        parts += [(float(found["dni"]), float(beam)), (float(found["dhi"]), float(diffuse))]
    return [worst_relative("diffuse share, worst of 64 skies", "external", ERBS, shares, 1e-9),
            worst_relative("beam and diffuse sun, worst of 64 skies", "external", ERBS, parts, 0.01, "W m-2")]


def slopes() -> list[Check]:
    """Sun on flanks that face all ways, by day and at dusk. Tolerance 1e-9: the same geometry, exact."""
    from pvlib.irradiance import get_total_irradiance

    rows = []
    for slope in (0.0, 30.0, 60.0, 90.0):
        for aspect in (0.0, 135.0, 180.0, 300.0):
            for height, azimuth in ((5.0, 100.0), (35.0, 180.0), (60.0, 250.0)):
                beam, diffuse, up = 600.0, 120.0, math.sin(math.radians(height))
                total = get_total_irradiance(slope, aspect, 90.0 - height, azimuth, beam, diffuse + beam * up, diffuse,
                                             albedo=0.2, model="isotropic")["poa_global"]
                angles = (math.radians(angle) for angle in (azimuth, slope, aspect))
                ours = sun.sun_on_slope(beam, diffuse, up, *angles, 0.2)
                rows.append((float(total), float(ours)))
    return [worst_relative("sun on a slope, worst of 48", "external", PLANE, rows, 1e-9, "W m-2")]


@needs("dew point", HANDBOOK)
def dew_points() -> list[Check]:
    """Every 3 K from 1 to 58 degC. Tolerance 0.02 K: saturation laws differ by 6e-5, the older of the handbook by more."""
    c, library = outer_record(), handbook()
    errors = [sky.dew_point(library.GetSatVapPres(float(t)), c) - kelvin(float(t)) for t in range(1, 60, 3)]
    return [largest_error("dew point, 1 to 58 degC: error", "external", HANDBOOK, errors, 0.02, "K")]


def clear_skies() -> list[Check]:
    """Emissivity of clear skies against Brunt's law, which knows vapour pressure only.

    Tolerance 0.06: published refits of Brunt's constants among themselves differ by as much (0.605 to 0.52 at the dry end).
    """
    c = outer_record()
    errors = []
    for dew in (10.0, -5.0, -25.0, 20.0):
        vapour = 0.01 * float(sky.saturation_pressure(kelvin(dew), c))
        errors.append(sky.clear_sky_emissivity(kelvin(dew), 0.25, c) - 0.52 - 0.065 * math.sqrt(vapour))
    source = "Brunt (1932), constants 0.52 and 0.065 hPa-0.5 (recalled, TO CHECK)"
    return [largest_error("emissivity of clear skies: difference", "external", source, errors, 0.06)]


def net_longwave_of_a_month() -> list[Check]:
    """Example 11: net outgoing longwave of a humid month (22.1 degC, 2.1 kPa, 14.5 of 18.8 MJ of a clear day).

    Tolerance 15 W m-2: two unlike laws of sky and cloud; each is good to about 20 W m-2.
    """
    c, air = outer_record(), kelvin(22.1)
    cloud = sky.cloud_of_clearness(14.5, 18.8, c)
    clear = sky.clear_sky_emissivity(sky.dew_point(2100.0, c), 0.25, c)
    down = sky.sky_longwave(air, sky.cloudy_emissivity(clear, cloud, c), c)
    got = -sky.net_longwave(air, down, air, 0.0, 1.0, c)
    return [Check("net longwave of a month", "external", FAO.format(11), 3.5e6 / 86400.0, float(got), 15.0, "W m-2")]


def overcast_skies() -> list[Check]:
    """A closed, low sky sends nearly what a black one of the air's temperature does.

    Tolerance 0.04: handbooks give 0.93 (cloud at 2 km) to 1 (fog).
    """
    c = outer_record()
    clear = [sky.clear_sky_emissivity(kelvin(dew), 0.25, c) for dew in (-20.0, 0.0, 15.0)]
    errors = [sky.cloudy_emissivity(value, 1.0, c) - 0.97 for value in clear]
    source = "overcast sky of 0.97, Monteith and Unsworth (recalled, TO CHECK)"
    return [largest_error("emissivity of overcast skies: difference", "external", source, errors, 0.04)]


def black_exchange() -> list[Check]:
    """The film of two black surfaces against the Stefan-Boltzmann law. Tolerance 1e-12: round-off of fourth powers."""
    c = outer_record()
    warm, cold = 300.0, 240.0
    exact = 5.670374419e-8 * (warm**4 - cold**4)
    rows = [relative("black exchange", "exact", "Stefan-Boltzmann law", exact,
                     float(sky.radiative_film(cold, warm, 1.0, c) * (warm - cold)), 1e-12, "W m-2")]
    down = float(sky.sky_longwave(cold, 1.0, c))
    return [*rows, relative("longwave of a black sky", "exact", "Stefan-Boltzmann law", 5.670374419e-8 * cold**4, down, 1e-12,
                            "W m-2")]
