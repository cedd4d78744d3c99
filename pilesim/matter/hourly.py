"""Hourly weather made ready for a run: a line of air from the day of building on, and the sun hour by hour."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pilesim.base.compiled import compiled
from pilesim.base.errors import ScenarioError
from pilesim.inputs.hourly import HOUR, HourlyWeather, shown_time
from pilesim.matter.atmosphere import standard_pressure
from pilesim.matter.moist_air import saturation_pressure
from pilesim.matter.sky import clear_sky_emissivity, cloudy_emissivity, dew_point, sky_longwave
from pilesim.matter.sun import declination, split_global, sun_direction, sun_on_slope
from pilesim.matter.weather import DAY, MONTH_DAYS, AirLine, day_of_year
from pilesim.matter.wind import wind_at_height

HOUR_SECONDS = 3600.0
_DAY_HOURS, _MINUTES = 24, 60
_YEAR = int(MONTH_DAYS.sum()) * _DAY_HOURS      # hours
_DRIEST = 1.0       # vapour pressure [Pa] that air has at least, so that it has a dew point


@dataclass(frozen=True, slots=True)
class SunCourse:
    """The sun at the middle of each hour: (n,) arrays of its altitude's sine [1] and azimuth from north [rad]."""

    sin_altitude: np.ndarray
    azimuth: np.ndarray


def sun_course(weather: HourlyWeather, c: Any) -> SunCourse:
    """Where the sun stands in the middle of each hour (true, not refracted).

    With longitude and time zone by pvlib (the solar position algorithm); without them the clock counts as the sun's.

    Raises
    ------
    ScenarioError
        If the latitude is not known.
    """
    if weather.latitude is None:
        raise ScenarioError(weather.source, "", "the latitude of the station",
                            "In a CSV it is a remark above the names: '# latitude: 45 deg'.")
    if weather.longitude is None or weather.utc_offset is None:
        return _solar_clock(weather, c)
    import pandas as pd
    from pvlib.solarposition import get_solarposition

    first = weather.start - HOUR / 2 - datetime.timedelta(seconds=weather.utc_offset)
    times = pd.date_range(first, periods=weather.air_temperature.size, freq="h", tz="UTC")
    place = (math.degrees(weather.latitude), math.degrees(weather.longitude))
    found = get_solarposition(times, *place, altitude=weather.elevation or 0.0)
    return SunCourse(np.sin(np.radians(found["elevation"].to_numpy())), np.radians(found["azimuth"].to_numpy()))


def _solar_clock(weather: HourlyWeather, c: Any) -> SunCourse:
    assert weather.latitude is not None
    middle = weather.start - HOUR / 2
    since = middle.hour + middle.minute / _MINUTES + np.arange(weather.air_temperature.size)
    angle = 2.0 * math.pi * (since % _DAY_HOURS) / _DAY_HOURS - math.pi
    found = _directions(weather.latitude, _solar_days(weather), angle, c)
    return SunCourse(found[0], found[1])


@compiled
def _directions(latitude: float, day: np.ndarray, angle: np.ndarray, c: Any) -> np.ndarray:
    out = np.empty((2, day.size))
    for k in range(day.size):
        out[0, k], out[1, k] = sun_direction(latitude, declination(day[k], c), angle[k])
    return out


def beam_and_diffuse(weather: HourlyWeather, course: SunCourse, c: Any) -> tuple[np.ndarray, np.ndarray]:
    """Beam facing the sun and diffuse on a horizontal plane [W m-2], as given or split from the global sun.

    Raises
    ------
    ScenarioError
        If the file has no sun.
    """
    if weather.beam_sun is not None and weather.diffuse_sun is not None:
        return weather.beam_sun, weather.diffuse_sun
    if weather.global_sun is None:
        raise ScenarioError(weather.source, "", "global_sun, or beam_sun and diffuse_sun", "The file has no sun.")
    beam, diffuse = _split_hours(weather.global_sun, course.sin_altitude, _solar_days(weather), c)
    return beam, diffuse


