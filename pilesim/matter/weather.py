"""Outside air in time, from constant weather or a monthly climate.

Time zero is midnight at the start of the day of building. The year has 365 days (29 February counts as 1 March).
A climate is sampled into a line of points a quarter of an hour apart; what the solver takes are exact means of that
line over its steps, so that long steps lose no warmth.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pilesim.inputs.records import MonthlyWeather
from pilesim.matter.moist_air import saturation_pressure

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])  # of a year without a leap day
DAY = 86400.0
_SPACING = 900.0  # of the points of the line [s]: a sinusoid of a day loses 0.04 percent of its amplitude


class Air(NamedTuple):
    """Air at one moment, or its mean over a time: temperature [K], relative humidity over water [1], wind [m s-1]."""

    temperature: float
    humidity: float
    wind_speed: float


@dataclass(frozen=True, slots=True)
class AirLine:
    """Air in time as straight lines between points.

    Attributes
    ----------
    time : (n,) array
        Since the build [s], evenly spaced.
    values : (n, 3) array
        Temperature [K], vapour pressure [Pa], wind speed [m s-1].
    integral : (n, 3) array
        Of the values, from the start.
    constants : object
        For the saturation pressure.
    """

    time: np.ndarray
    values: np.ndarray
    integral: np.ndarray
    constants: Any

    def mean(self, start: float, end: float) -> Air:
        """Exact mean of the line from `start` to `end` [s]; the value where they are equal. The ends are prolonged."""
        low, high = max(start, 0.0), min(end, float(self.time[-1]))
        if high <= low:
            values = self._value(min(max(0.5 * (start + end), 0.0), float(self.time[-1])))
        else:
            values = (self._total(high) - self._total(low)) / (high - low)
        temperature, pressure, wind = (float(value) for value in values)
        return Air(temperature, pressure / float(saturation_pressure.py_func(temperature, self.constants)), wind)

    def temperature(self, time: np.ndarray) -> np.ndarray:
        """Air temperature [K] at `time` [s]."""
        return np.interp(time, self.time, self.values[:, 0])

    def _place(self, time: float) -> tuple[int, float]:
        spacing = self.time[1]
        k = min(int(time / spacing), self.time.size - 2)
        return k, time / spacing - k

    def _value(self, time: float) -> np.ndarray:
        k, share = self._place(time)
        return np.asarray(self.values[k] + share * (self.values[k + 1] - self.values[k]))

    def _total(self, time: float) -> np.ndarray:
        k, share = self._place(time)
        part = share * self.values[k] + 0.5 * share**2 * (self.values[k + 1] - self.values[k])
        return np.asarray(self.integral[k] + self.time[1] * part)


def day_of_year(date: datetime.date) -> int:
    """Days since 1 January in a year of 365 days."""
    passed = int(MONTH_DAYS[: date.month - 1].sum())
    return passed + min(date.day, int(MONTH_DAYS[date.month - 1]) + 1) - 1


def mid_month_values(means: np.ndarray) -> np.ndarray:
    """Values at the middles of the months for which the straight lines between them have the monthly `means`.

    Parameters
    ----------
    means : (12,) array

    Returns
    -------
    (12,) array
        Same unit.

    Source: TaylorMidMonth (TO CHECK): the twelve equations are linear and diagonally dominant.
    """
    matrix = np.zeros((12, 12))
    for month in range(12):
        for other in (month - 1, (month + 1) % 12):
            share = MONTH_DAYS[month] / (MONTH_DAYS[month] + MONTH_DAYS[other])  # of the way, at the border
            matrix[month, month] += 0.25 * (2.0 - share)
            matrix[month, other] += 0.25 * share
    return np.linalg.solve(matrix, np.asarray(means, dtype=float))


def through_the_year(day: np.ndarray, at_middles: np.ndarray) -> np.ndarray:
    """Straight lines between `at_middles` (12,) of the months, at `day` of the year (any number of years on)."""
    middles = np.cumsum(MONTH_DAYS) - 0.5 * MONTH_DAYS
    return np.interp(day, middles, at_middles, period=float(MONTH_DAYS.sum()))


def daily_cycle(time: np.ndarray, c: Any) -> np.ndarray:
    """Course of the day, from -1 at the coldest to 1 at the warmest hour (half a day apart), mean 0."""
    return np.cos(2.0 * np.pi * (time / DAY - c.warmest_hour / DAY))


def snap_depth(time: np.ndarray, weather: MonthlyWeather, c: Any) -> np.ndarray:
    """By how much the cold snap lowers the air temperature [K]: full between linear ramps inside its duration."""
    snap = weather.cold_snap
    if snap is None:
        return np.zeros_like(time)
    inside = np.minimum(time - snap.start, snap.start + snap.duration - time) / c.cold_snap_ramp
    return snap.temperature_drop * np.clip(inside, 0.0, 1.0)


def air_line(weather: MonthlyWeather, date: datetime.date, duration: float, c: Any) -> AirLine:
    """The air over a run of a monthly climate.

    Temperature: lines between mid-month values that keep the monthly means, plus a sinusoid of the day with the
    daily range, minus the cold snap. Humidity: lines between the monthly values at mid-month; the vapour pressure it
    gives at the day's mean temperature holds through the day, saturation caps it. Wind: lines between the monthly values.

    Parameters
    ----------
    date : datetime.date
        Of the build.
    duration : float
        Of the run [s].
    c : object
        Constants.
    """
    count = int(np.ceil((duration + DAY) / _SPACING)) + 1
    time = _SPACING * np.arange(count)
    day = day_of_year(date) + time / DAY
    mean = through_the_year(day, mid_month_values(np.array(weather.air_temperature))) - snap_depth(time, weather, c)
    span = through_the_year(day, np.array(weather.daily_range))
    temperature = mean + 0.5 * span * daily_cycle(time, c)
    humidity = through_the_year(day, np.array(weather.relative_humidity))
    saturation = saturation_pressure.py_func
    at_mean, at_most = (np.array([saturation(float(value), c) for value in line]) for line in (mean, temperature))
    vapour = np.minimum(humidity * at_mean, at_most)
    wind = through_the_year(day, np.array(weather.wind_speed))
    values = np.stack([temperature, vapour, wind], axis=1)
    steps = 0.5 * _SPACING * (values[1:] + values[:-1])
    return AirLine(time, values, np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)]), c)
