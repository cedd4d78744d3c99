"""Hourly years out of a monthly climate: the normal year with its sun, and made-up years that scatter about it.

Method of the made-up years (after Richardson1981: anomalies as a first-order autoregression). Three series of Gaussian
numbers, independent of one another, stationary, correlated from hour to hour by exp(-hour / memory), closed over the
turn of the year, drive: air temperature (normal course + deviation x series; the deviation goes in a straight line from
the coldest to the warmest month), wind (Rayleigh distribution about the monthly mean) and the sky's clearness (beta
distribution between darkness and a clear day about what the daily range tells). Vapour pressure follows the day's air at
the monthly relative humidity; saturation caps it. Left out: rain and snow, that clear nights are colder, that winds come
with warmth, and what years differ in beyond their hours. Random numbers: NumPy's default generator, seeded by (seed, year).
"""

from __future__ import annotations

import datetime
import math
from typing import Any

import numpy as np
from scipy.special import betaincinv, log_ndtr, ndtr

from pilesim.base.compiled import compiled
from pilesim.inputs.hourly import HOUR, HourlyWeather
from pilesim.inputs.records import MonthlyWeather
from pilesim.inputs.weather_files import TYPICAL_YEAR
from pilesim.matter.hourly import HOUR_SECONDS, vapour_pressures
from pilesim.matter.sky import cloud_of_clearness
from pilesim.matter.sun import (
    clear_day_clearness,
    clearness_of_range,
    declination,
    inverse_squared_distance,
    mean_sin_altitude,
    split_global,
)
from pilesim.matter.weather import DAY, MONTH_DAYS, daily_cycle, mid_month_values, through_the_year

_HOURS = int(MONTH_DAYS.sum()) * 24
_LABELS = HOUR_SECONDS * np.arange(1, _HOURS + 1)       # s since New Year, ends of the hours
_MEAN_RAYLEIGH = math.gamma(1.5)     # of the Weibull distribution of shape 2 and scale 1
_ROUGHLY_CLEAR = 0.97       # largest mean of clearness over that of a clear day: the beta distribution needs a width


def climate_year(weather: MonthlyWeather, latitude: float, elevation: float, c: Any) -> HourlyWeather:
    """The normal year of a monthly climate, without its cold snap, with sun and cloud.

    Parameters
    ----------
    latitude, elevation : float
        Of the site [rad], [m].
    c : object
        Constants.

    Returns
    -------
    HourlyWeather
        8760 hours of a typical year; the clock is the sun's.
    """
    flat = np.zeros(_HOURS)
    return _year(weather, latitude, elevation, "monthly climate", flat, _monthly(weather.wind_speed),
                 _mean_clearness(weather, elevation, c), c)


def synthetic_years(weather: MonthlyWeather, latitude: float, elevation: float, years: int, seed: int,
                    c: Any) -> tuple[HourlyWeather, ...]:
    """Made-up hourly years about a monthly climate, by the method at the head of this page.

    The first n years of an ensemble are the same however many are asked for; parameters as :func:`climate_year`.
    """
    names = [f"made-up year {k + 1}, seed {seed}" for k in range(years)]
    return tuple(_made_up(weather, latitude, elevation, np.random.default_rng([seed, k]), name, c)
                 for k, name in enumerate(names))


def _made_up(weather: MonthlyWeather, latitude: float, elevation: float, random: np.random.Generator, name: str,
             c: Any) -> HourlyWeather:
    air, wind, sky = (correlated(random, memory) for memory in (c.anomaly_time, c.wind_memory, c.clearness_memory))
    anomaly = _deviation(weather, c) * air
    clear = clear_day_clearness(elevation, c)
    share = np.minimum(_mean_clearness(weather, elevation, c) / clear, _ROUGHLY_CLEAR)
    both = c.clearness_concentration
    clearness = clear * betaincinv(both * share, both * (1.0 - share), ndtr(sky))
    speed = _monthly(weather.wind_speed) * np.sqrt(-log_ndtr(-wind)) / _MEAN_RAYLEIGH
    return _year(weather, latitude, elevation, name, anomaly, speed, clearness, c)


