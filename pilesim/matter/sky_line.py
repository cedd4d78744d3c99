"""Sun, sky, rain, snow and wind pressure over a run, hour by hour, as integrals whose means over a step are exact."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pilesim.inputs.hourly import HourlyWeather
from pilesim.matter.hourly import HOUR_SECONDS, beam_and_diffuse, hour_places, hours_on_slope, longwave, sun_course
from pilesim.matter.snow import snow_share
from pilesim.matter.weather import DAY, AirLine
from pilesim.matter.wind import pressure_coefficient, wind_pressure

_ASPECTS = 8        # directions over which the sun on a flank of unknown aspect is averaged
_FLAT = 1e-6        # rad: a slope below it faces nowhere


class Facing(NamedTuple):
    """How a piece of surface lies: slope from the horizontal [rad]; on which side of the axis (1 right, -1 left, 0 both)."""

    slope: float
    side: int


class Sky(NamedTuple):
    """Means over a time: longwave [W m-2], rain and snowfall [kg m-2 s-1 of the horizontal], sun on the ground [W m-2]; sun
    [W m-2] and wind pressure [Pa] on each facing, (k,)."""

    longwave: float
    rain: float
    snowfall: float
    ground_sun: float
    sun: np.ndarray
    pressure: np.ndarray


@dataclass(frozen=True, slots=True)
class SkyLine:
    """Hourly courses of a run.

    Attributes
    ----------
    facings : tuple of Facing
        To which the columns of sun and pressure belong.
    integral : (n + 1, 4 + 2 k) array
        From the build to each full hour: longwave, rain, snowfall, sun on the ground, sun on each facing, pressure on each.
    """

    facings: tuple[Facing, ...]
    integral: np.ndarray

    def mean(self, start: float, end: float) -> Sky:
        """Exact means of the hourly values from `start` to `end` [s]; the hour's value where they are equal."""
        last = self.integral.shape[0] - 1
        low, high = max(start / HOUR_SECONDS, 0.0), min(end / HOUR_SECONDS, float(last))
        if high <= low:
            low = float(min(int(low), last - 1))
            high = low + 1.0
        row = (self._at(high) - self._at(low)) / ((high - low) * HOUR_SECONDS)
        count = len(self.facings)
        alone = row.size - 2 * count
        longwave_, rain, snowfall, ground = (float(value) for value in row[:alone])
        return Sky(longwave_, rain, snowfall, ground, row[alone : alone + count], row[alone + count :])

    def _at(self, hours: float) -> np.ndarray:
        k = min(int(hours), self.integral.shape[0] - 2)
        return np.asarray(self.integral[k] + (hours - k) * (self.integral[k + 1] - self.integral[k]))


def sky_line(weather: HourlyWeather, line: AirLine, facings: tuple[Facing, ...], date: datetime.date, duration: float,
             aspect: float | None, has_wind_pressure: bool, c: Any) -> SkyLine:
    """Sky over a run.

    Parameters
    ----------
    line : AirLine
        Of the run, from hourly weather or from a climate: its air sets how warm the sky is.
    aspect : float, optional
        Direction the right flank faces [rad]; the left one faces away from it. Without it the sun is a mean of all.
    has_wind_pressure : bool
        Wind presses on the flanks (where the weather has its direction).

    Raises
    ------
    ScenarioError
        If the file does not cover the run, or has no sun or no latitude.
    """
    count = math.ceil((duration + DAY) / HOUR_SECONDS) + 1
    place = hour_places(weather, date, count)
    hours = HOUR_SECONDS * np.arange(count)
    warmer = np.asarray(line.temperature(hours)) / weather.air_temperature[place]
    columns = [longwave(weather, c)[place] * warmer**2 * warmer**2, *_precipitation(weather, c, place)]
    columns += _suns(weather, facings, aspect, c, place)
    if has_wind_pressure and aspect is not None and weather.wind_direction is not None:
        columns += _pressures(line, hours, weather.wind_direction[place], facings, aspect, c)
    else:
        columns += [np.zeros(count)] * len(facings)
    # the value with the label of an hour is that of the hour before it
    table = np.stack(columns, axis=1)
    return SkyLine(facings, np.concatenate([np.zeros((1, table.shape[1])), np.cumsum(HOUR_SECONDS * table[1:], axis=0)]))


def _precipitation(weather: HourlyWeather, c: Any, place: np.ndarray) -> list[np.ndarray]:
    """Rain and snowfall; where a file has one column for both, the air's temperature divides it."""
    none = np.zeros(place.size)
    rain = none if weather.rain is None else weather.rain[place]
    if weather.snowfall is not None:
        return [rain, weather.snowfall[place]]
    share = np.array([snow_share.py_func(float(t), c) for t in weather.air_temperature[place]]) if rain.any() else none
    return [(1.0 - share) * rain, share * rain]


def _suns(weather: HourlyWeather, facings: tuple[Facing, ...], aspect: float | None, c: Any,
          place: np.ndarray) -> list[np.ndarray]:
    """Sun on the ground, then on each facing; none at all where the file has none."""
    if weather.global_sun is None and (weather.beam_sun is None or weather.diffuse_sun is None):
        return [np.zeros(place.size)] * (1 + len(facings))
    course = sun_course(weather, c)
    beam, diffuse = (part[place] for part in beam_and_diffuse(weather, course, c))
    height, azimuth = course.sin_altitude[place], course.azimuth[place]

    def on(slope: float, directions: list[float]) -> np.ndarray:
        each = [hours_on_slope(beam, diffuse, height, azimuth, slope, one, c.ground_albedo) for one in directions]
        return np.asarray(np.mean(each, axis=0))

    out = [on(0.0, [0.0])]
    for facing in facings:
        if aspect is None:
            directions = [2.0 * math.pi * k / _ASPECTS for k in range(_ASPECTS)]
        else:
            sides = (facing.side,) if facing.side else (1, -1)
            directions = [aspect if side > 0 else aspect + math.pi for side in sides]
        out.append(on(facing.slope, directions if facing.slope > _FLAT else [0.0]))
    return out


def _pressures(line: AirLine, hours: np.ndarray, direction: np.ndarray, facings: tuple[Facing, ...], aspect: float,
               c: Any) -> list[np.ndarray]:
    temperature, speed = (np.interp(hours, line.time, line.values[:, k]) for k in (0, 2))
    density = c.pressure * c.dry_air_molar_mass / (c.gas_constant * temperature)
    return [np.array([wind_pressure.py_func(float(v), flank_coefficient(facing, float(from_), aspect, c), float(rho))
                      for v, from_, rho in zip(speed, direction, density, strict=True)]) for facing in facings]


def flank_coefficient(facing: Facing, wind_from: float, aspect: float, c: Any) -> float:
    """Wind pressure over dynamic pressure [1]; on a flat top that of wind along it, below the table's slopes in between."""
    if facing.side == 0:
        return float(c.side_pressure)
    faces = aspect if facing.side > 0 else aspect + math.pi
    law = float(pressure_coefficient(wind_from - faces, facing.slope, c))
    steep = min(facing.slope / c.pressure_table_start, 1.0)
    return float(c.side_pressure + steep * (law - c.side_pressure))