@compiled
def _split_hours(total: np.ndarray, sin_altitude: np.ndarray, day: np.ndarray, c: Any) -> np.ndarray:
    out = np.empty((2, total.size))
    for k in range(total.size):
        out[0, k], out[1, k] = split_global(total[k], sin_altitude[k], day[k], c)
    return out


@compiled
def hours_on_slope(beam: np.ndarray, diffuse: np.ndarray, sin_altitude: np.ndarray, azimuth: np.ndarray, slope: float,
                   aspect: float, albedo: float) -> np.ndarray:
    """:func:`pilesim.matter.sun.sun_on_slope` of each hour, (n,) [W m-2]."""
    out = np.empty(beam.size)
    for k in range(beam.size):
        out[k] = sun_on_slope(beam[k], diffuse[k], sin_altitude[k], azimuth[k], slope, aspect, albedo)
    return out


def longwave(weather: HourlyWeather, c: Any) -> np.ndarray:
    """Longwave from the sky hour by hour [W m-2]: as given, else from dew point and cloud (the usual if unknown)."""
    if weather.sky_longwave is not None:
        return weather.sky_longwave
    cloud = np.full(weather.air_temperature.size, c.usual_cloud) if weather.cloud is None else weather.cloud
    vapour = vapour_pressures(weather.air_temperature, weather.relative_humidity, c)
    hours = (weather.start.hour + np.arange(cloud.size)) % _DAY_HOURS / _DAY_HOURS
    return np.asarray(_hours_of_sky(weather.air_temperature, vapour, hours, cloud, c))


@compiled
def _hours_of_sky(air: np.ndarray, vapour: np.ndarray, time_of_day: np.ndarray, cloud: np.ndarray, c: Any) -> np.ndarray:
    out = np.empty(air.size)
    for k in range(air.size):
        clear = clear_sky_emissivity(dew_point(vapour[k], c), time_of_day[k], c)
        out[k] = sky_longwave(air[k], cloudy_emissivity(clear, cloud[k], c), c)
    return out


def vapour_pressures(temperature: np.ndarray, humidity: np.ndarray, c: Any) -> np.ndarray:
    """Vapour pressure [Pa], at least 1, of air of `temperature` [K] and relative `humidity` over water [1]."""
    return np.maximum(humidity * _saturation_hours(temperature, c), _DRIEST)


@compiled
def _saturation_hours(temperature: np.ndarray, c: Any) -> np.ndarray:
    out = np.empty(temperature.size)
    for k in range(temperature.size):
        out[k] = saturation_pressure(temperature[k], c)
    return out


def hourly_air_line(weather: HourlyWeather, date: datetime.date, duration: float, c: Any,
                    wind_height: float | None = None) -> AirLine:
    """The air over a run, straight between the hours of the file.

    Parameters
    ----------
    date : datetime.date
        Of the build; time zero is its midnight. A typical year is entered at that day and goes round.
    duration : float
        Of the run [s].
    wind_height : float, optional
        The wind is brought down to this height above ground [m]; without it it stays that of the station.

    Raises
    ------
    ScenarioError
        If the file does not cover the run.
    """
    count = math.ceil((duration + DAY) / HOUR_SECONDS) + 1
    place = hour_places(weather, date, count)
    vapour = vapour_pressures(weather.air_temperature, weather.relative_humidity, c)
    wind = weather.wind_speed
    if wind_height is not None:
        wind = wind * wind_at_height(1.0, c.weather_wind_height, wind_height, c)
    values = np.stack([weather.air_temperature, vapour, wind], axis=1)[place]
    steps = 0.5 * HOUR_SECONDS * (values[1:] + values[:-1])
    integral = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])
    return AirLine(HOUR_SECONDS * np.arange(count), values, integral, c)