def correlated(random: np.random.Generator, memory: float, size: int = _HOURS) -> np.ndarray:
    """Hourly Gaussian numbers, mean 0 and deviation 1, correlated by exp(-time apart / memory [s]) around a closed year.

    Exact: the circulant covariance is diagonal in Fourier space.
    """
    apart = HOUR_SECONDS * np.minimum(np.arange(size), size - np.arange(size))
    power = np.maximum(np.fft.rfft(np.exp(-apart / memory)).real, 0.0)
    return np.fft.irfft(np.sqrt(power) * np.fft.rfft(random.standard_normal(size)), size)


def _monthly(values: tuple[float, ...]) -> np.ndarray:
    return np.asarray(through_the_year(_LABELS / DAY, np.array(values)))


def _deviation(weather: MonthlyWeather, c: Any) -> np.ndarray:
    means = np.array(weather.air_temperature)
    span = float(np.ptp(means))
    warmth = (means - means.min()) / span if span > 0.0 else np.full(means.size, 0.5)
    monthly = c.anomaly_deviation_cold + warmth * (c.anomaly_deviation_warm - c.anomaly_deviation_cold)
    return np.asarray(through_the_year(_LABELS / DAY, monthly))


def _mean_clearness(weather: MonthlyWeather, elevation: float, c: Any) -> np.ndarray:
    law = clearness_of_range
    return _monthly(tuple(law(span, elevation, c) for span in weather.daily_range))


def _year(weather: MonthlyWeather, latitude: float, elevation: float, name: str, anomaly: np.ndarray, wind: np.ndarray,
          clearness: np.ndarray, c: Any) -> HourlyWeather:
    mean = through_the_year(_LABELS / DAY, mid_month_values(np.array(weather.air_temperature))) + anomaly
    temperature = mean + 0.5 * _monthly(weather.daily_range) * daily_cycle(_LABELS, c)
    saturated = vapour_pressures(temperature, np.ones(_HOURS), c)
    vapour = vapour_pressures(mean, _monthly(weather.relative_humidity), c)
    sun = horizontal_sun(latitude, clearness, c)
    clear = clear_day_clearness(elevation, c)
    cloud = _hours_of_cloud(clearness, clear, c)
    return HourlyWeather(
        source=name, start=datetime.datetime(TYPICAL_YEAR, 1, 1) + HOUR, typical=True, latitude=latitude, longitude=None,
        elevation=elevation, utc_offset=None, air_temperature=temperature,
        relative_humidity=np.minimum(vapour / saturated, 1.0), wind_speed=wind, global_sun=sun[0], beam_sun=sun[1],
        diffuse_sun=sun[2], cloud=cloud)


def horizontal_sun(latitude: float, clearness: np.ndarray, c: Any) -> np.ndarray:
    """Global, beam and diffuse sun, (3, 8760) array of means over each hour [W m-2], at hourly `clearness` (8760,).

    Without loss: with an even clearness the hours of a day add up to it times the extraterrestrial sun of that day.
    """
    return np.asarray(_hours_of_sun(_LABELS, latitude, clearness, HOUR_SECONDS, DAY, c))


@compiled
def _hours_of_sun(labels: np.ndarray, latitude: float, clearness: np.ndarray, hour: float, whole_day: float,
                  c: Any) -> np.ndarray:
    turn = 2.0 * math.pi / whole_day
    out = np.zeros((3, labels.size))
    for k in range(labels.size):
        day = 1.0 + (labels[k] - 0.5 * hour) // whole_day
        end = turn * ((labels[k] - hour) % whole_day + hour) - math.pi
        height = mean_sin_altitude(latitude, declination(day, c), end - turn * hour, end)
        if height > 0.0:
            total = clearness[k] * c.solar_constant * inverse_squared_distance(day, c) * height
            out[0, k] = total
            out[1, k], out[2, k] = split_global(total, height, day, c)
    return out


@compiled
def _hours_of_cloud(clearness: np.ndarray, clear_day: float, c: Any) -> np.ndarray:
    out = np.empty(clearness.size)
    for k in range(clearness.size):
        out[k] = cloud_of_clearness(clearness[k], clear_day, c)
    return out