def hour_places(weather: HourlyWeather, date: datetime.date, count: int) -> np.ndarray:
    """Which hours of the file a run of `count` hours from the midnight of `date` takes; a day's slack at the end is held.

    Raises
    ------
    ScenarioError
        If the file does not cover the run.
    """
    size = weather.air_temperature.size
    if weather.typical:     # 29 February counts as 1 March
        midnight = datetime.datetime(weather.start.year, 1, 1) + datetime.timedelta(days=day_of_year(date))
    else:
        midnight = datetime.datetime(date.year, date.month, date.day)
    places = (midnight - weather.start) // HOUR + np.arange(count)
    if weather.typical and size == _YEAR:
        return np.asarray(places % size)
    if places[0] < -1 or places[-1] - _DAY_HOURS > size - 1:
        first, last = (shown_time(weather.start + k * HOUR, weather.typical) for k in (0, size - 1))
        allowed = f"a run within the weather of {weather.source}, {first} to {last}"
        raise ScenarioError("start.date", date.isoformat(), allowed,
                            "Move start.date, shorten run.duration, or take a longer file.")
    return np.asarray(np.clip(places, 0, size - 1))


def mean_before(weather: HourlyWeather, date: datetime.date) -> float:
    """Mean air temperature of the month before `date` [K]; of the first month of a file that begins later.

    Raises
    ------
    ScenarioError
        If the file does not cover the day.
    """
    size, month = weather.air_temperature.size, _DAY_HOURS * round(float(MONTH_DAYS.mean()))
    last = int(hour_places(weather, date, 1)[0])
    if weather.typical and size == _YEAR:
        return float(weather.air_temperature[np.arange(last - month, last) % size].mean())
    first = max(last - month, 0)
    return float(weather.air_temperature[first : first + month].mean())


def years_that_fit(weather: HourlyWeather, month: int, day: int, duration: float) -> tuple[datetime.date, ...]:
    """Dates of building on this `day` of the year from which a run of `duration` [s] lies within the file, one a year.

    A file of several years gives a member for each of them; a typical year gives one, for it goes round.
    """
    if weather.typical:
        return (_date(weather.start.year, month, day),)
    last = weather.start + (weather.air_temperature.size - 1) * HOUR
    found = []
    for year in range(weather.start.year, last.year + 1):
        midnight = datetime.datetime.combine(_date(year, month, day), datetime.time())
        if midnight >= weather.start - HOUR and midnight + datetime.timedelta(seconds=duration) <= last:
            found.append(midnight.date())
    return tuple(found)


def _date(year: int, month: int, day: int) -> datetime.date:
    """29 February is 1 March in years without one."""
    return datetime.date(year, month, 1) + datetime.timedelta(days=day - 1)


def at_elevation(weather: HourlyWeather, elevation: float, c: Any, lapse: bool = False) -> HourlyWeather:
    """The station's weather at a site of `elevation` [m]: its air pressure in proportion to the standard atmosphere's.

    With `lapse` also the air temperature by the standard lapse rate; relative humidity, wind and radiation stay.

    Raises
    ------
    ScenarioError
        If the file does not say how high its station stands.
    """
    if weather.elevation is None:
        raise ScenarioError(weather.source, "", "the elevation of the station",
                            "In a CSV it is a remark above the names: '# elevation: 1500 m'.")
    pressure = weather.pressure
    if pressure is not None:
        pressure = pressure * standard_pressure(elevation, c) / standard_pressure(weather.elevation, c)
    colder = c.temperature_lapse * (elevation - weather.elevation) if lapse else 0.0
    return replace(weather, elevation=elevation, pressure=pressure, air_temperature=weather.air_temperature - colder)


def _solar_days(weather: HourlyWeather) -> np.ndarray:
    """Day of the year, from 1, of each hour's middle."""
    first = weather.start - HOUR / 2
    since = (first - datetime.datetime(first.year, 1, 1)) / datetime.timedelta(days=1)
    return 1.0 + np.floor(since + np.arange(weather.air_temperature.size) / _DAY_HOURS)
